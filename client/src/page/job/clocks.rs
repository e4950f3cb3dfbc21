//! The three clocks of one vehicle over its days.

use baywright_proto::v1::StoryStretch;
use jiff::civil::{Date, DateTime};
use maud::html;

use super::Sheet;
use super::spans::{Span, joined, without};
use crate::page::chart::scale::Axis;
use crate::page::chart::timeline::{Day, Hours, Named, picture};
use crate::page::frame::Section;
use crate::page::phrase::some_hours;
use crate::page::table::{Column, Table, cell};
use crate::render::figure::{adding_up, hours_minutes};
use crate::render::text::clean;

/// Days that are drawn; a vehicle that stays for months has its table.
const DAYS_DRAWN_MAX: usize = 14;
/// Hours that are shown at least, so that a short visit is not stretched.
const SHOWN_HOURS_MIN: f64 = 4.0;
const MARKS_MAX: f64 = 6.0;
const DAY_HOURS: f64 = 24.0;

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let story = sheet.story;
    if story.places.is_empty() && story.stretches.is_empty() {
        return None;
    }
    let (days, shown, left_out) = days(sheet);
    let body = html! {
        @if !days.is_empty() {
            (picture("clocks-chart", "Where it was, and what was done", &sentence(sheet), &shown, &days).render())
        }
        @if left_out > 0 {
            p.small { "The picture shows the first " (DAYS_DRAWN_MAX) " days with a record; " (left_out) " more are in the tables." }
        }
        (places(sheet).render())
        @if !story.stretches.is_empty() {
            details { summary { "Every stretch of work and waiting" } (stretches(sheet).render()) }
        }
    };
    Some(Section::new("clocks", "Its time in the shop", body))
}

fn sentence(sheet: &Sheet<'_>) -> String {
    let places = &sheet.story.places;
    let add = |field: fn(&baywright_proto::v1::StoryPlace) -> i64| {
        places.iter().map(field).fold(0, i64::saturating_add)
    };
    let [hands_on, waiting, idle] = adding_up([
        add(|p| p.hands_on_us),
        add(|p| p.waiting_us),
        add(|p| p.idle_us),
    ]);
    format!(
        "Of its time in the shop {} were hands-on, {} waiting and {} idle, hours and minutes. The tables have every \
         stay and stretch.",
        hours_minutes(hands_on),
        hours_minutes(waiting),
        hours_minutes(idle)
    )
}

/// Where something that still runs ends on this page.
fn end_us(sheet: &Sheet<'_>, until_us: i64) -> i64 {
    if until_us != 0 {
        return until_us;
    }
    let last = sheet.story.lines.iter().map(|line| line.occurred_us).max();
    sheet.story.as_of_us.max(last.unwrap_or(0))
}

fn is_hands_on(stretch: &StoryStretch) -> bool {
    stretch.kind == "hands-on"
}

/// The days with a record, the hours of the day to show, and how many days
/// there was no room for.
fn days(sheet: &Sheet<'_>) -> (Vec<Day>, Axis, usize) {
    let story = sheet.story;
    let spans = |wanted: bool| {
        let stretches = story
            .stretches
            .iter()
            .filter(move |s| is_hands_on(s) == wanted);
        stretches.map(|s| (s.from_us, end_us(sheet, s.until_us)))
    };
    let hands_on = joined(spans(true));
    let waiting = without(&joined(spans(false)), &hands_on);
    let stays = joined(
        story
            .places
            .iter()
            .map(|p| (p.from_us, end_us(sheet, p.until_us))),
    );
    let idle = without(&without(&stays, &hands_on), &waiting);

    let civil = |at_us: i64| sheet.calendar.civil(at_us);
    // Instants at which somebody did something: the rest of a day is night.
    let ends = hands_on.iter().flat_map(|(from, until)| [*from, *until]);
    let instants = ends.chain(story.lines.iter().map(|line| line.occurred_us));
    let times: Vec<DateTime> = instants.filter_map(civil).collect();
    let mut dates: Vec<Date> = times.iter().map(|time| time.date()).collect();
    dates.sort_unstable();
    dates.dedup();
    let left_out = dates.len().saturating_sub(DAYS_DRAWN_MAX);
    dates.truncate(DAYS_DRAWN_MAX);
    let shown = shown_hours(&times);
    let cut = |spans: &[Span], date: Date| -> Vec<Hours> {
        spans
            .iter()
            .filter_map(|span| on_day(sheet, *span, date, &shown))
            .collect()
    };
    let drawn = dates
        .iter()
        .map(|date| Day {
            name: day_name(*date),
            stays: stays_on(sheet, *date, &shown),
            hands_on: work_on(sheet, *date, &shown),
            waiting: cut(&waiting, *date),
            idle: cut(&idle, *date),
        })
        .collect();
    (drawn, shown, left_out)
}

fn day_name(date: Date) -> String {
    jiff::fmt::strtime::format("%a %-d %b", date).unwrap_or_else(|_| date.to_string())
}

