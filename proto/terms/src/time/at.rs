//! A past moment as people type it, in the shop's zone.

use jiff::ToSpan;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use super::{MINUTE_US, Micros, TimeError};

/// How far after now a typed time may lie and still count as the past: the
/// bay's clock and the wall clock beside it need not agree to the minute.
pub const FUTURE_SLACK_US: i64 = 2 * MINUTE_US;

/// Reads a past moment as typed, on the clock of the shop's zone.
///
/// `14:05` and `14:05:30` are the most recent such time, today or yesterday;
/// `today`, `yesterday`, a weekday or a date may stand before it. A time that
/// was there twice asks for its offset (`01:30+02:00`), of which the pass
/// still to come does not count. A date with another zone's offset, or `Z`, is
/// that exact moment. What lies more than [`FUTURE_SLACK_US`] ahead is refused.
pub fn parse_at(text: &str, zone: &TimeZone, now: Micros) -> Result<Micros, TimeError> {
    let text = text.trim();
    let typed = Typed::read(text).ok_or_else(|| TimeError::NotATime { text: text.into() })?;
    let today = match (typed.offset, typed.day) {
        // With an offset alone the calendar is that offset's own.
        (Some(offset), Day::Latest) => offset.to_datetime(now.timestamp()).date(),
        _ => now.civil(zone).date(),
    };
    let moment = Moment {
        text,
        time: typed.time,
        offset: typed.offset,
        exact: matches!(typed.day, Day::Date(_)),
        zone,
        latest: now.saturating_add(FUTURE_SLACK_US),
    };
    match typed.day {
        Day::Date(date) => moment.on_or_future(date),
        Day::Today => moment.on_or_future(today),
        Day::Yesterday => moment.on_or_future(today.saturating_sub(1.day())),
        Day::Latest => moment.latest_of(today, 1),
        Day::Weekday(weekday) => {
            let back = (today.weekday().to_monday_zero_offset() - weekday).rem_euclid(7);
            moment.latest_of(today.saturating_sub(i64::from(back).days()), 7)
        }
    }
}

/// Which day a typed time is of.
#[derive(Clone, Copy)]
enum Day {
    /// The most recent on which the time is past.
    Latest,
    Today,
    Yesterday,
    /// Days after Monday.
    Weekday(i8),
    Date(Date),
}

struct Typed {
    day: Day,
    time: Time,
    offset: Option<Offset>,
}

impl Typed {
    fn read(text: &str) -> Option<Self> {
        let (day, clock) = match text.rsplit_once([' ', 'T', 't']) {
            Some((day, clock)) => (read_day(day.trim())?, clock),
            None => (Day::Latest, text),
        };
        let (clock, offset) = split_offset(clock)?;
        Some(Self {
            day,
            time: read_clock(clock)?,
            offset,
        })
    }
}

fn read_day(text: &str) -> Option<Day> {
    let lower = text.to_lowercase();
    match lower.as_str() {
        "today" => return Some(Day::Today),
        "yesterday" => return Some(Day::Yesterday),
        _ => {}
    }
    let names = [
        "monday",
        "tuesday",
        "wednesday",
        "thursday",
        "friday",
        "saturday",
        "sunday",
    ];
    if lower.len() >= 2
        && let Some(index) = names.iter().position(|name| name.starts_with(&lower))
    {
        return i8::try_from(index).ok().map(Day::Weekday);
    }
    let mut parts = text.split('-');
    let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() || year.len() != 4 {
        return None;
    }
    let date = Date::new(number(year)?, number(month)?, number(day)?).ok()?;
    Some(Day::Date(date))
}

/// Digits only: no sign, no blanks.
fn number<T: std::str::FromStr>(text: &str) -> Option<T> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

fn split_offset(clock: &str) -> Option<(&str, Option<Offset>)> {
    if let Some(clock) = clock.strip_suffix(['Z', 'z']) {
        return Some((clock, Some(Offset::UTC)));
    }
    let Some(at) = clock.find(['+', '-', '\u{2212}']) else {
        return Some((clock, None));
    };
    let (clock, offset) = clock.split_at(at);
    let east = offset.starts_with('+');
    let digits: String = offset.chars().skip(1).filter(|c| *c != ':').collect();
    let (hours, minutes) = match digits.len() {
        1 | 2 => (number::<i32>(&digits)?, 0),
        4 => (number::<i32>(digits.get(..2)?)?, number(digits.get(2..)?)?),
        _ => return None,
    };
    if minutes > 59 {
        return None;
    }
    let seconds = (hours * 60 + minutes) * 60;
    let offset = Offset::from_seconds(if east { seconds } else { -seconds }).ok()?;
    Some((clock, Some(offset)))
}

