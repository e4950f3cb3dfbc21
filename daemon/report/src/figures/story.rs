//! One job.

use baywright_floor::event::Seq;
use baywright_floor::fact::LevelResult;
use baywright_floor::row::{Ended, WaitingKind};
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use super::{JobFigures, OddFigures, Portion, PortionUnit};

/// What is known of one job, apart from the lines of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct JobStory {
    pub job: JobFigures,
    pub zone: String,
    pub opened: Micros,
    /// In order of time.
    pub places: Vec<StoryPlace>,
    /// In order of product and unit.
    pub uses: Vec<StoryUse>,
    /// Settled ones too.
    pub odd: Vec<OddFigures>,
    pub as_of_seq: Seq,
    pub as_of: Micros,
    /// ISO 4217, in force when it was opened; empty: none.
    pub currency: String,
    pub shop: String,
    /// Hands-on time and waiting, in order of beginning.
    pub stretches: Vec<StoryStretch>,
    /// Readings that held when something was coated or levelled, and every
    /// other one in its bay while it stood there; in order of time.
    pub air: Vec<StoryAir>,
    /// In order of coating.
    pub sections: Vec<StorySection>,
}

/// A stretch of hands-on time or of waiting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoryStretch {
    pub kind: StretchKind,
    /// Where it was worked on; of waiting, where it stood when that began.
    pub place: Code,
    pub from: Micros,
    /// `None`: still running.
    pub until: Option<Micros>,
    /// The records that began and ended it.
    pub seqs: Vec<Seq>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StretchKind {
    HandsOn {
        stage: Code,
        /// Empty: nobody was named.
        worker: Code,
        rework: bool,
        ended: Ended,
        /// Labour cost; `None`: no rate is known.
        cost_minor: Option<i64>,
    },
    Waiting {
        kind: WaitingKind,
        product: Code,
        panel: Code,
    },
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoryAir {
    pub read: Micros,
    pub bay: Code,
    pub air: MilliCelsius,
    pub humidity: MilliPercent,
    pub surface: Option<MilliCelsius>,
    pub seq: Seq,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StorySection {
    pub panel: Code,
    pub section: u32,
    pub layer: u32,
    pub finish: Code,
    pub product: Code,
    pub lot: String,
    pub coated: Micros,
    /// When it was first levelled, and how it came out by the latest word.
    pub levelled: Option<(Micros, LevelResult)>,
    /// Of the coating and of everything said of it since.
    pub seqs: Vec<Seq>,
}

/// A stay of the job in one place.
/// `hands_on_us + waiting_us + idle_us` is its length up to now, exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoryPlace {
    pub place: Code,
    pub from: Micros,
    /// `None`: still there.
    pub until: Option<Micros>,
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
}

/// A product on the job, against its allowance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoryUse {
    pub product: Code,
    pub unit: PortionUnit,
    pub used: Portion,
    pub allowance: Portion,
    /// Records that give no usable amount; on the product's first row only.
    pub uses_without_amount: u32,
    /// The records behind `used` and its cost, ascending: uses, dumps, refills.
    pub seqs: Vec<Seq>,
    pub cost_minor: i64,
    pub allowance_cost_minor: i64,
    /// Part of `cost_minor`: its share of what was dumped.
    pub waste_minor: i64,
    pub apportioned: bool,
    pub at_allowance: bool,
    pub no_price: bool,
}
