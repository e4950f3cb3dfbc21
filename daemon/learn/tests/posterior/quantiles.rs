//! Published quantiles: `tests/outside/data/learn` (its README names the sources).

use std::path::PathBuf;

use baywright_learn::posterior::{
    Cell, Model, Normal, Options, Records, Spread, fit, normal_core, quantile,
};
use statrs::distribution::{ContinuousCDF as _, Normal as StandardDistribution, StudentsT};

type Failure = Box<dyn std::error::Error>;

fn rows(name: &str) -> Result<Vec<Vec<String>>, Failure> {
    let data = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/outside/data/learn");
    let mut reader = csv::Reader::from_path(data.join(name))?;
    let rows: Result<Vec<_>, _> = reader.records().collect();
    let words = |row: csv::StringRecord| row.iter().map(str::to_owned).collect();
    let rows: Vec<Vec<String>> = rows?.into_iter().map(words).collect();
    assert!(!rows.is_empty(), "{name} is empty");
    Ok(rows)
}

fn numbers(words: &str) -> Result<Vec<f64>, Failure> {
    let all: Result<Vec<f64>, _> = words.split_whitespace().map(str::parse).collect();
    Ok(all?)
}

#[test]
fn quantiles_of_student_t_and_normal_are_the_published_ones() -> Result<(), Failure> {
    for row in rows("student_t.csv")? {
        let (dof, p): (f64, f64) = (row[1].parse()?, row[2].parse()?);
        let (expected, tolerance): (f64, f64) = (row[3].parse()?, row[4].parse()?);
        let found = StudentsT::new(0.0, 1.0, dof)?.inverse_cdf(p);
        assert!((found - expected).abs() <= tolerance, "{}: {found}", row[0]);
    }
    for row in rows("normal_ppf.csv")? {
        let (p, expected, tolerance): (f64, f64, f64) =
            (row[1].parse()?, row[2].parse()?, row[3].parse()?);
        let found = StandardDistribution::standard().inverse_cdf(p);
        assert!((found - expected).abs() <= tolerance, "{}: {found}", row[0]);
        let own = baywright_learn::normal::quantile(p);
        assert!((own - expected).abs() <= tolerance, "{}: {own}", row[0]);
    }
    Ok(())
}

/// The core is the ratio of the published 90 % quantiles.
#[test]
fn the_normal_core_is_the_ratio_of_published_quantiles() -> Result<(), Failure> {
    let of = |rows: &[Vec<String>], is: &dyn Fn(&[String]) -> bool, at: usize| {
        let found = rows.iter().find(|row| is(row)).map(|row| row[at].clone());
        found.ok_or("no such row")
    };
    let normal: f64 = of(&rows("normal_ppf.csv")?, &|row| row[1] == "0.9", 2)?.parse()?;
    let mut held = 0;
    for row in rows("student_t.csv")? {
        let dof: f64 = row[1].parse()?;
        if row[2] != "0.9" || dof < 2.0 {
            continue;
        }
        let t: f64 = row[3].parse()?;
        let found = normal_core(dof);
        assert!((found - t / normal).abs() < 1e-8, "{dof}: {found}");
        held += 1;
    }
    assert!(held >= 3, "{held} degrees of freedom held");
    // Where the expansion takes over nothing jumps.
    let (below, above) = (normal_core(1_000.0), normal_core(1_000.000_1));
    assert!((below - above).abs() < 1e-8, "{below} {above}");
    assert!((normal_core(1e12) - 1.0).abs() < 1e-11);
    Ok(())
}

