//! The floor as it is at an instant.

use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::event::JobKey;
use crate::state::State;

/// All places, jobs and workers. Odd records are counted from the rows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Now {
    pub as_of: Micros,
    pub bays: Vec<NowBay>,
    /// Jobs in no bay: holding or away.
    pub elsewhere: Vec<NowJob>,
    pub workers: Vec<NowWorker>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowBay {
    pub bay: Code,
    pub places: u32,
    pub jobs: Vec<NowJob>,
    pub air: Option<NowAir>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NowAir {
    pub read: Micros,
    pub air: MilliCelsius,
    pub humidity: MilliPercent,
    pub surface: Option<MilliCelsius>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowJob {
    pub job: JobKey,
    pub number: Option<u64>,
    pub handle: String,
    pub job_type: Code,
    pub vehicle: String,
    pub place: Code,
    pub in_place_since: Micros,
    pub running: Vec<NowStage>,
    pub paused: Vec<NowStage>,
    pub dwells: Vec<NowDwell>,
    /// Sections that wait to be levelled.
    pub sections: Vec<NowSection>,
    /// Stages of the type with a record, then those without.
    pub stages_done: Vec<Code>,
    pub stages_open: Vec<Code>,
    pub dry_until: Option<Micros>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowStage {
    pub stage: Code,
    /// Empty: nobody named.
    pub worker: Code,
    pub since: Micros,
    pub hands_on_us: i64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowDwell {
    pub product: Code,
    pub panels: Vec<Code>,
    pub since: Micros,
    pub shortest_at: Option<Micros>,
    pub longest_at: Option<Micros>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowSection {
    pub panel: Code,
    pub section: u32,
    pub finish: Code,
    pub product: Code,
    pub coated: Micros,
    /// When it may be levelled; `None` where no window is known.
    pub window: Option<(Micros, Micros)>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowWorker {
    pub worker: Code,
    pub job: Option<JobKey>,
    pub stage: Code,
    pub bay: Code,
    pub since: Option<Micros>,
    pub on_break: bool,
}

/// What is on at an instant.
pub fn now(state: &State, cats: &Catalogues, at: Micros) -> Now {
    let _ = (state, cats);
    Now {
        as_of: at,
        ..Now::default()
    }
}
