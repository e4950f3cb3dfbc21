//! The week in a few plain sentences.

use maud::{Markup, html};

use super::Sheet;
use crate::page::phrase::{hours_in_words, jobs, list, many, minus, permille};
use crate::render::figure::{counted, difference_percent};
use crate::render::shortfall::words;
use crate::render::text::clean;

/// So many causes are named; the rest is in the table.
const CAUSES_SAID_MAX: usize = 2;

pub(super) fn paragraph(sheet: &Sheet<'_>) -> Markup {
    let week = sheet.week;
    if !week.remark.is_empty() {
        return html! { (clean(&week.remark)) };
    }
    if week.log_from_us == 0 && week.log_until_us == 0 {
        return html! { "The log is empty: nothing has been posted yet." };
    }
    let released = week.jobs.iter().filter(|job| job.released_us != 0);
    let released = u32::try_from(released.count()).unwrap_or(u32::MAX);
    if released == 0 {
        return html! { "No job was released in " (sheet.span()) "." (use_of_bays(sheet)) (to_settle(sheet)) };
    }
    html! {
        b { (jobs(released)) } " went out."
        (labour(sheet)) (money(sheet)) (fell_short(sheet)) (use_of_bays(sheet)) (to_settle(sheet))
    }
}

fn labour(sheet: &Sheet<'_>) -> Markup {
    let types = &sheet.week.types;
    let sum = |field: fn(&baywright_proto::v1::WeekType) -> i64| {
        types.iter().map(field).fold(0, i64::saturating_add)
    };
    let actual = sum(|t| t.actual_us);
    let compared = actual.saturating_sub(sum(|t| t.actual_unquoted_us));
    let quoted = sum(|t| t.quoted_us);
    let minute = 60_000_000;
    let off = compared.saturating_sub(quoted);
    html! {
        " They took " b { (hours_in_words(actual)) } " of labour"
        @if quoted > 0 {
            (if compared == actual { ", against " } else { ": of it " })
            @if compared != actual { (hours_in_words(compared)) " against " }
            b { (hours_in_words(quoted)) } " quoted, "
            @if off.abs() < minute { "as promised" }
            @else {
                (hours_in_words(off)) (if off > 0 { " more" } else { " less" })
                " (" (minus(&difference_percent(compared, quoted))) "\u{a0}%)"
            }
            @if compared != actual { ", and the rest on jobs without an allowance" }
        }
        "."
    }
}

fn money(sheet: &Sheet<'_>) -> Markup {
    let Some(money) = sheet
        .week
        .money
        .as_ref()
        .filter(|money| money.jobs_priced > 0)
    else {
        return html! { " No price is known, so there is no money to show." };
    };
    let purse = &sheet.purse;
    html! {
        " They brought in " b { (purse.named(money.revenue_minor)) }
        @if money.jobs_priced < money.jobs {
            " (" (money.jobs - money.jobs_priced) " of them without a known price)"
        }
        " and left " b { (purse.named(money.contribution_minor)) } " of " (sheet.result()) "."
        @if money.effective_hour_minor != 0 {
            " After materials, an hour of labour brought " (purse.named(money.effective_hour_minor)) "."
        }
    }
}

fn fell_short(sheet: &Sheet<'_>) -> Markup {
    let week = sheet.week;
    let Some(money) = week.money.as_ref().filter(|money| money.jobs_quoted > 0) else {
        return Markup::default();
    };
    let short = money
        .quoted_contribution_minor
        .saturating_sub(money.contribution_of_quoted_minor);
    let mut causes: Vec<_> = week
        .shortfalls
        .iter()
        .filter(|cause| cause.amount_minor.signum() == short.signum() && cause.amount_minor != 0)
        .collect();
    causes.sort_by_key(|cause| std::cmp::Reverse(cause.amount_minor.unsigned_abs()));
    let named: Vec<String> = causes
        .iter()
        .take(CAUSES_SAID_MAX)
        .map(|cause| {
            format!(
                "{} ({})",
                words(&cause.cause, cause.amount_minor),
                sheet.purse.named(cause.amount_minor.saturating_abs())
            )
        })
        .collect();
    html! {
        @if short == 0 {
            " The quoted jobs came out as quoted."
        } @else {
            " The " (counted(u64::from(money.jobs_quoted), "quoted job", "quoted jobs")) " came out "
            b { (sheet.purse.named(short.saturating_abs())) (if short > 0 { " short" } else { " ahead" }) }
            @if !named.is_empty() { ", mostly: " (list(&named)) }
            "."
        }
    }
}

fn use_of_bays(sheet: &Sheet<'_>) -> Markup {
    let bays = &sheet.week.bays;
    let open: i64 = bays.iter().map(|b| b.open_us).fold(0, i64::saturating_add);
    let empty: i64 = bays.iter().map(|b| b.empty_us).fold(0, i64::saturating_add);
    if open <= 0 {
        return Markup::default();
    }
    let used = super::bays::share(open.saturating_sub(empty), open);
    html! { " The bays were in use for " b { (permille(used)) } " of their open hours." }
}

fn to_settle(sheet: &Sheet<'_>) -> Markup {
    let odd = &sheet.week.odd;
    if odd.is_empty() {
        return Markup::default();
    }
    let one = odd.len() == 1;
    html! {
        " " a href="#odd" { (counted(many(odd), "record", "records")) }
        (if one { " waits" } else { " wait" }) " to be settled, and may still move these figures."
    }
}