/// Quantiles of `exp` of a new value of `n` normal ones with nothing known before:
/// `exp(ȳ + t(n−1) s √(1 + 1/n))`. The engine has priors, so it is the formula that
/// is held here, with the library's t; and the median is the geometric mean.
#[test]
fn log_normal_predictions_are_the_published_ones() -> Result<(), Failure> {
    for row in rows("t_predictive_lognormal.csv")? {
        let logs = numbers(&row[2])?;
        let p: f64 = row[3].parse()?;
        let (log, natural, tolerance): (f64, f64, f64) =
            (row[4].parse()?, row[5].parse()?, row[6].parse()?);
        let n = f64::from(u32::try_from(logs.len())?);
        let mean = logs.iter().sum::<f64>() / n;
        let squares: f64 = logs.iter().map(|y| (y - mean).powi(2)).sum();
        let scale = (squares / (n - 1.0) * (1.0 + 1.0 / n)).sqrt();
        let found = StudentsT::new(mean, scale, n - 1.0)?.inverse_cdf(p);
        assert!(
            (found / log - 1.0).abs() <= tolerance,
            "{}: {found}",
            row[0]
        );
        let found = found.exp();
        assert!(
            (found / natural - 1.0).abs() <= tolerance,
            "{}: {found}",
            row[0]
        );
    }
    Ok(())
}

/// A posterior without records whose error has one scale and whose other spreads
/// are a billionth, so that a draw of a cell is normal with that error's core.
fn one_error(sigma: f64) -> Result<baywright_learn::posterior::Posterior, Failure> {
    let model = Model {
        intercept: Normal {
            mean: 0.0,
            sd: 1e-9,
        },
        slopes: Vec::new(),
        factors: Vec::new(),
        unit: Spread { scale: 1e-9 },
        noise_median: sigma,
        noise_log_sd: 1e-9,
        noise_dof: 1e9,
    };
    Ok(fit(&model, &Records::default())?)
}

/// Sums of independent log-normals have no closed quantiles. The reference is a
/// simulation of four million draws; a seeded one of ours of 200,000 lies within 1 %,
/// which is the tolerance that came with the values.
#[test]
fn totals_have_the_quantiles_of_sums_of_log_normals() -> Result<(), Failure> {
    const DRAWS: usize = 200_000;
    let rows = rows("sum_lognormals.csv")?;
    let mut cases: Vec<&str> = rows.iter().map(|row| row[0].as_str()).collect();
    cases.dedup();
    for (seed, case) in (1..).zip(cases) {
        let of_case: Vec<_> = rows.iter().filter(|row| row[0] == case).collect();
        let (mus, sigmas) = (numbers(&of_case[0][1])?, numbers(&of_case[0][2])?);
        let mut totals = vec![0.0; DRAWS];
        for (at, (mu, sigma)) in (0..).zip(mus.iter().zip(&sigmas)) {
            let posterior = one_error(*sigma)?;
            let own = seed * 100 + at;
            let draws = posterior.simulate(&[Cell::default()], DRAWS, own, Options::default());
            for (total, part) in totals.iter_mut().zip(draws.total(&[mu.exp()])) {
                *total += part;
            }
        }
        for row in &of_case {
            let (p, value): (f64, f64) = (row[3].parse()?, row[4].parse()?);
            let found = quantile(&mut totals, p);
            let off = found.value / value - 1.0;
            assert!(off.abs() < 0.01, "{case} at {p}: {found:?} {value}");
        }
    }
    Ok(())
}

/// Several cells of one unit whose errors are of one size are a sum as well.
#[test]
fn cells_of_one_unit_with_no_effect_in_common_add_up_as_independent() -> Result<(), Failure> {
    let rows = rows("sum_lognormals.csv")?;
    let posterior = one_error(0.5)?;
    let cells = vec![Cell::default(), Cell::default()];
    let draws = posterior.simulate(&cells, 200_000, 77, Options::default());
    let mut totals = draws.total(&[1.0, 1.0]);
    let two_equal = rows.iter().filter(|row| row[0] == "two_equal");
    for row in two_equal {
        let (p, value): (f64, f64) = (row[3].parse()?, row[4].parse()?);
        let found = quantile(&mut totals, p);
        assert!((found.value / value - 1.0).abs() < 0.01, "{p}: {found:?}");
    }
    Ok(())
}
