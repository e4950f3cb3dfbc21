//! Minimises a smooth function of a few variables that must not be negative.
//!
//! Newton's method with an approximate curvature that is never indefinite (the
//! average information). Each step minimises the quadratic model within the
//! bounds, and is shortened until the function itself has come down. A variable
//! at zero stays there as long as its slope from the right is not negative, and
//! is let go as soon as it is.

use faer::linalg::solvers::{Llt, Solve};
use faer::{Mat, Side};

use super::data::DataError;

/// A function with first derivatives and a curvature.
pub(super) trait Surface {
    type Point<'a>
    where
        Self: 'a;

    fn at(&self, x: &[f64]) -> Result<Self::Point<'_>, DataError>;
    fn value(point: &Self::Point<'_>) -> f64;
    fn slope(&self, point: &Self::Point<'_>) -> Slope;
}

/// Derivatives at a point; at zero those from the right.
#[derive(Debug, Clone)]
pub(super) struct Slope {
    pub(super) gradient: Vec<f64>,
    /// Symmetric and not indefinite.
    pub(super) curvature: Mat<f64>,
}

/// Where and when to stop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits {
    /// Decrease that another step still promises, below which it is not made.
    pub(super) decrease: f64,
    pub(super) iterations: usize,
    /// Largest value of a variable.
    pub(super) ceiling: f64,
}

/// How a search ended.
#[derive(Debug)]
pub(super) struct Search<P> {
    pub(super) x: Vec<f64>,
    pub(super) point: P,
    pub(super) slope: Slope,
    pub(super) iterations: usize,
    pub(super) evaluations: usize,
    /// Half the promised decrease at the end.
    pub(super) promise: f64,
    pub(super) converged: bool,
}

/// A step may multiply a variable by this, or its unit where that is larger.
const GROWTH_MAX: f64 = 20.0;

/// A step is shortened at most so often; then rounding hides any decrease.
const SHORTENINGS_MAX: usize = 30;

/// Part of the promised decrease that a step must bring (Armijo).
const DECREASE_SHARE: f64 = 1e-4;

/// Steps in a row that bring nothing rounding lets one see; then it is over.
const STALLS_MAX: usize = 3;

/// What may still be promised when rounding ends a search that converged.
const PROMISE_HIDDEN_MAX: f64 = 1e-6;

/// Digits of the function that can be trusted, relative to its size.
const NOISE: f64 = 4e-15;

/// Minimises from `start`; `unit` is the natural size of each variable.
pub(super) fn minimise<'s, S: Surface>(
    surface: &'s S,
    start: Vec<f64>,
    unit: &[f64],
    limits: Limits,
) -> Result<Search<S::Point<'s>>, DataError> {
    let point = surface.at(&start)?;
    let slope = surface.slope(&point);
    let mut search = Search {
        x: start,
        point,
        slope,
        iterations: 0,
        evaluations: 1,
        promise: f64::INFINITY,
        converged: false,
    };
    let mut stalled = 0;
    while search.iterations < limits.iterations {
        let step = bounded_step(&search.x, &search.slope, unit, limits.ceiling);
        search.promise = promised(&search.slope, &step);
        let value = S::value(&search.point);
        // Large variables beside a one make the equations ill-conditioned.
        let largest = search.x.iter().fold(1.0_f64, |most, x| most.max(*x));
        let noise = NOISE * (1.0 + value.abs()) * largest.sqrt();
        if search.promise <= limits.decrease.max(noise) {
            search.converged = true;
            break;
        }
        search.iterations += 1;
        let moved = advance(surface, &mut search, &step, noise);
        let gained = value - S::value(&search.point) > noise;
        stalled = if gained { 0 } else { stalled + 1 };
        if !moved || stalled == STALLS_MAX {
            // Rounding hides what the model still promises; little of it is enough.
            search.converged = search.promise <= PROMISE_HIDDEN_MAX.max(limits.decrease);
            break;
        }
        search.slope = surface.slope(&search.point);
    }
    Ok(search)
}

