//! What the criterion's slope and the conditional variances need of the inverse.

use faer::linalg::solvers::{DenseSolveCore, Llt, Solve};
use faer::linalg::triangular_solve::solve_lower_triangular_in_place;
use faer::{Mat, Par, Side};

use super::Factor;
use crate::mixed::data::{DataError, index, real};
use crate::mixed::layout::Eliminated;

/// Diagonal and traces of the inverse.
#[derive(Debug)]
pub(in crate::mixed) struct Inverse {
    /// Diagonal of H⁻¹ for each level, by grouping.
    pub(in crate::mixed) diagonal: Vec<Vec<f64>>,
    /// tr Z'PZ of each grouping, at variance zero too.
    pub(in crate::mixed) trace: Vec<f64>,
}

impl Factor<'_> {
    /// Inverse of the dense part.
    pub(in crate::mixed) fn dense_inverse(&self) -> Mat<f64> {
        self.llt.inverse()
    }

    /// The block of the fixed effects in a dense inverse.
    pub(in crate::mixed) fn fixed_block(&self, dense_inverse: &Mat<f64>) -> Mat<f64> {
        let (first, fixed) = (self.first_fixed(), self.layout.fixed());
        dense_inverse
            .submatrix(first, first, fixed, fixed)
            .to_owned()
    }

    /// The dense inverse as it is when the fixed effects are known: their rows
    /// are zero, and what their doubt added to the rest is taken off again.
    pub(in crate::mixed) fn without_fixed(
        &self,
        dense_inverse: &Mat<f64>,
    ) -> Result<Mat<f64>, DataError> {
        let (first, fixed) = (self.first_fixed(), self.layout.fixed());
        let mut known = Mat::zeros(self.front, self.front);
        let block = self.fixed_block(dense_inverse);
        let llt = Llt::new(block.as_ref(), Side::Lower).map_err(|_| DataError::Singular)?;
        let across = dense_inverse.submatrix(first, 0, fixed, first);
        let weighted = llt.solve(across);
        let grouped = dense_inverse.submatrix(0, 0, first, first) - across.transpose() * weighted;
        known.submatrix_mut(0, 0, first, first).copy_from(&grouped);
        Ok(known)
    }

    /// Diagonal and traces of the inverse, from the dense part's inverse.
    ///
    /// Eliminated levels come coarsest first, as in Takahashi, Fagan and Chin
    /// (1973): an entry of the inverse needs only those of later columns that
    /// the level's own row touches.
    pub(in crate::mixed) fn inverse(&self, dense: &Mat<f64>) -> Inverse {
        let layout = self.layout;
        let mut made = Inverse {
            diagonal: layout
                .levels
                .iter()
                .map(|&levels| vec![1.0; levels])
                .collect(),
            trace: vec![0.0; layout.levels.len()],
        };
        for &k in &layout.dense {
            if self.has_variance(k) {
                for (level, value) in made.diagonal[k].iter_mut().enumerate() {
                    let place = self.place[layout.offset[k] + level];
                    *value = dense[(place, place)];
                }
                let lost: f64 = made.diagonal[k].iter().sum();
                made.trace[k] = (real(layout.levels[k]) - lost) / self.tau[k];
            }
        }
        self.rear_traces(&mut made.trace);
        let mut known: Vec<Covariances> = Vec::new();
        for position in (0..layout.chain.len()).rev() {
            let grouping = layout.chain[position];
            let covariances = self.covariances(position, dense, &known, &mut made.trace[grouping]);
            made.diagonal[grouping].clone_from(&covariances.own);
            known.push(covariances);
        }
        made
    }

    /// Traces of groupings without variance: what is left of their columns
    /// beside all others.
    fn rear_traces(&self, trace: &mut [f64]) {
        if self.rear.diagonal.is_empty() {
            return;
        }
        let mut beside = self.rear.cross.clone();
        solve_lower_triangular_in_place(self.llt.L(), beside.as_mut(), Par::Seq);
        for &k in &self.layout.dense {
            if self.has_variance(k) {
                continue;
            }
            for level in 0..self.layout.levels[k] {
                let at = self.place[self.layout.offset[k] + level] - self.front;
                let taken: f64 = beside
                    .col_as_slice(at)
                    .iter()
                    .map(|value| value * value)
                    .sum();
                trace[k] += self.rear.diagonal[at] - taken;
            }
        }
    }

    /// Entries of the inverse that belong to the rows of one eliminated grouping.
    ///
    /// `known` are those of the coarser ones, coarsest first.
    fn covariances(
        &self,
        position: usize,
        dense: &Mat<f64>,
        known: &[Covariances],
        trace: &mut f64,
    ) -> Covariances {
        let (rows, reduced) = (&self.layout.eliminated[position], &self.reduced[position]);
        let (theta, tau) = (self.theta[rows.grouping], self.tau[rows.grouping]);
        let fixed = self.layout.fixed();
        let keep = position > 0;
        let mut made = Covariances {
            own: Vec::with_capacity(rows.count.len()),
            column: vec![0.0; if keep { rows.column.len() } else { 0 }],
            fixed: vec![0.0; if keep { rows.count.len() * fixed } else { 0 }],
            coarser: vec![vec![0.0; if keep { rows.count.len() } else { 0 }]; rows.parent.len()],
        };
        let mut row = LevelRow::default();
        for level in 0..rows.count.len() {
            self.gather(position, level, known.len(), &mut row);
            row.multiply(self, rows, dense, known);
            let around: f64 = row.value.iter().zip(&row.product).map(|(r, h)| r * h).sum();
            let pivot = reduced.pivot[level];
            *trace += reduced.diagonal[level] / pivot - around / (pivot * pivot);
            made.own.push(1.0 / pivot + tau * around / (pivot * pivot));
            if keep {
                let weight = -theta / pivot;
                for (entry, product) in row.entry.iter().zip(&row.product) {
                    match *entry {
                        Entry::Column { slot, .. } => made.column[slot] = weight * product,
                        Entry::Fixed { x, .. } => made.fixed[level * fixed + x] = weight * product,
                        Entry::Coarser { later, .. } => {
                            made.coarser[later][level] = weight * product;
                        }
                    }
                }
            }
        }
        made
    }

    fn gather(&self, position: usize, level: usize, coarser: usize, row: &mut LevelRow) {
        let (rows, reduced) = (&self.layout.eliminated[position], &self.reduced[position]);
        let fixed = self.layout.fixed();
        row.entry.clear();
        row.value.clear();
        for slot in rows.span(level) {
            let place = self.place[index(rows.column[slot])];
            if place < self.front {
                row.entry.push(Entry::Column { slot, place });
                row.value.push(reduced.value[slot]);
            }
        }
        for x in 0..fixed {
            let place = self.first_fixed() + x;
            row.entry.push(Entry::Fixed { x, place });
            row.value.push(reduced.fixed[level * fixed + x]);
        }
        for later in 0..coarser {
            let theta = self.theta[self.layout.chain[position + 1 + later]];
            if theta > 0.0 {
                let parent = index(rows.parent[later][level]);
                row.entry.push(Entry::Coarser { later, parent });
                row.value.push(theta * reduced.link[later][level]);
            }
        }
    }
}

