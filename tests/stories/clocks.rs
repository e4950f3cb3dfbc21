//! Bays whose clocks are wrong, are set, or begin anew: what happened is in the
//! log when it happened, or it is said that nobody can be sure.

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_proto::v1::{Record, TimeBasis};
use baywright_terms::time::{DAY_US, HOUR_US, MINUTE_US, Micros, SECOND_US};
use baywright_tests::clocks::SkewedClocks;
use jiff::civil::date;
use jiff::tz::Offset;
use serde_json::Value;

use crate::shop::{NOWHERE, Shop};

fn now_us() -> i64 {
    MachineClocks::default().wall_us()
}

/// The clocks of a device on which it is some time ago, and whose wall clock is
/// off. Its boot clock ran from one moment of the past.
fn clocks(ago_us: i64, wall_error_us: i64, boot_id: &str) -> SkewedClocks {
    SkewedClocks::new(wall_error_us - ago_us, boot_id, 400 * DAY_US - ago_us)
}

/// What was right after a start: its boot clock is near zero.
fn after_start(wall_error_us: i64, boot_id: &str) -> SkewedClocks {
    let booted_us = MachineClocks::default().boot_us();
    SkewedClocks::new(wall_error_us, boot_id, SECOND_US - booted_us)
}

/// A wall clock that begins at an instant with each start.
fn reset_to(instant_us: i64) -> i64 {
    instant_us - now_us()
}

/// How one bay's clocks go, and what must come of it.
struct Case {
    bay: &'static str,
    /// Online before everything else, so that the daemon knows the boot.
    before: Option<SkewedClocks>,
    /// When the fact happens, alone.
    fact: SkewedClocks,
    /// How long ago that truly is.
    ago_us: i64,
    /// When it is sent.
    delivery: SkewedClocks,
    basis: TimeBasis,
    /// Codes of the notices that say so.
    told: &'static [&'static str],
}

fn cases() -> Vec<Case> {
    const AGO: i64 = 20 * MINUTE_US;
    let case = |bay, fact, ago_us, delivery, basis, told| Case {
        bay,
        before: None,
        fact,
        ago_us,
        delivery,
        basis,
        told,
    };
    let offset = &["clock-offset"][..];
    let unsure = &["time-unsure"][..];
    vec![
        case(
            "right",
            clocks(AGO, 0, "a"),
            AGO,
            clocks(0, 0, "a"),
            TimeBasis::Boot,
            &[],
        ),
        case(
            "ahead",
            clocks(AGO, HOUR_US, "a"),
            AGO,
            clocks(0, HOUR_US, "a"),
            TimeBasis::Boot,
            offset,
        ),
        case(
            "behind",
            clocks(AGO, -HOUR_US, "a"),
            AGO,
            clocks(0, -HOUR_US, "a"),
            TimeBasis::Boot,
            offset,
        ),
        case(
            "set-right",
            clocks(AGO, -HOUR_US, "a"),
            AGO,
            clocks(0, 0, "a"),
            TimeBasis::Boot,
            &[],
        ),
        case(
            "set-wrong",
            clocks(AGO, 0, "a"),
            AGO,
            clocks(0, HOUR_US, "a"),
            TimeBasis::Boot,
            offset,
        ),
        case(
            "reset-1970-set-later",
            clocks(AGO, reset_to(0), "a"),
            AGO,
            clocks(0, 0, "a"),
            TimeBasis::Boot,
            &[],
        ),
        Case {
            before: Some(clocks(3 * HOUR_US, -HOUR_US, "a")),
            ..case(
                "restarted",
                clocks(2 * HOUR_US, -HOUR_US, "a"),
                2 * HOUR_US,
                after_start(-HOUR_US, "b"),
                TimeBasis::EarlierBoot,
                offset,
            )
        },
        Case {
            before: Some(clocks(3 * HOUR_US, 0, "a")),
            ..case(
                "restarted-reset-2000",
                clocks(2 * HOUR_US, reset_to(946_684_800_000_000), "a"),
                2 * HOUR_US,
                after_start(0, "b"),
                TimeBasis::EarlierBoot,
                &[],
            )
        },
        case(
            "restarted-unseen",
            clocks(2 * HOUR_US, -HOUR_US, "a"),
            2 * HOUR_US,
            after_start(-HOUR_US, "b"),
            TimeBasis::PresentOffset,
            unsure,
        ),
    ]
}

