//! `bay export csv`: the log as rows for a spreadsheet.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufWriter, IsTerminal as _, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_client::CatalogueServiceClient;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use clap::{Args, Subcommand, ValueEnum};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use jiff::tz::TimeZone;
use serde_json::json;
use tonic::Streaming;

use self::row::COLUMNS;
use crate::answer::Outcome;
use crate::connect::CALL_MS_MAX;
use crate::context::{Context, zone_named};
use crate::error::Error;

mod cell;
mod row;
#[cfg(test)]
mod tests;

/// Longest wait for the next record. The daemon reads them from its disk, so a
/// longer silence is a lost connection.
const NEXT_RECORD_MS_MAX: u64 = 30_000;
/// The progress bar moves once in so many records; drawing costs more than a row.
const PROGRESS_EVERY: u64 = 500;

/// The shop's records for another program.
#[derive(Debug, Args)]
pub struct ExportArgs {
    #[command(subcommand)]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum Format {
    /// Comma-separated values (RFC 4180), one row for each event of the log.
    ///
    /// Texts that a spreadsheet would run as a formula get an apostrophe before
    /// them. Struck events are among the rows and marked.
    #[command(after_help = csv_help())]
    Csv(CsvArgs),
}

#[derive(Debug, Args)]
struct CsvArgs {
    /// What a row is.
    #[arg(value_enum, default_value_t = What::Events)]
    what: What,
    /// Write into this file; it appears when it is whole. Without: standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// One row for each event.
    Events,
}

fn csv_help() -> String {
    let mut help = "Example:\n  bay export csv --out events.csv\n\nColumns:\n".to_owned();
    for (name, meaning) in COLUMNS {
        let _ = writeln!(help, "  {name:<16}{meaning}");
    }
    help
}

/// Streams the log into the file or to standard output.
pub fn run(context: &Context, args: &ExportArgs) -> Result<Outcome, Error> {
    let Format::Csv(csv) = &args.format;
    let What::Events = csv.what;
    let zone = shop_zone(context)?;
    match &csv.out {
        None => {
            let stdout = std::io::stdout();
            let show = !stdout.is_terminal();
            match events(context, &zone, stdout.lock(), show) {
                // The reader of a pipe has seen enough.
                Err(Failure::Closed) | Ok(_) => Ok(Outcome::written()),
                Err(Failure::Other(error)) => Err(error),
            }
        }
        Some(path) => {
            let rows = into_file(context, &zone, path)?;
            let rows_text = crate::render::figure::counted(rows, "row", "rows");
            let text = format!("{rows_text} in {}.", path.display());
            let json = json!({ "export": { "rows": rows, "file": path } });
            Ok(Outcome::new(text, json))
        }
    }
}

enum Failure {
    Closed,
    Other(Error),
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::Other(error)
    }
}

/// Writes beside the file first, so that half an export is never taken for one.
fn into_file(context: &Context, zone: &TimeZone, path: &Path) -> Result<u64, Error> {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = PathBuf::from(name);
    let file = File::create(&part).map_err(|e| Error::file("Writing", &part, &e))?;
    let written = events(context, zone, BufWriter::new(&file), true).and_then(|rows| {
        file.sync_all()
            .and_then(|()| std::fs::rename(&part, path))
            .map_err(|e| Failure::Other(Error::file("Writing", path, &e)))?;
        Ok(rows)
    });
    match written {
        Ok(rows) => Ok(rows),
        Err(failure) => {
            // What is left of it is of no use to anyone.
            let _ = std::fs::remove_file(&part);
            Err(match failure {
                Failure::Closed => Error::internal(format!("Writing {} failed.", path.display())),
                Failure::Other(error) => error,
            })
        }
    }
}

fn events(context: &Context, zone: &TimeZone, out: impl Write, show: bool) -> Result<u64, Failure> {
    let mut csv = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(out);
    csv.write_record(COLUMNS.map(|(name, _)| name))
        .map_err(closed)?;
    let bar = progress(context, show)?;
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = context.call("the log", async |channel| {
        FloorServiceClient::new(channel).watch(request).await
    })?;
    let mut rows = 0_u64;
    while let Some(response) = next(context, &mut stream)? {
        let Some(record) = &response.decoded else {
            continue;
        };
        let cells = row::cells(&response, record, zone);
        csv.write_record(cells.iter().map(|cell| cell.written().into_owned()))
            .map_err(closed)?;
        rows += 1;
        if rows.is_multiple_of(PROGRESS_EVERY) {
            bar.set_position(rows);
        }
    }
    csv.flush().map_err(|e| io_failure(&e))?;
    bar.finish_and_clear();
    Ok(rows)
}

fn next(
    context: &Context,
    stream: &mut Streaming<v1::WatchResponse>,
) -> Result<Option<v1::WatchResponse>, Error> {
    let limit = Duration::from_millis(NEXT_RECORD_MS_MAX);
    let message =
        context.block_on(async { tokio::time::timeout(limit, stream.message()).await })?;
    match message {
        Ok(Ok(message)) => Ok(message),
        Ok(Err(status)) => Err(Error::from_status(&status, "the log")),
        Err(_) => Err(Error::unreachable(format!(
            "The daemon sent no record for {} s.",
            NEXT_RECORD_MS_MAX / 1_000
        ))),
    }
}

fn closed(error: csv::Error) -> Failure {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => io_failure(&error),
        other => Failure::Other(Error::internal(format!(
            "A row could not be written: {other:?}."
        ))),
    }
}

fn io_failure(error: &std::io::Error) -> Failure {
    if error.kind() == std::io::ErrorKind::BrokenPipe {
        Failure::Closed
    } else {
        Failure::Other(Error::internal(format!(
            "The rows could not be written: {error}."
        )))
    }
}

/// A bar on standard error where a person looks at it.
fn progress(context: &Context, show: bool) -> Result<ProgressBar, Error> {
    if !show || context.output.json || !std::io::stderr().is_terminal() {
        return Ok(ProgressBar::hidden());
    }
    let now = context.call("the floor", async |channel| {
        FloorServiceClient::new(channel)
            .now(v1::NowRequest::default())
            .await
    })?;
    let bar = ProgressBar::with_draw_target(Some(now.head_seq), ProgressDrawTarget::stderr());
    // Plain signs, for serial consoles.
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len} events") {
        bar.set_style(style.progress_chars("=> "));
    }
    Ok(bar)
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
