//! What the fold emits: plain intervals and quantities, each with the events
//! behind it. Money and shares are joined when the rows are read.

use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::catalogue::Panel;
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::event::{EventId, JobKey, Position, Seq};
use crate::fact::{Declaration, Grades, LevelResult};
use crate::quote::{PastRow, QuoteDecidedRow, QuoteRow};

/// A row and the event whose folding emitted it. Rows of one event are
/// numbered from 0 in the order of emission, so (position, ordinal) is a key
/// that does not depend on the order of arrival.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Emitted {
    pub origin: Position,
    pub ordinal: u32,
    pub row: Row,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Row {
    JobOpened(JobOpenedRow),
    JobReleased {
        job: JobKey,
        at: Micros,
        seq: Seq,
    },
    Presence(Presence),
    HandsOn(HandsOn),
    Waiting(Waiting),
    Declared {
        job: JobKey,
        stage: Code,
        declaration: Declaration,
        seq: Seq,
    },
    Use(UseRow),
    MixMade(MixMadeRow),
    MixDumped {
        mix: EventId,
        volume: Nanolitres,
        at: Micros,
        seq: Seq,
    },
    Container {
        product: Code,
        bay: Code,
        kind: ContainerKind,
        quantity: Option<Quantity>,
        lot: String,
        at: Micros,
        seq: Seq,
    },
    Coated(CoatedRow),
    Levelled {
        coated: EventId,
        job: JobKey,
        at: Micros,
        result: LevelResult,
        seq: Seq,
    },
    Lamp {
        job: JobKey,
        panel: Code,
        from: Micros,
        until: Micros,
        surface: Option<MilliCelsius>,
        seq: Seq,
    },
    Cured {
        job: JobKey,
        panel: Code,
        at: Micros,
        seq: Seq,
    },
    Covered {
        job: JobKey,
        finish: Code,
        panel: Code,
        left_out: bool,
        seq: Seq,
    },
    FlawFound {
        job: JobKey,
        event: EventId,
        panel: Code,
        flaw: String,
        existing: bool,
        photo: String,
        at: Micros,
        seq: Seq,
    },
    FlawRemedied {
        job: JobKey,
        found: Option<EventId>,
        panel: Code,
        at: Micros,
        seq: Seq,
    },
    Stock {
        product: Code,
        kind: StockKind,
        quantity: Option<Quantity>,
        packs: u32,
        price_minor: Option<i64>,
        lot: String,
        at: Micros,
        seq: Seq,
    },
    Air {
        bay: Code,
        at: Micros,
        air: MilliCelsius,
        humidity: MilliPercent,
        surface: Option<MilliCelsius>,
        sensor: bool,
        seq: Seq,
    },
    /// The job that an event counts for, as the fold worked it out.
    Counted {
        event: EventId,
        seq: Seq,
        job: Option<JobKey>,
        by: Vec<Code>,
    },
    Notice(NoticeRow),
    Quote(QuoteRow),
    QuoteDecided(QuoteDecidedRow),
    Past(PastRow),
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobOpenedRow {
    pub job: JobKey,
    pub seq: Seq,
    pub number: Option<u64>,
    pub handle: String,
    pub opened: Micros,
    pub job_type: Code,
    pub vehicle: String,
    pub vehicle_class: Code,
    pub grades: Grades,
    pub panels: Vec<Panel>,
    pub comeback_of: Option<JobKey>,
    pub agreed_minor: Option<i64>,
    /// The quote it was accepted with.
    pub quote: Option<EventId>,
}

/// A job in one place: a bay, `holding` or `away`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Presence {
    pub job: JobKey,
    pub place: Code,
    pub from: Micros,
    /// `None`: still there (only in provisional rows).
    pub until: Option<Micros>,
    pub seq_from: Seq,
    pub seq_until: Option<Seq>,
}

/// One worker on one stage of one job without a break.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HandsOn {
    pub job: JobKey,
    pub stage: Code,
    /// The stage_started that this time belongs to.
    pub run: EventId,
    /// Empty: nobody was named; counts as one worker.
    pub worker: Code,
    pub bay: Code,
    pub from: Micros,
    pub until: Micros,
    pub ended: Ended,
    /// The words given with the pause or break that ended it; else empty.
    pub reason: String,
    pub rework: bool,
    pub seq_from: Seq,
    pub seq_until: Option<Seq>,
}

/// Why a stretch of hands-on time stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ended {
    Done,
    /// Done, but to be done again.
    Again,
    Paused,
    /// The worker went on a break.
    Break,
    /// A dwell set the worker free.
    Dwell,
    /// The worker started something else.
    Elsewhere,
    /// The job left the place.
    Moved,
    Released,
    /// Nothing ended it: cut at closing or the worker's last post.
    Unclosed,
    /// The owner said when it ended.
    Settled,
    /// Still running (only in provisional rows).
    Running,
}

/// A job waits: nobody needs to touch it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waiting {
    pub job: JobKey,
    pub kind: WaitingKind,
    pub product: Code,
    pub panel: Code,
    pub from: Micros,
    /// `None`: still waiting (only in provisional rows).
    pub until: Option<Micros>,
    pub seq_from: Seq,
    pub seq_until: Option<Seq>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WaitingKind {
    Dwell,
    Flash,
    Lamp,
    Cure,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UseRow {
    pub event: EventId,
    pub seq: Seq,
    pub at: Micros,
    pub job: Option<JobKey>,
    pub stage: Code,
    pub bay: Code,
    pub product: Code,
    /// As used: of the mix where `mix` is given, else of the product.
    pub quantity: Option<Quantity>,
    pub mix: Option<EventId>,
    pub lot: String,
    pub panels: Vec<Code>,
    /// The job is a comeback, or its stage was being done again.
    pub rework: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixMadeRow {
    pub mix: EventId,
    pub seq: Seq,
    pub at: Micros,
    pub bay: Code,
    pub product: Code,
    pub volume: Nanolitres,
    /// Concentrate that went in.
    pub concentrate: Nanolitres,
    pub additions: Vec<(Code, Quantity)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ContainerKind {
    Opened,
    Refilled,
    Empty,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StockKind {
    Received,
    Counted,
}

/// A section was spread; `Row::Levelled` names it by `event`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoatedRow {
    pub event: EventId,
    pub seq: Seq,
    pub job: JobKey,
    pub panel: Code,
    pub section: u32,
    pub finish: Code,
    pub product: Code,
    pub lot: String,
    pub layer: u32,
    pub at: Micros,
    /// Latest reading in that bay, where one is fresh.
    pub air: Option<MilliCelsius>,
    pub humidity: Option<MilliPercent>,
    pub surface: Option<MilliCelsius>,
}

/// Something to say about an event, or to settle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoticeRow {
    /// The event it is about; a settlement names this one.
    pub event: EventId,
    pub seq: Seq,
    pub at: Micros,
    pub bay: Code,
    pub job: Option<JobKey>,
    pub notice: crate::notice::Notice,
    /// The owner has answered it.
    pub settled: bool,
}
