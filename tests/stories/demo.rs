//! The demo, as a stranger runs it, and what its data must hold.

use std::process::{Command, Stdio};

use baywright_proto::v1::fact::Kind;
use baywright_tests::harness::Daemon;
use serde_json::Value;

use crate::shop::Shop;

const SEED: &str = "3";

#[tokio::test]
async fn the_demo_ends_with_a_week_that_adds_up_and_a_log_with_the_mess_of_real_life() {
    println!("seed {SEED}");
    let home = tempfile::tempdir().expect("a temporary folder");
    let output = Command::new(crate::binary())
        .args(["--weeks", "1", "--seed", SEED, "--keep"])
        .arg(home.path())
        .stdin(Stdio::null())
        .output()
        .expect("the demo runs");
    let told = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{told}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        told.contains("Labour by job type") && told.contains("bay settle"),
        "{told}"
    );
    let week = told
        .split_whitespace()
        .find(|w| w.contains("-W"))
        .expect("a week is named");
    let week = week.trim_matches(',').to_owned();

    let daemon = Daemon::start(crate::binary(), &home.path().join("server")).expect("a daemon");
    let mut shop = Shop::closed();
    shop.server.clone_from(&daemon.address);
    let json = shop.bay("bay-1", &format!("week {week} --json")).ok();
    let json: Value = serde_json::from_str(&json).expect("JSON");
    let bays = json["week"]["bays"].as_array().expect("bays").clone();
    assert_eq!(bays.len(), 3);
    for bay in &bays {
        let us = |name: &str| {
            bay[name]
                .as_i64()
                .unwrap_or_else(|| panic!("{name} of {bay}"))
        };
        assert_eq!(
            us("hands_on_us") + us("waiting_us") + us("idle_us") + us("empty_us"),
            us("open_us") + us("occupied_outside_open_us"),
            "{bay}"
        );
    }
    let records = shop.records().await;
    let has = |what: &str, found: bool| assert!(found, "the log has no {what}");
    has(
        "strike",
        records
            .iter()
            .any(|(_, f)| matches!(f.kind, Some(Kind::StruckOut(_)))),
    );
    has(
        "dumped mix",
        records
            .iter()
            .any(|(_, f)| matches!(f.kind, Some(Kind::MixDumped(_)))),
    );
    has(
        "work of two people",
        records
            .iter()
            .any(|(_, f)| matches!(f.kind, Some(Kind::StageStarted(_))) && f.by.len() == 2),
    );
    let wrong_clock = records.iter().any(|(record, _)| {
        let off_us = record
            .delivery_clocks
            .as_ref()
            .map_or(0, |c| c.wall_us - record.received_us);
        (off_us - 7 * 60_000_000).abs() < 5_000_000
    });
    has("clock that is 7 minutes off", wrong_clock);
    let stated = baywright_proto::v1::TimeBasis::Stated;
    has(
        "post of the offline afternoon",
        records.iter().any(|(r, _)| r.time_basis() == stated),
    );
    daemon.stop().expect("a clean stop");
}
