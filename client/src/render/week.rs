//! The owner's Friday: one week of the shop on a page, or a longer span.

use baywright_proto::v1::{Week, WeekJob};

use super::calendar::Calendar;
use super::figure::counted;
use super::money::left_word;
use super::settle::{self, Detail};
use super::shortfall::{Outcome, shortfalls};
use super::text::{clean, push, section};
use super::{
    ahead, bays, chemicals, coating, flow, history, honesty, in_words, look_again, released, types,
    won,
};

/// Odd records that the week shows before it points to `bay settle`.
const ODD_SHOWN_MAX: usize = 6;

/// What is shown of a week besides what every week shows.
#[derive(Debug, Clone, Default)]
pub struct Shown {
    /// Every stage of every job type.
    pub stages: bool,
    /// The command line that asked for it, to be asked again with another
    /// flag; empty: `bay week`.
    pub command: String,
}

/// The week as text of at most `page` columns.
pub fn week(week: &Week, shown: &Shown, page: usize) -> String {
    let calendar = Calendar::of(&week.zone);
    let mut out = head(week, &calendar, page);
    if !week.remark.is_empty() {
        push(&mut out, &clean(&week.remark), page);
    }
    let log_is_empty = week.log_from_us == 0 && week.log_until_us == 0;
    if log_is_empty {
        if week.remark.is_empty() {
            push(
                &mut out,
                "The log is empty: nothing has been posted yet.",
                page,
            );
        }
        return out;
    }
    // A span before the first record, or one that has not begun.
    let is_outside =
        week.until_us <= week.log_from_us || (week.as_of_us != 0 && week.from_us >= week.as_of_us);
    if is_outside && !week.remark.is_empty() && week.jobs.is_empty() {
        return out;
    }
    let released: Vec<&WeekJob> = week.jobs.iter().filter(|j| j.released_us != 0).collect();
    if !released.is_empty() {
        out.push('\n');
        for said in in_words::week(week) {
            push(&mut out, &said, page);
        }
    } else if week.remark.is_empty() {
        out.push('\n');
        let none = format!("No job was released in {}.", clean(&week.week));
        push(&mut out, &none, page);
    }
    // A week that has not begun has no bay time to show.
    if !week.bays.is_empty() && (week.counted_until_us > week.from_us || week.as_of_us == 0) {
        out.push_str(&bays::bays(week, page));
    }
    out.push_str(&why_short(week, page));
    out.push_str(&look_again::look_again(
        &week.look_again,
        &week.currency,
        page,
    ));
    let doubts = in_words::doubts(week);
    if !doubts.is_empty() {
        out.push_str(&section("What the money rests on", page));
        push(&mut out, &doubts, page);
    }
    out.push_str(&types::types(week, shown.stages, page));
    out.push_str(&released::jobs(&released, week, &calendar, page));
    out.push_str(&won::won(&week.quotes, &week.currency, page));
    if let Some(of_week) = &week.honesty {
        out.push_str(&honesty::of_week(of_week, page));
    }
    if let Some(two_weeks) = &week.ahead {
        out.push_str(&ahead::ahead(two_weeks, page));
    }
    out.push_str(&chemicals::chemicals(week, page));
    out.push_str(&flow::flow(week, page));
    out.push_str(&history::history(week, page));
    out.push_str(&coating::coating(week, &calendar, page));
    out.push_str(&odd(week, &calendar, page));
    out.push_str(&foot(week, shown, page));
    out
}

fn head(week: &Week, calendar: &Calendar, page: usize) -> String {
    let shop = if week.shop.is_empty() {
        String::new()
    } else {
        format!("{}, ", clean(&week.shop))
    };
    // A span that is no single week is named by its ends.
    let name = clean(&week.week);
    let is_week = name.contains("-W") && !name.contains(" to ");
    let what = if is_week { "week " } else { "" };
    let mut out = String::new();
    push(&mut out, &format!("{shop}{what}{name}"), page);
    let last_us = week.until_us.saturating_sub(1);
    let last = calendar.day(last_us);
    // A week may begin in the year before.
    let first = calendar.day(week.from_us);
    let first = match (first.rsplit_once(' '), last.rsplit_once(' ')) {
        (Some((day, year)), Some((_, same))) if year == same => day,
        _ => &first,
    };
    let dates = format!("{first} to {last}, {} time", clean(calendar.zone_name()));
    push(&mut out, &dates, page);
    if week.as_of_us != 0 {
        let at = calendar.short_day_and_time(week.as_of_us);
        let mut as_of = format!("As of {at}, event {}.", week.as_of_seq);
        let runs = week.as_of_us >= week.from_us && week.as_of_us < week.until_us;
        if runs && week.counted_until_us < week.until_us {
            as_of.push_str(if what.is_empty() {
                " The last week is still running."
            } else {
                " The week is still running."
            });
        }
        push(&mut out, &as_of, page);
    }
    out
}

fn why_short(week: &Week, page: usize) -> String {
    let Some(money) = week.money.filter(|money| money.jobs_quoted > 0) else {
        return String::new();
    };
    let outcome = Outcome {
        quoted_minor: money.quoted_contribution_minor,
        actual_minor: money.contribution_of_quoted_minor,
        word: left_word(money.margin),
        currency: &week.currency,
    };
    shortfalls(&week.shortfalls, &outcome, page)
}

/// How to go on from here.
fn foot(week: &Week, shown: &Shown, page: usize) -> String {
    if week.bays.is_empty() && week.jobs.is_empty() {
        return String::new();
    }
    let command = if shown.command.is_empty() {
        "bay week"
    } else {
        &shown.command
    };
    let mut out = String::from("\n");
    let open = format!(
        "{command} --why ID opens a row, by its id or a job's number; {command} --html FILE writes a page."
    );
    push(&mut out, &open, page);
    out
}

fn odd(week: &Week, calendar: &Calendar, page: usize) -> String {
    if week.odd.is_empty() {
        return String::new();
    }
    let count = u64::try_from(week.odd.len()).unwrap_or(u64::MAX);
    let mut out = section(
        &format!("{} to settle", counted(count, "record", "records")),
        page,
    );
    // Those of the week first: what is older has been seen before.
    let (of_week, others): (Vec<_>, Vec<_>) = week
        .odd
        .iter()
        .partition(|record| (week.from_us..week.until_us).contains(&record.occurred_us));
    for record in of_week.into_iter().chain(others).take(ODD_SHOWN_MAX) {
        out.push_str(&settle::record(record, calendar, Detail::Short, page));
    }
    if let Some(more) = week.odd.len().checked_sub(ODD_SHOWN_MAX).filter(|n| *n > 0) {
        push(
            &mut out,
            &format!("and {more} more; all of them: bay settle"),
            page,
        );
    }
    out
}
