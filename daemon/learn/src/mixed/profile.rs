//! The profiled restricted criterion, its slope and its curvature.

use std::f64::consts::PI;

use faer::Mat;

use super::basis::Basis;
use super::data::{Data, DataError, index, real};
use super::factor::{Factor, Solution};
use super::layout::Layout;
use super::optimise::{Slope, Surface};

/// −2 × the restricted log-likelihood with residual variance and fixed effects
/// profiled out, as a function of the relative variances τ = σ²ₖ / σ².
///
/// Made once for a data set; evaluations share its cross-products.
#[derive(Debug)]
pub struct Profile {
    layout: Layout,
}

/// The equations solved at one vector of relative variances.
#[derive(Debug)]
pub(super) struct Point<'a> {
    pub(super) factor: Factor<'a>,
    pub(super) solution: Solution,
    /// P y: the response less fitted values, as the penalised equations leave it.
    pub(super) residual: Vec<f64>,
    /// ‖y − Z Λ u − X β‖² + ‖u‖².
    pub(super) squares: f64,
    pub(super) criterion: f64,
}

impl Profile {
    /// Checks the data and forms their cross-products.
    ///
    /// # Errors
    /// What [`DataError`] lists.
    pub fn new(data: &Data) -> Result<Self, DataError> {
        data.check()?;
        let basis = Basis::new(data)?;
        Ok(Self {
            layout: Layout::new(&data.groupings, basis)?,
        })
    }

    /// The criterion at relative variances, none negative, one for each grouping.
    ///
    /// # Errors
    /// [`DataError::Singular`] where they are out of all proportion.
    pub fn value(&self, relative_variances: &[f64]) -> Result<f64, DataError> {
        Ok(self.at(relative_variances)?.criterion)
    }

    /// Its exact derivatives in the relative variances; at zero, from the right.
    ///
    /// # Errors
    /// [`DataError::Singular`] where they are out of all proportion.
    pub fn gradient(&self, relative_variances: &[f64]) -> Result<Vec<f64>, DataError> {
        Ok(self.slope(&self.at(relative_variances)?).gradient)
    }

    pub(super) fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Rows beyond those that the fixed effects take up, n − p.
    pub(super) fn freedom(&self) -> f64 {
        real(self.layout.rows() - self.layout.fixed())
    }
}

impl Surface for Profile {
    type Point<'a> = Point<'a>;

    fn at(&self, tau: &[f64]) -> Result<Point<'_>, DataError> {
        let factor = Factor::new(&self.layout, tau)?;
        let response = &self.layout.basis.response;
        let solution = factor.solve_response(response);
        let residual = factor.residual(response, &solution);
        // Summed from the residuals themselves: a slip in the solution changes
        // it in second order only, and nothing cancels when τ is large.
        let penalty: f64 = solution.u.iter().flatten().map(|u| u * u).sum();
        let squares = penalty + residual.iter().map(|e| e * e).sum::<f64>();
        let freedom = self.freedom();
        let criterion = factor.log_det
            + self.layout.basis.log_det
            + freedom * (1.0 + (2.0 * PI * squares / freedom).ln());
        if !criterion.is_finite() {
            return Err(DataError::Singular);
        }
        Ok(Point {
            factor,
            solution,
            residual,
            squares,
            criterion,
        })
    }

    fn value(point: &Point<'_>) -> f64 {
        point.criterion
    }

    /// ∂/∂τₖ = tr Zₖ'PZₖ − ‖Zₖ'Py‖² (n − p)/r², and the average information
    /// (n − p) [ y'P Vₖ P Vₗ P y / r² − ‖Zₖ'Py‖² ‖Zₗ'Py‖² / r⁴ ], Vₖ = ZₖZₖ'.
    fn slope(&self, point: &Point<'_>) -> Slope {
        let (layout, freedom) = (&self.layout, self.freedom());
        let groupings = layout.levels.len();
        let trace = point.factor.inverse(&point.factor.dense_inverse()).trace;
        let sums: Vec<Vec<f64>> = (0..groupings)
            .map(|k| self.sums(k, &point.residual))
            .collect();
        let square = |k: usize| sums[k].iter().map(|sum| sum * sum).sum::<f64>();
        let squares: Vec<f64> = (0..groupings).map(square).collect();
        let gradient = trace.iter().zip(&squares);
        let gradient = gradient
            .map(|(trace, own)| trace - own * freedom / point.squares)
            .collect();
        let spread: Vec<Vec<f64>> = (0..groupings).map(|k| self.spread(k, &sums[k])).collect();
        let mut curvature = Mat::zeros(groupings, groupings);
        for k in 0..groupings {
            let solution = point.factor.solve_response(&spread[k]);
            let left = point.factor.residual(&spread[k], &solution);
            for l in 0..groupings {
                let both: f64 = left.iter().zip(&spread[l]).map(|(a, b)| a * b).sum();
                let shared = squares[k] * squares[l] / point.squares;
                curvature[(l, k)] = freedom * (both - shared) / point.squares;
            }
        }
        Slope {
            gradient,
            curvature,
        }
    }
}

impl Profile {
    /// Zₖ'v: sums over the rows of each level.
    fn sums(&self, grouping: usize, v: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.layout.levels[grouping]];
        for (&level, value) in self.layout.of_row[grouping].iter().zip(v) {
            sums[index(level)] += value;
        }
        sums
    }

    /// Zₖ a: each row gets the number of its level.
    fn spread(&self, grouping: usize, of_level: &[f64]) -> Vec<f64> {
        let of_row = self.layout.of_row[grouping].iter();
        of_row.map(|&level| of_level[index(level)]).collect()
    }
}
