//! What is left to look after: air out of range, cures, coated sections by
//! lot, odd records.

use baywright_proto::v1::{CureUnderWay, OddRecord, ReworkGroup};
use maud::{Markup, html};

use super::Sheet;
use crate::page::frame::Section;
use crate::page::phrase::{NONE, celsius, many};
use crate::page::table::{Column, Table, cell, named};
use crate::render::calendar::Calendar;
use crate::render::figure::counted;
use crate::render::text::{capital, clean};

/// Odd records on the page before it points to `bay settle`.
const ODD_SHOWN_MAX: usize = 20;

pub(super) fn air(sheet: &Sheet<'_>) -> Option<Section> {
    let out = &sheet.week.air_out;
    if out.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "air-table",
        "Sections coated in air that did not fit the product",
        [
            Column::text("Job"),
            Column::short("Coated"),
            Column::text("Bay"),
            Column::text("Panel"),
            Column::text("Product"),
            Column::wide("Why"),
            Column::number("Event"),
        ],
    );
    for section in out {
        table.row([
            cell(number(section.job_number, "")),
            cell(sheet.calendar.short_day_and_time(section.coated_us)),
            cell(clean(&section.bay)),
            cell(clean(&section.panel)),
            cell(clean(&section.product)),
            cell(clean(&section.why)),
            cell(section.seq.to_string()),
        ]);
    }
    let body = html! {
        (table.render())
        p.small { "The product's own label and safety data sheet come before anything said here." }
    };
    Some(Section::new("air", "Air out of range while coating", body))
}

fn number(number: u64, handle: &str) -> String {
    match (number, handle) {
        (0, "") => NONE.to_owned(),
        (0, handle) => clean(handle),
        (number, _) => number.to_string(),
    }
}

pub(super) fn cures(sheet: &Sheet<'_>) -> Option<Section> {
    let cures = &sheet.week.cures;
    if cures.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "cures-table",
        "Cures under way",
        [
            Column::text("Job"),
            Column::wide("Vehicle"),
            Column::number("Panels"),
            Column::text("Water-safe"),
            Column::text("Full cure"),
        ],
    );
    for cure in cures {
        table.row(cure_cells(sheet, cure));
    }
    Some(Section::new("cures", "Cures under way", table.render()))
}

fn cure_cells(sheet: &Sheet<'_>, cure: &CureUnderWay) -> [Markup; 5] {
    let when = |at_us: i64| {
        if at_us == 0 {
            "reached, or not known".to_owned()
        } else {
            sheet.calendar.short_day_and_time(at_us)
        }
    };
    [
        cell(number(cure.job_number, &cure.handle)),
        cell(clean(&cure.vehicle)),
        cell(cure.panels.to_string()),
        cell(when(cure.water_safe_us)),
        cell(when(cure.full_cure_us)),
    ]
}

pub(super) fn sections(sheet: &Sheet<'_>) -> Option<Section> {
    let groups = &sheet.week.rework;
    if groups.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "lots-table",
        "Coated sections by product and lot, and how they came out",
        [
            Column::text("Product"),
            Column::text("Lot"),
            Column::number("Sections"),
            Column::number("Smeared"),
            Column::number("High spots"),
            Column::number("Coldest"),
            Column::number("Warmest"),
        ],
    );
    for group in groups {
        table.row(group_cells(group));
    }
    let body = html! {
        (table.render())
        p.small {
            "Smeared: levelled early. High spot: levelled late. Coldest and warmest: surface, or air where the surface \
             was not read."
        }
    };
    Some(Section::new(
        "lots",
        "Coated sections by product and lot",
        body,
    ))
}

fn group_cells(group: &ReworkGroup) -> [Markup; 7] {
    let lot = clean(&group.lot);
    let warm = |milli: Option<i32>| milli.map_or_else(|| NONE.to_owned(), celsius);
    [
        named(&clean(&group.product), &clean(&group.id)),
        cell(if lot.is_empty() { "not given" } else { &lot }),
        cell(group.sections.to_string()),
        cell(group.smeared.to_string()),
        cell(group.high_spots.to_string()),
        cell(warm(group.lowest_milli_c)),
        cell(warm(group.highest_milli_c)),
    ]
}

pub(super) fn odd(sheet: &Sheet<'_>) -> Option<Section> {
    let week = sheet.week;
    if week.odd.is_empty() {
        return None;
    }
    // Those of the week first: what is older has been seen before.
    let (mut shown, older): (Vec<&OddRecord>, Vec<&OddRecord>) = week
        .odd
        .iter()
        .partition(|record| (week.from_us..week.until_us).contains(&record.occurred_us));
    shown.extend(older);
    shown.truncate(ODD_SHOWN_MAX);
    let body = html! {
        (records(&shown, &sheet.calendar, nameless))
        @if let Some(more) = week.odd.len().checked_sub(ODD_SHOWN_MAX).filter(|more| *more > 0) {
            p { "And " (more) " more; all of them: " code { "bay settle" } "." }
        }
    };
    let title = format!(
        "{} to settle",
        counted(many(&week.odd), "record", "records")
    );
    Some(Section::new("odd", title, body))
}

/// What is odd about a record, without who it was: the page of a week is passed
/// around and never about a person. `bay settle` has the rest.
fn nameless(record: &OddRecord) -> String {
    let said = match record.code.as_str() {
        "unclosed" => "A stage was never ended: it was cut at closing.",
        "break-crossed" => "A stage ran across a break; nothing was deducted.",
        "unknown-code" => "A code is not in the catalogue; kept as it is.",
        "set-aside" => "A post could not be read and was set aside.",
        // Their sentences are about jobs, places, products and clocks.
        "bay-overfull" | "no-job-here" | "unknown-job-number" | "undeclared"
        | "nothing-to-level" | "no-mix" | "mix-overdrawn" | "job-not-open" | "clock-unsure"
        | "in-future" | "against-rule" | "unit-mismatch" => return clean(&record.text),
        other => return capital(&format!("{}.", clean(other).replace('-', " "))),
    };
    said.to_owned()
}

/// What is odd about a record, in full.
pub(in crate::page) fn in_full(record: &OddRecord) -> String {
    clean(&record.text)
}

/// Each record with what is odd and what settles it.
pub(in crate::page) fn records(
    records: &[&OddRecord],
    calendar: &Calendar,
    words: fn(&OddRecord) -> String,
) -> Markup {
    html! {
        ul.plain {
            @for record in records {
                li {
                    p { (words(record)) }
                    p.small {
                        "Event " (record.seq) ", " (calendar.short_day_and_time(record.occurred_us))
                        @if !record.bay.is_empty() { ", " (clean(&record.bay)) }
                        @if record.job_number != 0 { ", job " (record.job_number) }
                        @if record.settled { ". Settled." }
                    }
                    @if !record.settled && !record.settle_with.is_empty() {
                        p.small { code { (clean(&record.settle_with)) } }
                    }
                }
            }
        }
    }
}
