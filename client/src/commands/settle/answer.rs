//! The owner's answers to an odd record, as typed and as posted. Pure.

use baywright_proto::v1::settled;
use baywright_terms::time::{self, DAY_US, Micros};
use clap::Args;
use jiff::tz::TimeZone;

use crate::error::Error;
use crate::render::calendar::Calendar;
use crate::render::figure;

/// The answers that have a flag of their own; the job comes by `--job`.
#[expect(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
#[derive(Debug, Clone, Default, PartialEq, Eq, Args)]
#[group(multiple = false)]
pub struct AnswerArgs {
    /// It is right as it stands.
    #[arg(long)]
    pub as_is: bool,
    /// It ended at this time: 17:20, or 2026-11-24 17:20.
    #[arg(long, value_name = "TIME")]
    pub end: Option<String>,
    /// The code that was meant.
    #[arg(long, value_name = "CODE")]
    pub code: Option<String>,
    /// It took this much labour: 45m, 1h30m.
    #[arg(long, value_name = "SPAN")]
    pub took: Option<String>,
    /// A stage without a record was not done.
    #[arg(long)]
    pub not_done: bool,
    /// They were on the break that it ran across: it comes off.
    #[arg(long)]
    pub break_off: bool,
    /// It happened at this time: it is said anew and the old one struck out.
    #[arg(long, value_name = "TIME")]
    pub happened: Option<String>,
    /// Leave it out of every figure.
    #[arg(long)]
    pub leave_out: bool,
}

/// One way to settle a record, as typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Typed {
    AsIs,
    End(String),
    Code(String),
    Job(String),
    Took(String),
    LeaveOut,
    NotDone,
    BreakOff,
    /// It is said anew with its time, and the old one struck out.
    Happened(String),
}

/// An answer with what it is in words, and the time or span in it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Answer {
    pub(super) wire: settled::Answer,
    pub(super) words: String,
    pub(super) value_us: Option<i64>,
}

impl Answer {
    fn plain(wire: settled::Answer, words: &str) -> Self {
        Self {
            wire,
            words: words.to_owned(),
            value_us: None,
        }
    }
}

/// What an answer is read against.
#[derive(Debug, Clone)]
pub(super) struct Ground<'a> {
    pub(super) zone: &'a TimeZone,
    pub(super) zone_name: &'a str,
    /// When the odd record happened; 0: not known.
    pub(super) occurred_us: i64,
    pub(super) now_us: i64,
}

impl Typed {
    /// The one answer that was given.
    pub(super) fn of(answer: &AnswerArgs, job: Option<&str>) -> Result<Option<Self>, Error> {
        let given = [
            answer.as_is.then_some(Self::AsIs),
            answer.end.clone().map(Self::End),
            answer.code.clone().map(Self::Code),
            job.map(|j| Self::Job(j.to_owned())),
            answer.took.clone().map(Self::Took),
            answer.leave_out.then_some(Self::LeaveOut),
            answer.not_done.then_some(Self::NotDone),
            answer.break_off.then_some(Self::BreakOff),
            answer.happened.clone().map(Self::Happened),
        ];
        let mut given = given.into_iter().flatten();
        let first = given.next();
        if given.next().is_some() {
            return Err(Error::usage("More than one answer was given.")
                .with_hint("A record is settled in one way: keep one of them."));
        }
        Ok(first)
    }

    /// True for the same kind of answer, whatever its value.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }

    /// The answer as it is posted. A job is looked up by the caller, who has
    /// the floor.
    pub(super) fn read(&self, ground: &Ground<'_>) -> Result<Answer, Error> {
        match self {
            Self::AsIs => Ok(Answer::plain(
                settled::Answer::AsIs(true),
                "it is right as it stands",
            )),
            Self::LeaveOut => Ok(Answer::plain(
                settled::Answer::LeaveOut(true),
                "it is left out of every figure",
            )),
            Self::NotDone => Ok(Answer::plain(
                settled::Answer::NotDone(true),
                "it was not done",
            )),
            Self::BreakOff => Ok(Answer::plain(
                settled::Answer::BreakOff(true),
                "they were on the break, which comes off",
            )),
            Self::End(typed) => end(typed, ground),
            Self::Took(typed) => took(typed),
            Self::Code(typed) => code(typed),
            Self::Job(typed) | Self::Happened(typed) => {
                Err(Error::internal(format!("{typed} was not looked up.")))
            }
        }
    }
}

