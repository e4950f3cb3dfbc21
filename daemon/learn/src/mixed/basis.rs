//! An orthonormal basis of the fixed effects, and the response beside it.
//!
//! The restricted likelihood does not change when fixed effects are recombined
//! (apart from a known constant) or when a combination of them is taken off the
//! response. So both are done first: cross-products are then formed from columns
//! of length one and from residuals, and a response of 10⁶ ± 1 loses no digits.

use super::data::{Column, Data, DataError, real};

/// How much of its length a column must keep beside the columns before it.
///
/// Shorter means it is a combination of them: it is left out, as the reference
/// implementation does with its QR decomposition at the same tolerance.
const ALIAS_TOLERANCE: f64 = 1e-7;

/// Fixed effects `X = Q R` with orthonormal `Q`, and the response beside `Q`.
#[derive(Debug)]
pub(super) struct Basis {
    /// Q by rows: `columns` numbers for each row.
    pub(super) rows: Vec<f64>,
    pub(super) columns: usize,
    /// R, upper triangular, by columns: `r[j][i]` for i ≤ j.
    r: Vec<Vec<f64>>,
    /// Names of the columns that were kept, in their order.
    pub(super) kept: Vec<usize>,
    pub(super) dropped: Vec<String>,
    /// The response less its projection on Q.
    pub(super) response: Vec<f64>,
    /// The coefficients of that projection.
    projection: Vec<f64>,
    /// 2 Σ ln Rᵢᵢ, the logarithm of det X'X.
    pub(super) log_det: f64,
}

impl Basis {
    pub(super) fn new(data: &Data) -> Result<Self, DataError> {
        let mut q: Vec<Vec<f64>> = Vec::new();
        let mut r: Vec<Vec<f64>> = Vec::new();
        let (mut kept, mut dropped) = (Vec::new(), Vec::new());
        for (at, column) in data.fixed.iter().enumerate() {
            match beside(&q, column) {
                Some((unit, coefficients)) => {
                    q.push(unit);
                    r.push(coefficients);
                    kept.push(at);
                }
                None => dropped.push(column.name.clone()),
            }
        }
        let rows = data.response.len();
        if rows <= q.len() {
            return Err(DataError::TooFewRows {
                rows,
                columns: q.len(),
            });
        }
        let mut response = data.response.clone();
        let projection = take_off(&q, &mut response);
        let (left, whole) = (norm(&response), norm(&data.response));
        if left <= f64::EPSILON * real(rows).sqrt() * whole {
            return Err(DataError::NothingLeft);
        }
        let columns = q.len();
        let mut by_rows = Vec::with_capacity(rows * columns);
        for row in 0..rows {
            by_rows.extend(q.iter().map(|column| column[row]));
        }
        let log_det = r
            .iter()
            .filter_map(|column| column.last())
            .map(|d| 2.0 * d.ln())
            .sum();
        Ok(Self {
            rows: by_rows,
            columns,
            r,
            kept,
            dropped,
            response,
            projection,
            log_det,
        })
    }

    /// The basis' coordinates of one row.
    pub(super) fn row(&self, row: usize) -> &[f64] {
        &self.rows[row * self.columns..(row + 1) * self.columns]
    }

    /// Coefficients of the columns from those of the basis: β = R⁻¹(γ + γ₀),
    /// γ₀ the projection that was taken off the response.
    pub(super) fn coefficients(&self, gamma: &[f64]) -> Vec<f64> {
        let whole: Vec<f64> = gamma
            .iter()
            .zip(&self.projection)
            .map(|(a, b)| a + b)
            .collect();
        self.back_substitute(whole)
    }

    /// R⁻¹ v.
    pub(super) fn back_substitute(&self, mut v: Vec<f64>) -> Vec<f64> {
        for j in (0..self.columns).rev() {
            v[j] /= self.r[j][j];
            for i in 0..j {
                v[i] -= self.r[j][i] * v[j];
            }
        }
        v
    }

    /// A row of X in coordinates of the basis: R⁻ᵀ x.
    pub(super) fn coordinates(&self, mut x: Vec<f64>) -> Vec<f64> {
        for j in 0..self.columns {
            for i in 0..j {
                x[j] -= self.r[j][i] * x[i];
            }
            x[j] /= self.r[j][j];
        }
        x
    }
}

/// The column's direction beside `q`, and its column of R; none if it has none.
fn beside(q: &[Vec<f64>], column: &Column) -> Option<(Vec<f64>, Vec<f64>)> {
    let mut rest = column.values.clone();
    let whole = norm(&rest);
    let mut coefficients = take_off(q, &mut rest);
    let left = norm(&rest);
    if left <= ALIAS_TOLERANCE * whole {
        return None;
    }
    for value in &mut rest {
        *value /= left;
    }
    coefficients.push(left);
    Some((rest, coefficients))
}

/// Takes the projection on the columns of `q` off `v` and returns its
/// coefficients. Done twice, which is enough for orthogonality to rounding.
fn take_off(q: &[Vec<f64>], v: &mut [f64]) -> Vec<f64> {
    let mut coefficients = vec![0.0; q.len()];
    for _ in 0..2 {
        for (column, coefficient) in q.iter().zip(&mut coefficients) {
            let along: f64 = column.iter().zip(v.iter()).map(|(a, b)| a * b).sum();
            *coefficient += along;
            for (value, unit) in v.iter_mut().zip(column) {
                *value -= along * unit;
            }
        }
    }
    coefficients
}

/// Euclidean length, safe from overflow.
fn norm(v: &[f64]) -> f64 {
    let largest = v.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
    if largest <= 0.0 {
        return 0.0;
    }
    largest
        * v.iter()
            .map(|value| (value / largest).powi(2))
            .sum::<f64>()
            .sqrt()
}
