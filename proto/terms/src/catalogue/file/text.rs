//! Values of the catalogue as text: what the file and messages show.

use std::fmt::Write as _;

use crate::amount::{Amount, Decimal, Money, Ratio, Unit, minor_digits};
use crate::catalogue::{Source, StageKind, Standing, UnitSystem};
use crate::hours::OpenHours;
use crate::temperature::MilliCelsius;
use crate::time::{DAY_US, HOUR_US, MINUTE_US};

use super::{value, week};

pub(super) const SOURCES: [(&str, Source); 5] = [
    ("shop", Source::Shop),
    ("label", Source::Label),
    ("trade", Source::Trade),
    ("guess", Source::Guess),
    ("standard", Source::Standard),
];
pub(crate) const UNIT_SYSTEMS: [(&str, UnitSystem); 3] = [
    ("metric", UnitSystem::Metric),
    ("us", UnitSystem::Us),
    ("imperial", UnitSystem::Imperial),
];
pub(super) const STAGE_KINDS: [(&str, StageKind); 4] = [
    ("cleaning", StageKind::Cleaning),
    ("correction", StageKind::Correction),
    ("coating", StageKind::Coating),
    ("other", StageKind::Other),
];
/// Rule tables in the order in which rules are held.
pub(super) const STANDINGS: [(&str, Standing); 3] = [
    ("never", Standing::Never),
    ("care", Standing::Care),
    ("fine", Standing::Fine),
];

/// The word that stands for a value in a closed list; empty where it has none.
fn word<T: PartialEq>(words: &[(&'static str, T)], value: &T) -> &'static str {
    words
        .iter()
        .find(|(_, v)| v == value)
        .map_or("", |(word, _)| word)
}

/// `shop`, `label`, …; empty where unmarked.
pub fn source(source: Source) -> &'static str {
    word(&SOURCES, &source)
}

/// `metric`, `us` or `imperial`.
pub fn units(units: UnitSystem) -> &'static str {
    word(&UNIT_SYSTEMS, &units)
}

/// `cleaning`, `correction`, `coating` or `other`.
pub fn stage_kind(kind: StageKind) -> &'static str {
    word(&STAGE_KINDS, &kind)
}

/// `never`, `care` or `fine`.
pub fn standing(standing: Standing) -> &'static str {
    word(&STANDINGS, &standing)
}

/// Hours of the week, with commas between.
pub fn week(hours: &[OpenHours]) -> String {
    week::write(hours).join(", ")
}

/// `350 mL`, `1 us-gal`.
pub fn amount(amount: &Amount) -> String {
    match amount.unit {
        Unit::Ml | Unit::L | Unit::G | Unit::Kg | Unit::Each => amount.to_string(),
        unit => format!("{} {}", amount.decimal, unit.as_str()),
    }
}

/// `15:1`.
pub fn ratio(ratio: &Ratio) -> String {
    ratio.to_string()
}

/// Price without its currency and without thousands marks: `1234.50`.
pub fn minor(minor: i64, currency: &str) -> String {
    Decimal {
        digits: minor,
        scale: minor_digits(currency),
    }
    .to_string()
}

/// `EUR 1234.50`.
pub fn money(money: &Money) -> String {
    format!("{} {}", money.currency, minor(money.minor, &money.currency))
        .trim()
        .to_owned()
}

/// A price in the file: the shop's own currency goes without saying.
pub(super) fn price(price: &Money, currency: &str) -> String {
    if price.currency == currency {
        minor(price.minor, currency)
    } else {
        money(price)
    }
}

/// Thousandths as a plain number: `1.25`.
pub fn milli(milli: u32) -> String {
    Decimal {
        digits: milli.into(),
        scale: 3,
    }
    .normalised()
    .to_string()
}

/// Thousandths as per cent: `30 %`.
pub fn permille(permille: u32) -> String {
    per_cent(permille.into(), 1)
}

/// Thousandths of a per cent: `23 %`.
pub fn milli_percent(milli_pct: u32) -> String {
    per_cent(milli_pct.into(), 3)
}

fn per_cent(digits: i64, scale: u8) -> String {
    let number = Decimal { digits, scale }.normalised();
    format!("{number} %")
}

/// Grams per millilitre.
pub fn density(micro_g_per_ml: i64) -> String {
    Decimal {
        digits: micro_g_per_ml,
        scale: 6,
    }
    .normalised()
    .to_string()
}

/// Millionths of a gram per millilitre from the text that [`density`] writes;
/// `None` where it is no density of a liquid.
pub fn parse_density(text: &str) -> Option<i64> {
    value::density(text).ok()
}

/// A span as it is typed, exact to the microsecond: `7d`, `1h30m`, `90s`.
pub fn span(span_us: i64) -> String {
    let mut rest = span_us.max(0);
    // A day of cure is said in hours, days from two on: 24h, 36h, 7d.
    let days = if rest >= 2 * DAY_US { rest / DAY_US } else { 0 };
    rest -= days * DAY_US;
    let (hours, minutes) = (rest / HOUR_US, rest % HOUR_US / MINUTE_US);
    let seconds = Decimal {
        digits: rest % MINUTE_US,
        scale: 6,
    }
    .normalised();
    let mut out = String::new();
    for (count, unit) in [(days, 'd'), (hours, 'h'), (minutes, 'm')] {
        if count > 0 {
            let _ = write!(out, "{count}{unit}");
        }
    }
    if seconds.digits > 0 || out.is_empty() {
        let _ = write!(out, "{seconds}s");
    }
    out
}

/// `2m to 7m`, `from 2m`, `up to 7m`; empty where neither is given.
pub fn spans(from: Option<i64>, until: Option<i64>) -> String {
    range(from, until, span)
}

/// `10C to 27C`, `from 10C`, `up to 27C`; empty where neither is given.
pub fn temperatures(lowest: Option<MilliCelsius>, highest: Option<MilliCelsius>) -> String {
    range(lowest, highest, temperature)
}

fn temperature(temperature: MilliCelsius) -> String {
    let number = Decimal {
        digits: i64::from(temperature.0),
        scale: 3,
    };
    format!("{}C", number.normalised())
}

fn range<T>(from: Option<T>, until: Option<T>, text: impl Fn(T) -> String) -> String {
    match (from, until) {
        (Some(from), Some(until)) => format!("{} to {}", text(from), text(until)),
        (Some(from), None) => format!("from {}", text(from)),
        (None, Some(until)) => format!("up to {}", text(until)),
        (None, None) => String::new(),
    }
}

/// Square metres, exact to the square centimetre.
pub fn area(area_cm2: u32) -> String {
    let number = Decimal {
        digits: i64::from(area_cm2),
        scale: 4,
    };
    format!("{} m2", number.normalised())
}
