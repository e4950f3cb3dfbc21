//! Effects at given spreads: their mode by Fisher scoring, their covariance from
//! the expected information, and Laplace's approximation to what the records
//! say about the spreads.
//!
//! Unit effects are eliminated block by block. With `h = (ν + 1)/(ν + 3)` and
//! `κ = σ²/τ²` the information about the other coefficients is
//! `H = σ⁻² (Σ h x xᵀ − Σ_j a_j a_jᵀ/(s_j + κ)) + D⁻¹`, where `a_j`, `s_j` are the sums
//! of `h x` and `h` over the rows of a unit. `h` does not depend on the
//! residuals, so these sums are made once.
//!
//! The observed information of a Student t does not grow with `σ⁻²` as the expected
//! one does, but with `h'/h` of that, where `h'` is the mean over the rows of
//! `(ν + 1)/ν · (4B³ − 3B²)`, `B = ν/(ν + e²/σ²)` (half the second derivative of
//! `(ν + 1)e²/(νσ² + e²)`). Left out, the scale of the error comes out too large
//! by a hundredth, which calibration shows at some hundred units. The difference
//! is a tilt of the log posterior in `ln σ` by the effective number of
//! coefficients, taken at the mode ([`tilt`]). For few records none of this is
//! good enough: [`super::gibbs`] is exact.

use faer::linalg::solvers::{DenseSolveCore as _, Llt, Solve as _};
use faer::{Mat, Side};
use statrs::function::gamma::ln_gamma;

use super::model::Model;
use super::prepared::{Prepared, Sparse};

/// Scoring steps from nowhere, and from the effects at a point nearby.
const STEPS_MAX: usize = 30;
const STEPS_NEAR: usize = 4;

/// A step that moves no coefficient further than this ends the search: the log
/// posterior is then right to a thousandth at ten thousand rows.
const STEP_SMALL: f64 = 1e-6;

/// Standard deviations on the log scale: factors, unit, error.
pub(super) type Theta = Vec<f64>;

/// Effects at one point of the spreads.
#[derive(Debug, Clone)]
pub(super) struct Conditional {
    pub(super) log_posterior: f64,
    pub(super) factor_sds: Vec<f64>,
    pub(super) unit_sd: f64,
    pub(super) noise: f64,
    pub(super) mode: Vec<f64>,
    pub(super) unit_mode: Vec<f64>,
    pub(super) factor: Llt<f64>,
}

/// The effects at `theta`, found from `start`.
pub(super) fn at(
    model: &Model,
    prepared: &Prepared,
    theta: &[f64],
    tilt: f64,
    start: Option<&Conditional>,
) -> Option<Conditional> {
    let factors = model.factors.len();
    let factor_sds: Vec<f64> = theta[..factors].iter().map(|t| t.exp()).collect();
    let unit_sd = theta[factors].exp();
    let noise = theta[factors + 1].exp();
    let precision = prior_precision(model, prepared, &factor_sds);
    let kappa = (noise / unit_sd).powi(2);
    let factor = information(prepared, &precision, kappa, noise)?;
    let mut found = Conditional {
        log_posterior: 0.0,
        factor_sds,
        unit_sd,
        noise,
        mode: start.map_or_else(|| prior_mean(model, prepared), |s| s.mode.clone()),
        unit_mode: start.map_or_else(|| vec![0.0; prepared.units.len()], |s| s.unit_mode.clone()),
        factor,
    };
    let mean = prior_mean(model, prepared);
    let steps = if start.is_some() {
        STEPS_NEAR
    } else {
        STEPS_MAX
    };
    for _ in 0..steps {
        if score(&mut found, model, prepared, &precision, &mean) < STEP_SMALL {
            break;
        }
    }
    found.log_posterior =
        log_posterior(&found, model, prepared, &precision, &mean) - tilt * found.noise.ln();
    found.log_posterior.is_finite().then_some(found)
}

pub(super) fn prior_mean(model: &Model, prepared: &Prepared) -> Vec<f64> {
    let mut mean = vec![0.0; prepared.layout.width()];
    mean[0] = model.intercept.mean;
    for (at, (_, slope)) in model.slopes.iter().enumerate() {
        mean[1 + at] = slope.mean;
    }
    mean
}

pub(super) fn prior_precision(model: &Model, prepared: &Prepared, factor_sds: &[f64]) -> Vec<f64> {
    let mut precision = vec![0.0; prepared.layout.width()];
    precision[0] = model.intercept.sd.powi(-2);
    for (at, (_, slope)) in model.slopes.iter().enumerate() {
        precision[1 + at] = slope.sd.powi(-2);
    }
    for (factor, sd) in factor_sds.iter().enumerate() {
        for level in prepared.layout.levels(factor) {
            precision[level] = sd.powi(-2);
        }
    }
    precision
}

