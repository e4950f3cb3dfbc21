//! A whole shared out in integers that add up to it.

use crate::span::clamp;

/// Shares `whole` in proportion to `weights`: each share rounded down, then one
/// more for those with the largest remainders, the first among equals. `None`
/// where nothing weighs anything. Weights below zero count as nothing.
///
/// The shares add up to `whole`, and each is less than one away from its exact
/// part.
pub(super) fn shares(whole: i64, weights: &[i64]) -> Option<Vec<i64>> {
    let weights: Vec<i128> = weights.iter().map(|w| i128::from((*w).max(0))).collect();
    let total: i128 = weights.iter().sum();
    if total == 0 {
        return None;
    }
    // Two 64-bit numbers multiplied fit into 128 bits.
    let parts = weights.iter().map(|weight| i128::from(whole) * weight);
    let (mut shares, rests): (Vec<i128>, Vec<i128>) = parts
        .map(|part| (part.div_euclid(total), part.rem_euclid(total)))
        .unzip();
    let missing = i128::from(whole) - shares.iter().sum::<i128>();
    let mut largest: Vec<usize> = (0..shares.len()).collect();
    largest.sort_by_key(|place| std::cmp::Reverse(rests.get(*place)));
    for (_, place) in (0..missing).zip(largest) {
        if let Some(share) = shares.get_mut(place) {
            *share += 1;
        }
    }
    Some(shares.into_iter().map(clamp).collect())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_largest_remainders_get_one_more_and_the_first_among_equals() {
        for (whole, weights, want) in [
            (10, vec![1, 1, 1], vec![4, 3, 3]),
            (11, vec![1, 1, 1], vec![4, 4, 3]),
            (7, vec![3, 0, 1], vec![5, 0, 2]),
            (0, vec![3, 1], vec![0, 0]),
            (1, vec![1, 2], vec![0, 1]),
            (5, vec![-4, 1], vec![0, 5]),
        ] {
            assert_eq!(shares(whole, &weights), Some(want), "{whole} {weights:?}");
        }
        assert_eq!(shares(5, &[]), None);
        assert_eq!(shares(5, &[0, -1]), None);
    }

    proptest! {
        #[test]
        fn shares_add_up_and_are_less_than_one_off(
            whole in 0..i64::MAX,
            weights in prop::collection::vec(0..i64::MAX, 1..9),
        ) {
            let total: i128 = weights.iter().map(|w| i128::from(*w)).sum();
            prop_assume!(total > 0);
            let shared = shares(whole, &weights).unwrap();
            let sum: i128 = shared.iter().map(|s| i128::from(*s)).sum();
            prop_assert_eq!(sum, i128::from(whole));
            for (share, weight) in shared.iter().zip(&weights) {
                let exact = i128::from(whole) * i128::from(*weight);
                let part = exact.div_euclid(total);
                prop_assert!((0..=1).contains(&(i128::from(*share) - part)));
            }
        }
    }
}
