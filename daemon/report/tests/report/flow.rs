//! Flow against what others computed: the formulas of ISO 22400-2 and Little's
//! law on sample paths.

#![allow(
    clippy::cast_precision_loss,
    reason = "hours of a few days in microseconds fit a double"
)]

use std::collections::BTreeMap;

use baywright_floor::row::Ended;
use baywright_report::figures::Week;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::hours::OpenHours;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};

use crate::generated::Posts;
use crate::made::{Made, at, bay, code, shop};

/// Columns id, kpi, formula, inputs, expected, relative tolerance, source.
const ISO_22400: &str = include_str!("../data/iso22400_kpi.csv");
/// Two sample paths with what a queue simulation in another language counted.
const SAMPLE_PATHS: &str = include_str!("../data/little_sample_path.json");

/// A shop open from eight to four on every day, with one bay.
fn eight_hours(places: u32) -> Catalogue {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(places));
    if let Some(shop) = &mut catalogue.shop {
        let day = |weekday| OpenHours {
            weekday,
            from_min: 8 * 60,
            until_min: 16 * 60,
        };
        shop.open = (1..=7).map(day).collect();
    }
    catalogue
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "hours of a day in microseconds"
)]
fn in_us(hours: f64) -> i64 {
    (hours * HOUR_US as f64).round() as i64
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few jobs"
)]
fn in_count(count: f64) -> u8 {
    count as u8
}

/// One day in which PQ jobs one after the other are in the bay for AUBT in all,
/// worked on for APT of it, and AOET from opening to release.
fn day_of(inputs: &BTreeMap<&str, f64>) -> Week {
    let of = |name: &str| inputs[name];
    let made_count = of("PQ");
    let exact = |hours: f64| in_us(hours / made_count);
    let (production, set_up, delay) = (exact(of("APT")), exact(of("AUST")), exact(of("ADET")));
    let cycle = exact(of("AOET"));
    let mut made = Made::new(eight_hours(1));
    let mut begin = at("2026-11-25T08:00");
    assert_eq!(in_us(of("PBT")), 8 * HOUR_US);
    for n in 1..=in_count(made_count) {
        let end = begin.saturating_add(production + set_up + delay);
        made.open(n, "unsorted", "2026-11-25T08:00");
        if let Some(baywright_floor::row::Row::JobOpened(row)) = made.rows.last_mut() {
            row.opened = end.saturating_sub(cycle);
        }
        made.stay(n, "bay-1", begin, Some(end));
        made.wait(n, begin, Some(begin.saturating_add(set_up)));
        let rework = f64::from(n) <= of("RQ");
        let from = begin.saturating_add(set_up);
        made.work_as(
            n,
            "polish",
            "ana",
            "bay-1",
            from,
            production,
            Ended::Done,
            rework,
        );
        made.release(n, "2026-11-25T08:00");
        if let Some(baywright_floor::row::Row::JobReleased { at, .. }) = made.rows.last_mut() {
            *at = end;
        }
        begin = end;
    }
    let (from, until) = (at("2026-11-25T00:00"), at("2026-11-26T00:00"));
    baywright_report::week(&made.input(), "2026-11-25", from, until)
}

#[test]
fn the_figures_of_a_day_are_those_of_iso_22400() {
    let mut checked = 0;
    for line in ISO_22400.lines().skip(1) {
        let fields: Vec<&str> = line.splitn(7, ',').collect();
        let [id, kpi, _, inputs, expected, ..] = fields[..] else {
            panic!("{line}");
        };
        let inputs: BTreeMap<&str, f64> = inputs
            .split("; ")
            .filter_map(|pair| pair.split_once('='))
            .map(|(name, value)| (name, value.parse().unwrap()))
            .collect();
        let day = day_of(&inputs);
        let bay = &day.bays[0];
        let sum = |of: &dyn Fn(&baywright_report::figures::JobFigures) -> i64| {
            day.jobs.iter().map(of).sum::<i64>()
        };
        let cycles = sum(&|j| j.cycle_us.unwrap());
        let (part, whole, shown) = match kpi {
            "allocation_efficiency" => (
                bay.open_us - bay.empty_us,
                bay.open_us,
                bay.utilisation_permille,
            ),
            "utilization_efficiency" => (bay.hands_on_us, bay.occupied_us, bay.flow_permille),
            "allocation_ratio" => (sum(&|j| j.occupied_us), cycles, None),
            "throughput_rate" => (i64::from(day.flow.released) * HOUR_US, cycles, None),
            "rework_ratio" => (
                i64::from(day.flow.reworked),
                i64::from(day.flow.released),
                day.flow.rework_permille,
            ),
            _ => continue,
        };
        let expected: f64 = expected.parse().unwrap();
        let found = part as f64 / whole as f64;
        assert!(
            (found / expected - 1.0).abs() < 1e-12,
            "{id}: {found} for {expected}"
        );
        if let Some(shown) = shown {
            assert!(
                (f64::from(shown) - expected * 1e3).abs() <= 0.5,
                "{id}: {shown}"
            );
        }
        checked += 1;
    }
    assert_eq!(checked, 10);
}

