//! Everything the fold may have to say about an event.

use baywright_terms::amount::Nanolitres;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::event::JobKey;

/// How much it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth saying, nothing to do.
    Say,
    /// A caution before the step.
    Caution,
    /// Listed for the owner to settle.
    Odd,
}

/// A notice in data; its code and its sentence are made by `words`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Notice {
    /// A worker's earlier stage was ended by starting another.
    EndedElsewhere {
        worker: Code,
        stage: Code,
        job: JobKey,
        bay: Code,
        worked_us: i64,
    },
    /// Two jobs and not enough places.
    BayOverfull {
        bay: Code,
        jobs: Vec<JobKey>,
    },
    NoJobHere {
        bay: Code,
    },
    UnknownJobNumber {
        number: u64,
    },
    UnknownCode {
        what: What,
        code: Code,
    },
    /// Nothing ended it before the next opening.
    Unclosed {
        stage: Code,
        worker: Code,
        cut_at: Micros,
    },
    /// An open stage ran across a break of the catalogue.
    BreakCrossed {
        stage: Code,
        worker: Code,
        from: Micros,
        until: Micros,
    },
    /// Released with stages that have no record and no declaration.
    Undeclared {
        stages: Vec<Code>,
    },
    NothingToEnd {
        stage: Code,
    },
    /// The section that a levelling without a panel met.
    LevelledThat {
        panel: Code,
        section: u32,
        after_us: i64,
    },
    NothingToLevel {
        panel: Code,
    },
    NoMix {
        product: Code,
    },
    /// More was used or dumped than the mix held.
    MixOverdrawn {
        product: Code,
    },
    /// Released before, or not opened.
    JobNotOpen {
        job: JobKey,
    },
    ClockOffset {
        offset_us: i64,
    },
    /// Its time is a guess from the device's wall clock.
    TimeUnsure,
    InFuture {
        ahead_us: i64,
    },
    DwellTooLong {
        product: Code,
        over_us: i64,
    },
    DwellTooShort {
        product: Code,
        under_us: i64,
    },
    /// Rules of the catalogue: this product or stage on these finishes.
    SurfaceNever {
        what: Code,
        /// Each with the reason.
        finishes: Vec<(Code, String)>,
    },
    /// Everything that one finish of this vehicle must never get.
    FinishNevers {
        finish: Code,
        panels: Vec<Code>,
        /// Stages and products.
        nevers: Vec<Code>,
        whys: Vec<String>,
    },
    SurfaceCare {
        what: Code,
        finish: Code,
        why: String,
    },
    Caution {
        what: Code,
        text: String,
        sds: String,
    },
    /// Surface close to or under the dew point, or out of the product's range.
    AirUnfit {
        product: Code,
        why: AirWhy,
    },
    StillWet {
        until: Micros,
    },
    StillRunning {
        stages: Vec<Code>,
    },
    StrikeUnknown,
    SettledUnknown,
    UnitMismatch {
        product: Code,
    },
    UnknownFact,
    /// A product or stage was put on a panel of a finish that must not get it.
    AgainstRule {
        what: Code,
        panel: Code,
        finish: Code,
        why: String,
    },
    /// Nothing of that worker or job had been laid aside.
    NothingToResume {
        stage: Code,
    },
    /// The device's clock is off and nothing tells when it really happened.
    ClockUnsure {
        offset_us: i64,
    },
    /// Counted as taken from the bay's live mix.
    FromMix {
        product: Code,
    },
    /// A new mix took the place of one that still held something: counted as waste.
    MixReplaced {
        product: Code,
        rest: Nanolitres,
    },
    /// A device said that a post of its could not be read and was set aside.
    SetAside {
        text: String,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    Bay,
    Worker,
    Product,
    Stage,
    JobType,
    Panel,
    Place,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum AirWhy {
    /// Thousandths of a degree between surface and dew point.
    DewMargin { margin_milli_c: i32 },
    TooCold {
        surface_milli_c: i32,
        lowest_milli_c: i32,
    },
    TooWarm {
        surface_milli_c: i32,
        highest_milli_c: i32,
    },
}
