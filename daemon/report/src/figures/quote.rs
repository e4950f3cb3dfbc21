//! The figures of a quote.

use baywright_floor::fact::Grades;
use baywright_terms::amount::Amount;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::PortionUnit;

/// A quote as it is worked out. Durations are labour unless they say bay;
/// `half` is reached or stayed under by half of such jobs, `p80` by four in five.
#[derive(Debug, Clone, PartialEq)]
pub struct Suggestion {
    pub currency: String,
    pub vehicle_class: Code,
    /// In the order of work.
    pub stages: Vec<SuggestedStage>,
    pub products: Vec<SuggestedProduct>,
    pub hands_on_half_us: i64,
    pub hands_on_p80_us: i64,
    pub hands_on_mean_us: i64,
    /// Monte Carlo standard error of `hands_on_p80_us`.
    pub hands_on_p80_error_us: i64,
    pub bay_half_us: i64,
    pub bay_p80_us: i64,
    pub waiting_half_us: i64,
    pub cost: SuggestedCost,
    /// Whole cost if it takes as long as half, as four in five.
    pub cost_half_minor: i64,
    pub cost_p80_minor: i64,
    pub target_margin_permille: u32,
    /// The shop gave no target: a trade guess stands in.
    pub target_is_guess: bool,
    pub price_minor: i64,
    /// Of a vehicle that nobody has seen.
    pub price_range_minor: Option<(i64, i64)>,
    /// Left of the price if it takes as long as four in five; below zero: nothing.
    pub margin_p80_permille: i32,
    pub list_minor: Option<i64>,
    pub from_jobs: u32,
    pub from_jobs_all: u32,
    pub trade_guess: bool,
    pub likes: Vec<Like>,
    pub valid_until: Micros,
    pub seed: u64,
    pub draws: u32,
    /// Thousandths: above 1000 the ranges were widened.
    pub widen_milli: u32,
    pub tax_milli_pct: Option<u32>,
    /// Wage burden and overhead were given: what is left is a margin.
    pub margin: bool,
    /// Sentences to show with it.
    pub remarks: Vec<String>,
}

/// Cost of the mean job, minor units without tax.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct SuggestedCost {
    pub labour_minor: i64,
    pub materials_minor: i64,
    pub supplies_minor: i64,
    pub overhead_minor: i64,
}

impl SuggestedCost {
    pub fn sum_minor(&self) -> i64 {
        [
            self.materials_minor,
            self.supplies_minor,
            self.overhead_minor,
        ]
        .into_iter()
        .fold(self.labour_minor, i64::saturating_add)
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct SuggestedStage {
    pub stage: Code,
    /// In force now.
    pub allowance_us: i64,
    pub half_us: i64,
    pub p80_us: i64,
    /// Its share of the whole's half: they add up to it.
    pub quoted_us: i64,
    /// Records of the stage on the type.
    pub n: u32,
}

/// Amounts are parts of the unit: nanolitres, micrograms, thousandths.
#[derive(Debug, Clone, PartialEq)]
pub struct SuggestedProduct {
    pub product: Code,
    pub unit: PortionUnit,
    pub allowance: i64,
    pub half: i64,
    pub p80: i64,
    pub quoted: Amount,
    /// Of what is quoted, at the standard price; `None` without one.
    pub cost_minor: Option<i64>,
    pub n: u32,
}

/// An earlier job that is much like it.
#[derive(Debug, Clone, PartialEq)]
pub struct Like {
    /// `None`: an imported job.
    pub number: Option<u64>,
    pub vehicle: String,
    pub job_type: Code,
    pub grades: Grades,
    pub hands_on_us: i64,
    pub released: Micros,
}
