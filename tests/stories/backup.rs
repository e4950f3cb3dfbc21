//! The server is lost, a backup is brought back, and the bays bring the rest.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use baywright_proto::v1;
use baywright_tests::harness;
use serde_json::Value;

use crate::shop::{Said, Shop};

const BAYS: [&str; 4] = ["bay-1", "bay-2", "bay-3", "office"];

fn post(shop: &Shop, lines: &[(&str, &str)]) {
    for (bay, line) in lines {
        // The office is a device of its own, and no bay.
        let line = match *bay {
            "office" => format!("{line} --bay bay-3"),
            _ => (*line).to_owned(),
        };
        shop.bay(bay, &line).ok();
    }
}

/// A morning before the backup.
const BEFORE: &[(&str, &str)] = &[
    ("office", "open saloon-coat \"grey saloon\" --ago 300m"),
    ("bay-1", "bring 1 --ago 290m"),
    ("bay-1", "start decon --by ana --ago 285m"),
    ("bay-1", "used iron-remover 300ml --ago 280m"),
    ("bay-1", "done --by ana --ago 240m"),
];

/// What the backup does not have: jobs that one bay opens and others work on,
/// each named by its number, by bays that come back in any order.
const AFTER: &[(&str, &str)] = &[
    ("office", "open trike-coat \"red three-wheeler\" --ago 230m"),
    ("bay-3", "open saloon-coat \"blue saloon\" --ago 225m"),
    ("bay-2", "bring 2 --ago 220m"),
    ("bay-2", "start decon --by ben --job 2 --ago 215m"),
    ("bay-3", "bring 3 --ago 214m"),
    ("bay-3", "start prewash --by cleo --job 3 --ago 210m"),
    ("bay-2", "used iron-remover 350ml --job 2 --ago 200m"),
    ("bay-3", "done --by cleo --job 3 --ago 190m"),
    ("bay-1", "start polish --by ana --job 1 --ago 180m"),
    ("bay-2", "done --by ben --job 2 --ago 170m"),
    ("bay-1", "start decon --by ben --job 3 --ago 160m"),
    ("bay-1", "done --by ben --job 3 --ago 150m"),
    ("bay-1", "done --by ana --job 1 --ago 140m"),
    ("office", "open unsorted \"old tractor\" --ago 130m"),
    ("bay-1", "release --job 1 --ago 120m --anyway"),
    ("bay-2", "start prewash --by ben --job 4 --ago 110m"),
    ("bay-2", "done --by ben --job 4 --ago 100m"),
    ("bay-2", "release --job 2 --ago 95m --anyway"),
    ("bay-3", "release --job 3 --ago 90m --anyway"),
    ("bay-1", "used iron-remover 120ml --job 4 --ago 85m"),
    ("office", "release --job 4 --ago 80m --anyway"),
];

/// What the shop's figures say, as its owner takes them along; without the
/// places of the events in the log, which are others after a restore.
fn figures(shop: &Shop) -> BTreeMap<&'static str, Vec<String>> {
    let rows = |what: &str| {
        let text = shop.bay("office", &format!("export {what}")).ok();
        let names: Vec<&str> = text.lines().next().unwrap_or_default().split(',').collect();
        let said = |line: &str| {
            let cells = names.iter().zip(line.split(','));
            let cells = cells.filter(|(name, _)| !name.contains("seq"));
            cells.map(|(_, cell)| cell).collect::<Vec<_>>().join(",")
        };
        text.lines().map(said).collect()
    };
    ["csv jobs", "csv stages", "csv uses"]
        .into_iter()
        .map(|what| (what, rows(what)))
        .collect()
}

/// Each event of the log: its number as a job, and when it happened.
async fn events(shop: &Shop) -> BTreeMap<Vec<u8>, (u64, i64)> {
    let records = shop.records().await;
    let count = records.len();
    let events: BTreeMap<_, _> = records
        .into_iter()
        .map(|(record, _)| (record.event_id, (record.job_number, record.occurred_us)))
        .collect();
    assert_eq!(events.len(), count, "no event is in the log twice");
    events
}

