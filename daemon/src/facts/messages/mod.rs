//! The figures of a view as messages of the wire. Every rule behind them is in
//! `report` or in the floor; this asks and translates.

mod asked;
mod figures;
mod flow;
mod learned;
pub(super) mod money;
mod now;
mod quote;
mod stock;
pub(super) mod story;
mod suggest;
mod why;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::Seq;
use baywright_floor::row::Row;
use baywright_proto::v1;
use baywright_report::figures::Week;
use baywright_report::{Asked, Input, NoSuchRow, Window, WindowError};
use baywright_terms::code::{self, Code};
use baywright_terms::time::Micros;

use super::FactsError;
use crate::learner::Learner;

use super::reader::{FactsReader, JobName, View};
pub use quote::{KEYS_MAX, QuoteError};

/// Why a report cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    #[error(transparent)]
    Facts(#[from] FactsError),
    #[error(transparent)]
    Span(#[from] WindowError),
    #[error("no job {name}")]
    NoSuchJob { name: String },
    #[error("no job is named")]
    NoJobNamed,
    #[error(transparent)]
    NoSuchRow(#[from] NoSuchRow),
    #[error("no worker {worker}{hint}")]
    NoSuchWorker { worker: String, hint: String },
    #[error("no worker is named")]
    NoWorkerNamed,
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
    pub fn week(
        &self,
        learner: &Learner,
        asked: &v1::WeekRequest,
        now: Micros,
    ) -> Result<v1::Week, ReportError> {
        self.with_week(asked, now, |view, input, week| {
            let mut message = figures::week(view, week);
            let known = suggest::known(view, learner, asked.as_of_seq, input.as_of)?;
            learned::add_to_week(view, &known, input, &mut message)?;
            Ok(message)
        })
    }

    /// What makes one row of a week.
    ///
    /// # Errors
    /// If the week has no such row, and as for [`FactsReader::week`].
    pub fn why(&self, asked: &v1::WhyRequest, now: Micros) -> Result<v1::Why, ReportError> {
        // No row of the history opens, so none of it is worked out.
        let of_week = v1::WeekRequest {
            history_weeks: 0,
            ..asked.week.clone().unwrap_or_default()
        };
        self.with_week(&of_week, now, |_, input, week| {
            let why = baywright_report::why(input, week, &asked.id)?;
            Ok(why::why(&why, week))
        })
    }

    /// Works a week out, and hands it on with what it was made of.
    fn with_week<T>(
        &self,
        asked: &v1::WeekRequest,
        now: Micros,
        read: impl FnOnce(&View<'_>, &Input<'_>, &Week) -> Result<T, ReportError>,
    ) -> Result<T, ReportError> {
        self.view_as_of(asked.as_of_seq, |view| {
            let as_of = as_of(view, asked.as_of_seq, now)?;
            let window = window_of(view, asked, as_of)?;
            let (from, until) = window.reach();
            let mut rows = view.rows_for_span(from, until, as_of)?;
            view.add_curing(&mut rows, as_of)?;
            let cats = view.catalogues();
            let input = input(view, &rows, &cats, as_of)?;
            let week = baywright_report::week_in(&input, &window);
            read(view, &input, &week)
        })
    }

    /// A worker's own figures.
    ///
    /// # Errors
    /// If no worker is named or known by that code, if the span cannot be read,
    /// or the database or the log fails.
    pub fn own(&self, asked: &v1::OwnRequest, now: Micros) -> Result<v1::OwnResponse, ReportError> {
        let span = asked.week.clone().unwrap_or_default();
        let worker = Code::new(asked.worker.trim());
        if worker.is_empty() {
            return Err(ReportError::NoWorkerNamed);
        }
        self.view_as_of(span.as_of_seq, |view| {
            let as_of = as_of(view, span.as_of_seq, now)?;
            let window = window_of(view, &span, as_of)?;
            let cats = view.catalogues();
            let catalogue = &cats.at(as_of).catalogue;
            let rows = view.rows_of_worker(&worker, window.from, window.until, as_of)?;
            if rows.is_empty() && !catalogue.workers.contains_key(&worker) {
                let known = catalogue.workers.keys().map(Code::as_str);
                let nearest = code::nearest(worker.as_str(), known);
                return Err(ReportError::NoSuchWorker {
                    worker: worker.to_string(),
                    hint: nearest
                        .first()
                        .map(|code| format!("; did you mean {code}?"))
                        .unwrap_or_default(),
                });
            }
            let input = input(view, &rows, &cats, as_of)?;
            let own = baywright_report::own(&input, &worker, window.from, window.until);
            let shop = catalogue.shop.as_ref();
            let zone = shop.map(|shop| shop.zone.clone()).unwrap_or_default();
            Ok(flow::own(&own, &window.name, zone))
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
            let mut rows = view.rows_for_job(job, as_of)?;
            view.add_air(&mut rows, as_of)?;
            let cats = view.catalogues();
            let input = input(view, &rows, &cats, as_of)?;
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

/// The span that was asked for, on the calendar of the shop as it is.
fn window_of(
    view: &View<'_>,
    asked: &v1::WeekRequest,
    as_of: Micros,
) -> Result<Window, ReportError> {
    let asked = Asked {
        week: asked.week.trim(),
        weeks: asked.weeks,
        from_date: asked.from_date.trim(),
        to_date: asked.to_date.trim(),
        history_weeks: asked.history_weeks,
    };
    let cats = view.catalogues();
    let zone = &cats.at(as_of).zone;
    Ok(baywright_report::window(&asked, zone, as_of, view.span()?)?)
}

/// Rows of a view with what else a report is worked out of.
fn input<'a>(
    view: &View<'_>,
    rows: &'a [Row],
    catalogues: &'a Catalogues,
    as_of: Micros,
) -> Result<Input<'a>, FactsError> {
    let span = view.span()?;
    Ok(Input {
        rows,
        catalogues,
        as_of,
        as_of_seq: Seq(view.cursor()),
        log_from: span.map(|(from, _)| from),
        log_until: span.map(|(_, until)| until),
    })
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
