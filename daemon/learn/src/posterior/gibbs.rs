//! Few records: the posterior by Gibbs sampling, exact but for the number of
//! sweeps.
//!
//! The Student t is a normal whose precision is drawn for each row (gamma
//! mixture). Given these and the spreads all effects are jointly normal, with
//! the units eliminated block by block. Each spread is then drawn twice, given its
//! effects, and given its effects divided by it (interweaving, Yu and Meng 2011),
//! so that it moves freely whether it is large or nearly nothing.

use faer::linalg::solvers::{Llt, Solve as _};
use faer::{Mat, Side};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, Gamma, StandardNormal};
use statrs::distribution::{ContinuousCDF as _, Normal};

use super::conditional::{Conditional, prior_mean, prior_precision, to_f64};
use super::model::Model;
use super::prepared::Prepared;

/// Sweeps before any is kept, sweeps between two that are, and how many are.
const BURN_IN: usize = 150;
const APART: usize = 3;
const KEPT: usize = 150;

/// Points of the grid on which a spread is drawn, and its reach.
const GRID: usize = 160;
const GRID_LOW: f64 = 1e-3;
const GRID_HIGH: f64 = 6.0;

struct Chain<'a> {
    model: &'a Model,
    prepared: &'a Prepared,
    factor_sds: Vec<f64>,
    unit_sd: f64,
    noise: f64,
    effects: Vec<f64>,
    units: Vec<f64>,
    /// Precision of each row against the scale of the error.
    lambda: Vec<f64>,
    rng: ChaCha12Rng,
}

/// Equally likely points of the posterior, started at its mode.
pub(super) fn points(
    model: &Model,
    prepared: &Prepared,
    start: &Conditional,
    seed: u64,
) -> Option<Vec<Conditional>> {
    let mut chain = Chain {
        model,
        prepared,
        factor_sds: start.factor_sds.iter().map(|sd| sd.max(0.02)).collect(),
        unit_sd: start.unit_sd.max(0.02),
        noise: start.noise,
        effects: start.mode.clone(),
        units: start.unit_mode.clone(),
        lambda: vec![1.0; prepared.rows.len()],
        rng: ChaCha12Rng::seed_from_u64(seed),
    };
    let mut kept = Vec::with_capacity(KEPT);
    for sweep in 0..BURN_IN + APART * KEPT {
        let point = chain.sweep()?;
        if sweep >= BURN_IN && sweep % APART == 0 {
            kept.push(point);
        }
    }
    Some(kept)
}

