//! Lengths, cuts and sums of spans. Instants of a fact can be anything, so
//! nothing here overflows: lengths and sums stop at the ends of an `i64`
//! (292,000 years).

use baywright_terms::time::Micros;

/// Half-open, `from <= until`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Span {
    pub(crate) from: Micros,
    pub(crate) until: Micros,
}

impl Span {
    /// A span; one that ends before it begins is empty at its beginning.
    pub(crate) fn new(from: Micros, until: Micros) -> Self {
        Self {
            from,
            until: until.max(from),
        }
    }

    pub(crate) fn length_us(self) -> i64 {
        self.until.0.saturating_sub(self.from.0)
    }

    /// The part of it inside `window`, where that is not empty.
    pub(crate) fn cut_to(self, window: Span) -> Option<Span> {
        let from = self.from.max(window.from);
        let until = self.until.min(window.until);
        (from < until).then_some(Span { from, until })
    }

    pub(crate) fn holds(self, at: Micros) -> bool {
        self.from <= at && at < self.until
    }
}

/// Sum that stops at the ends of an `i64`.
pub(crate) fn sum_us(parts: impl IntoIterator<Item = i64>) -> i64 {
    parts.into_iter().fold(0, i64::saturating_add)
}

/// An `i128` as an `i64`, stopping at its ends.
pub(crate) fn clamp(value: i128) -> i64 {
    i64::try_from(value).unwrap_or(if value < 0 { i64::MIN } else { i64::MAX })
}

/// `numerator / denominator` to the nearest integer, ties to even; the
/// denominator must be positive, and 0 is answered for one that is not.
pub(crate) fn divide_half_even(numerator: i128, denominator: i128) -> i128 {
    if denominator <= 0 {
        return 0;
    }
    let floor = numerator.div_euclid(denominator);
    let rest = numerator.rem_euclid(denominator);
    let up = match (rest * 2).cmp(&denominator) {
        std::cmp::Ordering::Less => false,
        std::cmp::Ordering::Equal => floor.rem_euclid(2) == 1,
        std::cmp::Ordering::Greater => true,
    };
    floor + i128::from(up)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ties_go_to_the_even_neighbour_on_both_sides_of_zero() {
        for (n, d, want) in [
            (0, 7, 0),
            (1, 2, 0),
            (3, 2, 2),
            (5, 2, 2),
            (-1, 2, 0),
            (-3, 2, -2),
            (-5, 2, -2),
            (2, 3, 1),
            (-2, 3, -1),
            (1, 0, 0),
        ] {
            assert_eq!(divide_half_even(n, d), want, "{n}/{d}");
        }
    }

    #[test]
    fn a_span_that_ends_before_it_begins_is_empty() {
        let span = Span::new(Micros(5), Micros(3));
        assert_eq!(span.length_us(), 0);
        assert_eq!(span.cut_to(Span::new(Micros(0), Micros(9))), None);
    }

    #[test]
    fn lengths_and_sums_stop_at_the_ends() {
        let all = Span::new(Micros(i64::MIN), Micros(i64::MAX));
        assert_eq!(all.length_us(), i64::MAX);
        assert_eq!(sum_us([i64::MAX, 1]), i64::MAX);
        assert_eq!(clamp(i128::MIN), i64::MIN);
        assert_eq!(clamp(i128::MAX), i64::MAX);
        assert_eq!(clamp(-3), -3);
    }
}
