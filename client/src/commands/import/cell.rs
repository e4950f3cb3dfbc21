//! What stands in a cell: dates, times, amounts, grades, prices, as people
//! write them, and never in two readings.

use baywright_terms::amount::{Amount, Decimal, Money, Unit};
use baywright_terms::catalogue::UnitSystem;
use baywright_terms::time::{SPAN_MAX_US, parse_span};
use clap::ValueEnum;
use jiff::civil::Date;

const MINUTE_US: i64 = 60_000_000;
const HOUR_US: i64 = 60 * MINUTE_US;
/// Nobody kept a spreadsheet before.
const YEAR_LEAST: i16 = 1980;
/// Two digits of a year are of this century.
const CENTURY: i16 = 2000;

/// Why a cell cannot be read, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Odd {
    pub(super) what: String,
    pub(super) hint: String,
}

fn odd(what: impl Into<String>, hint: impl Into<String>) -> Odd {
    Odd {
        what: what.into(),
        hint: hint.into(),
    }
}

/// In which order a date gives its parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum DateOrder {
    /// 2025-03-04
    Ymd,
    /// 4.3.2025, 04/03/2025
    Dmy,
    /// 3/4/2025
    Mdy,
}

/// Three numbers with what stands between them.
struct Parts<'a> {
    numbers: [&'a str; 3],
    mark: char,
}

fn parts(text: &str) -> Option<Parts<'_>> {
    // A spreadsheet may add the time of day.
    let day = text.split([' ', 'T']).next().unwrap_or_default();
    let mark = day.chars().find(|c| !c.is_ascii_digit())?;
    if !matches!(mark, '-' | '.' | '/') {
        return None;
    }
    let mut numbers = day.split(mark);
    let three = [numbers.next()?, numbers.next()?, numbers.next()?];
    // `4.3.25.` is written too.
    let ends = numbers.next().is_none_or(str::is_empty) && numbers.next().is_none();
    let is_number = |n: &&str| matches!(n.len(), 1..=4) && n.bytes().all(|b| b.is_ascii_digit());
    (ends && three.iter().all(is_number)).then_some(Parts {
        numbers: three,
        mark,
    })
}

/// The order that a column of dates shows by itself: the year first, points
/// between (day first, nothing else is written so), or a number above 12. `None`
/// where nothing tells, or where two dates tell different things.
pub(super) fn order_shown<'a>(dates: impl Iterator<Item = &'a str>) -> Option<DateOrder> {
    let mut shown = None;
    for date in dates {
        let Some(order) = order_of(date) else {
            continue;
        };
        match shown {
            None => shown = Some(order),
            Some(before) if before == order => {}
            Some(_) => return None,
        }
    }
    shown
}

/// What one date tells of its order; a year in front tells nothing of others.
fn order_of(date: &str) -> Option<DateOrder> {
    let Parts { numbers, mark } = parts(date.trim())?;
    let [first, second, _] = numbers;
    let number = |n: &str| n.parse::<u16>().unwrap_or(0);
    match () {
        () if first.len() == 4 || mark == '.' => None,
        () if number(first) > 12 => Some(DateOrder::Dmy),
        () if number(second) > 12 => Some(DateOrder::Mdy),
        () => None,
    }
}

/// A day. `order` is what was said, or what the column shows.
pub(super) fn date(text: &str, order: Option<DateOrder>) -> Result<Date, Odd> {
    let text = text.trim();
    let no_date = || {
        odd(
            format!("`{text}` is not a date."),
            "Write it like 2025-03-24, 24.3.2025 or 3/24/2025.",
        )
    };
    let Parts { numbers, mark } = parts(text).ok_or_else(no_date)?;
    let [first, second, third] = numbers;
    let order = match order {
        _ if first.len() == 4 => DateOrder::Ymd,
        // Said aloud; else points are only written between day, month and year.
        Some(order) if order != DateOrder::Ymd => order,
        _ if mark == '.' => DateOrder::Dmy,
        _ => order_of(text).ok_or_else(|| {
            odd(
                format!("`{text}` can be read as two different days."),
                "Say which comes first: --dates dmy or --dates mdy.",
            )
        })?,
    };
    let (year, month, day) = match order {
        DateOrder::Ymd => (first, second, third),
        DateOrder::Dmy => (third, second, first),
        DateOrder::Mdy => (third, first, second),
    };
    let (year_len, year) = (year.len(), year.parse::<i16>().map_err(|_| no_date())?);
    let year = match year_len {
        4 => year,
        2 => CENTURY + year,
        _ => return Err(no_date()),
    };
    let month = month.parse::<i8>().map_err(|_| no_date())?;
    let day = day.parse::<i8>().map_err(|_| no_date())?;
    let date = Date::new(year, month, day).map_err(|_| {
        odd(
            format!("`{text}` is no day of the calendar."),
            "Is the order of day and month right? --dates dmy or --dates mdy says it.",
        )
    })?;
    if year < YEAR_LEAST {
        return Err(odd(format!("`{text}` is before {YEAR_LEAST}."), ""));
    }
    Ok(date)
}

