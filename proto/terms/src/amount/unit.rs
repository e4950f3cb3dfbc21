//! The units an amount may be typed in, with their exact factors.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::AmountError;
use crate::catalogue::UnitSystem;

/// Units that an amount may be typed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unit {
    Ml,
    L,
    UsFloz,
    UsGal,
    ImpFloz,
    ImpGal,
    G,
    Kg,
    Each,
}

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    Volume,
    Mass,
    Count,
}

/// Nanolitres in a US and an imperial gallon.
///
/// Source: NIST SP 811 (2008), appendix B.8: 1 gal (US) = 231 in³ =
/// 3.785 411 784 L exactly; 1 gal (imperial) = 4.546 09 L exactly.
const US_GALLON_NL: i64 = 3_785_411_784;
const IMPERIAL_GALLON_NL: i64 = 4_546_090_000;

impl Unit {
    pub const ALL: [Self; 9] = [
        Self::Ml,
        Self::L,
        Self::UsFloz,
        Self::UsGal,
        Self::ImpFloz,
        Self::ImpGal,
        Self::G,
        Self::Kg,
        Self::Each,
    ];

    /// Volume, mass or count.
    pub fn dimension(self) -> Dimension {
        match self {
            Self::Ml | Self::L | Self::UsFloz | Self::UsGal | Self::ImpFloz | Self::ImpGal => {
                Dimension::Volume
            }
            Self::G | Self::Kg => Dimension::Mass,
            Self::Each => Dimension::Count,
        }
    }

    /// Integer units (nanolitres, micrograms, thousandths) in one of this
    /// unit, as an exact fraction.
    ///
    /// Source: NIST SP 811 (2008), appendix B; a US gallon is 128 US fluid
    /// ounces, an imperial gallon 160 imperial ones.
    pub const fn factor(self) -> (i64, i64) {
        match self {
            Self::Ml | Self::G => (1_000_000, 1),
            Self::L | Self::Kg => (1_000_000_000, 1),
            Self::UsFloz => (US_GALLON_NL, 128),
            Self::UsGal => (US_GALLON_NL, 1),
            Self::ImpFloz => (IMPERIAL_GALLON_NL, 160),
            Self::ImpGal => (IMPERIAL_GALLON_NL, 1),
            Self::Each => (1_000, 1),
        }
    }

    /// Converts a number of this unit; `None` between dimensions.
    #[expect(
        clippy::cast_precision_loss,
        reason = "the factors are far below 2^53, so they are exact"
    )]
    pub fn convert(self, value: f64, to: Self) -> Option<f64> {
        if self.dimension() != to.dimension() {
            return None;
        }
        let ((num, den), (to_num, to_den)) = (self.factor(), to.factor());
        Some(value * (num as f64) * (to_den as f64) / (den as f64 * to_num as f64))
    }

    /// How the unit is shown to people.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Ml => "mL",
            Self::L => "L",
            Self::UsFloz => "US fl oz",
            Self::UsGal => "US gal",
            Self::ImpFloz => "imp fl oz",
            Self::ImpGal => "imp gal",
            Self::G => "g",
            Self::Kg => "kg",
            Self::Each => "each",
        }
    }

    /// How the unit is written in files and in `--json`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Ml => "ml",
            Self::L => "l",
            Self::UsFloz => "us-floz",
            Self::UsGal => "us-gal",
            Self::ImpFloz => "imp-floz",
            Self::ImpGal => "imp-gal",
            Self::G => "g",
            Self::Kg => "kg",
            Self::Each => "each",
        }
    }

    /// Reads a unit as typed; spaces, hyphens, points and case do not matter.
    /// No text is a count. A bare `floz` or `gal` is the shop's own system.
    pub fn parse(text: &str, system: UnitSystem) -> Result<Self, AmountError> {
        let plain: String = text
            .chars()
            .filter(|c| !matches!(c, ' ' | '-' | '.' | '_'))
            .flat_map(char::to_lowercase)
            .collect();
        let of_system = |us: Self, imperial: Self, unit: &str| match system {
            UnitSystem::Us => Ok(us),
            UnitSystem::Imperial => Ok(imperial),
            UnitSystem::Metric => Err(AmountError::WhichSystem { unit: unit.into() }),
        };
        match plain.as_str() {
            "ml" | "millilitre" | "millilitres" | "milliliter" | "milliliters" => Ok(Self::Ml),
            "l" | "litre" | "litres" | "liter" | "liters" => Ok(Self::L),
            "usfloz" => Ok(Self::UsFloz),
            "usgal" | "usgallon" | "usgallons" => Ok(Self::UsGal),
            "impfloz" => Ok(Self::ImpFloz),
            "impgal" | "impgallon" | "impgallons" => Ok(Self::ImpGal),
            "floz" => of_system(Self::UsFloz, Self::ImpFloz, "floz"),
            "gal" | "gallon" | "gallons" => of_system(Self::UsGal, Self::ImpGal, "gal"),
            "oz" => Err(AmountError::WhichOunce),
            "g" | "gram" | "grams" | "gramme" | "grammes" => Ok(Self::G),
            "kg" | "kilo" | "kilos" | "kilogram" | "kilograms" => Ok(Self::Kg),
            "" | "x" | "each" | "pc" | "pcs" | "piece" | "pieces" => Ok(Self::Each),
            _ => Err(AmountError::UnknownUnit {
                unit: text.trim().into(),
            }),
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST SP 811 (2008), appendix B.8: the exact factors to millilitres.
    const SP_811_ML: [(Unit, f64); 4] = [
        (Unit::UsGal, 3_785.411_784),
        (Unit::UsFloz, 29.573_529_562_5),
        (Unit::ImpGal, 4_546.09),
        (Unit::ImpFloz, 28.413_062_5),
    ];

    #[test]
    fn factors_are_those_of_nist_sp_811() {
        for (unit, ml) in SP_811_ML {
            let got = unit.convert(1.0, Unit::Ml).unwrap();
            assert!((got / ml - 1.0).abs() < 1e-14, "{unit:?}: {got} {ml}");
        }
    }

    #[test]
    fn chains_of_conversions_agree_with_exact_arithmetic() {
        // Worked from the exact factors of NIST SP 811 with 50 digits.
        for (value, from, to, want) in [
            (5.0, Unit::ImpGal, Unit::UsGal, 6.004_749_627_524_275),
            (750.0, Unit::Ml, Unit::UsFloz, 25.360_517_026_382_247),
            (750.0, Unit::Ml, Unit::ImpFloz, 26.396_309_795_890_534),
        ] {
            let got = from.convert(value, to).unwrap();
            assert!((got / want - 1.0).abs() < 1e-12, "{value} {from:?}: {got}");
        }
    }

    #[test]
    fn a_volume_is_no_mass() {
        assert_eq!(Unit::Ml.convert(1.0, Unit::G), None);
        assert_eq!(Unit::Each.convert(1.0, Unit::L), None);
    }

    #[test]
    fn every_unit_reads_back_from_both_its_spellings() {
        for unit in Unit::ALL {
            for system in [UnitSystem::Metric, UnitSystem::Us, UnitSystem::Imperial] {
                assert_eq!(Unit::parse(unit.symbol(), system), Ok(unit));
                assert_eq!(Unit::parse(unit.as_str(), system), Ok(unit));
            }
        }
    }
}
