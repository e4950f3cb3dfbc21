//! The two weeks ahead: what is promised against what is open.

use std::fmt::Write as _;

use baywright_proto::v1::{Ahead, AheadWeek};

use super::figure::{counted, hours_minutes};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// Jobs that are named; two weeks of a shop seldom hold more.
const JOBS_SHOWN_MAX: usize = 12;

/// The section; empty where nothing is promised and no hour is open.
pub(super) fn ahead(ahead: &Ahead, page: usize) -> String {
    if is_nothing(ahead) {
        return String::new();
    }
    let mut out = section("The two weeks ahead, hours:minutes", page);
    for said in sentences(ahead) {
        push(&mut out, &said, page);
    }
    let mut table = Table::new([
        Column::text("week"),
        Column::number("labour\nopen"),
        Column::number("promised\nhalf"),
        Column::number("4 in 5"),
        Column::number("bays\nopen"),
        Column::number("promised\nhalf"),
        Column::number("4 in 5"),
    ]);
    for week in &ahead.weeks {
        table.row([
            week.week.clone(),
            hours_minutes(week.worker_open_us),
            hours_minutes(week.promised_half_us),
            hours_minutes(week.promised_p80_us),
            hours_minutes(week.bay_open_us),
            hours_minutes(week.promised_bay_half_us),
            hours_minutes(week.promised_bay_p80_us),
        ]);
    }
    out.push_str(&table.render(page));
    out.push_str(&jobs(ahead, page));
    out
}

/// True where there is nothing to say of the two weeks.
pub(crate) fn is_nothing(ahead: &Ahead) -> bool {
    let idle = |week: &AheadWeek| {
        week.worker_open_us == 0 && week.bay_open_us == 0 && week.promised_p80_us == 0
    };
    ahead.jobs.is_empty() && ahead.quotes_open == 0 && ahead.weeks.iter().all(idle)
}

/// Whether it fits, week by week, and what else may come.
pub(crate) fn sentences(ahead: &Ahead) -> Vec<String> {
    let mut said: Vec<String> = ahead.weeks.iter().map(of_week).collect();
    if ahead.no_day_half_us > 0 || ahead.no_day_p80_us > 0 {
        said.push(format!(
            "Of it {} (half) to {} (four in five) has no day yet, and is counted from the first week on.",
            hours_minutes(ahead.no_day_half_us),
            hours_minutes(ahead.no_day_p80_us)
        ));
    }
    if ahead.quotes_open > 0 {
        said.push(format!(
            "{} still open: {} more (half) if all of them are won.",
            counted(u64::from(ahead.quotes_open), "quote is", "quotes are"),
            hours_minutes(ahead.quotes_open_half_us)
        ));
    }
    said
}

fn of_week(week: &AheadWeek) -> String {
    let name = clean(&week.week);
    if week.promised_half_us == 0 && week.promised_p80_us == 0 {
        return format!("{name}: nothing is promised.");
    }
    let mut said = format!(
        "{name}: {} of labour promised, {} open: {}.",
        hours_minutes(week.promised_half_us),
        hours_minutes(week.worker_open_us),
        fits(
            week.worker_open_us,
            week.promised_half_us,
            week.promised_p80_us
        ),
    );
    if week.promised_bay_p80_us > 0 {
        let bays = fits(
            week.bay_open_us,
            week.promised_bay_half_us,
            week.promised_bay_p80_us,
        );
        let _ = write!(
            said,
            " In the bays {} of {}: {bays}.",
            hours_minutes(week.promised_bay_half_us),
            hours_minutes(week.bay_open_us),
        );
    }
    said
}

/// Whether what is promised fits into what is open, in such weeks.
fn fits(open_us: i64, half_us: i64, p80_us: i64) -> String {
    let over = |promised: i64| hours_minutes(promised.saturating_sub(open_us));
    if open_us == 0 {
        "no open hours are left".to_owned()
    } else if half_us > open_us {
        format!("{} too much", over(half_us))
    } else if p80_us > open_us {
        format!(
            "half of such weeks fit, four in five need {} more",
            over(p80_us)
        )
    } else {
        "four in five such weeks fit".to_owned()
    }
}

fn jobs(ahead: &Ahead, page: usize) -> String {
    if ahead.jobs.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::number("job"),
        Column::text("job type"),
        Column::text("vehicle"),
        Column::text("day"),
        Column::number("done"),
        Column::number("left\nhalf"),
        Column::number("4 in 5"),
    ]);
    for job in ahead.jobs.iter().take(JOBS_SHOWN_MAX) {
        table.row([
            job.job_number.to_string(),
            job.job_type.clone(),
            job.vehicle.clone(),
            if job.planned_date.is_empty() {
                "none yet".to_owned()
            } else {
                job.planned_date.clone()
            },
            hours_minutes(job.done_us),
            hours_minutes(job.left_half_us),
            hours_minutes(job.left_p80_us),
        ]);
    }
    let mut out = format!("\n{}", table.render(page));
    if let Some(more) = ahead
        .jobs
        .len()
        .checked_sub(JOBS_SHOWN_MAX)
        .filter(|n| *n > 0)
    {
        push(&mut out, &format!("and {more} more"), page);
    }
    out
}
