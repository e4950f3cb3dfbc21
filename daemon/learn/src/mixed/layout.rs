//! Which groupings are eliminated level by level, and the cross-products that
//! do not change with the variances.

use faer::Mat;

use super::basis::Basis;
use super::data::{DataError, Grouping, REMAINDER_MAX, index, real};

/// The data as the factorisation needs them, made once for a fit.
#[derive(Debug)]
pub(super) struct Layout {
    /// Level of each row, by grouping.
    pub(super) of_row: Vec<Vec<u32>>,
    pub(super) levels: Vec<usize>,
    /// Groupings that are eliminated, finest first: each nested in the next.
    pub(super) chain: Vec<usize>,
    /// Groupings of the dense remainder.
    pub(super) dense: Vec<usize>,
    /// First dense column of each grouping of the remainder; by grouping.
    pub(super) offset: Vec<usize>,
    /// Dense columns that belong to groupings; the fixed effects follow.
    pub(super) width: usize,
    pub(super) basis: Basis,
    pub(super) eliminated: Vec<Eliminated>,
    /// Cross-products of the dense columns, symmetric.
    pub(super) cross: Mat<f64>,
}

/// One eliminated grouping: its rows of the cross-product matrix.
#[derive(Debug)]
pub(super) struct Eliminated {
    pub(super) grouping: usize,
    /// Rows of each level.
    pub(super) count: Vec<f64>,
    /// Where each level's dense columns begin; one more than there are levels.
    pub(super) begin: Vec<usize>,
    /// Dense columns of groupings that share rows with the level, ascending.
    pub(super) column: Vec<u32>,
    /// How many rows they share.
    pub(super) shared: Vec<f64>,
    /// Sums of the basis of the fixed effects over the level's rows.
    pub(super) fixed: Vec<f64>,
    /// Level of each later grouping of the chain that the level lies in.
    pub(super) parent: Vec<Vec<u32>>,
    /// For each later grouping of the chain, where each of `column` stands
    /// among the columns of the parent.
    pub(super) within: Vec<Vec<usize>>,
}

impl Eliminated {
    pub(super) fn span(&self, level: usize) -> std::ops::Range<usize> {
        self.begin[level]..self.begin[level + 1]
    }
}

impl Layout {
    pub(super) fn new(groupings: &[Grouping], basis: Basis) -> Result<Self, DataError> {
        let of_row: Vec<Vec<u32>> = groupings.iter().map(|one| one.of_row().to_vec()).collect();
        let levels: Vec<usize> = groupings.iter().map(|one| one.levels().len()).collect();
        let chain = longest_chain(&of_row, &levels);
        let dense: Vec<usize> = (0..levels.len()).filter(|k| !chain.contains(k)).collect();
        let mut offset = vec![0; levels.len()];
        let mut width = 0;
        for &k in &dense {
            offset[k] = width;
            width += levels[k];
        }
        let order = width + basis.columns;
        if order > REMAINDER_MAX {
            return Err(DataError::RemainderTooLarge { order });
        }
        let mut layout = Self {
            of_row,
            levels,
            chain,
            dense,
            offset,
            width,
            basis,
            eliminated: Vec::new(),
            cross: Mat::zeros(order, order),
        };
        layout.fill_cross();
        for position in 0..layout.chain.len() {
            let eliminated = layout.eliminate(position);
            layout.eliminated.push(eliminated);
        }
        layout.find_within();
        Ok(layout)
    }

    pub(super) fn rows(&self) -> usize {
        self.basis.response.len()
    }

    /// Number of fixed effects that were kept.
    pub(super) fn fixed(&self) -> usize {
        self.basis.columns
    }

    fn dense_column(&self, grouping: usize, row: usize) -> usize {
        self.offset[grouping] + index(self.of_row[grouping][row])
    }

    /// Counts of rows shared by pairs of dense levels, sums of the basis over
    /// them, and the identity that the basis is to itself.
    fn fill_cross(&mut self) {
        let (width, fixed) = (self.width, self.basis.columns);
        let mut cross = Mat::zeros(width + fixed, width + fixed);
        for row in 0..self.rows() {
            for &k in &self.dense {
                let column = self.dense_column(k, row);
                for &l in &self.dense {
                    cross[(self.dense_column(l, row), column)] += 1.0;
                }
                for (x, value) in self.basis.row(row).iter().enumerate() {
                    cross[(width + x, column)] += value;
                }
            }
        }
        for x in 0..fixed {
            cross[(width + x, width + x)] = 1.0;
            for column in 0..width {
                cross[(column, width + x)] = cross[(width + x, column)];
            }
        }
        self.cross = cross;
    }

