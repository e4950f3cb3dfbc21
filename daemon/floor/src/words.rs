//! Sentences for people: notices and facts in the shop's words.

use baywright_terms::time::Micros;
use jiff::tz::TimeZone;

use crate::event::{Event, JobKey};
use crate::notice::{Notice, Severity};

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

/// Stable code of a notice: lower case with hyphens.
pub fn code(notice: &Notice) -> &'static str {
    let _ = notice;
    "notice"
}

/// How much a notice matters.
pub fn severity(notice: &Notice) -> Severity {
    let _ = notice;
    Severity::Say
}

/// The notice as a sentence.
pub fn sentence(notice: &Notice, context: &Context<'_>) -> String {
    let _ = context;
    format!("{notice:?}")
}

/// How the owner may settle an odd record; `None` where there is nothing to settle.
pub fn settle_hint(notice: &Notice) -> Option<&'static str> {
    let _ = notice;
    None
}

/// One sentence for a fact, for the story of a job.
pub fn story_line(event: &Event, context: &Context<'_>) -> String {
    let _ = (event, context);
    String::new()
}

/// A time of day in the shop's zone: `14:05`.
pub fn clock_time(at: Micros, zone: &TimeZone) -> String {
    jiff::Timestamp::from_microsecond(at.0).map_or_else(
        |_| "an unknown time".to_owned(),
        |t| zone.to_datetime(t).strftime("%H:%M").to_string(),
    )
}
