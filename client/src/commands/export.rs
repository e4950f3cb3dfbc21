//! `bay export`: the log, and what it comes to, for another program.

use std::fmt::Write as _;
use std::path::PathBuf;

use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_client::CatalogueServiceClient;
use baywright_terms::time::{Micros, day_range};
use clap::{Args, Subcommand, ValueEnum};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::json;

use self::jobs::Form;
use self::out::Written;
use self::sheet::Sheet;
use crate::answer::Outcome;
use crate::connect::CALL_MS_MAX;
use crate::context::{Context, zone_named};
use crate::error::Error;

mod at;
mod cell;
mod events;
mod jobs;
mod out;
mod row;
mod sheet;
#[cfg(test)]
mod tests;
mod xes;

pub(super) use cell::as_typed;
#[cfg(test)]
pub(super) use cell::defused;

/// The shop's records for another program.
///
/// Everything is streamed, so a log of any length can be taken along. With
/// --out the file appears when it is whole.
#[derive(Debug, Args)]
pub struct ExportArgs {
    #[command(subcommand)]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum Format {
    /// Comma-separated values (RFC 4180) for a spreadsheet.
    ///
    /// Texts that a spreadsheet would run as a formula get an apostrophe before
    /// them. Times named _local are of the shop's zone; those named _us are
    /// microseconds since 1970 UTC and exact. An empty cell is not known or
    /// does not apply. In `uses` the rows of one use stand below each other,
    /// one for each product in it; its amount is on the first alone, so that a
    /// column can be added up. `events` has struck events too, marked.
    #[command(after_help = csv_help())]
    Csv(CsvArgs),
    /// JSON lines (UTF-8): one object for each job, with everything on it.
    ///
    /// The names are those of `ExportJob` in proto/baywright/v1/export.proto
    /// and carry their units. 0 stands for a time, seq or number that there is
    /// none of; null for a figure that is not known.
    #[command(after_help = "\
Examples:
  bay export json --out jobs.jsonl
  bay export json --from 2026-11-01 --to 2026-11-30 --out november.jsonl")]
    Json(JobsArgs),
    /// An event log (IEEE 1849, XES) for process mining.
    ///
    /// A trace is a job. Each stretch of one worker on one stage without a
    /// break is a `start` and a `complete` event of its own, so a pause is the
    /// time between a complete and the next start of that stage, and the time
    /// from start to complete is hands-on time, exactly. The stretches of one
    /// run of a stage share the attribute `run`; what still runs has no
    /// complete event. Jobs without hands-on time are traces without events.
    /// Labour stated at release has no times and is not in it.
    #[command(after_help = "\
Examples:
  bay export xes --out shop.xes
  bay export xes --as-of 4812 --out then.xes")]
    Xes(JobsArgs),
}

#[derive(Debug, Args)]
struct CsvArgs {
    /// What a row is.
    #[arg(value_enum, default_value_t = What::Events)]
    what: What,
    #[command(flatten)]
    jobs: JobsArgs,
}

#[derive(Debug, Default, Args)]
struct JobsArgs {
    /// Jobs opened or released from this day on: 2026-11-01.
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// Up to this day and with it.
    #[arg(long, value_name = "DATE")]
    to: Option<String>,
    /// As it was after this event; else each job as it is when it is read.
    #[arg(long, value_name = "SEQ")]
    as_of: Option<u64>,
    /// Write into this file; it appears when it is whole. Without: standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// One row for each event of the log.
    Events,
    /// One row for each job.
    Jobs,
    /// One row for each stretch of one worker on one stage.
    Stages,
    /// One row for each product in each use.
    Uses,
}

fn csv_help() -> String {
    let mut help = "Examples:\n  bay export csv --out events.csv\n  \
         bay export csv jobs --from 2026-11-01 --to 2026-11-30 --out november.csv\n"
        .to_owned();
    let sheets = [
        ("events", &row::COLUMNS[..]),
        ("jobs", sheet::JOB_COLUMNS),
        ("stages", sheet::STAGE_COLUMNS),
        ("uses", sheet::USE_COLUMNS),
    ];
    for (name, columns) in sheets {
        let _ = writeln!(help, "\nColumns of {name}:");
        for (column, meaning) in columns {
            let _ = writeln!(help, "  {column:<21}{meaning}");
        }
    }
    help
}

/// The forms that jobs are written in.
pub const FORMS: [&str; 5] = ["jobs", "stages", "uses", "json", "xes"];

/// Jobs in one of [`FORMS`], as [`run`] writes them; for checks that have no
/// daemon to ask.
pub fn written(form: &str, parts: &[v1::export_jobs_response::Part]) -> Result<String, Error> {
    let mut out = Vec::new();
    let done = match form {
        "jobs" => jobs::write_parts(parts, &mut Sheet::new(&mut out, sheet::JOBS)),
        "stages" => jobs::write_parts(parts, &mut Sheet::new(&mut out, sheet::STAGES)),
        "uses" => jobs::write_parts(parts, &mut Sheet::new(&mut out, sheet::USES)),
        "xes" => jobs::write_parts(parts, &mut xes::Xes::new(&mut out)),
        _ => jobs::write_parts(parts, &mut jobs::Lines::new(&mut out)),
    };
    match done {
        Ok(()) => String::from_utf8(out).map_err(|e| Error::internal(e.to_string())),
        Err(out::Failure::Other(error)) => Err(error),
        Err(out::Failure::Closed) => Err(Error::internal("The writer was closed.")),
    }
}