impl Chain<'_> {
    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    fn sweep(&mut self) -> Option<Conditional> {
        self.draw_lambda();
        let point = self.draw_effects()?;
        for factor in 0..self.factor_sds.len() {
            self.draw_spread(factor);
        }
        self.draw_unit_spread();
        self.draw_noise();
        Some(point)
    }

    fn residual(&self, at: usize) -> f64 {
        let row = &self.prepared.rows[at];
        let x = self.prepared.x(row).iter();
        let fitted: f64 = x.map(|(c, v)| v * self.effects[*c]).sum();
        row.y - fitted - self.units[row.unit]
    }

    fn draw_lambda(&mut self) {
        let dof = self.model.noise_dof;
        for at in 0..self.lambda.len() {
            let z = self.residual(at) / (self.noise * self.prepared.rows[at].c);
            let rate = 0.5 * (dof + z * z);
            let drawn = Gamma::new(0.5 * (dof + 1.0), 1.0 / rate).map(|g| g.sample(&mut self.rng));
            self.lambda[at] = drawn.unwrap_or(1.0).max(1e-9);
        }
    }

    /// All effects at once; returns their conditional distribution.
    fn draw_effects(&mut self) -> Option<Conditional> {
        let width = self.prepared.layout.width();
        let noise2 = self.noise * self.noise;
        let kappa = noise2 / (self.unit_sd * self.unit_sd);
        let mut h = Mat::<f64>::zeros(width, width);
        let mut rhs = Mat::<f64>::zeros(width, 1);
        let sums = self.unit_sums(&mut h, &mut rhs);
        for (s, t, a) in &sums {
            let share = 1.0 / (s + kappa);
            for (k, (i, vi)) in a.iter().enumerate() {
                rhs[(*i, 0)] -= vi * t * share;
                for (j, vj) in &a[..=k] {
                    h[(*i, *j)] -= vi * vj * share;
                }
            }
        }
        let precision = prior_precision(self.model, self.prepared, &self.factor_sds);
        let mean = prior_mean(self.model, self.prepared);
        for j in 0..width {
            for i in j..width {
                h[(i, j)] /= noise2;
            }
            h[(j, j)] += precision[j];
            rhs[(j, 0)] = rhs[(j, 0)] / noise2 + precision[j] * mean[j];
        }
        let factor = Llt::new(h.as_ref(), Side::Lower).ok()?;
        let mode = factor.solve(&rhs);
        let mode: Vec<f64> = (0..width).map(|k| mode[(k, 0)]).collect();
        let mut off = Mat::<f64>::zeros(width, 1);
        for k in 0..width {
            off[(k, 0)] = self.normal();
        }
        faer::linalg::triangular_solve::solve_upper_triangular_in_place(
            factor.L().transpose(),
            off.as_mut(),
            faer::Par::Seq,
        );
        self.effects = (0..width).map(|k| mode[k] + off[(k, 0)]).collect();
        for (unit, (s, t, a)) in sums.iter().enumerate() {
            let along: f64 = a.iter().map(|(c, v)| v * self.effects[*c]).sum();
            let precision = s + kappa;
            let z = self.normal();
            self.units[unit] = (t - along) / precision + self.noise / precision.sqrt() * z;
        }
        Some(Conditional {
            log_posterior: 0.0,
            factor_sds: self.factor_sds.clone(),
            unit_sd: self.unit_sd,
            noise: self.noise,
            mode,
            unit_mode: self.units.clone(),
            factor,
        })
    }

    /// Sums over the rows of each unit; adds all rows to `h` and `rhs`.
    fn unit_sums(&self, h: &mut Mat<f64>, rhs: &mut Mat<f64>) -> Vec<UnitSums> {
        let mut dense = vec![0.0; self.prepared.layout.width()];
        let sums = self.prepared.units.iter().map(|unit| {
            let (mut precision, mut pulled) = (0.0, 0.0);
            for at in &unit.rows {
                let row = &self.prepared.rows[*at];
                let w = self.lambda[*at] / (row.c * row.c);
                precision += w;
                pulled += w * row.y;
                let x = self.prepared.x(row);
                for (k, (i, vi)) in x.iter().enumerate() {
                    dense[*i] += w * vi;
                    rhs[(*i, 0)] += w * vi * row.y;
                    for (j, vj) in &x[..=k] {
                        h[(*i, *j)] += w * vi * vj;
                    }
                }
            }
            let columns = unit.a.iter().map(|(c, _)| *c);
            let a = columns
                .map(|c| (c, std::mem::take(&mut dense[c])))
                .collect();
            (precision, pulled, a)
        });
        sums.collect()
    }

    fn draw_spread(&mut self, factor: usize) {
        let levels = self.prepared.layout.levels(factor);
        let scale = self.model.factors[factor].spread.scale;
        let squares: f64 = levels.clone().map(|l| self.effects[l].powi(2)).sum();
        let sd = given_effects(levels.len(), squares, scale, &mut self.rng);
        // Given the effects divided by it, the records are linear in the spread.
        let (mut precision, mut pull) = (scale.powi(-2), 0.0);
        for (at, row) in self.prepared.rows.iter().enumerate() {
            let own: f64 = self
                .prepared
                .x(row)
                .iter()
                .filter(|(c, _)| levels.contains(c))
                .map(|(c, v)| v * self.effects[*c])
                .sum();
            let g = own / sd;
            let w = self.lambda[at] / (self.noise * row.c).powi(2);
            precision += w * g * g;
            pull += w * g * (self.residual(at) + own);
        }
        let new = above_zero(pull / precision, precision.sqrt().recip(), &mut self.rng);
        for level in levels {
            self.effects[level] *= new / sd;
        }
        self.factor_sds[factor] = new;
    }

    fn draw_unit_spread(&mut self) {
        let scale = self.model.unit.scale;
        let squares: f64 = self.units.iter().map(|u| u * u).sum();
        let sd = given_effects(self.units.len(), squares, scale, &mut self.rng);
        let (mut precision, mut pull) = (scale.powi(-2), 0.0);
        for (at, row) in self.prepared.rows.iter().enumerate() {
            let own = self.units[row.unit];
            let g = own / sd;
            let w = self.lambda[at] / (self.noise * row.c).powi(2);
            precision += w * g * g;
            pull += w * g * (self.residual(at) + own);
        }
        let new = above_zero(pull / precision, precision.sqrt().recip(), &mut self.rng);
        for unit in &mut self.units {
            *unit *= new / sd;
        }
        self.unit_sd = new;
    }

    fn draw_noise(&mut self) {
        let rows = self.prepared.rows.iter().enumerate();
        let squares: f64 = rows
            .map(|(at, row)| self.lambda[at] * (self.residual(at) / row.c).powi(2))
            .sum();
        let n = to_f64(self.prepared.rows.len());
        let (centre, sd) = (self.model.noise_median.ln(), self.model.noise_log_sd);
        let log_density = |log: f64| {
            let z = (log - centre) / sd;
            -n * log - 0.5 * squares * (-2.0 * log).exp() - 0.5 * z * z
        };
        let (low, high) = (centre - 6.0 * sd, centre + 6.0 * sd);
        self.noise = on_grid(log_density, low, high, &mut self.rng).exp();
    }
}

