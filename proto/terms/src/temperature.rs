//! Temperatures and relative humidities as people type them, held as integers.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::amount::Decimal;

/// Thousandths of a degree Celsius.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MilliCelsius(pub i32);

/// Thousandths of a per cent of relative humidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MilliPercent(pub u32);

/// What a typed temperature is of, with the range in which it is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// Anything in a shop, a lamp's panel included.
    Any,
    /// Air: beyond these a reading in °F, or a slip of the decimal point, is likelier.
    Air,
    /// A vehicle's surface, in the sun or under a lamp.
    Surface,
}

impl Reading {
    /// Lowest and highest believed temperature, °C.
    pub const fn range_c(self) -> (i32, i32) {
        match self {
            Self::Any => (-40, 99),
            Self::Air => (-30, 60),
            Self::Surface => (-30, 99),
        }
    }

    fn noun(self) -> &'static str {
        match self {
            Self::Any => "a temperature",
            Self::Air => "air",
            Self::Surface => "a surface",
        }
    }
}

/// Why a temperature or a humidity could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TemperatureError {
    #[error("`{text}` is not a temperature: write it like 21.5C or 70F")]
    NotATemperature { text: String },
    #[error("`{text}` is outside {lowest} to {highest} °C, which is the range for {noun}{hint}")]
    OutOfRange {
        text: String,
        lowest: i32,
        highest: i32,
        noun: &'static str,
        /// Empty, or what was likely meant.
        hint: String,
    },
    #[error("`{text}` is not a relative humidity: write it like 46%")]
    NotAHumidity { text: String },
    #[error("`{text}` is outside 0 to 100 %, which is the range for relative humidity")]
    HumidityOutOfRange { text: String },
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Degree {
    Celsius,
    Fahrenheit,
}

impl MilliCelsius {
    /// Reads a temperature as typed: `21.5C`, `21,5 °C`, `70F`; bare is °C.
    /// Between −40 and 99 °C.
    pub fn parse(text: &str) -> Result<Self, TemperatureError> {
        Self::parse_as(text, Reading::Any)
    }

    /// Reads the temperature of air, between −30 and 60 °C.
    pub fn parse_air(text: &str) -> Result<Self, TemperatureError> {
        Self::parse_as(text, Reading::Air)
    }

    /// Reads the temperature of a surface, between −30 and 99 °C.
    pub fn parse_surface(text: &str) -> Result<Self, TemperatureError> {
        Self::parse_as(text, Reading::Surface)
    }

    /// Reads a temperature within the range of what it is of.
    pub fn parse_as(text: &str, reading: Reading) -> Result<Self, TemperatureError> {
        let text = text.trim();
        let not_one = || TemperatureError::NotATemperature { text: text.into() };
        let (decimal, degree, bare) = split(text).ok_or_else(not_one)?;
        let milli = to_milli_celsius(decimal, degree).ok_or_else(not_one)?;
        let (lowest, highest) = reading.range_c();
        let inside = |milli: i128| {
            (i128::from(lowest) * 1_000..=i128::from(highest) * 1_000).contains(&milli)
        };
        match i32::try_from(milli) {
            Ok(value) if inside(milli) => Ok(Self(value)),
            _ => Err(TemperatureError::OutOfRange {
                text: text.into(),
                lowest,
                highest,
                noun: reading.noun(),
                hint: range_hint(decimal, degree, bare, inside),
            }),
        }
    }

    /// Degrees Celsius.
    pub fn to_c(self) -> f64 {
        f64::from(self.0) / 1e3
    }

    /// Degrees Fahrenheit.
    pub fn to_f(self) -> f64 {
        self.to_c() * 1.8 + 32.0
    }

    /// True where the fact's temperature is within the range of a reading.
    pub fn is_within(self, reading: Reading) -> bool {
        let (lowest, highest) = reading.range_c();
        (lowest * 1_000..=highest * 1_000).contains(&self.0)
    }
}

