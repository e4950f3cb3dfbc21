//! The head of a quote: what was asked, hours, what it rests on.

use std::fmt::Write as _;

use baywright_proto::v1::{QuoteAsked, QuotePrinted};

use super::fate::left_words;
use super::{Sheet, grades, is_priced, percent};
use crate::render::figure::{counted, hours_minutes};
use crate::render::money::{figure, left_word, money};
use crate::render::text::{Breaks, clean, pad_right, wrap};

/// A factor of the range below this share of a whole is not worth a word.
const WIDEN_SAID_MILLI: u32 = 10;
/// Jobs of a type below which a range is wide because little is known.
const FEW_JOBS: u32 = 5;

pub(super) fn fields(sheet: &Sheet<'_>, page: usize) -> String {
    let printed = sheet.printed;
    let mut out = String::new();
    let mut field = |name: &str, words: &str| push_field(&mut out, name, words, page);
    field("asked", &asked(sheet.asked));
    field(
        "hands-on",
        &format!(
            "half of such jobs {}, four in five of such jobs {}",
            hours_minutes(printed.hands_on_half_us),
            hours_minutes(printed.hands_on_p80_us)
        ),
    );
    if printed.bay_half_us > 0 {
        field("bay time", &bay(printed));
    }
    field("learned", &learned(printed));
    if let Some(words) = widened(printed) {
        field("", &words);
    }
    if printed.cost_minor > 0 {
        field("cost", &cost(printed));
    }
    if is_priced(printed) {
        field("price", &price(printed));
        field("", &at_p80(printed));
    }
    if printed.list_minor > 0 && is_priced(printed) && sheet.addition_to.is_none() {
        field("", &against_list(printed));
    }
    if let Some(words) = simulated(printed) {
        field("worked out", &words);
    }
    out
}

fn asked(asked: &QuoteAsked) -> String {
    let mut said = vec![grades(asked.grades.as_ref())];
    if asked.unseen {
        said.push("nobody of the shop has seen it".to_owned());
    }
    if !asked.vehicle_class.is_empty() {
        said.push(format!("class {}", clean(&asked.vehicle_class)));
    }
    if asked.like_job_number > 0 {
        said.push(format!("like job {}", asked.like_job_number));
    }
    let codes = |codes: &[String]| {
        let codes: Vec<String> = codes.iter().map(|code| clean(code)).collect();
        codes.join(", ")
    };
    if !asked.without_stages.is_empty() {
        said.push(format!("without {}", codes(&asked.without_stages)));
    }
    if !asked.with_stages.is_empty() {
        said.push(format!("with {}", codes(&asked.with_stages)));
    }
    said.join("; ")
}

fn bay(printed: &QuotePrinted) -> String {
    let mut said = format!(
        "half of such jobs {}, four in five {}",
        hours_minutes(printed.bay_half_us),
        hours_minutes(printed.bay_p80_us)
    );
    if printed.waiting_half_us > 0 {
        let _ = write!(
            said,
            "; {} of it waiting",
            hours_minutes(printed.waiting_half_us)
        );
    }
    said
}

/// How much of this is the shop's own.
pub(super) fn learned(printed: &QuotePrinted) -> String {
    let all = printed.from_jobs_all;
    if printed.trade_guess || printed.from_jobs == 0 {
        let others = match all {
            0 => "no job is on record yet".to_owned(),
            n => format!("no job of this type is on record, {n} of other types"),
        };
        return format!("trade guess, not your shop: {others}");
    }
    let from = counted(u64::from(printed.from_jobs), "job", "jobs");
    let in_all = if all > printed.from_jobs {
        format!(" of this type, {all} in all")
    } else {
        " of this type".to_owned()
    };
    let few = if printed.from_jobs < FEW_JOBS {
        ": few, so the range is wide"
    } else {
        ""
    };
    format!("from {from}{in_all}{few}")
}

/// Said where past quotes did not hold as they said.
pub(super) fn widened(printed: &QuotePrinted) -> Option<String> {
    let milli = printed.widen_milli;
    if milli == 0 || milli.abs_diff(1_000) < WIDEN_SAID_MILLI {
        return None;
    }
    let off = milli.abs_diff(1_000).saturating_add(5) / 10;
    Some(if milli > 1_000 {
        format!("ranges are widened by {off} %: past jobs left them too often")
    } else {
        format!("ranges are narrowed by {off} %: past jobs left them too seldom")
    })
}

fn cost(printed: &QuotePrinted) -> String {
    format!(
        "on average {}, half {}, four in five {}",
        money(printed.cost_minor, &printed.currency),
        figure(printed.cost_half_minor, &printed.currency),
        figure(printed.cost_p80_minor, &printed.currency)
    )
}

fn price(printed: &QuotePrinted) -> String {
    let price = money(printed.price_minor, &printed.currency);
    let target = percent(printed.target_margin_permille);
    let word = left_word(printed.margin);
    if printed.target_margin_permille > 0 {
        format!("{price} without tax meets the target {word} of {target} % on average")
    } else {
        format!("{price} without tax covers the cost on average; no target {word} is given")
    }
}

/// What is left where the job takes as long as four in five.
fn at_p80(printed: &QuotePrinted) -> String {
    let word = left_word(printed.margin);
    let left = left_words(word, printed.margin_p80_permille);
    format!("if it takes as long as four in five, {left}")
}

fn against_list(printed: &QuotePrinted) -> String {
    let list = money(printed.list_minor, &printed.currency);
    let off = printed.price_minor.saturating_sub(printed.list_minor);
    let size = i64::try_from(off.unsigned_abs()).unwrap_or(i64::MAX);
    let size = money(size, &printed.currency);
    match off.signum() {
        1 => format!("the list price is {list}, {size} less"),
        -1 => format!("the list price is {list}, {size} more"),
        _ => "that is the list price".to_owned(),
    }
}

/// Enough to work the same figures out again.
fn simulated(printed: &QuotePrinted) -> Option<String> {
    if printed.draws == 0 {
        return None;
    }
    let mut said = format!(
        "from {} simulated jobs, seed {}",
        grouped(printed.draws),
        printed.seed
    );
    if printed.learned_up_to_seq > 0 {
        let _ = write!(said, ", records up to event {}", printed.learned_up_to_seq);
    }
    let error = hours_minutes(printed.hands_on_p80_error_us);
    if error != "0:00" {
        let _ = write!(said, "; its four in five is good to {error}");
    }
    Some(said)
}

/// `20,000`.
fn grouped(count: u32) -> String {
    // A currency without minor units groups a plain number.
    baywright_terms::amount::Money::new(i64::from(count), "JPY").number()
}

/// One line of the head: what it is, then its words, hung below each other.
pub(super) fn push_field(out: &mut String, name: &str, words: &str, page: usize) {
    const NAME_COLUMNS: usize = 12;
    let room = page.saturating_sub(NAME_COLUMNS);
    for (index, line) in wrap(words, room, Breaks::Spaces).iter().enumerate() {
        let name = if index == 0 { name } else { "" };
        let row = format!("{}{line}", pad_right(name, NAME_COLUMNS));
        out.push_str(row.trim_end());
        out.push('\n');
    }
}
