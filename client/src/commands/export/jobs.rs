//! The stream of jobs, and the forms that it is written in.

use std::io::Write;
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::export_jobs_response::Part;
use baywright_proto::v1::export_service_client::ExportServiceClient;
use indicatif::ProgressBar;
use tonic::Streaming;

use super::out::{Failure, Written};
use crate::commands::progress;
use crate::context::Context;
use crate::error::Error;
use crate::screen::escape;

/// Longest wait for the next job: the daemon reads a few of them at a time
/// from its disk.
const NEXT_JOB_MS_MAX: u64 = 30_000;
/// Longest wait for the first answer: an export of the past folds the log
/// first, for which the daemon gives itself two minutes.
const FIRST_MS_MAX: u64 = 130_000;
/// Largest job that is read, bytes. A job of a week is some ten kilobytes; one
/// that somebody forgot to release for years must still come out.
const JOB_BYTES_MAX: usize = 64 * 1024 * 1024;
/// The progress bar moves once in so many jobs; drawing costs more than a row.
const PROGRESS_EVERY: u64 = 20;

/// A form of the jobs; it keeps nothing of those before.
pub(super) trait Form {
    /// Comes first, once.
    fn head(&mut self, head: &v1::ExportHead) -> Result<(), Failure>;
    /// Writes a job and gives how many rows it took.
    fn job(&mut self, job: &v1::ExportJob) -> Result<u64, Failure>;
    /// Writes a use that counts for no job; `None`: there is no place for it.
    fn loose_use(&mut self, used: &v1::ExportUse) -> Result<Option<u64>, Failure>;
    /// Comes last, once.
    fn end(&mut self) -> Result<(), Failure>;
}

/// Writes parts that are there already.
pub(super) fn write_parts(parts: &[Part], form: &mut impl Form) -> Result<(), Failure> {
    for part in parts {
        match part {
            Part::Head(head) => form.head(head)?,
            Part::Job(job) => {
                form.job(job)?;
            }
            Part::LooseUse(used) => {
                form.loose_use(used)?;
            }
        }
    }
    form.end()
}

/// Asks for the jobs and writes each as it comes.
pub(super) fn write(
    context: &Context,
    request: v1::ExportJobsRequest,
    mut form: impl Form,
    show: bool,
) -> Result<Written, Failure> {
    let mut stream = context.call_within(FIRST_MS_MAX, "the jobs", async |channel| {
        ExportServiceClient::new(channel)
            .max_decoding_message_size(JOB_BYTES_MAX)
            .export_jobs(request)
            .await
    })?;
    let mut written = Written::default();
    let mut bar = ProgressBar::hidden();
    let (mut limit_ms, mut jobs) = (FIRST_MS_MAX, 0_u64);
    while let Some(part) = next(context, &mut stream, limit_ms)? {
        match part {
            Part::Head(head) => {
                limit_ms = NEXT_JOB_MS_MAX;
                written.as_of_seq = head.as_of_seq;
                bar = progress::progress(context, show, head.jobs, "jobs");
                form.head(&head)?;
            }
            Part::Job(job) => {
                written.rows += form.job(&job)?;
                jobs += 1;
                if jobs.is_multiple_of(PROGRESS_EVERY) {
                    bar.set_position(jobs);
                }
            }
            Part::LooseUse(used) => {
                written.loose += 1;
                match form.loose_use(&used)? {
                    Some(rows) => written.rows += rows,
                    None => written.loose_left_out = true,
                }
            }
        }
    }
    form.end()?;
    bar.finish_and_clear();
    Ok(written)
}

/// The next part; parts of a newer daemon that this build does not know are
/// passed over.
fn next(
    context: &Context,
    stream: &mut Streaming<v1::ExportJobsResponse>,
    limit_ms: u64,
) -> Result<Option<Part>, Error> {
    let limit = Duration::from_millis(limit_ms);
    loop {
        let message =
            context.block_on(async { tokio::time::timeout(limit, stream.message()).await })?;
        match message {
            Ok(Ok(Some(v1::ExportJobsResponse { part: Some(part) }))) => return Ok(Some(part)),
            Ok(Ok(Some(_))) => {}
            Ok(Ok(None)) => return Ok(None),
            Ok(Err(status)) => return Err(Error::from_status(&status, "the jobs")),
            Err(_) => {
                return Err(Error::unreachable(format!(
                    "The daemon sent no job for {} s.",
                    limit_ms / 1_000
                )));
            }
        }
    }
}

/// JSON lines: one object for each job.
pub(super) struct Lines<W: Write> {
    out: W,
}

impl<W: Write> Lines<W> {
    pub(super) fn new(out: W) -> Self {
        Self { out }
    }
}

impl<W: Write> Form for Lines<W> {
    fn head(&mut self, _: &v1::ExportHead) -> Result<(), Failure> {
        Ok(())
    }

    fn job(&mut self, job: &v1::ExportJob) -> Result<u64, Failure> {
        let line = serde_json::to_string(job).map_err(std::io::Error::from)?;
        self.out.write_all(escape(&line).as_bytes())?;
        self.out.write_all(b"\n")?;
        Ok(1)
    }

    fn loose_use(&mut self, _: &v1::ExportUse) -> Result<Option<u64>, Failure> {
        Ok(None)
    }

    fn end(&mut self) -> Result<(), Failure> {
        Ok(self.out.flush()?)
    }
}
