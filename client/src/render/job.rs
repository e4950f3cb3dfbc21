//! One job's story: what was promised, what it took, and every event of it.

use std::fmt::Write as _;

use baywright_proto::v1::{JobMoney, JobStory, StoryPlace, WeekJob, WeekStage};
use baywright_terms::hours::OpenHours;

use super::calendar::Calendar;
use super::figure::{adding_up, difference_percent, hours_minutes, span_words, whole_percent};
use super::in_words::of_it;
use super::money::{Grounds, figure, left_word, money, signed};
use super::released::{against_quote, job_name, uncertain};
use super::settle::{self, Detail};
use super::shortfall::{Outcome, shortfalls};
use super::story::{lines, sections, stretches, uses};
use super::table::{Column, Table};
use super::text::{Breaks, clean, pad_right, push, section, wrap};
use super::timeline::timeline;
use super::types::against;

/// Causes named in the head; the table below has them all.
const CAUSES_SAID_MAX: usize = 3;

/// The story as text of at most `page` columns. The open hours tell what was
/// closed time; without any nothing is called so.
pub fn story(story: &JobStory, hours: &[OpenHours], page: usize) -> String {
    let calendar = Calendar::of(&story.zone);
    let nothing = WeekJob::default();
    let job = story.job.as_ref().unwrap_or(&nothing);
    let mut out = head(story, job, &calendar, page);
    out.push_str(&costs(story, job, page));
    out.push_str(&timeline(story, hours, &calendar, page));
    out.push_str(&stages(&job.stages, page));
    out.push_str(&places(&story.places, &calendar, page));
    out.push_str(&stretches(story, &calendar, page));
    out.push_str(&uses(story, page));
    out.push_str(&sections(story, &calendar, page));
    out.push_str(&lines(&story.lines, &calendar, page));
    if !story.odd.is_empty() {
        out.push_str(&section("Odd records", page));
        for record in &story.odd {
            out.push_str(&settle::record(record, &calendar, Detail::Short, page));
        }
    }
    out
}

fn head(story: &JobStory, job: &WeekJob, calendar: &Calendar, page: usize) -> String {
    let mut out = String::new();
    let mut title = format!("Job {}", clean(&job_name(job)));
    if job.number != 0 && !job.handle.is_empty() {
        let _ = write!(title, " (opened as {})", clean(&job.handle));
    }
    if !job.job_type.is_empty() {
        let _ = write!(title, ", {}", clean(&job.job_type));
    }
    if !job.vehicle.is_empty() {
        let _ = write!(title, ": {}", clean(&job.vehicle));
    }
    push(&mut out, &title, page);
    let zone = clean(calendar.zone_name());
    let opened = calendar.day_and_time(story.opened_us);
    push_field(&mut out, "opened", &format!("{opened}, {zone} time"), page);
    if job.released_us == 0 {
        push_field(&mut out, "released", "not yet", page);
    } else {
        let released = calendar.day_and_time(job.released_us);
        let after = span_words(job.cycle_us);
        push_field(
            &mut out,
            "released",
            &format!("{released}, {after} after opening"),
            page,
        );
    }
    push_field(&mut out, "labour", &labour(job), page);
    for line in uncertain(job) {
        push_field(&mut out, "", &line, page);
    }
    if job.occupied_us > 0 {
        let bays = format!(
            "{} in bays, {} % of it hands-on",
            hours_minutes(job.occupied_us),
            whole_percent(job.flow_permille)
        );
        push_field(&mut out, "flow", &bays, page);
    }
    if let Some(of_job) = &job.money {
        push_field(&mut out, "money", &earned(of_job, &story.currency), page);
    }
    if let Some(said) = against_quote(job, &story.currency, CAUSES_SAID_MAX) {
        push_field(&mut out, "", &said, page);
    }
    if story.as_of_seq != 0 {
        push_field(
            &mut out,
            "as of",
            &format!("event {}", story.as_of_seq),
            page,
        );
    }
    out
}

