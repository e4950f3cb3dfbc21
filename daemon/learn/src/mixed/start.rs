//! Where the search begins: variances by moments.

use faer::Mat;
use faer::linalg::solvers::{FullPivLu, Solve};

use super::data::{index, real};
use super::layout::Layout;

/// Bounds of the start: a search that begins on or near the boundary, or far
/// out where the criterion is flat, takes longer.
const RELATIVE_VARIANCE_MAX: f64 = 1e4;

/// Smallest start, in units of one over the mean rows of a level.
const SHARE_OF_UNIT_MIN: f64 = 0.05;

/// The natural size of each relative variance: one over the mean rows of a level,
/// where a level's own mean and the overall one count alike.
pub(super) fn units(layout: &Layout) -> Vec<f64> {
    let rows = real(layout.rows());
    layout
        .levels
        .iter()
        .map(|&levels| real(levels) / rows)
        .collect()
}

/// Relative variances from the quadratic forms y'M ZₖZₖ'M y and y'M y set
/// equal to their expectations (Rao's MINQUE with prior zero), M the projection
/// beside the fixed effects. Unbiased, not efficient, and linear.
pub(super) fn start(layout: &Layout) -> Vec<f64> {
    let groupings = layout.levels.len();
    let units = units(layout);
    let response = &layout.basis.response;
    let mut expected = Mat::zeros(groupings + 1, groupings + 1);
    let mut observed = Mat::zeros(groupings + 1, 1);
    let sums: Vec<Sums> = (0..groupings).map(|k| Sums::new(layout, k)).collect();
    for k in 0..groupings {
        observed[(k, 0)] = sums[k].response.iter().map(|sum| sum * sum).sum::<f64>();
        let own = real(layout.rows()) - sums[k].fixed.iter().map(|g| g * g).sum::<f64>();
        expected[(k, groupings)] = own;
        expected[(groupings, k)] = own;
        for l in 0..=k {
            let both = overlap(layout, k, l, &sums);
            expected[(k, l)] = both;
            expected[(l, k)] = both;
        }
    }
    observed[(groupings, 0)] = response.iter().map(|y| y * y).sum::<f64>();
    expected[(groupings, groupings)] = real(layout.rows() - layout.fixed());
    let solved = FullPivLu::new(expected.as_ref()).solve(observed);
    let residual = solved[(groupings, 0)];
    let relative = |k: usize| {
        let tau = solved[(k, 0)] / residual;
        let usable = tau.is_finite() && residual > 0.0;
        let tau = if usable { tau } else { 1.0 };
        tau.clamp(SHARE_OF_UNIT_MIN * units[k], RELATIVE_VARIANCE_MAX)
    };
    (0..groupings).map(relative).collect()
}

/// Zₖ'y and Zₖ'Q.
struct Sums {
    response: Vec<f64>,
    fixed: Vec<f64>,
}

impl Sums {
    fn new(layout: &Layout, grouping: usize) -> Self {
        let fixed = layout.fixed();
        let mut made = Self {
            response: vec![0.0; layout.levels[grouping]],
            fixed: vec![0.0; layout.levels[grouping] * fixed],
        };
        for (row, &level) in layout.of_row[grouping].iter().enumerate() {
            let level = index(level);
            made.response[level] += layout.basis.response[row];
            let target = &mut made.fixed[level * fixed..(level + 1) * fixed];
            for (sum, q) in target.iter_mut().zip(layout.basis.row(row)) {
                *sum += q;
            }
        }
        made
    }
}

/// tr(Zₖ'M Zₗ Zₗ'M Zₖ) = ‖Zₖ'Zₗ − Gₖ Gₗ'‖², G = Z'Q, from sums over rows.
fn overlap(layout: &Layout, k: usize, l: usize, sums: &[Sums]) -> f64 {
    let fixed = layout.fixed();
    let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(layout.rows());
    pairs.extend(
        layout.of_row[k]
            .iter()
            .copied()
            .zip(layout.of_row[l].iter().copied()),
    );
    pairs.sort_unstable();
    let mut total = 0.0;
    for same in pairs.chunk_by(|a, b| a == b) {
        let shared = real(same.len());
        let (a, b) = (index(same[0].0), index(same[0].1));
        let ours = &sums[k].fixed[a * fixed..(a + 1) * fixed];
        let theirs = &sums[l].fixed[b * fixed..(b + 1) * fixed];
        let inner: f64 = ours.iter().zip(theirs).map(|(g, h)| g * h).sum();
        total += shared * (shared - 2.0 * inner);
    }
    let gram = |of: &Sums| {
        let rows: Mat<f64> = Mat::from_fn(of.response.len(), fixed, |i, j| of.fixed[i * fixed + j]);
        rows.transpose() * &rows
    };
    let (ours, theirs) = (gram(&sums[k]), gram(&sums[l]));
    let mut product = 0.0;
    for j in 0..fixed {
        for i in 0..fixed {
            product += ours[(i, j)] * theirs[(i, j)];
        }
    }
    total + product
}
