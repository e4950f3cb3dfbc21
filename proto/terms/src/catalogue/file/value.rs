//! Values of the catalogue from text, as people write them in the file.
//!
//! Every error is a clause that says what is wrong and how to write it.

use crate::amount::{Amount, Decimal, Money, Ratio};
use crate::catalogue::UnitSystem;
use crate::catalogue::limits::AREA_CM2_MAX;
use crate::temperature::MilliCelsius;
use crate::time;

/// Square centimetres in a square metre.
const M2_CM2: i128 = 10_000;

/// Square centimetres in a square foot, as a fraction: 0.3048 m is exact
/// (NIST SP 811, appendix B), so a square foot is 929.0304 cm².
const FT2_CM2: (i128, i128) = (9_290_304, 10_000);

/// Sensible wage burdens, thousandths; less than the wage itself is a slip.
const BURDEN_MILLI: std::ops::RangeInclusive<u32> = 1_000..=5_000;

/// Target margins; a price nine tenths of which are left is a slip of typing.
const TARGET_MARGIN_PERMILLE: std::ops::RangeInclusive<u32> = 1..=900;

/// Taxes, in thousandths of a per cent.
const TAX_MILLI_PCT: std::ops::RangeInclusive<u32> = 1..=100_000;

/// Densest liquid that a shop could hold, in g/mL; more is a slip of the point.
const DENSITY_G_PER_ML_MAX: i128 = 5;

pub(crate) fn zone(text: &str) -> Result<String, String> {
    time::zone(text)
        .map(|_| text.to_owned())
        .map_err(|e| e.to_string())
}

pub(crate) fn currency(text: &str) -> Result<String, String> {
    if text.len() == 3 && text.bytes().all(|b| b.is_ascii_uppercase()) {
        return Ok(text.to_owned());
    }
    Err(format!(
        "`{text}` is not a currency: three capital letters of ISO 4217, like EUR"
    ))
}

pub(super) fn amount(text: &str, units: UnitSystem) -> Result<Amount, String> {
    let amount = Amount::parse(text, units).map_err(|e| e.to_string())?;
    if amount.decimal.digits == 0 {
        return Err(format!(
            "`{text}` is nothing; leave the line out where it is not known"
        ));
    }
    Ok(amount)
}

pub(super) fn ratio(text: &str) -> Result<Ratio, String> {
    Ratio::parse(text).map_err(|e| e.to_string())
}

pub(super) fn money(text: &str, currency: &str) -> Result<Money, String> {
    Money::parse(text, currency).map_err(|e| e.to_string())
}

/// Grams per millilitre, in millionths.
pub(crate) fn density(text: &str) -> Result<i64, String> {
    let number = text
        .strip_suffix("g/mL")
        .or_else(|| text.strip_suffix("g/ml"))
        .unwrap_or(text)
        .trim();
    let decimal = Decimal::parse(number).map_err(|e| e.to_string())?;
    decimal
        .scaled(1_000_000, 1)
        .filter(|micro| (1..=DENSITY_G_PER_ML_MAX * 1_000_000).contains(micro))
        .and_then(|micro| i64::try_from(micro).ok())
        .ok_or_else(|| {
            format!("`{text}` is no density: grams per millilitre, about 1 for most liquids")
        })
}

/// What an hour costs for each unit of wage, in thousandths.
pub(super) fn burden(text: &str) -> Result<u32, String> {
    let decimal = Decimal::parse(text.trim()).map_err(|e| e.to_string())?;
    decimal
        .scaled(1_000, 1)
        .and_then(|milli| u32::try_from(milli).ok())
        .filter(|milli| BURDEN_MILLI.contains(milli))
        .ok_or_else(|| {
            format!(
                "`{text}` is no wage burden: what an hour costs for each unit of wage, from 1 to 5"
            )
        })
}

/// Share of a price that is to be left, in thousandths.
pub(super) fn target_margin(text: &str) -> Result<u32, String> {
    percent(text, 10)
        .filter(|permille| TARGET_MARGIN_PERMILLE.contains(permille))
        .ok_or_else(|| {
            format!(
                "`{text}` is no target margin: the share of the price that is to be left, from 0.1 % to 90 %"
            )
        })
}

/// Tax on top of a price, in thousandths of a per cent.
pub(super) fn tax(text: &str) -> Result<u32, String> {
    percent(text, 1_000)
        .filter(|milli| TAX_MILLI_PCT.contains(milli))
        .ok_or_else(|| {
            format!("`{text}` is no tax: a per cent of the price, from 0.001 % to 100 %")
        })
}

