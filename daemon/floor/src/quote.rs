//! Quotes and jobs from before the log. No figure here is worked out again: a
//! quote keeps what it printed.

use baywright_terms::amount::Amount;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::event::{EventId, JobKey, Seq};
use crate::fact::Grades;

/// What a quote was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    pub job_type: Code,
    pub vehicle: String,
    pub vehicle_class: Code,
    pub grades: Grades,
    pub unseen: bool,
    pub customer: String,
}

/// The part of a printed quote that figures are held against. The whole print
/// stays in the log, at the row's seq.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Printed {
    /// In the order of work.
    pub stages: Vec<PrintedStage>,
    pub products: Vec<PrintedProduct>,
    pub hands_on_half_us: i64,
    pub hands_on_p80_us: i64,
    pub bay_half_us: i64,
    pub bay_p80_us: i64,
    /// Suggested, without tax.
    pub price_minor: i64,
    pub cost_minor: i64,
    pub valid_until: Micros,
    /// The shop had no record of the type.
    pub trade_guess: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrintedStage {
    pub stage: Code,
    pub allowance_us: i64,
    /// Its share of the whole's half: they add up to it.
    pub quoted_us: i64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrintedProduct {
    pub product: Code,
    /// Concentrate-equivalent; `None` where it could not be read.
    pub quoted: Option<Amount>,
}

/// A job from before the log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastJob {
    /// Made of what the job says; the same job comes once.
    pub key: EventId,
    /// ISO 8601 in the shop's zone.
    pub date: String,
    pub job_type: Code,
    pub vehicle: String,
    /// Empty: that of the job type.
    pub vehicle_class: Code,
    pub grades: Grades,
    /// Of the whole job; 0: not said.
    pub quoted_us: i64,
    pub actual_us: i64,
    pub stages: Vec<PastStage>,
    pub uses: Vec<(Code, Amount)>,
    pub price_minor: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastStage {
    pub stage: Code,
    /// 0: not said.
    pub quoted_us: i64,
    pub actual_us: i64,
    pub worker: Code,
}

/// A quote as it was printed, first or again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteRow {
    /// Its quote_drafted.
    pub quote: EventId,
    pub seq: Seq,
    pub at: Micros,
    /// Printed again under the same number.
    pub revised: bool,
    /// The job that it is a line of its own for.
    pub addition_to: Option<JobKey>,
    pub asked: Asked,
    pub printed: Printed,
}

/// The customer's answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteDecidedRow {
    pub quote: EventId,
    pub seq: Seq,
    pub at: Micros,
    pub accepted: bool,
    /// Of an addition.
    pub addition_to: Option<JobKey>,
    pub agreed_minor: Option<i64>,
    pub suggested_minor: Option<i64>,
    pub reason: String,
    /// ISO 8601; empty: none given.
    pub planned_date: String,
}

/// Of one import: one row for each job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastRow {
    pub seq: Seq,
    pub source: String,
    pub past: PastJob,
}
