//! `bay week`: the figures of one week.

use std::path::PathBuf;

use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_proto::v1::{OwnRequest, OwnResponse, Week, WeekRequest, Why, WhyRequest};
use baywright_terms::time;
use clap::Args;
use jiff::civil::Date;
use serde_json::json;

use super::page;
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::page::put;
use crate::page::week::HISTORY_WEEKS;
use crate::render;
use crate::render::week::Shown;

/// Weeks of one report: two years. The daemon has the same limit.
const WEEKS_MAX: u32 = 106;

/// The week of the shop: what each bay got through, what it took, and why.
///
/// Bay time; what the released jobs earned against their quotes, and why they
/// fell short; labour, chemicals, flow, coatings, and the records that wait to
/// be settled. Without a week it is the present one, up to now. What is left
/// of the revenue is called contribution, and margin once the catalogue gives
/// wage burden and overhead. With --by it is that worker's own hours, from five
/// jobs on, and nothing else.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay week                        this week so far
  bay week 2026-W48               an ISO week
  bay week --weeks 12             the last twelve weeks, and each by itself
  bay week --from 2026-11-01 --to 2026-11-30
  bay week 2026-W48 --why f2      the jobs, stages and events that make row f2
  bay week 2026-W48 --why 118     those of job 118
  bay week 2026-W48 --as-of 4812  as it could be printed after event 4812
  bay week --by ana               ana's own hours
  bay week --html week.html       a page to read, print or send")]
pub struct WeekArgs {
    /// The ISO week, for example 2026-W48.
    #[arg(value_name = "WEEK", conflicts_with_all = ["from", "to"])]
    pub week: Option<String>,
    /// From this day on, instead of a week: 2026-11-01.
    #[arg(long, value_name = "DATE", conflicts_with = "weeks")]
    pub from: Option<String>,
    /// Up to this day, and with it.
    #[arg(long, value_name = "DATE", conflicts_with = "weeks")]
    pub to: Option<String>,
    /// So many weeks that end with WEEK, and each of them in a row.
    #[arg(long, value_name = "N")]
    pub weeks: Option<String>,
    /// What makes one row: its id as printed, or a job's number.
    #[arg(long, value_name = "ID")]
    pub why: Option<String>,
    /// Every stage of every job type.
    #[arg(long, conflicts_with = "why")]
    pub stages: bool,
    /// Leave out every event after this one.
    #[arg(long, value_name = "SEQ")]
    pub as_of: Option<u64>,
    /// Write it as a page into this file instead; - is standard output.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["why", "stages"])]
    pub html: Option<PathBuf>,
}

/// Asks for the week, a row of it or a worker's own figures, and lays it out.
pub fn run(context: &Context, args: &WeekArgs) -> Result<Outcome, Error> {
    let mut request = request(args)?;
    if let Some(worker) = worker(&context.common.by, args)? {
        return own(context, worker, request);
    }
    if let Some(id) = &args.why {
        return why(context, read_id(id)?, request);
    }
    let shown = Shown {
        stages: args.stages,
        command: command(&request),
    };
    if args.html.is_some() {
        request.history_weeks = request.history_weeks.max(HISTORY_WEEKS);
    }
    let response = context.call_within(REPORT_MS_MAX, "the week", async |channel| {
        ReportServiceClient::new(channel).week(request).await
    })?;
    let week = response
        .week
        .ok_or_else(|| Error::internal("The daemon answered without a week."))?;
    if let Some(file) = &args.html {
        return put::page(&crate::page::week::page(&week, &shown.command), file);
    }
    Ok(outcome(&week, &shown, page::columns()))
}

fn outcome(week: &Week, shown: &Shown, columns: usize) -> Outcome {
    Outcome::new(
        render::week::week(week, shown, columns),
        json!({ "week": week }),
    )
}

fn why(context: &Context, id: String, week: WeekRequest) -> Result<Outcome, Error> {
    let request = WhyRequest {
        week: Some(week),
        id,
    };
    let response = context.call_within(REPORT_MS_MAX, "that row", async |channel| {
        ReportServiceClient::new(channel).why(request).await
    })?;
    let why = response
        .why
        .ok_or_else(|| Error::internal("The daemon answered without reasons."))?;
    Ok(why_outcome(&why, page::columns()))
}

fn why_outcome(why: &Why, columns: usize) -> Outcome {
    Outcome::new(render::why::why(why, columns), json!({ "why": why }))
}

