//! The posterior of the spreads as weighted points.
//!
//! Few records are sampled exactly ([`super::gibbs`]), which many would take too
//! long for. For many the mode is found with the exact gradient; around it seeded
//! points are drawn and weighted by posterior over proposal (importance sampling,
//! normalised). The proposal is a multivariate t, so that the far sides are
//! reached. No record at all: the prior is drawn from.

use faer::Mat;
use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};
use statrs::distribution::{ContinuousCDF as _, Normal};

use super::conditional::{self, Conditional, Theta, gradient, to_f64};
use super::gibbs;
use super::halves::in_halves;
use super::model::{Model, Records};
use super::prepared::{Layout, Prepared};
use super::proposal::Proposal;

/// Why records cannot be fitted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    #[error(
        "a prior needs finite means, finite spreads above zero, and 2 degrees of freedom or more"
    )]
    Model,
    #[error("levels are given for {given} factors, the model has {factors}")]
    Levels { given: usize, factors: usize },
    #[error("row {row} holds a number that is not finite")]
    NotFinite { row: usize },
    #[error("row {row} names unit {unit}, there are {units}")]
    Unit {
        row: usize,
        unit: usize,
        units: usize,
    },
    #[error("row {row} names level {level} of factor {factor}, which does not exist")]
    Level {
        row: usize,
        factor: usize,
        level: usize,
    },
    #[error("row {row} has {given} slopes, the model {slopes}")]
    Slopes {
        row: usize,
        given: usize,
        slopes: usize,
    },
    #[error("no spread fits these records")]
    NoMode,
}

/// A mean with its standard deviation, in units of `y`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub mean: f64,
    pub sd: f64,
    /// Rows that name it.
    pub rows: usize,
}

/// A spread: median and the range that holds four in five.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadEstimate {
    pub median: f64,
    pub low: f64,
    pub high: f64,
}

/// What is believed after the records.
#[derive(Debug)]
pub struct Posterior {
    pub(super) model: Model,
    pub(super) prepared: Prepared,
    pub(super) points: Vec<(f64, Conditional)>,
    /// Effects at the mode of the spreads.
    pub(super) centre: Conditional,
}

/// Points of the spreads by number of rows: each costs more the more rows there
/// are, and many rows pin the spreads down.
const POINTS: [(usize, usize); 3] = [(1_500, 240), (6_000, 160), (usize::MAX, 28)];

/// Points of the prior.
const PRIOR_POINTS: usize = 240;

/// Up to so many rows the posterior is sampled exactly ([`gibbs`]).
const ROWS_FEW: usize = 600;

/// Seed of what a fit draws: the same records give the same fit.
const SEED: u64 = 0x5eed_0001;

/// Points lighter than this against the heaviest are left out.
const WEIGHT_SMALL: f64 = 1e-4;

/// Times the tilt is taken at the mode that the one before it gave; it moves the
/// mode by a hundredth and itself by a hundredth of that.
const TILTS: usize = 1;

/// Steps of the search for the mode, and the gradient that ends it: the mode is then
/// right to a hundredth of a deviation.
const STEPS_MAX: usize = 60;
const GRADIENT_SMALL: f64 = 1e-2;

/// The posterior of records under a model.
///
/// # Errors
/// [`FitError`] for a model or rows that are no such thing.
pub fn fit(model: &Model, records: &Records) -> Result<Posterior, FitError> {
    let engine = if records.rows.len() <= ROWS_FEW {
        Engine::Gibbs
    } else {
        Engine::Points
    };
    fit_by(engine, model, records)
}

/// How the posterior of one record or more is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Engine {
    Gibbs,
    Points,
}

pub(super) fn fit_by(
    engine: Engine,
    model: &Model,
    records: &Records,
) -> Result<Posterior, FitError> {
    let prepared = Prepared::of(model, records)?;
    let start = Start {
        mode: prior_centre(model),
        tilt: 0.0,
    };
    let size = start.mode.len();
    let mut found = search(model, &prepared, start, identity(size, 0.2))?;
    let few = engine == Engine::Gibbs && !prepared.rows.is_empty();
    for _ in 0..if few { 0 } else { TILTS } {
        let tilt = conditional::tilt(&found.at_mode, model, &prepared, found.coefficients);
        let start = Start {
            mode: found.mode,
            tilt,
        };
        found = search(model, &prepared, start, found.inverse)?;
    }
    let points = if prepared.rows.is_empty() {
        prior_points(model, &prepared).ok_or(FitError::NoMode)?
    } else if few {
        let points = gibbs::points(model, &prepared, &found.at_mode, SEED);
        let points = points.ok_or(FitError::NoMode)?;
        let weight = 1.0 / to_f64(points.len());
        points.into_iter().map(|point| (weight, point)).collect()
    } else {
        spread_points(model, &prepared, &found)?
    };
    Ok(Posterior {
        model: model.clone(),
        prepared,
        points,
        centre: found.at_mode,
    })
}

