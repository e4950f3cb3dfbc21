//! Figures as people read them: hours and minutes, amounts, differences.

/// Stands where the catalogue has no allowance.
pub(super) const NO_ALLOWANCE: &str = "none";

const MINUTE_US: i128 = 60_000_000;
const HOUR_MIN: i128 = 60;
const DAY_MIN: i128 = 24 * HOUR_MIN;
/// From this size on an amount is shown by its power of ten, so that no
/// figure can be wider than a column.
const AMOUNT_PLAIN_MAX: f64 = 1e12;

/// `31:20`: hours and minutes, rounded to the minute.
pub fn hours_minutes(span_us: i64) -> String {
    clock_text(minutes(i128::from(span_us)))
}

/// `+1:35`, `-0:20`, `0:00`: the same with its sign, of `actual - standard`.
pub fn difference(actual_us: i64, standard_us: i64) -> String {
    // Rounded each, so that the printed figures subtract.
    let minutes = minutes(i128::from(actual_us)) - minutes(i128::from(standard_us));
    let sign = if minutes > 0 { "+" } else { "" };
    format!("{sign}{}", clock_text(minutes))
}

/// `+18`: how far the actual labour is from the standard, per cent of the
/// standard; empty where there is no standard.
pub fn difference_percent(actual_us: i64, standard_us: i64) -> String {
    let standard = i128::from(standard_us);
    if standard <= 0 {
        return String::new();
    }
    let off = i128::from(actual_us) - standard;
    signed(divide_rounded(off * 100, standard))
}

/// The same for amounts.
pub fn amount_percent(actual: f64, standard: f64) -> String {
    if !(standard.is_finite() && standard > 0.0 && actual.is_finite()) {
        return String::new();
    }
    let percent = (actual - standard) / standard * 100.0;
    if percent.abs() >= AMOUNT_PLAIN_MAX {
        return String::new();
    }
    let text = format!("{percent:+.0}");
    if text == "+0" || text == "-0" {
        "0".to_owned()
    } else {
        text
    }
}

/// `82`: per mille as whole per cent, rounded.
pub fn whole_percent(permille: u32) -> String {
    divide_rounded(i128::from(permille), 10).to_string()
}

/// Thousandths as hundredths and the like: rounded half up.
pub fn divided_rounded(value: u32, by: u32) -> u32 {
    let by = by.max(1);
    value / by + u32::from(value % by >= by.div_ceil(2))
}