/// `revenue EUR 840.00, contribution EUR 335.35, an hour of labour brought ..`.
fn earned(of_job: &JobMoney, currency: &str) -> String {
    let word = left_word(of_job.margin);
    if !of_job.revenue_known {
        return format!("no price is known, so there is no {word}");
    }
    let assumed = if of_job.revenue_assumed {
        " (list price, none was agreed)"
    } else {
        ""
    };
    let mut said = format!(
        "revenue {}{assumed}, {word} {}",
        money(of_job.revenue_minor, currency),
        money(of_job.contribution_minor, currency)
    );
    if of_job.effective_hour_minor != 0 {
        let _ = write!(
            said,
            "; after materials an hour of labour brought {}",
            money(of_job.effective_hour_minor, currency)
        );
    }
    said
}

/// Quoted against actual money, line by line, and why they differ.
fn costs(story: &JobStory, job: &WeekJob, page: usize) -> String {
    let Some(of_job) = &job.money else {
        return String::new();
    };
    let rest = of_job.supplies_minor.saturating_add(of_job.overhead_minor);
    let nothing = [
        of_job.revenue_minor,
        of_job.list_minor,
        of_job.labour_minor,
        of_job.materials_minor,
        rest,
    ];
    if nothing.into_iter().all(|minor| minor == 0) {
        return String::new();
    }
    let currency = &story.currency;
    let title = match clean(currency) {
        none if none.is_empty() => "Money".to_owned(),
        currency => format!("Money, {currency}"),
    };
    let mut out = section(&title, page);
    out.push_str(&costs_table(of_job, currency, page));
    let of_rest = [
        (of_job.supplies_minor, "supplies (standard, not measured)"),
        (of_job.overhead_minor, "overhead for the sold hours"),
    ];
    let of_rest: Vec<String> = of_rest
        .into_iter()
        .filter(|(minor, _)| *minor != 0)
        .map(|(minor, what)| format!("{what} {}", money(minor, currency)))
        .collect();
    let mut said = Vec::new();
    if !of_rest.is_empty() {
        said.push(format!("Other costs: {}.", of_rest.join(", ")));
    }
    let grounds = Grounds {
        // Both are said in the head.
        assumed: 0,
        unpriced: 0,
        without_rate_us: of_job.labour_without_rate_us,
        uses_without_price: of_job.uses_without_price,
        unmeasured_minor: of_job.materials_unmeasured_minor,
        loose_minor: 0,
    };
    said.extend(grounds.sentences(currency));
    if !said.is_empty() {
        push(&mut out, &said.join(" "), page);
    }
    if of_job.quoted && of_job.revenue_known {
        let outcome = Outcome {
            quoted_minor: of_job.quoted_contribution_minor,
            actual_minor: of_job.contribution_minor,
            word: left_word(of_job.margin),
            currency,
        };
        out.push_str(&shortfalls(&job.shortfalls, &outcome, page));
    }
    out
}

