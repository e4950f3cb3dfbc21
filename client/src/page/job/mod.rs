//! One job's story as a page, for the shop.

mod clocks;
mod events;
mod money;
mod panels;
mod products;
mod spans;

use baywright_proto::v1::{JobStory, WeekJob};
use maud::{Markup, html};

use super::chart::paired::{Pair, picture};
use super::frame::{Frame, Section};
use super::notes;
use super::phrase::{Purse, hours_in_words, minus};
use super::week::labour;
use crate::render::calendar::Calendar;
use crate::render::figure::{difference_percent, hours_minutes, span_words};
use crate::render::text::{capital, clean};

/// What every part of the page needs.
struct Sheet<'a> {
    story: &'a JobStory,
    job: &'a WeekJob,
    calendar: Calendar,
    purse: Purse,
}

/// The story as a page of HTML.
pub fn page(story: &JobStory) -> String {
    let nothing = WeekJob::default();
    let sheet = Sheet {
        story,
        job: story.job.as_ref().unwrap_or(&nothing),
        calendar: Calendar::of(&story.zone),
        purse: Purse::of(&story.currency),
    };
    let parts: [fn(&Sheet<'_>) -> Option<Section>; 9] = [
        clocks::section,
        stages,
        money::section,
        products::section,
        panels::section,
        events::notices,
        events::corrections,
        odd,
        events::section,
    ];
    let mut sections: Vec<Section> = parts.iter().filter_map(|part| part(&sheet)).collect();
    sections.push(small_print(&sheet));
    Frame {
        title: title(&sheet),
        head: head(&sheet),
        sections,
        foot: notes::foot(story.as_of_seq),
    }
    .into_html()
}

fn title(sheet: &Sheet<'_>) -> String {
    let name = labour::name(sheet.job);
    let shop = clean(&sheet.story.shop);
    if shop.is_empty() {
        format!("Job {name}")
    } else {
        format!("{shop}, job {name}")
    }
}

fn head(sheet: &Sheet<'_>) -> Markup {
    let (job, story) = (sheet.job, sheet.story);
    let vehicle = clean(&job.vehicle);
    let kind = clean(&job.job_type);
    html! {
        @if !story.shop.is_empty() { p.shop { (clean(&story.shop)) } }
        h1 { "Job " (labour::name(job)) @if !vehicle.is_empty() { ": " (vehicle) } }
        p.asof {
            @if !kind.is_empty() { (kind) ". " }
            @if job.number != 0 && !job.handle.is_empty() { "Opened as " (clean(&job.handle)) ". " }
            (clean(sheet.calendar.zone_name())) " time."
            @if story.as_of_seq != 0 {
                " As of "
                @if story.as_of_us != 0 { (sheet.calendar.short_day_and_time(story.as_of_us)) ", " }
                "event " (story.as_of_seq) "."
            }
        }
        p.mark { "For the shop, not for the customer" }
        p.says { (says(sheet)) }
    }
}

/// The job in a few plain sentences.
fn says(sheet: &Sheet<'_>) -> Markup {
    let job = sheet.job;
    let opened = sheet.calendar.day_and_time(sheet.story.opened_us);
    html! {
        "It came in on " (opened)
        @if job.released_us == 0 { " and is still here." }
        @else {
            " and was released on " (sheet.calendar.day_and_time(job.released_us))
            ", " (span_words(job.cycle_us)) " later."
        }
        " It took " b { (hours_in_words(job.actual_us)) } " of labour"
        @if job.no_allowance { "; the catalogue has no allowance for it." }
        @else {
            ", against " b { (hours_in_words(job.quoted_us)) } " quoted"
            @let percent = difference_percent(job.actual_us, job.quoted_us);
            @if !percent.is_empty() { " (" (minus(&percent)) "\u{a0}%)" }
            "."
        }
        @for remark in labour::remarks(job) { " " (capital(&remark)) "." }
        (money::says(sheet))
    }
}

fn stages(sheet: &Sheet<'_>) -> Option<Section> {
    let stages = &sheet.job.stages;
    if stages.is_empty() {
        return None;
    }
    let pairs: Vec<Pair> = stages
        .iter()
        .map(|stage| Pair {
            name: clean(&stage.stage),
            note: String::new(),
            quoted_us: (!stage.no_allowance).then_some(stage.quoted_us),
            actual_us: (stage.jobs > 0).then_some(stage.actual_us),
            rework_us: stage.rework_us,
        })
        .collect();
    let each: Vec<String> = pairs
        .iter()
        .map(|pair| {
            let quoted = pair.quoted_us.map_or_else(
                || "not quoted".to_owned(),
                |quoted| format!("quoted {}", hours_minutes(quoted)),
            );
            let took = pair.actual_us.map_or_else(
                || "without a record".to_owned(),
                |actual| format!("took {}", hours_minutes(actual)),
            );
            format!("{} {quoted}, {took}", pair.name)
        })
        .collect();
    let says = format!("Hours and minutes of labour: {}.", each.join("; "));
    let table = labour::stages(
        "stages-table",
        "Labour by stage, hours:minutes",
        stages,
        false,
    );
    let body = html! {
        (picture("stages-chart", "Quoted against actual labour by stage", &says, &pairs).render())
        (table.render())
    };
    Some(Section::new(
        "stages",
        "Quoted against actual by stage",
        body,
    ))
}

fn odd(sheet: &Sheet<'_>) -> Option<Section> {
    let odd = &sheet.story.odd;
    if odd.is_empty() {
        return None;
    }
    let records: Vec<_> = odd.iter().collect();
    let body = super::week::records(&records, &sheet.calendar, super::week::in_full);
    Some(Section::new("odd", "Odd records", body))
}

fn small_print(sheet: &Sheet<'_>) -> Section {
    let margin = sheet.job.money.as_ref().is_some_and(|money| money.margin);
    let body = html! {
        dl.terms {
            (notes::result_words(if margin { "margin" } else { "contribution" }))
            (notes::standard())
        }
        (notes::safety())
    };
    Section::new("notes", "How to read this page", body)
}
