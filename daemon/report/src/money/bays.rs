//! Contribution for an hour of bay time.

use std::collections::BTreeMap;

use baywright_floor::timeline;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::fine::Fine;
use crate::figures::JobFigures;
use crate::input::{Index, JobRows};
use crate::labour::is_bay;
use crate::span::sum_us;

/// Of each bay: what the priced jobs contributed for each hour that they took
/// in any bay, weighted by their hours in this one,
/// `Σ contribution × (time here ÷ time in bays) ÷ Σ time here`.
pub(crate) fn contribution_per_hour_minor(
    index: &Index<'_>,
    as_of: Micros,
    jobs: &[JobFigures],
) -> BTreeMap<Code, i64> {
    let mut bays: BTreeMap<&Code, (Fine, i64)> = BTreeMap::new();
    for job in jobs.iter().filter(|j| j.money.revenue_minor.is_some()) {
        let Some(rows) = index.jobs.get(&job.job) else {
            continue;
        };
        let stays = time_in_bays(rows, as_of);
        let anywhere_us = sum_us(stays.values().copied());
        for (bay, us) in stays {
            let (contribution, time_us) = bays.entry(bay).or_default();
            *contribution += Fine::share(job.money.contribution_minor, us, anywhere_us);
            *time_us = time_us.saturating_add(us);
        }
    }
    bays.into_iter()
        .filter_map(|(bay, (sum, us))| Some((bay.clone(), sum.per_hour(us)?)))
        .collect()
}

/// How long a job stood in each bay. Stays that overlap are one.
pub(crate) fn time_in_bays<'a>(rows: &JobRows<'a>, as_of: Micros) -> BTreeMap<&'a Code, i64> {
    let mut stays: BTreeMap<&Code, Vec<(i64, i64)>> = BTreeMap::new();
    for stay in rows.presences.iter().filter(|stay| is_bay(&stay.place)) {
        let until = stay.until.unwrap_or(as_of);
        stays
            .entry(&stay.place)
            .or_default()
            .push((stay.from.0, until.0));
    }
    let length_us = |stays: Vec<(i64, i64)>| {
        let merged = timeline::merged(&stays).into_iter();
        sum_us(merged.map(|(from, until)| until.saturating_sub(from)))
    };
    stays
        .into_iter()
        .map(|(bay, stays)| (bay, length_us(stays)))
        .collect()
}