/// Moves along `step` as far as the function comes down; false where it does not.
fn advance<'s, S: Surface>(
    surface: &'s S,
    search: &mut Search<S::Point<'s>>,
    step: &[f64],
    noise: f64,
) -> bool {
    let value = S::value(&search.point);
    let along: f64 = step
        .iter()
        .zip(&search.slope.gradient)
        .map(|(s, g)| s * g)
        .sum();
    let mut length = 1.0;
    for _ in 0..SHORTENINGS_MAX {
        let moved = search.x.iter().zip(step);
        let moved: Vec<f64> = moved.map(|(x, s)| (x + length * s).max(0.0)).collect();
        search.evaluations += 1;
        let found = surface.at(&moved).ok();
        let reached = found.as_ref().map_or(f64::INFINITY, S::value);
        if let Some(point) = found
            && reached <= value + DECREASE_SHARE * length * along + noise
        {
            search.x = moved;
            search.point = point;
            return true;
        }
        // The parabola through both values and the slope, kept within bounds.
        let rise = reached - value - length * along;
        let best = -along * length * length / (2.0 * rise);
        length = if best.is_finite() {
            best.clamp(0.1 * length, 0.5 * length)
        } else {
            0.1 * length
        };
    }
    false
}

/// Decrease of the quadratic model along a step.
fn promised(slope: &Slope, step: &[f64]) -> f64 {
    let mut sum = 0.0;
    for (k, step_k) in step.iter().enumerate() {
        sum -= slope.gradient[k] * step_k;
        for (l, step_l) in step.iter().enumerate() {
            sum -= 0.5 * slope.curvature[(l, k)] * step_k * step_l;
        }
    }
    sum
}

/// The step to the least of the quadratic model within the bounds.
///
/// Variables that the model drives through a bound are set on it, the rest is
/// solved for again, until all are inside.
fn bounded_step(x: &[f64], slope: &Slope, unit: &[f64], ceiling: f64) -> Vec<f64> {
    let low = |k: usize| -x[k];
    let high = |k: usize| (x[k].max(unit[k]) * GROWTH_MAX).min(ceiling) - x[k];
    let mut step = vec![0.0; x.len()];
    // At zero with the function rising: out of this step.
    let mut free: Vec<usize> = (0..x.len())
        .filter(|&k| x[k] > 0.0 || slope.gradient[k] < 0.0)
        .collect();
    while !free.is_empty() {
        let solved = newton(slope, &step, &free);
        for (&k, value) in free.iter().zip(&solved) {
            step[k] = value.clamp(low(k), high(k).max(low(k)));
        }
        let inside =
            |(k, value): (&usize, &f64)| (low(*k)..=high(*k)).contains(value).then_some(*k);
        let still: Vec<usize> = free.iter().zip(&solved).filter_map(inside).collect();
        if still.len() == free.len() {
            break;
        }
        free = still;
    }
    // Clamping one after another need not lead downhill; the slope does.
    if promised(slope, &step) <= 0.0 && steepest_is_open(x, slope) {
        for (k, value) in step.iter_mut().enumerate() {
            let curvature = slope.curvature[(k, k)].max(f64::MIN_POSITIVE);
            *value = (-slope.gradient[k] / curvature).clamp(low(k), high(k).max(low(k)));
        }
        let along: f64 = step.iter().zip(&slope.gradient).map(|(s, g)| s * g).sum();
        let bend = -promised(slope, &step) - along;
        if bend > 0.0 && -along < 2.0 * bend {
            let shorter = -along / (2.0 * bend);
            for value in &mut step {
                *value *= shorter;
            }
        }
    }
    step
}

fn steepest_is_open(x: &[f64], slope: &Slope) -> bool {
    (0..x.len()).any(|k| slope.gradient[k] < 0.0 || (x[k] > 0.0 && slope.gradient[k] > 0.0))
}

