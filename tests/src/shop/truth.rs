//! What is true of the invented shop and not in its catalogue: which jobs
//! really take longer than their allowance, and what its customers bring.
//!
//! The pattern follows common practice (small parts and mixed finishes cost
//! more than area); the numbers are invented.

use rand::Rng;
use rand::RngExt as _;
use rand_distr::{Distribution as _, LogNormal};

/// How often a job type comes in, and how its labour and chemicals really are
/// against the allowance.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    pub frequency: u32,
    pub labour_factor: f64,
    pub chemical_factor: f64,
}

/// The truth of a job type, by words in its code; others are as allowed.
pub fn of(job_type: &str) -> Truth {
    let table = [
        (
            "trike",
            Truth {
                frequency: 5,
                labour_factor: 1.32,
                chemical_factor: 1.45,
            },
        ),
        (
            "motorcycle",
            Truth {
                frequency: 4,
                labour_factor: 1.12,
                chemical_factor: 1.1,
            },
        ),
        (
            "hatch",
            Truth {
                frequency: 6,
                labour_factor: 0.95,
                chemical_factor: 0.95,
            },
        ),
        (
            "saloon",
            Truth {
                frequency: 6,
                labour_factor: 1.0,
                chemical_factor: 1.0,
            },
        ),
        (
            "suv",
            Truth {
                frequency: 4,
                labour_factor: 1.05,
                chemical_factor: 1.0,
            },
        ),
        (
            "truck",
            Truth {
                frequency: 2,
                labour_factor: 0.88,
                chemical_factor: 0.8,
            },
        ),
        (
            "boat",
            Truth {
                frequency: 1,
                labour_factor: 1.1,
                chemical_factor: 1.2,
            },
        ),
        (
            "tractor",
            Truth {
                frequency: 1,
                labour_factor: 1.2,
                chemical_factor: 1.3,
            },
        ),
    ];
    table
        .into_iter()
        .find(|(word, _)| job_type.contains(word))
        .map_or(
            Truth {
                frequency: 2,
                labour_factor: 1.0,
                chemical_factor: 1.0,
            },
            |(_, truth)| truth,
        )
}

/// A factor around 1 whose logarithm has this standard deviation.
pub fn spread(rng: &mut impl Rng, sd_log: f64) -> f64 {
    LogNormal::new(0.0, sd_log).map_or(1.0, |d| d.sample(rng))
}

/// True about `percent` times in a hundred.
pub fn chance(rng: &mut impl Rng, percent: u32) -> bool {
    rng.random_range(0..100) < percent
}

/// The vehicle in a person's words.
pub fn words(rng: &mut impl Rng, job_type: &str) -> String {
    const COLOURS: [&str; 9] = [
        "red", "black", "silver", "white", "blue", "grey", "green", "yellow", "bronze",
    ];
    let kinds = [
        ("trike", "three-wheeler"),
        ("motorcycle", "motorcycle"),
        ("hatch", "hatchback"),
        ("saloon", "saloon"),
        ("suv", "off-roader"),
        ("truck", "pick-up truck"),
        ("boat", "day boat"),
        ("tractor", "tractor"),
    ];
    let kind = kinds
        .into_iter()
        .find(|(word, _)| job_type.contains(word))
        .map_or("vehicle", |(_, kind)| kind);
    let colour = COLOURS
        .get(rng.random_range(0..COLOURS.len()))
        .copied()
        .unwrap_or("grey");
    format!("{colour} {kind}")
}
