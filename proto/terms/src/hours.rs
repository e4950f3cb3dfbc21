//! Open hours and breaks: civil times of the week in the shop's zone.
//!
//! Rows that touch or overlap are one interval, over midnight too: a night
//! shift is two rows, until 1440 and from 0. An opening inside a skipped hour
//! is when the clocks have gone forward; inside a repeated hour an interval
//! opens with the first pass and closes with the second.

use jiff::ToSpan;
use jiff::civil::{Date, Time};
use jiff::tz::{AmbiguousOffset, TimeZone};
use serde::{Deserialize, Serialize};

use crate::time::{Micros, day_range, shop_day};

/// Minutes in a civil day; the end of a row that runs to midnight.
pub const DAY_MIN: u16 = 1_440;

/// Days searched for the next opening: a full week and the day itself. A shop
/// that opens at all opens within them.
const SEARCH_DAYS: i64 = 8;

/// Most days for which intervals are listed: forty years, so that a slip in
/// a date cannot fill the memory.
const LISTED_DAYS_MAX: usize = 14_610;

/// Civil time of a weekday, in minutes after midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct OpenHours {
    /// ISO weekday: 1 is Monday.
    pub weekday: u8,
    pub from_min: u16,
    /// At most 1440.
    pub until_min: u16,
}

/// What the open hours say about an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Session {
    /// See [`closing_after`].
    pub closing: Option<Micros>,
    /// The first opening after both the instant and the closing: whoever
    /// begins before opening belongs to the session that is about to open.
    pub next_opening: Option<Micros>,
}

/// The open intervals that overlap `from..until`, cut to it, in order and
/// without touching each other.
pub fn open_intervals(
    hours: &[OpenHours],
    zone: &TimeZone,
    from: Micros,
    until: Micros,
) -> Vec<(Micros, Micros)> {
    let mut cut = Vec::new();
    if hours.is_empty() || from >= until {
        return cut;
    }
    let (first, last) = (shop_day(from, zone), shop_day(until, zone));
    let days = days_from(first).take(LISTED_DAYS_MAX);
    for (opens, closes) in intervals_of_days(hours, zone, days.take_while(|day| *day <= last)) {
        let (opens, closes) = (opens.max(from), closes.min(until));
        if opens < closes {
            cut.push((opens, closes));
        }
    }
    cut
}

/// When the shop closes, seen from `t`:
///
/// 1. inside an open interval, its end;
/// 2. else, where one begins later on that shop day, the end of the first
///    such (who starts early belongs to the session about to open);
/// 3. else the end of the last interval of that day, which is at or before
///    `t` (who starts late began after closing);
/// 4. `None` where the shop does not open on that day, or never closes.
pub fn closing_after(hours: &[OpenHours], zone: &TimeZone, t: Micros) -> Option<Micros> {
    if hours.is_empty() {
        return None;
    }
    let today = shop_day(t, zone);
    let own = rows_of_day(hours, zone, today);
    // An interval that began yesterday is here with its row of today, and
    // ends with that.
    let mut last = None;
    for (_, closes) in joined(own.into_iter()) {
        last = Some(closes);
        if closes > t {
            break;
        }
    }
    let mut closing = last?;
    let mut day = today;
    for _ in 0..SEARCH_DAYS {
        let next = day.tomorrow().ok()?;
        let midnight = day_range(next, zone).0;
        if closing < midnight {
            return Some(closing);
        }
        // It runs to midnight: the next day may go on with it.
        let rows = joined(rows_of_day(hours, zone, next).into_iter());
        match rows.first() {
            Some((opens, closes)) if *opens <= closing => closing = closing.max(*closes),
            _ => return Some(closing),
        }
        day = next;
    }
    None
}

