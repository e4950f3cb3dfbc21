//! Money of jobs: what they cost, and why they fell short of their quote.
//!
//! # Standards
//!
//! A job is held against the quote it was accepted with, as it was printed last
//! before, with the rates and prices of the catalogue at that instant; without a
//! quote against the catalogue in force when it was opened ([`crate::promise`]).
//! Later prices, rates and allowances do not move it:
//!
//! - the *standard hours* of a stage are its allowance;
//! - the *standard rate* is the shop's, without it the plain mean of the rates
//!   of the workers who are not retired (rounded half to even to a minor unit),
//!   without any the labour is quoted at nothing and said to have no rate;
//! - the *wage burden* multiplies every rate;
//! - the *standard quantity* of a product is its allowance, its *standard
//!   price* the catalogue's.
//!
//! A comeback is quoted nothing and, unless somebody agreed on a price for it,
//! sold for nothing: all of its labour and materials are rework.
//!
//! # Actual costs
//!
//! Each stretch of work costs the rate of its own worker, with the wage burden,
//! as the catalogue gave them while it was worked; a stretch is cut where they
//! changed. Nobody named, a worker without a rate and minutes declared at
//! release cost the standard rate. A product costs the price of the named lot,
//! else of the last receipt, else of the catalogue when it was used
//! ([`price`]). Supplies (towels, pads, gloves, machine wear, water) and
//! overhead are standards, not measured: the same in the quote and in the
//! actual cost, so that nothing falls short by them.
//!
//! # Why a job fell short
//!
//! `quoted contribution − actual contribution` is the sum of seven causes, to
//! the minor unit. In the terms of standard costing, where unfavourable
//! variances are positive:
//!
//! | cause | formula | variance |
//! |---|---|---|
//! | discount given | list price − agreed price | (selling price) |
//! | took longer | (first-pass hours − standard hours) × standard rate | labour efficiency |
//! | paid more per hour | Σ (actual rate − standard rate) × actual hours | labour rate |
//! | used more | (first-pass quantity − standard quantity) × standard price | material usage |
//! | paid more for it | Σ (actual price − standard price) × actual quantity | material price |
//! | rework | rework hours × standard rate + rework quantity × standard price | efficiency and usage |
//! | waste | dumped share × standard price | usage |
//!
//! Took longer, used more, rework and waste are the efficiency and usage
//! variances of the textbooks, parted by what the hour or the litre was for.
//! Where no list price is known, the agreed price is the list and nothing was
//! given. A product or worker that the catalogue at opening has no price for is
//! measured with what was paid, so that all of it is *used more* or *took
//! longer*. A product that nobody metered and no refill told about stands at
//! its allowance, on both sides. Amounts that cannot be converted into each
//! other are compared within each unit.
//!
//! # Rounding
//!
//! Labour is exact in parts of a minor unit, materials are kept to
//! 3 × 10⁻¹³ of one ([`fine`]). A job's labour and its materials are each
//! rounded once, half to even, in the quote and in the actual cost; what they
//! are made of is shared out by largest remainder, causes first and then the
//! stages and products in each, so that everything printed adds up. Sums over
//! jobs are sums of what the jobs show.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_terms::code::Code;

use crate::figures::PortionUnit;
use crate::input::{Index, JobRows};
use crate::materials::Taken;

mod account;
mod bays;
mod fine;
mod goods;
mod loose;
pub(crate) mod price;
mod standard;
mod sums;
mod work;

pub(crate) use account::{Account, ProductMoney};
pub(crate) use bays::contribution_per_hour_minor;
pub(crate) use fine::Fine;
use fine::shared;
pub(crate) use loose::{loose_materials_minor, loose_products};
pub(crate) use price::in_shop_currency;
pub(crate) use standard::Standard;
pub(crate) use sums::{shortfalls_over, sum};

/// Money of each product of one job in each of its units. The costs add up to
/// the job's `materials_minor`, the allowances to its quoted materials: figures
/// of several jobs are sums of these.
pub(crate) fn products(
    index: &Index<'_>,
    catalogues: &Catalogues,
    rows: &JobRows<'_>,
) -> BTreeMap<(Code, PortionUnit), ProductMoney> {
    Account::of(index, catalogues, rows)
        .map(|account| account.products())
        .unwrap_or_default()
}

/// What each of several amounts that no job took cost, so that they add up to
/// `whole_minor`.
pub(crate) fn shared_costs(
    index: &Index<'_>,
    catalogues: &Catalogues,
    whole_minor: i64,
    taken: &[&Taken],
) -> Vec<i64> {
    let cost = |taken: &&Taken| {
        let (lot, unit) = (taken.lot.as_str(), taken.amount.unit);
        let price = price::actual(index, catalogues, &taken.product, lot, taken.at, unit);
        price.map(|price| price.cost(taken.amount.base))
    };
    let costs: Vec<Fine> = taken.iter().map(|t| cost(t).unwrap_or_default()).collect();
    shared(whole_minor, &costs)
}
