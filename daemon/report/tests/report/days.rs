//! Bay time day by day.

use baywright_report::figures::WeekDay;

use crate::made::{Made, at, bay, code, hours, shop, week_of};

fn a_bay() -> Made {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(1));
    Made::new(catalogue)
}

fn occupied_us(day: &WeekDay) -> i64 {
    day.hands_on_us + day.waiting_us + day.idle_us
}

fn assert_adds_up(day: &WeekDay) {
    assert_eq!(
        occupied_us(day) + day.empty_us,
        day.open_us + day.occupied_outside_open_us,
        "{day:?}"
    );
}

#[test]
fn the_day_of_a_clock_change_is_as_long_as_it_was() {
    // EU rules: the last Sundays of March and October. The shop is open from
    // one to five on Sundays.
    for (monday, open_hours, day_hours) in [("2026-03-23", 3, 23), ("2026-10-19", 5, 25)] {
        let mut made = a_bay();
        let (from, until) = week_of(monday);
        made.stay(1, "bay-1", from, Some(until));
        let week = made.week(monday);
        assert_eq!(week.days.len(), 7);
        let sunday = &week.days[6];
        assert_eq!(sunday.open_us, hours(open_hours), "{monday}");
        assert_eq!(occupied_us(sunday), hours(day_hours), "{monday}");
        assert_eq!(occupied_us(&week.days[5]), hours(24));
        assert_eq!(week.days[5].open_us, 0);
        week.days.iter().for_each(assert_adds_up);
    }
}

#[test]
fn days_that_have_not_come_are_not_listed_and_the_one_that_runs_is_cut() {
    let mut made = a_bay();
    made.as_of = at("2026-11-25T10:00");
    made.stay(1, "bay-1", at("2026-11-24T12:00"), None);
    let week = made.week("2026-11-23");
    let days: Vec<String> = week.days.iter().map(|d| d.date.to_string()).collect();
    assert_eq!(days, ["2026-11-23", "2026-11-24", "2026-11-25"]);
    let today = &week.days[2];
    assert_eq!((today.open_us, occupied_us(today)), (hours(2), hours(10)));
    assert_eq!(week.days[1].empty_us, hours(4));
}

#[test]
fn a_catalogue_that_changes_at_noon_splits_no_day_in_two() {
    let mut made = a_bay();
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(2));
    made.set(at("2026-11-25T12:00"), catalogue);
    let week = made.week("2026-11-23");
    assert_eq!(week.days.len(), 7);
    // Four hours of one place and five of two.
    assert_eq!(week.days[2].open_us, hours(4 + 10));
}
