//! Dilution ratios: parts of water to parts of product.

use std::cmp::Ordering;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::{AmountError, Decimal, Nanolitres, divide_half_even, saturate};

/// Scale at which the parts are compared and summed.
const PART_SCALE: u8 = 6;

/// Largest part that counts, at [`PART_SCALE`]; keeps products within 128 bits.
const PART_MAX: i128 = 1_000_000_000_000_000_000;

/// Parts of water to parts of product.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Ratio {
    pub water_parts: Decimal,
    pub product_parts: Decimal,
}

impl Ratio {
    /// Reads a ratio as typed: `15:1` is fifteen parts of water to one of
    /// product; `neat` is product alone.
    ///
    /// Some labels print the product first. `1:15` is therefore asked about;
    /// a mix that is really stronger than half is written with one part of
    /// product, as in `0.5:1`.
    pub fn parse(text: &str) -> Result<Self, AmountError> {
        let text = text.trim();
        if text.eq_ignore_ascii_case("neat") {
            return Ok(Self {
                water_parts: Decimal::ZERO,
                product_parts: Decimal::whole(1),
            });
        }
        let not_a_ratio = || AmountError::NotARatio { text: text.into() };
        let (water, product) = text.split_once(':').ok_or_else(not_a_ratio)?;
        let part = |typed: &str| Decimal::parse(typed).map_err(|_| not_a_ratio());
        let ratio = Self::checked(part(water)?, part(product)?)?;
        let product_is_one = ratio.product_parts.cmp_value(Decimal::whole(1)) == Ordering::Equal;
        let reversed = ratio.water_parts.cmp_value(ratio.product_parts) == Ordering::Less;
        if reversed && !product_is_one {
            return Err(AmountError::RatioReversed {
                text: text.into(),
                turned: format!("{}:{}", ratio.product_parts, ratio.water_parts),
                stronger: ratio.per_one_of_product(),
            });
        }
        Ok(ratio)
    }

    /// Takes a ratio from its parts on the wire, plain decimals.
    pub fn from_parts(water_parts: &str, product_parts: &str) -> Result<Self, AmountError> {
        Self::checked(
            Decimal::parse_plain(water_parts)?,
            Decimal::parse_plain(product_parts)?,
        )
    }

    fn checked(water_parts: Decimal, product_parts: Decimal) -> Result<Self, AmountError> {
        if product_parts.digits <= 0 {
            return Err(AmountError::NoProduct);
        }
        Ok(Self {
            water_parts,
            product_parts,
        })
    }

    /// The product in a mix of this total volume, rounded half to even.
    pub fn concentrate_in(&self, total: Nanolitres) -> Nanolitres {
        let (water, product) = self.parts();
        if product == 0 {
            return Nanolitres::ZERO;
        }
        Nanolitres(saturate(divide_half_even(
            i128::from(total.0) * product,
            water + product,
        )))
    }

    /// The water in a mix of this total volume; with the product it adds up
    /// to the total exactly.
    pub fn water_in(&self, total: Nanolitres) -> Nanolitres {
        total.saturating_sub(self.concentrate_in(total))
    }

    /// Product in the mix, per cent by volume.
    #[expect(clippy::cast_precision_loss, reason = "shown, never summed")]
    pub fn percent(&self) -> f64 {
        let (water, product) = self.parts();
        if product == 0 {
            return 0.0;
        }
        100.0 * product as f64 / (water + product) as f64
    }

    /// Both parts at one scale, not below zero and bounded.
    fn parts(&self) -> (i128, i128) {
        let part = |decimal: Decimal| decimal.at_scale(PART_SCALE).clamp(0, PART_MAX);
        (part(self.water_parts), part(self.product_parts))
    }

    /// The same mix with one part of product, to three decimals.
    fn per_one_of_product(&self) -> String {
        let (water, product) = self.parts();
        let thousandths = divide_half_even(water * 1_000, product.max(1));
        let digits = saturate(thousandths);
        format!("{}:1", Decimal { digits, scale: 3 }.normalised())
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.water_parts.digits == 0 {
            return f.write_str("neat");
        }
        write!(f, "{}:{}", self.water_parts, self.product_parts)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{Amount, Quantity, Unit};
    use super::*;

    fn volume(decimal: &str, unit: Unit) -> Nanolitres {
        match Amount::parts(decimal, unit).unwrap().quantity() {
            Quantity::Volume(volume) => volume,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn one_us_gallon_at_15_to_1_takes_8_us_fluid_ounces() {
        // Common practice, and arithmetic: a gallon of 128 fl oz in 16 parts.
        let ratio = Ratio::parse("15:1").unwrap();
        let gallon = volume("1", Unit::UsGal);
        let product = ratio.concentrate_in(gallon);
        assert_eq!(product, volume("8", Unit::UsFloz));
        assert_eq!(product.saturating_add(ratio.water_in(gallon)), gallon);
        assert!((ratio.percent() - 6.25).abs() < 1e-12);
        assert_eq!(ratio.to_string(), "15:1");
    }

    #[test]
    fn worked_dilutions_come_out() {
        // 500 mL at 10:1 takes 45.45... mL; one US gallon at 4:1 takes 757.0823568 mL.
        for (ratio, total, nl) in [
            ("10:1", volume("500", Unit::Ml), 45_454_545),
            ("4:1", volume("1", Unit::UsGal), 757_082_357),
            ("neat", volume("1", Unit::L), 1_000_000_000),
            ("0.5:1", volume("1.5", Unit::L), 1_000_000_000),
            ("2,5:1", volume("3.5", Unit::L), 1_000_000_000),
            ("1:1", volume("1", Unit::L), 500_000_000),
        ] {
            let got = Ratio::parse(ratio).unwrap().concentrate_in(total);
            assert_eq!(got, Nanolitres(nl), "{ratio}");
        }
    }

    #[test]
    fn a_ratio_that_cannot_be_read_says_how_to_write_it() {
        for (text, part) in [
            ("15", "15:1"),
            ("15:", "15:1"),
            ("a:b", "15:1"),
            ("15:1:1", "15:1"),
            ("15:0", "above zero"),
            ("1:15", "15:1"),
            ("1:2", "0.5:1"),
        ] {
            let error = Ratio::parse(text).unwrap_err();
            assert!(error.to_string().contains(part), "{text}: {error}");
        }
        assert!(
            Ratio::from_parts("1", "15").is_ok(),
            "the wire keeps what was said"
        );
        assert!(Ratio::from_parts("1", "0").is_err());
    }

    proptest! {
        #[test]
        fn product_and_water_are_the_whole(
            water in 0..=i64::MAX, product in 1..=i64::MAX, scale in 0..=6_u8, total in any::<i64>(),
        ) {
            let ratio = Ratio {
                water_parts: Decimal { digits: water, scale },
                product_parts: Decimal { digits: product, scale },
            };
            let total = Nanolitres(total);
            let product = ratio.concentrate_in(total);
            prop_assert_eq!(i128::from(product.0) + i128::from(ratio.water_in(total).0), i128::from(total.0));
            prop_assert!(product.0.unsigned_abs() <= total.0.unsigned_abs());
        }
    }
}