/// The first opening after `t`; `None` where the shop never opens.
pub fn next_opening_after(hours: &[OpenHours], zone: &TimeZone, t: Micros) -> Option<Micros> {
    if hours.is_empty() {
        return None;
    }
    let mut before: Option<Micros> = None;
    let today = shop_day(t, zone);
    // The end of yesterday tells whether midnight is an opening.
    for day in days_from(yesterday(today)).take(usize::try_from(SEARCH_DAYS + 2).unwrap_or(0)) {
        for (opens, closes) in rows_of_day(hours, zone, day) {
            if opens > t && before.is_none_or(|end| opens > end) {
                return Some(opens);
            }
            before = before.max(Some(closes));
        }
    }
    None
}

/// Closing and next opening at once, as the fold needs them for what began at `t`.
pub fn session_at(hours: &[OpenHours], zone: &TimeZone, t: Micros) -> Session {
    let closing = closing_after(hours, zone, t);
    let after = closing.map_or(t, |closing| closing.max(t));
    Session {
        closing,
        next_opening: next_opening_after(hours, zone, after),
    }
}

/// The breaks that lie wholly within `from..until`. One that work only began
/// or ended in is no crossing: the person was there.
pub fn breaks_crossed(
    breaks: &[OpenHours],
    zone: &TimeZone,
    from: Micros,
    until: Micros,
) -> Vec<(Micros, Micros)> {
    if breaks.is_empty() || from >= until {
        return Vec::new();
    }
    let last = shop_day(until, zone);
    let days = days_from(shop_day(from, zone)).take(LISTED_DAYS_MAX);
    days.take_while(|day| *day <= last)
        .flat_map(|day| rows_of_day(breaks, zone, day))
        .filter(|(begins, ends)| from <= *begins && *ends <= until)
        .collect()
}

fn yesterday(day: Date) -> Date {
    day.saturating_sub(1.day())
}

fn days_from(first: Date) -> impl Iterator<Item = Date> {
    std::iter::successors(Some(first), |day| day.tomorrow().ok())
}

/// The intervals of some days in a row, joined where they touch.
fn intervals_of_days(
    hours: &[OpenHours],
    zone: &TimeZone,
    days: impl Iterator<Item = Date>,
) -> Vec<(Micros, Micros)> {
    joined(days.flat_map(|day| rows_of_day(hours, zone, day)))
}

/// Joins ordered intervals where they touch.
fn joined(ordered: impl Iterator<Item = (Micros, Micros)>) -> Vec<(Micros, Micros)> {
    let mut joined: Vec<(Micros, Micros)> = Vec::new();
    for (opens, closes) in ordered {
        match joined.last_mut() {
            Some((_, end)) if opens <= *end => *end = closes.max(*end),
            _ => joined.push((opens, closes)),
        }
    }
    joined
}

/// The rows of one day as instants, by opening. Empty and reversed rows are
/// left out, and so are those that a skipped hour swallows.
fn rows_of_day(hours: &[OpenHours], zone: &TimeZone, day: Date) -> Vec<(Micros, Micros)> {
    let weekday = day.weekday().to_monday_one_offset();
    let mut rows: Vec<(Micros, Micros)> = hours
        .iter()
        .filter(|row| i8::try_from(row.weekday) == Ok(weekday))
        .filter(|row| row.from_min < row.until_min)
        .map(|row| {
            let opens = instant(day, row.from_min, zone, Pass::First);
            (opens, instant(day, row.until_min, zone, Pass::Second))
        })
        .filter(|(opens, closes)| opens < closes)
        .collect();
    rows.sort_unstable();
    rows
}

/// Which of the two passes of a repeated hour is meant.
#[derive(Clone, Copy)]
enum Pass {
    First,
    Second,
}

