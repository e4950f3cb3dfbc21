//! From values to places in a picture: axes whose marks are round numbers.

/// Steps of an axis that counts, before they are multiplied by a power of ten.
const ROUND: [f64; 4] = [1.0, 2.0, 5.0, 10.0];
/// Steps of an axis of hours: what divides a day or a week of work.
const HOURS: [f64; 10] = [0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0];
/// Fewer than this many parts of an axis cannot be told from one.
const PARTS_MIN: f64 = 1.0;

/// A stretch of values with its marks; both ends are marks.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::page) struct Axis {
    pub from: f64,
    pub to: f64,
    pub marks: Vec<f64>,
}

impl Axis {
    /// An axis around the values, in at most `parts_max` round steps.
    pub(in crate::page) fn around(lowest: f64, highest: f64, parts_max: f64) -> Self {
        let span = extent(lowest, highest);
        let parts = parts_max.max(PARTS_MIN);
        let power = 10_f64.powf((span / parts).log10().floor());
        let step = ROUND
            .iter()
            .map(|round| round * power)
            .find(|step| steps(lowest, highest, *step) <= parts)
            // Ends that lie badly need one size more.
            .unwrap_or(20.0 * power);
        Self::stepped(lowest, highest, step)
    }

    /// An axis of hours from none on.
    pub(in crate::page) fn hours(highest: f64, parts_max: f64) -> Self {
        Self::hours_around(0.0, extent(0.0, highest), parts_max)
    }

    /// An axis around hours; a day's ends are marks of it.
    pub(in crate::page) fn hours_around(lowest: f64, highest: f64, parts_max: f64) -> Self {
        let step = HOURS
            .iter()
            .copied()
            .find(|step| steps(lowest, highest, *step) <= parts_max.max(PARTS_MIN));
        match step {
            Some(step) => Self::stepped(lowest, highest, step),
            None => Self::around(lowest, highest, parts_max),
        }
    }

    fn stepped(lowest: f64, highest: f64, step: f64) -> Self {
        let first = (lowest / step).floor();
        let count = steps(lowest, highest, step).max(PARTS_MIN);
        let mut marks = vec![first * step];
        let mut part = 1.0;
        while part <= count {
            marks.push((first + part) * step);
            part += 1.0;
        }
        Self {
            from: first * step,
            to: (first + count) * step,
            marks,
        }
    }
}

/// What an axis must hold; a point of values gets some room of its own.
fn extent(lowest: f64, highest: f64) -> f64 {
    let span = highest - lowest;
    if span.is_finite() && span > 0.0 {
        span
    } else {
        1.0
    }
}

/// Steps from the mark below the lowest to the mark above the highest value.
fn steps(lowest: f64, highest: f64, step: f64) -> f64 {
    // A value on its mark is not pushed beyond it by the last bit.
    let slack = 1e-9;
    (highest / step - slack).ceil() - (lowest / step).floor()
}

/// Places the values of an axis between two ends, per cent of a width or
/// pixels of a height.
#[derive(Debug, Clone)]
pub(in crate::page) struct Scale {
    pub axis: Axis,
    start: f64,
    end: f64,
}

impl Scale {
    pub(in crate::page) fn new(axis: Axis, start: f64, end: f64) -> Self {
        Self { axis, start, end }
    }

    /// Where a value lies; beyond the axis: at its end.
    pub(in crate::page) fn at(&self, value: f64) -> f64 {
        let whole = self.axis.to - self.axis.from;
        let share = ((value - self.axis.from) / whole).clamp(0.0, 1.0);
        if share.is_finite() {
            self.start + share * (self.end - self.start)
        } else {
            self.start
        }
    }

    /// True where the value does not fit on the axis.
    pub(in crate::page) fn is_beyond(&self, value: f64) -> bool {
        value > self.axis.to
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn marks_are_round_and_hold_the_values() {
        let axis = Axis::around(0.0, 87.0, 5.0);
        assert_eq!(axis.marks, [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        let axis = Axis::around(-340.0, 1210.0, 5.0);
        assert_eq!(axis.marks, [-500.0, 0.0, 500.0, 1000.0, 1500.0]);
        let axis = Axis::around(0.0, 100.0, 5.0);
        assert!((axis.to - 100.0).abs() < 1e-9);
        assert_eq!(Axis::hours(9.5, 6.0).marks, [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]);
        assert_eq!(Axis::hours(40.0, 6.0).marks, [0.0, 12.0, 24.0, 36.0, 48.0]);
        assert_eq!(Axis::hours(0.0, 6.0).from.to_bits(), 0.0_f64.to_bits());
    }

    proptest! {
        #[test]
        fn an_axis_holds_its_values_in_few_steps(low in -1e9..1e9_f64, span in 0.0..1e9_f64, parts in 2.0..9.0_f64) {
            let high = low + span;
            let axis = Axis::around(low, high, parts);
            let slack = 1e-6 * (1.0 + low.abs() + high.abs());
            prop_assert!(axis.from <= low + slack && axis.to >= high - slack, "{axis:?}");
            prop_assert!(axis.marks.len() >= 2 && axis.marks.len() <= 12, "{axis:?}");
            let scale = Scale::new(axis, 10.0, 90.0);
            for value in [low, high, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                prop_assert!((10.0..=90.0).contains(&scale.at(value)));
            }
        }

        #[test]
        fn hours_end_on_a_mark(high in 0.0..2000.0_f64) {
            let axis = Axis::hours(high, 6.0);
            prop_assert!(axis.to >= high - 1e-6 && axis.marks.len() <= 8, "{axis:?}");
        }
    }
}