fn backup(shop: &Shop, name: &str) -> PathBuf {
    let file = shop.path(name);
    let text = file.to_str().expect("a path in text").to_owned();
    let said = shop.daemon(&["backup", &text]).ok();
    assert!(said.contains("in plain"), "it says what it holds: {said}");
    file
}

fn lose(shop: &Shop) {
    std::fs::remove_dir_all(shop.data()).expect("the folder is lost");
}

fn restore(shop: &Shop, file: &Path, more: &[&str]) -> Said {
    let text = file.to_str().expect("a path in text");
    shop.daemon(&[&["restore", text], more].concat())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn restoring_yesterdays_backup_loses_nothing_that_the_bays_have() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    post(&shop, BEFORE);
    // The daemon runs and takes posts meanwhile.
    let file = backup(&shop, "yesterday.backup");
    post(&shop, AFTER);
    let (was, then) = (figures(&shop), events(&shop).await);
    daemon.kill().expect("the computer is gone");
    lose(&shop);

    let said = restore(&shop, &file, &[]).ok();
    assert!(said.contains("numbered from 1001"), "{said}");
    let daemon = shop.start();
    assert!(
        events(&shop).await.len() < then.len(),
        "the backup is older"
    );
    // The bays that worked on jobs come back before the one that opened them;
    // any command is enough, and each says once that it found out.
    for bay in ["bay-2", "bay-1", "bay-3", "office"] {
        let said = shop.bay(bay, "now");
        assert_eq!(said.code, 0, "{said:?}");
        assert!(
            said.err.contains("restored from a backup"),
            "{bay}: {said:?}"
        );
        let again = shop.bay(bay, "now");
        assert!(
            !again.err.contains("restored"),
            "{bay} says it once: {again:?}"
        );
    }
    let now = events(&shop).await;
    assert_eq!(
        now, then,
        "every event once, at its time, with its job's number"
    );
    assert_eq!(figures(&shop), was);
    // A job opened since is none of theirs.
    let opened = shop.bay("bay-3", "open unsorted \"a van\"").ok();
    assert!(opened.contains("Job 1001"), "{opened}");
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bay_that_posts_and_opens_jobs_before_the_others_are_back_hurts_nobody() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    post(&shop, BEFORE);
    let file = backup(&shop, "yesterday.backup");
    post(&shop, AFTER);
    let (was, then) = (figures(&shop), events(&shop).await);
    daemon.kill().expect("the computer is gone");
    lose(&shop);
    restore(&shop, &file, &[]).ok();
    let daemon = shop.start();
    // bay-2 first opens a job, and its lost posts go out before it.
    let opened = shop.bay("bay-2", "open unsorted \"a van\"");
    assert!(opened.out.contains("Job 1001"), "{opened:?}");
    assert!(opened.err.contains("sent again"), "{opened:?}");
    // bay-1 posts on a job that the log does not know yet, and means it.
    shop.bay("bay-1", "note \"wing mirror\" --job 4 --anyway")
        .ok();
    daemon.kill().expect("and it is gone once more");
    // The log of this epoch goes on from the disk.
    let daemon = shop.start();
    for bay in BAYS {
        shop.bay(bay, "now").ok();
    }
    let now = events(&shop).await;
    for (id, told) in &then {
        assert_eq!(now.get(id), Some(told));
    }
    assert_eq!(now.len(), then.len() + 2);
    let figures = figures(&shop);
    for (what, rows) in &was {
        for row in rows {
            assert!(
                figures[what].contains(row),
                "{what}: {row}
{figures:#?}"
            );
        }
    }
    let tractor = shop.bay("office", "job 4").ok();
    assert!(
        tractor.contains("old tractor") && tractor.contains("wing mirror"),
        "{tractor}"
    );
    // The restored log is backed up and brought back like any other.
    let second = backup(&shop, "today.backup");
    daemon.stop().expect("a clean stop");
    lose(&shop);
    let said = restore(&shop, &second, &["--json"]).ok();
    let said: Value = serde_json::from_str(&said).expect("one JSON line");
    assert_eq!(said["records"], now.len());
    assert_eq!(said["first_job_number"], 2_001);
    let daemon = shop.start();
    for bay in BAYS {
        let said = shop.bay(bay, "now");
        assert!(said.err.contains("had every fact"), "{bay}: {said:?}");
    }
    assert_eq!(events(&shop).await, now);
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_and_a_restore_write_over_nothing_and_say_why() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    post(
        &shop,
        &[("bay-1", "note \"first\""), ("bay-1", "note \"second\"")],
    );
    let file = backup(&shop, "a.backup");
    let text = file.to_str().expect("a path in text");
    let again = shop.daemon(&["backup", text]);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("--replace"), "{}", again.err);
    shop.daemon(&["backup", text, "--replace"]).ok();
    let whole = shop.daemon(&["verify", "--file", text]).ok();
    assert!(whole.contains("2 records"), "{whole}");
    // Beside a daemon, and over its log after it.
    let refused = restore(&shop, &file, &[]);
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("has a log already"), "{}", refused.err);
    daemon.stop().expect("a clean stop");
    let refused = restore(&shop, &file, &[]);
    assert!(refused.err.contains("has a log already"), "{}", refused.err);
    assert_eq!(shop.daemon(&["backup"]).code, 2, "where to?");
    // A file that is no backup, or half of one.
    lose(&shop);
    let half = shop.path("half.backup");
    let bytes = std::fs::read(&file).expect("the backup");
    std::fs::write(&half, &bytes[..bytes.len() / 3]).expect("half of it");
    let refused = restore(&shop, &half, &[]);
    assert_eq!(refused.code, 1);
    assert!(
        refused.err.contains("is not a whole backup"),
        "{}",
        refused.err
    );
    assert!(!shop.data().join("log.db").exists());
    let rotten = shop.daemon(&["verify", "--file", half.to_str().expect("text"), "--json"]);
    assert_eq!(rotten.code, 1);
    assert!(rotten.out.contains("\"whole\":false"), "{}", rotten.out);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_timer_keeps_so_many_and_bays_hear_what_is_in_a_backup() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let nights = shop.path("nights");
    std::fs::create_dir(&nights).expect("a folder");
    let into = nights.to_str().expect("a path in text");
    for night in 1..=3 {
        post(&shop, &[("bay-1", "note \"a day\"")]);
        let said = shop
            .daemon(&["backup", "--into", into, "--keep", "2", "--json"])
            .ok();
        let said: Value = serde_json::from_str(&said).expect("one JSON line");
        assert_eq!(said["records"], night);
        let there = std::fs::read_dir(&nights).expect("the folder").count();
        assert_eq!(there, usize::try_from(night).expect("small").min(2));
    }
    let (device, mut link) = shop.device("bay-1");
    let channel = link.channel().await.expect("the daemon answers");
    let mut hello = v1::hello_service_client::HelloServiceClient::new(channel);
    let request = v1::HelloRequest {
        device: device.name().to_owned(),
        ..v1::HelloRequest::default()
    };
    let mut ask = async || {
        hello
            .hello(request.clone())
            .await
            .expect("a hello")
            .into_inner()
    };
    let told = ask().await;
    assert_eq!((told.held_device_seq, told.backed_up_device_seq), (3, 3));
    post(&shop, &[("bay-1", "note \"a morning\"")]);
    let told = ask().await;
    assert_eq!((told.held_device_seq, told.backed_up_device_seq), (4, 3));
    let nowhere = shop.daemon(&["backup", "--into", "/nowhere/at/all"]);
    assert!(nowhere.err.contains("is no folder"), "{}", nowhere.err);
    daemon.stop().expect("a clean stop");
}

