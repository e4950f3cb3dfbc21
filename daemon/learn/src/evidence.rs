//! Evidence that does not flip back and forth, and shifts in a row of values.

use statrs::distribution::{ContinuousCDF as _, StudentsT};

use crate::normal;

/// Values below which nothing is said of a shift.
pub const SHIFT_FROM: usize = 8;

/// The last values are a third of all, at least so many and at most so many: what
/// changed years ago is no shift of today.
const LAST_MIN: usize = 4;
const LAST_MAX: usize = 20;

/// Values further from the middle than so many robust standard deviations are
/// moved there: one slip is no shift.
const REACH: f64 = 3.0;
/// Median absolute deviation of a standard normal, inverted.
const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// What is believed of a mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    pub mean: f64,
    pub sd: f64,
}

impl Belief {
    /// How sure it is that the mean is above a value.
    pub fn above(&self, value: f64) -> f64 {
        if self.sd <= 0.0 {
            return f64::from(u8::from(self.mean > value));
        }
        normal::below((self.mean - value) / self.sd)
    }
}

/// What was believed before the first value, after it, and so on up to `last`,
/// what is believed after all of them: each value is taken out of the belief
/// again. Whatever else stands behind `last` is in every step. A value weighs as
/// one with the spread `noise_sd`, or less where the beginning would then be surer
/// than a normal around anything with `prior_sd`.
pub fn path(values: &[f64], last: Belief, prior_sd: f64, noise_sd: f64) -> Vec<Belief> {
    let precision = |sd: f64| sd.powi(2).max(f64::MIN_POSITIVE).recip();
    let n = f64::from(u32::try_from(values.len()).unwrap_or(u32::MAX));
    let gained = (precision(last.sd) - precision(prior_sd)).max(0.0);
    let weight = precision(noise_sd).min(gained / n.max(1.0));
    let (mut sure, mut sum) = (precision(last.sd), precision(last.sd) * last.mean);
    let mut path = vec![last];
    for value in values.iter().rev() {
        sure -= weight;
        sum -= weight * value;
        path.push(Belief {
            mean: sum / sure,
            sd: sure.recip().sqrt(),
        });
    }
    path.reverse();
    path
}

/// Whether something holds after a row of probabilities: from the first at or over
/// `enter` until one falls under `leave`. A gap between the two keeps noise from
/// turning it on and off.
pub fn steady(probabilities: impl IntoIterator<Item = f64>, enter: f64, leave: f64) -> bool {
    probabilities
        .into_iter()
        .fold(false, |on, p| if on { p >= leave } else { p >= enter })
}

/// A shift of the last values against those before, with its 95 % range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    pub mean: f64,
    pub low: f64,
    pub high: f64,
}

/// The shift of the last third of some values in order of time: the difference of
/// means with the range of Welch (1947), slips moved in. `None` for fewer than
/// [`SHIFT_FROM`].
pub fn shift(values: &[f64]) -> Option<Shift> {
    if values.len() < SHIFT_FROM || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let centre = median(values);
    let off: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    let reach = REACH * MAD_TO_SD * median(&off);
    let moved: Vec<f64> = values
        .iter()
        .map(|v| v.clamp(centre - reach, centre + reach))
        .collect();
    let last = (moved.len() / 3).clamp(LAST_MIN, LAST_MAX);
    let (before, after) = moved.split_at(moved.len() - last);
    let (a, b) = (moments(before), moments(after));
    let (se_a, se_b) = (a.variance / a.n, b.variance / b.n);
    let mean = b.mean - a.mean;
    let variance = se_a + se_b;
    if variance <= 0.0 {
        return Some(Shift {
            mean,
            low: mean,
            high: mean,
        });
    }
    let dof = variance.powi(2) / (se_a.powi(2) / (a.n - 1.0) + se_b.powi(2) / (b.n - 1.0));
    let t = StudentsT::new(0.0, 1.0, dof).ok()?.inverse_cdf(0.975);
    let reach = t * variance.sqrt();
    Some(Shift {
        mean,
        low: mean - reach,
        high: mean + reach,
    })
}

struct Moments {
    n: f64,
    mean: f64,
    variance: f64,
}

