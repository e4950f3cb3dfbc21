//! Fits a linear mixed model to a table and prints it as JSON.
//!
//! ```text
//! cargo run --release -p baywright-learn --example mixed -- DATA.csv \
//!     --response y --fixed x --group a --group a:b
//! ```
//!
//! Only the result goes to standard output; what was left out, and why, goes to
//! standard error. Exit code 2 says that the table or the words cannot be used.

mod table;
mod words;

use std::process::ExitCode;
use std::time::Instant;

use baywright_learn::mixed::{Fit, Options, fit};
use serde::{Serialize, Serializer};

use self::words::{Asked, Words};

/// What cannot be used, in one or two sentences.
type Unusable = String;

fn main() -> ExitCode {
    match run() {
        Ok(printed) => {
            println!("{printed}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("Error: {why}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<String, Unusable> {
    let asked = match words::read(std::env::args().skip(1))? {
        Asked::Help => return Ok(words::HELP.to_owned()),
        Asked::Fit(asked) => asked,
    };
    let began = Instant::now();
    let data = table::read(&asked)?;
    let read = began.elapsed();
    let began = Instant::now();
    let fit = fit(&data, Options::default()).map_err(|error| error.to_string())?;
    if asked.timings {
        let spent = began.elapsed();
        eprintln!(
            "read {:.6} s, fit {:.6} s",
            read.as_secs_f64(),
            spent.as_secs_f64()
        );
    }
    tell(&asked, &fit);
    serde_json::to_string(&Printed::new(&fit)).map_err(|error| error.to_string())
}

/// Says on standard error what a reader of the numbers should know.
fn tell(asked: &Words, fit: &Fit) {
    for column in &fit.dropped {
        eprintln!("left out `{column}`: it is a combination of the fixed effects before it");
    }
    for (grouping, at_boundary) in fit.groupings.iter().zip(&fit.convergence.at_boundary) {
        if *at_boundary {
            eprintln!(
                "the variance of `{}` is zero, on the boundary",
                grouping.name
            );
        }
    }
    if fit.convergence.unbounded {
        eprintln!("next to no residual variance is left: within some grouping nothing varies");
    }
    if !fit.convergence.converged {
        eprintln!(
            "not converged after {} steps: another would bring {:.1e}",
            fit.convergence.iterations, fit.convergence.decrease_promised
        );
    }
    if asked.timings {
        eprintln!("{:?}", fit.convergence);
    }
}

#[derive(Serialize)]
struct Printed<'a> {
    criterion: f64,
    variance: Ordered<'a, f64>,
    fixed: Ordered<'a, f64>,
    fixed_se: Ordered<'a, f64>,
    effects: Ordered<'a, Ordered<'a, f64>>,
}

/// A JSON object whose members keep their order.
struct Ordered<'a, T>(Vec<(&'a str, T)>);

impl<T: Serialize> Serialize for Ordered<'_, T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}

impl<'a> Printed<'a> {
    fn new(fit: &'a Fit) -> Self {
        let groupings = fit.groupings.iter();
        let mut variance: Vec<(&str, f64)> = groupings
            .clone()
            .map(|one| (one.name.as_str(), one.variance))
            .collect();
        variance.push(("residual", fit.residual_variance));
        let fixed = fit.fixed.iter();
        let estimates = fixed.clone().map(|one| (one.name.as_str(), one.estimate));
        let errors = fixed.map(|one| (one.name.as_str(), one.standard_error));
        let effects = groupings.map(|one| {
            let levels = one.levels.iter();
            let means = levels.map(|level| (level.level.as_str(), level.mean));
            (one.name.as_str(), Ordered(means.collect()))
        });
        Self {
            criterion: fit.criterion,
            variance: Ordered(variance),
            fixed: Ordered(estimates.collect()),
            fixed_se: Ordered(errors.collect()),
            effects: Ordered(effects.collect()),
        }
    }
}
