//! What the other units say about each unit: leave-one-out without refits.
//!
//! With `V = τ²11ᵀ + σ²/h·diag(c²)` the covariance of a unit's rows given the
//! coefficients, `M` the posterior covariance of their linear predictor and `r`
//! their working residuals, the rest of the records predict the rows with
//! residual `(I − M V⁻¹)⁻¹ r` and covariance `(I − M V⁻¹)⁻¹ M` (the precision of
//! all minus that of the unit). At the mode of the spreads.

use faer::Mat;
use faer::linalg::solvers::{DenseSolveCore as _, PartialPivLu, Solve as _};

use super::fit::Posterior;
use super::simulate::normal_core;

/// How the other units predict the rows of one.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    pub unit: usize,
    /// Rows of the unit, by their place in the records.
    pub rows: Vec<usize>,
    pub mean: Vec<f64>,
    /// What the rows say.
    pub actual: Vec<f64>,
    /// Of a new unit like it: effects, unit effect and normal core, row by row.
    pub covariance: Vec<Vec<f64>>,
}

impl Posterior {
    /// For each unit with rows, what the others predict of it.
    pub fn leave_unit_out(&self) -> Vec<LeftOut> {
        let units = 0..self.prepared.units.len();
        units.filter_map(|unit| self.left_out(unit)).collect()
    }

    /// What the others predict of one unit; `None` for one without rows.
    pub fn left_out(&self, at: usize) -> Option<LeftOut> {
        let unit = self.prepared.units.get(at)?;
        if unit.rows.is_empty() {
            return None;
        }
        let point = &self.centre;
        let size = unit.rows.len();
        let h = self.prepared.information;
        let noise2 = point.noise * point.noise;
        let tau2 = point.unit_sd * point.unit_sd;
        let dof = self.model.noise_dof;
        let mut columns = Mat::<f64>::zeros(point.mode.len(), size);
        let mut residual = Mat::<f64>::zeros(size, 1);
        let mut fitted = vec![0.0; size];
        let mut noise = vec![0.0; size];
        for (k, row) in unit.rows.iter().enumerate() {
            let row = &self.prepared.rows[*row];
            for (column, value) in self.prepared.x(row) {
                columns[(*column, k)] += value;
                fitted[k] += value * point.mode[*column];
            }
            let e = point.residual_of(&self.prepared, row);
            let scale2 = noise2 * row.c * row.c;
            let w = (dof + 1.0) / (dof + e * e / scale2);
            residual[(k, 0)] = point.unit_mode[at] + w * e / h;
            noise[k] = scale2;
        }
        point.halve(&mut columns);
        let m = columns.transpose() * &columns;
        let v = Mat::from_fn(size, size, |i, j| {
            tau2 + if i == j { noise[i] / h } else { 0.0 }
        });
        let lu = PartialPivLu::new(v.as_ref());
        let mut shrink = &m * lu.inverse() * -1.0;
        for k in 0..size {
            shrink[(k, k)] += 1.0;
        }
        let open = PartialPivLu::new(shrink.as_ref());
        let off = open.solve(&residual);
        let cov = open.solve(&m);
        let core = normal_core(dof);
        let working: Vec<f64> = (0..size).map(|k| fitted[k] + residual[(k, 0)]).collect();
        let finite = (0..size).all(|k| off[(k, 0)].is_finite() && cov[(k, k)].is_finite());
        finite.then(|| LeftOut {
            unit: at,
            actual: unit.rows.iter().map(|k| self.prepared.rows[*k].y).collect(),
            rows: unit.rows.clone(),
            mean: (0..size).map(|k| working[k] - off[(k, 0)]).collect(),
            covariance: (0..size)
                .map(|i| {
                    (0..size)
                        .map(|j| {
                            let own = if i == j { noise[i] * core * core } else { 0.0 };
                            cov[(i, j)] + tau2 + own
                        })
                        .collect()
                })
                .collect(),
        })
    }
}
