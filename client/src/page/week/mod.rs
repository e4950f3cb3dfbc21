//! The owner's Friday on paper.

mod after;
mod bays;
mod chemicals;
mod flow;
mod history;
pub(super) mod labour;
mod quotes;
mod says;
mod short;

pub(super) use self::after::{in_full, records};
pub(super) use self::short::causes;

use baywright_proto::v1::Week;
use maud::{Markup, html};

use super::frame::{Frame, Section};
use super::notes;
use super::phrase::Purse;
use crate::render::calendar::Calendar;
use crate::render::text::clean;

/// Weeks of history that the page shows; a quarter of a year.
pub const HISTORY_WEEKS: u32 = 12;

/// What every part of the page needs.
struct Sheet<'a> {
    week: &'a Week,
    calendar: Calendar,
    purse: Purse,
}

impl Sheet<'_> {
    /// `contribution`, or `margin` where all costs are known.
    fn result(&self) -> &'static str {
        let margin = self.week.money.as_ref().is_some_and(|money| money.margin);
        if margin { "margin" } else { "contribution" }
    }

    /// The span in words: `2026-W48`.
    fn span(&self) -> String {
        clean(&self.week.week)
    }
}

/// The week as a page of HTML. `command` asks for the same span in a terminal.
pub fn page(week: &Week, command: &str) -> String {
    let sheet = Sheet {
        week,
        calendar: Calendar::of(&week.zone),
        purse: Purse::of(&week.currency),
    };
    let parts: [fn(&Sheet<'_>) -> Option<Section>; 15] = [
        short::section,
        quotes::look_again,
        bays::section,
        labour::types,
        labour::jobs,
        quotes::won_and_lost,
        quotes::honesty,
        quotes::ahead,
        chemicals::section,
        history::section,
        flow::section,
        after::air,
        after::cures,
        after::sections,
        after::odd,
    ];
    let mut sections: Vec<Section> = parts.iter().filter_map(|part| part(&sheet)).collect();
    if sections.is_empty() {
        sections.push(Section::new(
            "nothing",
            "Nothing to show yet",
            html! { p { "As soon as the bays post what they do, it is counted here." } },
        ));
    } else {
        sections.push(notes::week(week, command, sheet.result()));
    }
    Frame {
        title: title(&sheet),
        head: head(&sheet),
        sections,
        foot: notes::foot(week.as_of_seq),
    }
    .into_html()
}

fn title(sheet: &Sheet<'_>) -> String {
    let shop = clean(&sheet.week.shop);
    let span = sheet.span();
    if shop.is_empty() {
        format!("Week {span}")
    } else {
        format!("{shop}, week {span}")
    }
}

fn head(sheet: &Sheet<'_>) -> Markup {
    let week = sheet.week;
    let (from, last) = (
        sheet.calendar.day(week.from_us),
        sheet.calendar.day(week.until_us.saturating_sub(1)),
    );
    html! {
        @if !week.shop.is_empty() { p.shop { (clean(&week.shop)) } }
        h1 { "Week " (sheet.span()) }
        p.asof {
            (from) " to " (last) ", " (clean(sheet.calendar.zone_name())) " time"
            @if week.as_of_us != 0 {
                ". As of " (sheet.calendar.short_day_and_time(week.as_of_us)) ", event " (week.as_of_seq)
            }
            "."
            @if is_running(week) { " The week is still running." }
        }
        p.says { (says::paragraph(sheet)) }
    }
}

fn is_running(week: &Week) -> bool {
    let begun = week.as_of_us >= week.from_us && week.as_of_us < week.until_us;
    begun && week.counted_until_us < week.until_us
}
