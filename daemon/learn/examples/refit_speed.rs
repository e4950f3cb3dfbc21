//! How long a refit and a prediction take, beside one pass over the rows.
//!
//! `cargo run --release -p baywright-learn --example refit_speed [-- UNITS]`

#![allow(clippy::print_stdout, reason = "a program that prints its findings")]

use std::time::{Duration, Instant};

use baywright_learn::posterior::{
    Cell, CellTerm, Factor, Level, Model, Normal, Options, Records, Row, Spread, Term, fit,
    quantile,
};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};

const STAGES: usize = 8;
const TYPES: usize = 10;
const CLASSES: usize = 8;
const WORKERS: usize = 5;
const TIMES: usize = 7;

fn model() -> Model {
    let factor = |scale| Factor {
        name: String::new(),
        spread: Spread { scale },
    };
    let slope = |mean| (String::new(), Normal { mean, sd: 0.08 });
    Model {
        intercept: Normal { mean: 0.0, sd: 0.2 },
        slopes: vec![slope(0.18), slope(0.28), slope(0.15)],
        factors: [0.15, 0.25, 0.2, 0.15, 0.15].map(factor).to_vec(),
        unit: Spread { scale: 0.2 },
        noise_median: 0.22,
        noise_log_sd: 0.4,
        noise_dof: 5.0,
    }
}

fn records(units: usize) -> Records {
    let mut rng = ChaCha12Rng::seed_from_u64(1);
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    let mut rows = Vec::new();
    let counts = [STAGES, TYPES, TYPES * STAGES, CLASSES, WORKERS];
    let effects: Vec<Vec<f64>> = counts
        .iter()
        .map(|count| (0..*count).map(|_| 0.12 * normal(&mut rng)).collect())
        .collect();
    for unit in 0..units {
        let (kind, class) = (rng.random_range(0..TYPES), rng.random_range(0..CLASSES));
        let own = 0.15 * normal(&mut rng);
        for stage in 0..STAGES {
            let levels = [
                stage,
                kind,
                kind * STAGES + stage,
                class,
                rng.random_range(0..WORKERS),
            ];
            let terms = levels.iter().enumerate().map(|(factor, level)| Term {
                factor,
                level: *level,
                weight: 1.0,
            });
            let grade = f64::from(rng.random_range(-2..=2_i32));
            let of_levels: f64 = levels.iter().zip(&effects).map(|(l, e)| e[*l]).sum();
            rows.push(Row {
                y: of_levels + own + 0.15 * grade + 0.22 * normal(&mut rng),
                unit,
                terms: terms.collect(),
                slopes: vec![if stage < 4 { grade } else { 0.0 }, 0.0, grade],
                noise_factor: 1.0,
            });
        }
    }
    Records {
        rows,
        units,
        levels: counts.to_vec(),
    }
}

fn median(mut of: impl FnMut()) -> Duration {
    let mut took: Vec<Duration> = (0..TIMES)
        .map(|_| {
            let began = Instant::now();
            of();
            began.elapsed()
        })
        .collect();
    took.sort_unstable();
    took[TIMES / 2]
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let units = std::env::args().nth(1).map_or(Ok(2_000), |n| n.parse())?;
    let records = records(units);
    let model = model();
    let fitted = fit(&model, &records)?;
    let refit = median(|| drop(fit(&model, &records)));
    let mut sum = 0.0;
    let pass = median(|| {
        for row in &records.rows {
            let x = row.terms.iter().map(|t| t.weight).sum::<f64>();
            sum += (row.y * x).abs();
        }
    });
    let cell = |stage: usize| Cell {
        terms: [stage, 3, 3 * STAGES + stage, 2]
            .into_iter()
            .enumerate()
            .map(|(factor, level)| CellTerm {
                factor,
                level: Level::Known(level),
                weight: 1.0,
            })
            .chain([CellTerm {
                factor: 4,
                level: Level::OneOf((0..WORKERS).map(|w| (w, 1.0)).collect()),
                weight: 1.0,
            }])
            .collect(),
        slopes: vec![1.0, 0.0, 2.0],
    };
    let cells: Vec<Cell> = (0..12).map(|k| cell(k % STAGES)).collect();
    let simulate = median(|| {
        let draws = fitted.simulate(&cells, 20_000, 5, Options::default());
        let mut totals = draws.total(&[30.0; 12]);
        sum += quantile(&mut totals, 0.8).value;
    });
    let left = median(|| {
        let units = (0..250.min(units)).filter_map(|unit| fitted.left_out(unit));
        sum += units.map(|left| left.mean[0]).sum::<f64>();
    });
    let (points, worth) = fitted.points();
    println!(
        "{units} units, {} rows, {points} points worth {worth:.0} (checksum {sum:.3})",
        records.rows.len()
    );
    println!(
        "refit                 {refit:>10.1?}  {:.0} passes over the rows",
        refit.as_secs_f64() / pass.as_secs_f64()
    );
    println!("12 cells x 20,000     {simulate:>10.1?}");
    println!("250 units left out    {left:>10.1?}");
    println!("one pass over rows    {pass:>10.1?}");
    Ok(())
}
