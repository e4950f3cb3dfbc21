//! The fit: variances, fixed effects, conditional effects, predictions.

use faer::linalg::solvers::{Llt, Solve};
use faer::{Mat, Side};

use super::data::{Data, DataError, Grouping, index};
use super::factor::{Factor, Inverse, Solution};
use super::optimise::{Limits, Search, minimise};
use super::profile::{Point, Profile};
use super::start::{start, units};

/// When the search stops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Decrease of the criterion that another step still promises, below which
    /// the search ends.
    pub decrease_min: f64,
    pub iterations_max: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            decrease_min: 1e-10,
            iterations_max: 200,
        }
    }
}

/// Largest relative variance; a search that gets there has found no residual
/// variance to hold the groupings against.
const RELATIVE_VARIANCE_MAX: f64 = 1e9;

/// Relative variance from which on the residual one is as good as zero: its
/// standard deviation is a ten-thousandth of the grouping's.
const RESIDUAL_LOST: f64 = 1e8;

/// Dense order and rows up to which an evaluation takes well under a millisecond,
/// so that a handful of searches cost nothing that anyone notices.
const CHEAP_ORDER_MAX: usize = 100;
const CHEAP_ROWS_MAX: usize = 5_000;

/// Minima of the criterion closer than this are one.
const SAME_MINIMUM: f64 = 1e-8;

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// −2 × the restricted log-likelihood at the estimates.
    pub criterion: f64,
    /// Residual variance, in squared units of the response.
    pub residual_variance: f64,
    /// One for each grouping, in the order given.
    pub groupings: Vec<GroupingFit>,
    pub fixed: Vec<FixedEffect>,
    /// Covariance of the fixed effects, by rows, in the order of `fixed`.
    pub fixed_covariance: Vec<Vec<f64>>,
    /// Columns that are combinations of those before them, and were left out.
    pub dropped: Vec<String>,
    pub convergence: Convergence,
}

/// A fixed effect's estimate.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedEffect {
    pub name: String,
    pub estimate: f64,
    pub standard_error: f64,
}

/// A grouping's variance and the conditional effects of its levels.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupingFit {
    pub name: String,
    /// In squared units of the response.
    pub variance: f64,
    pub levels: Vec<LevelEffect>,
}

/// A level's effect, given the data and the variances.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelEffect {
    pub level: String,
    /// Conditional mean, also called best linear unbiased prediction.
    pub mean: f64,
    /// Conditional standard deviation with the fixed effects taken as known.
    pub sd: f64,
}

/// How the search for the variances ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Convergence {
    pub converged: bool,
    pub iterations: usize,
    /// Times the equations were factored.
    pub evaluations: usize,
    /// Largest slope of the criterion along ln τ; zero at the boundary.
    pub gradient_norm: f64,
    /// Decrease of the criterion that another step still promised.
    pub decrease_promised: f64,
    /// For each grouping: its variance is zero, and the criterion rises from there.
    pub at_boundary: Vec<bool>,
    /// The residual variance runs to zero: within the levels of some grouping
    /// next to nothing varies, and the criterion has no minimum worth the name.
    pub unbounded: bool,
}

/// A fitted model with its equations, for predictions and covariances.
#[derive(Debug)]
pub struct Fitted<'a> {
    fit: Fit,
    point: Point<'a>,
    fixed_block: Mat<f64>,
}

/// What a new row would be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    pub mean: f64,
    /// Variance of the estimated linear predictor around the true one, seen
    /// levels and fixed effects included.
    pub variance_known: f64,
    /// Variance that levels not seen before add.
    pub variance_unseen: f64,
    pub variance_residual: f64,
}

impl Prediction {
    /// Standard deviation of a new row around `mean`, the variances taken as known.
    pub fn sd(&self) -> f64 {
        (self.variance_known + self.variance_unseen + self.variance_residual).sqrt()
    }
}

/// Fits by restricted maximum likelihood.
///
/// # Errors
/// What [`DataError`] lists. A search that did not converge is no error: see
/// [`Convergence`].
pub fn fit(data: &Data, options: Options) -> Result<Fit, DataError> {
    let profile = Profile::new(data)?;
    Ok(profile.fit(data, options)?.fit)
}