fn codes(json: &Value) -> Vec<&str> {
    let notices = json["notices"].as_array().map_or(&[][..], Vec::as_slice);
    notices.iter().filter_map(|n| n["code"].as_str()).collect()
}

/// The record of the note with this text.
async fn record(shop: &Shop, text: &str) -> Record {
    let records = shop.records().await;
    let mut found = records.into_iter().filter(|(_, fact)| {
        matches!(&fact.kind, Some(baywright_proto::v1::fact::Kind::Noted(n)) if n.text == text)
    });
    let (record, _) = found.next().unwrap_or_else(|| panic!("no note `{text}`"));
    assert!(found.next().is_none(), "`{text}` is there twice");
    record
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whatever_the_clocks_do_the_time_is_right_within_a_second_or_said_to_be_unsure() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let server = shop.server.clone();
    for case in cases() {
        let bay = case.bay;
        if let Some(before) = &case.before {
            // The daemon hears of it late: it has only its own clock to hold
            // the boot clock against, so the sample is made by the story.
            let now = SkewedClocks::new(0, &before.boot_id(), 400 * DAY_US);
            shop.clocked_bay(bay, &now, "note before").ok();
        }
        shop.server = NOWHERE.to_owned();
        let truth_from = now_us() - case.ago_us;
        shop.clocked_bay(bay, &case.fact, &format!("note {bay}"))
            .ok();
        let truth_until = now_us() - case.ago_us;
        shop.server.clone_from(&server);
        let sent = shop
            .clocked_bay(bay, &case.delivery, "spool send --json")
            .ok();
        let sent: Value = serde_json::from_str(&sent).expect("JSON");
        let told = codes(&sent);
        let record = record(&shop, bay).await;
        println!(
            "{bay}: off by {} us, {told:?}",
            record.occurred_us - truth_from
        );
        assert_eq!(record.time_basis(), case.basis, "{bay}: {record:?}");
        let truth = truth_from - SECOND_US..=truth_until + SECOND_US;
        assert!(truth.contains(&record.occurred_us), "{bay}: {record:?}");
        for code in case.told {
            assert!(told.contains(code), "{bay}: no {code} in {told:?}");
        }
        if case.told.is_empty() {
            assert_eq!(told, [""; 0], "{bay}: nothing is odd");
        }
    }
    daemon.stop().expect("a clean stop");
    shop.daemon(&["rebuild", "--check"]).ok();
}

/// A start anew that nobody knows the clock of: 1970 is no time, and 2000 is one
/// that nobody believes. Both are kept, and it is said that the time is not sure.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_fact_of_a_clock_that_was_never_set_is_kept_and_said_to_be_unsure() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let server = shop.server.clone();
    for (bay, instant_us) in [("reset-1970", 0), ("reset-2000", 946_684_800_000_000)] {
        shop.server = NOWHERE.to_owned();
        let wrong = after_start(reset_to(instant_us), "a");
        let said = shop.clocked_bay(bay, &wrong, &format!("note {bay}")).ok();
        assert!(said.contains("Kept on this bay"), "{said}");
        shop.server.clone_from(&server);
        let sent = shop
            .clocked_bay(bay, &after_start(0, "b"), "spool send --json")
            .ok();
        let sent: Value = serde_json::from_str(&sent).expect("JSON");
        assert!(codes(&sent).contains(&"time-unsure"), "{sent}");
        let record = record(&shop, bay).await;
        assert_eq!(record.time_basis(), TimeBasis::PresentOffset);
    }
    daemon.stop().expect("a clean stop");
    shop.daemon(&["rebuild", "--check"]).ok();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_is_off_is_said_once_and_again_when_it_is_off_by_something_else() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let said_of = |error_us: i64, text: &str| {
        let line = format!("note {text}");
        let said = shop.clocked_bay("bay-1", &clocks(0, error_us, "a"), &line);
        said.ok().matches("clock is").count()
    };
    assert_eq!(said_of(0, "right"), 0);
    assert_eq!(said_of(HOUR_US, "ahead"), 1);
    assert_eq!(said_of(HOUR_US, "still ahead"), 0);
    assert_eq!(said_of(-HOUR_US, "stepped back"), 1);
    assert_eq!(said_of(-HOUR_US, "still behind"), 0);
    assert_eq!(said_of(0, "right again"), 0);
    assert_eq!(said_of(HOUR_US, "and off again"), 1);
    daemon.stop().expect("a clean stop");
}

