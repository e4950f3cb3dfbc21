//! Every event of the job, and what was said or taken back along the way.

use baywright_proto::v1::{StoryLine, TimeBasis};
use maud::{Markup, html};

use super::Sheet;
use crate::page::frame::Section;
use crate::page::table::{Column, Table, cell};
use crate::render::figure::counted;
use crate::render::text::clean;

pub(super) fn notices(sheet: &Sheet<'_>) -> Option<Section> {
    let lines: Vec<&StoryLine> = sheet
        .story
        .lines
        .iter()
        .filter(|l| !l.notices.is_empty())
        .collect();
    if lines.is_empty() {
        return None;
    }
    let body = html! {
        ul.plain {
            @for line in lines {
                li {
                    @for notice in &line.notices { p { (clean(notice)) } }
                    p.small { (when(sheet, line)) ", event " (line.seq) }
                }
            }
        }
    };
    Some(Section::new("notices", "What the bays were told", body))
}

pub(super) fn corrections(sheet: &Sheet<'_>) -> Option<Section> {
    let lines: Vec<&StoryLine> = sheet
        .story
        .lines
        .iter()
        .filter(|line| line.struck)
        .collect();
    if lines.is_empty() {
        return None;
    }
    let body = html! {
        p { "Struck out, and not counted in any figure:" }
        ul.plain {
            @for line in lines {
                li { p { (clean(&line.text)) } p.small { (when(sheet, line)) ", event " (line.seq) } }
            }
        }
    };
    Some(Section::new("corrections", "What was taken back", body))
}

fn when(sheet: &Sheet<'_>, line: &StoryLine) -> String {
    let about = if is_uncertain(line) { "about " } else { "" };
    format!(
        "{about}{}",
        sheet.calendar.short_day_and_time(line.occurred_us)
    )
}

/// True where the time rests on a clock that was not sampled in that boot.
fn is_uncertain(line: &StoryLine) -> bool {
    matches!(
        TimeBasis::try_from(line.time_basis),
        Ok(TimeBasis::PresentOffset | TimeBasis::EarlierBoot)
    )
}

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let lines = &sheet.story.lines;
    if lines.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "events-table",
        "Every event, in order",
        [
            Column::text("Event"),
            Column::short("When"),
            Column::wide("What"),
            Column::text("Bay"),
        ],
    );
    for line in lines {
        let class = if line.struck { "struck" } else { "event" };
        table.row_of(class, cells(sheet, line));
    }
    let body = html! {
        (table.render())
        @if lines.iter().any(is_uncertain) {
            p.small { "About: the clock of the bay could not be checked then." }
        }
    };
    Some(Section::new("events", "Every event", body))
}

fn cells(sheet: &Sheet<'_>, line: &StoryLine) -> [Markup; 4] {
    [
        cell(line.seq.to_string()),
        cell(when(sheet, line)),
        html! {
            @if line.struck { "Struck out: " }
            span.what { (clean(&line.text)) }
            @if line.cautions > 0 {
                small { (counted(u64::from(line.cautions), "standing caution", "standing cautions")) " shown" }
            }
        },
        cell(clean(&line.bay)),
    ]
}