fn information(prepared: &Prepared, precision: &[f64], kappa: f64, noise: f64) -> Option<Llt<f64>> {
    let width = prepared.layout.width();
    let mut sums = prepared.gram.clone();
    for unit in &prepared.units {
        let share = 1.0 / (unit.s + kappa);
        for (k, (i, vi)) in unit.a.iter().enumerate() {
            let scaled = vi * share;
            let row = &mut sums[i * width..=i * width + i];
            for (j, vj) in &unit.a[..=k] {
                row[*j] -= scaled * vj;
            }
        }
    }
    let per = noise.powi(-2);
    let h = Mat::from_fn(width, width, |i, j| {
        let own = if i == j { precision[i] } else { 0.0 };
        if i >= j {
            per * sums[i * width + j] + own
        } else {
            0.0
        }
    });
    Llt::new(h.as_ref(), Side::Lower).ok()
}

/// One scoring step; returns how far it moved.
fn score(
    found: &mut Conditional,
    model: &Model,
    prepared: &Prepared,
    precision: &[f64],
    mean: &[f64],
) -> f64 {
    let width = prepared.layout.width();
    let noise2 = found.noise * found.noise;
    let tau2 = found.unit_sd * found.unit_sd;
    let kappa = noise2 / tau2;
    let mut rhs = Mat::<f64>::zeros(width, 1);
    for (at, precision) in precision.iter().enumerate() {
        rhs[(at, 0)] = -precision * (found.mode[at] - mean[at]);
    }
    let mut of_unit: Vec<f64> = found.unit_mode.iter().map(|u| -u / tau2).collect();
    for row in &prepared.rows {
        let e = residual(found, prepared, row);
        let scale2 = noise2 * row.c * row.c;
        let w = (model.noise_dof + 1.0) / (model.noise_dof + e * e / scale2);
        let pull = w * e / scale2;
        of_unit[row.unit] += pull;
        for (column, value) in prepared.x(row) {
            rhs[(*column, 0)] += pull * value;
        }
    }
    for (unit, pull) in prepared.units.iter().zip(&of_unit) {
        let share = pull / (unit.s + kappa);
        for (column, sum) in &unit.a {
            rhs[(*column, 0)] -= share * sum;
        }
    }
    let step = found.factor.solve(&rhs);
    let mut moved = 0.0_f64;
    for (at, mode) in found.mode.iter_mut().enumerate() {
        *mode += step[(at, 0)];
        moved = moved.max(step[(at, 0)].abs());
    }
    for ((unit, pull), mode) in prepared
        .units
        .iter()
        .zip(&of_unit)
        .zip(&mut found.unit_mode)
    {
        let along: f64 = unit.a.iter().map(|(c, sum)| sum * step[(*c, 0)]).sum();
        let by = (noise2 * pull - along) / (unit.s + kappa);
        *mode += by;
        moved = moved.max(by.abs());
    }
    moved
}

fn residual(found: &Conditional, prepared: &Prepared, row: &Sparse) -> f64 {
    let fitted: f64 = prepared
        .x(row)
        .iter()
        .map(|(c, v)| v * found.mode[*c])
        .sum();
    row.y - fitted - found.unit_mode[row.unit]
}

fn log_posterior(
    found: &Conditional,
    model: &Model,
    prepared: &Prepared,
    precision: &[f64],
    mean: &[f64],
) -> f64 {
    let nu = model.noise_dof;
    let noise2 = found.noise * found.noise;
    let tau2 = found.unit_sd * found.unit_sd;
    let constant = ln_gamma(f64::midpoint(nu, 1.0))
        - ln_gamma(nu / 2.0)
        - 0.5 * (nu.ln() + std::f64::consts::PI.ln());
    let mut log = 0.0;
    for row in &prepared.rows {
        let e = residual(found, prepared, row);
        let scale2 = noise2 * row.c * row.c;
        log += constant - 0.5 * scale2.ln() - 0.5 * (nu + 1.0) * (e * e / (scale2 * nu)).ln_1p();
    }
    for (at, precision) in precision.iter().enumerate() {
        let off = found.mode[at] - mean[at];
        log += 0.5 * precision.ln() - 0.5 * precision * off * off;
    }
    for (unit, u) in prepared.units.iter().zip(&found.unit_mode) {
        log -= 0.5 * u * u / tau2 + 0.5 * (unit.s * tau2 / noise2).ln_1p();
    }
    let l = found.factor.L();
    for at in 0..prepared.layout.width() {
        log -= l[(at, at)].ln();
    }
    log + log_prior(model, found)
}

