//! The week in a few sentences, before any table.

use std::fmt::Write as _;

use baywright_proto::v1::{Week, WeekMoney};

use super::figure::{counted, difference_percent, hours_minutes};
use super::money::{Grounds, left_word, money};
use super::shortfall::{Outcome, mostly};

/// Causes named in a sentence; the table has them all.
const CAUSES_SAID_MAX: usize = 3;

/// Jobs and labour, money, and how it compares; a paragraph each.
pub(super) fn week(week: &Week) -> Vec<String> {
    let mut said = vec![labour(week)];
    if let Some(of_week) = week.money {
        said.extend(earned(&of_week, &week.currency));
        said.extend(against_quotes(week, &of_week));
    }
    said
}

/// What the money of the week rests on, where it is not sure; empty where it is.
pub(super) fn doubts(week: &Week) -> String {
    let Some(of_week) = week.money else {
        return String::new();
    };
    let grounds = Grounds {
        assumed: of_week.jobs_assumed,
        // Where no job has a price that is said already.
        unpriced: match of_week.jobs_priced {
            0 => 0,
            priced => of_week.jobs.saturating_sub(priced),
        },
        without_rate_us: of_week.labour_without_rate_us,
        uses_without_price: of_week.uses_without_price,
        unmeasured_minor: of_week.materials_unmeasured_minor,
        loose_minor: of_week.loose_materials_minor,
    };
    grounds.sentences(&week.currency).join(" ")
}

fn labour(week: &Week) -> String {
    let sum = |field: fn(&baywright_proto::v1::WeekType) -> i64| {
        week.types.iter().map(field).fold(0, i64::saturating_add)
    };
    let released = week.jobs.iter().filter(|job| job.released_us != 0).count();
    let jobs = counted(u64::try_from(released).unwrap_or(u64::MAX), "job", "jobs");
    let (quoted, actual) = (sum(|t| t.quoted_us), sum(|t| t.actual_us));
    let unquoted = sum(|t| t.actual_unquoted_us);
    let compared = actual.saturating_sub(unquoted);
    let went = format!("{jobs} released");
    if quoted <= 0 {
        let of_it = parts(week);
        return format!("{went}, with {} of labour{of_it}.", hours_minutes(actual));
    }
    let mut said = format!(
        "{went}: {} hours of labour quoted, {} worked{}",
        hours_minutes(quoted),
        hours_minutes(compared),
        off(compared, quoted),
    );
    said.push_str(&parts(week));
    said.push('.');
    if unquoted > 0 {
        let _ = write!(
            said,
            " Another {} went into jobs without an allowance.",
            hours_minutes(unquoted)
        );
    }
    said
}

/// `, 2:15 more (+16%)`; empty where nobody could tell them apart.
fn off(actual_us: i64, quoted_us: i64) -> String {
    if hours_minutes(actual_us) == hours_minutes(quoted_us) {
        return ", as quoted".to_owned();
    }
    let size = i64::try_from(actual_us.abs_diff(quoted_us)).unwrap_or(i64::MAX);
    let word = if actual_us > quoted_us {
        "more"
    } else {
        "less"
    };
    let percent = difference_percent(actual_us, quoted_us);
    format!(", {} {word} ({percent}%)", hours_minutes(size))
}

/// `; of it 2:45 rework, 0:40 unclosed`.
fn parts(week: &Week) -> String {
    let sum = |field: fn(&baywright_proto::v1::WeekType) -> i64| {
        week.types.iter().map(field).fold(0, i64::saturating_add)
    };
    let parts = of_it(
        sum(|t| t.rework_us),
        sum(|t| t.unclosed_us),
        sum(|t| t.declared_us),
    );
    if parts.is_empty() {
        parts
    } else {
        format!("; {parts}")
    }
}

/// `of it 2:45 rework, 0:40 unclosed, 0:30 declared`; empty where none is.
pub(super) fn of_it(rework_us: i64, unclosed_us: i64, declared_us: i64) -> String {
    let parts: Vec<String> = [
        (rework_us, "rework"),
        (unclosed_us, "unclosed"),
        (declared_us, "declared"),
    ]
    .into_iter()
    .filter(|(span, _)| *span > 0)
    .map(|(span, what)| format!("{} {what}", hours_minutes(span)))
    .collect();
    if parts.is_empty() {
        String::new()
    } else {
        format!("of it {}", parts.join(", "))
    }
}

fn earned(of_week: &WeekMoney, currency: &str) -> Vec<String> {
    let word = left_word(of_week.margin);
    let costs = [
        (of_week.labour_minor, "labour"),
        (of_week.materials_minor, "materials"),
        (of_week.supplies_minor, "supplies (standard, not measured)"),
        (of_week.overhead_minor, "overhead"),
    ];
    let costs: Vec<String> = costs
        .into_iter()
        .filter(|(minor, _)| *minor != 0)
        .map(|(minor, what)| format!("{what} {}", money(minor, currency)))
        .collect();
    if of_week.jobs_priced == 0 {
        if costs.is_empty() {
            return Vec::new();
        }
        let no_price = format!("No price is known for any job, so there is no {word}.");
        return vec![format!("{no_price} Costs: {}.", costs.join(", "))];
    }
    let mut said = format!(
        "Revenue {}, {word} {}",
        money(of_week.revenue_minor, currency),
        money(of_week.contribution_minor, currency),
    );
    if of_week.effective_hour_minor != 0 {
        let _ = write!(
            said,
            "; after materials an hour of labour brought {}",
            money(of_week.effective_hour_minor, currency)
        );
    }
    said.push('.');
    if !costs.is_empty() {
        let _ = write!(said, " Costs: {}.", costs.join(", "));
    }
    vec![said]
}

fn against_quotes(week: &Week, of_week: &WeekMoney) -> Option<String> {
    if of_week.jobs_quoted == 0 {
        return None;
    }
    let outcome = Outcome {
        quoted_minor: of_week.quoted_contribution_minor,
        actual_minor: of_week.contribution_of_quoted_minor,
        word: left_word(of_week.margin),
        currency: &week.currency,
    };
    let jobs = counted(u64::from(of_week.jobs_quoted), "quoted job", "quoted jobs");
    let short = outcome.short_minor();
    let size = i64::try_from(short.unsigned_abs()).unwrap_or(i64::MAX);
    let size = money(size, &week.currency);
    let how = match short.signum() {
        1 => format!("fell short of the quotes by {size}"),
        -1 => format!("gained {size} on the quotes"),
        _ => {
            return Some(format!(
                "Over {jobs} the {} came out as quoted.",
                outcome.word
            ));
        }
    };
    let mostly = mostly(&week.shortfalls, &outcome, CAUSES_SAID_MAX);
    let mostly = if mostly.is_empty() {
        mostly
    } else {
        format!(", mostly: {mostly}")
    };
    Some(format!("Over {jobs} the {} {how}{mostly}.", outcome.word))
}
