//! Products that nobody meters, shared out between their refills.
//!
//! What refill *k* put in was used since refill *k* − 1, in the whole shop: the
//! bottle was full then and is full again. Taken off first is what was
//! measured by hand in between, neat and in the same unit; jobs that measured
//! it are done with. The rest is shared over the other jobs that were worked on
//! in between and are allowed the product, in proportion to
//!
//! ```text
//! weight = allowance × hands-on time in between ÷ hands-on time at all
//! ```
//!
//! rounded half to even to a whole nanolitre (microgram, thousandth), by largest
//! remainders, jobs in the order of their keys. So the shares and what was
//! measured add up to the refill, unless more was measured than went in. If
//! every such job measured, they share the rest; what no job can have taken is
//! nobody's.
//!
//! Before the first refill on record and after the last, and where a refill
//! gives no amount or one in another unit than the allowance, nobody knows;
//! there the weight itself stands in, and is marked so. Refills at one instant
//! are one. An opened bottle is not a refill: a canister that small bottles
//! are filled from would count twice. A comeback is allowed nothing and takes
//! no share.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{JobKey, Seq};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::share::shares;
use super::{Basis, Shared, Taken};
use crate::chemicals::{in_summing_unit, parts_of_use};
use crate::figures::{Portion, PortionUnit};
use crate::input::{Index, JobRows};
use crate::promise::Promise;
use crate::span::{clamp, divide_half_even};

/// What went in at one instant.
#[derive(Debug)]
struct Refill {
    at: Micros,
    /// `None`: no amount was given, or amounts in several units.
    amount: Option<Portion>,
    seqs: Vec<Seq>,
}

/// A job that is allowed the product, with its weight between two refills.
#[derive(Debug)]
struct Sharer {
    job: JobKey,
    weight: Portion,
    /// The last hands-on time in between.
    at: Micros,
}

/// Between two refills of a product: who worked, and what was measured.
#[derive(Debug, Default)]
struct Interval {
    sharers: Vec<Sharer>,
    measured: BTreeMap<PortionUnit, i64>,
    measured_by: BTreeSet<JobKey>,
}

pub(super) fn share(shared: &mut Shared, index: &Index<'_>, catalogues: &Catalogues) {
    for (product, jobs) in allowed(index, catalogues) {
        let refills = refills_of(index, catalogues, &product);
        let mut intervals: Vec<Interval> =
            (0..=refills.len()).map(|_| Interval::default()).collect();
        for (job, rows, allowance) in jobs {
            add_work(&mut intervals, &refills, job, rows, allowance);
        }
        add_measured(&mut intervals, &refills, index, catalogues, &product);
        for (number, interval) in intervals.iter().enumerate() {
            // The interval before the first refill has no beginning, the one
            // after the last no end.
            let refill = refills.get(number).filter(|_| number > 0);
            share_interval(shared, &product, interval, refill);
        }
    }
}

