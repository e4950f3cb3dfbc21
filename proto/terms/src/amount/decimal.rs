//! Exact decimals as people type them.

use std::cmp::Ordering;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::{AmountError, divide_half_even};

/// Digits kept before and after the point; together they fit an `i64`.
const WHOLE_DIGITS_MAX: usize = 12;
const FRACTION_DIGITS_MAX: u8 = 6;

/// A decimal as typed: `digits` × 10^−`scale`.
///
/// Trailing zeros are kept as they were typed, so `==` compares the spelling;
/// [`Decimal::cmp_value`] compares the number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Decimal {
    pub digits: i64,
    /// At most 6.
    pub scale: u8,
}

/// Hyphen and minus sign.
const SIGNS: [char; 2] = ['-', '\u{2212}'];

/// Which marks may stand before the fraction.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Marks {
    /// The wire and files: a point only.
    Point,
    /// People: a point or a comma.
    PointOrComma,
}

impl Decimal {
    pub const ZERO: Self = Self {
        digits: 0,
        scale: 0,
    };

    /// A whole number.
    pub const fn whole(digits: i64) -> Self {
        Self { digits, scale: 0 }
    }

    /// Reads a decimal as a person types it: `350`, `0.35`, `.5`, `0,35`.
    ///
    /// A comma before exactly three last digits (`1,000`) is refused: it means
    /// a thousand to some and one to others, and a slip of a thousandfold must
    /// not pass.
    pub fn parse(text: &str) -> Result<Self, AmountError> {
        Self::read(text.trim(), Marks::PointOrComma)
    }

    /// Reads a plain decimal as the wire carries it: digits and at most one point.
    pub fn parse_plain(text: &str) -> Result<Self, AmountError> {
        Self::read(text, Marks::Point)
    }

    fn read(text: &str, marks: Marks) -> Result<Self, AmountError> {
        let not_a_number = || AmountError::NotANumber { text: text.into() };
        // One sign only: a text of nothing but signs must not be read sign by
        // sign, each on the stack above the other.
        if let Some(rest) = text.strip_prefix(SIGNS)
            && !rest.starts_with(SIGNS)
            && Self::read(rest, marks).is_ok()
        {
            return Err(AmountError::Negative { text: text.into() });
        }
        let is_mark = |c: char| c == '.' || (c == ',' && marks == Marks::PointOrComma);
        let (whole, fraction) = match text.split_once(is_mark) {
            Some((_, "")) => return Err(not_a_number()),
            Some((whole, fraction)) => (whole, fraction),
            None if text.is_empty() => return Err(not_a_number()),
            None => (text, ""),
        };
        let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        if !all_digits(whole) || !all_digits(fraction) {
            return Err(not_a_number());
        }
        if text.contains(',') && fraction.len() == 3 && is_thousands_group(whole) {
            return Err(AmountError::AmbiguousComma {
                text: text.into(),
                without_comma: format!("{whole}{fraction}"),
                with_point: format!("{whole}.{fraction}"),
            });
        }
        let scale = u8::try_from(fraction.len()).unwrap_or(u8::MAX);
        if whole.len() > WHOLE_DIGITS_MAX || scale > FRACTION_DIGITS_MAX {
            return Err(AmountError::TooManyDigits { text: text.into() });
        }
        let digits = format!("{whole}{fraction}")
            .parse()
            .map_err(|_| not_a_number())?;
        Ok(Self { digits, scale })
    }

    /// The same number without trailing zeros.
    #[must_use]
    pub fn normalised(self) -> Self {
        let mut shortest = self;
        while shortest.scale > 0 && shortest.digits % 10 == 0 {
            shortest.digits /= 10;
            shortest.scale -= 1;
        }
        shortest
    }

    /// Compares the numbers, whatever their spelling.
    pub fn cmp_value(self, other: Self) -> Ordering {
        let scale = self.scale.max(other.scale);
        self.at_scale(scale).cmp(&other.at_scale(scale))
    }

    /// `self × numerator / denominator`, rounded half to even.
    /// The denominator is above 0; `None` where 128 bits do not hold it.
    pub(crate) fn scaled(self, numerator: i128, denominator: i128) -> Option<i128> {
        let product = i128::from(self.digits).checked_mul(numerator)?;
        let divisor = denominator.checked_mul(power_of_ten(self.scale))?;
        Some(divide_half_even(product, divisor))
    }

