//! The fit against published tables and the reference implementation.
//!
//! Tables and expectations are in `tests/outside/data/mixed`, each with its
//! source; tolerances are those that came with the reference values.

use std::path::PathBuf;

use baywright_learn::mixed::{Coding, Column, Data, Fit, Grouping, Options, Profile, fit};
use serde_json::Value;

type Failure = Box<dyn std::error::Error>;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/outside/data/mixed")
}

/// A table as its header and columns of words.
fn table(name: &str) -> Result<Vec<(String, Vec<String>)>, Failure> {
    let mut reader = csv::Reader::from_path(folder().join(format!("{name}.csv")))?;
    let header = reader.headers()?.clone();
    let mut columns: Vec<(String, Vec<String>)> = header
        .iter()
        .map(|name| (name.to_owned(), Vec::new()))
        .collect();
    for record in reader.records() {
        for ((_, column), value) in columns.iter_mut().zip(&record?) {
            column.push(value.to_owned());
        }
    }
    Ok(columns)
}

fn words<'a>(table: &'a [(String, Vec<String>)], name: &str) -> Result<&'a [String], Failure> {
    let found = table.iter().find(|(column, _)| column == name);
    Ok(&found.ok_or_else(|| format!("no column {name}"))?.1)
}

fn numbers(table: &[(String, Vec<String>)], name: &str) -> Result<Vec<f64>, Failure> {
    Ok(words(table, name)?
        .iter()
        .map(|word| word.parse())
        .collect::<Result<_, _>>()?)
}

/// The fixed effects of each table's model.
fn columns(name: &str, table: &[(String, Vec<String>)]) -> Result<Vec<Column>, Failure> {
    let intercept = Column::intercept(table[0].1.len());
    Ok(match name {
        "sleepstudy" => vec![intercept, Column::new("Days", numbers(table, "Days")?)],
        "ergostool" => {
            let kind = Grouping::new("Type", words(table, "Type")?);
            let mut columns = vec![intercept];
            columns.extend(Column::of_factor(&kind, Coding::Treatment));
            columns
        }
        "synth_a" => Column::of_factor(&Grouping::new("job", words(table, "job")?), Coding::Full),
        _ => vec![intercept],
    })
}

fn number(value: &Value) -> Result<f64, Failure> {
    Ok(value
        .as_f64()
        .ok_or_else(|| format!("no number: {value}"))?)
}

fn list(value: &Value) -> Result<&[Value], Failure> {
    Ok(value
        .as_array()
        .ok_or_else(|| format!("no list: {value}"))?)
}

fn text(value: &Value) -> Result<&str, Failure> {
    Ok(value.as_str().ok_or_else(|| format!("no text: {value}"))?)
}

fn close(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found} is not within {tolerance} of {expected}"
    );
}

fn relatively_close(what: &str, found: f64, expected: f64, tolerance: f64) {
    close(what, found, expected, tolerance * expected.abs() + 1e-12);
}

/// The reference's name of a fixed effect, as ours.
fn our_name(name: &str) -> &str {
    if name == "(Intercept)" {
        "intercept"
    } else {
        name
    }
}

/// Fits a table and holds every figure against its expectation.
fn check(name: &str) -> Result<Fit, Failure> {
    let expected: Value = serde_json::from_str(&std::fs::read_to_string(
        folder().join(format!("{name}.json")),
    )?)?;
    let table = table(name)?;
    let variance = expected["variance"].as_object().ok_or("no variances")?;
    let data = Data {
        response: numbers(&table, text(&expected["response"])?)?,
        fixed: columns(name, &table)?,
        groupings: variance
            .keys()
            .map(|group| Ok(Grouping::new(group, words(&table, group)?)))
            .collect::<Result<_, Failure>>()?,
    };
    let profile = Profile::new(&data)?;
    let fitted = profile.fit(&data, Options::default())?;
    let fit = fitted.fit();
    assert!(fit.convergence.converged, "{:?}", fit.convergence);
    let within = |key: &str| number(&expected["tolerance"][key]);

    close(
        "criterion",
        fit.criterion,
        number(&expected["criterion"])?,
        within("criterion_abs")?,
    );
    let residual = number(&expected["residual_variance"])?;
    relatively_close(
        "residual",
        fit.residual_variance,
        residual,
        within("variance_rel")?,
    );
    for grouping in &fit.groupings {
        let expected = number(&variance[&grouping.name])?;
        relatively_close(
            &grouping.name,
            grouping.variance,
            expected,
            within("variance_rel")?,
        );
    }

    let order: Vec<usize> = list(&expected["fixed"])?
        .iter()
        .map(|effect| {
            let name = our_name(text(&effect["name"])?);
            let at = fit.fixed.iter().position(|found| found.name == name);
            let at = at.ok_or_else(|| format!("no fixed effect {name}"))?;
            let found = &fit.fixed[at];
            relatively_close(
                name,
                found.estimate,
                number(&effect["estimate"])?,
                within("fixed_rel")?,
            );
            relatively_close(
                name,
                found.standard_error,
                number(&effect["se"])?,
                within("fixed_se_rel")?,
            );
            Ok(at)
        })
        .collect::<Result<_, Failure>>()?;
    assert_eq!(order.len(), fit.fixed.len());
    let covariance = list(&expected["fixed_covariance"])?;
    for (at, expected) in covariance.iter().enumerate() {
        let (i, j) = (order[at / order.len()], order[at % order.len()]);
        let tolerance = 2.0 * within("fixed_se_rel")?;
        relatively_close(
            "covariance",
            fit.fixed_covariance[i][j],
            number(expected)?,
            tolerance,
        );
    }

    let within_effect = within("blup_abs_in_residual_sd")? * residual.sqrt();
    let effects = list(&expected["effects"])?;
    assert_eq!(
        effects.len(),
        fit.groupings
            .iter()
            .map(|one| one.levels.len())
            .sum::<usize>()
    );
    for effect in effects {
        let (group, level) = (text(&effect["group"])?, text(&effect["level"])?);
        let found = fit
            .groupings
            .iter()
            .find(|one| one.name == group)
            .ok_or("no grouping")?;
        let found = found
            .levels
            .iter()
            .find(|one| one.level == level)
            .ok_or("no level")?;
        close(level, found.mean, number(&effect["mean"])?, within_effect);
        relatively_close(level, found.sd, number(&effect["sd"])?, within("sd_rel")?);
    }

    for prediction in list(&expected["predictions"])? {
        let x: Vec<f64> = list(&prediction["x0"])?
            .iter()
            .map(number)
            .collect::<Result<_, _>>()?;
        let mut ours = vec![0.0; x.len()];
        for (&at, x) in order.iter().zip(x) {
            ours[at] = x;
        }
        let level = |grouping: &Grouping| -> Option<u32> {
            let level = prediction["levels"][grouping.name()].as_str()?;
            let code = grouping.levels().iter().position(|found| found == level)?;
            u32::try_from(code).ok()
        };
        let levels: Vec<Option<u32>> = data.groupings.iter().map(level).collect();
        let found = fitted.predict(&ours, &levels);
        let tolerance = within("prediction_rel")?;
        let id = text(&prediction["id"])?;
        relatively_close(id, found.mean, number(&prediction["mean"])?, tolerance);
        relatively_close(id, found.sd(), number(&prediction["pred_sd"])?, tolerance);
        let known = number(&prediction["prediction_error_var_of_linear_predictor"])?;
        relatively_close(id, found.variance_known, known, 2.0 * tolerance);
        let unseen = number(&prediction["new_level_var"])?;
        relatively_close(id, found.variance_unseen, unseen, 2.0 * tolerance);
    }
    Ok(fitted.into_fit())
}

