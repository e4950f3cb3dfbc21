//! The mixed-model equations factored at given relative variances.
//!
//! Unknowns are the spherical effects u (b = Λ u, Λ = diag θ) and the
//! coefficients γ of the fixed effects' orthonormal basis Q:
//!
//! ```text
//!     H = | Λ Z'Z Λ + I   Λ Z'Q |
//!         | Q'Z Λ           I   |
//! ```
//!
//! The groupings of the chain are eliminated level by level; what is left is
//! dense. Rows of eliminated levels are kept without the level's own θ, so that
//! nothing is divided by a variance, which may be zero.

mod assembly;
mod inverse;

use faer::linalg::solvers::{Llt, Solve};
use faer::{Mat, Side};

use self::assembly::{Assembly, arrange, start_rows};
pub(super) use self::inverse::Inverse;
use super::data::{DataError, index};
use super::layout::{Eliminated, Layout};

/// The factored equations.
#[derive(Debug)]
pub(super) struct Factor<'a> {
    pub(super) layout: &'a Layout,
    /// Relative variance and relative standard deviation of each grouping.
    pub(super) tau: Vec<f64>,
    pub(super) theta: Vec<f64>,
    /// Where each dense column stands in the factored matrix; columns of
    /// groupings without variance stand behind all others, in `rear`.
    place: Vec<usize>,
    /// Order of the factored matrix.
    front: usize,
    reduced: Vec<Reduced>,
    llt: Llt<f64>,
    rear: Rear,
    pub(super) log_det: f64,
}

/// The rows of an eliminated grouping, as the finer ones have left them.
#[derive(Debug)]
struct Reduced {
    /// Diagonal without θ² and without the one of the penalty.
    diagonal: Vec<f64>,
    /// θ² times that, plus one.
    pivot: Vec<f64>,
    /// Dense columns of groupings, scaled by the column's θ only.
    value: Vec<f64>,
    fixed: Vec<f64>,
    /// Later groupings of the chain, scaled by no θ at all.
    link: Vec<Vec<f64>>,
}

/// Columns of groupings without variance: they do not enter the equations, but
/// the slope of the criterion needs what is left of them beside the others.
#[derive(Debug)]
struct Rear {
    /// Rows of the factored matrix, by columns of the rear.
    cross: Mat<f64>,
    diagonal: Vec<f64>,
}

/// The solution of the equations for one right-hand side.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    /// Spherical effects, by grouping.
    pub(super) u: Vec<Vec<f64>>,
    pub(super) gamma: Vec<f64>,
}

impl<'a> Factor<'a> {
    /// Factors at relative variances `tau`, none negative.
    pub(super) fn new(layout: &'a Layout, tau: &[f64]) -> Result<Self, DataError> {
        let theta: Vec<f64> = tau.iter().map(|tau| tau.sqrt()).collect();
        let (place, scale, front) = arrange(layout, tau);
        let rear = layout.width + layout.fixed() - front;
        let mut assembly = Assembly {
            dense: Mat::zeros(front, front),
            rear: Rear {
                cross: Mat::zeros(front, rear),
                diagonal: vec![0.0; rear],
            },
            reduced: Vec::new(),
            log_det: 0.0,
        };
        assembly.fill(layout, &place, &scale);
        assembly.reduced = start_rows(layout, &scale);
        for position in 0..layout.chain.len() {
            assembly.eliminate(layout, position, tau, &place);
        }
        let llt =
            Llt::new(assembly.dense.as_ref(), Side::Lower).map_err(|_| DataError::Singular)?;
        let diagonal = llt.L().diagonal().column_vector();
        let log_det = assembly.log_det + diagonal.iter().map(|d| 2.0 * d.ln()).sum::<f64>();
        if !log_det.is_finite() {
            return Err(DataError::Singular);
        }
        Ok(Self {
            layout,
            tau: tau.to_vec(),
            theta,
            place,
            front,
            reduced: assembly.reduced,
            llt,
            rear: assembly.rear,
            log_det,
        })
    }

    fn first_fixed(&self) -> usize {
        self.front - self.layout.fixed()
    }

    fn has_variance(&self, grouping: usize) -> bool {
        self.tau[grouping] > 0.0
    }

    /// Solves for the right-hand side `(Λ Z'w, Q'w)` of a response `w`.
    pub(super) fn solve_response(&self, w: &[f64]) -> Solution {
        let layout = self.layout;
        let mut right = Solution {
            u: layout
                .levels
                .iter()
                .map(|&levels| vec![0.0; levels])
                .collect(),
            gamma: vec![0.0; layout.fixed()],
        };
        for (sums, of_row) in right.u.iter_mut().zip(&layout.of_row) {
            for (&level, w) in of_row.iter().zip(w) {
                sums[index(level)] += w;
            }
        }
        for (sums, theta) in right.u.iter_mut().zip(&self.theta) {
            for sum in sums {
                *sum *= theta;
            }
        }
        for (row, w) in w.iter().enumerate() {
            for (sum, q) in right.gamma.iter_mut().zip(layout.basis.row(row)) {
                *sum += q * w;
            }
        }
        self.solve(right)
    }