impl Profile {
    /// Fits, and keeps the equations for predictions and covariances.
    ///
    /// `data` are those the profile was made of.
    ///
    /// # Errors
    /// [`DataError::Singular`].
    pub fn fit(&self, data: &Data, options: Options) -> Result<Fitted<'_>, DataError> {
        let search = self.search(options)?;
        Fitted::new(self, data, search)
    }

    /// Searches from the moments and, in case the criterion has more than one
    /// minimum, from elsewhere too.
    ///
    /// Where an evaluation costs next to nothing: from the middle, and from each
    /// grouping in turn holding nearly all of the variance, for it is groupings
    /// that can stand in for each other that make two minima. Where it does not:
    /// from the middle, if a variance came out as zero. So a boundary is not
    /// reported while an inner minimum lies lower.
    fn search(&self, options: Options) -> Result<Search<Point<'_>>, DataError> {
        let limits = Limits {
            decrease: options.decrease_min,
            iterations: options.iterations_max,
            ceiling: RELATIVE_VARIANCE_MAX,
        };
        let units = units(self.layout());
        let mut best = minimise(self, start(self.layout()), &units, limits)?;
        let mut others = Vec::new();
        if self.layout().cross.nrows() <= CHEAP_ORDER_MAX && self.layout().rows() <= CHEAP_ROWS_MAX
        {
            others.push(vec![1.0; units.len()]);
            if units.len() > 1 {
                others.extend((0..units.len()).map(|most| {
                    let of = |(k, unit): (usize, &f64)| if k == most { 10.0 } else { 0.1 * unit };
                    units.iter().enumerate().map(of).collect()
                }));
            }
        } else if best.x.iter().any(|tau| *tau <= 0.0) {
            others.push(vec![1.0; units.len()]);
        }
        for start in others {
            // A start that cannot be evaluated leads nowhere better.
            let Ok(mut other) = minimise(self, start, &units, limits) else {
                continue;
            };
            other.iterations += best.iterations;
            other.evaluations += best.evaluations;
            if other.point.criterion < best.point.criterion - SAME_MINIMUM {
                best = other;
            } else {
                (best.iterations, best.evaluations) = (other.iterations, other.evaluations);
            }
        }
        Ok(best)
    }
}

impl<'a> Fitted<'a> {
    fn new(profile: &Profile, data: &Data, search: Search<Point<'a>>) -> Result<Self, DataError> {
        let convergence = convergence(&search);
        let point = search.point;
        let factor = &point.factor;
        let basis = &factor.layout.basis;
        let residual_variance = point.squares / profile.freedom();
        let dense = factor.dense_inverse();
        let fixed_block = factor.fixed_block(&dense);
        let known = factor.inverse(&factor.without_fixed(&dense)?);
        let fixed_covariance = fixed_covariance(factor, &fixed_block, residual_variance);
        let estimates = basis.coefficients(&point.solution.gamma);
        let fixed = basis.kept.iter().zip(estimates).enumerate();
        let fixed = fixed.map(|(at, (&column, estimate))| FixedEffect {
            name: data.fixed[column].name.clone(),
            estimate,
            standard_error: fixed_covariance[at][at].sqrt(),
        });
        let fit = Fit {
            criterion: point.criterion,
            residual_variance,
            groupings: groupings(data, &point, &known, residual_variance),
            fixed: fixed.collect(),
            fixed_covariance,
            dropped: basis.dropped.clone(),
            convergence,
        };
        Ok(Self {
            fit,
            point,
            fixed_block,
        })
    }

    pub fn fit(&self) -> &Fit {
        &self.fit
    }

    pub fn into_fit(self) -> Fit {
        self.fit
    }
}

fn convergence(search: &Search<Point<'_>>) -> Convergence {
    let slope = search
        .x
        .iter()
        .zip(&search.slope.gradient)
        .map(|(tau, g)| (tau * g).abs());
    let at_boundary = search.x.iter().map(|tau| *tau <= 0.0).collect();
    Convergence {
        converged: search.converged,
        iterations: search.iterations,
        evaluations: search.evaluations,
        gradient_norm: slope.fold(0.0, f64::max),
        decrease_promised: search.promise.max(0.0),
        at_boundary,
        unbounded: search.x.iter().any(|tau| *tau >= RESIDUAL_LOST),
    }
}

/// σ² R⁻¹ C R⁻ᵀ, C the block of the fixed effects in the inverse.
fn fixed_covariance(
    factor: &Factor<'_>,
    block: &Mat<f64>,
    residual_variance: f64,
) -> Vec<Vec<f64>> {
    let basis = &factor.layout.basis;
    let order = basis.columns;
    // R⁻¹ C, column by column, then R⁻¹ of its transpose.
    let half: Vec<Vec<f64>> = (0..order)
        .map(|j| basis.back_substitute((0..order).map(|i| block[(i, j)]).collect()))
        .collect();
    let whole: Vec<Vec<f64>> = (0..order)
        .map(|i| basis.back_substitute((0..order).map(|j| half[j][i]).collect()))
        .collect();
    let scaled = whole
        .into_iter()
        .map(|row| row.into_iter().map(|v| v * residual_variance).collect());
    scaled.collect()
}

