//! One cause of a shortfall, by job and stage or product.

use baywright_terms::amount::Money;
use baywright_terms::time::format_span;

use super::{Asked, Why, WhyLine, WhyUnit};
use crate::figures::{Cause, JobFigures, Shortfall, ShortfallPart};

/// What each job, stage or product took from the contribution.
pub(super) fn shortfall(
    asked: &Asked<'_, '_>,
    of: &Shortfall,
    whose: &str,
    jobs: &[&JobFigures],
) -> Why {
    let line = |part: &ShortfallPart| {
        let job = jobs.iter().find(|job| job.job == part.job);
        let (text, time_us) = told(asked, of.cause, part, job.copied());
        WhyLine {
            stage: part.stage.clone(),
            product: part.product.clone(),
            from: job.map(|job| job.opened),
            time_us,
            money_minor: part.amount_minor,
            seqs: part.seqs.clone(),
            ..WhyLine::of_job(part.job, asked.index, text)
        }
    };
    let lines = of.parts.iter().map(line).collect();
    let words = of.cause.as_str().replace('-', " ");
    let title = format!(
        "Shortfall by {words} {whose} released in {}.",
        asked.week.week
    );
    Why::of(title, formula(of.cause), WhyUnit::Minor, lines)
}

/// What a line says, and the labour it is about.
fn told(
    asked: &Asked<'_, '_>,
    cause: Cause,
    part: &ShortfallPart,
    job: Option<&JobFigures>,
) -> (String, i64) {
    let money = |minor| Money::new(minor, &asked.week.currency).to_string();
    let stage = job.and_then(|job| job.stages.iter().find(|s| s.stage == part.stage));
    let (actual_us, rework_us) = stage.map_or((0, 0), |s| (s.actual_us, s.rework_us));
    let first_us = actual_us.saturating_sub(rework_us);
    match (cause, stage) {
        (Cause::DiscountGiven, _) => {
            let prices = job.map(|job| (job.money.list_minor, job.money.revenue_minor));
            match prices {
                Some((Some(list), Some(agreed))) => {
                    (format!("list {}, agreed {}", money(list), money(agreed)), 0)
                }
                _ => ("agreed below the list".to_owned(), 0),
            }
        }
        (Cause::TookLonger, Some(stage)) if stage.allowed => {
            let took = format_span(first_us);
            let allowed = format_span(stage.quoted_us);
            (
                format!("took {took}, allowed {allowed}"),
                first_us.saturating_sub(stage.quoted_us),
            )
        }
        (Cause::TookLonger, Some(_)) => (
            format!("took {}, not allowed for", format_span(first_us)),
            first_us,
        ),
        (Cause::PaidMorePerHour, Some(_)) => (
            format!("{} at other rates", format_span(actual_us)),
            actual_us,
        ),
        (Cause::Rework, Some(_)) => (
            format!("done again for {}", format_span(rework_us)),
            rework_us,
        ),
        (Cause::TookLonger | Cause::PaidMorePerHour, None) => ("labour".to_owned(), 0),
        (Cause::UsedMore, _) => ("against its allowance".to_owned(), 0),
        (Cause::PaidMoreForIt, _) => ("at another price than at opening".to_owned(), 0),
        (Cause::Rework, None) => ("used to do it again".to_owned(), 0),
        (Cause::Waste, _) => ("its share of what was dumped".to_owned(), 0),
    }
}

/// In the words of the documentation of `money`.
fn formula(cause: Cause) -> &'static str {
    match cause {
        Cause::DiscountGiven => "list price at opening - agreed price",
        Cause::TookLonger => {
            "(first-pass hours - allowed hours) x standard rate: the labour efficiency variance \
             of the first pass"
        }
        Cause::PaidMorePerHour => {
            "sum of (actual rate - standard rate) x actual hours: the labour rate variance"
        }
        Cause::UsedMore => {
            "(first-pass quantity - allowed quantity) x standard price: the material usage \
             variance of the first pass"
        }
        Cause::PaidMoreForIt => {
            "sum of (actual price - standard price) x actual quantity: the material price variance"
        }
        Cause::Rework => {
            "hours of stages done again x standard rate + what was used on them x standard price"
        }
        Cause::Waste => "share of what was dumped x standard price",
    }
}
