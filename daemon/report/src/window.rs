//! Which span a report is about, out of what was asked for.

use baywright_terms::time::{Micros, Week, day_range, shop_day};
use jiff::ToSpan as _;
use jiff::civil::Date;
use jiff::tz::TimeZone;

/// ISO weeks of one report, and of its history: two years of weeks. All rows of
/// the span are held in memory, and a page shows no more of it.
pub const WEEKS_MAX: u32 = 106;

/// Days of one report, the same.
pub const DAYS_MAX: u32 = 7 * WEEKS_MAX;

/// A span as it was asked for; texts are empty where nothing was given.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked<'a> {
    /// For example `2026-W48`; empty: the week of `as_of`.
    pub week: &'a str,
    /// ISO weeks that end with `week`; 0 reads as 1.
    pub weeks: u32,
    /// First and last day, for example `2026-09-01`.
    pub from_date: &'a str,
    pub to_date: &'a str,
    /// Weeks of history that end with the span's last week.
    pub history_weeks: u32,
}

/// The span of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// `2026-W48`, `2026-W37 to 2026-W48`, `2026-09-01 to 2026-09-30`.
    pub name: String,
    pub from: Micros,
    pub until: Micros,
    /// In order of time.
    pub history: Vec<PastWeek>,
}

/// A week of history.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastWeek {
    pub week: Week,
    pub from: Micros,
    pub until: Micros,
}

/// Why there is no such span, and how to ask for one.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WindowError {
    #[error("{text:?} is not a week: write it as in 2026-W48")]
    NotAWeek { text: String },
    #[error("{text:?} is not a date: write it as in 2026-11-23")]
    NotADate { text: String },
    #[error("{from} to {to} ends before it begins: give the earlier date first")]
    Reversed { from: Date, to: Date },
    #[error("a span is given by weeks or by dates, not by both: leave one of them out")]
    WeeksAndDates,
    #[error("{weeks} weeks are too many for one report: ask for at most {WEEKS_MAX}")]
    TooManyWeeks { weeks: u32 },
    #[error("{from} to {to} is too long for one report: ask for at most {DAYS_MAX} days")]
    TooManyDays { from: Date, to: Date },
}

impl Window {
    /// All that has to be read for it: the span and its history.
    pub fn reach(&self) -> (Micros, Micros) {
        let from = self.history.first().map_or(self.from, |week| week.from);
        let until = self.history.last().map_or(self.until, |week| week.until);
        (from.min(self.from), until.max(self.until))
    }
}

/// The span asked for, in the shop's zone. `log` is the first and the latest
/// instant of the log.
///
/// # Errors
/// If it cannot be read, contradicts itself or is too long.
pub fn window(
    asked: &Asked<'_>,
    zone: &TimeZone,
    as_of: Micros,
    log: Option<(Micros, Micros)>,
) -> Result<Window, WindowError> {
    for weeks in [asked.weeks, asked.history_weeks] {
        if weeks > WEEKS_MAX {
            return Err(WindowError::TooManyWeeks { weeks });
        }
    }
    let by_dates = !asked.from_date.is_empty() || !asked.to_date.is_empty();
    if by_dates && (!asked.week.is_empty() || asked.weeks > 0) {
        return Err(WindowError::WeeksAndDates);
    }
    let (name, from, until) = if by_dates {
        of_dates(asked, zone, as_of, log)?
    } else {
        of_weeks(asked, zone, as_of)?
    };
    let last = Week::of(Micros(until.0.saturating_sub(1).max(from.0)), zone);
    Ok(Window {
        name,
        from,
        until,
        history: weeks_until(last, asked.history_weeks, zone),
    })
}

type Named = (String, Micros, Micros);

fn of_weeks(asked: &Asked<'_>, zone: &TimeZone, as_of: Micros) -> Result<Named, WindowError> {
    let last = match asked.week {
        "" => Week::of(as_of, zone),
        text => Week::parse(text).map_err(|_| WindowError::NotAWeek { text: text.into() })?,
    };
    let mut first = last;
    for _ in 1..asked.weeks {
        first = first.previous();
    }
    let name = if first == last {
        last.to_string()
    } else {
        format!("{first} to {last}")
    };
    Ok((name, first.range(zone).0, last.range(zone).1))
}

/// Either date alone: from the first record, or up to today.
fn of_dates(
    asked: &Asked<'_>,
    zone: &TimeZone,
    as_of: Micros,
    log: Option<(Micros, Micros)>,
) -> Result<Named, WindowError> {
    let (from, to) = (date(asked.from_date)?, date(asked.to_date)?);
    let today = shop_day(as_of, zone);
    let to = match (from, to) {
        (_, Some(to)) => to,
        (Some(from), None) => from.max(today),
        (None, None) => today,
    };
    let from = from.unwrap_or_else(|| {
        let first = log.map_or(as_of, |(first, _)| first);
        shop_day(first, zone).min(to)
    });
    if to < from {
        return Err(WindowError::Reversed { from, to });
    }
    if from.saturating_add(i64::from(DAYS_MAX).days()) <= to {
        return Err(WindowError::TooManyDays { from, to });
    }
    let name = if from == to {
        from.to_string()
    } else {
        format!("{from} to {to}")
    };
    Ok((name, day_range(from, zone).0, day_range(to, zone).1))
}

/// Reads `2026-11-23`; `None` for nothing.
fn date(text: &str) -> Result<Option<Date>, WindowError> {
    if text.is_empty() {
        return Ok(None);
    }
    let plain = text.len() == "2026-11-23".len();
    text.parse()
        .ok()
        .filter(|_| plain)
        .map(Some)
        .ok_or_else(|| WindowError::NotADate { text: text.into() })
}

fn weeks_until(last: Week, count: u32, zone: &TimeZone) -> Vec<PastWeek> {
    let mut weeks = Vec::new();
    let mut week = last;
    for _ in 0..count {
        let (from, until) = week.range(zone);
        weeks.push(PastWeek { week, from, until });
        week = week.previous();
    }
    weeks.reverse();
    weeks
}
