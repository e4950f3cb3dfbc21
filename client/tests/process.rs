//! The real `bay`, as a process: exit codes, streams, and several at once.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "helpers of tests, outside of test functions"
)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

/// Port 1 of the loopback address: nobody listens there.
const NOBODY: &str = "127.0.0.1:1";

fn bay(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bay"));
    command
        .env_clear()
        .env("HOME", folder)
        .env("BAYWRIGHT_DATA", folder.join("bay"))
        .env("BAYWRIGHT_SERVER", NOBODY)
        .stdin(Stdio::null());
    command
}

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let Output {
        status,
        stdout,
        stderr,
    } = bay(folder).args(args).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (status.code().unwrap(), text(stdout), text(stderr))
}

#[test]
fn each_kind_of_end_has_its_exit_code_and_its_stream() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let spool = path.join("bay").join("spool");

    let (code, out, err) = run(path, &["used", "iron-remover", "350ml"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("Kept on this bay"), "{out}");
    assert!(out.contains(spool.to_str().unwrap()), "{out}");
    assert!(!out.contains('\u{1b}'), "no colour into a pipe: {out}");

    let (code, out, err) = run(path, &["air", "210C", "46%"]);
    assert_eq!((code, out.as_str()), (3, ""));
    assert!(err.starts_with("Error: `210C`"), "{err}");

    for line in [
        &["fly"][..],
        &["bring", "118"],
        &["done", "--at", "1", "--ago", "2m"],
    ] {
        let (code, out, err) = run(path, line);
        assert_eq!((code, out.as_str()), (2, ""), "{line:?}: {err}");
    }

    let (code, _, err) = run(path, &["week"]);
    assert_eq!(code, 4, "{err}");
    assert!(err.contains("\nHint: "), "{err}");
    // A quote is worked out by the daemon; nothing of it is kept here.
    let (code, out, err) = run(path, &["quote", "new", "trike-coat"]);
    assert_eq!((code, out.as_str()), (4, ""));
    assert!(err.starts_with("Error: A quote needs the daemon"), "{err}");
    let (code, out, _) = run(path, &["spool", "send", "--json"]);
    assert_eq!(code, 4);
    let object: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(object["error"]["kind"], "unreachable");

    let (code, out, _) = run(path, &["spool", "--json"]);
    let object: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &object["waiting"]), (0, &serde_json::json!(1)));
}

#[test]
fn a_setting_that_is_not_known_is_named() {
    let folder = TempDir::new().unwrap();
    let config = folder.path().join(".config").join("baywright");
    std::fs::create_dir_all(&config).unwrap();
    std::fs::write(config.join("bay.toml"), "bay = \"bay-2\"\nby = \"ana\"\n").unwrap();
    let (code, _, err) = run(folder.path(), &["note", "hi"]);
    assert_eq!(code, 2);
    assert!(err.contains("by") && err.contains("Known keys"), "{err}");

    std::fs::write(config.join("bay.toml"), "bay = \"bay-2\"\n").unwrap();
    let (code, out, _) = run(folder.path(), &["bring", "118"]);
    assert_eq!(code, 0);
    assert!(out.starts_with("In bay-2 since"), "{out}");
}

#[test]
fn many_processes_at_once_keep_every_fact_under_its_own_number() {
    let folder = TempDir::new().unwrap();
    let all: Vec<_> = (0..12)
        .map(|number| {
            let mut command = bay(folder.path());
            command.args(["note", &format!("fact {number}")]);
            command.stdout(Stdio::null()).spawn().unwrap()
        })
        .collect();
    for mut process in all {
        assert!(process.wait().unwrap().success());
    }
    let (_, out, _) = run(folder.path(), &["spool", "list", "--json"]);
    let list: serde_json::Value = serde_json::from_str(&out).unwrap();
    let facts = list["facts"].as_array().unwrap();
    let numbers: Vec<u64> = facts
        .iter()
        .map(|f| f["device_seq"].as_u64().unwrap())
        .collect();
    assert_eq!(numbers, (1..=12).collect::<Vec<u64>>());
    let mut words: Vec<&str> = facts.iter().map(|f| f["fact"].as_str().unwrap()).collect();
    words.sort_unstable();
    words.dedup();
    assert_eq!(words.len(), 12);
}

#[test]
fn a_process_killed_at_any_moment_leaves_a_spool_that_reads() {
    // Not at every byte (the spool's own tests do that), but for real.
    let folder = TempDir::new().unwrap();
    let mut told = 0;
    for number in 0..30_u64 {
        let mut command = bay(folder.path());
        command.args(["note", "x"]).stdout(Stdio::piped());
        let mut process = command.spawn().unwrap();
        // A spin instead of a sleep: from nothing to a whole run of the program.
        for _ in 0..number * 60_000 {
            std::hint::spin_loop();
        }
        let _ = process.kill();
        let output = process.wait_with_output().unwrap();
        if String::from_utf8_lossy(&output.stdout).contains("Kept on this bay") {
            told += 1;
        }
        let (code, out, err) = run(folder.path(), &["spool", "--json"]);
        assert_eq!(code, 0, "{err}");
        let list: serde_json::Value = serde_json::from_str(&out).unwrap();
        assert!(list["waiting"].as_u64().unwrap() >= told, "{out}");
    }
}
