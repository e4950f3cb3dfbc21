//! An amount as the person gave it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{AmountError, Decimal, Dimension, Micrograms, MilliEach, Nanolitres, Quantity, Unit};
use crate::catalogue::UnitSystem;

/// Largest quantity kept, in nanolitres, micrograms or thousandths.
///
/// A million litres or a thousand tonnes: far above any shop, and nine
/// thousand of them still add up inside 64 bits.
pub const QUANTITY_MAX: i64 = 1_000_000_000_000_000;

/// An amount as the person gave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Amount {
    pub decimal: Decimal,
    pub unit: Unit,
}

impl Amount {
    /// Reads an amount as typed: `350ml`, `0.35 L`, `12 us-floz`, `62.4g`, `3`, `3x`.
    ///
    /// A bare `floz` or `gal` is the shop's own; in a metric shop it is
    /// refused with a hint, since the two systems differ by 4 % and 20 %.
    pub fn parse(text: &str, system: UnitSystem) -> Result<Self, AmountError> {
        let text = text.trim();
        let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '\u{2212}');
        let number_end = text.find(|c| !is_number(c)).unwrap_or(text.len());
        let (number, unit) = text.split_at(number_end);
        if !number.contains(|c: char| c.is_ascii_digit()) {
            return Err(AmountError::NoNumber { text: text.into() });
        }
        let amount = Self {
            decimal: Decimal::parse(number)?,
            unit: Unit::parse(unit, system)?,
        };
        match amount.exact() {
            Some(integer) if integer <= i128::from(QUANTITY_MAX) => Ok(amount),
            _ => Err(AmountError::TooLarge { text: text.into() }),
        }
    }

    /// Takes an amount from its parts on the wire: a plain decimal of at most
    /// 12 digits before and 6 after the point.
    pub fn parts(decimal: &str, unit: Unit) -> Result<Self, AmountError> {
        Ok(Self {
            decimal: Decimal::parse_plain(decimal)?,
            unit,
        })
    }

    /// The amount in the integer unit of its dimension, rounded half to even.
    ///
    /// A stored fact is never refused, so what is beyond [`QUANTITY_MAX`]
    /// stops there.
    pub fn quantity(&self) -> Quantity {
        let limit = i128::from(QUANTITY_MAX);
        let integer = super::saturate(self.exact().unwrap_or(limit).clamp(-limit, limit));
        match self.unit.dimension() {
            Dimension::Volume => Quantity::Volume(Nanolitres(integer)),
            Dimension::Mass => Quantity::Mass(Micrograms(integer)),
            Dimension::Count => Quantity::Count(MilliEach(integer)),
        }
    }

    fn exact(&self) -> Option<i128> {
        let (numerator, denominator) = self.unit.factor();
        self.decimal
            .scaled(i128::from(numerator), i128::from(denominator))
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.decimal, self.unit)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn volume(nl: i64) -> Quantity {
        Quantity::Volume(Nanolitres(nl))
    }

    #[test]
    fn amounts_are_read_as_people_type_them() {
        use UnitSystem::{Imperial, Metric, Us};
        for (text, system, quantity, shown) in [
            ("350ml", Metric, volume(350_000_000), "350 mL"),
            ("350 ml", Metric, volume(350_000_000), "350 mL"),
            ("0.35 L", Metric, volume(350_000_000), "0.35 L"),
            ("0.35l", Metric, volume(350_000_000), "0.35 L"),
            ("0,35 L", Metric, volume(350_000_000), "0.35 L"),
            (".5L", Metric, volume(500_000_000), "0.5 L"),
            ("12 floz", Us, volume(354_882_355), "12 US fl oz"),
            ("12 fl oz", Us, volume(354_882_355), "12 US fl oz"),
            ("12 us-floz", Metric, volume(354_882_355), "12 US fl oz"),
            ("12 FL. OZ.", Imperial, volume(340_956_750), "12 imp fl oz"),
            ("1gal", Us, volume(3_785_411_784), "1 US gal"),
            ("1 imp-gal", Us, volume(4_546_090_000), "1 imp gal"),
            (
                "62.4g",
                Metric,
                Quantity::Mass(Micrograms(62_400_000)),
                "62.4 g",
            ),
            (
                "1.2kg",
                Metric,
                Quantity::Mass(Micrograms(1_200_000_000)),
                "1.2 kg",
            ),
            ("3", Metric, Quantity::Count(MilliEach(3_000)), "3 each"),
            (
                "3 each",
                Metric,
                Quantity::Count(MilliEach(3_000)),
                "3 each",
            ),
            ("3x", Metric, Quantity::Count(MilliEach(3_000)), "3 each"),
            ("0.5", Metric, Quantity::Count(MilliEach(500)), "0.5 each"),
        ] {
            let amount = Amount::parse(text, system).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(amount.quantity(), quantity, "{text}");
            assert_eq!(amount.to_string(), shown, "{text}");
        }
    }

    #[test]
    fn a_bare_floz_in_a_metric_shop_is_asked_about() {
        for (text, hints) in [
            ("12 floz", ["us-floz", "imp-floz"]),
            ("1gal", ["us-gal", "imp-gal"]),
        ] {
            let sentence = Amount::parse(text, UnitSystem::Metric)
                .unwrap_err()
                .to_string();
            assert!(
                hints.iter().all(|hint| sentence.contains(hint)),
                "{sentence}"
            );
        }
    }

    #[test]
    fn an_unreadable_amount_says_how_to_write_it() {
        for (text, part) in [
            ("ml", "350ml"),
            ("", "350ml"),
            ("3 pints", "us-floz"),
            ("4 oz", "us-floz"),
            ("-3 ml", "below zero"),
            ("1,000 ml", "1000"),
            ("1000001 l", "a million litres"),
            ("1..5 l", "not a number"),
            ("0.1234567 l", "6 after the point"),
        ] {
            let error = Amount::parse(text, UnitSystem::Metric).unwrap_err();
            assert!(error.to_string().contains(part), "{text}: {error}");
        }
    }

    #[test]
    fn a_stored_amount_beyond_the_range_stops_at_its_end() {
        let amount = Amount::parts("999999999999.999999", Unit::ImpGal).unwrap();
        assert_eq!(amount.quantity(), volume(QUANTITY_MAX));
        assert!(Amount::parts("0,35", Unit::L).is_err());
        assert!(Amount::parts("-1", Unit::L).is_err());
    }

    proptest! {
        #[test]
        fn what_is_shown_reads_back(digits in 0..1_000_000_000_i64, scale in 0..=6_u8, unit in 0..9_usize) {
            let amount = Amount { decimal: Decimal { digits, scale }, unit: Unit::ALL[unit] };
            prop_assume!(amount.exact().is_some_and(|i| i <= i128::from(QUANTITY_MAX)));
            prop_assert_eq!(Amount::parse(&amount.to_string(), UnitSystem::Metric), Ok(amount));
        }

        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = Amount::parse(&text, UnitSystem::Us);
        }
    }
}
