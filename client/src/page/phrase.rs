//! Figures inside sentences and cells: money of the shop, hours in words,
//! lists, and a real minus sign.

use baywright_terms::amount::{Money, minor_digits};

use crate::render::figure::{counted, difference, hours_minutes};

const MINUTE_US: u64 = 60_000_000;
/// The minus sign; a hyphen is shorter than the plus above it.
const MINUS: &str = "\u{2212}";
/// Keeps a figure and its unit on one line.
const HELD: &str = "\u{a0}";
/// Stands where there is no figure.
pub(super) const NONE: &str = "–";

/// Prints money of one currency.
#[derive(Debug, Clone)]
pub(super) struct Purse {
    currency: String,
}

impl Purse {
    pub(super) fn of(currency: &str) -> Self {
        Self {
            currency: crate::render::text::clean(currency),
        }
    }

    /// The code that heads a column of money.
    pub(super) fn code(&self) -> &str {
        &self.currency
    }

    /// `1,234.50`.
    pub(super) fn number(&self, minor: i64) -> String {
        minus(&Money::new(minor, &self.currency).number())
    }

    /// `+1,234.50`.
    pub(super) fn signed(&self, minor: i64) -> String {
        let sign = if minor > 0 { "+" } else { "" };
        format!("{sign}{}", self.number(minor))
    }

    /// `EUR 1,234.50`.
    pub(super) fn named(&self, minor: i64) -> String {
        format!("{}{HELD}{}", self.currency, self.number(minor))
            .trim_start_matches(HELD)
            .to_owned()
    }

    /// Minor units as whole ones, to draw.
    pub(super) fn drawn(&self, minor: i64) -> f64 {
        super::chart::value(minor) / 10_f64.powi(i32::from(minor_digits(&self.currency)))
    }
}

/// `1,200` for a mark of an axis of whole units.
pub(super) fn mark(value: f64) -> String {
    let text = format!("{:.0}", value.abs());
    let mut grouped = String::new();
    for (index, digit) in text.chars().enumerate() {
        if index > 0 && (text.len() - index).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    if value < 0.0 {
        format!("{MINUS}{grouped}")
    } else {
        grouped
    }
}

/// A hyphen before a figure as a minus sign.
pub(super) fn minus(figure: &str) -> String {
    match figure.strip_prefix('-') {
        Some(size) => format!("{MINUS}{size}"),
        None => figure.to_owned(),
    }
}

/// `+1:35`, with a real minus sign.
pub(super) fn differs(actual_us: i64, quoted_us: i64) -> String {
    minus(&difference(actual_us, quoted_us))
}

/// `31:20`, a dash for none at all.
pub(super) fn some_hours(span_us: i64) -> String {
    if span_us == 0 {
        NONE.to_owned()
    } else {
        minus(&hours_minutes(span_us))
    }
}

/// `31 h 20 min`.
pub(super) fn hours_in_words(span_us: i64) -> String {
    let minutes = (span_us.unsigned_abs() + MINUTE_US / 2) / MINUTE_US;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes}{HELD}min"),
        (hours, 0) => format!("{hours}{HELD}h"),
        (hours, minutes) => format!("{hours}{HELD}h{HELD}{minutes}{HELD}min"),
    }
}

/// `82 %`.
pub(super) fn permille(permille: u32) -> String {
    format!("{}{HELD}%", crate::render::figure::whole_percent(permille))
}

/// `one`, `one and two`, `one, two and three`.
pub(super) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [others @ .., last] => format!("{} and {last}", others.join(", ")),
    }
}

/// `1 job`, `2 jobs`.
pub(super) fn jobs(count: u32) -> String {
    counted(u64::from(count), "job", "jobs")
}

/// A length as a count for [`counted`].
pub(super) fn many<T>(items: &[T]) -> u64 {
    u64::try_from(items.len()).unwrap_or(u64::MAX)
}

/// Celsius with a tenth.
pub(super) fn celsius(milli: i32) -> String {
    minus(&format!("{:.1}{HELD}°C", f64::from(milli) / 1000.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_printed_with_their_signs_and_units() {
        let purse = Purse::of("EUR");
        assert_eq!(purse.number(-123_450), "−1,234.50");
        assert_eq!(purse.signed(50), "+0.50");
        assert_eq!(purse.signed(0), "0.00");
        assert_eq!(purse.named(100), "EUR\u{a0}1.00");
        assert_eq!(Purse::of("").named(100), "1.00");
        assert_eq!(Purse::of("JPY").number(1234), "1,234");
        assert_eq!(mark(-12_500.0), "−12,500");
        assert_eq!(mark(0.0), "0");
        assert_eq!(
            hours_in_words(1_880 * 60_000_000),
            "31\u{a0}h\u{a0}20\u{a0}min"
        );
        assert_eq!(differs(40 * 60_000_000, 60 * 60_000_000), "−0:20");
        assert_eq!(celsius(-2_350), "−2.4\u{a0}°C");
    }

    #[test]
    fn a_list_reads_like_a_sentence() {
        let items = |all: &[&str]| -> Vec<String> { all.iter().map(|s| (*s).to_owned()).collect() };
        assert_eq!(list(&items(&[])), "");
        assert_eq!(list(&items(&["a"])), "a");
        assert_eq!(list(&items(&["a", "b"])), "a and b");
        assert_eq!(list(&items(&["a", "b", "c"])), "a, b and c");
    }
}
