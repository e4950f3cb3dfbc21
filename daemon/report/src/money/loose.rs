//! What was taken on no job: at its actual price, in no job's costs.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_terms::code::Code;

use super::ProductMoney;
use super::fine::{Fine, shared};
use super::price;
use crate::figures::PortionUnit;
use crate::input::Index;
use crate::materials::{self, Materials};
use crate::span::{Span, sum_us};

/// Costs of one product in one unit.
#[derive(Debug, Default)]
struct Tally {
    used: Fine,
    dumped: Fine,
    no_price: bool,
}

/// Money of each product taken on no job, in each of its units. The costs add
/// up to [`loose_materials_minor`].
pub(crate) fn loose_products(
    index: &Index<'_>,
    catalogues: &Catalogues,
    loose: &Materials,
) -> BTreeMap<(Code, PortionUnit), ProductMoney> {
    let mut tallies: BTreeMap<(Code, PortionUnit), Tally> = BTreeMap::new();
    for taken in &loose.taken {
        let (product, unit) = (&taken.product, taken.amount.unit);
        let tally = tallies.entry((product.clone(), unit)).or_default();
        let price = price::actual(index, catalogues, product, &taken.lot, taken.at, unit);
        let cost = price.map(|price| price.cost(taken.amount.base));
        tally.no_price |= cost.is_none();
        let sum = if taken.waste {
            &mut tally.dumped
        } else {
            &mut tally.used
        };
        *sum += cost.unwrap_or_default();
    }
    let costs: Vec<Fine> = tallies.values().map(|t| t.used + t.dumped).collect();
    let whole: Fine = costs.iter().copied().sum();
    let costs = shared(whole.rounded(), &costs);
    let money = tallies.into_iter().zip(costs);
    money
        .map(|((key, tally), cost_minor)| {
            let of_product = ProductMoney {
                cost_minor,
                waste_minor: shared(cost_minor, &[tally.used, tally.dumped])[1],
                allowance_minor: 0,
                no_price: tally.no_price,
            };
            (key, of_product)
        })
        .collect()
}

/// Actual cost of what was taken on no job in a span, uses and dumped mixes
/// that nobody drew from.
pub(crate) fn loose_materials_minor(index: &Index<'_>, catalogues: &Catalogues, span: Span) -> i64 {
    let loose = materials::loose(index, catalogues, span);
    let products = loose_products(index, catalogues, &loose);
    sum_us(products.values().map(|product| product.cost_minor))
}
