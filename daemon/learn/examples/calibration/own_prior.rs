//! A shop drawn from a model's own prior, and where its truth lies in the
//! posterior of its jobs.

use baywright_learn::posterior::{
    Cell, CellTerm, Factor, Level, Model, Normal, Options, Posterior, Records, Row, Spread, Term,
    fit, normal_core,
};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal, StudentT};
use statrs::distribution::{ContinuousCDF as _, Normal as StandardDistribution};

/// Levels of the first four factors: stages, types, types by stages, classes, workers.
const STAGES: usize = 8;
const TYPES: usize = 6;
const CLASSES: usize = 4;
const WORKERS: usize = 4;

/// Draws that tell where a new job lies.
const DRAWS: usize = 500;

/// A model of the shape and the priors that the shop's hours have.
pub(crate) fn model() -> Model {
    let factor = |name: &str, scale| Factor {
        name: name.to_owned(),
        spread: Spread { scale },
    };
    let slope = |name: &str, mean, sd| (name.to_owned(), Normal { mean, sd });
    Model {
        intercept: Normal { mean: 0.0, sd: 0.2 },
        slopes: vec![
            slope("soil", 0.18, 0.08),
            slope("defects", 0.28, 0.1),
            slope("intricacy", 0.15, 0.08),
        ],
        factors: vec![
            factor("stage", 0.15),
            factor("type", 0.25),
            factor("type and stage", 0.2),
            factor("class", 0.15),
            factor("worker", 0.15),
        ],
        unit: Spread { scale: 0.2 },
        noise_median: 0.22,
        noise_log_sd: 0.4,
        noise_dof: 5.0,
    }
}

/// What is asked of each posterior, in order.
pub(crate) fn quantities(model: &Model) -> Vec<String> {
    let mut names = vec!["intercept".to_owned()];
    names.extend(model.slopes.iter().map(|(name, _)| format!("slope {name}")));
    names.extend(model.factors.iter().map(|f| format!("spread {}", f.name)));
    names.extend([
        "spread job".to_owned(),
        "error".to_owned(),
        "effect of a type".to_owned(),
        "total of a new job".to_owned(),
    ]);
    names
}

/// The truth of one shop, and its jobs.
pub(crate) struct Shop {
    intercept: f64,
    slopes: Vec<f64>,
    spreads: Vec<f64>,
    unit: f64,
    noise: f64,
    effects: Vec<Vec<f64>>,
    records: Records,
    rng: ChaCha12Rng,
}