/// A number of per cent, its sign left out or not, in `scale` parts of one.
fn percent(text: &str, scale: i128) -> Option<u32> {
    let number = text.trim().trim_end_matches('%').trim_end();
    let scaled = Decimal::parse(number).ok()?.scaled(scale, 1)?;
    u32::try_from(scaled).ok()
}

/// A span above zero, in microseconds.
pub(crate) fn span(text: &str) -> Result<i64, String> {
    let span = time::parse_span(text).map_err(|e| e.to_string())?;
    if span == 0 {
        return Err(format!(
            "`{text}` is no time at all; leave it out where there is none"
        ));
    }
    Ok(span)
}

pub(super) fn temperature(text: &str) -> Result<MilliCelsius, String> {
    MilliCelsius::parse_surface(text).map_err(|e| e.to_string())
}

/// A range with one end or both: `2m to 7m`, `from 2m`, `up to 7m`.
pub(crate) fn range<T: PartialOrd + Copy>(
    text: &str,
    part: impl Fn(&str) -> Result<T, String>,
) -> Result<(Option<T>, Option<T>), String> {
    let text = text.trim();
    if let Some(until) = text.strip_prefix("up to ") {
        return Ok((None, Some(part(until.trim())?)));
    }
    if let Some(from) = text.strip_prefix("from ") {
        return Ok((Some(part(from.trim())?), None));
    }
    let Some((from, until)) = text.split_once(" to ") else {
        part(text)?;
        return Err(format!(
            "`{text}` is one end only: write `from {text}`, `up to {text}`, or both ends with \
             `to` between them"
        ));
    };
    let (from, until) = (part(from.trim())?, part(until.trim())?);
    if from > until {
        return Err(format!("`{text}` goes down; the smaller comes first"));
    }
    Ok((Some(from), Some(until)))
}

/// An area, in square centimetres.
pub(super) fn area(text: &str) -> Result<u32, String> {
    let wrong = || format!("`{text}` is no area: write it like 0.6 m2, 4500 cm2 or 6.5 ft2");
    let split = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
        .ok_or_else(wrong)?;
    let (number, unit) = text.split_at(split);
    let decimal = Decimal::parse(number).map_err(|e| e.to_string())?;
    let area = match unit.trim() {
        "m2" | "m²" => decimal.scaled(M2_CM2, 1),
        "cm2" | "cm²" => decimal.scaled(1, 1),
        "ft2" | "ft²" | "sqft" | "sq ft" => decimal.scaled(FT2_CM2.0, FT2_CM2.1),
        _ => return Err(wrong()),
    };
    area.and_then(|cm2| u32::try_from(cm2).ok())
        .filter(|cm2| (1..=AREA_CM2_MAX).contains(cm2))
        .ok_or_else(|| format!("`{text}` is no area of a panel: above 0 and at most 200 m2"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_have_one_end_or_both() {
        let m = time::MINUTE_US;
        for (text, want) in [
            ("2m to 7m", (Some(2 * m), Some(7 * m))),
            ("from 2m", (Some(2 * m), None)),
            ("up to 7m", (None, Some(7 * m))),
            (" 90s to 1h30 ", (Some(3 * m / 2), Some(90 * m))),
        ] {
            assert_eq!(range(text, span), Ok(want), "{text}");
        }
        assert!(range("7m to 2m", span).unwrap_err().contains("goes down"));
        assert!(range("7m", span).unwrap_err().contains("up to 7m"));
        assert!(range("soon", span).unwrap_err().contains("span of time"));
        assert_eq!(
            range("-5C to 50F", temperature),
            Ok((Some(MilliCelsius(-5_000)), Some(MilliCelsius(10_000))))
        );
    }

    #[test]
    fn areas_come_in_metres_and_feet() {
        // 1 ft² = 0.09290304 m² (NIST SP 811, appendix B.8).
        for (text, cm2) in [
            ("1.2 m2", 12_000),
            ("4500cm2", 4_500),
            ("100 ft2", 92_903),
            ("0,5 m²", 5_000),
        ] {
            assert_eq!(area(text), Ok(cm2), "{text}");
        }
        for text in ["12", "0 m2", "201 m2", "2 acres", "m2"] {
            assert!(area(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_wage_burden_is_at_least_the_wage() {
        assert_eq!(burden("1.25"), Ok(1_250));
        assert_eq!(burden("1"), Ok(1_000));
        for text in ["0.25", "25", "-1", "a quarter"] {
            assert!(burden(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_density_is_grams_per_millilitre() {
        assert_eq!(density("1.05"), Ok(1_050_000));
        assert_eq!(density("0.8 g/mL"), Ok(800_000));
        assert!(density("1050").is_err());
        assert!(density("0").is_err());
    }
}
