//! Tables of the rules, in order of precedence: given events, then rows.

#[path = "../shop/mod.rs"]
mod shop;

mod catalogue;
mod cautions;
mod mixes;
mod places;
mod release;
mod settling;
mod stages;
mod told;
mod waiting;

use std::fmt::Write;

use baywright_floor::event::{Event, EventId, JobRef, TimeBasis};
use baywright_floor::fact::{
    AmbientRead, Answer, Declaration, Fact, JobOpened, LevelResult, ProductUsed, Settled,
    UseSource, Used,
};
use baywright_floor::memory::Book;
use baywright_floor::notice::{AirWhy, Notice, What};
use baywright_floor::row::{Ended, Row, WaitingKind};
use baywright_floor::words;
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use shop::{DAY_US, Desk, MONDAY, catalogue, finished, ml, opened, started, used};

/// A day at the bays: times are minutes after Monday's midnight.
struct Day {
    desk: Desk,
    events: Vec<Event>,
}

const EIGHT: i64 = 8 * 60;

impl Day {
    fn new() -> Self {
        let mut day = Self::without_catalogue();
        let event = day.desk.catalogue_set(MONDAY - DAY_US, catalogue());
        day.events.push(event);
        day
    }

    fn without_catalogue() -> Self {
        Self {
            desk: Desk::default(),
            events: Vec::new(),
        }
    }

    fn post(&mut self, minute: i64, bay: &str, by: &[&str], fact: Fact) -> EventId {
        self.about(minute, bay, by, JobRef::Here, fact)
    }

    fn about(&mut self, minute: i64, bay: &str, by: &[&str], job: JobRef, fact: Fact) -> EventId {
        let at = MONDAY + minute * MINUTE_US;
        let mut event = self.desk.event(bay, bay, at, fact);
        event.by = by.iter().map(|w| Code::new(w)).collect();
        event.job = job;
        self.events.push(event);
        self.events[self.events.len() - 1].id
    }

    /// Opens a job and brings it to a bay, two minutes before a time.
    fn job_in(&mut self, minute: i64, bay: &str) -> EventId {
        let job = self.post(minute - 2, bay, &[], opened("trike-coat"));
        self.bring(minute - 1, bay, job);
        job
    }

    fn bring(&mut self, minute: i64, bay: &str, job: EventId) -> EventId {
        let place = bay.into();
        self.about(minute, bay, &[], JobRef::Job(job), Fact::JobMoved { place })
    }

    /// Answers whatever is odd about an event.
    fn settle(&mut self, event: EventId, answer: Answer) -> EventId {
        self.reply(event, answer, "", "")
    }

    /// Answers one question about an event, and one of several such.
    fn reply(&mut self, event: EventId, answer: Answer, question: &str, of: &str) -> EventId {
        let settled = Settled {
            event,
            reason: String::new(),
            answer,
            question: question.to_owned(),
            of: of.to_owned(),
        };
        self.post(30 * 24 * 60, "", &[], Fact::Settled(settled))
    }

    fn strike(&mut self, event: EventId) -> EventId {
        let reason = String::new();
        self.post(30 * 24 * 60, "", &[], Fact::StruckOut { event, reason })
    }

    fn book(&self) -> Book {
        let mut book = Book::default();
        for event in &self.events {
            book.absorb(event);
        }
        book
    }

    fn rows(&self) -> Vec<Row> {
        self.book().rows().cloned().collect()
    }

    /// Hands-on as `worker stage from-until why`, minutes after midnight.
    fn hands_on(&self) -> Vec<String> {
        let mut found: Vec<(i64, String)> = Vec::new();
        for row in self.rows() {
            let Row::HandsOn(h) = row else { continue };
            let mut line = String::new();
            let _ = write!(
                line,
                "{} {} {}-{} {:?}{}",
                if h.worker.is_empty() {
                    "-"
                } else {
                    h.worker.as_str()
                },
                h.stage,
                minute(h.from),
                minute(h.until),
                h.ended,
                if h.rework { " rework" } else { "" }
            );
            found.push((h.from.0, line));
        }
        found.sort();
        found.into_iter().map(|(_, line)| line).collect()
    }

    fn waiting(&self) -> Vec<(WaitingKind, i64, i64)> {
        let mut found: Vec<(WaitingKind, i64, i64)> = self
            .rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Waiting(w) => Some((w.kind, minute(w.from), minute(w.until?))),
                _ => None,
            })
            .collect();
        found.sort();
        found
    }

    /// Notices about an event.
    fn notices(&self, event: EventId) -> Vec<Notice> {
        self.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Notice(n) if n.event == event => Some(n.notice),
                _ => None,
            })
            .collect()
    }

    /// The job and the workers an event counts for; nothing where it is struck.
    fn counted(&self, event: EventId) -> (Option<EventId>, Vec<Code>) {
        self.rows()
            .into_iter()
            .find_map(|row| match row {
                Row::Counted {
                    event: of, job, by, ..
                } if of == event => Some((job, by)),
                _ => None,
            })
            .unwrap_or_default()
    }
}

fn minute(at: Micros) -> i64 {
    (at.0 - MONDAY) / MINUTE_US
}

fn pause(stage: &str, person: bool) -> Fact {
    Fact::StagePaused {
        stage: stage.into(),
        person,
        reason: String::new(),
    }
}

fn resume(stage: &str) -> Fact {
    Fact::StageResumed {
        stage: stage.into(),
    }
}

fn dwell(product: &str) -> Fact {
    Fact::DwellStarted {
        product: product.into(),
        panels: Vec::new(),
    }
}

fn dwell_end(product: &str) -> Fact {
    Fact::DwellEnded {
        product: product.into(),
        panels: Vec::new(),
    }
}

fn coat(panel: &str) -> Fact {
    Fact::PanelCoated {
        panel: panel.into(),
        section: 0,
        product: "ceramic".into(),
        lot: String::new(),
        layer: 0,
    }
}

fn level(result: LevelResult, amends: bool) -> Fact {
    Fact::PanelLevelled {
        panel: "".into(),
        section: 0,
        result,
        amends,
    }
}

fn mix(volume: i64) -> Fact {
    Fact::MixMade {
        product: "foam".into(),
        ratio: None,
        volume: Some(ml(volume)),
        additions: Vec::new(),
    }
}
