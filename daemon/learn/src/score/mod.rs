//! How good past predictions were.
//!
//! - [`pinball`]: the loss of a predicted quantile (Koenker and Bassett 1978); its
//!   mean is least for the true quantile.
//! - [`crps_normal`], [`crps_log_normal`], [`crps_ensemble`]: the continuous ranked
//!   probability score, the loss of a whole predicted distribution; for a single
//!   number it is the absolute error. Closed forms: Gneiting and Raftery 2007
//!   (normal), Baran and Lerch 2015 (log-normal); the ensemble form is
//!   `mean|x − y| − mean|x − x'|/2`.
//! - [`interval_score`]: width plus `2/α` times what lies outside (Gneiting and
//!   Raftery 2007, equation 43).
//! - [`clopper_pearson`], [`wilson`]: ranges of a share that was counted.
//!
//! All losses are in the unit of what is predicted; lower is better.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use statrs::distribution::{Beta, ContinuousCDF as _, Normal};

/// Loss of `predicted` as the quantile `share` of what came out as `actual`.
pub fn pinball(actual: f64, predicted: f64, share: f64) -> f64 {
    let over = actual - predicted;
    if over >= 0.0 {
        share * over
    } else {
        (share - 1.0) * over
    }
}

/// CRPS of a normal; a spread of 0 is a single number.
pub fn crps_normal(actual: f64, mean: f64, sd: f64) -> f64 {
    if sd <= 0.0 {
        return (actual - mean).abs();
    }
    let z = (actual - mean) / sd;
    let density = (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
    sd * (z * (2.0 * below(z) - 1.0) + 2.0 * density - 1.0 / PI.sqrt())
}

/// CRPS of a log-normal with this median and spread of the logarithm.
pub fn crps_log_normal(actual: f64, median: f64, log_sd: f64) -> f64 {
    if log_sd <= 0.0 || actual <= 0.0 || median <= 0.0 {
        return (actual - median).abs();
    }
    let z = (actual / median).ln() / log_sd;
    let mean = median * (0.5 * log_sd * log_sd).exp();
    actual * (2.0 * below(z) - 1.0)
        - 2.0 * mean * (below(z - log_sd) + below(log_sd * FRAC_1_SQRT_2) - 1.0)
}

/// CRPS of equally likely values; `NaN` for none.
pub fn crps_ensemble(actual: f64, values: &[f64]) -> f64 {
    let n = count(values.len());
    let near: f64 = values.iter().map(|x| (x - actual).abs()).sum();
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    // Σ|x_i − x_j| over all pairs, from the order alone.
    let apart: f64 = sorted
        .iter()
        .enumerate()
        .map(|(i, x)| (2.0 * count(i) + 1.0 - n) * x)
        .sum();
    near / n - apart / (n * n)
}

/// Score of a central range that should hold `1 − alpha`.
pub fn interval_score(actual: f64, low: f64, high: f64, alpha: f64) -> f64 {
    let below = (low - actual).max(0.0);
    let above = (actual - high).max(0.0);
    high - low + 2.0 / alpha * (below + above)
}

/// Exact range of the share behind `held` of `of` (Clopper and Pearson 1934): it
/// holds the true share at least `level` of the time.
pub fn clopper_pearson(held: u32, of: u32, level: f64) -> (f64, f64) {
    if of == 0 || held > of {
        return (0.0, 1.0);
    }
    let tail = (1.0 - level) / 2.0;
    let (k, n) = (f64::from(held), f64::from(of));
    let beta = |a: f64, b: f64, p: f64| Beta::new(a, b).map(|d| d.inverse_cdf(p));
    let low = if held == 0 {
        0.0
    } else {
        beta(k, n - k + 1.0, tail).unwrap_or(0.0)
    };
    let high = if held == of {
        1.0
    } else {
        beta(k + 1.0, n - k, 1.0 - tail).unwrap_or(1.0)
    };
    (low, high)
}

/// Range of the share behind `held` of `of` (Wilson 1927).
pub fn wilson(held: u32, of: u32, level: f64) -> (f64, f64) {
    if of == 0 || held > of {
        return (0.0, 1.0);
    }
    let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, level));
    let n = f64::from(of);
    let p = f64::from(held) / n;
    let centre = p + z * z / (2.0 * n);
    let reach = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let per = 1.0 + z * z / n;
    ((centre - reach) / per, (centre + reach) / per)
}

/// The log-normal with this half and four in five: median and spread of the
/// logarithm; 0 where the two are one.
pub fn log_normal_of(half: f64, p80: f64) -> (f64, f64) {
    if half <= 0.0 || p80 <= half {
        return (half, 0.0);
    }
    let z = Normal::standard().inverse_cdf(0.8);
    (half, (p80 / half).ln() / z)
}

/// A count as a number; counts here are far below 2⁵³.
fn count(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// The standard normal's share below `z`, to the last digits.
fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}