/// Times as they are typed, on a clock that is an hour off.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn typed_times_are_of_the_shop_and_not_of_a_wrong_clock() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    let zone = baywright_terms::time::zone("Europe/Lisbon").expect("the example's zone");
    for (bay, error_us) in [
        ("bay-1", -HOUR_US),
        ("bay-2", HOUR_US),
        ("bay-3", reset_to(0)),
    ] {
        let wrong = clocks(0, error_us, "a");
        let meant = Micros(now_us() - 25 * MINUTE_US);
        let civil = meant.civil(&zone).strftime("%H:%M:%S").to_string();
        let said = shop
            .clocked_bay(bay, &wrong, &format!("note at-{bay} --at {civil}"))
            .ok();
        assert!(said.contains(&civil[..5]), "{said}");
        let at = record(&shop, &format!("at-{bay}")).await;
        assert!(
            (at.occurred_us - meant.0).abs() < SECOND_US,
            "{bay}: {at:?}"
        );

        let before = now_us();
        shop.clocked_bay(bay, &wrong, &format!("note ago-{bay} --ago 25m"))
            .ok();
        let ago = record(&shop, &format!("ago-{bay}")).await;
        let truth = before - 25 * MINUTE_US - SECOND_US..=now_us() - 25 * MINUTE_US + SECOND_US;
        assert!(truth.contains(&ago.occurred_us), "{bay}: {ago:?}");

        // The floor as this bay saw it last; then the daemon is away.
        shop.clocked_bay(bay, &wrong, "now --all").ok();
    }
    daemon.stop().expect("a clean stop");
    shop.server = NOWHERE.to_owned();
    let slow = clocks(0, -HOUR_US, "a");
    let refused = shop.clocked_bay("bay-1", &slow, "note late --at 00:01");
    println!("{refused:?}");
    assert_eq!(refused.code, 3, "{refused:?}");
    assert!(refused.err.contains("--ago"), "{refused:?}");
    shop.clocked_bay("bay-1", &slow, "note late --ago 10m").ok();
    let floor = shop.clocked_bay("bay-1", &slow, "").ok();
    let seen = floor.lines().next().expect("a line");
    assert!(
        seen.starts_with("As last seen at ") && !seen.contains("ago"),
        "an age that nobody knows is not said: {floor}"
    );
}

/// The air was read before the clock was set; the window is worked out from it
/// all the same, and not from one whose age nobody knows.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_levelling_window_survives_a_clock_that_is_set() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    let zone = baywright_terms::time::zone("Europe/Lisbon").expect("the example's zone");
    let right = clocks(0, 0, "a");
    let bay = |clocks: &SkewedClocks, line: &str| shop.clocked_bay("bay-1", clocks, line).ok();
    bay(&right, "open trike-coat \"red three-wheeler\" --bring");
    bay(&right, "air 21.5C 46% --surface 20C");
    let before = now_us();
    let behind = clocks(0, -HOUR_US, "a");
    let said = bay(&behind, "coat nose");
    assert!(said.contains("3:01 to 5:18 after spreading"), "{said}");
    // On the clock of the shop, not on the wrong one.
    let opens = |spread_us: i64| {
        let at = Micros(spread_us + 3 * MINUTE_US + SECOND_US);
        at.civil(&zone).strftime("%H:%M").to_string()
    };
    let possible = [opens(before), opens(now_us())];
    assert!(
        possible.iter().any(|at| said.contains(at)),
        "{possible:?}: {said}"
    );
    daemon.stop().expect("a clean stop");

    shop.server = NOWHERE.to_owned();
    let alone = |clocks: &SkewedClocks| shop.clocked_bay("bay-1", clocks, "coat nose").ok();
    assert!(alone(&behind).contains("after spreading"));
    assert!(alone(&clocks(0, HOUR_US, "a")).contains("after spreading"));
    // Started anew with a clock that is behind the reading: its age is not known.
    let said = alone(&after_start(-HOUR_US, "b"));
    assert!(!said.contains("after spreading"), "{said}");
    assert!(said.contains("surface was not read"), "{said}");
}

