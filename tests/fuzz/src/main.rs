//! Bad input at length: runs targets one after the other for so many inputs,
//! or one kept input.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use baywright_fuzz::{Target, drive, target, targets};
use clap::Parser;

/// Runs fuzz targets with seeded mutations of their kept inputs.
#[derive(Debug, Parser)]
struct Args {
    /// Targets; none: all of them.
    targets: Vec<String>,
    /// Inputs for the quickest targets; slower ones get their share.
    #[arg(long, default_value_t = 100_000)]
    inputs: u64,
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Runs this one input instead.
    #[arg(long)]
    input: Option<PathBuf>,
    /// Names the targets.
    #[arg(long)]
    list: bool,
}

fn main() -> anyhow::Result<ExitCode> {
    let args = Args::parse();
    if args.list {
        for target in targets::ALL {
            println!("{}", target.name);
        }
        return Ok(ExitCode::SUCCESS);
    }
    let chosen: Vec<&Target> = if args.targets.is_empty() {
        targets::ALL.iter().collect()
    } else {
        let named = args.targets.iter();
        named
            .map(|name| {
                target(name).with_context(|| format!("no target {name}; --list names them"))
            })
            .collect::<anyhow::Result<_>>()?
    };
    if let Some(path) = &args.input {
        let [target] = chosen.as_slice() else {
            bail!("name the one target that this input is for");
        };
        (target.run)(&std::fs::read(path)?);
        println!("{}: took it", target.name);
        return Ok(ExitCode::SUCCESS);
    }
    let mut broken = 0_u32;
    let mut all = 0;
    for target in chosen {
        let inputs = (args.inputs / target.slower).max(1);
        match drive::run(target, args.seed, inputs)? {
            Ok(done) => {
                all += done.kept + done.made;
                println!(
                    "{}: {} kept and {} made of seed {}, slowest {} ms",
                    target.name,
                    done.kept,
                    done.made,
                    args.seed,
                    done.slowest.as_millis()
                );
            }
            Err(found) => {
                broken += 1;
                println!("seed {}: {found}", args.seed);
            }
        }
    }
    println!("{all} inputs, {broken} targets broken");
    Ok(ExitCode::from(u8::from(broken > 0)))
}
