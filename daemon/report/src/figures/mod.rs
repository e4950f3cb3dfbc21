//! The figures that come out: plain structs of integers, named like the
//! messages of `report.proto`. Turning them into messages is the daemon's.

mod flow;
mod learned;
mod money;
mod quote;
mod stock;
mod story;

pub use flow::{
    AirOut, CureUnderWay, Flow, IdleReason, Own, OwnStage, RatioSpread, ReworkGroup, Spread,
    WeekDay, WeekPoint,
};
pub use learned::{
    Ahead, AheadJob, AheadWeek, Drift, Honesty, HonestyJob, HonestyOf, HonestyPoint, Learned,
    LearnedGrade, LearnedProduct, LearnedSpread, LearnedStage, LearnedType, LookAgain,
    QuotesOfType,
};
pub use money::{Cause, JobMoney, QuotedMoney, Shortfall, ShortfallPart, WeekMoney};
pub use quote::{Like, SuggestedCost, SuggestedProduct, SuggestedStage, Suggestion};
pub use stock::{LotFigures, LotJob, LotPanel, LotReceipt, LotUse, OpenBottle, StockFigures};
pub use story::{
    JobStory, StoryAir, StoryPlace, StorySection, StoryStretch, StoryUse, StretchKind,
};

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::notice::Notice;
use baywright_terms::amount::Quantity;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

/// The figures of one ISO week of the shop.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    /// For example `2026-W48`.
    pub week: String,
    /// Name of the shop in the catalogue; empty before there is one.
    pub shop: String,
    /// IANA zone of the shop.
    pub zone: String,
    /// ISO 4217.
    pub currency: String,
    /// First instant of the week and the first one after it.
    pub from: Micros,
    pub until: Micros,
    /// Where counting stops: `until`, or `as_of` while the week runs. Time
    /// after it counts as nothing, not as empty.
    pub counted_until: Micros,
    pub as_of_seq: Seq,
    pub as_of: Micros,
    /// In order of code; bays of the catalogue and bays of the facts.
    pub bays: Vec<WeekBay>,
    /// Jobs released in the week, in order of release.
    pub jobs: Vec<JobFigures>,
    /// Released jobs by type, in order of code.
    pub types: Vec<TypeFigures>,
    /// In order of job type, product and unit; rows of no job come last.
    pub chemicals: Vec<ChemicalFigures>,
    /// What waits for the owner, of all time up to `as_of`.
    pub odd: Vec<OddFigures>,
    /// First and latest instant in the log; `None`: empty.
    pub log_span: Option<(Micros, Micros)>,
    /// A sentence where there is nothing to show, else empty.
    pub remark: String,
    pub money: WeekMoney,
    /// One for each cause, in order; empty where no job was quoted.
    pub shortfalls: Vec<Shortfall>,
    pub flow: Flow,
    /// In order of time, where it was asked for.
    pub history: Vec<WeekPoint>,
    /// In order of day and bay.
    pub days: Vec<WeekDay>,
    pub air_out: Vec<AirOut>,
    pub cures: Vec<CureUnderWay>,
    pub rework: Vec<ReworkGroup>,
}

/// Place time of one bay in the week, microseconds.
///
/// `hands_on_us + waiting_us + idle_us + empty_us
///    = open_us + occupied_outside_open_us`, exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekBay {
    pub bay: Code,
    /// Places at the end of the counted span; 0: not in the catalogue then.
    pub places: u32,
    /// Released jobs that spent most of their time here.
    pub jobs_released: u32,
    /// Open hours times places.
    pub open_us: i64,
    /// Job time in the bay: `hands_on_us + waiting_us + idle_us`.
    pub occupied_us: i64,
    /// Job time outside open hours, or in open hours beyond the places.
    pub occupied_outside_open_us: i64,
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
    /// Open place time without a job.
    pub empty_us: i64,
    /// Sum over workers.
    pub labour_us: i64,
    /// `(open_us − empty_us) / open_us` in thousandths, rounded half to even;
    /// `None`: not open in the span.
    pub utilisation_permille: Option<u32>,
    /// They add up to `idle_us`.
    pub idle: Vec<IdleReason>,
    /// Hands-on share of the occupied time.
    pub flow_permille: Option<u32>,
    /// Of `jobs_released`.
    pub cycle: Spread,
    /// The stage that held the bay longest; `None`: no stage ran.
    pub longest_stage: Option<(Code, i64)>,
    /// Contribution for an hour of bay time; `None`: no priced job.
    pub contribution_per_hour_minor: Option<i64>,
    /// Integral of the jobs here over the counted span.
    pub jobs_here_us: i64,
}