/// What a number of time without a unit counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum TimeUnit {
    /// Minutes.
    Min,
    /// Hours.
    H,
}

impl TimeUnit {
    /// The unit that a heading names: `Time (min)`, `Stunden`.
    pub(super) fn of_heading(heading: &str) -> Option<Self> {
        words(heading).find_map(|word| match word.as_str() {
            "min" | "mins" | "minutes" | "minuten" => Some(Self::Min),
            "h" | "hr" | "hrs" | "hours" | "std" | "stunden" => Some(Self::H),
            _ => None,
        })
    }

    fn us(self) -> i64 {
        match self {
            Self::Min => MINUTE_US,
            Self::H => HOUR_US,
        }
    }
}

fn words(text: &str) -> impl Iterator<Item = String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect::<Vec<_>>()
        .into_iter()
}

/// A time of labour: `95`, `1:35`, `1:35:00`, `2.5 h`, `1h35`. A number
/// alone is of `unit`, whole ones of minutes where none is known.
pub(super) fn span(text: &str, unit: Option<TimeUnit>) -> Result<i64, Odd> {
    let text = text.trim();
    let no_span = || {
        odd(
            format!("`{text}` is not a time."),
            "Write minutes, hours:minutes or hours: 95, 1:35, 2.5 h.",
        )
    };
    if text.contains(':') {
        return clock(text).ok_or_else(no_span);
    }
    if let Ok(number) = Decimal::parse(text) {
        let unit = match unit {
            Some(unit) => unit,
            None if number.normalised().scale == 0 => TimeUnit::Min,
            None => {
                return Err(odd(
                    format!("`{text}` may be hours or minutes."),
                    "Say which: --times h or --times min.",
                ));
            }
        };
        return scaled(number, unit.us()).ok_or_else(no_span);
    }
    let lower = text.to_lowercase();
    let (number, rest) = lower.split_at(
        lower
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
            .unwrap_or(lower.len()),
    );
    // Words that the spans of the floor do not know.
    let english = match rest.trim().trim_end_matches('.') {
        "std" | "stunde" | "stunden" => Some("h"),
        "minute" | "minuten" => Some("min"),
        _ => None,
    };
    let typed = match english {
        Some(unit) => format!("{number}{unit}"),
        None => lower.trim_end_matches('.').to_owned(),
    };
    parse_span(&typed).map_err(|_| no_span())
}

/// `1:35` and `1:35:00`.
fn clock(text: &str) -> Option<i64> {
    let mut numbers = text.split(':');
    let hours = numbers.next()?;
    let (minutes, seconds) = (numbers.next()?, numbers.next().unwrap_or("00"));
    let two = |n: &str| n.len() == 2 && n.bytes().all(|b| b.is_ascii_digit());
    let digits = |n: &str| matches!(n.len(), 1..=4) && n.bytes().all(|b| b.is_ascii_digit());
    if numbers.next().is_some() || !two(minutes) || !two(seconds) || !digits(hours) {
        return None;
    }
    let [hours, minutes, seconds] = [hours, minutes, seconds].map(|n| n.parse::<i64>().ok());
    let (minutes, seconds) = (minutes?, seconds?);
    if minutes > 59 || seconds > 59 {
        return None;
    }
    let total = hours? * HOUR_US + minutes * MINUTE_US + seconds * 1_000_000;
    (total <= SPAN_MAX_US).then_some(total)
}

/// `number` of `unit_us`, to the nearest microsecond.
fn scaled(number: Decimal, unit_us: i64) -> Option<i64> {
    let mut divisor = 1_i128;
    for _ in 0..number.scale {
        divisor *= 10;
    }
    let exact = i128::from(number.digits).checked_mul(i128::from(unit_us))?;
    let rounded = (exact + divisor / 2) / divisor;
    i64::try_from(rounded)
        .ok()
        .filter(|span| *span <= SPAN_MAX_US)
}