fn prior_centre(model: &Model) -> Theta {
    // Mode of a half-normal on the log scale.
    let mut theta: Theta = model.factors.iter().map(|f| f.spread.scale.ln()).collect();
    theta.push(model.unit.scale.ln());
    theta.push(model.noise_median.ln());
    theta
}

/// Where a search begins.
struct Start {
    mode: Theta,
    tilt: f64,
}

/// The mode of the spreads under one tilt.
pub(super) struct Found {
    pub(super) mode: Theta,
    pub(super) tilt: f64,
    pub(super) at_mode: Conditional,
    /// Effective number of coefficients there.
    coefficients: f64,
    /// Inverse of the curvature, as far as the search has learned it.
    inverse: Mat<f64>,
}

/// The mode by quasi-Newton steps (BFGS) with a step that must climb.
fn search(
    model: &Model,
    prepared: &Prepared,
    start: Start,
    mut inverse: Mat<f64>,
) -> Result<Found, FitError> {
    let Start { mode, tilt } = start;
    let size = mode.len();
    let mut theta = mode;
    let mut here = conditional::at(model, prepared, &theta, tilt, None).ok_or(FitError::NoMode)?;
    let (mut slope, mut coefficients) = gradient(&here, model, prepared, tilt);
    for _ in 0..STEPS_MAX {
        if slope.iter().all(|g| g.abs() < GRADIENT_SMALL) {
            break;
        }
        let mut step: Vec<f64> = (0..size)
            .map(|i| (0..size).map(|j| inverse[(i, j)] * slope[j]).sum())
            .collect();
        let longest = step.iter().fold(0.0_f64, |most, s| most.max(s.abs()));
        if longest > 1.0 {
            for part in &mut step {
                *part /= longest;
            }
        }
        let Some((next, there)) = climb(model, prepared, (&theta, &step), tilt, &here) else {
            break;
        };
        let (slope_there, there_coefficients) = gradient(&there, model, prepared, tilt);
        update(&mut inverse, &theta, &next, &slope, &slope_there);
        (theta, here, slope) = (next, there, slope_there);
        coefficients = there_coefficients;
    }
    Ok(Found {
        mode: theta,
        tilt,
        at_mode: here,
        coefficients,
        inverse,
    })
}

/// The first of ever shorter steps that climbs.
fn climb(
    model: &Model,
    prepared: &Prepared,
    (theta, step): (&[f64], &[f64]),
    tilt: f64,
    here: &Conditional,
) -> Option<(Theta, Conditional)> {
    let mut length = 1.0;
    for _ in 0..12 {
        let next: Theta = theta
            .iter()
            .zip(step)
            .map(|(t, s)| t + length * s)
            .collect();
        if let Some(there) = conditional::at(model, prepared, &next, tilt, Some(here))
            && there.log_posterior > here.log_posterior
        {
            return Some((next, there));
        }
        length *= 0.4;
    }
    None
}

fn identity(size: usize, value: f64) -> Mat<f64> {
    Mat::from_fn(size, size, |i, j| if i == j { value } else { 0.0 })
}

/// BFGS update of the inverse of the negative Hessian.
fn update(inverse: &mut Mat<f64>, from: &[f64], to: &[f64], g_from: &[f64], g_to: &[f64]) {
    let size = from.len();
    let s: Vec<f64> = to.iter().zip(from).map(|(t, f)| t - f).collect();
    // Of the negative log posterior.
    let y: Vec<f64> = g_from.iter().zip(g_to).map(|(f, t)| f - t).collect();
    let sy: f64 = s.iter().zip(&y).map(|(s, y)| s * y).sum();
    if sy < 1e-10 {
        return;
    }
    let iy: Vec<f64> = (0..size)
        .map(|i| (0..size).map(|j| inverse[(i, j)] * y[j]).sum())
        .collect();
    let yiy: f64 = y.iter().zip(&iy).map(|(y, v)| y * v).sum();
    for i in 0..size {
        for j in 0..size {
            inverse[(i, j)] +=
                (1.0 + yiy / sy) * s[i] * s[j] / sy - (iy[i] * s[j] + s[i] * iy[j]) / sy;
        }
    }
}

