use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::conditional::{self, gradient};
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
    let posterior = fit(&model(), &shop(5, 30, 5), None).unwrap();
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
