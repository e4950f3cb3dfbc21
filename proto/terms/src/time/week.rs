//! ISO 8601 weeks and the shop's days.

use std::fmt;

use jiff::ToSpan;
use jiff::civil::{Date, ISOWeekDate, Time, Weekday};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::{Micros, TimeError};

/// A week of ISO 8601: `2026-W48`. It begins on Monday; week 1 holds 4 January.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Week {
    pub year: i16,
    /// 1 to 52 or 53.
    pub week: u8,
}

impl Week {
    /// A week that the calendar has.
    pub fn new(year: i16, week: u8) -> Result<Self, TimeError> {
        let weeks = ISOWeekDate::new(year, 1, Weekday::Monday)
            .ok()
            .and_then(|first| u8::try_from(first.weeks_in_year()).ok());
        match weeks {
            Some(last) if (1..=last).contains(&week) => Ok(Self { year, week }),
            Some(last) => Err(TimeError::NoSuchWeek { year, week, last }),
            None => Err(TimeError::NotAWeek {
                text: format!("{year}-W{week:02}"),
            }),
        }
    }

    /// Reads `2026-W48`; `2026-w48` and `2026W48` too.
    pub fn parse(text: &str) -> Result<Self, TimeError> {
        let text = text.trim();
        let not_a_week = || TimeError::NotAWeek { text: text.into() };
        let (year, week) = text.split_once(['W', 'w']).ok_or_else(not_a_week)?;
        let year = year.strip_suffix('-').unwrap_or(year);
        let plain = |part: &str, digits: std::ops::RangeInclusive<usize>| {
            digits.contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit())
        };
        if !plain(year, 4..=4) || !plain(week, 1..=2) {
            return Err(not_a_week());
        }
        let year = year.parse().map_err(|_| not_a_week())?;
        let week = week.parse().map_err(|_| not_a_week())?;
        Self::new(year, week)
    }

    /// The week of a date.
    pub fn of_date(date: Date) -> Self {
        let iso = date.iso_week_date();
        Self {
            year: iso.year(),
            week: u8::try_from(iso.week()).unwrap_or(1),
        }
    }

    /// The week of an instant on the shop's calendar.
    pub fn of(instant: Micros, zone: &TimeZone) -> Self {
        Self::of_date(shop_day(instant, zone))
    }

    /// Its Monday. A week the calendar does not have runs on from week 1.
    pub fn monday(self) -> Date {
        let fourth = Date::new(self.year.clamp(-9998, 9998), 1, 4).unwrap_or(Date::ZERO);
        let days_back = i64::from(fourth.weekday().to_monday_zero_offset());
        let days = 7 * (i64::from(self.week) - 1) - days_back;
        fourth.saturating_add(days.days())
    }

    /// Its first instant and the first instant after it, in the shop's zone.
    /// In a week of a clock change that is 167 or 169 hours.
    pub fn range(self, zone: &TimeZone) -> (Micros, Micros) {
        let monday = self.monday();
        let next = monday.saturating_add(7.days());
        (day_range(monday, zone).0, day_range(next, zone).0)
    }

    /// The week before.
    #[must_use]
    pub fn previous(self) -> Self {
        Self::of_date(self.monday().saturating_sub(7.days()))
    }

    /// The week after.
    #[must_use]
    pub fn next(self) -> Self {
        Self::of_date(self.monday().saturating_add(7.days()))
    }
}

impl fmt::Display for Week {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{:04}-W{:02}", self.year, self.week))
    }
}

/// The date on the shop's calendar at an instant.
pub fn shop_day(instant: Micros, zone: &TimeZone) -> Date {
    instant.civil(zone).date()
}