/// Points of the prior, equally likely: along each spread one in each of as many
/// strata of equal probability, in an order of its own (a Latin hypercube), so
/// that few stand for all of it.
fn prior_points(model: &Model, prepared: &Prepared) -> Option<Vec<(f64, Conditional)>> {
    let normal = Normal::standard();
    let mut rng = ChaCha12Rng::seed_from_u64(SEED);
    let strata = to_f64(PRIOR_POINTS);
    let mut along = |quantile: &dyn Fn(f64) -> f64| -> Vec<f64> {
        let middle = |k: usize| quantile((to_f64(k) + 0.5) / strata);
        let mut values: Vec<f64> = (0..PRIOR_POINTS).map(middle).collect();
        values.shuffle(&mut rng);
        values
    };
    let half = |scale: f64| move |p: f64| (scale * normal.inverse_cdf(0.5 + 0.5 * p)).ln();
    let scales = model.factors.iter().map(|f| f.spread.scale);
    let scales = scales.chain([model.unit.scale]);
    let mut axes: Vec<Vec<f64>> = scales.map(|scale| along(&half(scale))).collect();
    let (centre, sd) = (model.noise_median.ln(), model.noise_log_sd);
    axes.push(along(&|p| centre + sd * normal.inverse_cdf(p)));
    (0..PRIOR_POINTS)
        .map(|k| {
            let theta: Theta = axes.iter().map(|axis| axis[k]).collect();
            Some((
                strata.recip(),
                conditional::at(model, prepared, &theta, 0.0, None)?,
            ))
        })
        .collect()
}

fn spread_points(
    model: &Model,
    prepared: &Prepared,
    mode: &Found,
) -> Result<Vec<(f64, Conditional)>, FitError> {
    let rows = prepared.rows.len();
    let wanted = POINTS
        .iter()
        .find(|(most, _)| rows <= *most)
        .map_or(40, |(_, points)| *points);
    let proposal = Proposal::new(model, prepared, mode)?;
    let mut rng = ChaCha12Rng::seed_from_u64(SEED);
    let thetas: Vec<Theta> = (0..wanted).map(|_| proposal.draw(&mut rng)).collect();
    let weighed = in_halves(&thetas, |theta| {
        let found = conditional::at(model, prepared, theta, mode.tilt, Some(&mode.at_mode))?;
        Some((found.log_posterior - proposal.log_density(theta), found))
    });
    let mut points: Vec<(f64, Conditional)> = weighed.into_iter().flatten().collect();
    let top = points.iter().fold(f64::MIN, |top, (w, _)| top.max(*w));
    points.retain_mut(|(weight, _)| {
        *weight = (*weight - top).exp();
        *weight > WEIGHT_SMALL
    });
    for (_, point) in &mut points {
        point.refresh(model, prepared, &mut rng);
    }
    let sum: f64 = points.iter().map(|(w, _)| w).sum();
    if points.is_empty() || !sum.is_finite() {
        return Err(FitError::NoMode);
    }
    for (weight, _) in &mut points {
        *weight /= sum;
    }
    Ok(points)
}

impl Posterior {
    pub fn rows(&self) -> usize {
        self.prepared.rows.len()
    }

    /// Points that stand for the spreads, and how many of equal weight they are
    /// worth (effective sample size).
    pub fn points(&self) -> (usize, f64) {
        let squares: f64 = self.points.iter().map(|(w, _)| w * w).sum();
        (self.points.len(), 1.0 / squares)
    }

    pub fn intercept(&self) -> Estimate {
        self.estimate(&[(0, 1.0)], self.prepared.rows.len())
    }

    pub fn slopes(&self) -> Vec<Estimate> {
        (0..self.prepared.layout.slopes)
            .map(|at| self.estimate(&[(1 + at, 1.0)], self.prepared.rows.len()))
            .collect()
    }

    /// Effects of the levels of a factor; empty for a factor that is none.
    pub fn effects(&self, factor: usize) -> Vec<Estimate> {
        if factor >= self.prepared.layout.factors() {
            return Vec::new();
        }
        self.prepared
            .layout
            .levels(factor)
            .map(|at| self.estimate(&[(at, 1.0)], self.prepared.rows_of_level[at]))
            .collect()
    }

    /// Spreads in the order factors, unit, error.
    pub fn spreads(&self) -> Vec<SpreadEstimate> {
        let factors = self.model.factors.len();
        let of = |k: usize, point: &Conditional| match k.cmp(&factors) {
            std::cmp::Ordering::Less => point.factor_sds[k],
            std::cmp::Ordering::Equal => point.unit_sd,
            std::cmp::Ordering::Greater => point.noise,
        };
        (0..factors + 2)
            .map(|k| {
                let mut values: Vec<(f64, f64)> =
                    self.points.iter().map(|(w, p)| (of(k, p), *w)).collect();
                values.sort_by(|a, b| a.0.total_cmp(&b.0));
                let at = |share: f64| weighted_quantile(&values, share);
                SpreadEstimate {
                    median: at(0.5),
                    low: at(0.1),
                    high: at(0.9),
                }
            })
            .collect()
    }

