//! What is promised against open hours, worked by hand.

use baywright_report::figures::Ahead;
use baywright_report::quote::ahead;

use crate::shop::{Office, at, catalogue, catalogues, hours, id};

fn ahead_at(office: &Office, when: &str) -> Ahead {
    ahead(&office.rows, &catalogues(catalogue()), at(when))
}

#[test]
fn open_hours_are_those_left_from_now_on_without_breaks_for_people() {
    let found = ahead_at(&Office::default(), "2026-11-25T15:00");
    // Wednesday 15:00 to Tuesday midnight. Wednesday 2 h; Thursday, Friday,
    // Monday, Tuesday 9 h each, 8 h without lunch; Sunday 4 h.
    // Bays: (2 + 4·9 + 4) h of three places; workers: (2 + 4·8 + 4) h of two.
    assert_eq!(found.weeks[0].bay_open_us, hours(42 * 3));
    assert_eq!(found.weeks[0].worker_open_us, hours(38 * 2));
    // Seven whole days: 5·9 + 4 and 5·8 + 4.
    assert_eq!(found.weeks[1].bay_open_us, hours(49 * 3));
    assert_eq!(found.weeks[1].worker_open_us, hours(44 * 2));
    assert_eq!(found.weeks[0].week, "2026-11-25 to 2026-12-01");
    assert_eq!(found.weeks[1].until, at("2026-12-09T00:00"));
}

#[test]
fn from_a_monday_on_the_weeks_are_iso_weeks() {
    let found = ahead_at(&Office::default(), "2026-11-23T07:00");
    let names: Vec<&str> = found.weeks.iter().map(|w| w.week.as_str()).collect();
    assert_eq!(names, ["2026-W48", "2026-W49"]);
}

#[test]
fn an_hour_is_lost_or_won_when_the_clocks_change() {
    // Forward on 29 March 2026: Sunday 1:00 to 5:00 are three hours.
    let spring = ahead_at(&Office::default(), "2026-03-23T00:00");
    assert_eq!(spring.weeks[0].bay_open_us, hours(48 * 3));
    assert_eq!(spring.weeks[1].bay_open_us, hours(49 * 3));
    assert_eq!(spring.weeks[0].until, at("2026-03-30T00:00"));
    // Back on 25 October 2026: five.
    let autumn = ahead_at(&Office::default(), "2026-10-19T00:00");
    assert_eq!(autumn.weeks[0].worker_open_us, hours(45 * 2));
}

/// Half and four in five, hours.
fn promised(found: &Ahead, week: usize) -> (i64, i64) {
    let week = &found.weeks[week];
    (week.promised_half_us, week.promised_p80_us)
}

#[test]
fn the_planned_day_decides_the_week_and_none_or_a_past_one_is_the_first() {
    for (planned, week) in [
        ("2026-11-25", Some(0)),
        ("2026-12-01", Some(0)),
        ("2026-12-02", Some(1)),
        ("2026-12-08", Some(1)),
        ("2026-12-09", None),
        ("2026-11-01", Some(0)),
        ("", Some(0)),
        ("some day", Some(0)),
    ] {
        let mut office = Office::default();
        office.print(1, "2026-11-20T09:00", (hours(8), hours(10)), 50_000, None);
        office.answer(1, "2026-11-21T09:00", Some(50_000), planned);
        let found = ahead_at(&office, "2026-11-25T15:00");
        for at in 0..2 {
            let whole = if week == Some(at) {
                (hours(8), hours(10))
            } else {
                (0, 0)
            };
            assert_eq!(promised(&found, at), whole, "{planned:?} in week {at}");
        }
        assert_eq!(found.jobs.len(), 1);
        let no_day = found.no_day_half_us == hours(8);
        assert_eq!(no_day, found.jobs[0].planned_date.is_empty(), "{planned:?}");
    }
}