/// The unit that a heading names: `Iron remover (ml)`.
pub(super) fn unit_of_heading(heading: &str, system: UnitSystem) -> Option<Unit> {
    let inside = heading.rsplit_once('(')?.1.split_once(')')?.0;
    Unit::parse(inside.trim(), system).ok()
}

/// An amount; a number alone is of `unit`.
pub(super) fn amount(text: &str, unit: Option<Unit>, system: UnitSystem) -> Result<Amount, Odd> {
    let text = text.trim();
    if let Ok(number) = Decimal::parse(text) {
        let Some(unit) = unit else {
            return Err(odd(
                format!("`{text}` is an amount without a unit."),
                "Write 350 ml, put the unit into the heading, as in `Iron remover (ml)`, or say --amounts ml.",
            ));
        };
        let typed = format!("{number} {}", unit.as_str());
        return Amount::parse(&typed, system).map_err(|error| odd(stopped(&error), ""));
    }
    Amount::parse(text, system).map_err(|error| odd(stopped(&error), ""))
}

/// A grade, 1 to 5.
pub(super) fn grade(text: &str) -> Result<u32, Odd> {
    let text = text.trim();
    let grade = text.parse().ok().filter(|grade| (1..=5).contains(grade));
    grade.ok_or_else(|| {
        odd(
            format!("`{text}` is not a grade."),
            "A grade is 1 to 5; leave the cell empty where nobody graded it.",
        )
    })
}

/// A price, in the shop's currency where none is written.
pub(super) fn price(text: &str, currency: &str) -> Result<Money, Odd> {
    let plain: String = text
        .chars()
        .filter(|c| !matches!(c, '€' | '£' | '$') && *c != '\u{a0}')
        .collect();
    let foreign = match text.chars().find(|c| matches!(c, '€' | '£' | '$')) {
        Some('€') => currency != "EUR",
        Some('£') => currency != "GBP",
        // Many currencies are dollars.
        Some('$') => !currency.ends_with('D'),
        _ => false,
    };
    let money = Money::parse(&plain, currency).map_err(|error| odd(stopped(&error), ""))?;
    if foreign || (!currency.is_empty() && money.currency != currency) {
        return Err(odd(
            format!(
                "`{}` is not in {currency}, the shop's currency.",
                text.trim()
            ),
            "A price in another currency cannot be compared: leave the cell empty.",
        ));
    }
    if money.minor < 0 {
        return Err(odd(format!("`{}` is below nothing.", text.trim()), ""));
    }
    Ok(money)
}

