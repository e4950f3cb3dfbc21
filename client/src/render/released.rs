//! The jobs that went out, each with its labour and what is left of it.

use baywright_proto::v1::{Week, WeekJob};

use super::calendar::Calendar;
use super::in_words::of_it;
use super::money::{figure, left_heading, left_word, money};
use super::shortfall::{Outcome, mostly};
use super::table::{Column, Table};
use super::text::{clean, push, section};
use super::types::against;

/// Causes named below a job; `bay job` has them all.
const CAUSES_SAID_MAX: usize = 2;

/// The section; empty where no job was released.
pub(super) fn jobs(jobs: &[&WeekJob], week: &Week, calendar: &Calendar, page: usize) -> String {
    if jobs.is_empty() {
        return String::new();
    }
    let priced = jobs
        .iter()
        .any(|job| job.money.is_some_and(|money| money.revenue_known));
    let mut columns = vec![
        Column::text("job"),
        Column::text("out"),
        Column::text("job type"),
        Column::text("vehicle"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
    ];
    if priced {
        let margin = week.money.is_some_and(|money| money.margin);
        let currency = clean(&week.currency);
        columns.push(Column::number(left_heading(margin, &currency)));
    }
    let mut table = Table::of(columns);
    for job in jobs {
        table.row_of(cells(job, week, calendar));
        for note in notes(job, &week.currency) {
            table.note(&format!("      {note}"));
        }
    }
    let mut out = section("Jobs released, labour in hours:minutes", page);
    out.push_str(&table.render(page));
    out.push_str(&legend(jobs, page));
    out
}

fn cells(job: &WeekJob, week: &Week, calendar: &Calendar) -> Vec<String> {
    let quoted = (!job.no_allowance).then_some(job.quoted_us);
    let [quoted, actual, differs, _] = against(quoted, job.actual_us, job.actual_us);
    // A day of the month says nothing where several months are shown.
    let day = if week.until_us.saturating_sub(week.from_us) > DAYS_OF_MONTH_MAX_US {
        calendar.day_and_month(job.released_us)
    } else {
        calendar.day_of_month(job.released_us)
    };
    let left = job.money.filter(|money| money.revenue_known);
    vec![
        job_name(job),
        day,
        job.job_type.clone(),
        job.vehicle.clone(),
        quoted,
        actual,
        differs,
        left.map_or_else(String::new, |money| {
            figure(money.contribution_minor, &week.currency)
        }),
    ]
}

/// Spans up to four weeks hold each day of the month once.
const DAYS_OF_MONTH_MAX_US: i64 = 28 * 24 * 3_600_000_000;

fn notes(job: &WeekJob, currency: &str) -> Vec<String> {
    let mut notes = uncertain(job);
    if is_worth_saying(job)
        && let Some(said) = against_quote(job, currency, CAUSES_SAID_MAX)
    {
        notes.push(said);
    }
    notes
}

/// True where it is off its quote by a twentieth of its price or more; a
/// comeback has no price.
fn is_worth_saying(job: &WeekJob) -> bool {
    job.money.is_some_and(|money| {
        let off = money
            .quoted_contribution_minor
            .abs_diff(money.contribution_minor);
        u128::from(off) * 20 >= u128::from(money.revenue_minor.unsigned_abs())
    })
}

/// `fell short by EUR 137.45: discount given 50.00, rework 46.30`;
/// `None` where nothing was quoted or nothing differs.
pub(super) fn against_quote(job: &WeekJob, currency: &str, most: usize) -> Option<String> {
    let of_job = job
        .money
        .filter(|money| money.quoted && money.revenue_known)?;
    let outcome = Outcome {
        quoted_minor: of_job.quoted_contribution_minor,
        actual_minor: of_job.contribution_minor,
        word: left_word(of_job.margin),
        currency,
    };
    let short = outcome.short_minor();
    let size = money(
        i64::try_from(short.unsigned_abs()).unwrap_or(i64::MAX),
        currency,
    );
    let how = match short.signum() {
        1 => format!("fell short by {size}"),
        -1 => format!("gained {size}"),
        _ => return None,
    };
    let mostly = mostly(&job.shortfalls, &outcome, most);
    Some(if mostly.is_empty() {
        how
    } else {
        format!("{how}: {mostly}")
    })
}

/// The number of a job, or the handle of one that has none yet.
pub(super) fn job_name(job: &WeekJob) -> String {
    if job.number == 0 {
        job.handle.clone()
    } else {
        job.number.to_string()
    }
}

/// What to know about the labour of a job before trusting it.
pub(super) fn uncertain(job: &WeekJob) -> Vec<String> {
    let mut lines = Vec::new();
    if job.comeback_of != 0 {
        lines.push(format!("puts job {} right", job.comeback_of));
    }
    let of_it = of_it(job.rework_us, job.unclosed_us, job.declared_us);
    if !of_it.is_empty() {
        lines.push(of_it);
    }
    lines
}

fn legend(jobs: &[&WeekJob], page: usize) -> String {
    let mut words = Vec::new();
    if jobs.iter().any(|job| job.unclosed_us > 0) {
        words.push("Unclosed: nobody ended the stage, so it was cut at closing.");
    }
    if jobs.iter().any(|job| job.declared_us > 0) {
        words.push("Declared: stated at release, not recorded.");
    }
    let mut out = String::new();
    if !words.is_empty() {
        push(&mut out, &words.join(" "), page);
    }
    out
}
