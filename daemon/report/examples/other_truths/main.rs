//! Do quotes keep their promise in shops whose truth is not the model's?
//!
//! Many invented shops work 10, 50 and 500 jobs; the next ones are quoted from
//! these alone. Bounds: of all totals, as the log has them, between 76 % and 84 %
//! stay within *four in five*; at 10 jobs the pinball loss at P80 is at least a fifth
//! under that of *mean of the last five*; it is nowhere above that of the plain
//! allowance by more than two standard errors. The exit code is 1 outside them.
//!
//! A total is what the log says, as everywhere: the forgotten stops are in it, about
//! one in five of these jobs has one. Of what the jobs truly took more stays within
//! (nine in ten); that is printed beside it and bound to nothing. Losses are against
//! what they truly took.
//!
//! `cargo run --release -p baywright-report --example other_truths -- --out DIR`

#![allow(clippy::print_stdout, reason = "a program that prints its findings")]

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

mod shop;
mod walk;

use walk::{Held, walk};

/// Jobs on record, and shops of each.
const SIZES: [(usize, u64); 3] = [(10, 120), (50, 80), (500, 40)];
const SEED: u64 = 4_100;

const HELD: std::ops::RangeInclusive<f64> = 0.76..=0.84;
const UNDER_LAST_FIVE: f64 = 0.8;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<ExitCode, Failure> {
    let mut out: Option<PathBuf> = None;
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--out" => out = Some(args.next().ok_or("--out needs a folder")?.into()),
            other => return Err(format!("unknown argument {other}").into()),
        }
    }
    println!("seeds from {SEED}; shops of another truth than the model's");
    let mut outside = 0;
    let mut csv = String::from(
        "jobs,quotes,half_held,p80_held,p80_held_recorded,pinball_quote_h,pinball_last_five_h,pinball_allowance_h\n",
    );
    for (jobs, shops) in SIZES {
        let held = run(jobs, shops)?;
        let [quote, last_five, allowance] = held.mean_losses();
        let (over, error) = held.over(2);
        let p80 = held.share(held.p80_as_recorded);
        println!(
            "{jobs:>4} jobs: {} quotes, four in five held {:.1} % as recorded; as it was: half held {:.1} %, four in five {:.1} %",
            held.quotes,
            100.0 * p80,
            100.0 * held.share(held.half),
            100.0 * held.share(held.p80)
        );
        println!(
            "           pinball at P80: quote {quote:.3} h, mean of the last five {last_five:.3} h, allowance {allowance:.3} h (quote over it {over:+.3} ± {error:.3})"
        );
        let mut check = |holds: bool, what: &str| {
            if !holds {
                outside += 1;
                println!("           OUTSIDE: {what}");
            }
        };
        check(HELD.contains(&p80), "four in five hold between 76 and 84 %");
        check(
            over <= 2.0 * error,
            "never above the allowance by more than noise",
        );
        if jobs == 10 {
            check(
                quote <= UNDER_LAST_FIVE * last_five,
                "a fifth under the mean of the last five",
            );
        }
        writeln!(
            csv,
            "{jobs},{},{},{},{},{quote:.6},{last_five:.6},{allowance:.6}",
            held.quotes, held.half, held.p80, held.p80_as_recorded
        )?;
    }
    if let Some(out) = out {
        std::fs::create_dir_all(&out)?;
        std::fs::write(out.join("held.csv"), csv)?;
    }
    println!("{outside} outside their bounds");
    Ok(if outside == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// All shops of one size, on two threads.
fn run(jobs: usize, shops: u64) -> Result<Held, Failure> {
    let some = |from: u64, until: u64| {
        (from..until).try_fold(Held::default(), |mut held, shop| {
            held.add(walk(SEED + shop, jobs)?);
            Ok::<_, String>(held)
        })
    };
    let (first, second) = std::thread::scope(|scope| {
        let second = scope.spawn(|| some(shops / 2, shops));
        (some(0, shops / 2), second.join())
    });
    let mut held = first?;
    held.add(second.map_err(|_| "a thread failed")??);
    Ok(held)
}
