//! Stretches of time that are joined, and taken out of each other.

/// From an instant up to another, microseconds.
pub(super) type Span = (i64, i64);

/// The spans in order, those that touch or overlap joined.
pub(super) fn joined(spans: impl IntoIterator<Item = Span>) -> Vec<Span> {
    let mut sorted: Vec<Span> = spans
        .into_iter()
        .filter(|(from, until)| from < until)
        .collect();
    sorted.sort_unstable();
    let mut joined: Vec<Span> = Vec::new();
    for (from, until) in sorted {
        match joined.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(until),
            _ => joined.push((from, until)),
        }
    }
    joined
}

/// What is left of `whole` without `taken`; both joined.
pub(super) fn without(whole: &[Span], taken: &[Span]) -> Vec<Span> {
    let mut left = Vec::new();
    for &(from, until) in whole {
        let mut at = from;
        for &(begin, end) in taken
            .iter()
            .filter(|(begin, end)| *begin < until && from < *end)
        {
            if at < begin {
                left.push((at, begin));
            }
            at = at.max(end);
        }
        if at < until {
            left.push((at, until));
        }
    }
    left
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn overlapping_spans_are_one_and_a_hole_parts_them() {
        assert_eq!(
            joined([(5, 9), (1, 3), (2, 4), (9, 10), (7, 7)]),
            [(1, 4), (5, 10)]
        );
        assert_eq!(without(&[(0, 10)], &[(2, 3), (5, 12)]), [(0, 2), (3, 5)]);
        assert_eq!(without(&[(0, 4), (6, 8)], &[(0, 7)]), [(7, 8)]);
    }

    proptest! {
        #[test]
        fn each_instant_is_in_one_of_the_two(
            whole in proptest::collection::vec((0i64..60, 0i64..60), 0..8),
            taken in proptest::collection::vec((0i64..60, 0i64..60), 0..8),
        ) {
            let (whole, taken) = (joined(whole), joined(taken));
            let left = without(&whole, &taken);
            let holds = |spans: &[Span], at: i64| spans.iter().filter(|(f, u)| *f <= at && at < *u).count();
            for at in 0..60 {
                let expected = usize::from(holds(&whole, at) == 1 && holds(&taken, at) == 0);
                prop_assert_eq!(holds(&left, at), expected, "{}", at);
            }
        }
    }
}
