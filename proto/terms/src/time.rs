//! Instants, spans, civil times as typed, ISO weeks.

mod at;
mod span;
mod week;
mod zone;

use std::fmt;

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

pub use at::{FUTURE_SLACK_US, parse_at};
pub use span::{SPAN_MAX_US, format_days, format_h_mm, format_min_sec, format_span, parse_span};
pub use week::{Week, day_range, shop_day};
pub use zone::{tzdb_version, zone};

/// An instant: Unix microseconds, UTC.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micros(pub i64);

/// Microseconds in a second, a minute, an hour and a day of 24 hours.
pub const SECOND_US: i64 = 1_000_000;
pub const MINUTE_US: i64 = 60 * SECOND_US;
pub const HOUR_US: i64 = 60 * MINUTE_US;
pub const DAY_US: i64 = 24 * HOUR_US;

/// Why a time, a span or a week could not be read. Each message says how to
/// write it instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    #[error("`{text}` is not a span of time: write it like 10m, 1h30 or 45 min")]
    NotASpan { text: String },
    #[error("`{text}` has no unit: write {text}m for minutes or {text}h for hours")]
    SpanWithoutUnit { text: String },
    #[error("`{text}` is longer than 400 days")]
    SpanTooLong { text: String },
    #[error(
        "`{text}` is not a time: write it like 14:05, yesterday 14:05, mon 14:05 or 2026-11-12 14:05"
    )]
    NotATime { text: String },
    #[error("`{text}` is in the future, and a fact is of the past")]
    InTheFuture { text: String },
    #[error(
        "{civil} was there twice, because the clocks went back: write `{first}` for the first or `{second}` for the second"
    )]
    Repeated {
        civil: String,
        first: String,
        second: String,
    },
    #[error("{civil} was not there, because the clocks went forward at {at}")]
    Skipped { civil: String, at: String },
    #[error("{civil} was not at {offset} in {zone}, it was at {right}")]
    WrongOffset {
        civil: String,
        offset: String,
        zone: String,
        right: String,
    },
    #[error("`{text}` is not a week: write it like 2026-W48")]
    NotAWeek { text: String },
    #[error("{year} has no week {week}: it ends with week {last}")]
    NoSuchWeek { year: i16, week: u8, last: u8 },
    #[error("`{name}` is not a time zone: write an IANA name like Europe/Berlin")]
    NoSuchZone { name: String },
}

impl Micros {
    /// The instant of a timestamp, cut to the microsecond.
    pub fn from_timestamp(timestamp: Timestamp) -> Self {
        Self(timestamp.as_microsecond())
    }

    /// The timestamp of this instant, stopped at the ends of the calendar
    /// (years −9999 and 9999).
    pub fn timestamp(self) -> Timestamp {
        Timestamp::from_microsecond(self.0).unwrap_or(if self.0 < 0 {
            Timestamp::MIN
        } else {
            Timestamp::MAX
        })
    }

    /// The instant `span_us` later, or `None` beyond 64 bits.
    pub fn checked_add(self, span_us: i64) -> Option<Self> {
        self.0.checked_add(span_us).map(Self)
    }

    /// The instant `span_us` earlier, or `None` beyond 64 bits.
    pub fn checked_sub(self, span_us: i64) -> Option<Self> {
        self.0.checked_sub(span_us).map(Self)
    }

    /// The instant `span_us` later, stopped at the ends of 64 bits.
    #[must_use]
    pub fn saturating_add(self, span_us: i64) -> Self {
        Self(self.0.saturating_add(span_us))
    }

    /// The instant `span_us` earlier, stopped at the ends of 64 bits.
    #[must_use]
    pub fn saturating_sub(self, span_us: i64) -> Self {
        Self(self.0.saturating_sub(span_us))
    }

    /// Microseconds from `earlier` to this instant, below zero where it is later.
    pub fn since(self, earlier: Self) -> i64 {
        self.0.saturating_sub(earlier.0)
    }

    /// What the shop's clock showed.
    pub fn civil(self, zone: &TimeZone) -> DateTime {
        zone.to_datetime(self.timestamp())
    }

    /// Date and time on the shop's clock: `2026-11-12 14:05`.
    pub fn date_and_clock(self, zone: &TimeZone) -> String {
        let civil = self.civil(zone);
        format!("{} {:02}:{:02}", civil.date(), civil.hour(), civil.minute())
    }

    /// Time of day on the shop's clock: `14:05`.
    pub fn clock(self, zone: &TimeZone) -> String {
        let civil = self.civil(zone);
        format!("{:02}:{:02}", civil.hour(), civil.minute())
    }
}

impl From<Timestamp> for Micros {
    fn from(timestamp: Timestamp) -> Self {
        Self::from_timestamp(timestamp)
    }
}

/// RFC 3339 in UTC.
impl fmt::Display for Micros {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.timestamp().to_string())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn instants_turn_into_rfc_3339_and_back() {
        // Worked with a general-purpose date library from RFC 3339 texts.
        for (text, micros) in [
            ("1970-01-01T00:00:00Z", 0),
            ("2024-02-29T23:59:59.999Z", 1_709_251_199_999_000),
            ("2026-12-31T23:59:59+14:00", 1_798_711_199_000_000),
            ("2038-01-19T03:14:08Z", 2_147_483_648_000_000),
            ("2025-07-01T00:00:00.123456+05:30", 1_751_308_200_123_456),
        ] {
            let timestamp: Timestamp = text.parse().unwrap();
            assert_eq!(Micros::from(timestamp), Micros(micros), "{text}");
            assert_eq!(Micros(micros).timestamp(), timestamp, "{text}");
        }
        assert_eq!(Micros(0).to_string(), "1970-01-01T00:00:00Z");
    }

    #[test]
    fn the_shop_reads_its_own_clock() {
        let berlin = zone("Europe/Berlin").unwrap();
        let at = Micros::from("2026-11-12T13:05:59Z".parse::<Timestamp>().unwrap());
        assert_eq!(at.date_and_clock(&berlin), "2026-11-12 14:05");
        assert_eq!(at.clock(&berlin), "14:05");
    }

    proptest! {
        #[test]
        fn no_instant_panics(us in any::<i64>(), span in any::<i64>()) {
            let (at, berlin) = (Micros(us), zone("Europe/Berlin").unwrap());
            let _ = (at.timestamp(), at.date_and_clock(&berlin), at.saturating_add(span).since(at));
            prop_assert_eq!(at.checked_add(span).is_some(), us.checked_add(span).is_some());
        }
    }
}
