//! `bay now`, and `bay` alone: the floor, and the likely next facts by number.

use std::io::Write as _;

use baywright_proto::v1;
use baywright_terms::time::{Micros, format_h_mm, format_span};
use clap::Args;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

use crate::answer::{Outcome, on_page, plain};
use crate::ask;
use crate::commands::page::columns;
use crate::commands::{post_likely, stage};
use crate::context::Context;
use crate::describe::{milli, tenths};
use crate::error::Error;
use crate::floor::{self, Seen};
use crate::likely::{Likely, likely};
use crate::screen::neutral;

/// What is on in the shop, or in one bay with --bay: `bay now`.
#[derive(Debug, Default, Args)]
pub struct NowArgs {
    /// Every bay, even where --bay names one.
    #[arg(long)]
    pub all: bool,
}

pub fn run(context: &Context, args: &NowArgs) -> Result<Outcome, Error> {
    let seen = floor::ask(context)?;
    let seen = Seen {
        now: seen,
        away: None,
    };
    let only = if args.all { "" } else { context.bay() };
    Ok(Outcome::new(page(context, &seen, only), object(&seen, &[])))
}

/// `bay` without a command.
pub fn bare(context: &Context) -> Result<Outcome, Error> {
    let waiting = context
        .device()
        .map_or(0, |d| d.spool().posts().waiting().len());
    let seen = match floor::ask_or_remember(context) {
        Ok(seen) => seen,
        // Nothing is known yet, and nobody answers: still not a failure of the bay.
        Err(why) => return Ok(blank(context, &why, waiting)),
    };
    let held = context.catalogue_or_ask();
    let next = likely(
        &seen.now,
        held.as_ref().map(|h| &h.catalogue),
        context.bay(),
    );
    let mut text = page(context, &seen, context.bay());
    if waiting > 0 {
        text.push_str(&format_waiting(waiting));
    }
    text.push_str(&begin(context, &seen, held.is_some_and(|h| h.revision > 0)));
    if next.is_empty() || !context.can_ask() || context.common.dry {
        let numbered = (1..).zip(&next);
        let lines: Vec<String> = numbered
            .map(|(number, choice)| format!("\n  {number}  {}", plain(&choice.words)))
            .collect();
        text.push_str(&lines.concat());
        return Ok(Outcome::new(text, object(&seen, &next)));
    }
    pick(context, &text, &next)
}

/// Shows the screen, waits for one digit, and posts that fact.
fn pick(context: &Context, text: &str, next: &[Likely]) -> Result<Outcome, Error> {
    let mut out = anstream::stdout().lock();
    let _ = writeln!(out, "{}", on_page(&neutral(text.trim_end()), columns()));
    let _ = out.flush();
    drop(out);
    let words: Vec<String> = next.iter().map(|l| l.words.clone()).collect();
    let picked = ask::digit("One digit posts, any other key leaves.", &words)?;
    match picked.and_then(|index| next.get(index)) {
        Some(choice) => {
            let who = if choice.asks_who {
                Some(stage::who(context)?)
            } else {
                None
            };
            post_likely(context, choice, who)
        }
        None => Ok(Outcome::written()),
    }
}

fn object(seen: &Seen, next: &[Likely]) -> Value {
    let mut object = serde_json::to_value(&seen.now).unwrap_or_else(|_| json!({}));
    if let Value::Object(fields) = &mut object {
        fields.insert("is_last_seen".into(), json!(seen.away.is_some()));
        let words: Vec<&str> = next.iter().map(|l| l.words.as_str()).collect();
        fields.insert("likely".into(), json!(words));
    }
    object
}

fn blank(context: &Context, why: &Error, waiting: usize) -> Outcome {
    let mut text = format!(
        "{}\nFacts are kept on this bay meanwhile, and go out by themselves.",
        plain(why.message())
    );
    if waiting > 0 {
        text.push_str(&format_waiting(waiting));
    }
    text.push_str(&first_words(context));
    Outcome::new(
        text,
        json!({"is_last_seen": false, "why": why.message(), "waiting": waiting, "likely": []}),
    )
}

fn format_waiting(waiting: usize) -> String {
    let facts = if waiting == 1 {
        "fact waits"
    } else {
        "facts wait"
    };
    format!("\n{waiting} {facts} on this bay: `bay spool send` sends now.\n")
}

/// What to do first, on the first day and where no bay is named.
fn begin(context: &Context, seen: &Seen, has_catalogue: bool) -> String {
    let empty = seen.now.bays.iter().all(|b| b.jobs.is_empty()) && seen.now.elsewhere.is_empty();
    if empty && !has_catalogue {
        return first_words(context);
    }
    if context.bay().is_empty() {
        return "\nThis bay has no name yet: --bay CODE, or BAYWRIGHT_BAY, or `bay = \"CODE\"` in \
                bay.toml.\n"
            .to_owned();
    }
    String::new()
}

fn first_words(context: &Context) -> String {
    let bay = if context.bay().is_empty() {
        "--bay bay-1 "
    } else {
        ""
    };
    format!(
        "\nTo begin, with any words you like:\n  \
         bay {bay}open unsorted red three-wheeler --bring\n  \
         bay {bay}start wash --by ana\n  \
         bay {bay}done\n\
         A catalogue makes it know your stages and products: bay catalogue begin.\n"
    )
}