fn own(context: &Context, worker: String, week: WeekRequest) -> Result<Outcome, Error> {
    let request = OwnRequest {
        worker,
        week: Some(week),
    };
    let own = context.call_within(REPORT_MS_MAX, "these figures", async |channel| {
        ReportServiceClient::new(channel).own(request).await
    })?;
    Ok(own_outcome(&own, page::columns()))
}

fn own_outcome(own: &OwnResponse, columns: usize) -> Outcome {
    Outcome::new(render::own::own(own, columns), json!({ "own": own }))
}

/// The span that the flags ask for.
fn request(args: &WeekArgs) -> Result<WeekRequest, Error> {
    let from_date = args.from.as_deref().map(read_date).transpose()?;
    let to_date = args.to.as_deref().map(read_date).transpose()?;
    if let (Some(from), Some(to)) = (from_date, to_date)
        && from > to
    {
        return Err(
            Error::usage(format!("{from} to {to} ends before it begins."))
                .with_hint("Give the earlier date to --from and the later one to --to."),
        );
    }
    let text = |date: Option<Date>| date.map(|date| date.to_string()).unwrap_or_default();
    let weeks = args.weeks.as_deref().map(read_weeks).transpose()?;
    Ok(WeekRequest {
        week: match &args.week {
            Some(typed) => read_week(typed)?,
            None => String::new(),
        },
        as_of_seq: args.as_of.unwrap_or(0),
        from_date: text(from_date),
        to_date: text(to_date),
        weeks: weeks.unwrap_or(0),
        history_weeks: weeks.filter(|weeks| *weeks > 1).unwrap_or(0),
    })
}

/// The command line that asks for the same span.
fn command(request: &WeekRequest) -> String {
    let mut command = "bay week".to_owned();
    let mut add = |flag: &str, value: &str| {
        if !value.is_empty() {
            command.push_str(flag);
            command.push_str(value);
        }
    };
    let number = |number: u64| match number {
        0 => String::new(),
        number => number.to_string(),
    };
    add(" ", &request.week);
    add(" --from ", &request.from_date);
    add(" --to ", &request.to_date);
    add(" --weeks ", &number(u64::from(request.weeks)));
    add(" --as-of ", &number(request.as_of_seq));
    command
}

/// The one worker whose own figures are asked for.
fn worker(by: &[String], args: &WeekArgs) -> Result<Option<String>, Error> {
    match by {
        [] => Ok(None),
        [_] if args.html.is_some() => {
            Err(Error::usage("A worker's own hours are not put on a page.")
                .with_hint("Leave out --html, or --by."))
        }
        [_] if args.why.is_some() || args.stages => {
            Err(Error::usage("A worker's own hours have no rows to open.")
                .with_hint("Leave out --by, or --why and --stages."))
        }
        [one] => Ok(Some(one.trim().to_owned())),
        _ => Err(Error::usage("Whose hours?").with_hint(
            "Name one worker, as in --by ana: a worker's own figures stand alone, and nobody \
             is compared.",
        )),
    }
}

/// An id as printed; a plain number is a job's.
fn read_id(typed: &str) -> Result<String, Error> {
    let id = typed.trim().trim_start_matches('#').to_lowercase();
    if id.is_empty() {
        return Err(Error::usage("Which row?")
            .with_hint("Write the id that stands before it, or a job's number: --why f2"));
    }
    if id.chars().all(|c| c.is_ascii_digit()) {
        return Ok(format!("j{id}"));
    }
    Ok(id)
}

fn read_date(typed: &str) -> Result<Date, Error> {
    typed.trim().parse().map_err(|_| {
        Error::usage(format!("`{typed}` is not a date."))
            .with_hint("Write year, month and day: 2026-11-01")
    })
}

pub(super) fn read_weeks(typed: &str) -> Result<u32, Error> {
    let weeks = typed.trim().parse().ok();
    weeks
        .filter(|weeks| (1..=WEEKS_MAX).contains(weeks))
        .ok_or_else(|| {
            Error::usage(format!("`{typed}` is not a number of weeks."))
                .with_hint(format!("Write 1 to {WEEKS_MAX}: --weeks 12"))
        })
}

/// The week as the daemon reads it.
fn read_week(typed: &str) -> Result<String, Error> {
    time::Week::parse(typed)
        .map(|week| week.to_string())
        .map_err(|error| {
            Error::usage(format!("{error}."))
                .with_hint("Write a year and an ISO week; without one it is the present week.")
        })
}

#[cfg(test)]
mod tests;