#[test]
fn what_was_done_of_the_quoted_stages_comes_off() {
    let mut office = Office::default();
    office.print(1, "2026-11-20T09:00", (hours(8), hours(10)), 50_000, None);
    office.answer(1, "2026-11-21T09:00", Some(50_000), "2026-11-26");
    office.open(id(9), 109, Some(1), "2026-11-24T08:00");
    // Two people for two hours; an hour of something that was not quoted.
    office.work(id(9), "wash", "ana", "2026-11-24T08:00", hours(2));
    office.work(id(9), "wash", "ben", "2026-11-24T08:00", hours(2));
    office.work(id(9), "upholstery", "ben", "2026-11-24T13:00", hours(1));
    let found = ahead_at(&office, "2026-11-25T07:00");
    assert_eq!(promised(&found, 0), (hours(4), hours(6)));
    // Bays: 16 h and 20 h were printed, two have passed.
    let week = &found.weeks[0];
    assert_eq!(week.promised_bay_half_us, hours(14));
    assert_eq!(week.promised_bay_p80_us, hours(18));
    let job = &found.jobs[0];
    assert_eq!((job.number, job.done_us), (Some(109), hours(4)));
    // Nine hours done: an hour is left in four of five; never less than nothing.
    office.work(id(9), "polish", "ana", "2026-11-24T13:00", hours(5));
    let found = ahead_at(&office, "2026-11-25T07:00");
    assert_eq!(promised(&found, 0), (0, hours(1)));
    office.release(id(9), "2026-11-24T19:00");
    let found = ahead_at(&office, "2026-11-25T07:00");
    assert_eq!((promised(&found, 0), found.jobs.len()), ((0, 0), 0));
}

#[test]
fn a_line_added_to_a_job_is_promised_with_it() {
    let mut office = Office::default();
    office.print(1, "2026-11-20T09:00", (hours(8), hours(8)), 50_000, None);
    office.answer(1, "2026-11-21T09:00", Some(50_000), "2026-12-03");
    office.open(id(9), 109, Some(1), "2026-11-24T08:00");
    office.print(
        2,
        "2026-11-24T09:00",
        (hours(2), hours(2)),
        9_000,
        Some(id(9)),
    );
    let before = ahead_at(&office, "2026-11-25T07:00");
    assert_eq!(promised(&before, 1).0, hours(8));
    assert_eq!(
        (before.quotes_open, before.quotes_open_half_us),
        (1, hours(2))
    );
    office.answer(2, "2026-11-24T10:00", Some(9_000), "");
    let found = ahead_at(&office, "2026-11-25T07:00");
    assert_eq!(promised(&found, 1).0, hours(10));
    assert_eq!((found.jobs.len(), found.quotes_open), (1, 0));
}

#[test]
fn the_four_in_five_of_a_week_is_less_than_the_sum_of_those_of_its_jobs() {
    let mut office = Office::default();
    for n in 1..=5 {
        office.print(n, "2026-11-20T09:00", (hours(8), hours(10)), 50_000, None);
        office.answer(n, "2026-11-21T09:00", Some(50_000), "");
    }
    let found = ahead_at(&office, "2026-11-25T07:00");
    let (half, p80) = promised(&found, 0);
    // Means of 8.286 h, sd 2.236 h: the sum has 41.43 h and 5.0 h, so its four in
    // five is about 41.43 + 0.84·5.0 = 45.6 h, and not 50 h.
    assert!((half - hours(41)).abs() < hours(1), "{half}");
    assert!((p80 - hours(91) / 2).abs() < hours(1), "{p80}");
    // Declined since: gone.
    office.answer(1, "2026-11-22T09:00", None, "sold the vehicle");
    assert_eq!(ahead_at(&office, "2026-11-25T07:00").jobs.len(), 4);
}

#[test]
fn without_a_shop_nothing_is_open() {
    let none = baywright_floor::catalogues::Catalogues::default();
    let found = ahead(&[], &none, at("2026-11-25T07:00"));
    assert!(
        found
            .weeks
            .iter()
            .all(|w| (w.worker_open_us, w.bay_open_us) == (0, 0))
    );
}
