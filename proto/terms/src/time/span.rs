//! Spans of time as people type and read them.

use super::{DAY_US, HOUR_US, MINUTE_US, SECOND_US, TimeError};
use crate::amount::Decimal;

/// Longest span that can be typed: longer than any cure or visit, so more is
/// a slip.
pub const SPAN_MAX_US: i64 = 400 * DAY_US;

/// Reads a span as typed, in microseconds: `10m`, `1h30`, `1h30m`, `90s`,
/// `2 h`, `45 min`, `1.5h`, `7d`.
///
/// A day is 24 hours. A last number without a unit is of the unit below the
/// one before it (`1h30`); a lone number is refused, since nobody can tell
/// minutes from hours.
pub fn parse_span(text: &str) -> Result<i64, TimeError> {
    let text = text.trim();
    let not_a_span = || TimeError::NotASpan { text: text.into() };
    if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(TimeError::SpanWithoutUnit { text: text.into() });
    }
    let mut rest = text;
    let mut total_us: i128 = 0;
    let mut last_unit_us = i64::MAX;
    let mut decimal_seen = false;
    while !rest.is_empty() {
        let (number, after) = take_while(rest, |c| c.is_ascii_digit() || matches!(c, '.' | ','));
        let (unit, after) = take_while(after.trim_start(), char::is_alphabetic);
        rest = after.trim_start();
        let unit_us = match unit.to_lowercase().as_str() {
            "" if rest.is_empty() => unit_below(last_unit_us).ok_or_else(not_a_span)?,
            name => unit_named(name).ok_or_else(not_a_span)?,
        };
        let decimal = Decimal::parse(number).map_err(|_| not_a_span())?;
        // Units go downwards, each once, and nothing follows a fraction.
        if unit_us >= last_unit_us || decimal_seen {
            return Err(not_a_span());
        }
        last_unit_us = unit_us;
        decimal_seen = decimal.scale > 0;
        let part_us = decimal
            .scaled(i128::from(unit_us), 1)
            .ok_or_else(not_a_span)?;
        total_us += part_us;
    }
    if last_unit_us == i64::MAX {
        return Err(not_a_span());
    }
    match i64::try_from(total_us) {
        Ok(total_us) if total_us <= SPAN_MAX_US => Ok(total_us),
        _ => Err(TimeError::SpanTooLong { text: text.into() }),
    }
}

fn take_while(text: &str, keep: impl Fn(char) -> bool) -> (&str, &str) {
    text.split_at(text.find(|c| !keep(c)).unwrap_or(text.len()))
}

fn unit_named(name: &str) -> Option<i64> {
    match name {
        "s" | "sec" | "secs" | "second" | "seconds" => Some(SECOND_US),
        "m" | "min" | "mins" | "minute" | "minutes" => Some(MINUTE_US),
        "h" | "hr" | "hrs" | "hour" | "hours" => Some(HOUR_US),
        "d" | "day" | "days" => Some(DAY_US),
        _ => None,
    }
}

fn unit_below(unit_us: i64) -> Option<i64> {
    match unit_us {
        DAY_US => Some(HOUR_US),
        HOUR_US => Some(MINUTE_US),
        MINUTE_US => Some(SECOND_US),
        _ => None,
    }
}

/// `value / step` rounded half away from zero, both not below zero.
fn round_to(value: u64, step: u64) -> u64 {
    value / step + u64::from(value % step >= step.div_ceil(2))
}

fn sign_and_size(span_us: i64) -> (&'static str, u64) {
    (if span_us < 0 { "-" } else { "" }, span_us.unsigned_abs())
}

const SECOND: u64 = SECOND_US.unsigned_abs();
const MINUTE: u64 = MINUTE_US.unsigned_abs();

/// A span as people read it: `45 s`, `12 min`, `2 h 05 min`.
pub fn format_span(span_us: i64) -> String {
    let (sign, size) = sign_and_size(span_us);
    let seconds = round_to(size, SECOND);
    let minutes = round_to(size, MINUTE);
    match (seconds, minutes) {
        (0, _) => "0 min".to_owned(),
        (1..=59, _) => format!("{sign}{seconds} s"),
        (_, 0..=59) => format!("{sign}{minutes} min"),
        _ => format!("{sign}{} h {:02} min", minutes / 60, minutes % 60),
    }
}