/// `14:05`, `14:05:30` or `14:05:30.25`.
fn read_clock(text: &str) -> Option<Time> {
    let mut parts = text.split(':');
    let (hour, minute, second) = (parts.next()?, parts.next()?, parts.next());
    if parts.next().is_some() || hour.len() > 2 || minute.len() != 2 {
        return None;
    }
    let (second, fraction) = match second {
        None => ("00", ""),
        Some(second) => second.split_once('.').unwrap_or((second, "")),
    };
    if second.len() != 2 || fraction.len() > 6 {
        return None;
    }
    let micros: i32 = number(&format!("{fraction:0<6}"))?;
    Time::new(
        number(hour)?,
        number(minute)?,
        number(second)?,
        micros * 1_000,
    )
    .ok()
}

/// A typed time of day, about to be put on a day.
struct Moment<'a> {
    text: &'a str,
    time: Time,
    offset: Option<Offset>,
    /// An offset need not be one of the shop's zone.
    exact: bool,
    zone: &'a TimeZone,
    /// Last instant that counts as past.
    latest: Micros,
}

impl Moment<'_> {
    fn on_or_future(&self, date: Date) -> Result<Micros, TimeError> {
        self.on(date)?.ok_or_else(|| TimeError::InTheFuture {
            text: self.text.into(),
        })
    }

    /// On this date, or where that is still to come, so many days before.
    fn latest_of(&self, date: Date, days_before: i64) -> Result<Micros, TimeError> {
        match self.on(date)? {
            Some(instant) => Ok(instant),
            None => self.on_or_future(date.saturating_sub(days_before.days())),
        }
    }

    /// The instant on a date; `None` where it is still to come.
    fn on(&self, date: Date) -> Result<Option<Micros>, TimeError> {
        let civil = date.to_datetime(self.time);
        let past = |offset: Offset| {
            let instant = Micros::from_timestamp(offset.to_timestamp(civil).ok()?);
            (instant <= self.latest).then_some(instant)
        };
        let offsets = self.zone.to_ambiguous_timestamp(civil).offset();
        if let Some(offset) = self.offset {
            let instant = past(offset);
            if instant.is_some() && !self.exact {
                self.check_offset(civil, offset, offsets)?;
            }
            return Ok(instant);
        }
        match offsets {
            AmbiguousOffset::Unambiguous { offset } => Ok(past(offset)),
            // Read with the offset after it, a skipped time lies before the gap.
            AmbiguousOffset::Gap { before, after } => match past(after) {
                None => Ok(None),
                Some(_) => Err(TimeError::Skipped {
                    civil: show(civil),
                    at: self.gap_start(civil, before, after),
                }),
            },
            AmbiguousOffset::Fold { before, after } => match (past(before), past(after)) {
                (Some(_), Some(_)) => Err(self.repeated(civil, before, after)),
                (first, _) => Ok(first),
            },
        }
    }

    /// An offset beside a time of day must be one that the shop's clock had.
    fn check_offset(
        &self,
        civil: DateTime,
        offset: Offset,
        offsets: AmbiguousOffset,
    ) -> Result<(), TimeError> {
        let (right, also) = match offsets {
            AmbiguousOffset::Unambiguous { offset } => (offset, offset),
            AmbiguousOffset::Fold { before, after } => (before, after),
            AmbiguousOffset::Gap { before, after } => {
                return Err(TimeError::Skipped {
                    civil: show(civil),
                    at: self.gap_start(civil, before, after),
                });
            }
        };
        if offset == right || offset == also {
            return Ok(());
        }
        Err(TimeError::WrongOffset {
            civil: show(civil),
            offset: show_offset(offset),
            zone: self.zone.iana_name().unwrap_or("the shop").to_owned(),
            right: show_offset(right),
        })
    }

    fn repeated(&self, civil: DateTime, before: Offset, after: Offset) -> TimeError {
        let with = |offset: Offset| {
            format!(
                "{}{}",
                self.text.trim_end_matches(['Z', 'z']),
                show_offset(offset)
            )
        };
        TimeError::Repeated {
            civil: show(civil),
            first: with(before),
            second: with(after),
        }
    }

    /// What the clock showed when it went forward over `civil`.
    fn gap_start(&self, civil: DateTime, before: Offset, after: Offset) -> String {
        // Read with the offset before the gap, a skipped time lies after it.
        let change = before.to_timestamp(civil).ok().and_then(|inside| {
            self.zone
                .preceding(inside)
                .next()
                .map(|transition| before.to_datetime(transition.timestamp()))
        });
        match change {
            Some(change) => format!("{:02}:{:02}", change.hour(), change.minute()),
            None => format!("the change to {}", show_offset(after)),
        }
    }
}

