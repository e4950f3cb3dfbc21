//! The log as rows for a spreadsheet.

use std::io::Write;
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use indicatif::ProgressBar;
use jiff::tz::TimeZone;
use tonic::Streaming;

use super::out::{Failure, Written};
use super::row::{self, COLUMNS};
use crate::commands::progress;
use crate::context::Context;
use crate::error::Error;

/// Longest wait for the next record. The daemon reads them from its disk, so a
/// longer silence is a lost connection.
const NEXT_RECORD_MS_MAX: u64 = 30_000;
/// The progress bar moves once in so many records; drawing costs more than a row.
const PROGRESS_EVERY: u64 = 500;

pub(super) fn write(
    context: &Context,
    zone: &TimeZone,
    out: impl Write,
    show: bool,
) -> Result<Written, Failure> {
    let mut csv = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(out);
    csv.write_record(COLUMNS.map(|(name, _)| name))?;
    let bar = progress(context, show)?;
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = context.call("the log", async |channel| {
        FloorServiceClient::new(channel).watch(request).await
    })?;
    let mut written = Written::default();
    while let Some(response) = next(context, &mut stream)? {
        let Some(record) = &response.decoded else {
            continue;
        };
        let cells = row::cells(&response, record, zone);
        csv.write_record(cells.iter().map(|cell| cell.written().into_owned()))?;
        written.rows += 1;
        written.as_of_seq = record.seq;
        if written.rows.is_multiple_of(PROGRESS_EVERY) {
            bar.set_position(written.rows);
        }
    }
    csv.flush()?;
    bar.finish_and_clear();
    Ok(written)
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

fn progress(context: &Context, show: bool) -> Result<ProgressBar, Error> {
    if !progress::shown(context, show) {
        return Ok(ProgressBar::hidden());
    }
    let now = context.call("the floor", async |channel| {
        FloorServiceClient::new(channel)
            .now(v1::NowRequest::default())
            .await
    })?;
    Ok(progress::progress(context, show, now.head_seq, "events"))
}