/// Jobs by the unmetered products that they are allowed.
fn allowed<'i, 'a>(
    index: &'i Index<'a>,
    catalogues: &Catalogues,
) -> BTreeMap<Code, Vec<(JobKey, &'i JobRows<'a>, Portion)>> {
    let mut products: BTreeMap<Code, Vec<(JobKey, &JobRows<'_>, Portion)>> = BTreeMap::new();
    for (job, rows) in &index.jobs {
        let Some(opened) = rows.opened.filter(|o| o.comeback_of.is_none()) else {
            continue;
        };
        let promise = Promise::of(index, catalogues, opened);
        let catalogue = promise.catalogue;
        for allowance in promise.products.as_ref() {
            let product = &allowance.product;
            if catalogue.products.get(product).is_some_and(|p| p.unmetered) {
                let amount = in_summing_unit(allowance.amount.quantity(), catalogue, product);
                products
                    .entry(product.clone())
                    .or_default()
                    .push((*job, rows, amount));
            }
        }
    }
    // A refill that no job can be found for is shown too.
    for (product, refills) in &index.refills {
        let is_unmetered = |at: Micros| {
            let known = catalogues.at(at).catalogue.products.get(*product);
            known.is_some_and(|known| known.unmetered)
        };
        if refills.iter().any(|refill| is_unmetered(refill.at)) {
            products.entry((*product).clone()).or_default();
        }
    }
    products
}

/// Refills in order of time, those of one instant together.
fn refills_of(index: &Index<'_>, catalogues: &Catalogues, product: &Code) -> Vec<Refill> {
    let mut refills: Vec<Refill> = Vec::new();
    for row in index.refills.get(product).into_iter().flatten() {
        let catalogue = &catalogues.at(row.at).catalogue;
        let amount = row
            .quantity
            .map(|quantity| in_summing_unit(quantity, catalogue, product));
        match refills.last_mut().filter(|last| last.at == row.at) {
            Some(same) => {
                same.amount = same.amount.zip(amount).and_then(|(one, other)| {
                    let base = one.base.saturating_add(other.base);
                    (one.unit == other.unit).then_some(Portion { base, ..one })
                });
                same.seqs.push(row.seq);
            }
            None => refills.push(Refill {
                at: row.at,
                amount,
                seqs: vec![row.seq],
            }),
        }
    }
    refills
}

/// The number of the interval that an instant lies in: 0 before the first refill.
fn interval_at(refills: &[Refill], at: Micros) -> usize {
    refills.partition_point(|refill| refill.at <= at)
}

/// Cuts a job's hands-on time at the refills and gives each piece its weight.
fn add_work(
    intervals: &mut [Interval],
    refills: &[Refill],
    job: JobKey,
    rows: &JobRows<'_>,
    allowance: Portion,
) {
    let mut worked: BTreeMap<usize, (i128, Micros)> = BTreeMap::new();
    let mut all_us = 0_i128;
    for stretch in &rows.hands_on {
        let mut from = stretch.from;
        for number in interval_at(refills, stretch.from).. {
            let until = refills
                .get(number)
                .map_or(stretch.until, |refill| refill.at.min(stretch.until));
            if until <= from {
                break;
            }
            let us = i128::from(until.0) - i128::from(from.0);
            let (sum, last) = worked.entry(number).or_insert((0, until));
            *sum += us;
            *last = until.max(*last);
            all_us += us;
            from = until;
        }
    }
    for (number, (us, at)) in worked {
        let base = i128::from(allowance.base.max(0)).saturating_mul(us);
        if let Some(interval) = intervals.get_mut(number) {
            interval.sharers.push(Sharer {
                job,
                weight: Portion {
                    base: clamp(divide_half_even(base, all_us)),
                    ..allowance
                },
                at,
            });
        }
    }
}

fn add_measured(
    intervals: &mut [Interval],
    refills: &[Refill],
    index: &Index<'_>,
    catalogues: &Catalogues,
    product: &Code,
) {
    let of_jobs = index.jobs.values().flat_map(|rows| &rows.uses);
    let neat = of_jobs
        .chain(&index.loose_uses)
        .filter(|used| used.mix.is_none() && used.product == *product);
    for used in neat {
        let Some(interval) = intervals.get_mut(interval_at(refills, used.at)) else {
            continue;
        };
        for (_, part) in parts_of_use(index, catalogues, used) {
            let sum = interval.measured.entry(part.unit).or_default();
            *sum = sum.saturating_add(part.base.max(0));
            interval.measured_by.extend(used.job);
        }
    }
}

fn share_interval(
    shared: &mut Shared,
    product: &Code,
    interval: &Interval,
    refill: Option<&Refill>,
) {
    let taken = |at: Micros, amount: Portion, basis: Basis, seqs: &[Seq]| Taken {
        product: product.clone(),
        amount,
        at,
        lot: String::new(),
        rework: false,
        waste: false,
        basis,
        seqs: seqs.to_vec(),
    };
    let measured = |sharer: &&Sharer| interval.measured_by.contains(&sharer.job);
    let known = refill.and_then(|refill| refill.amount.zip(Some(refill)));
    let in_unit =
        |sharer: &&Sharer| known.is_some_and(|(amount, _)| amount.unit == sharer.weight.unit);
    if let Some((amount, refill)) = known {
        let by_hand = interval.measured.get(&amount.unit).copied().unwrap_or(0);
        let rest = amount.base.saturating_sub(by_hand).max(0);
        let all: Vec<&Sharer> = interval.sharers.iter().filter(in_unit).collect();
        let others: Vec<&Sharer> = all.iter().copied().filter(|s| !measured(s)).collect();
        let weights = |sharers: &[&Sharer]| -> Vec<i64> {
            sharers.iter().map(|sharer| sharer.weight.base).collect()
        };
        let parts = shares(rest, &weights(&others))
            .map(|parts| (others, parts))
            .or_else(|| shares(rest, &weights(&all)).map(|parts| (all, parts)));
        let portion = |base: i64| Portion { base, ..amount };
        match parts {
            Some((sharers, parts)) => {
                for (sharer, base) in sharers.into_iter().zip(parts) {
                    let part = taken(sharer.at, portion(base), Basis::Apportioned, &refill.seqs);
                    shared.add(Some(sharer.job), part);
                }
            }
            None if rest > 0 => {
                let part = taken(refill.at, portion(rest), Basis::Apportioned, &refill.seqs);
                shared.add(None, part);
            }
            None => {}
        }
    }
    let not_known = |sharer: &&Sharer| !in_unit(sharer) && !measured(sharer);
    for sharer in interval.sharers.iter().filter(not_known) {
        let part = taken(sharer.at, sharer.weight, Basis::Allowance, &[]);
        shared.add(Some(sharer.job), part);
    }
}
