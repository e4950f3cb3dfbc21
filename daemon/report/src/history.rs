//! Weeks before this one, each as a point of a line.

use crate::days::BayTimes;
use crate::figures::{JobFigures, RatioSpread, WeekPoint};
use crate::labour::count;
use crate::money;
use crate::quantile::quantile;
use crate::span::{Span, clamp, divide_half_even, sum_us};
use crate::throughput::utilisation_permille;
use crate::window::PastWeek;
use baywright_terms::time::Micros;

/// The points of `weeks`, out of the jobs released in all of them, which are in
/// order of release.
pub(crate) fn points(
    weeks: &[PastWeek],
    jobs: &[&JobFigures],
    times: &BayTimes<'_>,
    as_of: Micros,
) -> Vec<WeekPoint> {
    weeks
        .iter()
        .map(|week| {
            let span = Span::new(week.from, week.until);
            let first = jobs.partition_point(|job| job.released < Some(span.from));
            let after = jobs.partition_point(|job| job.released < Some(span.until));
            let jobs = jobs.get(first..after).unwrap_or_default();
            let counted = Span::new(span.from, span.until.min(as_of));
            point(week, jobs, times, counted)
        })
        .collect()
}

fn point(week: &PastWeek, jobs: &[&JobFigures], times: &BayTimes<'_>, counted: Span) -> WeekPoint {
    let money = money::sum(jobs);
    WeekPoint {
        week: week.week.to_string(),
        from: week.from,
        jobs: count(jobs.len()),
        quoted_us: sum_us(jobs.iter().filter_map(|job| job.quoted_us)),
        actual_us: sum_us(jobs.iter().map(|job| job.actual_us)),
        ratio_permille: ratios(jobs),
        revenue_minor: money.revenue_minor,
        contribution_minor: money.contribution_minor,
        effective_hour_minor: money.effective_hour_minor,
        utilisation_permille: utilisation_permille(times.sum_of_all(counted)),
        rework_us: sum_us(jobs.iter().map(|job| job.rework_us)),
    }
}

/// Actual over quoted labour of each job that was quoted anything; a comeback,
/// which is quoted nothing, has no ratio.
fn ratios(jobs: &[&JobFigures]) -> Option<RatioSpread> {
    let quoted = jobs.iter().filter_map(|job| {
        let quoted_us = job.quoted_us.filter(|us| *us > 0)?;
        let thousandths = i128::from(job.actual_us) * 1000;
        Some(clamp(divide_half_even(thousandths, i128::from(quoted_us))))
    });
    let mut ordered: Vec<i64> = quoted.collect();
    ordered.sort_unstable();
    let at = |numerator, denominator| {
        let ratio = quantile(&ordered, numerator, denominator)?;
        Some(u32::try_from(ratio).unwrap_or(u32::MAX))
    };
    Some(RatioSpread {
        p20: at(1, 5)?,
        half: at(1, 2)?,
        p80: at(4, 5)?,
    })
}
