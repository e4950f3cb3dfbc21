//! Money of several jobs: sums of what each of them shows.

use super::fine::Fine;
use crate::figures::{Cause, JobFigures, JobMoney, Shortfall, WeekMoney};
use crate::labour::count;
use crate::span::sum_us;

/// Sums over jobs. Loose materials belong to a span and are not in it.
pub(crate) fn sum(jobs: &[&JobFigures]) -> WeekMoney {
    let all = |of: &dyn Fn(&JobMoney) -> i64| sum_us(jobs.iter().map(|job| of(&job.money)));
    let priced: Vec<&&JobFigures> = jobs
        .iter()
        .filter(|job| job.money.revenue_minor.is_some())
        .collect();
    let over = |of: &dyn Fn(&JobMoney) -> i64| sum_us(priced.iter().map(|job| of(&job.money)));
    let quoted = || {
        let money = jobs.iter().map(|job| &job.money);
        money.filter_map(|money| Some((money, money.quoted?)))
    };
    let revenue_minor = over(&|m| m.revenue_minor.unwrap_or(0));
    let earned_minor = revenue_minor.saturating_sub(over(&|m| m.materials_minor));
    let assumed = priced.iter().filter(|job| job.money.revenue_assumed);
    WeekMoney {
        jobs: count(jobs.len()),
        jobs_priced: count(priced.len()),
        jobs_assumed: count(assumed.count()),
        revenue_minor,
        labour_minor: all(&|m| m.labour_minor),
        materials_minor: all(&|m| m.materials_minor),
        supplies_minor: all(&|m| m.supplies_minor),
        overhead_minor: all(&|m| m.overhead_minor),
        contribution_minor: over(&|m| m.contribution_minor),
        jobs_quoted: count(quoted().count()),
        quoted_contribution_minor: sum_us(quoted().map(|(_, q)| q.contribution_minor)),
        contribution_of_quoted_minor: sum_us(quoted().map(|(m, _)| m.contribution_minor)),
        effective_hour_minor: Fine::of_minor(earned_minor)
            .per_hour(sum_us(priced.iter().map(|job| job.actual_us))),
        loose_materials_minor: 0,
        margin: !jobs.is_empty() && jobs.iter().all(|job| job.money.margin),
        labour_without_rate_us: all(&|m| m.labour_without_rate_us),
        uses_without_price: jobs.iter().fold(0, |sum, job| {
            sum.saturating_add(job.money.uses_without_price)
        }),
        materials_unmeasured_minor: all(&|m| m.materials_unmeasured_minor),
    }
}

/// The shortfalls of several jobs, by cause; none where no job was quoted.
pub(crate) fn shortfalls_over(jobs: &[&JobFigures]) -> Vec<Shortfall> {
    if jobs.iter().all(|job| job.shortfalls.is_empty()) {
        return Vec::new();
    }
    let over = |cause: Cause| {
        let each = || {
            let shortfalls = jobs.iter().flat_map(|job| &job.shortfalls);
            shortfalls.filter(move |shortfall| shortfall.cause == cause)
        };
        Shortfall {
            cause,
            amount_minor: sum_us(each().map(|s| s.amount_minor)),
            labour_minor: sum_us(each().map(|s| s.labour_minor)),
            materials_minor: sum_us(each().map(|s| s.materials_minor)),
            parts: each().flat_map(|s| s.parts.iter().cloned()).collect(),
        }
    };
    Cause::ALL.into_iter().map(over).collect()
}