fn groupings(
    data: &Data,
    point: &Point<'_>,
    known: &Inverse,
    residual_variance: f64,
) -> Vec<GroupingFit> {
    let sd = residual_variance.sqrt();
    let of = |(k, grouping): (usize, &Grouping)| {
        let theta = point.factor.theta[k];
        let effects = point.solution.u[k].iter().zip(&known.diagonal[k]);
        let levels = grouping.levels().iter().zip(effects);
        GroupingFit {
            name: grouping.name().to_owned(),
            variance: point.factor.tau[k] * residual_variance,
            levels: levels
                .map(|(level, (u, diagonal))| LevelEffect {
                    level: level.clone(),
                    mean: theta * u,
                    sd: theta * sd * diagonal.max(0.0).sqrt(),
                })
                .collect(),
        }
    };
    data.groupings.iter().enumerate().map(of).collect()
}

impl Fitted<'_> {
    /// What a new row would be.
    ///
    /// `x` holds the values of the fixed effects in the order of [`Fit::fixed`],
    /// `levels` the code of each grouping's level, none for one not seen before.
    /// Values or levels that are missing count as zero and as not seen.
    pub fn predict(&self, x: &[f64], levels: &[Option<u32>]) -> Prediction {
        let factor = &self.point.factor;
        let mut row: Vec<f64> = x.to_vec();
        row.resize(self.fit.fixed.len(), 0.0);
        let fixed = self.fit.fixed.iter().zip(&row);
        let mut mean: f64 = fixed.map(|(effect, x)| effect.estimate * x).sum();
        let mut right = self.nothing();
        right.gamma = factor.layout.basis.coordinates(row);
        let mut unseen = 0.0;
        for (k, grouping) in self.fit.groupings.iter().enumerate() {
            let level = levels.get(k).copied().flatten().map(index);
            match level.and_then(|level| Some((level, grouping.levels.get(level)?))) {
                None => unseen += grouping.variance,
                Some((level, effect)) => {
                    mean += effect.mean;
                    right.u[k][level] = factor.theta[k];
                }
            }
        }
        let solved = factor.solve(right.clone());
        Prediction {
            mean,
            variance_known: self.fit.residual_variance * inner(&right, &solved),
            variance_unseen: unseen,
            variance_residual: self.fit.residual_variance,
        }
    }

    /// Conditional covariance of two levels' effects, the fixed effects taken as
    /// known; each a grouping and the code of a level. None where there is no such level.
    pub fn covariance(&self, one: (usize, u32), other: (usize, u32)) -> Option<f64> {
        let factor = &self.point.factor;
        let at = |(k, level): (usize, u32)| {
            let level = index(level);
            self.fit.groupings.get(k)?.levels.get(level)?;
            let mut right = self.nothing();
            right.u[k][level] = factor.theta[k];
            Some(right)
        };
        let (right, other) = (at(one)?, at(other)?);
        let solved = factor.solve(right);
        let around = factor.solve(other.clone());
        // H⁻¹ holds the doubt about the fixed effects; their block tells how much.
        let order = solved.gamma.len();
        let gamma = Mat::from_fn(order, 1, |i, _| solved.gamma[i]);
        let block = Llt::new(self.fixed_block.as_ref(), Side::Lower).ok()?;
        let weighted = block.solve(gamma);
        let doubt: f64 = (0..order).map(|i| weighted[(i, 0)] * around.gamma[i]).sum();
        Some(self.fit.residual_variance * (inner(&other, &solved) - doubt))
    }

    fn nothing(&self) -> Solution {
        Solution {
            u: self
                .fit
                .groupings
                .iter()
                .map(|one| vec![0.0; one.levels.len()])
                .collect(),
            gamma: vec![0.0; self.fit.fixed.len()],
        }
    }
}

fn inner(one: &Solution, other: &Solution) -> f64 {
    let effects = one.u.iter().flatten().zip(other.u.iter().flatten());
    let fixed = one.gamma.iter().zip(&other.gamma);
    effects.chain(fixed).map(|(a, b)| a * b).sum()
}