/// Splits a typed temperature; true where no unit was given.
fn split(text: &str) -> Option<(Decimal, Degree, bool)> {
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '\u{2212}')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let unit = unit.trim().to_lowercase();
    let (degree, bare) = match unit.trim_start_matches(['°', 'º']).trim() {
        "" => (Degree::Celsius, true),
        "c" | "degc" | "celsius" => (Degree::Celsius, false),
        "f" | "degf" | "fahrenheit" => (Degree::Fahrenheit, false),
        _ => return None,
    };
    let number = number.strip_prefix('+').unwrap_or(number);
    let (negative, size) = match number.strip_prefix(['-', '\u{2212}']) {
        Some(size) => (true, size),
        None => (false, number),
    };
    let mut decimal = Decimal::parse(size).ok()?;
    if negative {
        decimal.digits = -decimal.digits;
    }
    Some((decimal, degree, bare))
}

/// °C = (°F − 32) × 5/9 (NIST SP 811, appendix B.8), rounded half to even.
fn to_milli_celsius(decimal: Decimal, degree: Degree) -> Option<i128> {
    match degree {
        Degree::Celsius => decimal.scaled(1_000, 1),
        Degree::Fahrenheit => {
            let scale = decimal.scale;
            let above_freezing = decimal.at_scale(scale) - Decimal::whole(32).at_scale(scale);
            let digits = i64::try_from(above_freezing).ok()?;
            Decimal { digits, scale }.scaled(5_000, 9)
        }
    }
}

/// What was likely meant by a temperature outside its range.
fn range_hint(
    decimal: Decimal,
    degree: Degree,
    bare: bool,
    inside: impl Fn(i128) -> bool,
) -> String {
    let is_likely_fahrenheit = bare || decimal.cmp_value(Decimal::whole(130)).is_lt();
    if degree == Degree::Celsius
        && is_likely_fahrenheit
        && to_milli_celsius(decimal, Degree::Fahrenheit).is_some_and(&inside)
    {
        return format!("; in Fahrenheit write {decimal}F");
    }
    let tenth = Decimal {
        digits: decimal.digits,
        scale: decimal.scale.saturating_add(1),
    };
    if to_milli_celsius(tenth, degree).is_some_and(inside) {
        let letter = if degree == Degree::Celsius { 'C' } else { 'F' };
        return format!("; was {}{letter} meant?", tenth.normalised());
    }
    String::new()
}

impl MilliPercent {
    /// Reads a relative humidity as typed: `46%`, `46.5 %`, `46`; 0 to 100.
    pub fn parse(text: &str) -> Result<Self, TemperatureError> {
        let text = text.trim();
        let not_one = || TemperatureError::NotAHumidity { text: text.into() };
        let number = text.strip_suffix('%').unwrap_or(text).trim();
        let decimal = Decimal::parse(number).map_err(|_| not_one())?;
        let milli = decimal.scaled(1_000, 1).ok_or_else(not_one)?;
        match u32::try_from(milli) {
            Ok(milli) if milli <= 100_000 => Ok(Self(milli)),
            _ => Err(TemperatureError::HumidityOutOfRange { text: text.into() }),
        }
    }

    /// Per cent.
    pub fn to_pct(self) -> f64 {
        f64::from(self.0) / 1e3
    }
}

impl fmt::Display for MilliCelsius {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = i64::from(self.0);
        f.pad(&format!("{} °C", Decimal { digits, scale: 3 }.normalised()))
    }
}

