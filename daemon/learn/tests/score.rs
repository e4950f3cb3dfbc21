//! Scores against values of general-purpose reference libraries.
//!
//! `tests/outside/data/score`: pinball losses by scikit-learn 1.9, CRPS by the
//! closed form and by definition in numpy 2.4, Clopper-Pearson and Wilson ranges
//! by scipy and statsmodels 0.15, interval scores cross-checked through the
//! pinball identity. Tolerances are those that came with the values.

use std::path::PathBuf;

use baywright_learn::score::{
    clopper_pearson, crps_ensemble, crps_log_normal, crps_normal, interval_score, log_normal_of,
    pinball, wilson,
};
use proptest::prelude::*;

type Failure = Box<dyn std::error::Error>;

fn file(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../tests/outside/data/score")
        .join(name)
}

/// Rows as words, without the header.
fn rows(name: &str) -> Result<Vec<Vec<String>>, Failure> {
    let mut reader = csv::Reader::from_path(file(name))?;
    let rows: Result<Vec<_>, _> = reader.records().collect();
    let words = |row: csv::StringRecord| row.iter().map(str::to_owned).collect();
    let rows: Vec<Vec<String>> = rows?.into_iter().map(words).collect();
    assert!(!rows.is_empty(), "{name} is empty");
    Ok(rows)
}

fn numbers(words: &str) -> Result<Vec<f64>, Failure> {
    Ok(words
        .split_whitespace()
        .map(str::parse)
        .collect::<Result<_, _>>()?)
}

#[test]
fn pinball_losses_are_those_of_the_reference() -> Result<(), Failure> {
    for row in rows("pinball.csv")? {
        let (actual, predicted) = (numbers(&row[1])?, numbers(&row[2])?);
        let (share, expected, tolerance): (f64, f64, f64) =
            (row[3].parse()?, row[4].parse()?, row[5].parse()?);
        let losses = actual
            .iter()
            .zip(&predicted)
            .map(|(y, q)| pinball(*y, *q, share));
        let mean = losses.sum::<f64>() / f64::from(u32::try_from(actual.len())?);
        assert!(
            (mean - expected).abs() <= tolerance,
            "{}: {mean} {expected}",
            row[0]
        );
    }
    Ok(())
}

#[test]
fn ranked_probability_scores_are_those_of_the_reference() -> Result<(), Failure> {
    for row in rows("crps_gaussian.csv")? {
        let v: Vec<f64> = row[1..]
            .iter()
            .map(|w| w.parse())
            .collect::<Result<_, _>>()?;
        let found = crps_normal(v[0], v[1], v[2]);
        assert!((found - v[3]).abs() <= v[4], "{}: {found} {}", row[0], v[3]);
    }
    for row in rows("crps_ensemble.csv")? {
        let (expected, tolerance): (f64, f64) = (row[3].parse()?, row[4].parse()?);
        let found = crps_ensemble(row[1].parse()?, &numbers(&row[2])?);
        assert!(
            (found - expected).abs() <= tolerance,
            "{}: {found} {expected}",
            row[0]
        );
    }
    Ok(())
}

#[test]
fn ranges_of_a_counted_share_are_those_of_the_reference() -> Result<(), Failure> {
    for row in rows("coverage_ci.csv")? {
        let (of, held): (u32, u32) = (row[1].parse()?, row[2].parse()?);
        let v: Vec<f64> = row[3..]
            .iter()
            .map(|w| w.parse())
            .collect::<Result<_, _>>()?;
        let exact = clopper_pearson(held, of, 0.95);
        let score = wilson(held, of, 0.95);
        for (found, expected) in [
            (exact.0, v[0]),
            (exact.1, v[1]),
            (score.0, v[2]),
            (score.1, v[3]),
        ] {
            assert!(
                (found - expected).abs() <= v[4],
                "{}: {found} {expected}",
                row[0]
            );
        }
    }
    Ok(())
}

#[test]
fn interval_scores_are_those_of_the_reference() -> Result<(), Failure> {
    let text = std::fs::read_to_string(file("intervals.json"))?;
    let value: serde_json::Value = serde_json::from_str(&text)?;
    let cases = value["cases"].as_array().ok_or("no cases")?;
    for case in cases {
        let list = |name: &str| -> Vec<f64> {
            let values = case[name].as_array().cloned().unwrap_or_default();
            values
                .iter()
                .filter_map(serde_json::Value::as_f64)
                .collect()
        };
        let (low, high, y) = (list("lower"), list("upper"), list("y"));
        let alpha = case["alpha"].as_f64().ok_or("no alpha")?;
        let sum: f64 = (0..y.len())
            .map(|k| interval_score(y[k], low[k], high[k], alpha))
            .sum();
        let mean = sum / f64::from(u32::try_from(y.len())?);
        let expected = case["expected"]["mean_interval_score"]
            .as_f64()
            .ok_or("no score")?;
        assert!(
            (mean - expected).abs() <= 1e-12 * expected.abs(),
            "{mean} {expected}"
        );
        let held = (0..y.len())
            .filter(|k| (low[*k]..=high[*k]).contains(&y[*k]))
            .count();
        let held = f64::from(u32::try_from(held)?) / f64::from(u32::try_from(y.len())?);
        let expected = case["expected"]["coverage_closed_interval"]
            .as_f64()
            .ok_or("no coverage")?;
        assert!((held - expected).abs() < 1e-12);
    }
    Ok(())
}

#[test]
fn a_log_normal_has_the_half_and_the_four_in_five_it_is_made_of() {
    let (median, log_sd) = log_normal_of(100.0, 130.0);
    let z80 = 0.841_621_233_572_914_3; // Φ⁻¹(0.8), from the reference library's table.
    assert!((median * (z80 * log_sd).exp() - 130.0).abs() < 1e-9);
    assert_eq!(log_normal_of(100.0, 100.0), (100.0, 0.0));
}

proptest! {
    /// The closed form against the definition on a fine ensemble.
    #[test]
    fn the_log_normal_score_is_that_of_an_ensemble_of_its_quantiles(
        actual in 20.0..400.0_f64, log_sd in 0.05..0.8_f64,
    ) {
        use statrs::distribution::{ContinuousCDF as _, Normal};
        let normal = Normal::standard();
        let values: Vec<f64> = (0..4_000)
            .map(|k| 100.0 * (log_sd * normal.inverse_cdf((f64::from(k) + 0.5) / 4_000.0)).exp())
            .collect();
        let by_ensemble = crps_ensemble(actual, &values);
        let closed = crps_log_normal(actual, 100.0, log_sd);
        prop_assert!((closed - by_ensemble).abs() < 0.05 + 0.002 * by_ensemble, "{closed} {by_ensemble}");
    }

    /// The true quantile loses least.
    #[test]
    fn pinball_is_least_at_the_quantile(share in 0.05..0.95_f64, off in -30.0..30.0_f64) {
        let values: Vec<f64> = (1..=1_000).map(f64::from).collect();
        let mean = |q: f64| values.iter().map(|y| pinball(*y, q, share)).sum::<f64>();
        prop_assert!(mean(1_000.0 * share + off) + 600.0 >= mean(1_000.0 * share));
    }
}
