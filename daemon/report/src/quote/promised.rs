//! What a quote promises as a distribution, and sums of several.
//!
//! A quote keeps its half and its four in five alone. Between and beyond them it
//! is taken for the log-normal that has both: what it was drawn from, a sum of
//! log-normals with a shared job effect, is close to one.

use baywright_floor::event::EventId;
use baywright_floor::quote::QuoteRow;
use baywright_learn::normal;
use baywright_learn::score::log_normal_of;

use super::hash::hash_of;
use super::learn::{to_f64, whole};

/// Draws of a sum, in equal layers of each job's distribution (a Latin
/// hypercube): the four in five of a sum is then good to well under a hundredth.
const DRAWS: u32 = 4_000;

/// One promise, and what was done of it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Promised {
    pub(crate) half_us: i64,
    pub(crate) p80_us: i64,
    pub(crate) done_us: i64,
    /// Orders its draws among those of others.
    seed: u64,
}

impl Promised {
    fn of(id: EventId, half_us: i64, p80_us: i64) -> Self {
        let half_us = half_us.max(0);
        Self {
            half_us,
            p80_us: p80_us.max(half_us),
            done_us: 0,
            // The same for the same quote, and another for another.
            seed: hash_of(&id.0),
        }
    }

    pub(crate) fn of_labour(id: EventId, print: &QuoteRow) -> Self {
        let printed = &print.printed;
        Self::of(id, printed.hands_on_half_us, printed.hands_on_p80_us)
    }

    pub(crate) fn of_bay(id: EventId, print: &QuoteRow) -> Self {
        let printed = &print.printed;
        Self::of(id, printed.bay_half_us, printed.bay_p80_us)
    }

    /// Several promises about one job as one.
    pub(crate) fn together(
        id: EventId,
        each: impl Iterator<Item = Promised>,
        done_us: i64,
    ) -> Self {
        let each: Vec<Promised> = each.collect();
        let (half_us, p80_us) = sum_of(each.iter());
        Self {
            done_us: done_us.max(0),
            ..Self::of(id, half_us, p80_us)
        }
    }

    /// Half and four in five of what is left.
    pub(crate) fn left_us(&self) -> (i64, i64) {
        let left = |us: i64| us.saturating_sub(self.done_us).max(0);
        (left(self.half_us), left(self.p80_us))
    }

    /// What is left, one draw from each layer, in an order of its own.
    fn draws(&self) -> Vec<f64> {
        let (half, log_sd) = log_normal_of(to_f64(self.half_us), to_f64(self.p80_us));
        let layer = |k: u32| {
            let share = (f64::from(k) + 0.5) / f64::from(DRAWS);
            let all = half * (log_sd * normal::quantile(share)).exp();
            (all - to_f64(self.done_us)).max(0.0)
        };
        let mut draws: Vec<f64> = (0..DRAWS).map(layer).collect();
        let mut state = self.seed;
        for at in (1..draws.len()).rev() {
            let among = u64::try_from(at).unwrap_or(u64::MAX).saturating_add(1);
            let other = usize::try_from(next(&mut state) % among).unwrap_or(at);
            draws.swap(at, other);
        }
        draws
    }
}

/// The next number of a splitmix64 sequence (Steele, Lea and Flood 2014).
fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Half and four in five of the sum of what is left of independent promises.
pub(crate) fn sum_of<'p>(promises: impl Iterator<Item = &'p Promised>) -> (i64, i64) {
    let promises: Vec<&Promised> = promises.collect();
    match promises.as_slice() {
        [] => (0, 0),
        [one] => one.left_us(),
        many => {
            let mut totals = vec![0.0; many.first().map_or(0, |one| one.draws().len())];
            for promise in many {
                for (total, draw) in totals.iter_mut().zip(promise.draws()) {
                    *total += draw;
                }
            }
            let mut at =
                |share| whole(baywright_learn::posterior::quantile(&mut totals, share).value);
            (at(0.5), at(0.8))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR_US: i64 = 3_600_000_000;

    fn promised(n: u8, half_h: i64, p80_h: i64) -> Promised {
        Promised::of(EventId([n; 16]), half_h * HOUR_US, p80_h * HOUR_US)
    }

    #[test]
    fn the_two_points_of_a_quote_are_kept() {
        let one = promised(1, 8, 10);
        assert_eq!(sum_of([one].iter()), (8 * HOUR_US, 10 * HOUR_US));
        // Beside a job of nothing it is drawn, and comes out the same.
        let (half, p80) = sum_of([one, promised(2, 0, 0)].iter());
        assert!((half - 8 * HOUR_US).abs() < HOUR_US / 100, "{half}");
        assert!((p80 - 10 * HOUR_US).abs() < HOUR_US / 100, "{p80}");
    }

    #[test]
    fn the_four_in_five_of_a_sum_is_less_than_the_sum_of_four_in_fives() {
        // Sixteen jobs of 8 h and 10 h in four of five: on the log scale
        // ln(1.25)/0.8416 = 0.2651, mean 8·exp(0.2651²/2) = 8.286 h, sd
        // 8.286·√(exp(0.2651²) − 1) = 2.236 h; sum 132.58 h, sd 8.94 h, so about
        // 132.58 + 0.8416·8.94 = 140.1 h by the normal limit, not 160 h.
        let jobs: Vec<Promised> = (1..=16).map(|n| promised(n, 8, 10)).collect();
        let (half, p80) = sum_of(jobs.iter());
        let hours = |us: i64| to_f64(us) / to_f64(HOUR_US);
        assert!((hours(half) - 132.3).abs() < 0.6, "{}", hours(half));
        assert!((hours(p80) - 140.1).abs() < 0.6, "{}", hours(p80));
    }

    #[test]
    fn what_was_done_comes_off_and_never_leaves_less_than_nothing() {
        let mut one = promised(1, 8, 10);
        one.done_us = 9 * HOUR_US;
        assert_eq!(one.left_us(), (0, HOUR_US));
        one.done_us = 90 * HOUR_US;
        assert_eq!(one.left_us(), (0, 0));
        let both = [one, promised(2, 1, 2)];
        let (half, p80) = sum_of(both.iter());
        assert!((half - HOUR_US).abs() < HOUR_US / 100, "{half}");
        assert!((p80 - 2 * HOUR_US).abs() < HOUR_US / 100, "{p80}");
    }
}
