//! Money in parts fine enough to add up before it is rounded.

use crate::span::{clamp, divide_half_even};

/// Parts of one minor unit: the microseconds of an hour times the thousandths
/// of a wage burden, so that labour is exact. What is not (a price shared over
/// a pack) is rounded to these parts, which are far below anything printed.
pub(crate) const FINE_PER_MINOR: i128 = 3_600_000_000_000;

/// Largest money of one stretch, use or price, in minor units, on either side
/// of zero. It is above any shop in any currency, and nine hundred thousand of
/// them still add up inside 64 bits.
pub(crate) const PIECE_MINOR_MAX: i64 = 10_000_000_000_000;

/// Money as an integer of [`FINE_PER_MINOR`] parts of a minor unit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Fine(i128);

impl Fine {
    pub(crate) const ZERO: Self = Self(0);

    /// So many minor units.
    pub(crate) fn of_minor(minor: i64) -> Self {
        Self(i128::from(minor) * FINE_PER_MINOR)
    }

    /// `rate_minor` for an hour, over `us`, times `burden_milli` thousandths.
    /// Stops at [`PIECE_MINOR_MAX`].
    pub(crate) fn of_labour(rate_minor: i64, us: i64, burden_milli: u32) -> Self {
        let exact = i128::from(rate_minor)
            .checked_mul(i128::from(us))
            .and_then(|cost| cost.checked_mul(i128::from(burden_milli)));
        let sign = i128::from(rate_minor.signum()) * i128::from(us.signum());
        Self::stopped(exact.unwrap_or(sign * LIMIT))
    }

    /// `minor` for `per`, over `amount`, rounded half to even to a fine part.
    /// Stops at [`PIECE_MINOR_MAX`]; nothing where `per` is not above zero.
    pub(crate) fn share(minor: i64, amount: i64, per: i64) -> Self {
        if per <= 0 {
            return Self::ZERO;
        }
        let (product, per) = (i128::from(minor) * i128::from(amount), i128::from(per));
        // A 126-bit product would not survive the multiplication by the parts.
        let whole = product
            .div_euclid(per)
            .clamp(-LIMIT / FINE_PER_MINOR, LIMIT / FINE_PER_MINOR);
        let rest = product.rem_euclid(per) * FINE_PER_MINOR;
        Self::stopped(whole * FINE_PER_MINOR + divide_half_even(rest, per))
    }

    /// To the nearest minor unit, ties to even.
    pub(crate) fn rounded(self) -> i64 {
        clamp(divide_half_even(self.0, FINE_PER_MINOR))
    }

    /// True where so many minor units lie no further than one away.
    pub(crate) fn is_within_one_of(self, minor: i64) -> bool {
        (self.0 - Self::of_minor(minor).0).abs() <= FINE_PER_MINOR
    }

    /// For each hour of `us`, to the nearest minor unit; `None` for no time.
    pub(crate) fn per_hour(self, us: i64) -> Option<i64> {
        // An hour of microseconds cancels out of the fine parts.
        let parts = i128::from(us).checked_mul(FINE_PER_MINOR / HOUR_US)?;
        (parts > 0).then(|| clamp(divide_half_even(self.0, parts)))
    }

    fn stopped(parts: i128) -> Self {
        Self(parts.clamp(-LIMIT, LIMIT))
    }
}

const HOUR_US: i128 = baywright_terms::time::HOUR_US as i128;

const LIMIT: i128 = PIECE_MINOR_MAX as i128 * FINE_PER_MINOR;

