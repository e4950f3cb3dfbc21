//! What a job was quoted with, and what that costs.

use std::collections::BTreeMap;

use baywright_terms::catalogue::{Catalogue, ShopCosts, StageAllowance};
use baywright_terms::code::Code;

use super::fine::{Fine, PIECE_MINOR_MAX};
use super::price;
use crate::chemicals::in_summing_unit;
use crate::figures::PortionUnit;
use crate::promise::Promise;
use crate::span::{clamp, divide_half_even};

/// Thousandths that an hour costs for each unit of wage where nobody said.
const NO_BURDEN_MILLI: u32 = 1_000;

/// Standards of one job, with what they cost.
#[derive(Debug)]
pub(crate) struct Standard<'c> {
    promise: Promise<'c>,
    costs: ShopCosts,
    rate_minor: Option<i64>,
    pub(crate) comeback: bool,
    /// Neither: the type has no allowances, so nothing was quoted.
    pub(crate) quoted: bool,
}

/// The standard cost of a product in one unit.
#[derive(Debug, Default)]
pub(crate) struct Allowed {
    pub(crate) cost: Fine,
}

impl<'c> Standard<'c> {
    pub(crate) fn of(promise: Promise<'c>) -> Self {
        let shop = promise.catalogue.shop.as_ref();
        let costs = shop.map(|s| s.costs).unwrap_or_default();
        let rate_minor = costs.standard_rate_minor;
        Self {
            costs,
            rate_minor: rate_minor.or_else(|| mean_rate(promise.catalogue)),
            comeback: promise.comeback,
            quoted: promise.stages.is_some(),
            promise,
        }
    }

    /// As agreed with the customer, lines added since among it.
    pub(crate) fn agreed_minor(&self) -> Option<i64> {
        self.promise.agreed_minor.map(piece)
    }

    /// What `us` of labour cost at the standard rate; `None`: there is none.
    pub(crate) fn labour(&self, us: i64) -> Option<Fine> {
        let burden = burden_milli(&self.costs);
        Some(Fine::of_labour(self.rate_minor?, us, burden))
    }

    /// What `base` parts of `unit` cost at the standard price.
    pub(crate) fn material(&self, product: &Code, unit: PortionUnit, base: i64) -> Option<Fine> {
        Some(price::of_catalogue(self.promise.catalogue, product, unit)?.cost(base))
    }

    /// Allowances of stages; none for a comeback or without a quote.
    pub(crate) fn stages(&self) -> &[StageAllowance] {
        self.promise.stages.as_deref().unwrap_or_default()
    }

    /// Standard cost of the allowed amount of each product, by unit.
    pub(crate) fn products(&self) -> BTreeMap<(&Code, PortionUnit), Allowed> {
        let mut allowed: BTreeMap<_, Allowed> = BTreeMap::new();
        for allowance in self.promise.products.iter().filter(|_| self.quoted) {
            let product = &allowance.product;
            let catalogue = self.promise.catalogue;
            let amount = in_summing_unit(allowance.amount.quantity(), catalogue, product);
            let cost = self.material(product, amount.unit, amount.base);
            allowed.entry((product, amount.unit)).or_default().cost += cost.unwrap_or_default();
        }
        allowed
    }

    /// Supplies of the allowed stages, or of those worked on where nothing is
    /// allowed.
    pub(crate) fn supplies_minor<'s>(&self, worked: impl Iterator<Item = &'s Code>) -> i64 {
        let allowed = self.stages();
        let of = |stage: &Code| {
            let stage = self.promise.catalogue.stages.get(stage);
            piece(stage.and_then(|s| s.supplies_minor).unwrap_or(0))
        };
        if allowed.is_empty() {
            let mut worked: Vec<&Code> = worked.collect();
            worked.sort_unstable();
            worked.dedup();
            return worked.into_iter().map(of).fold(0, i64::saturating_add);
        }
        let mut seen: Vec<&Code> = allowed.iter().map(|a| &a.stage).collect();
        seen.sort_unstable();
        seen.dedup();
        seen.into_iter().map(of).fold(0, i64::saturating_add)
    }

    /// Overhead of so many sold hours.
    pub(crate) fn overhead_minor(&self, sold_us: i64) -> i64 {
        let rate = self.costs.overhead_per_hour_minor.unwrap_or(0);
        Fine::of_labour(rate, sold_us, NO_BURDEN_MILLI).rounded()
    }

    /// Price before any discount; nothing for a comeback, `None` where it has none.
    pub(crate) fn list_minor(&self) -> Option<i64> {
        self.promise.list_minor.map(piece)
    }

    /// What is left is a margin: wage burden and overhead were given.
    pub(crate) fn margin(&self) -> bool {
        self.costs.wage_burden_milli.is_some() && self.costs.overhead_per_hour_minor.is_some()
    }
}

/// Stops a price at what one piece may cost.
pub(crate) fn piece(minor: i64) -> i64 {
    minor.clamp(-PIECE_MINOR_MAX, PIECE_MINOR_MAX)
}

pub(crate) fn burden_milli(costs: &ShopCosts) -> u32 {
    costs.wage_burden_milli.unwrap_or(NO_BURDEN_MILLI)
}

/// Mean rate of the workers who are not retired, half to even.
fn mean_rate(catalogue: &Catalogue) -> Option<i64> {
    let working = catalogue.workers.values().filter(|w| !w.retired);
    let rates: Vec<i128> = working
        .filter_map(|w| w.rate_minor)
        .map(i128::from)
        .collect();
    let count = i128::try_from(rates.len()).ok().filter(|n| *n > 0)?;
    Some(clamp(divide_half_even(rates.iter().sum(), count)))
}