/// Hours and minutes for the column of a table: `2:05`, `-0:12`, `41:30`.
/// Pad to the column's width with `{:>7}`.
pub fn format_h_mm(span_us: i64) -> String {
    let (sign, size) = sign_and_size(span_us);
    let minutes = round_to(size, MINUTE);
    let sign = if minutes == 0 { "" } else { sign };
    format!("{sign}{}:{:02}", minutes / 60, minutes % 60)
}

/// Minutes and seconds, for what is timed at the panel: `3:00`, `5:20`.
pub fn format_min_sec(span_us: i64) -> String {
    let (sign, size) = sign_and_size(span_us);
    let seconds = round_to(size, SECOND);
    let sign = if seconds == 0 { "" } else { sign };
    format!("{sign}{}:{:02}", seconds / 60, seconds % 60)
}

/// Days and hours, for cures: `7 d`, `1 d 6 h`; below two days as hours and minutes.
pub fn format_days(span_us: i64) -> String {
    let (sign, size) = sign_and_size(span_us);
    let hours = round_to(size, 60 * MINUTE);
    if hours < 48 {
        return format_span(span_us);
    }
    match (hours / 24, hours % 24) {
        (days, 0) => format!("{sign}{days} d"),
        (days, hours) => format!("{sign}{days} d {hours} h"),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn spans_are_read_as_people_type_them() {
        for (text, us) in [
            ("10m", 10 * MINUTE_US),
            ("1h30", 90 * MINUTE_US),
            ("1h30m", 90 * MINUTE_US),
            ("1 h 30 min", 90 * MINUTE_US),
            ("90s", 90 * SECOND_US),
            ("2 h", 2 * HOUR_US),
            ("45 min", 45 * MINUTE_US),
            ("1.5h", 90 * MINUTE_US),
            ("0,5 h", 30 * MINUTE_US),
            ("3m20", 200 * SECOND_US),
            ("7d", 7 * DAY_US),
            ("1 d 6 h", 30 * HOUR_US),
            ("0m", 0),
            ("2 Hours", 2 * HOUR_US),
            ("400d", SPAN_MAX_US),
        ] {
            assert_eq!(parse_span(text), Ok(us), "{text}");
        }
    }

    #[test]
    fn an_unreadable_span_says_how_to_write_it() {
        for (text, part) in [
            ("10", "10m"),
            ("", "10m"),
            ("m", "10m"),
            ("1:30", "1h30"),
            ("-10m", "10m"),
            ("10 parsecs", "10m"),
            ("10m1h", "1h30"),
            ("1h1h", "1h30"),
            ("1.5h30", "1h30"),
            ("90s5", "1h30"),
            ("401d", "400 days"),
            ("999999999999h", "400 days"),
        ] {
            let error = parse_span(text).unwrap_err();
            assert!(error.to_string().contains(part), "{text}: {error}");
        }
    }

    #[test]
    fn spans_read_well() {
        for (us, span, h_mm, min_sec) in [
            (0, "0 min", "0:00", "0:00"),
            (400_000, "0 min", "0:00", "0:00"),
            (45 * SECOND_US, "45 s", "0:01", "0:45"),
            (59_600_000, "1 min", "0:01", "1:00"),
            (12 * MINUTE_US, "12 min", "0:12", "12:00"),
            (
                59 * MINUTE_US + 30 * SECOND_US,
                "1 h 00 min",
                "1:00",
                "59:30",
            ),
            (125 * MINUTE_US, "2 h 05 min", "2:05", "125:00"),
            (-12 * MINUTE_US, "-12 min", "-0:12", "-12:00"),
            (-100, "0 min", "0:00", "0:00"),
            (
                41 * HOUR_US + 30 * MINUTE_US,
                "41 h 30 min",
                "41:30",
                "2490:00",
            ),
        ] {
            assert_eq!(format_span(us), span, "{us}");
            assert_eq!(format_h_mm(us), h_mm, "{us}");
            assert_eq!(format_min_sec(us), min_sec, "{us}");
        }
        assert_eq!(format_days(7 * DAY_US), "7 d");
        assert_eq!(format_days(54 * HOUR_US), "2 d 6 h");
        assert_eq!(format_days(24 * HOUR_US), "24 h 00 min");
    }

    proptest! {
        #[test]
        fn a_shown_span_reads_back_to_the_minute(minutes in 1..500_000_i64) {
            let us = minutes * MINUTE_US;
            prop_assert_eq!(parse_span(&format_span(us)), Ok(us));
        }

        #[test]
        fn no_text_or_span_panics(text in "\\PC*", us in any::<i64>()) {
            let _ = (parse_span(&text), format_span(us), format_h_mm(us), format_days(us));
        }
    }
}
