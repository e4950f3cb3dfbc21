//! The demo, as a stranger runs it, and what its data must hold.

use std::collections::BTreeSet;
use std::process::{Command, Stdio};

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{HOUR_US, SECOND_US};
use baywright_tests::harness::{Daemon, daemon_command};
use baywright_tests::post::WRONG_CLOCK_US;
use serde_json::Value;

use crate::shop::Shop;

const SEED: &str = "3";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
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
    let mut hands_on_us = 0;
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
        hands_on_us += us("hands_on_us");
    }
    assert!(hands_on_us > 0, "three bays of zeros add up too");
    idle_and_days_add_up(&json["week"]);
    money_adds_up(&json["week"]);
    let records = shop.records().await;
    daemon.stop().expect("a clean stop");
    the_mess_of_real_life_is_in(&records);
    for command in [&["verify"][..], &["rebuild", "--check"]] {
        let output = daemon_command(crate::binary(), command, &home.path().join("server"))
            .expect("the command runs");
        assert!(
            output.status.success(),
            "{command:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
}

/// An integer of the JSON.
fn whole(value: &Value, name: &str) -> i64 {
    value[name]
        .as_i64()
        .unwrap_or_else(|| panic!("{name} of {value}"))
}

fn list<'v>(value: &'v Value, name: &str) -> &'v [Value] {
    value[name].as_array().map_or(&[], Vec::as_slice)
}

fn idle_and_days_add_up(week: &Value) {
    for bay in list(week, "bays") {
        let idle_us: i64 = list(bay, "idle").iter().map(|i| whole(i, "idle_us")).sum();
        assert_eq!(idle_us, whole(bay, "idle_us"), "{bay}");
        let days = || list(week, "days").iter().filter(|d| d["bay"] == bay["bay"]);
        assert!(days().count() > 0, "no day of {bay}");
        for part in [
            "open_us",
            "hands_on_us",
            "waiting_us",
            "idle_us",
            "empty_us",
            "occupied_outside_open_us",
        ] {
            let sum: i64 = days().map(|day| whole(day, part)).sum();
            assert_eq!(sum, whole(bay, part), "{part} of the days of {bay}");
        }
        for day in days() {
            assert_eq!(
                whole(day, "hands_on_us")
                    + whole(day, "waiting_us")
                    + whole(day, "idle_us")
                    + whole(day, "empty_us"),
                whole(day, "open_us") + whole(day, "occupied_outside_open_us"),
                "{day}"
            );
        }
    }
}

/// The named shortfalls are quoted less actual, to the minor unit, on every
/// level; and costs are what is left of the revenue.
fn money_adds_up(week: &Value) {
    let sum = |of: &Value| -> i64 {
        let shortfalls = list(of, "shortfalls").iter();
        shortfalls.map(|s| whole(s, "amount_minor")).sum()
    };
    let of_several = |of: &Value| {
        let money = &of["money"];
        assert_eq!(
            sum(of),
            whole(money, "quoted_contribution_minor")
                - whole(money, "contribution_of_quoted_minor"),
            "{money}"
        );
    };
    of_several(week);
    list(week, "types").iter().for_each(of_several);
    let mut quoted = 0;
    for job in list(week, "jobs") {
        let money = &job["money"];
        if money["quoted"] == Value::Bool(true) {
            quoted += 1;
            assert_eq!(
                sum(job),
                whole(money, "quoted_contribution_minor") - whole(money, "contribution_minor"),
                "{job}"
            );
        }
        assert_eq!(
            whole(money, "revenue_minor")
                - whole(money, "labour_minor")
                - whole(money, "materials_minor")
                - whole(money, "supplies_minor")
                - whole(money, "overhead_minor"),
            whole(money, "contribution_minor"),
            "{job}"
        );
    }
    assert!(quoted > 0, "no job of the week was quoted");
    let labour_minor = whole(&week["money"], "labour_minor");
    assert!(labour_minor > 0, "a week of work without wages");
}

fn the_mess_of_real_life_is_in(records: &[(v1::Record, v1::Fact)]) {
    let has = |what: &str, found: bool| assert!(found, "the log has no {what}");
    let uses: BTreeSet<&[u8]> = records
        .iter()
        .filter(|(_, f)| matches!(f.kind, Some(Kind::ProductUsed(_))))
        .map(|(record, _)| record.event_id.as_slice())
        .collect();
    let strikes_a_use = |fact: &v1::Fact| match &fact.kind {
        Some(Kind::StruckOut(strike)) => uses.contains(strike.event_id.as_slice()),
        _ => false,
    };
    has("struck use", records.iter().any(|(_, f)| strikes_a_use(f)));
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
    wrong_clock_is_put_right(records);
    offline_afternoon_came_late(records);
}

/// The clock is 7 minutes off at the fact and at its delivery, and the log has
/// the time of neither.
fn wrong_clock_is_put_right(records: &[(v1::Record, v1::Fact)]) {
    const CORRECTED_US: i64 = 5 * SECOND_US;
    let off = |wall_us: i64, truth_us: i64| (wall_us - truth_us - WRONG_CLOCK_US).abs();
    let wrong: Vec<_> = records
        .iter()
        .filter(|(record, _)| {
            let clocks = record.delivery_clocks.as_ref().expect("delivery clocks");
            off(clocks.wall_us, record.received_us) < CORRECTED_US
        })
        .collect();
    assert!(!wrong.is_empty(), "the log has no clock 7 minutes off");
    for (record, fact) in wrong {
        let wall_us = fact.clocks.as_ref().expect("clocks").wall_us;
        assert!(
            off(wall_us, record.occurred_us) < CORRECTED_US,
            "seq {} has a time not put right",
            record.seq
        );
    }
}

/// The whole demo is received today, so *late* shows in the order: facts of
/// one bay arrived after facts of the others that are hours younger.
fn offline_afternoon_came_late(records: &[(v1::Record, v1::Fact)]) {
    let mut youngest_us = i64::MIN;
    let mut late_us = 0;
    let mut devices = BTreeSet::new();
    for (record, _) in records.iter().filter(|(_, f)| !is_catalogue(f)) {
        let behind_us = youngest_us.saturating_sub(record.occurred_us);
        if record.received_us > record.occurred_us && behind_us > HOUR_US {
            devices.insert(record.device.as_str());
            late_us = late_us.max(behind_us);
        }
        youngest_us = youngest_us.max(record.occurred_us);
    }
    assert_eq!(devices.len(), 1, "one bay was offline: {devices:?}");
    assert!(late_us < 24 * HOUR_US, "an afternoon, not {late_us} µs");
    let typed = records
        .iter()
        .filter(|(record, _)| record.time_basis() == v1::TimeBasis::Stated)
        .filter(|(record, _)| devices.contains(record.device.as_str()))
        .count();
    assert!(typed > 0, "nothing of that afternoon went through `bay`");
}

fn is_catalogue(fact: &v1::Fact) -> bool {
    matches!(fact.kind, Some(Kind::CatalogueSet(_)))
}
