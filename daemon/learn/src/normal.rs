//! The standard normal.

use std::f64::consts::FRAC_1_SQRT_2;

use statrs::distribution::{ContinuousCDF as _, Normal};

/// Share of the standard normal below `z`, to the last digits.
pub fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// Where `share` of the standard normal lies below; infinite at the ends, `NaN`
/// for no share.
pub fn quantile(share: f64) -> f64 {
    if !(0.0..=1.0).contains(&share) {
        return f64::NAN;
    }
    Normal::standard().inverse_cdf(share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_and_places_are_those_of_the_printed_tables() {
        // Standard normal tables, as printed in any textbook of statistics.
        for (share, z) in [(0.8, 0.841_621), (0.9, 1.281_552), (0.975, 1.959_964)] {
            assert!((quantile(share) - z).abs() < 1e-6, "{share}");
            assert!((below(z) - share).abs() < 1e-6, "{share}");
        }
        assert!((below(0.0) - 0.5).abs() < 1e-15);
        assert!(quantile(0.0) < -1e9);
        assert!(quantile(1.1).is_nan());
    }
}
