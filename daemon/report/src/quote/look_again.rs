//! List prices that no longer fit, on strong evidence only.
//!
//! Held against its target is what a job of the type costs on average, as they
//! usually come in: unsure is the average alone. Nothing that was agreed with a
//! customer is read, so a discount is no evidence of anything.
//!
//! A price is shown from the job on after which it is 97.5 % sure that it misses
//! the target by enough to matter, until that falls under 90 %: with one bound for
//! both, noise would turn it on and off.

use baywright_floor::catalogues::Catalogues;
use baywright_learn::evidence::{self, Belief};
use baywright_learn::posterior;
use baywright_terms::catalogue::{Catalogue, JobType};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::cost::{margin_permille, price_minor};
use super::honesty::permille;
use super::learn::{Learnt, mean, to_f64, whole};
use super::records::JobRecord;
use super::residuals::Residuals;
use super::usual::{Usual, of_type};
use crate::figures::LookAgain;
use crate::money::in_shop_currency;

/// How sure it must be to be shown, and to stay.
const ENTER: f64 = 0.975;
const LEAVE: f64 = 0.9;

/// Jobs of the type below which a price is not judged: before them it is the
/// trade's guess that would judge it.
const JOBS_MIN: u32 = 5;

/// A cost this close to what it may be is near enough: two in a hundred where the
/// price asks too little, five where too much.
const NEAR_BELOW: f64 = 0.02;
const NEAR_ABOVE: f64 = 0.05;

/// What is believed of a type before any record: half the shops lie within a
/// quarter of the trade's allowance (common practice).
pub(crate) const PRIOR_SD: f64 = 0.4;

/// Prices to look at again, in order of type. None without a target margin of the
/// shop and a rate of labour.
pub fn look_again(
    learnt: &Learnt,
    records: &[JobRecord],
    catalogues: &Catalogues,
    at: Micros,
) -> Vec<LookAgain> {
    let catalogue = &catalogues.at(at).catalogue;
    let Some(residuals) = Residuals::of(learnt, catalogue) else {
        return Vec::new();
    };
    let types = catalogue.job_types.iter().filter(|(_, t)| !t.retired);
    types
        .filter(|(code, _)| learnt.jobs_of_type(code) >= JOBS_MIN)
        .filter_map(|(code, job_type)| {
            let usual = Usual::of(learnt, records, catalogue, code, job_type)?;
            of_usual(
                &usual,
                &residuals,
                learnt,
                records,
                catalogue,
                (code, job_type),
            )
        })
        .collect()
}

/// The price of one type, where it is to be looked at again.
pub(crate) fn of_usual(
    usual: &Usual<'_>,
    residuals: &Residuals<'_>,
    learnt: &Learnt,
    records: &[JobRecord],
    catalogue: &Catalogue,
    (code, job_type): (&Code, &JobType),
) -> Option<LookAgain> {
    let shop = catalogue.shop.as_ref()?;
    let target = shop.costs.target_margin_permille?;
    let list_minor = in_shop_currency(catalogue, job_type.price.as_ref()).filter(|m| *m > 0)?;
    let from_jobs = learnt.jobs_of_type(code);
    if from_jobs < JOBS_MIN || !usual.has_rate() {
        return None;
    }
    let mut costs = usual.costs_minor();
    let cost_minor = whole(mean(&costs));
    // What a job may cost at the list price.
    let may_cost = to_f64(list_minor) * (1.0 - f64::from(target) / 1_000.0);
    let above = to_f64(cost_minor) < may_cost;
    // Without wage burden and overhead a cost is too low to say that a price asks
    // too much.
    if above && !usual.is_margin() {
        return None;
    }
    let over = |bound: f64| {
        let over: Vec<f64> = costs
            .iter()
            .map(|c| f64::from(u8::from(*c > bound)))
            .collect();
        mean(&over)
    };
    let misses = |over: f64| if above { 1.0 - over } else { over };
    let probability = misses(over(may_cost));
    let enough = may_cost
        * if above {
            1.0 - NEAR_ABOVE
        } else {
            1.0 + NEAR_BELOW
        };
    let now = misses(over(enough));
    let path = beliefs(usual, residuals, &of_type(records, code));
    let critical = critical(usual, enough);
    let before = path.split_last().map_or(&[][..], |(_, before)| before);
    let was = before.iter().map(|belief| misses(belief.above(critical)));
    if !evidence::steady(was.chain([now]), ENTER, LEAVE) {
        return None;
    }
    let price = price_minor(cost_minor, target, &shop.currency);
    let sure = whole(posterior::quantile(&mut costs, 0.8).value);
    Some(LookAgain {
        job_type: code.clone(),
        list_minor,
        cost_minor,
        margin_permille: margin_permille(list_minor, cost_minor),
        target_margin_permille: target,
        probability_permille: permille(probability),
        price_minor: price,
        price_sure_minor: price_minor(sure, target, &shop.currency),
        from_jobs,
        above,
    })
}

/// What was believed after each job: labour against the given allowances, on the
/// log scale, out of what the fit says now. It stands for a fit after every job,
/// which would cost too much.
fn beliefs(usual: &Usual<'_>, residuals: &Residuals<'_>, jobs: &[&JobRecord]) -> Vec<Belief> {
    let offs: Vec<f64> = jobs
        .iter()
        .filter_map(|job| residuals.of_job(job))
        .collect();
    evidence::path(&offs, usual.belief(), PRIOR_SD, residuals.job_sd())
}

/// Logarithm of the labour, against the given allowances, at which a job costs
/// what it may.
fn critical(usual: &Usual<'_>, may_cost: f64) -> f64 {
    const HOUR_US: i64 = baywright_terms::time::HOUR_US;
    let fixed = to_f64(usual.cost_of(0));
    // A thousand hours, so that rounding to a minor unit is nothing.
    let hour = (to_f64(usual.cost_of(1_000 * HOUR_US)) - fixed) / 1_000.0;
    let hours = (may_cost - fixed) / hour;
    if hours <= 0.0 || !hours.is_finite() {
        return f64::NEG_INFINITY;
    }
    (hours * to_f64(HOUR_US) / usual.given_us).ln()
}