/// Precision, weighted sum of `y`, and weighted sums of the columns.
type UnitSums = (f64, f64, Vec<(usize, f64)>);

/// A spread given its effects, under a half-normal prior of this scale.
pub(super) fn given_effects(
    effects: usize,
    squares: f64,
    scale: f64,
    rng: &mut ChaCha12Rng,
) -> f64 {
    let n = to_f64(effects);
    // On the log scale: n + 1 with the step of the logarithm.
    let log_density = |log: f64| {
        let sd = log.exp();
        (1.0 - n) * log - 0.5 * squares / (sd * sd) - 0.5 * (sd / scale).powi(2)
    };
    let (low, high) = ((GRID_LOW * scale).ln(), (GRID_HIGH * scale).ln());
    on_grid(log_density, low, high, rng).exp()
}

/// A draw from a density on a range: a cell by its height, then within it.
fn on_grid(log_density: impl Fn(f64) -> f64, low: f64, high: f64, rng: &mut ChaCha12Rng) -> f64 {
    let step = (high - low) / to_f64(GRID);
    let at = |k: usize| low + (to_f64(k) + 0.5) * step;
    let logs: Vec<f64> = (0..GRID).map(|k| log_density(at(k))).collect();
    let top = logs.iter().copied().fold(f64::MIN, f64::max);
    let heights: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let mut left = rng.random::<f64>() * heights.iter().sum::<f64>();
    let mut cell = GRID - 1;
    for (k, height) in heights.iter().enumerate() {
        left -= height;
        if left <= 0.0 {
            cell = k;
            break;
        }
    }
    at(cell) + (rng.random::<f64>() - 0.5) * step
}

/// A normal cut at zero, by its inverse.
fn above_zero(mean: f64, sd: f64, rng: &mut ChaCha12Rng) -> f64 {
    let normal = Normal::standard();
    let below = normal.cdf(-mean / sd);
    let share = below + (1.0 - below) * rng.random::<f64>();
    let drawn = mean + sd * normal.inverse_cdf(share.clamp(1e-12, 1.0 - 1e-12));
    if drawn.is_finite() && drawn > 0.0 {
        drawn
    } else {
        // So far below zero that the numbers end: nearly nothing is left of it.
        1e-4 * sd
    }
}