/// Labour of one job, microseconds. `actual_us = first_pass_us + rework_us`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobFigures {
    pub job: JobKey,
    /// `None`: opened offline and not appended yet.
    pub number: Option<u64>,
    pub handle: String,
    pub job_type: Code,
    pub vehicle: String,
    /// Where it spent most of its time; empty: never in a bay.
    pub bay: Code,
    pub opened: Micros,
    pub released: Option<Micros>,
    /// `None`: the catalogue in force at opening has no allowances for it.
    pub quoted_us: Option<i64>,
    pub actual_us: i64,
    pub first_pass_us: i64,
    /// Stages done again; all of a comeback.
    pub rework_us: i64,
    /// Part of `actual_us`: nothing ended it, cut at closing.
    pub unclosed_us: i64,
    /// Part of `actual_us`: stated at release, not recorded.
    pub declared_us: i64,
    /// Opening to release; `None`: not released.
    pub cycle_us: Option<i64>,
    /// Allowed stages in the order of work, then the others by code.
    pub stages: Vec<StageFigures>,
    pub comeback_of: Option<JobKey>,
    /// Number of `comeback_of`, where its opening is among the rows.
    pub comeback_of_number: Option<u64>,
    /// Time in bays.
    pub occupied_us: i64,
    /// Part of `occupied_us` in which anybody was at work on it.
    pub hands_on_us: i64,
    /// That share of it.
    pub flow_permille: Option<u32>,
    pub money: JobMoney,
    /// One for each cause, in order; empty where nothing was quoted.
    pub shortfalls: Vec<Shortfall>,
}

/// Labour on one stage, of one job or of the jobs of a type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StageFigures {
    pub stage: Code,
    /// Jobs with a record of it.
    pub jobs: u32,
    /// 0 where `allowed` is false.
    pub quoted_us: i64,
    pub actual_us: i64,
    /// False: worked on, but the job type has no allowance for it.
    pub allowed: bool,
    /// Parts of `actual_us`.
    pub rework_us: i64,
    pub unclosed_us: i64,
    pub declared_us: i64,
}

/// Labour of the released jobs of one type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TypeFigures {
    pub job_type: Code,
    pub jobs: u32,
    /// Those among them with allowances.
    pub jobs_quoted: u32,
    /// Sum over `jobs_quoted`.
    pub quoted_us: i64,
    /// Sum over all.
    pub actual_us: i64,
    /// Part of `actual_us` on jobs without any allowance.
    pub actual_unquoted_us: i64,
    pub stages: Vec<StageFigures>,
    pub rework_us: i64,
    pub unclosed_us: i64,
    pub declared_us: i64,
    pub money: WeekMoney,
    pub shortfalls: Vec<Shortfall>,
}

/// The unit that amounts of a product are summed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PortionUnit {
    Ml,
    G,
    Each,
}

/// A sum of amounts in one unit, as an integer of `PortionUnit::parts`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Portion {
    pub unit: PortionUnit,
    /// Nanolitres, micrograms or thousandths of a piece.
    pub base: i64,
}

