//! ISO weeks, clock changes and instants against published tables.

use baywright_terms::time::{Micros, Week, day_range, zone};
use jiff::civil::Date;

use crate::table;

fn instant(text: &str) -> Micros {
    Micros::from_timestamp(text.parse().expect("an instant"))
}

#[test]
fn iso_weeks_are_those_of_iso_8601() {
    for row in table(include_str!("data/iso_week.csv")) {
        let date: Date = row["date"].parse().expect("a date");
        let week = Week::of_date(date);
        let expected = format!("{}-W{:0>2}", row["iso_year"], row["iso_week"]);
        assert_eq!(week.to_string(), expected, "{}", row["date"]);
        assert_eq!(Week::parse(&expected).expect("a week"), week);
        assert_eq!(
            date.weekday().to_monday_one_offset().to_string(),
            row["iso_weekday"]
        );
    }
}

#[test]
fn years_have_their_number_of_weeks() {
    for row in table(include_str!("data/weeks_in_iso_year.csv")) {
        let last = format!("{}-W{}", row["iso_year"], row["weeks"]);
        assert!(Week::parse(&last).is_ok(), "{last} exists");
        let beyond = row["weeks"].parse::<u8>().expect("a number") + 1;
        let none = format!("{}-W{beyond}", row["iso_year"]);
        assert!(Week::parse(&none).is_err(), "{none} does not exist");
    }
}

/// A stage over a clock change is as long as it was, not as the wall clocks say.
#[test]
fn spans_over_a_clock_change_are_elapsed_time() {
    for row in table(include_str!("data/dst_durations.csv")) {
        let elapsed_us = instant(&row["utc_end"]).since(instant(&row["utc_start"]));
        let expected: i64 = row["elapsed_s"].parse().expect("seconds");
        assert_eq!(elapsed_us, expected * 1_000_000, "{}", row["id"]);
    }
}

/// The week that holds a transition is longer or shorter by just that much.
#[test]
fn a_week_with_a_clock_change_has_its_own_length() {
    for row in table(include_str!("data/transitions_2024_2027.csv")) {
        let zone = zone(&row["zone"]).expect("a bundled zone");
        let at = instant(&row["instant_utc"]);
        let before: i64 = row["offset_before_s"].parse().expect("seconds");
        let after: i64 = row["offset_after_s"].parse().expect("seconds");
        let offset = |at: Micros| i64::from(zone.to_offset(at.timestamp()).seconds());
        assert_eq!(offset(at.saturating_sub(1)), before, "{}", row["id"]);
        assert_eq!(offset(at), after, "{}", row["id"]);
        let (from, until) = Week::of(at, &zone).range(&zone);
        let change_us = offset(until.saturating_sub(1)) - offset(from);
        assert_eq!(
            until.since(from),
            (7 * 24 * 3600 - change_us) * 1_000_000,
            "{}",
            row["id"]
        );
        let day = at.saturating_sub(1).civil(&zone).date();
        let (morning, night) = day_range(day, &zone);
        assert!(
            night.since(morning) >= 20 * 3600 * 1_000_000,
            "{}",
            row["id"]
        );
    }
}

#[test]
fn instants_of_rfc_3339_are_unix_microseconds() {
    for row in table(include_str!("data/rfc3339.csv")) {
        assert_eq!(
            instant(&row["text"]).0.to_string(),
            row["unix_microseconds"],
            "{}",
            row["id"]
        );
    }
}
