//! One factor that mends the width of predictions.
//!
//! Each unit is predicted from the others; its miss in standard deviations is
//! `z`. If the ranges are right, `z` is standard normal but for a few records that
//! went wrong. The factor is the mode of
//! `Π t₈(z/c)/c` with `ln c ~ N(0, 0.15²)`: eight degrees of freedom so that a slip
//! does not widen every range, the prior so that a few units do not move it.

/// Prior standard deviation of the logarithm of the factor.
const LOG_SD: f64 = 0.15;

/// Degrees of freedom of the misses.
const DOF: f64 = 8.0;

/// A factor this close to 1 is not worth a word.
const WORTH_SAYING: f64 = 0.05;

/// Search range of the logarithm of the factor.
const LOG_REACH: f64 = 1.2;

/// How much predictions are widened (above 1) or narrowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Widen {
    pub factor: f64,
    /// Units it was learned from.
    pub units: usize,
}

impl Widen {
    /// Nothing is known of the misses.
    pub const NONE: Self = Self {
        factor: 1.0,
        units: 0,
    };

    /// True where it changes a range by enough to be said.
    pub fn is_worth_saying(&self) -> bool {
        (self.factor - 1.0).abs() >= WORTH_SAYING
    }

    /// The factor that fits the misses; those that are not finite count for none.
    pub fn of(misses: &[f64]) -> Self {
        let misses: Vec<f64> = misses.iter().copied().filter(|z| z.is_finite()).collect();
        // A t of 8 degrees of freedom is wider than the normal it stands for.
        let wider = (DOF / (DOF - 2.0)).sqrt();
        let loss = |log: f64| {
            let scale = log.exp() / wider;
            let of = |z: &f64| 0.5 * (DOF + 1.0) * ((z / scale).powi(2) / DOF).ln_1p() + scale.ln();
            misses.iter().map(of).sum::<f64>() + 0.5 * (log / LOG_SD).powi(2)
        };
        Self {
            factor: least(loss, -LOG_REACH, LOG_REACH).exp(),
            units: misses.len(),
        }
    }
}

/// Where a function with one valley is least, by golden section.
fn least(of: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut low, mut high) = (low, high);
    let (mut a, mut b) = (high - golden * (high - low), low + golden * (high - low));
    let (mut at_a, mut at_b) = (of(a), of(b));
    while high - low > 1e-6 {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - golden * (high - low);
            at_a = of(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + golden * (high - low);
            at_b = of(b);
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha12Rng;
    use rand_distr::{Distribution as _, StandardNormal};

    use super::*;

    fn misses(seed: u64, n: usize, sd: f64) -> Vec<f64> {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let normal = |_| {
            let z: f64 = StandardNormal.sample(&mut rng);
            sd * z
        };
        (0..n).map(normal).collect()
    }

    #[test]
    fn ranges_that_are_right_stay_within_noise_of_what_they_are() {
        for seed in 0..20 {
            let found = Widen::of(&misses(seed, 300, 1.0)).factor;
            assert!((found - 1.0).abs() < 0.15, "seed {seed}: {found}");
        }
    }

    #[test]
    fn ranges_understated_by_two_fifths_are_widened_by_about_that() {
        for seed in 0..20 {
            let found = Widen::of(&misses(seed, 400, 1.4)).factor;
            assert!((found - 1.4).abs() < 0.18, "seed {seed}: {found}");
        }
    }

    #[test]
    fn few_units_move_it_little_and_none_not_at_all() {
        assert!((Widen::of(&[]).factor - 1.0).abs() < 1e-4);
        let three = Widen::of(&[2.0, -2.0, 2.0]).factor;
        assert!((1.0..1.15).contains(&three), "{three}");
        assert!((Widen::of(&[f64::NAN, f64::INFINITY]).factor - 1.0).abs() < 1e-4);
    }

    #[test]
    fn a_few_slips_do_not_widen_every_range() {
        let mut with_slips = misses(5, 100, 1.0);
        let before = Widen::of(&with_slips).factor;
        with_slips.extend([9.0, 12.0, 8.0]);
        let after = Widen::of(&with_slips).factor;
        assert!(after < before * 1.15, "{before} {after}");
    }
}