impl fmt::Display for MilliPercent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = i64::from(self.0);
        f.pad(&format!("{} %", Decimal { digits, scale: 3 }.normalised()))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn temperatures_are_read_as_people_type_them() {
        for (text, milli, shown) in [
            ("21.5C", 21_500, "21.5 °C"),
            ("21.5 °C", 21_500, "21.5 °C"),
            ("21,5", 21_500, "21.5 °C"),
            ("21.5", 21_500, "21.5 °C"),
            ("-5c", -5_000, "-5 °C"),
            ("\u{2212}0.5 C", -500, "-0.5 °C"),
            ("+20 degC", 20_000, "20 °C"),
            ("70F", 21_111, "21.111 °C"),
            ("70 °F", 21_111, "21.111 °C"),
            ("-40", -40_000, "-40 °C"),
            ("99", 99_000, "99 °C"),
        ] {
            let got = MilliCelsius::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(got, MilliCelsius(milli), "{text}");
            assert_eq!(got.to_string(), shown, "{text}");
        }
    }

    #[test]
    fn fahrenheit_is_turned_by_nist_sp_811() {
        // NIST SP 811 (2008), appendix B.8: t/°C = (t/°F − 32)/1.8.
        for (f, c) in [
            (-40, -40.0),
            (0, -17.777_777_777_777_78),
            (32, 0.0),
            (50, 10.0),
            (59, 15.0),
            (68, 20.0),
            (70, 21.111_111_111_111_11),
            (104, 40.0),
            (140, 60.0),
        ] {
            let got = MilliCelsius::parse(&format!("{f}F")).unwrap();
            assert!((got.to_c() - c).abs() <= 0.000_5, "{f}: {got}");
            assert!((got.to_f() - f64::from(f)).abs() <= 0.001, "{f}: {got}");
        }
    }

    #[test]
    fn a_temperature_outside_its_range_names_the_range_and_what_was_likely_meant() {
        for (text, reading, parts) in [
            ("210C", Reading::Air, ["-30 to 60 °C", "was 21C meant?"]),
            ("215C", Reading::Air, ["-30 to 60 °C", "was 21.5C meant?"]),
            ("210C", Reading::Any, ["-40 to 99 °C", "was 21C meant?"]),
            ("70", Reading::Air, ["-30 to 60 °C", "write 70F"]),
            ("70C", Reading::Air, ["for air", "write 70F"]),
            ("120", Reading::Surface, ["-30 to 99 °C", "write 120F"]),
            ("700F", Reading::Air, ["-30 to 60 °C", "was 70F meant?"]),
            (
                "-300C",
                Reading::Surface,
                ["for a surface", "was -30C meant?"],
            ),
            ("99999C", Reading::Any, ["-40 to 99 °C", "a temperature"]),
        ] {
            let sentence = MilliCelsius::parse_as(text, reading)
                .unwrap_err()
                .to_string();
            assert!(
                parts.iter().all(|part| sentence.contains(part)),
                "{sentence}"
            );
        }
        assert!(MilliCelsius::parse_air("60").is_ok());
        assert!(MilliCelsius::parse_air("60.001").is_err());
        assert!(MilliCelsius::parse_surface("99").is_ok());
        assert!(MilliCelsius(60_001).is_within(Reading::Surface));
        assert!(!MilliCelsius(60_001).is_within(Reading::Air));
    }

    #[test]
    fn what_is_no_temperature_says_how_to_write_it() {
        for text in [
            "", "C", "warm", "21.5K", "21.5 C C", "2 1C", "1.2.3", "46%", "--5",
        ] {
            let sentence = MilliCelsius::parse(text).unwrap_err().to_string();
            assert!(sentence.contains("21.5C or 70F"), "{text}: {sentence}");
        }
    }

    #[test]
    fn humidity_is_between_0_and_100_per_cent() {
        for (text, milli, shown) in [
            ("46%", 46_000, "46 %"),
            ("46.5 %", 46_500, "46.5 %"),
            ("46,5%", 46_500, "46.5 %"),
            ("46", 46_000, "46 %"),
            ("0%", 0, "0 %"),
            ("100%", 100_000, "100 %"),
        ] {
            let got = MilliPercent::parse(text).unwrap();
            assert_eq!(
                (got, got.to_string().as_str()),
                (MilliPercent(milli), shown)
            );
        }
        for (text, part) in [
            ("101%", "0 to 100 %"),
            ("460%", "0 to 100 %"),
            ("-1%", "46%"),
            ("%", "46%"),
            ("damp", "46%"),
            ("46%%", "46%"),
        ] {
            let sentence = MilliPercent::parse(text).unwrap_err().to_string();
            assert!(sentence.contains(part), "{text}: {sentence}");
        }
    }

    proptest! {
        #[test]
        fn what_is_shown_reads_back(milli_c in -40_000..=99_000_i32, milli_pct in 0..=100_000_u32) {
            let (t, rh) = (MilliCelsius(milli_c), MilliPercent(milli_pct));
            prop_assert_eq!(MilliCelsius::parse(&t.to_string()), Ok(t));
            prop_assert_eq!(MilliPercent::parse(&rh.to_string()), Ok(rh));
        }

        #[test]
        fn no_text_panics(text in "\\PC*", number in any::<i64>()) {
            let _ = (MilliCelsius::parse(&text), MilliPercent::parse(&text));
            let _ = MilliCelsius::parse_air(&format!("{number}F"));
        }
    }
}
