//! Quantiles, exactly: Hyndman–Fan type 8, which their paper recommends
//! because it is about median-unbiased whatever the distribution.
//!
//! Source: R. J. Hyndman and Y. Fan, Sample Quantiles in Statistical Packages,
//! The American Statistician 50 (1996), definition 8: the quantile at p of n
//! ordered values lies at place (n + 1/3)·p + 1/3, between neighbours in
//! proportion, and is the first or last value beyond them.

use crate::span::{clamp, divide_half_even};

/// How the definition is named wherever quantiles are shown.
pub const QUANTILES: &str = "Hyndman-Fan type 8";

/// The share `numerator / denominator` of ordered values lies below the answer,
/// rounded half to even; `None` for no values or no share between 0 and 1.
pub(crate) fn quantile(ordered: &[i64], numerator: u32, denominator: u32) -> Option<i64> {
    let (first, last) = (ordered.first()?, ordered.last()?);
    if denominator == 0 || numerator > denominator {
        return None;
    }
    let (p, q) = (i128::from(numerator), i128::from(denominator));
    let n = i128::try_from(ordered.len()).ok()?;
    // The place, from 1, in parts of 3q.
    let place = (3 * n + 1) * p + q;
    let parts = 3 * q;
    let whole = usize::try_from(place / parts).ok()?;
    let rest = place % parts;
    let Some(below) = whole.checked_sub(1).and_then(|index| ordered.get(index)) else {
        return Some(*first);
    };
    let Some(above) = ordered.get(whole) else {
        return Some(*last);
    };
    let sum = i128::from(*below) * (parts - rest) + i128::from(*above) * rest;
    Some(clamp(divide_half_even(sum, parts)))
}

/// Mean of the values, rounded half to even; `None` for none.
pub(crate) fn mean(values: &[i64]) -> Option<i64> {
    let n = i128::try_from(values.len()).ok().filter(|n| *n > 0)?;
    let sum: i128 = values.iter().map(|v| i128::from(*v)).sum();
    Some(clamp(divide_half_even(sum, n)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hyndman and Fan's definition 8 on six small sets, as an independent
    /// implementation in double precision gives it: columns id, set, data,
    /// type, p, expected, absolute tolerance.
    const DEFINITION_8: &str = include_str!("../tests/data/hyndman_fan_type_8.csv");
    /// Values are taken in millionths, so that a whole number is near enough.
    const PARTS: u32 = 6;

    /// A decimal number in millionths; more places are cut off.
    fn parts(text: &str) -> i64 {
        let (whole, places) = text.split_once('.').unwrap_or((text, ""));
        let places: String = places
            .chars()
            .chain("000000".chars())
            .take(PARTS as usize)
            .collect();
        format!("{whole}{places}").parse().unwrap()
    }

    #[test]
    fn quantiles_are_those_of_definition_8() {
        let mut checked = 0;
        for line in DEFINITION_8.lines().skip(1) {
            let fields: Vec<&str> = line.split(',').collect();
            let [id, _, data, _, p, expected, _] = fields[..] else {
                panic!("{line}");
            };
            let mut values: Vec<i64> = data.split(' ').map(parts).collect();
            values.sort_unstable();
            let p = u32::try_from(parts(p)).unwrap();
            let found = quantile(&values, p, 10_u32.pow(PARTS)).unwrap();
            // The expected value is cut off to whole parts, ours is rounded.
            let off = found - parts(expected);
            assert!((0..=1).contains(&off), "{id}: {found} for {expected}");
            checked += 1;
        }
        assert_eq!(checked, 66);
    }

    #[test]
    fn there_is_no_quantile_of_nothing_or_beyond_the_whole() {
        assert_eq!(quantile(&[], 1, 2), None);
        assert_eq!(quantile(&[1], 3, 2), None);
        assert_eq!(quantile(&[1], 1, 0), None);
        assert_eq!(mean(&[]), None);
    }

    #[test]
    fn ends_of_the_numbers_do_not_overflow() {
        let ends = [i64::MIN, i64::MAX];
        assert_eq!(quantile(&ends, 1, u32::MAX), Some(i64::MIN));
        assert_eq!(quantile(&ends, 1, 2), Some(0));
        assert_eq!(mean(&ends), Some(0));
    }

    /// NIST Statistical Reference Datasets, univariate summary statistics: each
    /// file names its page and has the certified mean.
    const CERTIFIED: [&str; 6] = [
        include_str!("../tests/data/univariate_Lew.json"),
        include_str!("../tests/data/univariate_Lottery.json"),
        include_str!("../tests/data/univariate_Michelso.json"),
        include_str!("../tests/data/univariate_NumAcc1.json"),
        include_str!("../tests/data/univariate_NumAcc2.json"),
        include_str!("../tests/data/univariate_NumAcc4.json"),
    ];

    /// A decimal number as an integer of so many places, which it must not exceed.
    fn scaled(text: &str, places: usize) -> i64 {
        let (whole, given) = text.split_once('.').unwrap_or((text, ""));
        assert!(given.len() <= places, "{text}");
        format!("{whole}{given:0<places$}").parse().unwrap()
    }

    #[test]
    fn means_are_the_certified_ones_to_the_last_place() {
        for file in CERTIFIED {
            let set: serde_json::Value = serde_json::from_str(file).unwrap();
            let certified = set["certified"]["mean"].as_str().unwrap();
            let places = certified
                .split_once('.')
                .map_or(0, |(_, given)| given.len());
            let data = set["data"].as_array().unwrap();
            assert_eq!(set["n"], data.len());
            let values: Vec<i64> = data
                .iter()
                .map(|value| scaled(value.as_str().unwrap(), places))
                .collect();
            let expected = Some(scaled(certified, places));
            assert_eq!(mean(&values), expected, "{}", set["id"]);
        }
    }
}
