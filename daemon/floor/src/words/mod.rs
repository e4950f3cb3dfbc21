//! Sentences for people: notices and facts in the shop's words.

mod notices;
mod story;

use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros, SECOND_US};
use jiff::tz::TimeZone;

use crate::event::JobKey;

pub use notices::{air, code, sentence, settle_hint, severity};
pub use story::story_line;

/// What a sentence needs beside the notice.
pub struct Context<'a> {
    /// The job in words, for example `118 trike-coat, red three-wheeler`.
    pub job_title: &'a dyn Fn(JobKey) -> Option<String>,
    pub zone: &'a TimeZone,
}

impl std::fmt::Debug for Context<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Context").finish_non_exhaustive()
    }
}

impl Context<'_> {
    fn job(&self, key: JobKey) -> String {
        match (self.job_title)(key) {
            Some(title) => format!("job {title}"),
            None => "a job that is not known".to_owned(),
        }
    }

    /// Day and time: `2026-11-23 14:05`.
    fn time(&self, at: Micros) -> String {
        civil(at, self.zone, "%Y-%m-%d %H:%M")
    }
}

/// A time of day in the shop's zone: `14:05`.
pub fn clock_time(at: Micros, zone: &TimeZone) -> String {
    civil(at, zone, "%H:%M")
}

fn civil(at: Micros, zone: &TimeZone, format: &str) -> String {
    jiff::Timestamp::from_microsecond(at.0).map_or_else(
        |_| "a time beyond the calendar".to_owned(),
        |t| zone.to_datetime(t).strftime(format).to_string(),
    )
}

/// A length of time as people say it: `2 h 05 min`, `12 min`, `40 s`.
pub fn length(us: i64) -> String {
    let us = us.saturating_abs();
    let minutes = us / MINUTE_US;
    if us >= HOUR_US {
        format!("{} h {:02} min", minutes / 60, minutes % 60)
    } else if us >= MINUTE_US {
        format!("{minutes} min")
    } else {
        format!("{} s", us / SECOND_US)
    }
}

/// A worker's code, or that nobody was named.
fn who(worker: &Code) -> String {
    if worker.is_empty() {
        "nobody by name".to_owned()
    } else {
        worker.to_string()
    }
}

/// Codes as people list them: `a, b and c`.
fn list<'a>(items: impl IntoIterator<Item = &'a Code>) -> String {
    let items: Vec<&str> = items.into_iter().map(Code::as_str).collect();
    match items.split_last() {
        None => String::new(),
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}
