//! What points of the spreads are drawn from: a multivariate t around their mode,
//! further to the left where a spread may be nearly nothing.

use faer::linalg::solvers::{DenseSolveCore as _, Llt};
use faer::{Mat, Side};
use rand_chacha::ChaCha12Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};

use super::conditional::{self, Theta, gradient, to_f64};
use super::fit::{FitError, Found};
use super::halves::in_halves;
use super::model::Model;
use super::prepared::Prepared;

/// Degrees of freedom.
const PROPOSAL_DOF: f64 = 5.0;

/// Negative Hessian at the mode by differences of the gradient, made positive.
fn curvature(model: &Model, prepared: &Prepared, found: &Found) -> Mat<f64> {
    const WIDTH: f64 = 0.05;
    let (mode, at_mode) = (&found.mode, &found.at_mode);
    let size = mode.len();
    let (here, _) = gradient(at_mode, model, prepared, found.tilt);
    let mut h = Mat::<f64>::zeros(size, size);
    let axes: Vec<usize> = (0..size).collect();
    let beside = in_halves(&axes, |axis| {
        let mut theta = mode.clone();
        theta[*axis] += WIDTH;
        let there = conditional::at(model, prepared, &theta, found.tilt, Some(at_mode))?;
        Some(gradient(&there, model, prepared, found.tilt).0)
    });
    for (k, there) in beside.into_iter().enumerate() {
        let there = there.unwrap_or_else(|| here.clone());
        for i in 0..size {
            h[(i, k)] = (here[i] - there[i]) / WIDTH;
        }
    }
    // On the log scale a spread near zero has a long flat side: no axis may be
    // wider than about a factor of four.
    Mat::from_fn(size, size, |i, j| {
        let mean = f64::midpoint(h[(i, j)], h[(j, i)]);
        if i == j { mean.max(0.5) } else { mean }
    })
}

/// How much further than its curvature says the log posterior reaches to the left
/// of the mode: two deviations cost a normal 2.
fn reach_left(model: &Model, prepared: &Prepared, found: &Found, axis: usize, sd: f64) -> f64 {
    const FURTHEST: f64 = 4.0;
    // The scale of the error is known from every row.
    if axis > model.factors.len() {
        return 1.0;
    }
    let mut theta = found.mode.clone();
    theta[axis] -= 2.0 * sd;
    let there = conditional::at(model, prepared, &theta, found.tilt, Some(&found.at_mode));
    let fall = there.map_or(2.0, |there| {
        found.at_mode.log_posterior - there.log_posterior
    });
    (2.0 / fall.max(1e-3)).sqrt().clamp(1.0, FURTHEST)
}

pub(super) struct Proposal<'m> {
    mode: &'m [f64],
    /// Cholesky factor of the curvature.
    factor: Llt<f64>,
    cov_factor: Mat<f64>,
    log_det: f64,
    /// How much further each axis reaches to the left than to the right: a spread
    /// near zero has a long side there, which would otherwise be missed.
    left: Vec<f64>,
}

impl<'m> Proposal<'m> {
    pub(super) fn new(
        model: &Model,
        prepared: &Prepared,
        found: &'m Found,
    ) -> Result<Self, FitError> {
        let mode = &found.mode;
        let mut curvature = curvature(model, prepared, found);
        let size = mode.len();
        let factor = loop {
            match Llt::new(curvature.as_ref(), Side::Lower) {
                Ok(factor) => break factor,
                Err(_) if curvature[(0, 0)] < 1e12 => {
                    for k in 0..size {
                        curvature[(k, k)] = curvature[(k, k)] * 1.5 + 0.1;
                    }
                }
                Err(_) => return Err(FitError::NoMode),
            }
        };
        let cov = factor.inverse();
        let cov = Llt::new(cov.as_ref(), Side::Lower).map_err(|_| FitError::NoMode)?;
        let log_det = (0..size).map(|k| factor.L()[(k, k)].ln()).sum();
        let sds = (0..size).map(|k| {
            let squares = (0..=k).map(|j| cov.L()[(k, j)].powi(2));
            (k, squares.sum::<f64>().sqrt())
        });
        let sds: Vec<(usize, f64)> = sds.collect();
        let left = in_halves(&sds, |(k, sd)| reach_left(model, prepared, found, *k, *sd));
        Ok(Self {
            mode,
            left,
            cov_factor: cov.L().to_owned(),
            factor,
            log_det,
        })
    }

    pub(super) fn draw(&self, rng: &mut ChaCha12Rng) -> Theta {
        let size = self.mode.len();
        let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
        let z: Vec<f64> = (0..size).map(|_| normal(rng)).collect();
        let chi = ChiSquared::new(PROPOSAL_DOF).map_or(PROPOSAL_DOF, |d| d.sample(rng));
        let stretch = (PROPOSAL_DOF / chi.max(1e-3)).sqrt();
        (0..size)
            .map(|i| {
                let along: f64 = (0..=i).map(|j| self.cov_factor[(i, j)] * z[j]).sum();
                let reach = if along < 0.0 { self.left[i] } else { 1.0 };
                self.mode[i] + stretch * reach * along
            })
            .collect()
    }

    /// Log density of what is drawn.
    pub(super) fn log_density(&self, theta: &[f64]) -> f64 {
        let size = self.mode.len();
        let d = to_f64(size);
        let l = self.factor.L();
        let mut quad = 0.0;
        let mut stretched = 0.0;
        let off: Vec<f64> = (0..size)
            .map(|i| {
                let off = theta[i] - self.mode[i];
                if off < 0.0 {
                    stretched += self.left[i].ln();
                    off / self.left[i]
                } else {
                    off
                }
            })
            .collect();
        for j in 0..size {
            let along: f64 = (j..size).map(|i| l[(i, j)] * off[i]).sum();
            quad += along * along;
        }
        let gamma = statrs::function::gamma::ln_gamma;
        gamma(f64::midpoint(PROPOSAL_DOF, d))
            - gamma(PROPOSAL_DOF / 2.0)
            - 0.5 * d * (PROPOSAL_DOF * std::f64::consts::PI).ln()
            + self.log_det
            - stretched
            - 0.5 * (PROPOSAL_DOF + d) * (quad / PROPOSAL_DOF).ln_1p()
    }
}