fn costs_table(of_job: &JobMoney, currency: &str, page: usize) -> String {
    let mut table = Table::new([
        Column::text("what"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
    ]);
    let quoted = |minor: i64| of_job.quoted.then_some(minor);
    let rest = of_job.supplies_minor.saturating_add(of_job.overhead_minor);
    // What the quote had for them: all that is not in its other lines.
    let quoted_rest = of_job
        .list_minor
        .saturating_sub(of_job.quoted_labour_minor)
        .saturating_sub(of_job.quoted_materials_minor)
        .saturating_sub(of_job.quoted_contribution_minor);
    let mut row = |what: &str, quoted: Option<i64>, actual: i64, is_total: bool| {
        let cells = [
            what.to_owned(),
            quoted.map_or_else(String::new, |minor| figure(minor, currency)),
            figure(actual, currency),
            quoted.map_or_else(String::new, |minor| {
                signed(actual.saturating_sub(minor), currency)
            }),
        ];
        if is_total {
            table.total(cells);
        } else {
            table.row(cells);
        }
    };
    if of_job.revenue_known {
        row(
            "revenue",
            quoted(of_job.list_minor),
            of_job.revenue_minor,
            false,
        );
    }
    row(
        "labour",
        quoted(of_job.quoted_labour_minor),
        of_job.labour_minor,
        false,
    );
    row(
        "materials",
        quoted(of_job.quoted_materials_minor),
        of_job.materials_minor,
        false,
    );
    row("other costs", quoted(quoted_rest), rest, false);
    if of_job.revenue_known {
        row(
            left_word(of_job.margin),
            quoted(of_job.quoted_contribution_minor),
            of_job.contribution_minor,
            true,
        );
    }
    table.render(page)
}

/// One line of the head: what it is, then its words, hung below each other.
fn push_field(out: &mut String, name: &str, words: &str, page: usize) {
    const NAME_COLUMNS: usize = 10;
    let room = page.saturating_sub(NAME_COLUMNS);
    for (index, line) in wrap(words, room, Breaks::Spaces).iter().enumerate() {
        let name = if index == 0 { name } else { "" };
        out.push_str(&pad_right(name, NAME_COLUMNS));
        out.push_str(line);
        out.push('\n');
    }
}

fn labour(job: &WeekJob) -> String {
    let actual = hours_minutes(job.actual_us);
    if job.no_allowance {
        return format!("{actual} h; the catalogue has no allowance for it");
    }
    let quoted = hours_minutes(job.quoted_us);
    let promised = format!("quoted {quoted}, actual {actual}");
    if quoted == actual {
        return promised;
    }
    let off_us = i64::try_from(job.actual_us.abs_diff(job.quoted_us)).unwrap_or(i64::MAX);
    let word = if job.actual_us > job.quoted_us {
        "more"
    } else {
        "less"
    };
    let percent = difference_percent(job.actual_us, job.quoted_us);
    let percent = if percent.is_empty() {
        percent
    } else {
        format!(" ({percent} %)")
    };
    format!("{promised}, {} {word}{percent}", hours_minutes(off_us))
}

fn stages(stages: &[WeekStage], page: usize) -> String {
    if stages.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
        Column::number("%"),
    ]);
    for stage in stages.iter().filter(|stage| stage.jobs > 0) {
        let quoted = (!stage.no_allowance).then_some(stage.quoted_us);
        let [quoted, actual, differs, percent] = against(quoted, stage.actual_us, stage.actual_us);
        table.row([stage.stage.clone(), quoted, actual, differs, percent]);
        let of_it = of_it(stage.rework_us, stage.unclosed_us, stage.declared_us);
        if !of_it.is_empty() {
            table.note(&format!("  {of_it}"));
        }
    }
    let mut out = section("Labour by stage, hours:minutes", page);
    if !table.is_empty() {
        out.push_str(&table.render(page));
    }
    let unrecorded: Vec<String> = stages
        .iter()
        .filter(|stage| stage.jobs == 0)
        .map(|stage| format!("{} {}", clean(&stage.stage), hours_minutes(stage.quoted_us)))
        .collect();
    if !unrecorded.is_empty() {
        let words = format!("No record, though allowed: {}.", unrecorded.join(", "));
        push(&mut out, &words, page);
    }
    out
}

fn places(places: &[StoryPlace], calendar: &Calendar, page: usize) -> String {
    if places.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("place"),
        Column::text("from"),
        Column::text("until"),
        Column::number("hands-on"),
        Column::number("waiting"),
        Column::number("idle"),
    ]);
    for place in places {
        let [hands_on, waiting, idle] =
            adding_up([place.hands_on_us, place.waiting_us, place.idle_us]);
        table.row([
            place.place.clone(),
            calendar.short_day_and_time(place.from_us),
            if place.until_us == 0 {
                "still there".to_owned()
            } else {
                calendar.short_day_and_time(place.until_us)
            },
            hours_minutes(hands_on),
            hours_minutes(waiting),
            hours_minutes(idle),
        ]);
    }
    format!(
        "{}{}",
        section("Where it was, hours:minutes", page),
        table.render(page)
    )
}