/// Entries of the inverse between an eliminated grouping and what is coarser.
#[derive(Debug)]
struct Covariances {
    own: Vec<f64>,
    column: Vec<f64>,
    fixed: Vec<f64>,
    coarser: Vec<Vec<f64>>,
}

/// One column that an eliminated level's row touches.
#[derive(Debug, Clone, Copy)]
enum Entry {
    Column { slot: usize, place: usize },
    Fixed { x: usize, place: usize },
    Coarser { later: usize, parent: usize },
}

/// An eliminated level's row and its product with the inverse.
#[derive(Debug, Default)]
struct LevelRow {
    entry: Vec<Entry>,
    value: Vec<f64>,
    product: Vec<f64>,
}

impl LevelRow {
    /// Multiplies the row with the inverse, restricted to the columns it touches.
    fn multiply(
        &mut self,
        factor: &Factor<'_>,
        rows: &Eliminated,
        dense: &Mat<f64>,
        known: &[Covariances],
    ) {
        let fixed = factor.layout.fixed();
        self.product.clear();
        self.product.resize(self.entry.len(), 0.0);
        // Pairs of dense columns, the bulk of it, then those with a coarser level.
        let dense_entries = self
            .entry
            .iter()
            .take_while(|entry| entry.place().is_some())
            .count();
        for (at, one) in self.entry[..dense_entries].iter().enumerate() {
            let Some(column) = one.place().map(|place| dense.col_as_slice(place)) else {
                continue;
            };
            let mut sum = 0.0;
            for (other, value) in self.entry[..dense_entries].iter().zip(&self.value) {
                if let Entry::Column { place, .. } | Entry::Fixed { place, .. } = *other {
                    sum += value * column[place];
                }
            }
            self.product[at] = sum;
        }
        for at in dense_entries..self.entry.len() {
            let Entry::Coarser { later, parent } = self.entry[at] else {
                continue;
            };
            let coarser = &known[known.len() - 1 - later];
            for other in 0..=at {
                let covariance = match self.entry[other] {
                    Entry::Column { slot, .. } => coarser.column[rows.within[later][slot]],
                    Entry::Fixed { x, .. } => coarser.fixed[parent * fixed + x],
                    Entry::Coarser { .. } if other == at => coarser.own[parent],
                    // The other of the two is finer: it holds what they share.
                    Entry::Coarser {
                        later: finer,
                        parent: finer_parent,
                    } => known[known.len() - 1 - finer].coarser[later - finer - 1][finer_parent],
                };
                self.product[other] += covariance * self.value[at];
                if other != at {
                    self.product[at] += covariance * self.value[other];
                }
            }
        }
    }
}

impl Entry {
    fn place(self) -> Option<usize> {
        match self {
            Self::Column { place, .. } | Self::Fixed { place, .. } => Some(place),
            Self::Coarser { .. } => None,
        }
    }
}
