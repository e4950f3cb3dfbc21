//! What is believed before any record of the shop.
//!
//! `y = ln(actual / given allowance)`. Every prior is weak: a few dozen jobs
//! outweigh it. All of them are common practice of the trade with low
//! confidence, and said to be a trade guess wherever nothing else speaks.
//!
//! - Grade slopes: the usual multipliers of cleaning (0.75, 0.9, 1, 1.25, 1.6) and
//!   of correction (0.6, 0.8, 1, 1.35, 1.9) for grades 1 to 5 give least-squares
//!   slopes of 0.18 and 0.28 on the log scale; nooks, trim and mixed finishes cost
//!   a tenth to a quarter more for a step, about 0.15. Intricacy is never zero.
//! - Spreads: an allowance is good to a factor of about 1.35 for one stage of one
//!   vehicle (common practice), shared out over what causes it.

use baywright_learn::posterior::{Factor, Model, Normal, Spread};

/// Factors of the model of hours, in order.
pub(crate) const STAGE: usize = 0;
pub(crate) const TYPE: usize = 1;
pub(crate) const TYPE_STAGE: usize = 2;
pub(crate) const CLASS: usize = 3;
pub(crate) const WORKER: usize = 4;

/// Slopes of the model of hours, in order, with the trade's values.
pub(crate) const SLOPES: [(&str, f64, f64); 3] = [
    ("soil", 0.18, 0.08),
    ("defects", 0.28, 0.10),
    ("intricacy", 0.15, 0.08),
];

/// Slopes of the model of amounts: defects take no chemicals.
pub(crate) const GOODS_SLOPES: [(&str, f64, f64); 2] =
    [("soil", 0.15, 0.10), ("intricacy", 0.10, 0.10)];

/// Degrees of freedom of a recording error: forgotten stops and slips are a few
/// in a hundred and reach two to six times the true value (common practice).
const NOISE_DOF: f64 = 5.0;

fn factors(named: &[(&str, f64)]) -> Vec<Factor> {
    let factor = |(name, scale): &(&str, f64)| Factor {
        name: (*name).to_owned(),
        spread: Spread { scale: *scale },
    };
    named.iter().map(factor).collect()
}

fn slopes(named: &[(&str, f64, f64)]) -> Vec<(String, Normal)> {
    let slope = |(name, mean, sd): &(&str, f64, f64)| {
        let prior = Normal {
            mean: *mean,
            sd: *sd,
        };
        ((*name).to_owned(), prior)
    };
    named.iter().map(slope).collect()
}

/// Minutes against allowances.
pub(crate) fn hours() -> Model {
    Model {
        intercept: Normal { mean: 0.0, sd: 0.2 },
        slopes: slopes(&SLOPES),
        factors: factors(&[
            ("stage", 0.15),
            ("type", 0.25),
            ("type and stage", 0.2),
            ("class", 0.15),
            ("worker", 0.15),
        ]),
        unit: Spread { scale: 0.2 },
        noise_median: 0.22,
        noise_log_sd: 0.4,
        noise_dof: NOISE_DOF,
    }
}

/// Amounts against allowances; never scaled by size.
pub(crate) fn goods() -> Model {
    Model {
        intercept: Normal { mean: 0.0, sd: 0.2 },
        slopes: slopes(&GOODS_SLOPES),
        factors: factors(&[
            ("product", 0.25),
            ("type", 0.25),
            ("type and product", 0.25),
            ("class", 0.15),
        ]),
        unit: Spread { scale: 0.2 },
        noise_median: 0.3,
        noise_log_sd: 0.4,
        noise_dof: NOISE_DOF,
    }
}