/// A time of day means the first such time after the record: an end on the
/// day of the work, however long ago that was.
fn end(typed: &str, ground: &Ground<'_>) -> Result<Answer, Error> {
    let latest = if ground.occurred_us == 0 {
        ground.now_us
    } else {
        ground.occurred_us.saturating_add(DAY_US).min(ground.now_us)
    };
    let has_date = typed.trim().contains([' ', 'T']);
    let now = if has_date { ground.now_us } else { latest };
    let end = time::parse_at(typed, ground.zone, Micros(now))
        .map_err(|error| Error::refused(format!("{error}.")))?;
    let calendar = Calendar::of(ground.zone_name);
    let ended = calendar.day_and_time(end.0);
    if end.0 < ground.occurred_us {
        let began = calendar.day_and_time(ground.occurred_us);
        return Err(
            Error::refused(format!("{ended} is before the record itself, {began}."))
                .with_hint("Write the time after it, with the date where it is another day."),
        );
    }
    Ok(Answer {
        wire: settled::Answer::EndUs(end.0),
        words: format!("it ended {ended}"),
        value_us: Some(end.0),
    })
}

fn took(typed: &str) -> Result<Answer, Error> {
    let took_us = time::parse_span(typed).map_err(|error| Error::refused(format!("{error}.")))?;
    Ok(Answer {
        wire: settled::Answer::TookUs(took_us),
        words: format!("it took {}", figure::span_words(took_us)),
        value_us: Some(took_us),
    })
}

fn code(typed: &str) -> Result<Answer, Error> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Err(Error::refused("No code was given.")
            .with_hint("Write the code that was meant, for example --code iron-remover."));
    }
    Ok(Answer {
        wire: settled::Answer::Code(typed.to_owned()),
        words: format!("{typed} was meant"),
        value_us: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    const HOUR: i64 = 60 * fixture::MIN;
    /// Tue 24 Nov 2026 15:05 in Berlin.
    const OCCURRED: i64 = 1_795_529_100_000_000;

    fn ground(zone: &TimeZone, now_us: i64) -> Ground<'_> {
        Ground {
            zone,
            zone_name: "Europe/Berlin",
            occurred_us: OCCURRED,
            now_us,
        }
    }

    fn berlin() -> TimeZone {
        crate::context::zone_named("Europe/Berlin")
    }

    #[test]
    fn an_end_means_the_first_such_time_after_the_record() {
        let zone = berlin();
        let days_later = ground(&zone, OCCURRED + 70 * HOUR);
        let read = |typed: &str| Typed::End(typed.to_owned()).read(&days_later);
        assert_eq!(
            read("17:20").unwrap().words,
            "it ended Tue 24 Nov 2026 17:20"
        );
        // Past midnight: the day after.
        assert_eq!(
            read("00:30").unwrap().words,
            "it ended Wed 25 Nov 2026 00:30"
        );
        assert_eq!(
            read("2026-11-26 09:00").unwrap().words,
            "it ended Thu 26 Nov 2026 09:00"
        );
    }

    #[test]
    fn an_end_before_the_record_is_refused() {
        let zone = berlin();
        // An hour after the record, 17:20 was last yesterday.
        let soon = ground(&zone, OCCURRED + HOUR);
        let error = Typed::End("17:20".to_owned()).read(&soon).unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::Refused);
        assert!(error.message().contains("before the record"), "{error}");
        assert!(Typed::End("half past".to_owned()).read(&soon).is_err());
    }

    #[test]
    fn two_answers_at_once_are_a_usage_error() {
        let answer = AnswerArgs {
            as_is: true,
            ..AnswerArgs::default()
        };
        let error = Typed::of(&answer, Some("118")).unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::Usage);
    }
}
