//! The figures of a view as messages of the wire. Every rule behind them is in
//! `report` or in the floor; this asks and translates.

mod figures;
mod flow;
pub(super) mod money;
mod now;
pub(super) mod story;

use baywright_floor::event::Seq;
use baywright_proto::v1;
use baywright_report::Input;
use baywright_terms::time::{Micros, Week};

use super::FactsError;
use super::reader::{FactsReader, JobName, View};

/// Why a report cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    #[error(transparent)]
    Facts(#[from] FactsError),
    #[error("{text:?} is not a week: write it as in 2026-W48")]
    NotAWeek { text: String },
    #[error("no job {name}")]
    NoSuchJob { name: String },
    #[error("no job is named")]
    NoJobNamed,
}

impl FactsReader {
    /// The floor as it is. `bay` empty: all bays.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn now(&self, bay: &str, as_of: Micros) -> Result<v1::NowResponse, FactsError> {
        self.view(|view| now::now(view, bay, as_of))
    }

    /// The figures of a week. `now` is the daemon's clock.
    ///
    /// # Errors
    /// If the week cannot be read, or the database or the log fails.
    pub fn week(&self, asked: &v1::WeekRequest, now: Micros) -> Result<v1::Week, ReportError> {
        self.view_as_of(asked.as_of_seq, |view| {
            let as_of = as_of(view, asked.as_of_seq, now)?;
            let cats = view.catalogues();
            let zone = &cats.at(as_of).zone;
            let week = match asked.week.as_str() {
                "" => Week::of(as_of, zone),
                text => Week::parse(text).map_err(|_| ReportError::NotAWeek {
                    text: text.to_owned(),
                })?,
            };
            let (from, until) = week.range(zone);
            let rows = view.rows_for_span(from, until, as_of)?;
            let span = view.span()?;
            let input = Input {
                rows: &rows,
                catalogues: &cats,
                as_of,
                as_of_seq: Seq(view.cursor()),
                log_from: span.map(|(from, _)| from),
                log_until: span.map(|(_, until)| until),
            };
            let figures = baywright_report::week(&input, &week.to_string(), from, until);
            Ok(figures::week(view, &figures))
        })
    }

    /// The story of a job.
    ///
    /// # Errors
    /// If there is no such job, or the database or the log fails.
    pub fn job(&self, asked: &v1::JobRequest, now: Micros) -> Result<v1::JobStory, ReportError> {
        let name = match &asked.job {
            Some(v1::job_request::Job::Number(number)) => JobName::Number(*number),
            Some(v1::job_request::Job::Handle(handle)) => JobName::Handle(handle.clone()),
            None => return Err(ReportError::NoJobNamed),
        };
        self.view_as_of(asked.as_of_seq, |view| {
            let none = || ReportError::NoSuchJob {
                name: match &name {
                    JobName::Number(number) => number.to_string(),
                    JobName::Handle(handle) => handle.clone(),
                    JobName::Opening(id) => id.to_string(),
                },
            };
            let job = view.job_named(&name)?.ok_or_else(none)?;
            let as_of = as_of(view, asked.as_of_seq, now)?;
            let rows = view.rows_for_job(job, as_of)?;
            let cats = view.catalogues();
            let span = view.span()?;
            let input = Input {
                rows: &rows,
                catalogues: &cats,
                as_of,
                as_of_seq: Seq(view.cursor()),
                log_from: span.map(|(from, _)| from),
                log_until: span.map(|(_, until)| until),
            };
            let figures = baywright_report::story(&input, job).ok_or_else(none)?;
            Ok(story::story(view, &figures, job)?)
        })
    }

    /// Records for the owner to settle, the settled ones too where `all`.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn odd(&self, all: bool, now: Micros) -> Result<v1::OddResponse, FactsError> {
        self.view(|view| {
            let rows = view.rows_of_odd(all, now)?;
            let cats = view.catalogues();
            let input = Input {
                rows: &rows,
                catalogues: &cats,
                as_of: now,
                as_of_seq: Seq(view.cursor()),
                log_from: None,
                log_until: None,
            };
            let odd = baywright_report::odd(&input, all);
            let shop = cats.at(now).catalogue.shop.as_ref();
            Ok(v1::OddResponse {
                odd: figures::odd(view, &odd),
                zone: shop.map(|shop| shop.zone.clone()).unwrap_or_default(),
            })
        })
    }
}

/// Now, or when the last event shown was received, so that an old report comes
/// out as it was.
fn as_of(view: &mut View<'_>, as_of_seq: u64, now: Micros) -> Result<Micros, FactsError> {
    if as_of_seq == 0 {
        return Ok(now);
    }
    Ok(view.received()?.unwrap_or(now))
}

/// Times that may be missing are 0 on the wire.
fn us_or_zero(at: Option<Micros>) -> i64 {
    at.map_or(0, |at| at.0)
}
