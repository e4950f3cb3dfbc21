//! How wide predictions are.

use baywright_learn::posterior::{
    Cell, CellTerm, Level, Model, Options, Posterior, Records, Spread, fit, normal_core, quantile,
};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use crate::records::{LEVELS, model, normal, records};

fn variance(values: &[f64]) -> f64 {
    let n = f64::from(u32::try_from(values.len()).unwrap_or(1));
    let mean = values.iter().sum::<f64>() / n;
    values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)
}

fn cell(level: Level, x: f64) -> Cell {
    let term = |factor, level| CellTerm {
        factor,
        level,
        weight: 1.0,
    };
    Cell {
        terms: vec![term(0, level), term(1, Level::Known(1))],
        slopes: vec![x],
    }
}

/// Half of four in five of a prediction: from half to four in five.
fn upper(posterior: &Posterior) -> f64 {
    let draws = posterior.simulate(&[cell(Level::Known(1), 0.0)], 40_000, 8, Options::default());
    let mut values = draws.cell(0).to_vec();
    quantile(&mut values, 0.8).value - quantile(&mut values, 0.5).value
}

/// A half-normal spread of scale `s` has `E σ² = s²`; a log-normal one of median
/// `m` and log-sd `l` has `E σ² = m² e^{2l²}`. So the variance of a prediction before
/// any record is `sd₀² + x² sd₁² + Σ s² + s_u² + k² m² e^{2l²}`, `k` the normal core.
/// With 240 points for the prior and 200,000 draws 3 % is allowed.
#[test]
fn before_any_record_a_prediction_has_the_spread_of_the_prior() {
    let model = model();
    let nothing = Records {
        rows: Vec::new(),
        units: 0,
        levels: vec![LEVELS, LEVELS],
    };
    let posterior = fit(&model, &nothing).unwrap();
    let x = 1.5_f64;
    let noise = model.noise_median.powi(2) * (2.0 * model.noise_log_sd.powi(2)).exp();
    let effects = model.intercept.sd.powi(2)
        + (x * model.slopes[0].1.sd).powi(2)
        + 2.0 * model.factors[0].spread.scale.powi(2);
    let all = effects + model.unit.scale.powi(2) + normal_core(model.noise_dof).powi(2) * noise;
    for level in [Level::Unseen(0), Level::Known(2)] {
        let drawn = posterior.simulate(&[cell(level.clone(), x)], 200_000, 3, Options::default());
        let found = variance(drawn.cell(0));
        assert!((found / all - 1.0).abs() < 0.03, "{level:?}: {found} {all}");
        let (mean, sd) = posterior.linear(&cell(level.clone(), x));
        assert!(
            (mean - x * model.slopes[0].1.mean).abs() < 1e-9,
            "{level:?}: {mean}"
        );
        assert!((sd * sd / effects - 1.0).abs() < 0.03, "{level:?}: {sd}");
    }
}

#[test]
fn a_level_never_seen_is_drawn_from_the_spread_of_those_that_were() {
    let posterior = fit(&model(), &records(3, 60)).unwrap();
    let only = Options {
        unit: false,
        error: false,
        ..Options::default()
    };
    let drawn = |level| {
        let draws = posterior.simulate(&[cell(level, 0.0)], 100_000, 3, only);
        variance(draws.cell(0))
    };
    // A level out of range adds nothing, so the difference is the unseen one's.
    let found = drawn(Level::Unseen(0)) - drawn(Level::Known(usize::MAX));
    let points = posterior.spread_by_point(0);
    let expected: f64 = points.iter().map(|(weight, sd)| weight * sd * sd).sum();
    assert!((found / expected - 1.0).abs() < 0.05, "{found} {expected}");
}

/// Normal records of error 0.2 and unit effect 0.1: half to four in five of a new row
/// is 0.8416 √(0.2² + 0.1²) and a little for what is not known of the effects.
/// The core is scaled at the middle 80 % of a t, so a tenth is allowed.
#[test]
fn on_normal_records_a_prediction_has_their_spread() {
    for seed in [1, 2, 3] {
        let posterior = fit(&model(), &records(seed, 250)).unwrap();
        let found = upper(&posterior);
        let expected = 0.841_621 * 0.2_f64.hypot(0.1);
        assert!(
            (found / expected - 1.0).abs() < 0.1,
            "seed {seed}: {found} {expected}"
        );
    }
}

/// One row in 25 went on until somebody remembered: at least four times as long.
#[test]
fn forgotten_stops_widen_a_prediction_less_than_half_as_much_as_a_normal_error_would() {
    for seed in [1, 2, 3] {
        let clean = records(seed, 250);
        let mut slips = clean.clone();
        let mut rng = ChaCha12Rng::seed_from_u64(seed + 50);
        for row in &mut slips.rows {
            if rng.random_range(0..25) == 0 {
                row.y += 1.4 + 0.4 * normal(&mut rng).abs();
            }
        }
        let fitted = |model: &Model, records: &Records| upper(&fit(model, records).unwrap());
        let (without, with) = (fitted(&model(), &clean), fitted(&model(), &slips));
        // An error of the same records that is normal is widened by them.
        let normal = Model {
            noise_dof: 1e9,
            unit: Spread { ..model().unit },
            ..model()
        };
        let widened = fitted(&normal, &slips);
        let (grown, by_normal) = (with / without - 1.0, widened / without - 1.0);
        println!("seed {seed}: {grown:.3}, a normal error {by_normal:.3}");
        assert!(by_normal > 0.3, "seed {seed}: {by_normal}");
        // Tails of five degrees of freedom take most of them up, not all.
        assert!(
            grown.abs() < 0.5 * by_normal,
            "seed {seed}: {grown} {by_normal}"
        );
    }
}
