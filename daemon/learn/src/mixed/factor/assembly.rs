//! Scaled cross-products, and the chain taken out of them.

use std::ops::Range;

use faer::Mat;

use super::{Rear, Reduced};
use crate::mixed::data::index;
use crate::mixed::layout::{Eliminated, Layout};

/// The matrices while the chain is being eliminated.
pub(super) struct Assembly {
    pub(super) dense: Mat<f64>,
    pub(super) rear: Rear,
    pub(super) reduced: Vec<Reduced>,
    pub(super) log_det: f64,
}

impl Assembly {
    /// The dense cross-products, scaled, with the penalty's ones.
    pub(super) fn fill(&mut self, layout: &Layout, place: &[usize], scale: &[f64]) {
        let front = self.dense.nrows();
        let by_place = {
            let mut by_place = vec![0; place.len()];
            for (column, &place) in place.iter().enumerate() {
                by_place[place] = column;
            }
            by_place
        };
        let moved = by_place
            .iter()
            .enumerate()
            .any(|(place, &column)| place != column);
        for (at, &column) in by_place.iter().enumerate() {
            let source = layout.cross.col_as_slice(column);
            if at >= front {
                self.rear.diagonal[at - front] = source[column];
                let target = self.rear.cross.col_as_slice_mut(at - front);
                for (value, &row) in target.iter_mut().zip(&by_place[..front]) {
                    *value = source[row] * scale[row];
                }
                continue;
            }
            let own = scale[column];
            let target = &mut self.dense.col_as_slice_mut(at)[at..];
            if moved {
                for (value, &row) in target.iter_mut().zip(&by_place[at..front]) {
                    *value = own * source[row] * scale[row];
                }
            } else {
                for ((value, entry), scale) in
                    target.iter_mut().zip(&source[at..]).zip(&scale[at..])
                {
                    *value = own * entry * scale;
                }
            }
            if column < layout.width {
                target[0] += 1.0;
            }
        }
    }

    /// Takes one grouping of the chain out of the equations, level by level.
    pub(super) fn eliminate(
        &mut self,
        layout: &Layout,
        position: usize,
        tau: &[f64],
        place: &[usize],
    ) {
        let rows = &layout.eliminated[position];
        let tau = tau[rows.grouping];
        let (finer, coarser) = self.reduced.split_at_mut(position + 1);
        let reduced = &mut finer[position];
        reduced.pivot = reduced.diagonal.iter().map(|d| tau * d + 1.0).collect();
        self.log_det += reduced.pivot.iter().map(|pivot| pivot.ln()).sum::<f64>();
        if tau <= 0.0 {
            return;
        }
        let fixed = layout.fixed();
        let front = self.dense.nrows();
        let mut entries: Vec<(usize, f64)> = Vec::new();
        for level in 0..rows.count.len() {
            let weight = tau / reduced.pivot[level];
            let span = rows.span(level);
            let sums = level * fixed..(level + 1) * fixed;
            entries.clear();
            let columns = rows.column[span.clone()]
                .iter()
                .zip(&reduced.value[span.clone()]);
            entries.extend(columns.map(|(&column, &value)| (place[index(column)], value)));
            let rear = entries
                .extract_if(.., |(place, _)| *place >= front)
                .collect::<Vec<_>>();
            let first_fixed = front - fixed;
            let basis = reduced.fixed[sums.clone()].iter().enumerate();
            entries.extend(basis.map(|(x, &value)| (first_fixed + x, value)));
            for (at, &(column, value)) in entries.iter().enumerate() {
                let target = self.dense.col_as_slice_mut(column);
                let weighted = weight * value;
                for &(row, other) in &entries[at..] {
                    target[row] -= weighted * other;
                }
            }
            for &(column, value) in &rear {
                let target = self.rear.cross.col_as_slice_mut(column - front);
                for &(row, other) in &entries {
                    target[row] -= weight * value * other;
                }
                self.rear.diagonal[column - front] -= weight * value * value;
            }
            for (later, above) in coarser.iter_mut().enumerate() {
                let (parent, link) = (index(rows.parent[later][level]), reduced.link[later][level]);
                let weighted = weight * link;
                above.diagonal[parent] -= weighted * link;
                let within = &rows.within[later][span.clone()];
                for (&slot, value) in within.iter().zip(&reduced.value[span.clone()]) {
                    above.value[slot] -= weighted * value;
                }
                let target = above.fixed[parent * fixed..(parent + 1) * fixed].iter_mut();
                for (sum, value) in target.zip(&reduced.fixed[sums.clone()]) {
                    *sum -= weighted * value;
                }
                for further in later + 1..rows.parent.len() {
                    above.link[further - later - 1][parent] -=
                        weighted * reduced.link[further][level];
                }
            }
        }
    }
}

/// Where each dense column stands, what it is scaled by, and how many are factored.
pub(super) fn arrange(layout: &Layout, tau: &[f64]) -> (Vec<usize>, Vec<f64>, usize) {
    let order = layout.width + layout.fixed();
    let mut place = vec![0; order];
    let mut scale = vec![1.0; order];
    let columns =
        |k: usize| -> Range<usize> { layout.offset[k]..layout.offset[k] + layout.levels[k] };
    let with = layout.dense.iter().filter(|&&k| tau[k] > 0.0);
    let without = layout.dense.iter().filter(|&&k| tau[k] <= 0.0);
    let mut next = 0;
    for &k in with {
        for column in columns(k) {
            (place[column], scale[column]) = (next, tau[k].sqrt());
            next += 1;
        }
    }
    for place in &mut place[layout.width..] {
        *place = next;
        next += 1;
    }
    let front = next;
    for column in without.flat_map(|&k| columns(k)) {
        place[column] = next;
        next += 1;
    }
    (place, scale, front)
}

/// The rows of the chain before anything is eliminated.
pub(super) fn start_rows(layout: &Layout, scale: &[f64]) -> Vec<Reduced> {
    let start = |rows: &Eliminated| {
        let scaled = rows.column.iter().zip(&rows.shared);
        Reduced {
            diagonal: rows.count.clone(),
            pivot: Vec::new(),
            value: scaled
                .map(|(&column, shared)| scale[index(column)] * shared)
                .collect(),
            fixed: rows.fixed.clone(),
            link: vec![rows.count.clone(); rows.parent.len()],
        }
    };
    layout.eliminated.iter().map(start).collect()
}
