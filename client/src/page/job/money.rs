//! What a job brought and cost, and why it differs from its quote.

use baywright_proto::v1::JobMoney;
use maud::{Markup, html};

use super::Sheet;
use crate::page::frame::Section;
use crate::page::phrase::{NONE, hours_in_words};
use crate::page::table::{Column, Table, cell};
use crate::page::week::causes;
use crate::render::figure::counted;
use crate::render::text::capital;

fn result(money: &JobMoney) -> &'static str {
    if money.margin {
        "margin"
    } else {
        "contribution"
    }
}

/// The money of the job in a sentence or two.
pub(super) fn says(sheet: &Sheet<'_>) -> Markup {
    let Some(money) = &sheet.job.money else {
        return Markup::default();
    };
    let purse = &sheet.purse;
    if !money.revenue_known {
        return html! { " Its price is not known." };
    }
    html! {
        @if money.revenue_assumed { " Nothing was agreed; at the list price of " } @else { " Agreed: " }
        b { (purse.named(money.revenue_minor)) }
        @if money.revenue_assumed { " it" } @else { ", which" }
        " leaves " b { (purse.named(money.contribution_minor)) } " of " (result(money))
        @if money.quoted { ", against " (purse.named(money.quoted_contribution_minor)) " quoted" }
        "."
    }
}

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let money = sheet.job.money.as_ref()?;
    let short = money
        .quoted_contribution_minor
        .saturating_sub(money.contribution_minor);
    let shortfalls = &sheet.job.shortfalls;
    let body = html! {
        (costs(sheet, money).render())
        (remarks(sheet, money))
        @if money.quoted && money.revenue_known && !shortfalls.is_empty() {
            h3 { (if short < 0 { "Why it came out ahead" } else { "Why it fell short" }) }
            (causes("why", shortfalls, &sheet.purse, short))
        }
    };
    Some(Section::new("money", "Costs and what is left", body))
}

fn costs(sheet: &Sheet<'_>, money: &JobMoney) -> Table {
    let purse = &sheet.purse;
    let mut table = Table::new(
        "costs-table",
        format!("Quoted and actual, {}, without tax", purse.code()),
        [
            Column::wide("What"),
            Column::number("Quoted"),
            Column::number("Actual"),
        ],
    );
    let quoted = |minor: i64| {
        if money.quoted {
            purse.number(minor)
        } else {
            NONE.to_owned()
        }
    };
    let revenue = if money.revenue_known {
        purse.number(money.revenue_minor)
    } else {
        "not known".to_owned()
    };
    let list = if money.list_minor == 0 {
        NONE.to_owned()
    } else {
        purse.number(money.list_minor)
    };
    let same = |minor: i64| [cell(quoted(minor)), cell(purse.number(minor))];
    let mut row =
        |name: &str, [quoted, actual]: [Markup; 2]| table.row([cell(name), quoted, actual]);
    row(
        "Price: by the list, and agreed",
        [cell(list), cell(revenue)],
    );
    row(
        "Labour",
        [
            cell(quoted(money.quoted_labour_minor)),
            cell(purse.number(money.labour_minor)),
        ],
    );
    row(
        "Materials, with the waste of their mixes",
        [
            cell(quoted(money.quoted_materials_minor)),
            cell(purse.number(money.materials_minor)),
        ],
    );
    row(
        "Supplies (standard, not measured)",
        same(money.supplies_minor),
    );
    if money.overhead_minor != 0 {
        row("Overhead of the sold hours", same(money.overhead_minor));
    }
    table.total([
        cell(capital(result(money))),
        cell(quoted(money.quoted_contribution_minor)),
        cell(purse.number(money.contribution_minor)),
    ]);
    table
}

/// What to know about the money before trusting it.
fn remarks(sheet: &Sheet<'_>, money: &JobMoney) -> Markup {
    html! {
        @if money.effective_hour_minor != 0 {
            p {
                "Effective hour: " (sheet.purse.named(money.effective_hour_minor))
                ", that is price less materials, for each hour of labour."
            }
        }
        @if money.labour_without_rate_us > 0 {
            p.small { (hours_in_words(money.labour_without_rate_us)) " of the labour had no rate and are costed at the standard one." }
        }
        @if money.uses_without_price > 0 {
            p.small {
                (counted(u64::from(money.uses_without_price), "record", "records"))
                " of products without a price are costed at nothing."
            }
        }
        @if money.materials_unmeasured_minor != 0 {
            p.small {
                (sheet.purse.named(money.materials_unmeasured_minor))
                " of the materials nobody measured: apportioned between refills, or at allowance."
            }
        }
    }
}
