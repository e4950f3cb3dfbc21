use faer::Mat;
use faer::linalg::solvers::{DenseSolveCore as _, PartialPivLu, Solve as _};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::conditional::{self, gradient};
use super::fit::{Engine, fit_by};
use super::prepared::Prepared;
use super::*;

fn normal(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn model() -> Model {
    let factor = |name: &str, scale| Factor {
        name: name.into(),
        spread: Spread { scale },
    };
    Model {
        intercept: Normal { mean: 0.0, sd: 0.3 },
        slopes: vec![("x".into(), Normal { mean: 0.2, sd: 0.1 })],
        factors: vec![factor("a", 0.3), factor("b", 0.3), factor("a:b", 0.2)],
        unit: Spread { scale: 0.25 },
        noise_median: 0.25,
        noise_log_sd: 0.4,
        noise_dof: 5.0,
    }
}

fn shop(seed: u64, units: usize, rows_each: usize) -> Records {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let (a, b) = (8, rows_each);
    let effects: Vec<f64> = (0..a + b + a * b).map(|_| 0.2 * normal(&mut rng)).collect();
    let mut rows = Vec::new();
    for unit in 0..units {
        let at = rng.random_range(0..a);
        let own = 0.2 * normal(&mut rng);
        for k in 0..b {
            let x = f64::from(rng.random_range(-2..=2_i32));
            let y = 0.1
                + 0.2 * x
                + effects[at]
                + effects[a + k]
                + 0.5 * effects[a + b + at * b + k]
                + own
                + 0.25 * normal(&mut rng);
            let term = |factor, level| Term {
                factor,
                level,
                weight: 1.0,
            };
            rows.push(Row {
                y,
                unit,
                terms: vec![term(0, at), term(1, k), term(2, at * b + k)],
                slopes: vec![x],
                noise_factor: 1.0,
            });
        }
    }
    Records {
        rows,
        units,
        levels: vec![a, b, a * b],
    }
}

#[test]
fn the_gradient_is_that_of_the_log_posterior() {
    let (model, records) = (model(), shop(3, 12, 5));
    let prepared = Prepared::of(&model, &records).unwrap();
    let theta = vec![-1.4, -1.1, -2.0, -1.7, -1.3];
    let here = conditional::at(&model, &prepared, &theta, 1.5, None).unwrap();
    let exact = gradient(&here, &model, &prepared, 1.5).0;
    for k in 0..theta.len() {
        let at = |off: f64| {
            let mut moved = theta.clone();
            moved[k] += off;
            conditional::at(&model, &prepared, &moved, 1.5, Some(&here))
                .unwrap()
                .log_posterior
        };
        let by_difference = (at(1e-4) - at(-1e-4)) / 2e-4;
        assert!(
            (by_difference - exact[k]).abs() < 1e-4,
            "{k}: {by_difference} {}",
            exact[k]
        );
    }
}

#[test]
fn a_cell_moved_along_the_drawn_slopes_is_the_cell_at_that_place() {
    let posterior = fit(&model(), &shop(5, 30, 5)).unwrap();
    let cell = |x: f64| Cell {
        terms: vec![CellTerm {
            factor: 0,
            level: Level::Known(2),
            weight: 1.0,
        }],
        slopes: vec![x],
    };
    let options = Options {
        slopes: true,
        ..Options::default()
    };
    let here = posterior.simulate(&[cell(0.0)], 40_000, 9, options);
    let there = posterior.simulate(&[cell(2.0)], 40_000, 10, Options::default());
    assert!(there.slope(0).is_empty());
    let mut moved: Vec<f64> = here
        .cell(0)
        .iter()
        .zip(here.slope(0))
        .map(|(y, slope)| y + 2.0 * slope)
        .collect();
    let mut direct = there.cell(0).to_vec();
    for p in [0.1, 0.5, 0.8, 0.95] {
        let (a, b) = (quantile(&mut moved, p), quantile(&mut direct, p));
        let error = a.error.hypot(b.error);
        assert!((a.value - b.value).abs() < 4.0 * error, "{p}: {a:?} {b:?}");
    }
}

/// Degrees of freedom at which the Student t is a normal to ten digits.
const NEARLY_NORMAL: f64 = 1e10;

fn normal_model() -> Model {
    Model {
        noise_dof: NEARLY_NORMAL,
        ..model()
    }
}

fn point_of(model: &Model, records: &Records) -> (Prepared, conditional::Conditional) {
    let prepared = Prepared::of(model, records).unwrap();
    let theta: Vec<f64> = [0.2_f64, 0.15, 0.1, 0.2, 0.25]
        .iter()
        .map(|sd| sd.ln())
        .collect();
    let point = conditional::at(model, &prepared, &theta, 0.0, None).unwrap();
    (prepared, point)
}

/// Rows by coefficients, and the covariance of the errors with the unit effect in
/// it, written down entry by entry.
fn dense(prepared: &Prepared, unit_sd: f64, noise: f64) -> (Mat<f64>, Mat<f64>, Mat<f64>) {
    let (count, width) = (prepared.rows.len(), prepared.layout.width());
    let mut x = Mat::<f64>::zeros(count, width);
    for (at, row) in prepared.rows.iter().enumerate() {
        for (column, value) in prepared.x(row) {
            x[(at, *column)] += value;
        }
    }
    let y = Mat::from_fn(count, 1, |at, _| prepared.rows[at].y);
    let v = Mat::from_fn(count, count, |i, j| {
        let (one, other) = (&prepared.rows[i], &prepared.rows[j]);
        let shared = if one.unit == other.unit {
            unit_sd.powi(2)
        } else {
            0.0
        };
        let own = if i == j { (noise * one.c).powi(2) } else { 0.0 };
        shared + own
    });
    (x, y, v)
}

/// Mean and covariance of all coefficients by generalised least squares with the
/// prior as pseudo-records: `C = (XᵀV⁻¹X + D⁻¹)⁻¹`, `m = C (XᵀV⁻¹y + D⁻¹m₀)`
/// (Lindley and Smith 1972).
fn by_gls(model: &Model, prepared: &Prepared, sds: &[f64; 5]) -> (Mat<f64>, Mat<f64>) {
    let (x, y, v) = dense(prepared, sds[3], sds[4]);
    let inverse = PartialPivLu::new(v.as_ref()).inverse();
    let precision = conditional::prior_precision(model, prepared, &sds[..3]);
    let mean = conditional::prior_mean(model, prepared);
    let mut h = x.transpose() * &inverse * &x;
    let mut rhs = x.transpose() * &inverse * &y;
    for k in 0..precision.len() {
        h[(k, k)] += precision[k];
        rhs[(k, 0)] += precision[k] * mean[k];
    }
    let cov = PartialPivLu::new(h.as_ref()).inverse();
    (&cov * &rhs, cov)
}

const SDS: [f64; 5] = [0.2, 0.15, 0.1, 0.2, 0.25];

#[test]
fn at_fixed_spreads_the_effects_are_those_of_dense_least_squares() {
    let (model, mut records) = (normal_model(), shop(11, 14, 4));
    // Some rows are sums over levels, and some errors are smaller.
    for (at, row) in records.rows.iter_mut().enumerate() {
        if at % 5 == 0 {
            row.noise_factor = 0.6;
            let second = Term {
                factor: 1,
                level: (row.terms[1].level + 1) % 4,
                weight: 0.4,
            };
            row.terms[1].weight = 0.6;
            row.terms.push(second);
        }
        if at % 7 == 0 {
            // The same level twice is one level.
            let again = row.terms[0];
            row.terms[0].weight = 0.3;
            row.terms.push(Term {
                weight: 0.7,
                ..again
            });
        }
    }
    let (prepared, point) = point_of(&model, &records);
    let (mean, cov) = by_gls(&model, &prepared, &SDS);
    let found = point.factor.inverse();
    for i in 0..prepared.layout.width() {
        let off = (point.mode[i] - mean[(i, 0)]).abs();
        assert!(off < 1e-8, "mean of {i}: {off}");
        for j in 0..=i {
            let off = (found[(i, j)] - cov[(i, j)]).abs();
            assert!(off < 1e-8, "covariance of {i} and {j}: {off}");
        }
    }
    // A unit's effect given all: τ² 1ᵀV⁻¹ (y − Xm) over its rows.
    let (x, y, v) = dense(&prepared, SDS[3], SDS[4]);
    let weighed = PartialPivLu::new(v.as_ref()).solve(&(&y - &x * &mean));
    for (unit, mode) in point.unit_mode.iter().enumerate() {
        let rows = prepared.units[unit].rows.iter();
        let sum: f64 = rows.map(|row| weighed[(*row, 0)]).sum();
        let off = (SDS[3].powi(2) * sum - mode).abs();
        assert!(off < 1e-8, "unit {unit}: {off}");
    }
}

#[test]
fn a_level_named_twice_by_a_row_is_that_level_once() {
    let once = shop(2, 9, 3);
    let mut twice = once.clone();
    for row in &mut twice.rows {
        let half = Term {
            weight: 0.5,
            ..row.terms[1]
        };
        row.terms[1] = half;
        row.terms.push(half);
    }
    let model = model();
    let once = fit(&model, &once).unwrap();
    let twice = fit(&model, &twice).unwrap();
    assert_eq!(once.effects(1), twice.effects(1));
    assert_eq!(once.spreads(), twice.spreads());
}

#[test]
fn a_unit_left_out_is_a_fit_without_it_at_the_same_spreads() {
    let (model, records) = (normal_model(), shop(21, 12, 4));
    let posterior = fit(&model, &records).unwrap();
    let point = &posterior.centre;
    let theta: Vec<f64> = point.factor_sds.iter().map(|sd| sd.ln()).collect();
    let theta: Vec<f64> = theta
        .into_iter()
        .chain([point.unit_sd.ln(), point.noise.ln()])
        .collect();
    for unit in [0, 5, 11] {
        let left_out = posterior.left_out(unit).unwrap();
        let mut others = records.clone();
        others.rows.retain(|row| row.unit != unit);
        let without = Prepared::of(&model, &others).unwrap();
        let without = conditional::at(&model, &without, &theta, 0.0, None).unwrap();
        let cov = without.factor.inverse();
        let prepared = &posterior.prepared;
        let x = |k: usize| prepared.x(&prepared.rows[left_out.rows[k]]);
        for i in 0..left_out.rows.len() {
            let mean: f64 = x(i).iter().map(|(c, v)| v * without.mode[*c]).sum();
            let off = (mean - left_out.mean[i]).abs();
            assert!(off < 1e-8, "unit {unit}, row {i}: {off}");
            for j in 0..left_out.rows.len() {
                let of_pair = |(a, va): &(usize, f64)| -> f64 {
                    x(j).iter().map(|(b, vb)| va * vb * cov[(*a, *b)]).sum()
                };
                let effects: f64 = x(i).iter().map(of_pair).sum();
                let own = if i == j { point.noise.powi(2) } else { 0.0 };
                let expected = effects + point.unit_sd.powi(2) + own;
                let off = (expected - left_out.covariance[i][j]).abs();
                assert!(off < 1e-8, "unit {unit}, rows {i} and {j}: {off}");
            }
        }
    }
}

fn cells() -> Vec<Cell> {
    let known = |factor, level| CellTerm {
        factor,
        level: Level::Known(level),
        weight: 1.0,
    };
    let cell = |k: usize| Cell {
        terms: vec![known(0, 2), known(1, k), known(2, 2 * 5 + k)],
        slopes: vec![1.0],
    };
    (0..5).map(cell).collect()
}

/// The chain keeps 150 points, which are worth about a third of that by themselves
/// (autocorrelated): the standard error of a spread's median is about
/// 1.25 sd / √50. Three of these each way, and two hundredths for Laplace's part.
#[test]
fn both_engines_say_the_same_of_the_same_records() {
    let (model, records) = (model(), shop(31, 110, 5));
    let exact = fit_by(Engine::Gibbs, &model, &records).unwrap();
    let near = fit_by(Engine::Points, &model, &records).unwrap();
    for (at, (a, b)) in exact.spreads().iter().zip(near.spreads()).enumerate() {
        // Four in five reach over 2.56 deviations.
        let sd = ((a.high - a.low) / 2.56).max((b.high - b.low) / 2.56);
        let error = 1.25 * sd / 50.0_f64.sqrt();
        let allowed = 3.0 * error * std::f64::consts::SQRT_2;
        let off = (a.median - b.median).abs();
        assert!(off < allowed, "spread {at}: {a:?} {b:?}");
    }
    let bases = [30.0, 45.0, 60.0, 75.0, 90.0];
    let total = |posterior: &Posterior| {
        let draws = posterior.simulate(&cells(), 20_000, 5, Options::default());
        draws.total(&bases)
    };
    let (mut a, mut b) = (total(&exact), total(&near));
    for p in [0.5, 0.8] {
        let (a, b) = (quantile(&mut a, p), quantile(&mut b, p));
        let drawn = a.error.hypot(b.error) / a.value;
        let off = (a.value / b.value - 1.0).abs();
        assert!(off < 3.0 * drawn + 0.02, "{p}: {a:?} {b:?}");
    }
}

#[test]
fn the_mean_and_spread_of_a_cell_are_those_of_its_draws_whatever_it_names() {
    let posterior = fit(&model(), &shop(5, 30, 5)).unwrap();
    let term = |factor, level| CellTerm {
        factor,
        level,
        weight: 0.8,
    };
    let one_of = |levels: &[(usize, f64)]| Level::OneOf(levels.to_vec());
    let cases: [(&str, Vec<CellTerm>); 7] = [
        ("a level that is none", vec![term(0, Level::Known(99))]),
        ("a factor that is none", vec![term(9, Level::Unseen(0))]),
        ("the factor after the last", vec![term(3, Level::Known(0))]),
        ("no choice", vec![term(0, one_of(&[]))]),
        ("no share", vec![term(0, one_of(&[(1, 0.0), (2, 0.0)]))]),
        (
            "choices, one of them none",
            vec![term(0, one_of(&[(1, 2.0), (99, 5.0), (2, 1.0)]))],
        ),
        (
            "one unseen level twice, and another",
            vec![
                term(1, Level::Unseen(4)),
                term(1, Level::Unseen(4)),
                term(1, Level::Unseen(5)),
            ],
        ),
    ];
    let options = Options {
        unit: false,
        error: false,
        ..Options::default()
    };
    let plain = posterior.linear(&Cell::default());
    for (at, (case, terms)) in cases.into_iter().enumerate() {
        let cell = Cell {
            terms,
            slopes: vec![0.0],
        };
        let (mean, sd) = posterior.linear(&cell);
        if at < 5 {
            assert!((mean - plain.0).abs() < 1e-12, "{case}");
            assert!((sd - plain.1).abs() < 1e-12, "{case}");
        }
        let draws = posterior.simulate(&[cell], 60_000, 17, options);
        let (drawn, spread) = moments(draws.cell(0));
        let root = 60_000.0_f64.sqrt();
        assert!(
            (drawn - mean).abs() < 5.0 * sd / root,
            "{case}: {drawn} {mean}"
        );
        // A mixture over points has heavier tails than a normal: kurtosis up to 9.
        assert!(
            (spread - sd).abs() < 5.0 * sd * 2.0_f64.sqrt() / root,
            "{case}: {spread} {sd}"
        );
    }
}

fn moments(values: &[f64]) -> (f64, f64) {
    let n = conditional::to_f64(values.len());
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    (mean, (squares / (n - 1.0)).sqrt())
}
