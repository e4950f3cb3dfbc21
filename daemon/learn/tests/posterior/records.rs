//! What a fit does with records, and which it refuses.

use baywright_learn::posterior::{
    Factor, FitError, Model, Normal, Records, Row, Spread, Term, fit,
};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};

pub(crate) const LEVELS: usize = 5;

pub(crate) fn model() -> Model {
    let factor = |name: &str| Factor {
        name: name.into(),
        spread: Spread { scale: 0.25 },
    };
    Model {
        intercept: Normal { mean: 0.0, sd: 0.2 },
        slopes: vec![("x".into(), Normal { mean: 0.2, sd: 0.1 })],
        factors: vec![factor("a"), factor("b")],
        unit: Spread { scale: 0.2 },
        noise_median: 0.22,
        noise_log_sd: 0.4,
        noise_dof: 5.0,
    }
}

pub(crate) fn normal(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Normal records: `units` of four rows each, error 0.2, unit effect 0.1.
pub(crate) fn records(seed: u64, units: usize) -> Records {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let effects: Vec<f64> = (0..2 * LEVELS).map(|_| 0.2 * normal(&mut rng)).collect();
    let mut rows = Vec::new();
    for unit in 0..units {
        let a = rng.random_range(0..LEVELS);
        let own = 0.1 * normal(&mut rng);
        for b in 0..4 {
            let x = f64::from(rng.random_range(-2..=2_i32));
            let effect = effects[a] + effects[LEVELS + b];
            rows.push(row(
                unit,
                (a, b),
                x,
                effect + own + 0.2 * x + 0.2 * normal(&mut rng),
            ));
        }
    }
    Records {
        rows,
        units,
        levels: vec![LEVELS, LEVELS],
    }
}

pub(crate) fn row(unit: usize, (a, b): (usize, usize), x: f64, y: f64) -> Row {
    let term = |factor, level| Term {
        factor,
        level,
        weight: 1.0,
    };
    Row {
        y,
        unit,
        terms: vec![term(0, a), term(1, b)],
        slopes: vec![x],
        noise_factor: 1.0,
    }
}

#[test]
fn the_same_records_give_the_same_fit_bit_for_bit() {
    // Both engines: few rows, and more than six hundred.
    for units in [0, 20, 160] {
        let records = records(4, units);
        let (a, b) = (
            fit(&model(), &records).unwrap(),
            fit(&model(), &records).unwrap(),
        );
        assert_eq!(a.spreads(), b.spreads(), "{units}");
        assert_eq!(a.intercept(), b.intercept(), "{units}");
        assert_eq!(a.slopes(), b.slopes(), "{units}");
        for factor in 0..2 {
            assert_eq!(a.effects(factor), b.effects(factor), "{units}");
        }
        let cell = baywright_learn::posterior::Cell::default();
        let draws = |p: &baywright_learn::posterior::Posterior| {
            p.simulate(std::slice::from_ref(&cell), 500, 3, <_>::default())
        };
        assert_eq!(draws(&a), draws(&b), "{units}");
    }
}

/// The law of total variance: on average over records, not for each, since the same
/// records move the spreads.
#[test]
fn more_records_of_a_level_tell_more_of_its_effect() {
    let (mut without, mut with) = (0.0, 0.0);
    for seed in 1..=8 {
        let more = records(seed, 30);
        let mut none = more.clone();
        none.rows.retain(|row| row.terms[0].level != 3);
        let sd = |records: &Records| fit(&model(), records).unwrap().effects(0)[3].sd;
        without += sd(&none);
        with += sd(&more);
    }
    assert!(with < 0.9 * without, "seeds 1 to 8: {with} {without}");
}

#[test]
fn a_row_that_names_what_is_not_there_is_refused_by_its_place() {
    let good = records(7, 3);
    let refused = |change: &dyn Fn(&mut Records)| {
        let mut bad = good.clone();
        change(&mut bad);
        fit(&model(), &bad).err()
    };
    let row = 5;
    let cases: [(Option<FitError>, FitError); 8] = [
        (
            refused(&|r| r.rows[row].unit = 3),
            FitError::Unit {
                row,
                unit: 3,
                units: 3,
            },
        ),
        (
            refused(&|r| r.rows[row].terms[1].level = LEVELS),
            FitError::Level {
                row,
                factor: 1,
                level: LEVELS,
            },
        ),
        (
            refused(&|r| r.rows[row].terms[0].factor = 2),
            FitError::Level {
                row,
                factor: 2,
                level: good.rows[row].terms[0].level,
            },
        ),
        (
            refused(&|r| r.rows[row].slopes.push(1.0)),
            FitError::Slopes {
                row,
                given: 2,
                slopes: 1,
            },
        ),
        (
            refused(&|r| r.rows[row].y = f64::NAN),
            FitError::NotFinite { row },
        ),
        (
            refused(&|r| r.rows[row].noise_factor = 0.0),
            FitError::NotFinite { row },
        ),
        (
            refused(&|r| r.rows[row].terms[0].weight = f64::INFINITY),
            FitError::NotFinite { row },
        ),
        (
            refused(&|r| r.levels.truncate(1)),
            FitError::Levels {
                given: 1,
                factors: 2,
            },
        ),
    ];
    for (found, expected) in cases {
        assert_eq!(found, Some(expected));
    }
    assert_eq!(refused(&|_| ()), None);
}

#[test]
fn a_prior_that_is_none_is_refused() {
    let good = records(7, 3);
    let changes: [&dyn Fn(&mut Model); 6] = [
        &|m| m.noise_dof = f64::INFINITY,
        &|m| m.noise_dof = f64::NAN,
        &|m| m.noise_dof = 1.9,
        &|m| m.unit.scale = 0.0,
        &|m| m.factors[1].spread.scale = -0.1,
        &|m| m.slopes[0].1.mean = f64::NAN,
    ];
    for (at, change) in changes.into_iter().enumerate() {
        let mut bad = model();
        change(&mut bad);
        assert_eq!(fit(&bad, &good).err(), Some(FitError::Model), "{at}");
    }
}
