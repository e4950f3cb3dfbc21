//! Instants as other programs read them.

use jiff::Timestamp;
use jiff::fmt::strtime;
use jiff::tz::TimeZone;

/// The ends of the years 1 to 9999, seconds: beyond them no format that other
/// programs read has a notation.
const YEAR_1_S: i64 = -62_135_596_800;
const YEAR_9999_END_S: i64 = 253_402_300_799;
/// Two days: room for any offset within the years, and for the latest instant
/// that jiff knows.
const ROOM_S: i64 = 172_800;

/// RFC 3339 with all six digits, so that the column sorts as text.
pub(super) fn utc(at_us: i64) -> String {
    Timestamp::from_microsecond(at_us)
        .ok()
        .and_then(|at| strtime::format("%Y-%m-%dT%H:%M:%S.%6fZ", at).ok())
        .unwrap_or_default()
}

/// A form that spreadsheets read as date and time.
pub(super) fn local(at_us: i64, zone: &TimeZone) -> String {
    Timestamp::from_microsecond(at_us)
        .ok()
        .and_then(|at| {
            let at = at.to_zoned_datetime(zone.clone());
            strtime::format("%Y-%m-%d %H:%M:%S", &at).ok()
        })
        .unwrap_or_default()
}

/// As `xs:dateTime`, with the offset of the zone and all six digits. An
/// instant beyond the years 1 to 9999 becomes the nearest one within.
pub(super) fn xml(at_us: i64, zone: &TimeZone) -> String {
    let lowest = (YEAR_1_S + ROOM_S) * 1_000_000;
    let highest = (YEAR_9999_END_S - ROOM_S) * 1_000_000;
    let Ok(at) = Timestamp::from_microsecond(at_us.clamp(lowest, highest)) else {
        return String::new();
    };
    let zoned = at.to_zoned_datetime(zone.clone());
    // The local mean times of old have offsets with seconds, which the format
    // cannot write.
    let whole_minutes = zoned.offset().seconds() % 60 == 0;
    let zoned = if whole_minutes {
        zoned
    } else {
        at.to_zoned_datetime(TimeZone::UTC)
    };
    strtime::format("%Y-%m-%dT%H:%M:%S.%6f%:z", &zoned).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_is_a_valid_xml_date_whatever_it_is() {
        let berlin = TimeZone::get("Europe/Berlin").unwrap();
        for (at_us, zone, written) in [
            (
                1_795_529_100_000_001,
                &berlin,
                "2026-11-24T15:05:00.000001+01:00",
            ),
            (
                1_795_529_100_000_000,
                &TimeZone::UTC,
                "2026-11-24T14:05:00.000000+00:00",
            ),
            // Before 1893 Berlin was 53 minutes and 28 seconds ahead.
            (
                -2_500_000_000_000_000,
                &berlin,
                "1890-10-11T19:33:20.000000+00:00",
            ),
            (i64::MIN, &TimeZone::UTC, "0001-01-03T00:00:00.000000+00:00"),
            (i64::MAX, &TimeZone::UTC, "9999-12-29T23:59:59.000000+00:00"),
        ] {
            assert_eq!(xml(at_us, zone), written, "{at_us}");
        }
    }
}
