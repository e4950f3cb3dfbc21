//! What was used on the job.

use baywright_proto::v1::StoryUse;
use maud::{Markup, html};

use super::Sheet;
use crate::page::frame::Section;
use crate::page::phrase::{NONE, list, minus};
use crate::page::table::{Column, Table, cell};
use crate::render::figure::{amount, amount_percent, counted};
use crate::render::text::clean;

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let uses = &sheet.story.uses;
    if uses.is_empty() {
        return None;
    }
    let (recorded, others): (Vec<&StoryUse>, Vec<&StoryUse>) = uses.iter().partition(|product| {
        !product.seqs.is_empty() || product.used > 0.0 || product.uses_without_amount > 0
    });
    let mut table = Table::new(
        "products-table",
        format!("Products, as concentrate; cost in {}", sheet.purse.code()),
        [
            Column::text("Product"),
            Column::number("Used"),
            Column::number("Allowance"),
            Column::text("Unit"),
            Column::number("%"),
            Column::number("Cost"),
            Column::number("Quoted"),
            Column::number("Of it waste"),
            Column::wide("Events"),
        ],
    );
    for product in recorded {
        table.row(cells(sheet, product));
    }
    let unrecorded: Vec<String> = others
        .iter()
        .map(|p| {
            format!(
                "{} {}\u{a0}{}",
                clean(&p.product),
                amount(p.allowance),
                clean(&p.unit)
            )
        })
        .collect();
    let body = html! {
        @if !table.is_empty() { (table.render()) }
        @if !unrecorded.is_empty() { p.small { "No record, though allowed: " (list(&unrecorded)) "." } }
    };
    Some(Section::new("products", "Products", body))
}

fn cells(sheet: &Sheet<'_>, product: &StoryUse) -> [Markup; 9] {
    let purse = &sheet.purse;
    let allowed = product.allowance > 0.0;
    let percent = amount_percent(product.used, product.allowance);
    let seqs: Vec<String> = product.seqs.iter().map(u64::to_string).collect();
    let waste = if product.waste_minor == 0 {
        NONE.to_owned()
    } else {
        purse.number(product.waste_minor)
    };
    [
        html! {
            (clean(&product.product))
            @if product.apportioned { small { "apportioned" } }
            @if product.at_allowance { small { "standard, not measured" } }
            @if product.no_price { small { "no price known" } }
            @if product.uses_without_amount > 0 {
                small { (counted(u64::from(product.uses_without_amount), "record", "records")) " without amount" }
            }
        },
        cell(amount(product.used)),
        cell(if allowed {
            amount(product.allowance)
        } else {
            "none".to_owned()
        }),
        cell(clean(&product.unit)),
        cell(if percent.is_empty() {
            NONE.to_owned()
        } else {
            minus(&percent)
        }),
        cell(if product.no_price {
            NONE.to_owned()
        } else {
            purse.number(product.cost_minor)
        }),
        cell(purse.number(product.allowance_cost_minor)),
        cell(waste),
        cell(seqs.join(" ")),
    ]
}