#[test]
fn dyestuff_agrees_with_the_reference_and_the_analysis_of_variance() -> Result<(), Failure> {
    let fit = check("dyestuff")?;
    // REML objective and variance of the intercept in the tests of
    // MixedModels.jl (test/pls.jl); the variances are exact for balanced data:
    // mean squares 11271.5 between and 2451.25 within, five rows to a batch.
    close("objective", fit.criterion, 319.654_276_842_257_6, 1e-8);
    relatively_close(
        "intercept",
        fit.fixed_covariance[0][0],
        11_271.5 / 30.0,
        1e-6,
    );
    relatively_close(
        "batch",
        fit.groupings[0].variance,
        (11_271.5 - 2_451.25) / 5.0,
        1e-6,
    );
    relatively_close("residual", fit.residual_variance, 2_451.25, 1e-6);
    relatively_close("estimate", fit.fixed[0].estimate, 1_527.5, 1e-12);
    Ok(())
}

#[test]
fn dyestuff2_ends_exactly_on_the_boundary() -> Result<(), Failure> {
    let fit = check("dyestuff2")?;
    assert_eq!(fit.convergence.at_boundary, [true]);
    assert!(fit.groupings[0].variance.abs() < f64::MIN_POSITIVE);
    assert!(
        fit.groupings[0]
            .levels
            .iter()
            .all(|one| one.mean.abs() < f64::MIN_POSITIVE)
    );
    Ok(())
}

#[test]
fn penicillin_agrees_with_the_reference() -> Result<(), Failure> {
    check("penicillin").map(drop)
}

#[test]
fn penicillin_with_rows_missing_agrees_with_the_reference() -> Result<(), Failure> {
    check("penicillin_unbalanced").map(drop)
}

#[test]
fn sleepstudy_agrees_with_the_reference() -> Result<(), Failure> {
    check("sleepstudy").map(drop)
}

#[test]
fn ergostool_agrees_with_the_reference_and_with_its_book() -> Result<(), Failure> {
    let fit = check("ergostool")?;
    // The same by another implementation, nlme 3.1-162, which accompanies the book.
    relatively_close("subject", fit.groupings[0].variance, 1.775_463, 1e-5);
    relatively_close("residual", fit.residual_variance, 1.210_648, 1e-5);
    let estimates = [8.555_555_556, 3.888_888_889, 2.222_222_222, 0.666_666_666_7];
    for (found, expected) in fit.fixed.iter().zip(estimates) {
        relatively_close(&found.name, found.estimate, expected, 1e-8);
    }
    Ok(())
}

#[test]
fn seeded_crossed_data_without_an_intercept_agree_with_the_reference() -> Result<(), Failure> {
    check("synth_a").map(drop)
}

#[test]
fn fit_and_profile_give_the_same() -> Result<(), Failure> {
    let table = table("penicillin")?;
    let data = Data {
        response: numbers(&table, "diameter")?,
        fixed: columns("penicillin", &table)?,
        groupings: vec![Grouping::new("plate", words(&table, "plate")?)],
    };
    let alone = fit(&data, Options::default())?;
    let profile = Profile::new(&data)?;
    assert_eq!(&alone, profile.fit(&data, Options::default())?.fit());
    let tau = alone.groupings[0].variance / alone.residual_variance;
    close("criterion", profile.value(&[tau])?, alone.criterion, 1e-9);
    Ok(())
}
