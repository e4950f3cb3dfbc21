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