/// A moment of 2026 in UTC.
fn instant_us(month: i8, day: i8, hour: i8, minute: i8) -> i64 {
    let civil = date(2026, month, day).at(hour, minute, 0, 0);
    let at = Offset::UTC.to_timestamp(civil).expect("an instant");
    at.as_microsecond()
}

/// Work across both changes of the shop's clock is as long as it was, and a
/// typed time that was there twice or never is asked about.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn work_over_a_clock_change_is_as_long_as_it_was() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example_from("2026-01-01");
    let server = shop.server.clone();
    // Lisbon: forward on 29 March 2026 at 01:00 UTC, back on 25 October at 01:00 UTC.
    for (job, month, day, week) in [(1, 3, 29, "2026-W13"), (2, 10, 25, "2026-W43")] {
        let at = |hour, minute| {
            let ago_us = now_us() - instant_us(month, day, hour, minute);
            clocks(ago_us, 0, "a")
        };
        shop.server.clone_from(&server);
        shop.clocked_bay("bay-1", &at(0, 5), "catalogue show").ok();
        shop.server = NOWHERE.to_owned();
        for (line, hour, minute) in [
            ("open saloon-coat \"grey saloon\"", 0, 10),
            ("bring b1-JOB", 0, 20),
            ("start decon --by ana --job b1-JOB", 0, 30),
            ("done --job b1-JOB", 1, 30),
        ] {
            let line = line.replace("JOB", &job.to_string());
            shop.clocked_bay("bay-1", &at(hour, minute), &line).ok();
        }
        let line = format!("note odd --at 01:30 --job b1-{job}");
        let odd = shop.clocked_bay("bay-1", &at(9, 0), &line);
        println!("{odd:?}");
        assert_eq!(odd.code, 3, "{odd:?}");
        if month == 10 {
            assert!(
                odd.err.contains("+01:00") && odd.err.contains("+00:00"),
                "{odd:?}"
            );
            let line = format!("note second --at 01:30+00:00 --job b1-{job}");
            shop.clocked_bay("bay-1", &at(9, 0), &line).ok();
        }
        shop.clocked_bay("bay-1", &at(9, 30), &format!("release --job b1-{job}"))
            .ok();
        shop.server.clone_from(&server);
        shop.clocked_bay("bay-1", &clocks(0, 0, "a"), "spool send")
            .ok();
        let json = shop.bay("bay-1", &format!("job b1-{job} --json")).ok();
        let json: Value = serde_json::from_str(&json).expect("JSON");
        let places = json["story"]["places"].as_array().expect("places");
        let hands_on = places.iter().filter_map(|p| p["hands_on_us"].as_i64());
        // Within a second at each end.
        let off_us = hands_on.sum::<i64>() - HOUR_US;
        assert!(off_us.abs() < 2 * SECOND_US, "{json}");
        let json = shop.bay("bay-1", &format!("week {week} --json")).ok();
        let json: Value = serde_json::from_str(&json).expect("JSON");
        for bay in json["week"]["bays"].as_array().expect("bays") {
            let us = |name: &str| bay[name].as_i64().expect("a number");
            assert_eq!(
                us("hands_on_us") + us("waiting_us") + us("idle_us") + us("empty_us"),
                us("open_us") + us("occupied_outside_open_us"),
                "{bay}"
            );
        }
    }
    let second = record(&shop, "second").await;
    assert_eq!(second.occurred_us, instant_us(10, 25, 1, 30));
    daemon.stop().expect("a clean stop");
    shop.daemon(&["rebuild", "--check"]).ok();
}
