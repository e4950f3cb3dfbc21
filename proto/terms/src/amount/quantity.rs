//! Quantities inside: integer nanolitres, micrograms and thousandths.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Unit, divide_half_even, saturate};
use crate::catalogue::UnitSystem;

/// Nanolitres. Integer, so that shares and sums are exact.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Nanolitres(pub i64);

/// Micrograms.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micrograms(pub i64);

/// Thousandths of a piece.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct MilliEach(pub i64);

/// An amount in the integer unit of its dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    Volume(Nanolitres),
    Mass(Micrograms),
    Count(MilliEach),
}

/// Gives an integer quantity its arithmetic.
macro_rules! arithmetic {
    ($($quantity:ident)*) => {$(
        impl $quantity {
            pub const ZERO: Self = Self(0);

            /// The sum, or `None` beyond 64 bits.
            pub fn checked_add(self, other: Self) -> Option<Self> {
                self.0.checked_add(other.0).map(Self)
            }

            /// The difference, or `None` beyond 64 bits.
            pub fn checked_sub(self, other: Self) -> Option<Self> {
                self.0.checked_sub(other.0).map(Self)
            }

            /// The sum, stopped at the ends of 64 bits.
            #[must_use]
            pub fn saturating_add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }

            /// The difference, stopped at the ends of 64 bits.
            #[must_use]
            pub fn saturating_sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }

            /// `self × numerator / denominator`, rounded half to even and
            /// stopped at the ends of 64 bits; zero where the denominator is
            /// not above zero.
            #[must_use]
            pub fn share(self, numerator: i64, denominator: i64) -> Self {
                if denominator <= 0 {
                    return Self::ZERO;
                }
                let product = i128::from(self.0) * i128::from(numerator);
                Self(saturate(divide_half_even(product, i128::from(denominator))))
            }
        }

        impl std::iter::Sum for $quantity {
            /// The sum, stopped at the ends of 64 bits.
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self::ZERO, Self::saturating_add)
            }
        }
    )*};
}

arithmetic!(Nanolitres Micrograms MilliEach);

impl Nanolitres {
    /// Millilitres, for showing and for `--json`.
    pub fn to_ml(self) -> f64 {
        per_million(self.0)
    }

    /// The mass of this volume; `None` where the density is not above zero.
    pub fn mass(self, density_micro_g_per_ml: i64) -> Option<Micrograms> {
        // nL × (µg per mL) / (nL per mL) = µg.
        let product = i128::from(self.0) * i128::from(density_micro_g_per_ml);
        (density_micro_g_per_ml > 0)
            .then(|| Micrograms(saturate(divide_half_even(product, 1_000_000))))
    }
}

impl Micrograms {
    /// Grams, for showing and for `--json`.
    pub fn to_g(self) -> f64 {
        per_million(self.0)
    }

    /// The volume of this mass; `None` where the density is not above zero.
    pub fn volume(self, density_micro_g_per_ml: i64) -> Option<Nanolitres> {
        // µg / (µg per mL) × (nL per mL) = nL.
        (density_micro_g_per_ml > 0).then(|| {
            Nanolitres(saturate(divide_half_even(
                i128::from(self.0) * 1_000_000,
                i128::from(density_micro_g_per_ml),
            )))
        })
    }
}

impl MilliEach {
    /// Pieces, for showing and for `--json`.
    #[expect(
        clippy::cast_precision_loss,
        reason = "shown, never summed; exact below 2^53"
    )]
    pub fn to_each(self) -> f64 {
        self.0 as f64 / 1e3
    }
}

impl Quantity {
    /// The volume, with a mass turned into one by its density where given.
    pub fn volume(self, density_micro_g_per_ml: Option<i64>) -> Option<Nanolitres> {
        match self {
            Self::Volume(volume) => Some(volume),
            Self::Mass(mass) => mass.volume(density_micro_g_per_ml?),
            Self::Count(_) => None,
        }
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "shown, never summed; exact below 2^53"
)]
fn per_million(value: i64) -> f64 {
    value as f64 / 1e6
}

/// A volume as people read it: `350 mL`, `1.25 L`, `2.5 mL`.
pub fn format_volume(volume: Nanolitres) -> String {
    const SMALL: (i64, i64) = Unit::Ml.factor();
    const LARGE: (i64, i64) = Unit::L.factor();
    format_by_size(volume.0, (SMALL, "mL"), (LARGE, "L"))
}

/// A volume in the units of a shop: `12 US fl oz`, `1.5 imp gal`.
pub fn format_volume_in(volume: Nanolitres, system: UnitSystem) -> String {
    let (small, large) = match system {
        UnitSystem::Metric => return format_volume(volume),
        UnitSystem::Us => (Unit::UsFloz, Unit::UsGal),
        UnitSystem::Imperial => (Unit::ImpFloz, Unit::ImpGal),
    };
    format_by_size(
        volume.0,
        (small.factor(), small.symbol()),
        (large.factor(), large.symbol()),
    )
}

/// A mass as people read it: `62.4 g`, `1.2 kg`.
pub fn format_mass(mass: Micrograms) -> String {
    const SMALL: (i64, i64) = Unit::G.factor();
    const LARGE: (i64, i64) = Unit::Kg.factor();
    format_by_size(mass.0, (SMALL, "g"), (LARGE, "kg"))
}