#[test]
fn devices_are_asked_about_or_named_and_those_left_out_are_cut_off() {
    let shop = Shop::closed();
    std::fs::create_dir_all(shop.data().join("access")).expect("a folder");
    let line = |name: &str, id: u8| {
        format!(
            r#"{{"name": "{name}", "role": "bay", "enrolled_us": 1,
                "enrolment": "019ad0c0-0000-7000-8000-00000000000{id}"}}"#
        )
    };
    let devices = format!(
        r#"{{"devices": [{}, {}]}}"#,
        line("bay-1", 1),
        line("stolen", 2)
    );
    std::fs::write(shop.data().join("access/devices.json"), devices).expect("a list");
    // A log without a record, as a daemon leaves it that nobody posted to.
    drop(baywright_daemon::journal::Journal::open(&shop.data()).expect("a log"));
    let file = backup(&shop, "a.backup");
    lose(&shop);
    let asked = restore(&shop, &file, &[]);
    assert_eq!(asked.code, 1);
    assert!(
        asked.err.contains("--keep-devices") && asked.err.contains("stolen"),
        "{asked:?}"
    );
    let unknown = restore(&shop, &file, &["--keep-devices", "bay-7"]);
    assert!(unknown.err.contains("bay-7"), "{unknown:?}");
    let said = restore(&shop, &file, &["--keep-devices", "bay-1"]).ok();
    assert!(said.contains("cut off: stolen"), "{said}");
    let kept = std::fs::read_to_string(shop.data().join("access/devices.json")).expect("a list");
    let kept: Value = serde_json::from_str(&kept).expect("JSON");
    assert_eq!(kept["devices"][0]["cut_off_us"], 0);
    assert!(kept["devices"][1]["cut_off_us"].as_i64() > Some(0));
}

