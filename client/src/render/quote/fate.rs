//! What became of a quote, and what can be said to it next.

use std::fmt::Write as _;

use baywright_proto::v1::{Quote, QuoteAsked, QuotePrinted, QuoteState};

use super::percent;
use crate::render::calendar::Calendar;
use crate::render::money::{left_word, money};
use crate::render::text::{clean, push};

/// Commands start here, so that what they do stands in a column.
const COMMAND_COLUMNS: usize = 44;

/// One paragraph: open, accepted, declined or run out, and when.
pub fn fate(quote: &Quote, page: usize) -> String {
    let calendar = Calendar::of(&quote.zone);
    let line = quote.line.clone().unwrap_or_default();
    let decided = if quote.decided_us == 0 {
        String::new()
    } else {
        format!(" on {}", calendar.day(quote.decided_us))
    };
    let mut said = match line.state() {
        QuoteState::Accepted => accepted_words(quote, &decided),
        QuoteState::Declined => format!("Declined{decided}{}.", because(": ", &line.why)),
        QuoteState::RunOut => format!(
            "Run out: it held until {}, and nobody answered.",
            calendar.day(line.valid_until_us)
        ),
        QuoteState::Open | QuoteState::Unspecified => {
            format!("Open, made on {}.", calendar.day_and_time(line.drafted_us))
        }
    };
    if !quote.earlier.is_empty() {
        let _ = write!(said, " Revised {}", times(quote.earlier.len()));
        let whys: Vec<String> = quote.revised_why.iter().map(|why| clean(why)).collect();
        let whys: Vec<&str> = whys
            .iter()
            .map(String::as_str)
            .filter(|why| !why.is_empty())
            .collect();
        if !whys.is_empty() {
            said.push_str(": ");
            said.push_str(&whys.join("; "));
        }
        said.push('.');
    }
    let mut out = String::new();
    push(&mut out, &said, page);
    out
}

fn accepted_words(quote: &Quote, decided: &str) -> String {
    let line = quote.line.clone().unwrap_or_default();
    let nothing = QuotePrinted::default();
    let printed = quote.printed.as_ref().unwrap_or(&nothing);
    let mut said = format!(
        "Accepted{decided}: {}{}.",
        agreed(line.agreed_minor, printed.price_minor, &quote.currency),
        because(". Why: ", &quote.accepted_reason)
    );

    match (line.job_number, line.addition) {
        (0, _) => {}
        (job, true) => {
            let _ = write!(said, " It is on top of job {job}.");
        }
        (job, false) => {
            let _ = write!(said, " It opened job {job}.");
        }
    }
    if !quote.planned_date.is_empty() {
        let _ = write!(said, " {}", planned(&quote.planned_date));
    }
    said
}

/// `Planned for Thu 3 Dec 2026.`
fn planned(date: &str) -> String {
    let day = date.parse::<jiff::civil::Date>().map_or_else(
        |_| clean(date),
        |date| date.strftime("%a %-d %b %Y").to_string(),
    );
    format!("Planned for {day}.")
}

/// `EUR 1,400.00 agreed, EUR 50.00 (3 %) below the suggested EUR 1,450.00`.
fn agreed(agreed_minor: i64, suggested_minor: i64, currency: &str) -> String {
    let agreed = money(agreed_minor, currency);
    if suggested_minor <= 0 {
        return format!("{agreed} agreed; nothing was suggested");
    }
    let off = suggested_minor.saturating_sub(agreed_minor);
    let size = i64::try_from(off.unsigned_abs()).unwrap_or(i64::MAX);
    let share = super::share(size, suggested_minor);
    let size = money(size, currency);
    let suggested = money(suggested_minor, currency);
    match off.signum() {
        1 => format!(
            "{agreed} agreed, a discount of {size} ({share} %) on the suggested {suggested}"
        ),
        -1 => format!("{agreed} agreed, {size} ({share} %) above the suggested {suggested}"),
        _ => format!("{agreed} agreed, as suggested"),
    }
}

/// What an acceptance means in money, said when it is posted.
pub fn accepted(number: u64, agreed_minor: i64, printed: &QuotePrinted, date: &str) -> String {
    let currency = &printed.currency;
    let agreed = agreed(agreed_minor, printed.price_minor, currency);
    let mut said = match number {
        // Not in the log yet.
        0 => format!("Accepted: {agreed}."),
        number => format!("Quote {number} accepted: {agreed}."),
    };
    if printed.cost_minor > 0 && agreed_minor > 0 {
        let left = |cost: i64| left_permille(agreed_minor, cost);
        let (mean, p80) = (left(printed.cost_minor), left(printed.cost_p80_minor));
        let word = left_word(printed.margin);
        // The word is said again only where it is another.
        let at_p80 = if (mean < 0) == (p80 < 0) {
            format!("{} %", percent(p80.saturating_abs()))
        } else {
            left_words(word, p80)
        };
        let _ = write!(
            said,
            " At that price {} on average, and {at_p80} if it takes as long as four in five.",
            left_words(word, mean),
        );
    }
    if !date.is_empty() {
        said.push(' ');
        said.push_str(&planned(date));
    }
    said
}

/// `the margin is 21 %`, `it loses 3 %`.
pub(super) fn left_words(word: &str, permille: i32) -> String {
    let left = percent(permille);
    match left.strip_prefix('-') {
        Some(lost) => format!("it loses {lost} %"),
        None => format!("the {word} is {left} %"),
    }
}

/// What is left of a price, per mille of it.
fn left_permille(price_minor: i64, cost_minor: i64) -> i32 {
    let price = i128::from(price_minor).max(1);
    let left = (i128::from(price_minor) - i128::from(cost_minor)) * 1_000;
    i32::try_from(left / price).unwrap_or(i32::MIN)
}

/// The likely next commands of an open quote, with what they do.
pub fn next_steps(number: u64, asked: &QuoteAsked, printed: &QuotePrinted) -> String {
    let price = baywright_terms::amount::Money::new(printed.price_minor, &printed.currency);
    let price = price.number().replace(',', "");
    let price = price.trim_end_matches(".00");
    let price = if super::is_priced(printed) {
        price
    } else {
        "PRICE"
    };
    let accept = (
        format!("bay quote accept {number} --price {price}"),
        "the customer said yes",
    );
    let page = (
        format!("bay quote show {number} --html quote-{number}.html"),
        "a page for the customer",
    );
    let inspected = (
        format!("bay quote revise {number} --seen yes --soil 4"),
        "after the inspection, with its grades",
    );
    let decline = (
        format!("bay quote decline {number} --why \"too dear\""),
        "the customer said no",
    );
    let steps = if asked.unseen {
        vec![inspected, page, accept, decline]
    } else {
        vec![page, accept, decline]
    };
    let lines: Vec<String> = steps
        .iter()
        .map(|(command, what)| {
            format!(
                "  {}  {what}",
                crate::render::text::pad_right(command, COMMAND_COLUMNS)
            )
        })
        .collect();
    lines.join("\n")
}

/// `: too dear`; empty where no reason is given.
fn because(before: &str, why: &str) -> String {
    let why = clean(why);
    let why = why.trim_end_matches('.');
    if why.is_empty() {
        String::new()
    } else {
        format!("{before}{why}")
    }
}

/// `once`, `twice`, `3 times`.
fn times(count: usize) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}
