//! What each product took against what was allowed for it.

use baywright_proto::v1::WeekChemical;
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::spread::{Strip, picture};
use crate::page::frame::Section;
use crate::page::phrase::{NONE, list, minus};
use crate::page::table::{Column, Table, cell, named};
use crate::render::chemicals;
use crate::render::figure::{amount, amount_percent, counted};
use crate::render::text::clean;

/// Products in the picture: so many stand on one sheet of paper with room left.
const STRIPS_MAX: usize = 14;

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let rows = &sheet.week.chemicals;
    if rows.is_empty() {
        return None;
    }
    let (recorded, others): (Vec<&WeekChemical>, Vec<&WeekChemical>) = rows
        .iter()
        .filter(|row| is_on_jobs(row))
        .partition(|row| row.jobs_with_use > 0 || row.used > 0.0);
    let all: Vec<Strip> = recorded.iter().filter_map(|row| strip(row)).collect();
    let says = sentence(&all);
    let left_out = all.len().saturating_sub(STRIPS_MAX);
    let strips = furthest(all);
    let body = html! {
        p { "Amounts as concentrate, for each job with a record, against what the catalogue allows." }
        @if !strips.is_empty() {
            (picture("chemicals-chart", "Chemicals against their allowance", &says, &strips).render())
        }
        @if left_out > 0 {
            p.small {
                "The picture shows the " (STRIPS_MAX) " furthest from their allowance; the table has the other "
                (left_out) " too."
            }
        }
        @if !recorded.is_empty() {
            (table(sheet, &recorded).render())
            (marks(&recorded))
        }
        (unrecorded(&others))
        (aside(sheet))
    };
    Some(Section::new(
        "chemicals",
        "Chemicals against their allowance",
        body,
    ))
}

/// The strips that are furthest from their allowance, the largest first.
fn furthest(mut strips: Vec<Strip>) -> Vec<Strip> {
    // As a ratio: half of the allowance is as far as twice of it.
    let off = |strip: &Strip| strip.half.max(f64::MIN_POSITIVE).ln().abs();
    strips.sort_by(|a, b| off(b).total_cmp(&off(a)));
    strips.truncate(STRIPS_MAX);
    strips.sort_by(|a, b| b.half.total_cmp(&a.half));
    strips
}

fn is_on_jobs(row: &WeekChemical) -> bool {
    row.jobs > 0 && !row.job_type.is_empty()
}

/// Allowance for one job.
fn allowed(row: &WeekChemical) -> Option<f64> {
    let each = row.allowance / f64::from(row.jobs_allowed.max(1));
    (each.is_finite() && each > 0.0).then_some(each)
}

fn strip(row: &WeekChemical) -> Option<Strip> {
    let allowed = allowed(row)?;
    if row.n == 0 || row.at_allowance {
        return None;
    }
    let half = row.median / allowed;
    Some(Strip {
        name: clean(&row.product),
        note: clean(&row.job_type),
        half,
        p80: row.p80 / allowed,
        figure: format!("{:.0}\u{a0}%", half * 100.0),
    })
}

fn sentence(strips: &[Strip]) -> String {
    let over: Vec<String> = strips
        .iter()
        .filter(|strip| strip.half > 1.0)
        .map(|strip| format!("{} on {} ({})", strip.name, strip.note, strip.figure))
        .collect();
    let within = strips.len() - over.len();
    let over = if over.is_empty() {
        "In none of them did half of the jobs use more than allowed".to_owned()
    } else {
        format!("Half of the jobs used more than allowed of {}", list(&over))
    };
    format!(
        "{over}; {} within the allowance. The table has every figure.",
        counted(
            u64::try_from(within).unwrap_or(u64::MAX),
            "product is",
            "products are"
        )
    )
}

fn table(sheet: &Sheet<'_>, rows: &[&WeekChemical]) -> Table {
    let code = sheet.purse.code();
    let mut table = Table::new(
        "chemicals-table",
        format!("Chemicals for each job; cost in {code}"),
        [
            Column::text("Product"),
            Column::text("Job type"),
            Column::number("Jobs"),
            Column::number("Mean"),
            Column::number("Half"),
            Column::number("Four in five"),
            Column::number("Allowance"),
            Column::text("Unit"),
            Column::number("Half differs, %"),
            Column::number("Cost, half"),
            Column::number("Cost in all"),
        ],
    );
    for row in rows {
        table.row(cells(sheet, row));
    }
    table
}