/// Streams what was asked for into the file or to standard output.
pub fn run(context: &Context, args: &ExportArgs) -> Result<Outcome, Error> {
    match &args.format {
        Format::Csv(csv) => match csv.what {
            What::Events => all_events(context, &csv.jobs),
            What::Jobs => all_jobs(context, &csv.jobs, "jobs", |out| {
                Sheet::new(out, sheet::JOBS)
            }),
            What::Stages => all_jobs(context, &csv.jobs, "stages", |out| {
                Sheet::new(out, sheet::STAGES)
            }),
            What::Uses => all_jobs(context, &csv.jobs, "uses", |out| {
                Sheet::new(out, sheet::USES)
            }),
        },
        Format::Json(args) => all_jobs(context, args, "jobs", jobs::Lines::new),
        Format::Xes(args) => all_jobs(context, args, "traces", xes::Xes::new),
    }
}

fn all_events(context: &Context, args: &JobsArgs) -> Result<Outcome, Error> {
    if args.from.is_some() || args.to.is_some() || args.as_of.is_some() {
        return Err(Error::usage(
            "Events are exported whole: a part of the log cannot be checked.",
        )
        .with_hint("Leave --from, --to and --as-of out, or export jobs, stages or uses."));
    }
    let zone = shop_zone(context)?;
    let written = out::write(args.out.as_deref(), |out, show| {
        events::write(context, &zone, out, show)
    })?;
    Ok(outcome(written.as_ref(), args, "rows"))
}

fn all_jobs<F: Form>(
    context: &Context,
    args: &JobsArgs,
    what: &str,
    form: impl Fn(Box<dyn std::io::Write>) -> F,
) -> Result<Outcome, Error> {
    let request = request(context, args)?;
    let written = out::write(args.out.as_deref(), |out, show| {
        jobs::write(context, request, form(out), show)
    })?;
    Ok(outcome(written.as_ref(), args, what))
}

fn request(context: &Context, args: &JobsArgs) -> Result<v1::ExportJobsRequest, Error> {
    let (mut from_us, mut until_us) = (0, 0);
    if args.from.is_some() || args.to.is_some() {
        let zone = shop_zone(context)?;
        let day = |typed: &Option<String>| -> Result<Option<(Micros, Micros)>, Error> {
            let day = typed.as_deref().map(date).transpose()?;
            Ok(day.map(|day| day_range(day, &zone)))
        };
        from_us = day(&args.from)?.map_or(0, |(from, _)| from.0);
        until_us = day(&args.to)?.map_or(0, |(_, until)| until.0);
        if from_us != 0 && until_us != 0 && until_us <= from_us {
            return Err(Error::usage("The span ends before it begins.")
                .with_hint("Give --from the first day and --to the last one."));
        }
    }
    Ok(v1::ExportJobsRequest {
        from_us,
        until_us,
        as_of_seq: args.as_of.unwrap_or(0),
    })
}

fn date(typed: &str) -> Result<Date, Error> {
    typed.parse().map_err(|_| {
        Error::usage(format!("`{typed}` is not a day.")).with_hint("For example 2026-11-30.")
    })
}

/// What was written where, for the person and for a script; nothing where it
/// went to standard output.
fn outcome(written: Option<&Written>, args: &JobsArgs, what: &str) -> Outcome {
    let Some((written, path)) = written.zip(args.out.as_ref()) else {
        return Outcome::written();
    };
    let one = what.strip_suffix('s').unwrap_or(what);
    let mut text = crate::render::figure::counted(written.rows, one, what);
    if written.loose > 0 && written.loose_left_out {
        let uses = crate::render::figure::counted(written.loose, "use", "uses");
        let _ = write!(text, "; {uses} on no job are in `csv uses`");
    }
    let text = format!("{text} in {}.", path.display());
    let json = json!({ "export": {
        "rows": written.rows,
        "what": what,
        "file": path,
        "as_of_seq": written.as_of_seq,
    } });
    Outcome::new(text, json)
}

/// The zone of the shop as the daemon has it now, else UTC.
fn shop_zone(context: &Context) -> Result<TimeZone, Error> {
    let response = context.call_within(CALL_MS_MAX, "the catalogue", async |channel| {
        CatalogueServiceClient::new(channel)
            .get_catalogue(v1::GetCatalogueRequest::default())
            .await
    })?;
    let shop = response.catalogue.and_then(|c| c.shop);
    Ok(shop.map_or(TimeZone::UTC, |shop| zone_named(&shop.zone)))
}
