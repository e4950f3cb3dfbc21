//! Money of jobs, in minor units without tax.

use baywright_floor::event::{JobKey, Seq};
use baywright_terms::code::Code;

/// Why a job fell short of its quote, in the order in which it is told.
///
/// In the terms of standard costing: took longer is the labour efficiency
/// variance of the first pass, paid more per hour the labour rate variance,
/// used more the material usage variance of the first pass, paid more for it
/// the material price variance; rework and waste are the parts of efficiency
/// and usage that the first pass did not need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    DiscountGiven,
    TookLonger,
    PaidMorePerHour,
    UsedMore,
    PaidMoreForIt,
    Rework,
    Waste,
}

impl Cause {
    pub const ALL: [Self; 7] = [
        Self::DiscountGiven,
        Self::TookLonger,
        Self::PaidMorePerHour,
        Self::UsedMore,
        Self::PaidMoreForIt,
        Self::Rework,
        Self::Waste,
    ];

    /// Its word on the wire.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::DiscountGiven => "discount-given",
            Self::TookLonger => "took-longer",
            Self::PaidMorePerHour => "paid-more-per-hour",
            Self::UsedMore => "used-more",
            Self::PaidMoreForIt => "paid-more-for-it",
            Self::Rework => "rework",
            Self::Waste => "waste",
        }
    }
}

/// One cause over a job or several; positive took from the contribution.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortfall {
    pub cause: Cause,
    /// `labour_minor + materials_minor`, or the discount.
    pub amount_minor: i64,
    pub labour_minor: i64,
    pub materials_minor: i64,
    /// What it is made of; the parts add up to it.
    pub parts: Vec<ShortfallPart>,
}

/// One stage or product of one job in a shortfall.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShortfallPart {
    pub job: JobKey,
    /// Empty where it is about a product or a discount.
    pub stage: Code,
    pub product: Code,
    pub amount_minor: i64,
    pub seqs: Vec<Seq>,
}

/// Money of one job; `contribution = revenue − labour − materials − supplies −
/// overhead`, exactly.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JobMoney {
    /// Agreed, else the list price; `None`: neither is known.
    pub revenue_minor: Option<i64>,
    /// Nothing was agreed: the list price stands in.
    pub revenue_assumed: bool,
    pub list_minor: Option<i64>,
    pub labour_minor: i64,
    /// With the share of the waste of its mixes.
    pub materials_minor: i64,
    /// Standard, not measured.
    pub supplies_minor: i64,
    /// For the sold hours; 0 where the catalogue gives none.
    pub overhead_minor: i64,
    /// Without revenue: minus its costs.
    pub contribution_minor: i64,
    /// `None`: nothing was quoted.
    pub quoted: Option<QuotedMoney>,
    /// Minor units for an hour; `None`: no labour, or no revenue.
    pub effective_hour_minor: Option<i64>,
    /// Costed at the standard rate.
    pub labour_without_rate_us: i64,
    /// Costed at nothing.
    pub uses_without_price: u32,
    /// Apportioned or at allowance; part of `materials_minor`.
    pub materials_unmeasured_minor: i64,
    /// Wage burden and overhead were given.
    pub margin: bool,
}

/// What the catalogue at opening would have a job cost.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct QuotedMoney {
    pub labour_minor: i64,
    pub materials_minor: i64,
    /// `list − labour − materials − supplies − overhead`.
    pub contribution_minor: i64,
}

/// Sums over jobs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WeekMoney {
    pub jobs: u32,
    /// Jobs with a known revenue; revenue and contribution are over these.
    pub jobs_priced: u32,
    /// Those among them at the list price.
    pub jobs_assumed: u32,
    pub revenue_minor: i64,
    /// Costs are over all jobs.
    pub labour_minor: i64,
    pub materials_minor: i64,
    pub supplies_minor: i64,
    pub overhead_minor: i64,
    pub contribution_minor: i64,
    /// Jobs with a quote and a revenue; the next two are over these.
    pub jobs_quoted: u32,
    pub quoted_contribution_minor: i64,
    pub contribution_of_quoted_minor: i64,
    pub effective_hour_minor: Option<i64>,
    /// Chemicals of the span on no job.
    pub loose_materials_minor: i64,
    pub margin: bool,
    pub labour_without_rate_us: i64,
    pub uses_without_price: u32,
    pub materials_unmeasured_minor: i64,
}
