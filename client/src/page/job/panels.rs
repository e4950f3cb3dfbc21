//! Coated sections, with the air at the time.

use baywright_proto::v1::{StoryAir, StorySection};
use maud::{Markup, html};

use super::Sheet;
use crate::page::frame::Section;
use crate::page::phrase::{NONE, celsius};
use crate::page::table::{Column, Table, cell};
use crate::render::text::clean;

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let story = sheet.story;
    if story.sections.is_empty() && story.air.is_empty() {
        return None;
    }
    let body = html! {
        @if !story.sections.is_empty() { (sections(sheet).render()) }
        @if !story.air.is_empty() { (air(sheet).render()) }
    };
    let title = if story.sections.is_empty() {
        "Air readings"
    } else {
        "Coated sections and their air"
    };
    Some(Section::new("panels", title, body))
}

fn sections(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new(
        "sections-table",
        "Coated sections, with the reading that held when each was coated",
        [
            Column::text("Panel"),
            Column::text("Section"),
            Column::text("Finish"),
            Column::text("Product and lot"),
            Column::short("Coated"),
            Column::text("Levelled"),
            Column::text("Came out"),
            Column::text("Air then"),
            Column::number("Events"),
        ],
    );
    for section in &sheet.story.sections {
        table.row(section_cells(sheet, section));
    }
    table
}

fn section_cells(sheet: &Sheet<'_>, section: &StorySection) -> [Markup; 9] {
    let seqs: Vec<String> = section.seqs.iter().map(u64::to_string).collect();
    let result = clean(&section.result).replace('-', " ");
    [
        cell(clean(&section.panel)),
        cell(format!("{}, layer {}", section.section, section.layer)),
        cell(clean(&section.finish)),
        html! {
            (clean(&section.product))
            @if !section.lot.is_empty() { small { "lot " (clean(&section.lot)) } }
        },
        cell(sheet.calendar.short_day_and_time(section.coated_us)),
        cell(if section.levelled_us == 0 {
            "not levelled".to_owned()
        } else {
            sheet.calendar.time(section.levelled_us)
        }),
        cell(if result.is_empty() { NONE } else { &result }),
        cell(
            held(&sheet.story.air, section.coated_us)
                .map_or_else(|| "no reading".to_owned(), air_words),
        ),
        cell(seqs.join(" ")),
    ]
}

/// The last reading up to an instant.
fn held(air: &[StoryAir], at_us: i64) -> Option<&StoryAir> {
    air.iter()
        .filter(|reading| reading.read_us <= at_us)
        .max_by_key(|reading| reading.read_us)
}

fn air_words(reading: &StoryAir) -> String {
    let surface = reading
        .surface_milli_c
        .map_or_else(String::new, |milli| format!(", surface {}", celsius(milli)));
    format!(
        "{}, {}{surface}",
        celsius(reading.air_milli_c),
        humidity(reading.humidity_milli_pct)
    )
}

fn humidity(milli_percent: u32) -> String {
    format!("{:.0}\u{a0}%", f64::from(milli_percent) / 1000.0)
}

fn air(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new(
        "air-table",
        "Air readings",
        [
            Column::short("Read"),
            Column::text("Bay"),
            Column::number("Air"),
            Column::number("Humidity"),
            Column::number("Surface"),
            Column::number("Event"),
        ],
    );
    for reading in &sheet.story.air {
        table.row([
            cell(sheet.calendar.short_day_and_time(reading.read_us)),
            cell(clean(&reading.bay)),
            cell(celsius(reading.air_milli_c)),
            cell(humidity(reading.humidity_milli_pct)),
            cell(
                reading
                    .surface_milli_c
                    .map_or_else(|| NONE.to_owned(), celsius),
            ),
            cell(reading.seq.to_string()),
        ]);
    }
    table
}