    /// The digits at a scale that is at least the own one.
    pub(crate) fn at_scale(self, scale: u8) -> i128 {
        i128::from(self.digits).saturating_mul(power_of_ten(scale.saturating_sub(self.scale)))
    }

    /// The nearest floating number.
    #[expect(
        clippy::cast_precision_loss,
        reason = "shown or compared, never summed"
    )]
    pub fn to_f64(self) -> f64 {
        self.digits as f64 / power_of_ten(self.scale) as f64
    }
}

/// True for one to three digits that can stand before a thousands comma.
fn is_thousands_group(whole: &str) -> bool {
    (1..=3).contains(&whole.len()) && !whole.starts_with('0')
}

/// 10^`scale`, stopped where 128 bits end (no valid scale comes near).
fn power_of_ten(scale: u8) -> i128 {
    10_i128.checked_pow(u32::from(scale)).unwrap_or(i128::MAX)
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = self.digits.unsigned_abs();
        let sign = if self.digits < 0 { "-" } else { "" };
        if self.scale == 0 {
            return write!(f, "{sign}{digits}");
        }
        let places = usize::from(self.scale);
        let padded = format!("{digits:0>width$}", width = places + 1);
        let (whole, fraction) = padded.split_at(padded.len() - places);
        write!(f, "{sign}{whole}.{fraction}")
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn people_write_points_commas_and_leading_points() {
        for (text, digits, scale, shown) in [
            ("350", 350, 0, "350"),
            ("0.35", 35, 2, "0.35"),
            (".5", 5, 1, "0.5"),
            ("0,35", 35, 2, "0.35"),
            ("0,350", 350, 3, "0.350"),
            ("1,5", 15, 1, "1.5"),
            ("1.234", 1234, 3, "1.234"),
            ("1234,567", 1_234_567, 3, "1234.567"),
            ("007", 7, 0, "7"),
            ("0", 0, 0, "0"),
            (
                "999999999999.999999",
                999_999_999_999_999_999,
                6,
                "999999999999.999999",
            ),
        ] {
            let decimal = Decimal::parse(text).unwrap();
            assert_eq!(decimal, Decimal { digits, scale }, "{text}");
            assert_eq!(decimal.to_string(), shown, "{text}");
        }
    }

    #[test]
    fn what_is_not_a_plain_number_is_refused() {
        for text in [
            "", ".", ",", "5.", "1.2.3", "1,2,3", "1e3", "+5", "0x10", "٣", "--5",
        ] {
            assert!(
                matches!(Decimal::parse(text), Err(AmountError::NotANumber { .. })),
                "{text:?}"
            );
        }
        for text in ["1234567890123", "0.1234567"] {
            assert!(
                matches!(Decimal::parse(text), Err(AmountError::TooManyDigits { .. })),
                "{text}"
            );
        }
        for text in ["-5", "\u{2212}0.5"] {
            assert!(
                matches!(Decimal::parse(text), Err(AmountError::Negative { .. })),
                "{text}"
            );
        }
        assert!(
            Decimal::parse_plain("0,35").is_err(),
            "no comma on the wire"
        );
    }

    #[test]
    fn a_comma_that_could_part_thousands_is_asked_about() {
        for text in ["1,000", "12,500", "350,000"] {
            let error = Decimal::parse(text).unwrap_err();
            assert!(
                matches!(error, AmountError::AmbiguousComma { .. }),
                "{text}"
            );
        }
        let sentence = Decimal::parse("1,000").unwrap_err().to_string();
        assert!(
            sentence.contains("1000") && sentence.contains("1.000"),
            "{sentence}"
        );
    }

    proptest! {
        #[test]
        fn what_is_shown_reads_back(
            whole in 0..1_000_000_000_000_i64, fraction in 0..1_000_000_i64, scale in 0..=6_u8,
        ) {
            let one = 10_i64.pow(u32::from(scale));
            let decimal = Decimal { digits: whole * one + fraction % one, scale };
            prop_assert_eq!(Decimal::parse(&decimal.to_string()), Ok(decimal));
            prop_assert_eq!(Decimal::parse_plain(&decimal.to_string()), Ok(decimal));
            prop_assert_eq!(decimal.normalised().cmp_value(decimal), Ordering::Equal);
        }

        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = Decimal::parse(&text);
        }
    }
}