fn stopped(error: &dyn std::error::Error) -> String {
    let said = error.to_string();
    if said.ends_with(['.', '?', '!']) {
        said
    } else {
        format!("{said}.")
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_date_is_read_where_it_can_be_only_one_day() {
        for (text, order, day) in [
            ("2025-03-04", None, "2025-03-04"),
            ("2025/3/4", None, "2025-03-04"),
            ("2025-03-04 14:05", None, "2025-03-04"),
            ("2025-03-04T14:05:00", Some(DateOrder::Dmy), "2025-03-04"),
            ("4.3.2025", None, "2025-03-04"),
            ("04.03.25", None, "2025-03-04"),
            ("4.3.25.", None, "2025-03-04"),
            ("24/3/2025", None, "2025-03-24"),
            ("3/24/2025", None, "2025-03-24"),
            ("3/4/2025", Some(DateOrder::Dmy), "2025-04-03"),
            ("3/4/2025", Some(DateOrder::Mdy), "2025-03-04"),
            ("3-4-2025", Some(DateOrder::Mdy), "2025-03-04"),
            ("29.2.2024", None, "2024-02-29"),
        ] {
            let read = date(text, order).unwrap_or_else(|e| panic!("{text}: {e:?}"));
            assert_eq!(read.to_string(), day, "{text} {order:?}");
        }
        for text in [
            "3/4/2025",
            "",
            "march",
            "29.2.2025",
            "13/13/2025",
            "2025-03",
            "1.2.3.4",
            "4.3.025",
            "1899-12-31",
            "45000",
        ] {
            assert!(date(text, None).is_err(), "{text}");
        }
        let two = date("3/4/2025", None).unwrap_err();
        assert!(two.hint.contains("--dates dmy"), "{two:?}");
        assert!(date("3/24/2025", Some(DateOrder::Dmy)).is_err());
    }

    #[test]
    fn a_column_shows_its_order_by_a_day_above_twelve() {
        let shown = |dates: &[&str]| order_shown(dates.iter().copied());
        assert_eq!(shown(&["3/4/2025", "24/3/2025"]), Some(DateOrder::Dmy));
        assert_eq!(shown(&["3/4/2025", "3/24/2025"]), Some(DateOrder::Mdy));
        assert_eq!(shown(&["3/4/2025", "5/6/2025"]), None);
        assert_eq!(shown(&["24/3/2025", "3/24/2025"]), None);
        assert_eq!(shown(&["2025-03-24", "24.3.2025"]), None);
    }

    #[test]
    fn times_are_minutes_hours_and_minutes_or_hours() {
        for (text, unit, minutes) in [
            ("95", None, 95),
            ("95", Some(TimeUnit::Min), 95),
            ("2", Some(TimeUnit::H), 120),
            ("2,5", Some(TimeUnit::H), 150),
            ("1.25", Some(TimeUnit::H), 75),
            ("95.0", None, 95),
            ("1:35", Some(TimeUnit::H), 95),
            ("1:35:00", None, 95),
            ("31:20", None, 1880),
            ("2.5 h", None, 150),
            ("2,5h", Some(TimeUnit::Min), 150),
            ("2,5 Std.", None, 150),
            ("95 min", None, 95),
            ("95 Minuten", None, 95),
            ("1h35", None, 95),
            ("1 h 35 min", None, 95),
            ("0", None, 0),
        ] {
            let read = span(text, unit).unwrap_or_else(|e| panic!("{text}: {e:?}"));
            assert_eq!(read, minutes * MINUTE_US, "{text} {unit:?}");
        }
        for text in [
            "2.5",
            "2,5",
            "-5",
            "1:5",
            "1:60",
            "long",
            "",
            "1:2:3:4",
            "h",
            "99999999 h",
        ] {
            assert!(span(text, None).is_err(), "{text}");
        }
        assert!(span("2.5", None).unwrap_err().hint.contains("--times h"));
        assert_eq!(TimeUnit::of_heading("Time (min)"), Some(TimeUnit::Min));
        assert_eq!(TimeUnit::of_heading("Zeit in Stunden"), Some(TimeUnit::H));
        assert_eq!(TimeUnit::of_heading("Actual"), None);
    }

    #[test]
    fn amounts_need_a_unit_and_prices_are_of_the_shop() {
        let ml = Some(Unit::Ml);
        let metric = UnitSystem::Metric;
        let shown = |text, unit| amount(text, unit, metric).map(|a| a.to_string());
        assert_eq!(shown("350 ml", None).unwrap(), "350 mL");
        assert_eq!(shown("0,35 l", None).unwrap(), "0.35 L");
        assert_eq!(shown("350", ml).unwrap(), "350 mL");
        assert_eq!(shown("62.4g", ml).unwrap(), "62.4 g");
        assert!(shown("350", None).unwrap_err().hint.contains("--amounts"));
        assert!(shown("some", ml).is_err() && shown("-3 ml", None).is_err());
        assert_eq!(unit_of_heading("Iron remover (ml)", metric), ml);
        assert_eq!(unit_of_heading("Iron remover", metric), None);
        let minor = |text| price(text, "EUR").map(|p| p.minor);
        assert_eq!(minor("1.234,50 €").unwrap(), 123_450);
        assert_eq!(minor("EUR 480").unwrap(), 48_000);
        assert_eq!(minor("480").unwrap(), 48_000);
        assert!(minor("$480").is_err() && minor("480 USD").is_err() && minor("dear").is_err());
        assert!(minor("-5").is_err());
        assert_eq!(grade("3"), Ok(3));
        assert!(grade("0").is_err() && grade("6").is_err() && grade("soiled").is_err());
    }

    proptest! {
        #[test]
        fn no_text_makes_a_cell_panic(text in "\\PC{0,24}|[0-9.,:/h -]{0,14}") {
            for order in [None, Some(DateOrder::Dmy), Some(DateOrder::Mdy), Some(DateOrder::Ymd)] {
                let _ = date(&text, order);
            }
            for unit in [None, Some(TimeUnit::H), Some(TimeUnit::Min)] {
                if let Ok(us) = span(&text, unit) {
                    prop_assert!((0..=SPAN_MAX_US).contains(&us), "{text}: {us}");
                }
            }
            let _ = amount(&text, Some(Unit::Ml), UnitSystem::Metric);
            let _ = price(&text, "EUR");
            let _ = grade(&text);
            let _ = unit_of_heading(&text, UnitSystem::Us);
            let _ = order_shown([text.as_str(), "3/24/2025"].into_iter());
        }
    }
}
