//! The seeded simulation of a shop's trust: several bays with the real spool
//! and delivery, the real log and facts behind the writer's own desk, and
//! between them a network, disks, clocks and people that do their worst.
//!
//! One thread, no socket and no clock of this machine: a schedule is drawn from
//! a seed, and the same seed gives the same schedule and the same events. The
//! model that everything is held against is the pure fold of the events, from
//! the start, in the order in which things happened.
//!
//! `BAYWRIGHT_SCHEDULES=2000` runs so many, from the seed that `BAYWRIGHT_SEED`
//! names; with that alone, its one schedule. A schedule that fails is made
//! shorter and printed step by step.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "a test; clippy's exception does not reach the functions that tests share"
)]

mod bay;
mod check;
mod clocks;
mod daemon;
mod facts;
mod net;
mod schedule;
mod world;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::Instant;

use baywright_daemon::facts::Facts;
use baywright_daemon::journal::{Journal, LogReader};
use tempfile::TempDir;

use schedule::Schedule;
use world::{Totals, World};

/// Schedules of `cargo test` without a wish: some seconds.
const SCHEDULES: u64 = 60;

/// The first seed without a wish. Fixed, so that a change is judged by the same
/// schedules as the one before it; other seeds are for whoever asks for them.
const FIRST_SEED: u64 = 1;

/// Runs that shortening one failing schedule may take.
const SHORTER_RUNS_MAX: u32 = 400;

/// Letters by which one kind of failure is told from another: the first words.
const KIND_CHARS: usize = 30;

/// Lines of the trace of a failing schedule that are printed.
const TRACE_LINES_MAX: usize = 400;

/// Where data folders are cheap to flush, where there is such a place.
fn memory() -> PathBuf {
    let shared = Path::new("/dev/shm");
    let usable = TempDir::new_in(shared).is_ok();
    if usable {
        shared.to_owned()
    } else {
        std::env::temp_dir()
    }
}

/// An empty log with its facts, to be copied: making one takes longer than a
/// whole schedule.
fn template(memory: &Path) -> TempDir {
    let folder = TempDir::new_in(memory).expect("a folder");
    drop(Journal::open(folder.path()).expect("a new log"));
    let log = LogReader::open(folder.path()).expect("a reader");
    drop(Facts::open(folder.path(), Box::new(log), &mut |_| {}).expect("new facts"));
    folder
}

/// A schedule that failed: what was wrong, and what had happened.
struct Failed {
    why: String,
    trace: Vec<String>,
}

fn run(schedule: &Schedule, memory: &Path, template: &Path) -> Result<Totals, Failed> {
    let home = TempDir::new_in(memory).expect("a folder");
    let mut world = World::new(schedule.clone(), home, template);
    let ran = catch_unwind(AssertUnwindSafe(|| world.run()));
    let why = match ran {
        Ok(Ok(totals)) => return Ok(totals),
        Ok(Err(why)) => why,
        Err(_) => "it panicked, as printed above".to_owned(),
    };
    Err(Failed {
        why,
        trace: std::mem::take(&mut world.trace),
    })
}

/// What a failure is, without the numbers in it.
fn kind(why: &str) -> String {
    let letters = why.chars().filter(|c| !c.is_ascii_digit());
    letters.take(KIND_CHARS).collect()
}

/// Takes out whatever it fails in the same way without, in ever smaller stretches.
fn shorter(schedule: &Schedule, why: &str, memory: &Path, template: &Path) -> Schedule {
    let mut best = schedule.clone();
    let mut runs = 0;
    let mut stretch = best.steps.len() / 2;
    while stretch > 0 && runs < SHORTER_RUNS_MAX {
        let mut from = 0;
        while from < best.steps.len() && runs < SHORTER_RUNS_MAX {
            let mut less = best.clone();
            less.steps
                .drain(from..(from + stretch).min(best.steps.len()));
            runs += 1;
            let again = run(&less, memory, template).err();
            if again.is_some_and(|again| kind(&again.why) == kind(why)) {
                best = less;
            } else {
                from += stretch;
            }
        }
        stretch /= 2;
    }
    best
}

/// A number from the environment.
fn wish(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.trim().parse().expect("a whole number"))
}

#[test]
fn no_schedule_loses_doubles_or_moves_a_fact() {
    let seed = wish("BAYWRIGHT_SEED");
    let first = seed.unwrap_or(FIRST_SEED);
    let count = wish("BAYWRIGHT_SCHEDULES").unwrap_or(if seed.is_some() { 1 } else { SCHEDULES });
    let memory = memory();
    let template = template(&memory);
    let begun = Instant::now();
    let mut totals = Totals::default();
    println!("seeds {first} to {}", first.saturating_add(count - 1));
    for seed in first..first.saturating_add(count) {
        let schedule = Schedule::draw(seed);
        match run(&schedule, &memory, template.path()) {
            Ok(ran) => totals.add(ran),
            Err(failed) => report(&schedule, &failed, &memory, template.path()),
        }
    }
    println!(
        "{count} schedules, {:.1} a second: {} steps, {} facts, {} starts, {} restores",
        // A rate for people; no figure is made of it.
        f64::from(u32::try_from(count).unwrap_or(u32::MAX)) / begun.elapsed().as_secs_f64(),
        totals.steps,
        totals.said,
        totals.starts,
        totals.restores,
    );
}

/// Prints what failed, as short as it can be made, and fails.
fn report(schedule: &Schedule, failed: &Failed, memory: &Path, template: &Path) {
    let shorter = shorter(schedule, &failed.why, memory, template);
    let again = run(&shorter, memory, template).err();
    let last = again.as_ref().unwrap_or(failed);
    for line in last.trace.iter().take(TRACE_LINES_MAX) {
        println!("{line}");
    }
    panic!(
        "seed {}: {}\nmade shorter, from {} steps to the {} above: {}\n\
         BAYWRIGHT_SEED={} runs it again",
        schedule.seed,
        failed.why,
        schedule.steps.len(),
        shorter.steps.len(),
        last.why,
        schedule.seed,
    );
}

#[test]
fn a_seed_gives_the_same_schedule_and_the_same_events_again() {
    let memory = memory();
    let template = template(&memory);
    let traces: Vec<Vec<String>> = (0..2)
        .map(|_| {
            let home = TempDir::new_in(&memory).expect("a folder");
            let mut world = World::new(Schedule::draw(7), home, template.path());
            world.run().expect("a schedule that holds");
            world.trace.clone()
        })
        .collect();
    assert!(traces[0].len() > 20, "{} lines", traces[0].len());
    assert_eq!(traces[0], traces[1]);
}