type Scale = ((i64, i64), &'static str);

/// Shows a value in the small unit until it rounds to one of the large unit.
fn format_by_size(value: i64, small: Scale, large: Scale) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let size = i128::from(value.unsigned_abs());
    let hundredths = |scale: Scale| {
        let (numerator, denominator) = scale.0;
        divide_half_even(size * 100 * i128::from(denominator), i128::from(numerator))
    };
    let (large_unit, in_small) = (i128::from(large.0.0), hundredths(small));
    // Three digits say enough: the scale bounds what a person can meter.
    let shown = round_to_three_digits(in_small);
    let large_in_small = divide_half_even(
        large_unit * 100 * i128::from(small.0.1),
        i128::from(small.0.0),
    );
    let (shown, symbol) = if shown >= large_in_small {
        (round_to_three_digits(hundredths(large)), large.1)
    } else {
        (shown, small.1)
    };
    let sign = if shown == 0 { "" } else { sign };
    let (whole, fraction) = (shown / 100, shown % 100);
    match (fraction, fraction % 10) {
        (0, _) => format!("{sign}{whole} {symbol}"),
        (_, 0) => format!("{sign}{whole}.{} {symbol}", fraction / 10),
        _ => format!("{sign}{whole}.{fraction:02} {symbol}"),
    }
}

/// Rounds hundredths so that at most three digits matter below 1000, and
/// whole units above.
fn round_to_three_digits(hundredths: i128) -> i128 {
    let step = match hundredths {
        0..=999 => 1,
        1_000..=9_999 => 10,
        _ => 100,
    };
    divide_half_even(hundredths, step) * step
}

impl fmt::Display for Nanolitres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format_volume(*self))
    }
}

impl fmt::Display for Micrograms {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format_mass(*self))
    }
}

impl fmt::Display for MilliEach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(
            &super::Decimal {
                digits: self.0,
                scale: 3,
            }
            .normalised()
            .to_string(),
        )
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Volume(volume) => volume.fmt(f),
            Self::Mass(mass) => mass.fmt(f),
            Self::Count(count) => count.fmt(f),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn volumes_read_well() {
        for (nl, shown) in [
            (0, "0 mL"),
            (350_000_000, "350 mL"),
            (23_437_500, "23.4 mL"),
            (2_500_000, "2.5 mL"),
            (40_000, "0.04 mL"),
            (1_000, "0 mL"),
            (-1_000, "0 mL"),
            (999_400_000, "999 mL"),
            (999_600_000, "1 L"),
            (1_250_000_000, "1.25 L"),
            (3_785_411_784, "3.79 L"),
            (25_000_000_000, "25 L"),
            (123_400_000_000, "123 L"),
            (1_234_500_000_000, "1234 L"),
            (-350_000_000, "-350 mL"),
        ] {
            assert_eq!(format_volume(Nanolitres(nl)), shown, "{nl}");
        }
        assert_eq!(
            format_volume_in(Nanolitres(354_882_355), UnitSystem::Us),
            "12 US fl oz"
        );
        assert_eq!(
            format_volume_in(Nanolitres(6_819_135_000), UnitSystem::Imperial),
            "1.5 imp gal"
        );
        assert_eq!(format_mass(Micrograms(62_400_000)), "62.4 g");
        assert_eq!(format_mass(Micrograms(1_200_000_000)), "1.2 kg");
        assert_eq!(MilliEach(2_500).to_string(), "2.5");
        assert_eq!(format!("{:>9}", Nanolitres(350_000_000)), "   350 mL");
    }

    #[test]
    fn weighing_gives_volume_by_density() {
        // 52.5 g of a product of 1.05 g/ml is 50 ml.
        let mass = Micrograms(52_500_000);
        assert_eq!(mass.volume(1_050_000), Some(Nanolitres(50_000_000)));
        assert_eq!(Nanolitres(50_000_000).mass(1_050_000), Some(mass));
        assert_eq!(mass.volume(0), None);
        assert_eq!(mass.volume(-1), None);
        assert_eq!(Quantity::Mass(mass).volume(None), None);
    }

    proptest! {
        #[test]
        fn nothing_overflows(a in any::<i64>(), b in any::<i64>(), c in any::<i64>()) {
            let (x, y) = (Nanolitres(a), Nanolitres(b));
            let _ = (x.saturating_add(y), x.saturating_sub(y), x.share(b, c), x.mass(b));
            let _ = (Micrograms(a).volume(b), format_volume(x), format_mass(Micrograms(a)));
            let _ = format_volume_in(x, UnitSystem::Imperial);
            prop_assert_eq!(x.checked_add(y).is_some(), a.checked_add(b).is_some());
        }

        #[test]
        fn mass_and_volume_turn_back(ml in 0..1_000_000_i64, density in 700_000..1_300_000_i64) {
            let volume = Nanolitres(ml * 1_000_000);
            let back = volume.mass(density).and_then(|m| m.volume(density)).unwrap();
            prop_assert!((back.0 - volume.0).abs() <= 1);
        }
    }
}