/// −B⁻¹ (g + B s) for the free variables, `step` holding those on a bound.
fn newton(slope: &Slope, step: &[f64], free: &[usize]) -> Vec<f64> {
    let order = free.len();
    let mut right = Mat::zeros(order, 1);
    for (at, &k) in free.iter().enumerate() {
        right[(at, 0)] = -slope.gradient[k];
        for (l, value) in step.iter().enumerate() {
            if !free.contains(&l) {
                right[(at, 0)] -= slope.curvature[(k, l)] * value;
            }
        }
    }
    // Scaled to a unit diagonal; a ridge grows until the factor exists.
    let size = |k: usize| slope.curvature[(k, k)].max(f64::MIN_POSITIVE).sqrt();
    let mut ridge = 1e-12;
    while ridge < 1e12 {
        let scaled = Mat::from_fn(order, order, |i, j| {
            let (k, l) = (free[i], free[j]);
            let own = slope.curvature[(k, l)] / (size(k) * size(l));
            if i == j { own + ridge } else { own }
        });
        if let Ok(llt) = Llt::new(scaled.as_ref(), Side::Lower) {
            let scaled_right = Mat::from_fn(order, 1, |i, _| right[(i, 0)] / size(free[i]));
            let solved = llt.solve(scaled_right);
            let step: Vec<f64> = (0..order).map(|i| solved[(i, 0)] / size(free[i])).collect();
            if step.iter().all(|value| value.is_finite()) {
                return step;
            }
        }
        ridge *= 100.0;
    }
    vec![0.0; order]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (x − c₀)² + (y − c₁)² + s x y, refused where a variable is above a wall.
    struct Bowl {
        centre: [f64; 2],
        shared: f64,
        wall: f64,
    }

    struct Place {
        x: [f64; 2],
        value: f64,
    }

    impl Surface for Bowl {
        type Point<'a> = Place;

        fn at(&self, x: &[f64]) -> Result<Place, DataError> {
            if x.iter().any(|x| *x > self.wall) {
                return Err(DataError::Singular);
            }
            let away = [x[0] - self.centre[0], x[1] - self.centre[1]];
            let value = away[0] * away[0] + away[1] * away[1] + self.shared * x[0] * x[1];
            Ok(Place {
                x: [x[0], x[1]],
                value,
            })
        }

        fn value(place: &Place) -> f64 {
            place.value
        }

        fn slope(&self, place: &Place) -> Slope {
            let [x, y] = place.x;
            let of =
                |own: f64, other: f64, k: usize| 2.0 * (own - self.centre[k]) + self.shared * other;
            Slope {
                gradient: vec![of(x, y, 0), of(y, x, 1)],
                curvature: Mat::from_fn(2, 2, |i, j| if i == j { 2.0 } else { self.shared }),
            }
        }
    }

    const LIMITS: Limits = Limits {
        decrease: 1e-12,
        iterations: 100,
        ceiling: 1e6,
    };

    fn found(bowl: &Bowl, start: [f64; 2]) -> Result<Vec<f64>, DataError> {
        let search = minimise(bowl, start.to_vec(), &[1.0, 1.0], LIMITS)?;
        assert!(search.converged);
        Ok(search.x)
    }

    fn close(found: &[f64], expected: [f64; 2]) {
        let apart = found.iter().zip(expected).map(|(a, b)| (a - b).abs());
        assert!(
            apart.fold(0.0, f64::max) < 1e-5,
            "{found:?} is not {expected:?}"
        );
    }

    #[test]
    fn a_variable_at_zero_is_let_go_where_the_function_falls() -> Result<(), DataError> {
        let bowl = Bowl {
            centre: [1.0, -1.0],
            shared: 0.0,
            wall: 1e9,
        };
        close(&found(&bowl, [0.0, 0.0])?, [1.0, 0.0]);
        close(&found(&bowl, [0.0, 5.0])?, [1.0, 0.0]);
        Ok(())
    }

    #[test]
    fn the_others_are_solved_for_again_when_one_meets_its_bound() -> Result<(), DataError> {
        // Without bounds the minimum is at (1.6, −0.2); with y at zero, x is at 1.5.
        let bowl = Bowl {
            centre: [1.5, 0.6],
            shared: 1.0,
            wall: 1e9,
        };
        let at_bound = [1.5, 0.0];
        close(&found(&bowl, [3.0, 3.0])?, at_bound);
        close(&found(&bowl, [0.0, 3.0])?, at_bound);
        Ok(())
    }

    #[test]
    fn a_step_into_what_cannot_be_evaluated_is_shortened() -> Result<(), DataError> {
        let bowl = Bowl {
            centre: [2.0, 3.0],
            shared: 0.0,
            wall: 3.1,
        };
        close(&found(&bowl, [0.5, 0.1])?, [2.0, 3.0]);
        let beyond = Bowl {
            centre: [2.0, 9.0],
            shared: 0.0,
            wall: 3.1,
        };
        let search = minimise(&beyond, vec![1.0, 1.0], &[1.0, 1.0], LIMITS)?;
        assert!(!search.converged, "stopped at a wall, not at a minimum");
        Ok(())
    }

    #[test]
    fn a_ceiling_holds() -> Result<(), DataError> {
        let bowl = Bowl {
            centre: [2e7, 1.0],
            shared: 0.0,
            wall: 1e9,
        };
        let search = minimise(&bowl, vec![1.0, 1.0], &[1.0, 1.0], LIMITS)?;
        close(&search.x, [1e6, 1.0]);
        Ok(())
    }
}
