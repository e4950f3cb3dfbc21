//! What was learned, how quotes held, and what they promise. Named like the
//! messages of `quote.proto`.

use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::PortionUnit;

/// What records say about allowances and prices.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Learned {
    pub currency: String,
    /// Jobs it was learned from, imported ones among them.
    pub jobs: u32,
    pub jobs_imported: u32,
    /// Types of the catalogue that are not retired, in order of code.
    pub types: Vec<LearnedType>,
    pub grades: Vec<LearnedGrade>,
    pub spreads: Vec<LearnedSpread>,
    /// Ranges are widened (over 1000) or narrowed by this on the log scale.
    pub widen_milli: u32,
    pub widened: bool,
    pub look_again: Vec<LookAgain>,
    pub remarks: Vec<String>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct LearnedType {
    pub job_type: Code,
    pub name: String,
    /// Closed jobs of it.
    pub jobs: u32,
    /// In the order of work.
    pub stages: Vec<LearnedStage>,
    pub products: Vec<LearnedProduct>,
    /// Of a job as they usually come in; 0: it has no stages.
    pub hands_on_half_us: i64,
    pub hands_on_p80_us: i64,
    /// Mean cost of such a job at the standards of the catalogue.
    pub cost_minor: i64,
    /// 0: the catalogue gives no price.
    pub list_minor: i64,
    pub trade_guess: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearnedStage {
    pub stage: Code,
    /// In force now.
    pub allowance_us: i64,
    /// The last one that a person gave.
    pub given_us: i64,
    /// Half of such vehicles of grade 3, and the range that holds it four in five.
    pub half_us: i64,
    pub half_low_us: i64,
    pub half_high_us: i64,
    /// Records of the stage on the type.
    pub n: u32,
    /// `None`: too few to say.
    pub drift: Option<Drift>,
    pub suggest: bool,
    pub trade_guess: bool,
}

/// Shift of the last records against those before, thousandths: 1100 is a tenth
/// longer. The range holds it 19 times in 20.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drift {
    pub milli: u32,
    pub low_milli: u32,
    pub high_milli: u32,
    /// The range leaves no change out.
    pub drifting: bool,
}

/// Amounts are parts of the unit: nanolitres, micrograms, thousandths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearnedProduct {
    pub product: Code,
    pub unit: PortionUnit,
    pub allowance: i64,
    pub given: i64,
    pub half: i64,
    pub half_low: i64,
    pub half_high: i64,
    pub n: u32,
    pub suggest: bool,
    pub trade_guess: bool,
}

/// What one grade more does to the time, as factors in thousandths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearnedGrade {
    /// `soil`, `defects` or `intricacy`.
    pub grade: &'static str,
    pub acts_on: &'static str,
    pub factor_milli: u32,
    pub factor_low_milli: u32,
    pub factor_high_milli: u32,
    /// What the trade says, before any record.
    pub trade_milli: u32,
}

/// Two in three lie between divided by and times the factor, thousandths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearnedSpread {
    pub what: String,
    pub factor_milli: u32,
    pub factor_low_milli: u32,
    pub factor_high_milli: u32,
}

/// A list price that no longer fits. Nothing that was agreed is any part of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LookAgain {
    pub job_type: Code,
    pub list_minor: i64,
    /// What such a job costs on average.
    pub cost_minor: i64,
    pub margin_permille: i32,
    pub target_margin_permille: u32,
    /// How sure it is that the list price misses the target.
    pub probability_permille: u32,
    /// Meets the target on average.
    pub price_minor: i64,
    /// Meets it with four in five certainty about the average.
    pub price_sure_minor: i64,
    pub from_jobs: u32,
    /// It asks too much rather than too little.
    pub above: bool,
}

/// How quotes held: labour of released jobs against what was said before.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Honesty {
    pub jobs: u32,
    /// The quote, the allowance and the mean of the last five, in this order.
    pub of: Vec<HonestyOf>,
    /// In order of release.
    pub by_job: Vec<HonestyJob>,
    pub calibration: Vec<HonestyPoint>,
    pub widen_milli: u32,
    pub remark: String,
}

#[derive(Debug, Clone, PartialEq)]
pub struct HonestyOf {
    /// `quote`, `allowance` or `mean of the last five`.
    pub what: &'static str,
    /// Median of actual over half, thousandths.
    pub bias_milli: u32,
    /// Jobs at or under half, and at or under four in five; of all.
    pub half_held: u32,
    pub p80_held: u32,
    pub of: u32,
    /// 95 % range of the share that held four in five (Clopper-Pearson).
    pub p80_low_permille: u32,
    pub p80_high_permille: u32,
    /// Mean losses, hours: lower is better.
    pub pinball_half_h: f64,
    pub pinball_p80_h: f64,
    pub crps_h: f64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HonestyJob {
    pub number: Option<u64>,
    pub job_type: Code,
    pub actual_us: i64,
    pub half_us: i64,
    pub p80_us: i64,
    pub allowance_us: i64,
    /// `None`: no earlier job of the type.
    pub last_five_us: Option<i64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HonestyPoint {
    pub promised_permille: u32,
    pub held_permille: u32,
    /// 95 % range (Clopper-Pearson).
    pub held_low_permille: u32,
    pub held_high_permille: u32,
}

/// The two weeks that begin now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ahead {
    pub from: Micros,
    pub weeks: Vec<AheadWeek>,
    /// Promised without a day; counted with the first week.
    pub no_day_half_us: i64,
    pub no_day_p80_us: i64,
    /// In order of day, those without one first.
    pub jobs: Vec<AheadJob>,
    /// Drafted, not decided, not run out.
    pub quotes_open: u32,
    pub quotes_open_half_us: i64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AheadWeek {
    /// `2026-W48`, or its first and last day where it begins on another day.
    pub week: String,
    pub from: Micros,
    pub until: Micros,
    /// Open hours without breaks times workers; open hours times places.
    pub worker_open_us: i64,
    pub bay_open_us: i64,
    /// Labour still to do.
    pub promised_half_us: i64,
    pub promised_p80_us: i64,
    pub promised_bay_half_us: i64,
    pub promised_bay_p80_us: i64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AheadJob {
    /// `None`: accepted, and not opened yet.
    pub number: Option<u64>,
    pub job_type: Code,
    pub vehicle: String,
    /// ISO 8601; empty: none given.
    pub planned_date: String,
    pub promised_half_us: i64,
    pub promised_p80_us: i64,
    pub done_us: i64,
    pub left_half_us: i64,
    pub left_p80_us: i64,
}

/// Quotes of one type by how they ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuotesOfType {
    pub job_type: Code,
    pub won: u32,
    pub lost: u32,
    pub open: u32,
    pub run_out: u32,
    /// Of the printed prices; 0: none.
    pub won_price_mean_minor: i64,
    pub lost_price_mean_minor: i64,
    /// Agreed over printed of the won ones, thousandths; 0: none.
    pub agreed_milli: u32,
    /// The latest first.
    pub lost_why: Vec<String>,
}
