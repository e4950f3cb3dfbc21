//! Which span a question means.

use baywright_report::{Asked, DAYS_MAX, PastWeek, WEEKS_MAX, Window, WindowError, window};
use baywright_terms::time::Micros;

use crate::made::{at, week_of, zone};

/// A Wednesday; the log begins on a Monday in September.
fn ask(asked: &Asked<'_>) -> Result<Window, WindowError> {
    let log = Some((at("2026-09-07T08:00"), at("2026-11-25T11:00")));
    window(asked, &zone(), at("2026-11-25T12:00"), log)
}

fn named(asked: &Asked<'_>) -> (String, Micros, Micros) {
    let window = ask(asked).unwrap();
    (window.name, window.from, window.until)
}

fn dates<'a>(from_date: &'a str, to_date: &'a str) -> Asked<'a> {
    Asked {
        from_date,
        to_date,
        ..Asked::default()
    }
}

#[test]
fn weeks_end_with_the_one_named_or_with_this_one() {
    let (from, until) = week_of("2026-11-23");
    let this = Asked::default();
    assert_eq!(named(&this), ("2026-W48".to_owned(), from, until));
    let twelve = Asked {
        week: "2026-w48",
        weeks: 12,
        ..this
    };
    let first = week_of("2026-09-07").0;
    let name = "2026-W37 to 2026-W48".to_owned();
    assert_eq!(named(&twelve), (name, first, until));
    // 2020 had 53 weeks.
    let over_the_year = Asked {
        week: "2021-W01",
        weeks: 2,
        ..this
    };
    assert_eq!(named(&over_the_year).0, "2020-W53 to 2021-W01");
}

#[test]
fn dates_are_of_the_shops_zone_and_the_last_is_part_of_it() {
    let name = "2026-10-25 to 2026-11-30".to_owned();
    let (from, until) = (at("2026-10-25T00:00"), at("2026-12-01T00:00"));
    assert_eq!(
        named(&dates("2026-10-25", "2026-11-30")),
        (name, from, until)
    );
    let day = named(&dates("2026-10-25", "2026-10-25"));
    assert_eq!(day.0, "2026-10-25");
    assert_eq!(day.2.since(day.1), crate::made::hours(25));
}

#[test]
fn a_date_alone_runs_from_the_first_record_or_up_to_today() {
    assert_eq!(
        named(&dates("2026-11-01", "")).0,
        "2026-11-01 to 2026-11-25"
    );
    assert_eq!(
        named(&dates("", "2026-10-01")).0,
        "2026-09-07 to 2026-10-01"
    );
    // What has not begun, or ended before the log, is one day of nothing.
    assert_eq!(named(&dates("2027-01-01", "")).0, "2027-01-01");
    assert_eq!(named(&dates("", "2026-01-01")).0, "2026-01-01");
}

#[test]
fn history_ends_with_the_last_week_of_the_span() {
    let asked = Asked {
        history_weeks: 3,
        ..dates("2026-11-18", "2026-11-24")
    };
    let window = ask(&asked).unwrap();
    let weeks: Vec<String> = window.history.iter().map(|w| w.week.to_string()).collect();
    assert_eq!(weeks, ["2026-W46", "2026-W47", "2026-W48"]);
    let PastWeek { from, until, .. } = window.history[2];
    assert_eq!((from, until), week_of("2026-11-23"));
    assert_eq!(window.reach(), (week_of("2026-11-09").0, until));
}

#[test]
fn what_cannot_be_a_span_says_how_to_mend_it() {
    let week = |week, weeks| Asked {
        week,
        weeks,
        ..Asked::default()
    };
    for (asked, said) in [
        (
            week("2026-48", 0),
            "\"2026-48\" is not a week: write it as in 2026-W48",
        ),
        (
            week("2026-W54", 0),
            "\"2026-W54\" is not a week: write it as in 2026-W48",
        ),
        (
            week("2026-W48", WEEKS_MAX + 1),
            "107 weeks are too many for one report: ask for at most 106",
        ),
        (
            Asked {
                history_weeks: 500,
                ..week("", 0)
            },
            "500 weeks are too many for one report: ask for at most 106",
        ),
        (
            dates("2026-11-31", ""),
            "\"2026-11-31\" is not a date: write it as in 2026-11-23",
        ),
        (
            dates("", "20261123"),
            "\"20261123\" is not a date: write it as in 2026-11-23",
        ),
        (
            dates("2026-11-24", "2026-11-23"),
            "2026-11-24 to 2026-11-23 ends before it begins: give the earlier date first",
        ),
        (
            Asked {
                week: "2026-W48",
                ..dates("2026-11-23", "")
            },
            "a span is given by weeks or by dates, not by both: leave one of them out",
        ),
        (
            Asked {
                weeks: 2,
                ..dates("2026-11-23", "")
            },
            "a span is given by weeks or by dates, not by both: leave one of them out",
        ),
        (
            dates("2020-01-01", "2026-11-23"),
            "2020-01-01 to 2026-11-23 is too long for one report: ask for at most 742 days",
        ),
    ] {
        assert_eq!(ask(&asked).unwrap_err().to_string(), said, "{asked:?}");
    }
    assert_eq!(DAYS_MAX, 742);
}