impl std::ops::Add for Fine {
    type Output = Self;
    /// Pieces are stopped so far below 128 bits that sums of them cannot pass
    /// it; the ends are there for the reader's peace.
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl std::ops::AddAssign for Fine {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl std::ops::Sub for Fine {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Fine {
    fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
        parts.fold(Self::ZERO, |sum, part| sum + part)
    }
}

/// Shares a rounded whole among its parts so that they add up to it: each part
/// rounded down, then a minor unit more for those with the largest remainders,
/// the first among equals. A part of exactly nothing gets nothing, unless all
/// are nothing: then the first one takes what there is.
pub(crate) fn shared(whole_minor: i64, parts: &[Fine]) -> Vec<i64> {
    let mut shares = vec![0; parts.len()];
    let mut counted: Vec<usize> = (0..parts.len())
        .filter(|index| parts[*index] != Fine::ZERO)
        .collect();
    if counted.is_empty() {
        if let Some(first) = shares.first_mut() {
            *first = whole_minor;
        }
        return shares;
    }
    let floor = |index: usize| parts[index].0.div_euclid(FINE_PER_MINOR);
    let rest = |index: usize| parts[index].0.rem_euclid(FINE_PER_MINOR);
    let floors: i128 = counted.iter().map(|index| floor(*index)).sum();
    let missing = i128::from(whole_minor) - floors;
    let among = i128::try_from(counted.len()).unwrap_or(1);
    let (each, some) = (missing.div_euclid(among), missing.rem_euclid(among));
    counted.sort_by_key(|index| std::cmp::Reverse(rest(*index)));
    for (place, index) in (0_i128..).zip(counted) {
        shares[index] = clamp(floor(index) + each + i128::from(place < some));
    }
    shares
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HOUR_US: i64 = baywright_terms::time::HOUR_US;

    #[test]
    fn labour_is_exact_and_rounded_once() {
        // 20 minutes at 10.00 are 3.33; three of them are 10.00.
        let third = Fine::of_labour(1_000, HOUR_US / 3, 1_000);
        assert_eq!(third.rounded(), 333);
        assert_eq!((third + third + third).rounded(), 1_000);
        assert_eq!(Fine::of_labour(1_000, HOUR_US, 1_250).rounded(), 1_250);
        // Half a minor unit goes to the even one.
        assert_eq!(Fine::of_labour(1, HOUR_US / 2, 1_000).rounded(), 0);
        assert_eq!(Fine::of_labour(3, HOUR_US / 2, 1_000).rounded(), 2);
    }

    #[test]
    fn a_share_of_a_pack_is_its_part_of_the_price() {
        // 350 ml of a pack of 5 l at 61.25.
        let part = Fine::share(6_125, 350_000_000, 5_000_000_000);
        assert_eq!(part.rounded(), 429);
        assert_eq!(Fine::share(6_125, 1, 0), Fine::ZERO);
        assert_eq!(Fine::share(-1, 1, 2).rounded(), 0);
        assert_eq!(Fine::share(-3, 1, 2).rounded(), -2);
    }

    #[test]
    fn parts_get_the_largest_remainders_and_nothing_stays_nothing() {
        let third = Fine::of_labour(100, HOUR_US / 3, 1_000);
        assert_eq!(
            shared(100, &[third, third, Fine::ZERO, third]),
            [34, 33, 0, 33]
        );
        assert_eq!(shared(0, &[Fine::ZERO, Fine::ZERO]), [0, 0]);
        assert_eq!(shared(5, &[Fine::ZERO, Fine::ZERO]), [5, 0]);
        assert!(shared(5, &[]).is_empty());
        // Two roundings apart: the whole is one less than the part.
        assert_eq!(shared(0, &[Fine::share(1, 1, 1), Fine::ZERO]), [0, 0]);
        assert_eq!(shared(-1, &[third, Fine::ZERO - third]), [33, -34]);
    }

    proptest! {
        #[test]
        fn shares_add_up_and_stay_beside_their_part(
            parts in prop::collection::vec(-9_000_000_000_000_000_i128..9_000_000_000_000_000, 1..12),
            off in -1_i64..2,
        ) {
            let parts: Vec<Fine> = parts.into_iter().map(Fine).collect();
            let sum: Fine = parts.iter().copied().sum();
            let whole = sum.rounded() + off;
            let shares = shared(whole, &parts);
            prop_assert_eq!(shares.iter().sum::<i64>(), whole);
            for (share, part) in shares.iter().zip(&parts) {
                let off = i128::from(*share) * FINE_PER_MINOR - part.0;
                prop_assert!(off.abs() < 3 * FINE_PER_MINOR, "{} {:?}", share, part);
            }
        }

        #[test]
        fn nothing_overflows(
            a in any::<i64>(), b in any::<i64>(), c in any::<i64>(), burden in any::<u32>(),
            whole in any::<i64>(),
        ) {
            let pieces = [Fine::of_labour(a, b, burden), Fine::share(a, b, c), Fine::share(c, b, a)];
            for piece in pieces {
                prop_assert!(piece.rounded().abs() <= PIECE_MINOR_MAX);
            }
            prop_assert_eq!(shared(whole, &pieces).len(), 3);
        }
    }
}
