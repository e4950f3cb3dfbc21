//! Instants as the shop's wall calendar and clock show them.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::fmt::strtime;
use jiff::tz::{TimeZone, TimeZoneDatabase};

/// Shown for an instant that no calendar has.
const NO_INSTANT: &str = "unknown";

/// The shop's zone, to print instants in.
#[derive(Debug, Clone)]
pub struct Calendar {
    zone: TimeZone,
    name: String,
}

impl Calendar {
    /// The calendar of an IANA zone; UTC, and named so, where the zone is not
    /// known here.
    pub fn of(zone: &str) -> Self {
        // The data built in: looking through the system folder takes longer
        // than the whole answer.
        TimeZoneDatabase::bundled().get(zone).map_or_else(
            |_| Self {
                zone: TimeZone::UTC,
                name: "UTC".to_owned(),
            },
            |found| Self {
                zone: found,
                name: zone.to_owned(),
            },
        )
    }

    /// The name of the zone that is printed in.
    pub fn zone_name(&self) -> &str {
        &self.name
    }

    /// The zone itself.
    pub(super) fn zone(&self) -> &TimeZone {
        &self.zone
    }

    /// `Mon 23 Nov 2026`.
    pub fn day(&self, at_us: i64) -> String {
        self.print("%a %-d %b %Y", at_us)
    }

    /// `Mon 23 Nov`.
    pub fn day_of_year(&self, at_us: i64) -> String {
        self.print("%a %-d %b", at_us)
    }

    /// `Mon 23`.
    pub fn day_of_month(&self, at_us: i64) -> String {
        self.print("%a %-d", at_us)
    }

    /// `23 Nov`.
    pub fn day_and_month(&self, at_us: i64) -> String {
        self.print("%-d %b", at_us)
    }

    /// `Tue 08:10`.
    pub(super) fn day_and_time_of_week(&self, at_us: i64) -> String {
        self.print("%a %H:%M", at_us)
    }

    /// `08:10`.
    pub fn time(&self, at_us: i64) -> String {
        self.print("%H:%M", at_us)
    }

    /// `Mon 23 Nov 2026 08:10`.
    pub fn day_and_time(&self, at_us: i64) -> String {
        self.print("%a %-d %b %Y %H:%M", at_us)
    }

    /// `Mon 23 Nov 08:10`.
    pub fn short_day_and_time(&self, at_us: i64) -> String {
        self.print("%a %-d %b %H:%M", at_us)
    }

    /// The date and the clock on the shop's wall.
    pub fn civil(&self, at_us: i64) -> Option<DateTime> {
        let at = Timestamp::from_microsecond(at_us).ok()?;
        Some(at.to_zoned_datetime(self.zone.clone()).datetime())
    }

    fn print(&self, format: &str, at_us: i64) -> String {
        Timestamp::from_microsecond(at_us)
            .ok()
            .and_then(|at| strtime::format(format, &at.to_zoned_datetime(self.zone.clone())).ok())
            .unwrap_or_else(|| NO_INSTANT.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_are_shown_in_the_zone_of_the_shop() {
        // 2026-10-25 01:30 UTC is 02:30 in Berlin, half an hour after the change back.
        let at_us = 1_792_891_800_000_000;
        assert_eq!(
            Calendar::of("Europe/Berlin").day_and_time(at_us),
            "Sun 25 Oct 2026 02:30"
        );
        assert_eq!(
            Calendar::of("America/Chicago").short_day_and_time(at_us),
            "Sat 24 Oct 20:30"
        );
    }

    #[test]
    fn an_unknown_zone_says_utc_and_an_impossible_instant_says_so() {
        assert_eq!(Calendar::of("Nowhere/Land").zone_name(), "UTC");
        assert_eq!(Calendar::of("UTC").time(i64::MAX), "unknown");
    }
}
