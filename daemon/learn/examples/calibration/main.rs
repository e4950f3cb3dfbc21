//! Is the posterior what it says it is? Simulation-based calibration (Talts,
//! Betancourt, Simpson, Vehtari and Gelman 2018).
//!
//! A shop is drawn from the model's own prior, its jobs from the shop, and the
//! posterior of those jobs is asked where the truth lies in it. Over many shops
//! the answers must be uniform, for every quantity and for shops of 0, 3, 10, 50
//! and 500 jobs.
//!
//! The bound, stated before anything runs: the largest distance of the empirical
//! distribution from the uniform one stays under the band of Dvoretzky, Kiefer and
//! Wolfowitz (with Massart's constant), `√(ln(2/α)/2N)`, at `α` = 1 % shared among
//! all quantities and sizes (Bonferroni). A calibrated posterior passes 99 runs of
//! a hundred; the exit code is 1 outside the band.
//!
//! `cargo run --release -p baywright-learn --example calibration -- --out DIR
//! [--replicates N] [--seed S]`

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a program that prints its findings"
)]

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

mod own_prior;

use own_prior::{Shop, model, quantities};

/// Jobs of the shops.
const SIZES: [usize; 5] = [0, 3, 10, 50, 500];

/// Shops of each size; a large one takes a tenth of a second.
const REPLICATES: usize = 400;

/// All bounds together may fail a calibrated posterior this often.
const LEVEL: f64 = 0.01;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<ExitCode, Failure> {
    let mut out = None;
    let mut replicates = REPLICATES;
    let mut seed = 20_261_125_u64;
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut value = || args.next().ok_or(format!("{arg} needs a value"));
        match arg.as_str() {
            "--out" => out = Some(PathBuf::from(value()?)),
            "--replicates" => replicates = value()?.parse()?,
            "--seed" => seed = value()?.parse()?,
            other => return Err(format!("unknown argument {other}").into()),
        }
    }
    let names = quantities(&model());
    let tests = f64::from(u32::try_from(SIZES.len() * names.len())?);
    println!("seed {seed}, {replicates} shops of each size, level {LEVEL} over {tests} bounds");
    let mut csv = String::from("jobs,quantity,shop,place\n");
    let mut outside = 0;
    for size in SIZES {
        let places = run(size, replicates, seed)?;
        for (quantity, name) in names.iter().enumerate() {
            let mut of_it: Vec<f64> = places.iter().map(|p| p[quantity]).collect();
            for (shop, place) in of_it.iter().enumerate() {
                writeln!(csv, "{size},{name},{shop},{place:.6}")?;
            }
            let n = f64::from(u32::try_from(of_it.len())?);
            let band = ((2.0 / (LEVEL / tests)).ln() / (2.0 * n)).sqrt();
            let mean = of_it.iter().sum::<f64>() / n;
            let distance = distance(&mut of_it);
            let said = if distance <= band { "ok" } else { "OUTSIDE" };
            outside += usize::from(distance > band);
            println!(
                "{size:>4} jobs  {name:<18} distance {distance:.3} of {band:.3}, mean place {mean:.3}  {said}"
            );
            if let Some(out) = &out {
                std::fs::create_dir_all(out)?;
                let file = format!("{size}-{}.svg", name.replace([' ', ':'], "-"));
                std::fs::write(
                    out.join(file),
                    plot(&of_it, band, &format!("{size} jobs, {name}")),
                )?;
            }
        }
    }
    if let Some(out) = &out {
        std::fs::write(out.join("places.csv"), csv)?;
        println!("plots and places in {}", out.display());
    }
    println!("{outside} of {tests} outside their bounds");
    Ok(if outside == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Places of the truth in the posterior, shop by shop, on two threads.
fn run(size: usize, replicates: usize, seed: u64) -> Result<Vec<Vec<f64>>, Failure> {
    let place = |shop: usize| -> Result<Vec<f64>, String> {
        let own = seed.wrapping_add(u64::try_from(shop * 1_000 + size).unwrap_or(0));
        Shop::draw(&model(), size, own).places(&model())
    };
    let half = replicates / 2;
    let (first, second) = std::thread::scope(|scope| {
        let second = scope.spawn(|| (half..replicates).map(place).collect::<Result<Vec<_>, _>>());
        let first: Result<Vec<_>, _> = (0..half).map(place).collect();
        (first, second.join())
    });
    let mut all = first?;
    all.extend(second.map_err(|_| "a thread failed")??);
    Ok(all)
}

/// Largest distance of the empirical distribution from the uniform one.
fn distance(places: &mut [f64]) -> f64 {
    places.sort_by(f64::total_cmp);
    let n = places.len();
    let at = |k: usize| {
        f64::from(u32::try_from(k).unwrap_or(0)) / f64::from(u32::try_from(n).unwrap_or(1))
    };
    places
        .iter()
        .enumerate()
        .map(|(k, place)| (place - at(k)).abs().max((place - at(k + 1)).abs()))
        .fold(0.0, f64::max)
}

/// The difference from uniform as a picture: a calibrated one stays in the band.
fn plot(sorted: &[f64], band: f64, title: &str) -> String {
    let (width, height) = (420.0, 240.0);
    let reach = 0.2_f64.max(1.2 * band);
    let y = |difference: f64| 0.5 * height - difference / reach * 0.42 * height;
    let n = f64::from(u32::try_from(sorted.len()).unwrap_or(1));
    let mut line = String::new();
    for (k, place) in sorted.iter().enumerate() {
        let share = f64::from(u32::try_from(k + 1).unwrap_or(0)) / n;
        let _ = write!(
            line,
            "{:.1},{:.1} ",
            20.0 + place * (width - 40.0),
            y(share - place)
        );
    }
    let (top, bottom, middle) = (y(band), y(-band), y(0.0));
    let right = width - 20.0;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\">\
         <rect width=\"{width}\" height=\"{height}\" fill=\"white\"/>\
         <rect x=\"20\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#dde6ee\"/>\
         <line x1=\"20\" x2=\"{right:.1}\" y1=\"{middle:.1}\" y2=\"{middle:.1}\" stroke=\"#667\"/>\
         <polyline points=\"{line}\" fill=\"none\" stroke=\"#036\" stroke-width=\"1.5\"/>\
         <text x=\"20\" y=\"16\" font-family=\"sans-serif\" font-size=\"12\">{title}: share below minus place</text></svg>\n",
        width - 40.0,
        bottom - top,
    )
}