    /// What is left of a response: `w − Z Λ u − Q γ`, which is V⁻¹-weighted, `P w`.
    pub(super) fn residual(&self, w: &[f64], solution: &Solution) -> Vec<f64> {
        let layout = self.layout;
        let mut left = w.to_vec();
        for ((of_row, u), theta) in layout.of_row.iter().zip(&solution.u).zip(&self.theta) {
            if *theta > 0.0 {
                for (value, &level) in left.iter_mut().zip(of_row) {
                    *value -= theta * u[index(level)];
                }
            }
        }
        for (row, value) in left.iter_mut().enumerate() {
            let fixed = layout.basis.row(row).iter().zip(&solution.gamma);
            *value -= fixed.map(|(q, gamma)| q * gamma).sum::<f64>();
        }
        left
    }

    /// Solves H x = `right`.
    pub(super) fn solve(&self, mut right: Solution) -> Solution {
        let layout = self.layout;
        let mut dense = Mat::zeros(self.front, 1);
        for &k in &layout.dense {
            if self.has_variance(k) {
                for (level, value) in right.u[k].iter().enumerate() {
                    dense[(self.place[layout.offset[k] + level], 0)] = *value;
                }
            }
        }
        let first_fixed = self.first_fixed();
        for (x, value) in right.gamma.iter().enumerate() {
            dense[(first_fixed + x, 0)] = *value;
        }
        for position in 0..layout.chain.len() {
            self.forward(position, &mut right.u, &mut dense);
        }
        self.llt.solve_in_place(dense.as_mut());
        for &k in &layout.dense {
            for (level, value) in right.u[k].iter_mut().enumerate() {
                let place = self.place[layout.offset[k] + level];
                *value = if self.has_variance(k) {
                    dense[(place, 0)]
                } else {
                    0.0
                };
            }
        }
        for (x, value) in right.gamma.iter_mut().enumerate() {
            *value = dense[(first_fixed + x, 0)];
        }
        for position in (0..layout.chain.len()).rev() {
            self.backward(position, &mut right.u, &dense);
        }
        right
    }

    fn forward(&self, position: usize, u: &mut [Vec<f64>], dense: &mut Mat<f64>) {
        let (rows, reduced) = (&self.layout.eliminated[position], &self.reduced[position]);
        let theta = self.theta[rows.grouping];
        if theta <= 0.0 {
            return;
        }
        for level in 0..rows.count.len() {
            let weight = theta * u[rows.grouping][level] / reduced.pivot[level];
            for (place, value) in self.entries(rows, reduced, level) {
                dense[(place, 0)] -= weight * value;
            }
            for (later, link) in reduced.link.iter().enumerate() {
                let coarser = self.layout.chain[position + 1 + later];
                let parent = index(rows.parent[later][level]);
                u[coarser][parent] -= weight * self.theta[coarser] * link[level];
            }
        }
    }

    fn backward(&self, position: usize, u: &mut [Vec<f64>], dense: &Mat<f64>) {
        let (rows, reduced) = (&self.layout.eliminated[position], &self.reduced[position]);
        let theta = self.theta[rows.grouping];
        for level in 0..rows.count.len() {
            if theta <= 0.0 {
                u[rows.grouping][level] = 0.0;
                continue;
            }
            let entries = self.entries(rows, reduced, level);
            let mut sum: f64 = entries
                .map(|(place, value)| value * dense[(place, 0)])
                .sum();
            for (later, link) in reduced.link.iter().enumerate() {
                let coarser = self.layout.chain[position + 1 + later];
                let parent = index(rows.parent[later][level]);
                sum += self.theta[coarser] * link[level] * u[coarser][parent];
            }
            let value = &mut u[rows.grouping][level];
            *value = (*value - theta * sum) / reduced.pivot[level];
        }
    }

    /// The dense entries of an eliminated level's row, without those in the rear.
    fn entries<'b>(
        &'b self,
        rows: &'b Eliminated,
        reduced: &'b Reduced,
        level: usize,
    ) -> impl Iterator<Item = (usize, f64)> + 'b {
        let fixed = self.layout.fixed();
        let span = rows.span(level);
        let grouped = rows.column[span.clone()].iter().zip(&reduced.value[span]);
        let grouped = grouped.map(|(&column, &value)| (self.place[index(column)], value));
        let sums = reduced.fixed[level * fixed..(level + 1) * fixed].iter();
        let sums = sums
            .enumerate()
            .map(|(x, &value)| (self.first_fixed() + x, value));
        grouped.filter(|(place, _)| *place < self.front).chain(sums)
    }
}