/// From the first to the last hour in which anything was recorded, in round
/// steps.
fn shown_hours(times: &[DateTime]) -> Axis {
    let from = times
        .iter()
        .map(|t| hour_of(*t))
        .fold(DAY_HOURS, f64::min)
        .floor();
    let until = times.iter().map(|t| hour_of(*t)).fold(0.0, f64::max).ceil();
    let from = from.min(DAY_HOURS - SHOWN_HOURS_MIN);
    Axis::hours_around(from, until.max(from + SHOWN_HOURS_MIN), MARKS_MAX)
}

/// The clock as a number: 13.5 is half past one.
fn hour_of(time: DateTime) -> f64 {
    f64::from(time.hour()) + f64::from(time.minute()) / 60.0 + f64::from(time.second()) / 3600.0
}

/// The part of a span on one day, within the hours that are shown.
fn on_day(sheet: &Sheet<'_>, (from_us, until_us): Span, date: Date, shown: &Axis) -> Option<Hours> {
    let (from, until) = (
        sheet.calendar.civil(from_us)?,
        sheet.calendar.civil(until_us)?,
    );
    if from.date() > date || until.date() < date {
        return None;
    }
    let from = if from.date() < date {
        0.0
    } else {
        hour_of(from)
    };
    let until = if until.date() > date {
        DAY_HOURS
    } else {
        hour_of(until)
    };
    let hours = Hours {
        from: from.max(shown.from),
        until: until.min(shown.to),
    };
    (hours.from < hours.until).then_some(hours)
}

fn stays_on(sheet: &Sheet<'_>, date: Date, shown: &Axis) -> Vec<Named> {
    let stays = sheet.story.places.iter();
    stays
        .filter_map(|place| {
            let span = (place.from_us, end_us(sheet, place.until_us));
            Some(Named {
                name: clean(&place.place),
                hours: on_day(sheet, span, date, shown)?,
                rework: false,
            })
        })
        .collect()
}

/// Hands-on time of one day: people on the same stage at once are one bar.
fn work_on(sheet: &Sheet<'_>, date: Date, shown: &Axis) -> Vec<Named> {
    let mut stages: Vec<(&str, bool)> = Vec::new();
    let hands_on = || sheet.story.stretches.iter().filter(|s| is_hands_on(s));
    for stretch in hands_on() {
        let key = (stretch.stage.as_str(), stretch.rework);
        if !stages.contains(&key) {
            stages.push(key);
        }
    }
    let mut work = Vec::new();
    for (stage, rework) in stages {
        let of_stage = hands_on().filter(|s| s.stage == stage && s.rework == rework);
        let spans = joined(of_stage.map(|s| (s.from_us, end_us(sheet, s.until_us))));
        for span in spans {
            if let Some(hours) = on_day(sheet, span, date, shown) {
                work.push(Named {
                    name: clean(stage),
                    hours,
                    rework,
                });
            }
        }
    }
    work
}

fn places(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new(
        "places-table",
        "Where it was, hours:minutes",
        [
            Column::text("Place"),
            Column::short("From"),
            Column::short("Until"),
            Column::number("Hands-on"),
            Column::number("Waiting"),
            Column::number("Idle"),
        ],
    );
    for place in &sheet.story.places {
        let spans = adding_up([place.hands_on_us, place.waiting_us, place.idle_us]);
        let [hands_on, waiting, idle] = spans.map(|span| cell(some_hours(span)));
        table.row([
            cell(clean(&place.place)),
            cell(sheet.calendar.short_day_and_time(place.from_us)),
            cell(until(sheet, place.until_us, "still there")),
            hands_on,
            waiting,
            idle,
        ]);
    }
    table
}

fn until(sheet: &Sheet<'_>, until_us: i64, running: &str) -> String {
    if until_us == 0 {
        running.to_owned()
    } else {
        sheet.calendar.short_day_and_time(until_us)
    }
}

fn stretches(sheet: &Sheet<'_>) -> Table {
    let code = sheet.purse.code();
    let mut table = Table::new(
        "stretches-table",
        format!("Every stretch of work and waiting; labour cost in {code}"),
        [
            Column::short("From"),
            Column::short("Until"),
            Column::short("Clock"),
            Column::text("What"),
            Column::text("Who"),
            Column::text("Place"),
            Column::text("Ended by"),
            Column::number("Took"),
            Column::number("Cost"),
            Column::number("Events"),
        ],
    );
    for stretch in &sheet.story.stretches {
        let what: Vec<String> = [&stretch.stage, &stretch.product, &stretch.panel]
            .into_iter()
            .map(|part| clean(part))
            .filter(|part| !part.is_empty())
            .collect();
        let took_us = end_us(sheet, stretch.until_us).saturating_sub(stretch.from_us);
        let seqs: Vec<String> = stretch.seqs.iter().map(u64::to_string).collect();
        let rework = if stretch.rework { ", rework" } else { "" };
        table.row([
            cell(sheet.calendar.short_day_and_time(stretch.from_us)),
            cell(until(sheet, stretch.until_us, "still running")),
            cell(format!("{}{rework}", clean(&stretch.kind))),
            cell(what.join(", ")),
            cell(clean(&stretch.worker)),
            cell(clean(&stretch.place)),
            cell(clean(&stretch.ended)),
            cell(hours_minutes(took_us)),
            cell(if is_hands_on(stretch) {
                sheet.purse.number(stretch.cost_minor)
            } else {
                String::new()
            }),
            cell(seqs.join(" ")),
        ]);
    }
    table
}