    /// Mean and sd of a combination of coefficients, over all points.
    pub(super) fn estimate(&self, x: &[(usize, f64)], rows: usize) -> Estimate {
        let (mut mean, mut square) = (0.0, 0.0);
        for (weight, point) in &self.points {
            let (m, v) = point.combination(x);
            mean += weight * m;
            square += weight * (v + m * m);
        }
        Estimate {
            mean,
            sd: (square - mean * mean).max(0.0).sqrt(),
            rows,
        }
    }

    pub(super) fn layout(&self) -> &Layout {
        &self.prepared.layout
    }
}

fn weighted_quantile(sorted: &[(f64, f64)], share: f64) -> f64 {
    let mut sum = 0.0;
    for (value, weight) in sorted {
        sum += weight;
        if sum >= share {
            return *value;
        }
    }
    sorted.last().map_or(f64::NAN, |(value, _)| *value)
}

impl Conditional {
    /// Draws every spread anew given effects that are drawn at the point (a Gibbs
    /// step): whatever the approximation and the proposal were, the spreads are
    /// then those of effects that the records know.
    fn refresh(&mut self, model: &Model, prepared: &Prepared, rng: &mut ChaCha12Rng) {
        let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
        let width = self.mode.len();
        let mut off = Mat::<f64>::zeros(width, 1);
        for k in 0..width {
            off[(k, 0)] = normal(rng);
        }
        faer::linalg::triangular_solve::solve_upper_triangular_in_place(
            self.factor.L().transpose(),
            off.as_mut(),
            faer::Par::Seq,
        );
        let kappa = (self.noise / self.unit_sd).powi(2);
        let units = prepared.units.iter().zip(&self.unit_mode);
        let units: Vec<f64> = units
            .map(|(unit, mode)| {
                let along: f64 = unit.a.iter().map(|(c, v)| v * off[(*c, 0)]).sum();
                let precision = unit.s + kappa;
                mode - along / precision + self.noise / precision.sqrt() * normal(rng)
            })
            .collect();
        let squares: Vec<f64> = prepared
            .rows
            .iter()
            .map(|row| {
                let x = prepared.x(row).iter();
                let fitted: f64 = x.map(|(c, v)| v * (self.mode[*c] + off[(*c, 0)])).sum();
                ((row.y - fitted - units[row.unit]) / row.c).powi(2)
            })
            .collect();
        for factor in 0..self.factor_sds.len() {
            let levels = prepared.layout.levels(factor);
            let of_levels = levels.clone().map(|l| (self.mode[l] + off[(l, 0)]).powi(2));
            let scale = model.factors[factor].spread.scale;
            self.factor_sds[factor] =
                gibbs::given_effects(levels.len(), of_levels.sum(), scale, rng);
        }
        let of_units = units.iter().map(|u| u * u).sum();
        self.unit_sd = gibbs::given_effects(units.len(), of_units, model.unit.scale, rng);
        self.noise = noise_given(model, self.noise, &squares, normal(rng));
    }

    /// Mean and variance of a combination of coefficients.
    pub(super) fn combination(&self, x: &[(usize, f64)]) -> (f64, f64) {
        let mut mean = 0.0;
        let mut rhs = Mat::<f64>::zeros(self.mode.len(), 1);
        for (column, value) in x {
            mean += value * self.mode[*column];
            rhs[(*column, 0)] += value;
        }
        self.halve(&mut rhs);
        let variance = (0..self.mode.len()).map(|k| rhs[(k, 0)].powi(2)).sum();
        (mean, variance)
    }

    /// Solves with the lower factor, in place: the squares of the result add up
    /// to the variance of each column.
    pub(super) fn halve(&self, columns: &mut Mat<f64>) {
        faer::linalg::triangular_solve::solve_lower_triangular_in_place(
            self.factor.L(),
            columns.as_mut(),
            faer::Par::Seq,
        );
    }
}

/// Scale of the error given the squares of many errors: a normal on the log scale
/// at the mode that two Newton steps find.
fn noise_given(model: &Model, start: f64, squares: &[f64], z: f64) -> f64 {
    let nu = model.noise_dof;
    let prior = model.noise_log_sd.powi(-2);
    let mut log = start.ln();
    let mut information = 1.0;
    for _ in 0..2 {
        let per = (-2.0 * log).exp() / nu;
        let (mut slope, mut curve) = (0.0, 0.0);
        for square in squares {
            let q = square * per;
            let share = q / (1.0 + q);
            slope += (nu + 1.0) * share - 1.0;
            curve += 2.0 * (nu + 1.0) * share / (1.0 + q);
        }
        slope -= (log - model.noise_median.ln()) * prior;
        information = curve + prior;
        log += (slope / information).clamp(-0.5, 0.5);
    }
    (log + z / information.sqrt()).exp()
}