/// One product on the released jobs of one type, concentrate-equivalent.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each marks a row in its own way"
)]
pub struct ChemicalFigures {
    /// Empty: used in the week on no job, or only dumped.
    pub job_type: Code,
    pub product: Code,
    /// Released jobs of the type in the week.
    pub jobs: u32,
    /// Those with a record of the product, in any unit or without an amount.
    pub jobs_with_use: u32,
    pub unit: PortionUnit,
    pub used: Portion,
    /// Sum of the allowances in force when each job was opened.
    pub allowance: Portion,
    /// The share of these jobs in what was dumped of their mixes, whenever
    /// that was; in the row of no job, what was dumped in the week of mixes that
    /// nobody drew from. Not part of `used`.
    pub dumped: Portion,
    /// Records of the product on these jobs that give no usable amount; on
    /// the first unit's row only.
    pub uses_without_amount: u32,
    /// True: the type has rows of this product in another unit too, which
    /// cannot be added without a density.
    pub mixed_units: bool,
    /// Sum of what the jobs show, with what was dumped.
    pub cost_minor: i64,
    pub allowance_cost_minor: i64,
    /// Part of `cost_minor`.
    pub dumped_cost_minor: i64,
    pub no_price: bool,
    /// Jobs that `allowance` is the sum over.
    pub jobs_allowed: u32,
    /// Amount and cost for each job with a usable amount that is no comeback,
    /// without what was dumped.
    pub per_job: PerJob,
    /// Nobody meters it: what the refills took, shared out by allowance.
    pub apportioned: bool,
    /// Until the next refill the allowance stands in.
    pub at_allowance: bool,
}

/// Amounts in the portion's base unit, costs in minor units, over `n` jobs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PerJob {
    pub n: u32,
    pub mean_base: i64,
    pub median_base: i64,
    pub p80_base: i64,
    pub cost_mean_minor: i64,
    pub cost_median_minor: i64,
    pub cost_p80_minor: i64,
}

/// A notice that waits for the owner.
#[derive(Debug, Clone, PartialEq)]
pub struct OddFigures {
    /// The event to settle.
    pub event: EventId,
    pub seq: Seq,
    pub notice: Notice,
    pub job: Option<JobKey>,
    pub job_number: Option<u64>,
    pub occurred: Micros,
    pub bay: Code,
    pub settled: bool,
    /// How it can be settled, as a command line.
    pub settle_with: String,
    /// Which of several questions of its kind about the event.
    pub of: String,
    /// Labour that hangs on the answer; 0: none, or not known.
    pub changes_us: i64,
    /// The stage and worker it is about, where it is about labour.
    pub stage: Code,
    pub worker: Code,
    /// The stretch of that labour as it is recorded.
    pub counted: Option<(Micros, Micros)>,
    /// The likeliest first.
    pub answers: Vec<OddAnswer>,
}

/// One way to settle an odd record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OddAnswer {
    /// A command line; in capitals, what is left to be said.
    pub command: String,
    pub words: String,
    /// What it adds to the labour counted now; `None` where that is not known
    /// before the value is, or where it is not about labour.
    pub changes_us: Option<i64>,
    /// The likely one.
    pub proposed: bool,
}

impl WeekBay {
    /// Nothing stood in it and nobody worked in it.
    pub(crate) fn is_empty(&self) -> bool {
        (self.occupied_us, self.labour_us) == (0, 0)
    }
}

impl PortionUnit {
    /// How the unit is written: `ml`, `g` or `each`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Ml => "ml",
            Self::G => "g",
            Self::Each => "each",
        }
    }

    /// Integer parts of one unit.
    pub fn parts(self) -> u32 {
        match self {
            Self::Ml | Self::G => 1_000_000,
            Self::Each => 1_000,
        }
    }
}

impl Portion {
    /// Nothing, in `unit`.
    pub fn zero(unit: PortionUnit) -> Self {
        Self { unit, base: 0 }
    }

    /// The amount in its unit: the one division, made last.
    #[allow(
        clippy::cast_precision_loss,
        reason = "an f64 holds nine thousand litres in nanolitres exactly; a report prints five digits"
    )]
    pub fn value(self) -> f64 {
        self.base as f64 / f64::from(self.unit.parts())
    }
}

impl From<Quantity> for Portion {
    fn from(quantity: Quantity) -> Self {
        match quantity {
            Quantity::Volume(volume) => Self {
                unit: PortionUnit::Ml,
                base: volume.0,
            },
            Quantity::Mass(mass) => Self {
                unit: PortionUnit::G,
                base: mass.0,
            },
            Quantity::Count(count) => Self {
                unit: PortionUnit::Each,
                base: count.0,
            },
        }
    }
}