fn instant(day: Date, minutes: u16, zone: &TimeZone, pass: Pass) -> Micros {
    let (hour, minute) = (minutes / 60, minutes % 60);
    let time = i8::try_from(hour)
        .and_then(|hour| Ok((hour, i8::try_from(minute)?)))
        .ok()
        .and_then(|(hour, minute)| Time::new(hour, minute, 0, 0).ok());
    // 1440 and more is the end of the day, which is the start of the next.
    let Some(time) = time else {
        return day_range(day, zone).1;
    };
    let civil = day.to_datetime(time);
    let offset = match (zone.to_ambiguous_timestamp(civil).offset(), pass) {
        (AmbiguousOffset::Unambiguous { offset }, _) => offset,
        // Read with the offset before it, a skipped time is as long after the gap.
        (AmbiguousOffset::Gap { before, .. }, _)
        | (AmbiguousOffset::Fold { before, .. }, Pass::First) => before,
        (AmbiguousOffset::Fold { after, .. }, Pass::Second) => after,
    };
    match offset.to_timestamp(civil) {
        Ok(timestamp) => Micros::from_timestamp(timestamp),
        // Only at the two ends of the calendar.
        Err(_) => day_range(day, zone).0,
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use proptest::prelude::*;

    use super::*;
    use crate::time::{DAY_US, HOUR_US, MINUTE_US, zone};

    fn berlin() -> TimeZone {
        zone("Europe/Berlin").unwrap()
    }

    fn at(text: &str) -> Micros {
        Micros::from(text.parse::<Timestamp>().unwrap())
    }

    fn row(weekday: u8, from_min: u16, until_min: u16) -> OpenHours {
        OpenHours {
            weekday,
            from_min,
            until_min,
        }
    }

    /// Monday to Friday 8 to 12 and 13 to 17.
    fn split_week() -> Vec<OpenHours> {
        (1..=5)
            .flat_map(|day| [row(day, 480, 720), row(day, 780, 1_020)])
            .collect()
    }

    #[test]
    fn a_week_has_its_open_intervals() {
        let hours = split_week();
        let (from, until) = (at("2026-11-22T23:00:00Z"), at("2026-11-29T23:00:00Z"));
        let open = open_intervals(&hours, &berlin(), from, until);
        assert_eq!(open.len(), 10);
        assert_eq!(
            open[0],
            (at("2026-11-23T07:00:00Z"), at("2026-11-23T11:00:00Z"))
        );
        let cut = open_intervals(
            &hours,
            &berlin(),
            at("2026-11-23T08:30:00Z"),
            at("2026-11-23T12:15:00Z"),
        );
        assert_eq!(
            cut,
            [
                (at("2026-11-23T08:30:00Z"), at("2026-11-23T11:00:00Z")),
                (at("2026-11-23T12:00:00Z"), at("2026-11-23T12:15:00Z")),
            ]
        );
        assert!(open_intervals(&hours, &berlin(), until, from).is_empty());
        assert!(open_intervals(&[], &berlin(), from, until).is_empty());
    }

    #[test]
    fn closing_is_the_end_of_the_session_that_an_instant_belongs_to() {
        let hours = split_week();
        // Berlin time is UTC + 1 h; 2026-11-23 is a Monday, the 28th a Saturday.
        for (t, closing, next_opening) in [
            (
                "2026-11-23T09:00:00Z",
                Some("2026-11-23T11:00:00Z"),
                "2026-11-23T12:00:00Z",
            ),
            (
                "2026-11-23T06:30:00Z",
                Some("2026-11-23T11:00:00Z"),
                "2026-11-23T12:00:00Z",
            ),
            (
                "2026-11-23T11:30:00Z",
                Some("2026-11-23T16:00:00Z"),
                "2026-11-24T07:00:00Z",
            ),
            (
                "2026-11-23T11:00:00Z",
                Some("2026-11-23T16:00:00Z"),
                "2026-11-24T07:00:00Z",
            ),
            (
                "2026-11-23T16:00:00Z",
                Some("2026-11-23T16:00:00Z"),
                "2026-11-24T07:00:00Z",
            ),
            (
                "2026-11-27T19:00:00Z",
                Some("2026-11-27T16:00:00Z"),
                "2026-11-30T07:00:00Z",
            ),
            ("2026-11-28T09:00:00Z", None, "2026-11-30T07:00:00Z"),
        ] {
            let want = Session {
                closing: closing.map(at),
                next_opening: Some(at(next_opening)),
            };
            assert_eq!(session_at(&hours, &berlin(), at(t)), want, "{t}");
        }
        let never = Session {
            closing: None,
            next_opening: None,
        };
        assert_eq!(
            session_at(&[], &berlin(), at("2026-11-23T09:00:00Z")),
            never
        );
    }

    #[test]
    fn a_shop_that_opens_once_a_week_opens_again_next_week() {
        let hours = [row(1, 480, 1_020)];
        let opening = at("2026-11-23T07:00:00Z");
        let next = next_opening_after(&hours, &berlin(), opening);
        assert_eq!(next, Some(opening.saturating_add(7 * DAY_US)));
        let just_before = opening.saturating_sub(1);
        assert_eq!(
            next_opening_after(&hours, &berlin(), just_before),
            Some(opening)
        );
    }

    #[test]
    fn a_night_shift_is_one_interval_over_midnight() {
        let hours = [row(1, 1_320, 1_440), row(2, 0, 360)];
        let closes = at("2026-11-24T05:00:00Z");
        for t in [
            "2026-11-23T22:00:00Z",
            "2026-11-24T00:00:00Z",
            "2026-11-23T12:00:00Z",
        ] {
            assert_eq!(closing_after(&hours, &berlin(), at(t)), Some(closes), "{t}");
        }
        // Midnight inside the shift is no opening.
        assert_eq!(
            next_opening_after(&hours, &berlin(), at("2026-11-23T22:00:00Z")),
            Some(at("2026-11-30T21:00:00Z"))
        );
    }

    #[test]
    fn a_night_of_a_clock_change_is_longer_or_shorter() {
        // Open all Sunday; Berlin changes on 29 March and 25 October 2026.
        let hours = [row(7, 0, 1_440)];
        for (from, hours_open) in [("2026-03-28T23:00:00Z", 23), ("2026-10-24T22:00:00Z", 25)] {
            let from = at(from);
            let open = open_intervals(&hours, &berlin(), from, from.saturating_add(30 * HOUR_US));
            assert_eq!(open, [(from, from.saturating_add(hours_open * HOUR_US))]);
        }
        // 02:15 to 02:45 is skipped in March, and there twice in October.
        let hours = [row(7, 135, 165)];
        let october = open_intervals(
            &hours,
            &berlin(),
            at("2026-10-24T22:00:00Z"),
            at("2026-10-25T23:00:00Z"),
        );
        assert_eq!(
            october,
            [(at("2026-10-25T00:15:00Z"), at("2026-10-25T01:45:00Z"))]
        );
        let march = open_intervals(
            &hours,
            &berlin(),
            at("2026-03-28T23:00:00Z"),
            at("2026-03-29T22:00:00Z"),
        );
        assert_eq!(
            march,
            [(at("2026-03-29T01:15:00Z"), at("2026-03-29T01:45:00Z"))]
        );
    }

    #[test]
    fn a_break_is_crossed_only_as_a_whole() {
        let breaks = [row(1, 720, 750), row(2, 720, 750)];
        let noon = (at("2026-11-23T11:00:00Z"), at("2026-11-23T11:30:00Z"));
        for (from, until, crossed) in [
            ("2026-11-23T10:00:00Z", "2026-11-23T12:00:00Z", true),
            ("2026-11-23T11:00:00Z", "2026-11-23T11:30:00Z", true),
            ("2026-11-23T11:01:00Z", "2026-11-23T12:00:00Z", false),
            ("2026-11-23T10:00:00Z", "2026-11-23T11:29:00Z", false),
            ("2026-11-22T10:00:00Z", "2026-11-23T20:00:00Z", true),
        ] {
            let got = breaks_crossed(&breaks, &berlin(), at(from), at(until));
            assert_eq!(got == [noon], crossed, "{from} {until} {got:?}");
        }
        let both = breaks_crossed(
            &breaks,
            &berlin(),
            noon.0,
            noon.0.saturating_add(2 * DAY_US),
        );
        assert_eq!(both.len(), 2);
    }

    fn any_hours() -> impl Strategy<Value = Vec<OpenHours>> {
        let any_row = (0..=8_u8, 0..1_500_u16, 0..1_500_u16).prop_map(|(d, f, u)| row(d, f, u));
        proptest::collection::vec(any_row, 0..12)
    }

    proptest! {
        #[test]
        fn intervals_are_ordered_apart_and_agree_with_closing(
            hours in any_hours(), start_us in 1_700_000_000_000_000..1_800_000_000_000_000_i64, minutes in 1..40_000_i64,
        ) {
            let zone = zone("America/New_York").unwrap();
            let (from, until) = (Micros(start_us), Micros(start_us + minutes * MINUTE_US));
            let open = open_intervals(&hours, &zone, from, until);
            prop_assert!(open.iter().all(|(a, b)| from <= *a && a < b && *b <= until));
            prop_assert!(open.windows(2).all(|pair| pair[0].1 < pair[1].0));
            for pair in open.windows(2) {
                let next = next_opening_after(&hours, &zone, pair[0].0);
                prop_assert_eq!(next, Some(pair[1].0));
            }
            if let Some((a, b)) = open.iter().find(|(_, b)| b.since(from) > 0 && *b < until) {
                prop_assert!(closing_after(&hours, &zone, *a) >= Some(*b));
            }
        }

        /// Written from the definition alone, minute by minute.
        #[test]
        fn closing_is_where_a_walk_by_minutes_finds_it(
            hours in any_hours(), day in 1..28_i8, minute in 0..1_440_i64,
        ) {
            // March in UTC: civil minutes are instants there.
            let zone = zone("UTC").unwrap();
            let midnight = at(&format!("2026-03-{day:02}T00:00:00Z"));
            let is_open = |minutes: i64| {
                let weekday = midnight.civil(&zone).date().saturating_add(minutes.div_euclid(1_440).days()).weekday();
                let of_day = minutes.rem_euclid(1_440);
                hours.iter().any(|row| {
                    i8::try_from(row.weekday) == Ok(weekday.to_monday_one_offset())
                        && (i64::from(row.from_min)..i64::from(row.until_min.min(DAY_MIN))).contains(&of_day)
                })
            };
            let runs_until = |from: i64| (from..from + 9 * 1_440).find(|m| !is_open(*m));
            let begins = (minute..1_440).find(|m| is_open(*m));
            let want = match begins {
                Some(first) => runs_until(first),
                None => (0..minute).rev().find(|m| is_open(*m)).map(|last| last + 1),
            };
            let got = closing_after(&hours, &zone, midnight.saturating_add(minute * MINUTE_US));
            prop_assert_eq!(got, want.map(|m| midnight.saturating_add(m * MINUTE_US)));
            let next = (minute + 1..minute + 9 * 1_440).find(|m| is_open(*m) && !is_open(*m - 1));
            let got = next_opening_after(&hours, &zone, midnight.saturating_add(minute * MINUTE_US));
            prop_assert_eq!(got, next.map(|m| midnight.saturating_add(m * MINUTE_US)));
        }

        #[test]
        fn no_instant_panics(hours in any_hours(), t in any::<i64>()) {
            let zone = berlin();
            let session = session_at(&hours, &zone, Micros(t));
            if let Some(next) = session.next_opening {
                prop_assert!(next > Micros(t));
            }
            let _ = breaks_crossed(&hours, &zone, Micros(t), Micros(t).saturating_add(DAY_US));
        }
    }
}
