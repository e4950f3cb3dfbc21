//! Flow through the bays.

use baywright_floor::event::{JobKey, Seq};
use baywright_terms::code::Code;
use baywright_terms::temperature::MilliCelsius;
use baywright_terms::time::Micros;
use jiff::civil::Date;

/// Quantiles of a few lengths, microseconds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Spread {
    pub n: u32,
    pub mean_us: i64,
    pub half_us: i64,
    pub p80_us: i64,
    pub p90_us: i64,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Flow {
    pub opened: u32,
    pub released: u32,
    /// Integral of the jobs in progress over the counted span.
    pub in_progress_us: i64,
    pub window_us: i64,
    /// Opening to release of the released jobs.
    pub cycle: Spread,
    /// Hands-on share of the bay time of the released jobs.
    pub flow_permille: Option<u32>,
    pub reworked: u32,
    pub rework_permille: Option<u32>,
}

impl Flow {
    /// No job was here.
    pub(crate) fn is_empty(&self) -> bool {
        (self.opened, self.released, self.in_progress_us) == (0, 0, 0)
    }
}

/// Why a bay stood idle with a vehicle in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IdleReason {
    pub reason: String,
    pub idle_us: i64,
}

/// Bay time of one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekDay {
    pub date: Date,
    pub bay: Code,
    pub open_us: i64,
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
    pub empty_us: i64,
    pub occupied_outside_open_us: i64,
}

/// One week of history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekPoint {
    pub week: String,
    pub from: Micros,
    pub jobs: u32,
    pub quoted_us: i64,
    pub actual_us: i64,
    /// Actual over quoted labour of the quoted jobs, thousandths.
    pub ratio_permille: Option<RatioSpread>,
    pub revenue_minor: i64,
    pub contribution_minor: i64,
    pub effective_hour_minor: Option<i64>,
    pub utilisation_permille: Option<u32>,
    pub rework_us: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RatioSpread {
    pub p20: u32,
    pub half: u32,
    pub p80: u32,
}

/// A section was coated in air that did not fit the product.
#[derive(Debug, Clone, PartialEq)]
pub struct AirOut {
    pub job: JobKey,
    pub job_number: Option<u64>,
    pub panel: Code,
    pub product: Code,
    pub coated: Micros,
    pub bay: Code,
    pub why: baywright_floor::notice::AirWhy,
    pub seq: Seq,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CureUnderWay {
    pub job: JobKey,
    pub job_number: Option<u64>,
    pub handle: String,
    pub vehicle: String,
    /// `None`: reached, or the label does not say.
    pub water_safe: Option<Micros>,
    pub full_cure: Option<Micros>,
    pub panels: u32,
}

/// Coated sections by product and lot, and how they came out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReworkGroup {
    pub product: Code,
    pub lot: String,
    pub sections: u32,
    pub smeared: u32,
    pub high_spots: u32,
    pub lowest: Option<MilliCelsius>,
    pub highest: Option<MilliCelsius>,
}

/// A worker's own figures; below `jobs_needed` jobs everything else is empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Own {
    pub worker: Code,
    pub name: String,
    /// Jobs worked on.
    pub jobs: u32,
    pub jobs_needed: u32,
    /// In order of code.
    pub stages: Vec<OwnStage>,
    pub hands_on_us: i64,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnStage {
    pub stage: Code,
    pub jobs: u32,
    pub hands_on_us: i64,
}