/// `1.18` of 1180 thousandths.
pub fn factor(milli: u32) -> String {
    let hundredths = divided_rounded(milli, 10);
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// An amount to about three digits: `0.75`, `12.5`, `350`.
pub fn amount(value: f64) -> String {
    if !value.is_finite() || value.abs() >= AMOUNT_PLAIN_MAX {
        return format!("{value:.2e}");
    }
    let decimals: usize = match value.abs() {
        size if size >= 99.95 => 0,
        size if size >= 9.995 => 1,
        _ => 2,
    };
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" { "0" } else { text }.to_owned()
}

/// `3 d 4 h`, `8 h 30 min`, `12 min`: a long span in words.
pub fn span_words(span_us: i64) -> String {
    let total = minutes(i128::from(span_us)).max(0);
    let (days, hours, minutes) = (
        total / DAY_MIN,
        total % DAY_MIN / HOUR_MIN,
        total % HOUR_MIN,
    );
    match (days, hours, minutes) {
        (0, 0, m) => format!("{m} min"),
        (0, h, 0) => format!("{h} h"),
        (0, h, m) => format!("{h} h {m} min"),
        (d, 0, _) => format!("{d} d"),
        (d, h, _) => format!("{d} d {h} h"),
    }
}

/// Rounds parts of a whole to minutes so that the printed parts add up to the
/// printed whole: each is the step of the rounded running total. Returned in
/// microseconds.
pub fn adding_up<const N: usize>(parts_us: [i64; N]) -> [i64; N] {
    let mut exact: i128 = 0;
    let mut printed: i128 = 0;
    parts_us.map(|part| {
        exact += i128::from(part);
        let step = minutes(exact) - printed;
        printed += step;
        i64::try_from(step * MINUTE_US).unwrap_or(part)
    })
}

/// The same for any number of parts.
pub fn adding_up_all(parts_us: &[i64]) -> Vec<i64> {
    let mut exact: i128 = 0;
    let mut printed: i128 = 0;
    parts_us
        .iter()
        .map(|part| {
            exact += i128::from(*part);
            let step = minutes(exact) - printed;
            printed += step;
            i64::try_from(step * MINUTE_US).unwrap_or(*part)
        })
        .collect()
}

/// Amounts to as many decimals as the total needs for about three digits,
/// rounded so that what is printed adds up to the printed total.
pub fn amounts_adding_up(parts: &[f64], total: f64) -> (Vec<String>, String) {
    let largest = parts
        .iter()
        .fold(total.abs(), |most, part| most.max(part.abs()));
    if !(largest.is_finite() && largest < AMOUNT_PLAIN_MAX) {
        return (parts.iter().map(|p| amount(*p)).collect(), amount(total));
    }
    let (decimals, scale) = match total.abs() {
        size if size >= 99.95 => (0, 1.0),
        size if size >= 9.995 => (1, 10.0),
        _ => (2, 100.0),
    };
    let rounded = |value: f64| (value * scale).round() / scale;
    let text = |value: f64| {
        let text = format!("{value:.decimals$}");
        if text
            .trim_start_matches('-')
            .chars()
            .all(|c| matches!(c, '0' | '.'))
        {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        }
    };
    let (mut exact, mut printed) = (0.0, 0.0);
    let shown = parts.iter().map(|part| {
        exact += part;
        let step = rounded(exact) - printed;
        printed = rounded(exact);
        text(step)
    });
    (shown.collect(), text(rounded(total)))
}

/// `2.31`, `0.8`: an average number of jobs.
pub fn mean(value: f64) -> String {
    amount(if value.is_finite() { value } else { 0.0 })
}

/// `21.5`: thousandths of a degree, to a tenth.
pub fn degrees(milli_c: i32) -> String {
    let tenths = divide_rounded(i128::from(milli_c), 100);
    let sign = if tenths < 0 { "-" } else { "" };
    format!("{sign}{}.{}", tenths.abs() / 10, tenths.abs() % 10)
}

/// `3:25`: minutes and seconds, of the short times of a coating.
pub fn minutes_seconds(span_us: i64) -> String {
    let seconds = divide_rounded(i128::from(span_us.max(0)), 1_000_000);
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// `1 job`, `2 jobs`.
pub fn counted(count: u64, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

fn clock_text(minutes: i128) -> String {
    let sign = if minutes < 0 { "-" } else { "" };
    let minutes = minutes.abs();
    format!("{sign}{}:{:02}", minutes / HOUR_MIN, minutes % HOUR_MIN)
}

fn signed(value: i128) -> String {
    if value > 0 {
        format!("+{value}")
    } else {
        value.to_string()
    }
}

fn minutes(span_us: i128) -> i128 {
    divide_rounded(span_us, MINUTE_US)
}

/// Rounds half away from zero, as a person does.
fn divide_rounded(value: i128, by: i128) -> i128 {
    let half = by / 2;
    if value < 0 {
        (value - half) / by
    } else {
        (value + half) / by
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const MIN: i64 = 60_000_000;

    #[test]
    fn spans_are_hours_and_minutes() {
        assert_eq!(hours_minutes(0), "0:00");
        assert_eq!(hours_minutes(1880 * MIN), "31:20");
        assert_eq!(hours_minutes(29 * MIN / 60), "0:00");
        assert_eq!(hours_minutes(30 * MIN / 60), "0:01");
        assert_eq!(difference(95 * MIN, 60 * MIN), "+0:35");
        assert_eq!(difference(40 * MIN, 60 * MIN), "-0:20");
        assert_eq!(difference_percent(118 * MIN, 100 * MIN), "+18");
        assert_eq!(difference_percent(118 * MIN, 0), "");
        assert_eq!(span_words(3390 * MIN), "2 d 8 h");
        assert_eq!(span_words(510 * MIN), "8 h 30 min");
    }

    #[test]
    fn amounts_keep_about_three_digits() {
        let shown = [0.0, 0.754, 7.0, 12.54, 99.96, 350.4, 1250.0].map(amount);
        assert_eq!(shown, ["0", "0.75", "7", "12.5", "100", "350", "1250"]);
        assert_eq!(amount_percent(4.0, 10.0), "-60");
        assert_eq!(amount_percent(4.0, 0.0), "");
        assert_eq!(amount_percent(10.01, 10.0), "0");
        assert_eq!(whole_percent(825), "83");
    }

    #[test]
    fn degrees_have_a_tenth_and_short_times_their_seconds() {
        let shown = [21_500, -450, 40, -40, 9_960].map(degrees);
        assert_eq!(shown, ["21.5", "-0.5", "0.0", "0.0", "10.0"]);
        assert_eq!(minutes_seconds(205_000_000), "3:25");
        assert_eq!(minutes_seconds(-1), "0:00");
    }

    #[test]
    fn amounts_are_printed_so_that_they_add_up() {
        let (parts, total) = amounts_adding_up(&[33.333, 33.333, 33.333], 99.999);
        assert_eq!(
            (parts.join(" "), total.as_str()),
            ("33 34 33".to_owned(), "100")
        );
        let (parts, total) = amounts_adding_up(&[-0.001, 1.5], 1.499);
        assert_eq!(
            (parts.join(" "), total.as_str()),
            ("0.00 1.50".to_owned(), "1.50")
        );
    }

    proptest! {
        #[test]
        fn printed_parts_add_up_to_the_printed_whole(parts in proptest::array::uniform4(0i64..10_000_000_000_000)) {
            let printed = adding_up(parts);
            let whole = minutes(parts.iter().map(|p| i128::from(*p)).sum());
            let sum: i128 = printed.iter().map(|p| minutes(i128::from(*p))).sum();
            prop_assert_eq!(sum, whole);
            for (part, shown) in parts.iter().zip(printed) {
                prop_assert!((part - shown).abs() <= MIN);
            }
        }

        #[test]
        fn no_figure_is_wide(us in any::<i64>(), other in any::<i64>(), value in any::<f64>()) {
            prop_assert!(hours_minutes(us).len() <= 15);
            prop_assert!(difference(us, other).len() <= 16);
            prop_assert!(amount(value).len() <= 16, "{}", amount(value));
        }
    }
}