fn cells(sheet: &Sheet<'_>, row: &WeekChemical) -> [Markup; 11] {
    let allowance = allowed(row);
    let figure = |value: f64| {
        if row.n > 0 {
            amount(value)
        } else {
            NONE.to_owned()
        }
    };
    let money = |minor: i64| {
        if row.no_price {
            NONE.to_owned()
        } else {
            sheet.purse.number(minor)
        }
    };
    let percent = allowance
        .filter(|_| row.n > 0)
        .map(|each| amount_percent(row.median, each));
    let percent = percent.filter(|text| !text.is_empty());
    [
        html! { (named(&clean(&row.product), &clean(&row.id))) (remarks(row)) },
        cell(clean(&row.job_type)),
        cell(format!("{} of {}", row.n, row.jobs)),
        cell(figure(row.mean)),
        cell(figure(row.median)),
        cell(figure(row.p80)),
        cell(allowance.map_or_else(|| "none".to_owned(), amount)),
        cell(clean(&row.unit)),
        cell(percent.map_or_else(|| NONE.to_owned(), |text| minus(&text))),
        cell(if row.n > 0 {
            money(row.cost_median_minor)
        } else {
            NONE.to_owned()
        }),
        cell(money(row.cost_minor)),
    ]
}

/// What a row is not, below its name.
fn remarks(row: &WeekChemical) -> Markup {
    html! {
        @if row.apportioned { small { "apportioned" } }
        @if row.at_allowance { small { "standard, not measured" } }
        @if row.no_price { small { "no price known" } }
        @if row.mixed_units { small { "in another unit too" } }
        @if row.uses_without_amount > 0 {
            small { (counted(u64::from(row.uses_without_amount), "record", "records")) " without amount" }
        }
    }
}

/// The words of the marks, where one is used.
fn marks(rows: &[&WeekChemical]) -> Markup {
    html! {
        p.small {
            "Half: half of the jobs used no more. Half differs: how far that is from the allowance. "
            @if rows.iter().any(|row| row.apportioned) {
                "Apportioned: nobody meters each use; what the refills took is shared out by allowance. "
            }
            @if rows.iter().any(|row| row.at_allowance) {
                "Standard, not measured: until the next refill the allowance stands in. "
            }
            @if rows.iter().any(|row| row.mixed_units) {
                "In another unit too: the catalogue has no density to add the two up. "
            }
        }
    }
}

/// What nobody wrote down is not what nobody used.
fn unrecorded(rows: &[&WeekChemical]) -> Markup {
    let mut by_type: Vec<(String, Vec<String>)> = Vec::new();
    for row in rows {
        let (job_type, product) = (clean(&row.job_type), clean(&row.product));
        match by_type.iter_mut().find(|(other, _)| *other == job_type) {
            Some((_, products)) => products.push(product),
            None => by_type.push((job_type, vec![product])),
        }
    }
    html! {
        @for (job_type, products) in &by_type {
            p.small { (job_type) ": no record of " (list(products)) ", though it is allowed." }
        }
    }
}

/// Waste, and what was used on no job.
fn aside(sheet: &Sheet<'_>) -> Markup {
    let week = sheet.week;
    let of = |figures: fn(&WeekChemical) -> (f64, i64)| {
        chemicals::sums(&week.chemicals, &clean(&week.currency), figures)
    };
    let dumped = of(|row| (row.dumped, row.dumped_cost_minor));
    let loose = of(|row| {
        if row.job_type.is_empty() {
            (row.used, row.cost_minor)
        } else {
            (0.0, 0)
        }
    });
    html! {
        @if !dumped.is_empty() { p { "Waste, mixed and dumped: " (list(&dumped)) "." } }
        @if !loose.is_empty() { p { "Used on no job: " (list(&loose)) "." } }
    }
}