fn show(civil: DateTime) -> String {
    format!("{} {:02}:{:02}", civil.date(), civil.hour(), civil.minute())
}

/// `+02:00`, as it is typed.
fn show_offset(offset: Offset) -> String {
    let minutes = offset.seconds() / 60;
    let sign = if minutes < 0 { '-' } else { '+' };
    let size = minutes.abs();
    format!("{sign}{:02}:{:02}", size / 60, size % 60)
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use proptest::prelude::*;

    use super::super::zone;
    use super::*;

    fn instant(text: &str) -> Micros {
        Micros::from(text.parse::<Timestamp>().unwrap())
    }

    fn at(text: &str, zone_name: &str, now: &str) -> Result<Micros, TimeError> {
        parse_at(text, &zone(zone_name).unwrap(), instant(now))
    }

    #[test]
    fn a_time_is_the_most_recent_past_one() {
        // Thursday 12 November 2026, 15:00 in Berlin.
        let now = "2026-11-12T14:00:00Z";
        for (text, want) in [
            ("14:05", "2026-11-12T13:05:00Z"),
            ("14:05:30", "2026-11-12T13:05:30Z"),
            ("9:30", "2026-11-12T08:30:00Z"),
            ("15:02", "2026-11-12T14:02:00Z"),
            ("15:03", "2026-11-11T14:03:00Z"),
            ("23:50", "2026-11-11T22:50:00Z"),
            ("today 14:05", "2026-11-12T13:05:00Z"),
            ("yesterday 14:05", "2026-11-11T13:05:00Z"),
            ("mon 14:05", "2026-11-09T13:05:00Z"),
            ("Monday 14:05", "2026-11-09T13:05:00Z"),
            ("thu 14:05", "2026-11-12T13:05:00Z"),
            ("thu 16:00", "2026-11-05T15:00:00Z"),
            ("fri 14:05", "2026-11-06T13:05:00Z"),
            ("2026-11-12 14:05", "2026-11-12T13:05:00Z"),
            ("2026-11-12T14:05", "2026-11-12T13:05:00Z"),
            ("2026-07-01 08:00:15.25", "2026-07-01T06:00:15.25Z"),
            ("2026-11-12T13:05:00Z", "2026-11-12T13:05:00Z"),
            ("2026-11-12T08:05:00-05:00", "2026-11-12T13:05:00Z"),
            ("14:05+01:00", "2026-11-12T13:05:00Z"),
        ] {
            assert_eq!(at(text, "Europe/Berlin", now), Ok(instant(want)), "{text}");
        }
    }

    #[test]
    fn a_time_to_come_is_refused_where_its_day_was_said() {
        for text in ["today 18:00", "2026-11-12 15:03", "2027-01-01 08:00"] {
            let error = at(text, "Europe/Berlin", "2026-11-12T14:00:00Z").unwrap_err();
            assert!(
                matches!(error, TimeError::InTheFuture { .. }),
                "{text}: {error}"
            );
        }
    }

    #[test]
    fn what_is_no_time_says_how_to_write_it() {
        for text in [
            "",
            "2.05pm",
            "1405",
            "24:00",
            "12:60",
            "14:5",
            "12/11 14:05",
            "someday 14:05",
            "2026-02-30 08:00",
            "2026-11-12",
            "14:05:30:10",
            "14:05+25:00:00",
            "+14:05",
            "m 14:05",
        ] {
            let error = at(text, "Europe/Berlin", "2026-11-12T14:00:00Z").unwrap_err();
            assert!(
                error.to_string().contains("14:05, yesterday"),
                "{text}: {error}"
            );
        }
    }

    #[test]
    fn a_repeated_hour_asks_for_the_offset() {
        // IANA data: Berlin went from 03:00 +02:00 to 02:00 +01:00 on 25 October 2026, 01:00 UTC;
        // New York from 02:00 -04:00 to 01:00 -05:00 on 1 November 2026, 06:00 UTC.
        let error = at("02:30", "Europe/Berlin", "2026-10-25T09:00:00Z").unwrap_err();
        assert_eq!(
            error,
            TimeError::Repeated {
                civil: "2026-10-25 02:30".into(),
                first: "02:30+02:00".into(),
                second: "02:30+01:00".into(),
            }
        );
        for (text, zone, now, want) in [
            (
                "02:30+02:00",
                "Europe/Berlin",
                "2026-10-25T09:00:00Z",
                "2026-10-25T00:30:00Z",
            ),
            (
                "02:30+01:00",
                "Europe/Berlin",
                "2026-10-25T09:00:00Z",
                "2026-10-25T01:30:00Z",
            ),
            (
                "2026-11-01 01:30-05:00",
                "America/New_York",
                "2026-11-02T09:00:00Z",
                "2026-11-01T06:30:00Z",
            ),
            (
                "sun 01:30-04:00",
                "America/New_York",
                "2026-11-02T09:00:00Z",
                "2026-11-01T05:30:00Z",
            ),
            // Before the clocks go back only the first pass is past.
            (
                "02:10",
                "Europe/Berlin",
                "2026-10-25T00:30:00Z",
                "2026-10-25T00:10:00Z",
            ),
        ] {
            assert_eq!(at(text, zone, now), Ok(instant(want)), "{text}");
        }
    }

    #[test]
    fn a_skipped_hour_is_said_to_be_one() {
        // IANA data: New York went from 02:00 to 03:00 on 8 March 2026, 07:00 UTC.
        for text in ["02:30", "2026-03-08 02:30", "02:30-05:00"] {
            let error = at(text, "America/New_York", "2026-03-08T15:00:00Z").unwrap_err();
            let want = TimeError::Skipped {
                civil: "2026-03-08 02:30".into(),
                at: "02:00".into(),
            };
            assert_eq!(error, want, "{text}");
        }
        // Before the change the most recent half past two is yesterday's.
        assert_eq!(
            at("02:30", "America/New_York", "2026-03-08T06:00:00Z"),
            Ok(instant("2026-03-07T07:30:00Z"))
        );
    }

    #[test]
    fn an_offset_that_the_shop_did_not_have_is_refused() {
        let error = at("02:30+02:00", "Europe/Berlin", "2026-10-26T09:00:00Z").unwrap_err();
        assert!(matches!(error, TimeError::WrongOffset { .. }), "{error}");
        assert!(error.to_string().contains("+01:00"), "{error}");
    }

    proptest! {
        #[test]
        fn a_bare_time_lies_in_the_last_day_and_reads_back(
            now_us in 1_600_000_000_000_000..1_900_000_000_000_000_i64, hour in 0..24, minute in 0..60,
        ) {
            let berlin = zone("Europe/Berlin").unwrap();
            let now = Micros(now_us);
            let text = format!("{hour:02}:{minute:02}");
            match parse_at(&text, &berlin, now) {
                Ok(got) => {
                    prop_assert!(got <= now.saturating_add(FUTURE_SLACK_US));
                    prop_assert!(now.since(got) < 25 * super::super::HOUR_US);
                    prop_assert_eq!(got.clock(&berlin), text);
                    let full = got.date_and_clock(&berlin);
                    let again = parse_at(&full, &berlin, now);
                    let repeated = matches!(again, Err(TimeError::Repeated { .. }));
                    prop_assert!(again == Ok(got) || repeated);
                }
                Err(error) => {
                    let known = matches!(error, TimeError::Repeated { .. } | TimeError::Skipped { .. });
                    prop_assert!(known, "{}", error);
                }
            }
        }

        #[test]
        fn no_text_panics(text in "\\PC*", now in any::<i64>()) {
            let _ = parse_at(&text, &zone("Europe/Berlin").unwrap(), Micros(now));
        }
    }
}
