//! Why the week fell short of its quotes, in seven causes that add up.

use baywright_proto::v1::Shortfall;
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::causes::{Cause, picture};
use crate::page::frame::Section;
use crate::page::phrase::{Purse, jobs};
use crate::page::table::{Column, Table, cell, named};
use crate::render::shortfall::words;
use crate::render::text::{capital, clean};

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let week = sheet.week;
    let money = week.money.as_ref().filter(|money| money.jobs_quoted > 0)?;
    if week.shortfalls.is_empty() {
        return None;
    }
    let (quoted, actual) = (
        money.quoted_contribution_minor,
        money.contribution_of_quoted_minor,
    );
    let short = quoted.saturating_sub(actual);
    let result = sheet.result();
    let body = html! {
        p {
            "Over the " (jobs(money.jobs_quoted)) " with a quote and a price: the quotes promised "
            (sheet.purse.named(quoted)) " of " (result) ", " (sheet.purse.named(actual)) " were left."
        }
        (causes("short", &week.shortfalls, &sheet.purse, short))
    };
    let title = if short < 0 {
        "Why it came out ahead"
    } else {
        "Why it fell short"
    };
    Some(Section::new("short", title, body))
}

/// Picture and table of the causes; they add up to `short`.
pub(in crate::page) fn causes(
    id: &'static str,
    shortfalls: &[Shortfall],
    purse: &Purse,
    short_minor: i64,
) -> Markup {
    let bars: Vec<Cause> = shortfalls
        .iter()
        .map(|shortfall| Cause {
            name: capital(&words(&shortfall.cause, shortfall.amount_minor)),
            value: purse.drawn(shortfall.amount_minor),
            figure: purse.signed(shortfall.amount_minor),
        })
        .collect();
    let code = purse.code();
    let mut table = Table::new(
        format!("{id}-table"),
        format!("What took from the result (+) and what gave back (−), {code}"),
        [
            Column::text("Cause"),
            Column::wide("That is"),
            Column::number(code),
        ],
    );
    for shortfall in shortfalls {
        let parts = shortfall.cause == "rework"
            && shortfall.labour_minor != 0
            && shortfall.materials_minor != 0;
        table.row([
            named(
                &capital(&words(&shortfall.cause, shortfall.amount_minor)),
                &clean(&shortfall.id),
            ),
            html! {
                (meaning(&shortfall.cause))
                @if parts {
                    small {
                        "labour " (purse.number(shortfall.labour_minor))
                        ", materials " (purse.number(shortfall.materials_minor))
                    }
                }
            },
            cell(purse.signed(shortfall.amount_minor)),
        ]);
    }
    let total = if short_minor < 0 {
        "Ahead of the quotes"
    } else {
        "Short of the quotes"
    };
    table.total([cell(total), cell(""), cell(purse.signed(short_minor))]);
    let title = "What took from the result, by cause";
    let caption = format!("{code}. To the right: took from the result. To the left: gave back.");
    html! {
        (picture(figure_id(id), title, &sentence(shortfalls, purse), &caption, &bars).render())
        (table.render())
    }
}

fn figure_id(id: &'static str) -> &'static str {
    if id == "short" {
        "short-chart"
    } else {
        "why-chart"
    }
}

fn sentence(shortfalls: &[Shortfall], purse: &Purse) -> String {
    let most = shortfalls.iter().max_by_key(|s| s.amount_minor);
    let least = shortfalls.iter().min_by_key(|s| s.amount_minor);
    let mut said = Vec::new();
    if let Some(most) = most.filter(|s| s.amount_minor > 0) {
        said.push(format!(
            "Most was taken by: {}, {}.",
            words(&most.cause, most.amount_minor),
            purse.named(most.amount_minor)
        ));
    }
    if let Some(least) = least.filter(|s| s.amount_minor < 0) {
        said.push(format!(
            "Most was given back by: {}, {}.",
            words(&least.cause, least.amount_minor),
            purse.named(least.amount_minor.saturating_abs())
        ));
    }
    if said.is_empty() {
        said.push("No cause took or gave back anything.".to_owned());
    }
    said.push("The table has every figure.".to_owned());
    said.join(" ")
}

fn meaning(cause: &str) -> &'static str {
    match cause {
        "discount-given" => "the price agreed, against the list price",
        "took-longer" => "hours against the allowance, work done again aside, at the standard rate",
        "paid-more-per-hour" => "rates paid against the standard one, for the hours worked",
        "used-more" => {
            "product against the allowance, work done again aside, at the standard price"
        }
        "paid-more-for-it" => "prices paid against the standard ones, for the product used",
        "rework" => "hours and product for what was done again",
        "waste" => "mixed and not used",
        _ => "",
    }
}