/// The first instant of a date and the first instant after it, in the shop's
/// zone: 23, 24 or 25 hours apart.
///
/// Where the clocks skip midnight the day begins when they have gone forward;
/// where they repeat it, with the first of the two.
pub fn day_range(date: Date, zone: &TimeZone) -> (Micros, Micros) {
    let start = |date: Date| {
        let midnight = date.to_datetime(Time::midnight());
        match zone.to_timestamp(midnight) {
            Ok(timestamp) => Micros::from_timestamp(timestamp),
            // Only at the two ends of the calendar.
            Err(_) if date.year() < 0 => Micros::from_timestamp(jiff::Timestamp::MIN),
            Err(_) => Micros::from_timestamp(jiff::Timestamp::MAX),
        }
    };
    (start(date), start(date.saturating_add(1.day())))
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use proptest::prelude::*;

    use super::super::{HOUR_US, zone};
    use super::*;

    #[test]
    fn weeks_are_those_of_iso_8601() {
        // Python's datetime.isocalendar, checked against the rule of ISO 8601:2004, 2.2.10.
        for (date, week) in [
            ((2017, 1, 2), "2017-W01"),
            ((2017, 12, 28), "2017-W52"),
            ((2018, 1, 1), "2018-W01"),
            ((2019, 12, 30), "2020-W01"),
            ((2020, 12, 31), "2020-W53"),
            ((2021, 1, 3), "2020-W53"),
            ((2026, 12, 31), "2026-W53"),
            ((2027, 1, 4), "2027-W01"),
            ((2026, 11, 23), "2026-W48"),
        ] {
            let date = Date::new(date.0, date.1, date.2).unwrap();
            assert_eq!(Week::of_date(date).to_string(), week, "{date}");
        }
    }

    #[test]
    fn a_week_reads_back_and_a_week_that_is_not_there_is_refused() {
        let week = Week {
            year: 2026,
            week: 48,
        };
        for text in ["2026-W48", "2026-w48", "2026W48", " 2026-W48 "] {
            assert_eq!(Week::parse(text), Ok(week), "{text}");
        }
        for text in [
            "2026-48",
            "48",
            "2026-W",
            "26-W48",
            "2026-W048",
            "2026-W+8",
            "-026-W08",
        ] {
            assert!(
                matches!(Week::parse(text), Err(TimeError::NotAWeek { .. })),
                "{text}"
            );
        }
        // 2026 is a year of 53 weeks, 2025 of 52.
        assert!(Week::parse("2026-W53").is_ok());
        let error = Week::parse("2025-W53").unwrap_err();
        assert!(error.to_string().contains("week 52"), "{error}");
        assert!(Week::parse("2026-W00").is_err());
    }

    #[test]
    fn a_week_of_a_clock_change_has_an_hour_more_or_less() {
        for (zone_name, week, hours) in [
            ("America/Chicago", "2026-W10", 167),
            ("Europe/Berlin", "2026-W13", 167),
            ("Europe/Berlin", "2026-W43", 169),
            ("Europe/Berlin", "2026-W48", 168),
            ("Asia/Kolkata", "2026-W43", 168),
        ] {
            let zone = zone(zone_name).unwrap();
            let (from, until) = Week::parse(week).unwrap().range(&zone);
            assert_eq!(until.since(from), hours * HOUR_US, "{zone_name} {week}");
            assert_eq!(Week::of(from, &zone).to_string(), week);
            assert_eq!(Week::of(until, &zone), Week::parse(week).unwrap().next());
        }
    }

    #[test]
    fn a_day_without_midnight_begins_after_the_gap() {
        // Cairo's clocks go from 24:00 on Thursday 23 April 2026 to 01:00 on Friday.
        let cairo = zone("Africa/Cairo").unwrap();
        let date = Date::new(2026, 4, 24).unwrap();
        let (from, until) = day_range(date, &cairo);
        let want: Timestamp = "2026-04-23T22:00:00Z".parse().unwrap();
        assert_eq!(from, Micros::from(want));
        assert_eq!(until.since(from), 23 * HOUR_US);
        assert_eq!(shop_day(from, &cairo), date);
        assert_eq!(
            shop_day(from.saturating_sub(1), &cairo),
            date.yesterday().unwrap()
        );
    }

    proptest! {
        #[test]
        fn days_and_weeks_tile_time(us in -60_000_000_000_000_000..60_000_000_000_000_000_i64, which in 0..4_usize) {
            let names = ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Africa/Cairo"];
            let (at, zone) = (Micros(us), zone(names[which]).unwrap());
            let week = Week::of(at, &zone);
            let (from, until) = week.range(&zone);
            prop_assert!(from <= at && at < until);
            prop_assert_eq!(week.next().range(&zone).0, until);
            prop_assert_eq!(week.next().previous(), week);
            prop_assert_eq!(Week::parse(&week.to_string()), Ok(week));
            let (from, until) = day_range(shop_day(at, &zone), &zone);
            prop_assert!(from <= at && at < until);
        }

        #[test]
        fn no_week_panics(year in any::<i16>(), week in any::<u8>()) {
            let week = Week { year, week };
            let _ = (week.next(), week.previous(), week.range(&zone("Europe/Berlin").unwrap()));
        }
    }
}