/// Runs `bay` of a device that has joined, against a daemon on a new port.
fn joined(shop: &Shop, device: &str, server: &str, words: &[&str]) -> Said {
    let words = [&["--server", server], words].concat();
    harness::bay_at_home(crate::binary(), &shop.path(device), &words)
        .expect("bay runs")
        .into()
}

#[test]
fn a_restored_daemon_is_the_one_that_its_bays_joined() {
    let mut shop = Shop::closed();
    shop.daemon(&["init"]).ok();
    let daemon = shop.start();
    for device in ["bay-1", "stolen"] {
        let code = shop
            .daemon(&["enrol", device, "--role", "bay", "--json"])
            .ok();
        let code: Value = serde_json::from_str(&code).expect("one JSON line");
        let place = format!("127.0.0.1:{}", code["join_port"]);
        let code = code["code"].as_str().expect("a code");
        let join = ["join", &place, code];
        let said = harness::bay_at_home(crate::binary(), &shop.path(device), join);
        Said::from(said.expect("bay runs")).ok();
        joined(&shop, device, &daemon.address, &["note", "before"]).ok();
    }
    let file = shop.path("a.backup");
    let said = shop.daemon(&["backup", file.to_str().expect("text")]).ok();
    assert!(said.contains("holds this daemon's keys"), "{said}");
    joined(&shop, "bay-1", &daemon.address, &["note", "after"]).ok();
    daemon.kill().expect("the computer is gone");
    lose(&shop);
    restore(&shop, &file, &["--keep-devices", "bay-1"]).ok();
    let daemon = shop.start();
    let said = joined(&shop, "bay-1", &daemon.address, &["now"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.err.contains("was sent again"), "{said:?}");
    let said = joined(&shop, "stolen", &daemon.address, &["now"]);
    assert_eq!(said.code, 5, "{said:?}");
    daemon.stop().expect("a clean stop");
    let whole = shop.daemon(&["verify"]).ok();
    assert!(whole.contains("3 records"), "{whole}");
}
