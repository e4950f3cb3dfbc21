//! Jobs of the past, brought in whole, once, and again after a kill.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::{Shop, json, text};

/// Longest wait for the fake to be told something.
const WAIT_S_MAX: u64 = 60;

const MAPS: [&str; 8] = [
    "--map",
    "date=Datum",
    "--map",
    "type=Leistung",
    "--map",
    "actual=Ist (min)",
    "--map",
    "job=Nr",
];

/// A table of so many whole jobs; more than one fact from a few thousand on.
fn table(jobs: usize) -> String {
    let mut table = "Nr;Datum;Leistung;Ist (min)\r\n".to_owned();
    for number in 1..=jobs {
        let minutes = 300 + number % 400;
        let _ = write!(table, "{number};24.03.2025;trike-coat;{minutes}\r\n");
    }
    table
}

fn args<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let mut args = vec!["import", "past.csv"];
    args.extend(MAPS);
    args.extend(more);
    args
}

#[test]
fn the_same_table_again_adds_nothing_and_a_new_line_adds_one_job() {
    let shop = Shop::open();
    let file = shop.folder().join("past.csv");
    std::fs::write(&file, table(20)).unwrap();
    let first = shop.bay(&args(&[]));
    assert_eq!(first.status.code(), Some(0), "{first:?}");
    assert!(
        text(&first.stdout).starts_with(
            "Imported 20 jobs: trike-coat 20.\nWhat they change: bay learned trike-coat"
        ),
        "{first:?}"
    );
    let again = shop.bay(&args(&["--json"]));
    assert_eq!(json(&again)["import"]["new"]["jobs"], 0);
    assert_eq!(json(&again)["import"]["known"], 20);
    std::fs::write(&file, table(21)).unwrap();
    let more = shop.bay(&args(&["--json"]));
    assert_eq!(json(&more)["import"]["new"]["jobs"], 1);
    let held = shop.daemon.held.lock().unwrap();
    assert_eq!(held.past_keys().len(), 21);
    assert_eq!(held.past().count(), 2);
    assert!(held.past().all(|recorded| recorded.source == "past.csv"));
}

#[test]
fn after_a_fault_nothing_is_imported_and_skip_bad_says_what_is_left_out() {
    let shop = Shop::open();
    let mut bad = table(3);
    bad.push_str("4;nobody knows;trike-coat;300\r\n");
    std::fs::write(shop.folder().join("past.csv"), bad).unwrap();
    let output = shop.bay(&args(&[]));
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    let said = text(&output.stderr);
    assert!(said.contains("1 fault in past.csv:"), "{said}");
    assert!(
        said.contains("line 5: `nobody knows` is not a date."),
        "{said}"
    );
    assert!(said.contains("Nothing was imported."), "{said}");
    assert_eq!(shop.daemon.held.lock().unwrap().facts.len(), 0);
    let output = shop.bay(&args(&["--skip-bad"]));
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(
        text(&output.stdout).contains("1 job left out: 1 fault"),
        "{output:?}"
    );
    assert_eq!(shop.daemon.held.lock().unwrap().past_keys().len(), 3);
}

#[test]
fn a_dry_run_shows_the_jobs_and_posts_nothing() {
    let shop = Shop::open();
    std::fs::write(shop.folder().join("past.csv"), table(10)).unwrap();
    let output = shop.bay(&args(&["--dry"]));
    let said = text(&output.stdout);
    assert!(said.contains("and 2 more"), "{said}");
    assert!(
        said.contains("Would come in: 10 jobs: trike-coat 10."),
        "{said}"
    );
    assert_eq!(shop.daemon.held.lock().unwrap().facts.len(), 0);
}

#[test]
fn without_a_map_the_columns_are_shown_and_nothing_is_posted() {
    let shop = Shop::open();
    std::fs::write(shop.folder().join("past.csv"), table(2)).unwrap();
    let output = shop.bay(&["import", "past.csv"]);
    assert_eq!(output.status.code(), Some(0));
    let said = text(&output.stdout);
    let command = "bay import past.csv --map job=Nr --map date=Datum --map type=Leistung --map 'actual=Ist (min)' --dry";
    assert!(said.replace(" \\\n     ", "").contains(command), "{said}");
    assert_eq!(shop.daemon.held.lock().unwrap().facts.len(), 0);
}

/// Runs an import that is killed while it waits for its second part, which the
/// daemon holds or does not, and then the same command again.
fn killed_between_parts(second_is_held: bool) {
    const JOBS: usize = 9_000;
    let shop = Shop::open();
    std::fs::write(shop.folder().join("past.csv"), table(JOBS)).unwrap();
    shop.daemon.held.lock().unwrap().silent_from = Some((1, second_is_held));
    let mut child = Command::new(env!("CARGO_BIN_EXE_bay"))
        .env_clear()
        .env("HOME", shop.folder())
        .env("BAYWRIGHT_SERVER", shop.daemon.address.to_string())
        .env("BAYWRIGHT_DATA", shop.folder().join("data"))
        .current_dir(shop.folder())
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .args(args(&[]))
        .spawn()
        .unwrap();
    // The second part is in the spool before it is sent: wait until it is there.
    let spool = || -> u64 {
        let folder = std::fs::read_dir(shop.folder().join("data"));
        let files = folder.into_iter().flatten().flatten();
        files
            .filter_map(|entry| entry.metadata().ok())
            .map(|meta| meta.len())
            .sum()
    };
    let begun = Instant::now();
    let two_parts = 2 * 240 * 1024;
    let held = || shop.daemon.held.lock().unwrap().facts.len();
    // What is sent was in the spool, which may have let go of the first part by then.
    while held() < 1 + usize::from(second_is_held) || (!second_is_held && spool() < two_parts) {
        assert!(child.try_wait().unwrap().is_none(), "it ended by itself");
        assert!(
            begun.elapsed() < Duration::from_secs(WAIT_S_MAX),
            "no second part"
        );
        std::thread::yield_now();
    }
    child.kill().unwrap();
    child.wait().unwrap();
    shop.daemon.held.lock().unwrap().silent_from = None;

    let again = shop.bay(&args(&[]));
    assert_eq!(again.status.code(), Some(0), "{again:?}");
    let held = shop.daemon.held.lock().unwrap();
    let keys = held.past_keys();
    assert!(held.past().count() >= 2);
    assert_eq!(keys.len(), JOBS, "each job once");
    let different: BTreeSet<&Vec<u8>> = keys.iter().collect();
    assert_eq!(different.len(), JOBS);
}

#[test]
fn an_import_killed_before_its_second_part_arrived_is_finished_by_the_next() {
    killed_between_parts(false);
}

#[test]
fn an_import_killed_before_it_heard_of_its_second_part_is_finished_by_the_next() {
    killed_between_parts(true);
}