#[test]
fn sample_paths_obey_littles_law_as_counted_elsewhere() {
    let file: serde_json::Value = serde_json::from_str(SAMPLE_PATHS).unwrap();
    for case in file["cases"].as_array().unwrap() {
        let begin = at("2026-11-23T00:00");
        let after = |minutes: i64| begin.saturating_add(minutes * MINUTE_US);
        let mut catalogue = eight_hours(u32::try_from(case["servers"].as_u64().unwrap()).unwrap());
        if let Some(shop) = &mut catalogue.shop {
            for day in &mut shop.open {
                (day.from_min, day.until_min) = (0, 24 * 60);
            }
        }
        let jobs = case["jobs"].as_array().unwrap();
        let mut events: Vec<(Micros, usize, u8)> = Vec::new();
        for (n, times) in jobs.iter().enumerate() {
            for (order, name) in [(1, "arrive_min"), (2, "start_min"), (0, "finish_min")] {
                events.push((after(times[name].as_i64().unwrap()), n, order));
            }
        }
        events.sort_by_key(|(at, n, order)| (*at, *order, *n));
        let (from, until) = (events[0].0, events[events.len() - 1].0);
        let mut posts = Posts::new(catalogue);
        for (when, n, order) in events {
            match order {
                1 => posts.open(when, n),
                2 => posts.bring(when, n, "bay-1"),
                _ => posts.release(when, n),
            }
        }
        let week = posts.week(from, until, until);
        // The last job is released at the first instant after the window.
        let later = until.saturating_add(1);
        let done = posts.week(from, later, later);
        let expected = |name: &str| case["expected"][name].as_f64().unwrap();
        let near = |found: f64, name: &str| {
            let off = found / expected(name) - 1.0;
            assert!(off.abs() < 1e-12, "{}: {name}: {found}", case["id"]);
        };
        let flow = &week.flow;
        let minutes = |us: i64| us as f64 / MINUTE_US as f64;
        let n = f64::from(done.flow.released);
        assert_eq!(done.jobs.len(), jobs.len());
        near(minutes(flow.window_us), "window_min");
        near(n * 60.0 / minutes(flow.window_us), "throughput_per_hour");
        let cycles: i64 = done.jobs.iter().map(|j| j.cycle_us.unwrap()).sum();
        near(minutes(cycles) / n, "mean_sojourn_min");
        let mean = minutes(flow.in_progress_us) / minutes(flow.window_us);
        near(mean, "time_average_in_system");
        assert_eq!(flow.in_progress_us, cycles);
        let bay = &week.bays[0];
        near(minutes(bay.occupied_us) / n, "mean_service_min");
        near(minutes(cycles - bay.occupied_us) / n, "mean_wait_min");
        let taken = (bay.open_us - bay.empty_us) as f64;
        near(taken / bay.open_us as f64, "bay_utilisation");
        // The mean that is printed is rounded to a microsecond.
        let mean_us = done.flow.cycle.mean_us;
        assert!((minutes(mean_us) - expected("mean_sojourn_min")).abs() < 1e-7);
    }
}

#[test]
fn a_job_that_never_saw_a_bay_is_in_progress_all_the_same() {
    let mut posts = Posts::new(eight_hours(1));
    let (from, until) = (at("2026-11-23T00:00"), at("2026-11-30T00:00"));
    posts.open(at("2026-11-16T09:00"), 0);
    posts.open(at("2026-11-25T12:00"), 1);
    let week = posts.week(from, until, until);
    let days = 24 * HOUR_US;
    assert_eq!(week.flow.in_progress_us, 7 * days + 4 * days + days / 2);
    assert_eq!((week.flow.opened, week.flow.released), (1, 0));
    assert_eq!(week.remark, "");
}