fn moments(values: &[f64]) -> Moments {
    let n = f64::from(u32::try_from(values.len()).unwrap_or(u32::MAX));
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    Moments {
        n,
        mean,
        variance: squares / (n - 1.0),
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |index: usize| sorted.get(index).copied().unwrap_or(f64::NAN);
    f64::midpoint(at((sorted.len().max(1) - 1) / 2), at(sorted.len() / 2))
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha12Rng;
    use rand_distr::{Distribution as _, StandardNormal};

    use super::*;

    fn noise(seed: u64, n: usize, sd: f64) -> Vec<f64> {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let draw = |_| {
            let z: f64 = StandardNormal.sample(&mut rng);
            sd * z
        };
        (0..n).map(draw).collect()
    }

    /// A normal mean under a prior of 0 ± `prior_sd`.
    fn forwards(values: &[f64], prior_sd: f64, noise_sd: f64) -> Belief {
        let n = f64::from(u32::try_from(values.len()).unwrap());
        let precision = prior_sd.powi(-2) + n * noise_sd.powi(-2);
        Belief {
            mean: values.iter().sum::<f64>() * noise_sd.powi(-2) / precision,
            sd: precision.recip().sqrt(),
        }
    }

    #[test]
    fn taking_values_out_again_gives_what_the_conjugate_normal_said_before_them() {
        let values = [3.0, 1.0, -2.0];
        let path = path(&values, forwards(&values, 0.7, 0.5), 0.7, 0.5);
        assert_eq!(path.len(), 4);
        for (n, belief) in path.iter().enumerate() {
            let expected = forwards(&values[..n], 0.7, 0.5);
            assert!(
                (belief.mean - expected.mean).abs() < 1e-9,
                "{n}: {belief:?}"
            );
            assert!((belief.sd - expected.sd).abs() < 1e-9, "{n}: {belief:?}");
        }
        assert!((path[3].above(path[3].mean) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn what_holds_ends_only_below_the_lower_bound() {
        let on = |row: &[f64]| steady(row.iter().copied(), 0.95, 0.8);
        assert!(!on(&[]));
        assert!(!on(&[0.94, 0.9]));
        assert!(on(&[0.96, 0.81, 0.9]));
        assert!(!on(&[0.96, 0.79, 0.94]));
    }

    #[test]
    fn steady_evidence_flips_less_than_a_bare_bound_in_the_same_run() {
        let (mut bare_flips, mut steady_flips) = (0, 0);
        for seed in 0..200 {
            let values = noise(seed, 150, 0.3);
            let beliefs = path(&values, forwards(&values, 0.4, 0.3), 0.4, 0.3);
            let row: Vec<f64> = beliefs.iter().map(|b| b.above(0.0)).collect();
            let flips =
                |on: &dyn Fn(usize) -> bool| (1..row.len()).filter(|n| on(*n) != on(n - 1)).count();
            bare_flips += flips(&|n| row[n] >= 0.9);
            steady_flips += flips(&|n| steady(row[..=n].iter().copied(), 0.95, 0.9));
        }
        assert!(bare_flips > 100, "{bare_flips}");
        assert!(
            steady_flips * 2 < bare_flips,
            "{steady_flips} of {bare_flips}"
        );
    }

    #[test]
    fn a_shift_is_found_and_noise_is_none_nineteen_times_in_twenty() {
        assert_eq!(shift(&[0.0; SHIFT_FROM - 1]), None);
        let mut false_alarms = 0;
        for seed in 0..400 {
            let mut values = noise(seed, 30, 0.3);
            let found = shift(&values).unwrap();
            false_alarms += usize::from(found.low > 0.0 || found.high < 0.0);
            for value in &mut values[20..] {
                *value += 0.8;
            }
            let found = shift(&values).unwrap();
            assert!(found.low > 0.0, "seed {seed}: {found:?}");
        }
        // 5 % of 400 is 20; three standard deviations of it are 13.
        assert!(false_alarms <= 33, "{false_alarms}");
    }

    #[test]
    fn one_slip_is_no_shift() {
        let mut values = noise(3, 24, 0.2);
        values[23] = 5.0;
        let found = shift(&values).unwrap();
        assert!(found.low < 0.0 && found.high > 0.0, "{found:?}");
    }
}