    fn eliminate(&self, position: usize) -> Eliminated {
        let grouping = self.chain[position];
        let (levels, fixed) = (self.levels[grouping], self.basis.columns);
        let rows_of_level = rows_by_level(&self.of_row[grouping], levels);
        let mut made = Eliminated {
            grouping,
            count: Vec::with_capacity(levels),
            begin: vec![0],
            column: Vec::new(),
            shared: Vec::new(),
            fixed: vec![0.0; levels * fixed],
            parent: Vec::new(),
            within: Vec::new(),
        };
        let mut columns: Vec<u32> = Vec::new();
        for (level, rows) in rows_of_level.iter().enumerate() {
            made.count.push(real(rows.len()));
            columns.clear();
            for &row in rows {
                for &k in &self.dense {
                    columns.push(u32::try_from(self.dense_column(k, row)).unwrap_or(u32::MAX));
                }
                for (x, value) in self.basis.row(row).iter().enumerate() {
                    made.fixed[level * fixed + x] += value;
                }
            }
            columns.sort_unstable();
            for same in columns.chunk_by(|a, b| a == b) {
                made.column.push(same[0]);
                made.shared.push(real(same.len()));
            }
            made.begin.push(made.column.len());
        }
        for &coarser in &self.chain[position + 1..] {
            let parent = rows_of_level
                .iter()
                .map(|rows| self.of_row[coarser][rows[0]]);
            made.parent.push(parent.collect());
        }
        made
    }

    /// A level's dense columns are among those of the level it lies in; this
    /// finds where, once.
    fn find_within(&mut self) {
        for position in 0..self.eliminated.len() {
            let mut all = Vec::new();
            for (later, coarser) in self.eliminated[position + 1..].iter().enumerate() {
                let finer = &self.eliminated[position];
                let mut within = Vec::with_capacity(finer.column.len());
                for level in 0..finer.count.len() {
                    let span = coarser.span(index(finer.parent[later][level]));
                    let (begin, among) = (span.start, &coarser.column[span]);
                    for column in &finer.column[finer.span(level)] {
                        within.push(begin + among.partition_point(|other| other < column));
                    }
                }
                all.push(within);
            }
            self.eliminated[position].within = all;
        }
    }
}

fn rows_by_level(of_row: &[u32], levels: usize) -> Vec<Vec<usize>> {
    let mut rows = vec![Vec::new(); levels];
    for (row, &level) in of_row.iter().enumerate() {
        rows[index(level)].push(row);
    }
    rows
}

/// The groupings to eliminate, finest first: each nested in the next, and as
/// many levels together as there can be.
///
/// A grouping's block is diagonal. It stays so after another was eliminated if
/// no level of that one touches two of its levels, which is nesting.
fn longest_chain(of_row: &[Vec<u32>], levels: &[usize]) -> Vec<usize> {
    let mut by_size: Vec<usize> = (0..levels.len()).collect();
    by_size.sort_by_key(|&k| (levels[k], k));
    // Best chain that begins with each grouping, from the coarsest on.
    let mut best: Vec<(usize, Vec<usize>)> = Vec::new();
    for (at, &finer) in by_size.iter().enumerate() {
        let mut chain = (0, Vec::new());
        for (other, &coarser) in by_size[..at].iter().enumerate() {
            if best[other].0 > chain.0 && nested(&of_row[finer], levels[finer], &of_row[coarser]) {
                chain = best[other].clone();
            }
        }
        chain.1.insert(0, finer);
        best.push((chain.0 + levels[finer], chain.1));
    }
    best.into_iter()
        .max_by_key(|(total, _)| *total)
        .map_or_else(Vec::new, |(_, chain)| chain)
}

/// Whether each level of the finer grouping lies in one level of the coarser.
fn nested(finer: &[u32], levels: usize, coarser: &[u32]) -> bool {
    let mut lies_in = vec![None; levels];
    finer
        .iter()
        .zip(coarser)
        .all(|(&fine, &coarse)| *lies_in[index(fine)].get_or_insert(coarse) == coarse)
}
