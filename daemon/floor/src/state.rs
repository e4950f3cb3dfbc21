//! What the fold carries from one event to the next: only what folding later
//! events needs, so that it stays small and a late event's traces wear off.
//!
//! Nothing here counts events or remembers "the last event": such a thing
//! would never be equal again after a late event, and every late event would
//! then cost the whole log.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use baywright_terms::catalogue::Panel;
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::event::{EventId, JobKey, Position, Seq};
use crate::fact::{LevelResult, Settled};
use crate::reply;
use crate::row::Ended;

/// The floor between two events.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Open jobs, and released ones for [`crate::step::DECLARE_WITHIN_US`].
    pub(crate) jobs: BTreeMap<JobKey, Job>,
    /// Who is hands-on on what: at most one stretch each.
    #[serde(with = "crate::pairs")]
    pub(crate) hands: BTreeMap<Hand, Stretch>,
    #[serde(with = "crate::pairs")]
    pub(crate) breaks: BTreeMap<Hand, OnBreak>,
    /// The live mix of a product in a bay, by (bay, product).
    #[serde(with = "crate::pairs")]
    pub(crate) mixes: BTreeMap<(Code, Code), Mix>,
    /// Latest reading of a bay.
    pub(crate) air: BTreeMap<Code, Reading>,
    /// How far off the clock of a device was when that was last said.
    pub(crate) clocks: BTreeMap<Arc<str>, i64>,
}

/// A worker, or the one unnamed worker of a bay.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub(crate) struct Hand {
    /// Empty: nobody was named.
    pub(crate) worker: Code,
    /// Empty where the worker is named.
    pub(crate) bay: Code,
}

impl Hand {
    pub(crate) fn named(worker: &Code) -> Self {
        Self {
            worker: worker.clone(),
            bay: Code::new(""),
        }
    }

    pub(crate) fn unnamed(bay: &Code) -> Self {
        Self {
            worker: Code::new(""),
            bay: bay.clone(),
        }
    }
}

/// The event that began something that ends later.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Begun {
    pub(crate) event: EventId,
    pub(crate) seq: Seq,
    pub(crate) at: Micros,
    pub(crate) bay: Code,
    /// The owner's answers to what is odd about it, the latest first.
    pub(crate) settled: Vec<Settled>,
}

impl Begun {
    /// The owner leaves it out of every figure.
    pub(crate) fn is_left_out(&self) -> bool {
        self.is_left_out_for(&Code::new(""))
    }

    /// The owner leaves out what this worker did by it.
    pub(crate) fn is_left_out_for(&self, worker: &Code) -> bool {
        reply::left_out(&self.settled, worker)
    }
}

/// One worker on one stage, running.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Stretch {
    pub(crate) job: JobKey,
    pub(crate) stage: Code,
    pub(crate) run: EventId,
    pub(crate) rework: bool,
    pub(crate) bay: Code,
    pub(crate) begun: Begun,
    /// The worker's last post since.
    pub(crate) last_post: Micros,
    /// Where it is cut if nothing ends it before `next_opening`.
    pub(crate) closing: Micros,
    pub(crate) next_opening: Micros,
    /// The owner said when it ended.
    pub(crate) fixed_end: Option<Micros>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct OnBreak {
    pub(crate) since: Micros,
    /// The break is forgotten at the next opening.
    pub(crate) until: Micros,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[expect(
    clippy::struct_field_names,
    reason = "a job type is the shop's own word"
)]
pub(crate) struct Job {
    pub(crate) opened: Micros,
    pub(crate) number: Option<u64>,
    pub(crate) handle: String,
    pub(crate) job_type: Code,
    pub(crate) vehicle: String,
    pub(crate) panels: Vec<Panel>,
    pub(crate) comeback: bool,
    pub(crate) place: Code,
    pub(crate) placed: Position,
    pub(crate) placed_seq: Seq,
    pub(crate) released: Option<Begun>,
    pub(crate) stages: BTreeMap<Code, StageRecord>,
    pub(crate) declared: BTreeSet<Code>,
    pub(crate) dwells: Vec<Dwell>,
    pub(crate) sections: Vec<Section>,
    /// By panel.
    pub(crate) cures: BTreeMap<Code, Cure>,
    pub(crate) lamps: Vec<Lamp>,
    pub(crate) covered_finishes: BTreeSet<Code>,
    pub(crate) covered_panels: BTreeSet<Code>,
    /// Stages and products whose cautions were said on this job.
    pub(crate) cautioned_stages: BTreeSet<Code>,
    pub(crate) cautioned_products: BTreeSet<Code>,
    /// Flaws without a remedy, in the order found.
    pub(crate) flaws: Vec<(EventId, Code)>,
}

impl Job {
    pub(crate) fn is_open(&self) -> bool {
        self.released.is_none()
    }
}

/// A stage of a job that has a record.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct StageRecord {
    pub(crate) finished: bool,
    /// Finished, but to be done again.
    pub(crate) again: bool,
    /// In progress: hands-on, paused, or waiting.
    pub(crate) run: Option<Run>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Run {
    pub(crate) id: EventId,
    pub(crate) rework: bool,
    #[serde(with = "crate::pairs")]
    pub(crate) hands: BTreeMap<Hand, HandOnRun>,
}

/// What one worker has done on a run, and why they are not on it now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct HandOnRun {
    pub(crate) worked_us: i64,
    pub(crate) aside: Option<Aside>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Aside {
    pub(crate) at: Micros,
    pub(crate) why: Ended,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Dwell {
    pub(crate) product: Code,
    pub(crate) panels: Vec<Code>,
    pub(crate) begun: Begun,
    /// Empty where no stage was in progress.
    pub(crate) stage: Code,
    /// Set free by it, and on nothing else since.
    pub(crate) freed: Vec<Hand>,
    pub(crate) shortest_at: Option<Micros>,
    pub(crate) longest_at: Option<Micros>,
    pub(crate) closing: Micros,
    pub(crate) next_opening: Micros,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[expect(
    clippy::struct_field_names,
    reason = "a section of a panel has a number of that name"
)]
pub(crate) struct Section {
    pub(crate) begun: Begun,
    pub(crate) panel: Code,
    pub(crate) section: u32,
    pub(crate) finish: Code,
    pub(crate) product: Code,
    pub(crate) layer: u32,
    pub(crate) levelled: Option<LevelResult>,
    /// Flash waiting ends here at the latest; `None`: it has ended.
    pub(crate) flash_until: Option<Micros>,
    pub(crate) air: Option<(MilliCelsius, MilliPercent)>,
    pub(crate) surface: Option<MilliCelsius>,
}

/// A panel that must stay dry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Cure {
    pub(crate) begun: Begun,
    pub(crate) product: Code,
    pub(crate) levelled: Option<Micros>,
    pub(crate) until: Micros,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Lamp {
    pub(crate) begun: Begun,
    pub(crate) panel: Code,
    pub(crate) until: Micros,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Mix {
    pub(crate) begun: Begun,
    /// Nanolitres; `None` where nobody said how much was made.
    pub(crate) left_nl: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Reading {
    pub(crate) at: Micros,
    pub(crate) air: MilliCelsius,
    pub(crate) humidity: MilliPercent,
    pub(crate) surface: Option<MilliCelsius>,
}
