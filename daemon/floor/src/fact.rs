//! What can be said to have happened. One variant for each fact of the wire,
//! in the shop's words; codes are kept as they came.

use baywright_terms::amount::{Amount, Money, Quantity, Ratio};
use baywright_terms::catalogue::{Catalogue, Panel};
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::event::{EventId, JobRef, Seq};
use crate::quote::{Asked, PastJob, Printed};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Fact {
    JobOpened(JobOpened),
    JobMoved {
        place: Code,
    },
    JobReleased,
    StageStarted {
        stage: Code,
        panels: Vec<Code>,
        rework: bool,
    },
    StagePaused {
        stage: Code,
        person: bool,
        reason: String,
    },
    StageResumed {
        stage: Code,
    },
    StageFinished {
        stage: Code,
        again: bool,
    },
    StageDeclared {
        stage: Code,
        declaration: Declaration,
    },
    DwellStarted {
        product: Code,
        panels: Vec<Code>,
    },
    DwellEnded {
        product: Code,
        panels: Vec<Code>,
    },
    AmbientRead(AmbientRead),
    MixMade {
        product: Code,
        ratio: Option<Ratio>,
        volume: Option<Amount>,
        additions: Vec<(Code, Option<Amount>)>,
    },
    MixDumped {
        product: Code,
        mix: Option<EventId>,
        amount: Option<Amount>,
    },
    ProductUsed(ProductUsed),
    ProductRefilled {
        product: Code,
        state: ContainerState,
        amount: Option<Amount>,
        lot: String,
    },
    PanelCoated {
        panel: Code,
        section: u32,
        product: Code,
        lot: String,
        layer: u32,
    },
    PanelLevelled {
        panel: Code,
        section: u32,
        result: LevelResult,
        amends: bool,
    },
    PanelLamp {
        panel: Code,
        duration_us: i64,
        surface: Option<MilliCelsius>,
    },
    PanelCured {
        panel: Code,
    },
    SurfaceCovered {
        finish: Code,
        panel: Code,
        left_out: bool,
    },
    FlawFound {
        panel: Code,
        flaw: String,
        existing: bool,
        photo: String,
    },
    FlawRemedied {
        panel: Code,
        flaw: String,
        found: Option<EventId>,
    },
    StockReceived {
        product: Code,
        packs: u32,
        pack: Option<Amount>,
        price: Option<Money>,
        lot: String,
    },
    StockCounted {
        product: Code,
        amount: Option<Amount>,
    },
    Noted {
        text: String,
    },
    /// A device could not get a post of its own read.
    SetAside {
        text: String,
    },
    StruckOut {
        event: EventId,
        reason: String,
    },
    Settled(Settled),
    CatalogueSet {
        valid_from: Micros,
        changed: Box<Catalogue>,
        /// Its allowances were learned up to here; `None`: a person gave them.
        learned_up_to: Option<Seq>,
    },
    QuoteDrafted {
        asked: Asked,
        printed: Printed,
        addition: bool,
    },
    QuoteRevised {
        quote: EventId,
        asked: Asked,
        printed: Printed,
        reason: String,
    },
    QuoteAccepted {
        quote: EventId,
        agreed: Option<Money>,
        suggested: Option<Money>,
        reason: String,
        planned_date: String,
    },
    QuoteDeclined {
        quote: EventId,
        reason: String,
    },
    PastRecorded {
        source: String,
        jobs: Vec<PastJob>,
    },
    /// A kind of a newer release, kept as it is in the log.
    Unknown,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobOpened {
    pub job_type: Code,
    pub vehicle: String,
    pub vehicle_class: Code,
    pub grades: Grades,
    pub panels: Vec<Panel>,
    pub repaint_age_days: u32,
    pub comeback_of: Option<JobRef>,
    pub handle: String,
    pub agreed: Option<Money>,
    /// The quote it was accepted with.
    pub quote: Option<EventId>,
}

/// 1 to 5, 0 where not graded.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grades {
    pub soil: u8,
    pub defects: u8,
    pub intricacy: u8,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Declaration {
    NotDone,
    DoneAbout { about_us: i64 },
    Unknown,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct AmbientRead {
    pub air: MilliCelsius,
    pub humidity: MilliPercent,
    pub surface: Option<MilliCelsius>,
    pub sensor: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProductUsed {
    pub product: Code,
    pub used: Used,
    pub lot: String,
    pub panels: Vec<Code>,
    pub source: UseSource,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Used {
    Amount(Amount),
    /// Before and after on the scale.
    Weighed(Amount, Amount),
    /// Nobody said how much.
    Unsaid,
}

impl Used {
    /// The amount in its integer unit; a weighing gives a mass, never negative.
    pub fn quantity(&self) -> Option<Quantity> {
        match self {
            Used::Amount(amount) => Some(amount.quantity()),
            Used::Weighed(before, after) => match (before.quantity(), after.quantity()) {
                (Quantity::Mass(b), Quantity::Mass(a)) => Some(Quantity::Mass(
                    baywright_terms::amount::Micrograms(b.0.saturating_sub(a.0).max(0)),
                )),
                _ => None,
            },
            Used::Unsaid => None,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum UseSource {
    /// The bay's live mix of the product if there is one, else neat.
    Unsaid,
    Neat,
    Mix,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ContainerState {
    Opened,
    Refilled,
    Empty,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum LevelResult {
    Clean,
    Smeared,
    HighSpot,
}

/// The owner's answer to an odd record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    pub event: EventId,
    pub reason: String,
    pub answer: Answer,
    /// The code of the notice that it answers; empty: every one it fits.
    pub question: String,
    /// Which of several such notices, see [`crate::reply::subject`]; empty: all.
    pub of: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Answer {
    AsIs,
    End(Micros),
    Code(Code),
    Job(JobRef),
    Took {
        took_us: i64,
    },
    LeaveOut,
    /// A stage without a record was not done.
    NotDone,
    /// They were on the break that the record ran across: it comes off.
    BreakOff,
}