/// Of the spreads on the log scale, up to a constant.
fn log_prior(model: &Model, found: &Conditional) -> f64 {
    let half_normal = |sd: f64, scale: f64| sd.ln() - 0.5 * (sd / scale).powi(2);
    let factors = model.factors.iter().zip(&found.factor_sds);
    let spreads: f64 = factors
        .map(|(f, sd)| half_normal(*sd, f.spread.scale))
        .sum();
    let z = (found.noise.ln() - model.noise_median.ln()) / model.noise_log_sd;
    spreads + half_normal(found.unit_sd, model.unit.scale) - 0.5 * z * z
}

/// Gradient of the log posterior in the log spreads, and the effective number of
/// coefficients. The mode of the effects is stationary, so only what depends on
/// the spreads by itself counts.
pub(super) fn gradient(
    found: &Conditional,
    model: &Model,
    prepared: &Prepared,
    tilt: f64,
) -> (Vec<f64>, f64) {
    let cov = found.factor.inverse();
    let noise2 = found.noise * found.noise;
    let tau2 = found.unit_sd * found.unit_sd;
    let mut out = Vec::with_capacity(model.factors.len() + 2);
    for (factor, sd) in found.factor_sds.iter().enumerate() {
        let levels = prepared.layout.levels(factor);
        let squares: f64 = levels
            .clone()
            .map(|l| found.mode[l].powi(2) + cov[(l, l)])
            .sum();
        let count = to_f64(levels.len());
        let scale = model.factors[factor].spread.scale;
        out.push(squares / (sd * sd) - count + 1.0 - (sd / scale).powi(2));
    }
    let through = through_units(found, prepared, &cov);
    let units = to_f64(prepared.units.len());
    let unit_squares: f64 = found.unit_mode.iter().map(|u| u * u / tau2).sum();
    out.push(unit_squares - units + through + 1.0 - (found.unit_sd / model.unit.scale).powi(2));
    let precision = prior_precision(model, prepared, &found.factor_sds);
    let prior_part: f64 = precision
        .iter()
        .enumerate()
        .map(|(at, p)| p * cov[(at, at)])
        .sum();
    let coefficients = to_f64(prepared.layout.width()) - prior_part + units - through;
    let mut of_noise = coefficients - tilt;
    for row in &prepared.rows {
        let e = residual(found, prepared, row);
        let ratio = e * e / (noise2 * row.c * row.c);
        of_noise += (model.noise_dof + 1.0) / (model.noise_dof + ratio) * ratio - 1.0;
    }
    let off = found.noise.ln() - model.noise_median.ln();
    of_noise -= off / model.noise_log_sd.powi(2);
    out.push(of_noise);
    (out, coefficients)
}

/// `κ Σ_j (aᵀCa/(σ²(s+κ)²) + 1/(s+κ))`: how the determinant over the units moves.
fn through_units(found: &Conditional, prepared: &Prepared, cov: &Mat<f64>) -> f64 {
    let noise2 = found.noise * found.noise;
    let kappa = noise2 / (found.unit_sd * found.unit_sd);
    let (mut carried, mut shares) = (0.0, 0.0);
    for unit in &prepared.units {
        let share = 1.0 / (unit.s + kappa);
        let mut quad = 0.0;
        for (k, (i, vi)) in unit.a.iter().enumerate() {
            let mut of_row = 0.5 * vi * cov[(*i, *i)];
            for (j, vj) in &unit.a[..k] {
                of_row += vj * cov[(*i, *j)];
            }
            quad += 2.0 * vi * of_row;
        }
        carried += quad * share * share;
        shares += share;
    }
    kappa * (carried / noise2 + shares)
}

/// Tilt of the log posterior in the log scale of the error, by the residuals as
/// they are at the mode; 0 for normal errors.
pub(super) fn tilt(
    found: &Conditional,
    model: &Model,
    prepared: &Prepared,
    coefficients: f64,
) -> f64 {
    let nu = model.noise_dof;
    let scaled = prepared.rows.iter().map(|row| {
        let z = residual(found, prepared, row) / (found.noise * row.c);
        let b = nu / (nu + z * z);
        b * b * (4.0 * b - 3.0)
    });
    let observed = (nu + 1.0) / nu * scaled.sum::<f64>() / to_f64(prepared.rows.len()).max(1.0);
    coefficients * (1.0 - observed / prepared.information)
}

/// A count as a number; counts here are far below 2⁵³.
pub(super) fn to_f64(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

impl Conditional {
    /// Residual of a row after every effect.
    pub(super) fn residual_of(&self, prepared: &Prepared, row: &Sparse) -> f64 {
        residual(self, prepared, row)
    }
}