fn page(context: &Context, seen: &Seen, only: &str) -> String {
    let zone = context.zone();
    let now = &seen.now;
    let mut lines = Vec::new();
    if seen.away.is_some() {
        let clock = Micros(now.as_of_us).clock(&zone);
        // Before the daemon's last word this device's clock tells no age.
        let age = match context.now().0 - now.as_of_us {
            ..0 => String::new(),
            age_us => format!(", {} ago", format_span(age_us)),
        };
        lines.push(format!(
            "As last seen at {clock}{age}: the daemon does not answer."
        ));
    }
    for bay in &now.bays {
        if only.is_empty() || bay.bay == only {
            lines.extend(bay_lines(context, bay, now.as_of_us, &zone));
        }
    }
    if !only.is_empty() && now.bays.iter().all(|b| b.bay != only) {
        lines.push(format!("{}: nothing is on here yet.", plain(only)));
    }
    for job in &now.elsewhere {
        lines.push(format!("{}: {}", plain(&job.place), job_name(job)));
    }
    if only.is_empty() && now.odd_open > 0 {
        lines.push(format!("{} to settle: bay settle.", now.odd_open));
    }
    if lines.is_empty() {
        lines.push("Nothing is on.".to_owned());
    }
    lines.join("\n") + "\n"
}

fn bay_lines(context: &Context, bay: &v1::NowBay, as_of_us: i64, zone: &TimeZone) -> Vec<String> {
    let air = bay.air.as_ref().map_or_else(String::new, |air| {
        let surface = air
            .surface_milli_c
            .map(|s| format!(", panel {} °C", tenths(s)))
            .unwrap_or_default();
        format!(
            "  ({} °C, {} %{surface} at {})",
            tenths(air.air_milli_c),
            milli(i64::from(air.humidity_milli_pct)),
            Micros(air.read_us).clock(zone)
        )
    });
    let empty = if bay.jobs.is_empty() { ": empty" } else { "" };
    let mut lines = vec![format!("{}{empty}{air}", plain(&bay.bay))];
    for job in &bay.jobs {
        lines.push(format!(
            "  {}, here since {}",
            job_name(job),
            since(context, job.in_place_since_us, zone)
        ));
        lines.extend(job_lines(job, as_of_us, zone));
    }
    lines
}

fn since(context: &Context, at_us: i64, zone: &TimeZone) -> String {
    let at = Micros(at_us);
    if at.civil(zone).date() == context.now().civil(zone).date() {
        at.clock(zone)
    } else {
        at.date_and_clock(zone)
    }
}

/// `118 trike-coat (red three-wheeler)`.
fn job_name(job: &v1::NowJob) -> String {
    let name = match (job.number, job.handle.as_str()) {
        (0, handle) => handle.to_owned(),
        (number, _) => number.to_string(),
    };
    let vehicle = if job.vehicle.is_empty() {
        String::new()
    } else {
        format!(" ({})", job.vehicle)
    };
    plain(&format!("{name} {}{vehicle}", job.job_type)).into_owned()
}

fn job_lines(job: &v1::NowJob, as_of_us: i64, zone: &TimeZone) -> Vec<String> {
    let clock = |at_us: i64| Micros(at_us).clock(zone);
    let mut lines = Vec::new();
    for stage in &job.running {
        let who = if stage.worker.is_empty() {
            "nobody named"
        } else {
            &stage.worker
        };
        lines.push(format!(
            "{who} on {} since {}, {} so far",
            stage.stage,
            clock(stage.since_us),
            format_h_mm(stage.hands_on_us)
        ));
    }
    for stage in &job.paused {
        let whose = if stage.worker.is_empty() {
            String::new()
        } else {
            format!(" by {}", stage.worker)
        };
        lines.push(format!(
            "{}{whose} paused since {}",
            stage.stage,
            clock(stage.since_us)
        ));
    }
    for dwell in &job.dwells {
        let until = match (dwell.shortest_at_us, dwell.longest_at_us) {
            (_, 0) => String::new(),
            (0, longest) => format!(", rinse by {}", clock(longest)),
            (shortest, longest) => {
                format!(", rinse from {} to {}", clock(shortest), clock(longest))
            }
        };
        let late = if dwell.longest_at_us > 0 && dwell.longest_at_us < as_of_us {
            ": OVERDUE"
        } else {
            ""
        };
        lines.push(format!(
            "{} dwells since {}{until}{late}",
            dwell.product,
            clock(dwell.since_us)
        ));
    }
    for section in &job.sections {
        lines.push(section_line(section, as_of_us, zone));
    }
    if job.dry_until_us > as_of_us {
        lines.push(format!(
            "must stay dry until {}",
            Micros(job.dry_until_us).date_and_clock(zone)
        ));
    }
    if !job.stages_open.is_empty() {
        lines.push(format!("to come: {}", job.stages_open.join(", ")));
    }
    lines
        .into_iter()
        .map(|line| format!("    {}", plain(&line)))
        .collect()
}

fn section_line(section: &v1::NowSection, as_of_us: i64, zone: &TimeZone) -> String {
    let clock = |at_us: i64| Micros(at_us).civil(zone).strftime("%H:%M:%S").to_string();
    let number = if section.section > 0 {
        format!("/{}", section.section)
    } else {
        String::new()
    };
    let window = if section.level_until_us == 0 {
        "no window known, check by touch".to_owned()
    } else if section.level_until_us < as_of_us {
        format!("was to be levelled by {}", clock(section.level_until_us))
    } else {
        format!(
            "level from {} to {}",
            clock(section.level_from_us),
            clock(section.level_until_us)
        )
    };
    format!(
        "{}{number} ({}) spread {}: {window}",
        section.panel,
        section.finish,
        clock(section.coated_us)
    )
}