fn normal(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

impl Shop {
    pub(crate) fn draw(model: &Model, jobs: usize, seed: u64) -> Self {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let half = |rng: &mut ChaCha12Rng, scale: f64| (scale * normal(rng)).abs();
        let spreads: Vec<f64> = model
            .factors
            .iter()
            .map(|f| half(&mut rng, f.spread.scale))
            .collect();
        let counts = [STAGES, TYPES, STAGES * TYPES, CLASSES, WORKERS];
        let effects = spreads
            .iter()
            .zip(counts)
            .map(|(sd, count)| (0..count).map(|_| sd * normal(&mut rng)).collect())
            .collect();
        let mut shop = Self {
            intercept: model.intercept.mean + model.intercept.sd * normal(&mut rng),
            slopes: model
                .slopes
                .iter()
                .map(|(_, s)| s.mean + s.sd * normal(&mut rng))
                .collect(),
            unit: half(&mut rng, model.unit.scale),
            noise: (model.noise_median.ln() + model.noise_log_sd * normal(&mut rng)).exp(),
            spreads,
            effects,
            records: Records {
                rows: Vec::new(),
                units: jobs,
                levels: counts.to_vec(),
            },
            rng,
        };
        for unit in 0..jobs {
            shop.work(unit, model.noise_dof);
        }
        shop
    }

    /// One job: some stages of one type, each with a recording error.
    fn work(&mut self, unit: usize, dof: f64) {
        let own = self.unit * normal(&mut self.rng);
        let (kind, class) = (
            self.rng.random_range(0..TYPES),
            self.rng.random_range(0..CLASSES),
        );
        let grades: Vec<f64> = (0..3)
            .map(|_| f64::from(self.rng.random_range(-2..=2_i32)))
            .collect();
        for stage in 0..STAGES {
            if self.rng.random_range(0..100) < 15 {
                continue;
            }
            let worker = self.rng.random_range(0..WORKERS);
            let levels = [stage, kind, kind * STAGES + stage, class, worker];
            let slopes = acting(stage, &grades);
            let error = StudentT::new(dof).map_or(0.0, |t| t.sample(&mut self.rng));
            let y = self.expected(&levels, &slopes) + own + self.noise * error;
            let terms = levels.iter().enumerate().map(|(factor, level)| Term {
                factor,
                level: *level,
                weight: 1.0,
            });
            self.records.rows.push(Row {
                y,
                unit,
                terms: terms.collect(),
                slopes,
                noise_factor: 1.0,
            });
        }
    }

    fn expected(&self, levels: &[usize; 5], slopes: &[f64]) -> f64 {
        let effects: f64 = levels
            .iter()
            .enumerate()
            .map(|(f, l)| self.effects[f][*l])
            .sum();
        let by_grade: f64 = slopes.iter().zip(&self.slopes).map(|(x, b)| x * b).sum();
        self.intercept + effects + by_grade
    }

    /// Where the truth of each quantity lies in the posterior, 0 to 1.
    pub(crate) fn places(mut self, model: &Model) -> Result<Vec<f64>, String> {
        let posterior = fit(model, &self.records).map_err(|e| e.to_string())?;
        let mut places = vec![posterior.place_of_intercept(self.intercept)];
        for (at, slope) in self.slopes.iter().enumerate() {
            places.push(posterior.place_of_slope(at, *slope));
        }
        let spreads = self.spreads.iter().chain([&self.unit, &self.noise]);
        for (at, spread) in spreads.enumerate() {
            places.push(posterior.place_of_spread(at, *spread));
        }
        places.push(posterior.place_of_effect(1, 2, self.effects[1][2]));
        places.push(self.place_of_total(model, &posterior));
        Ok(places)
    }

    /// A new job of one type, all its stages, its worker drawn anew.
    fn place_of_total(&mut self, model: &Model, posterior: &Posterior) -> f64 {
        let (kind, class) = (3, 1);
        let grades = [1.0, -1.0, 2.0];
        let own = self.unit * normal(&mut self.rng);
        let core = normal_core(model.noise_dof) * self.noise;
        let mut actual = 0.0;
        let mut cells = Vec::new();
        for stage in 0..STAGES {
            let worker = self.rng.random_range(0..WORKERS);
            let levels = [stage, kind, kind * STAGES + stage, class, worker];
            let slopes = acting(stage, &grades);
            let y = self.expected(&levels, &slopes) + own + core * normal(&mut self.rng);
            actual += base(stage) * y.exp();
            let mut terms: Vec<CellTerm> = levels[..4]
                .iter()
                .enumerate()
                .map(|(factor, level)| CellTerm {
                    factor,
                    level: Level::Known(*level),
                    weight: 1.0,
                })
                .collect();
            terms.push(CellTerm {
                factor: 4,
                level: Level::OneOf((0..WORKERS).map(|w| (w, 1.0)).collect()),
                weight: 1.0,
            });
            cells.push(Cell { terms, slopes });
        }
        let seed = self.rng.random();
        let draws = posterior.simulate(&cells, DRAWS, seed, Options::default());
        let bases: Vec<f64> = (0..STAGES).map(base).collect();
        let below = draws.total(&bases).iter().filter(|t| **t < actual).count();
        let jitter: f64 = self.rng.random();
        (count(below) + jitter) / (count(DRAWS) + 1.0)
    }
}

fn base(stage: usize) -> f64 {
    20.0 + 15.0 * count(stage)
}

/// The first four stages clean, the next two correct; intricacy acts on all.
fn acting(stage: usize, grades: &[f64]) -> Vec<f64> {
    let when = |acts: bool, grade: f64| if acts { grade } else { 0.0 };
    vec![
        when(stage < 4, grades[0]),
        when((4..6).contains(&stage), grades[1]),
        grades[2],
    ]
}

fn count(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// Where a value lies in the posterior of a quantity.
trait Places {
    fn place_of_intercept(&self, truth: f64) -> f64;
    fn place_of_slope(&self, slope: usize, truth: f64) -> f64;
    fn place_of_spread(&self, spread: usize, truth: f64) -> f64;
    fn place_of_effect(&self, factor: usize, level: usize, truth: f64) -> f64;
}

impl Places for Posterior {
    fn place_of_intercept(&self, truth: f64) -> f64 {
        let by_point = self.by_point(&Cell::default());
        place(&by_point, truth)
    }

    fn place_of_slope(&self, slope: usize, truth: f64) -> f64 {
        place(&self.slope_by_point(slope), truth)
    }

    fn place_of_spread(&self, spread: usize, truth: f64) -> f64 {
        // Points are drawn, and none is the truth: the weight of those below it.
        let points = self.spread_by_point(spread);
        points
            .iter()
            .map(|(weight, value)| if *value < truth { *weight } else { 0.0 })
            .sum()
    }

    fn place_of_effect(&self, factor: usize, level: usize, truth: f64) -> f64 {
        place(&self.effect_by_point(factor, level), truth)
    }
}

/// Share of a mixture of normals (weight, mean, sd) below a value.
fn place(points: &[(f64, f64, f64)], truth: f64) -> f64 {
    let normal = StandardDistribution::standard();
    let below = |(weight, mean, sd): &(f64, f64, f64)| weight * normal.cdf((truth - mean) / sd);
    points.iter().map(below).sum()
}
