//! What is not in the log yet, posted in parts that a kill can fall between.

use std::collections::BTreeSet;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;
use prost::Message as _;

use super::jobs::Read;
use crate::commands::progress::progress;
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::post;

/// Keys of one question. The daemon reads questions of up to 64 KiB, and a key
/// takes eighteen bytes of it.
const KEYS_ASKED_MAX: usize = 2_000;
/// Bytes of one fact: a quarter of what the daemon takes, so that a part is
/// quickly on its disk and little is sent again after a kill.
const PART_BYTES_MAX: usize = 256 * 1024;

/// What an import did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Brought {
    pub(super) events: Vec<u64>,
}

/// Sends what an earlier run has left in the spool. Those jobs are on their
/// way, and would come in twice if the log were asked before.
pub(super) fn settle_spool(context: &Context) -> Result<(), Error> {
    context.channel()?;
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    if device.spool().posts().waiting().is_empty() {
        return Ok(());
    }
    let mut link = context.link();
    context.block_on(device.deliver(&mut *link))??;
    Ok(())
}

/// Of these jobs, the keys that the log has.
pub(super) fn known(context: &Context, jobs: &[Read]) -> Result<BTreeSet<Vec<u8>>, Error> {
    let mut known = BTreeSet::new();
    for asked in jobs.chunks(KEYS_ASKED_MAX) {
        let request = v1::PastKnownRequest {
            keys: asked.iter().map(|job| job.past.key.clone()).collect(),
        };
        let answer =
            context.call_within(REPORT_MS_MAX, "the jobs that it has", async |channel| {
                QuoteServiceClient::new(channel).past_known(request).await
            })?;
        known.extend(answer.known);
    }
    Ok(known)
}

/// Posts the jobs, a part at a time. A part is in the log as a whole or not.
pub(super) fn post(context: &Context, source: &str, jobs: &[&Read]) -> Result<Brought, Error> {
    let total = u64::try_from(jobs.len()).unwrap_or(u64::MAX);
    let bar = progress(context, true, total, "jobs");
    let mut brought = Brought::default();
    let mut done = 0_usize;
    for part in parts(jobs) {
        let recorded = v1::PastRecorded {
            source: source.to_owned(),
            jobs: part.iter().map(|job| job.past.clone()).collect(),
        };
        let mut fact = post::compose(context, Kind::PastRecorded(recorded))?;
        fact.job = None;
        match post::post_online(context, &fact) {
            Ok(said) => brought
                .events
                .extend(said.receipt().map(|receipt| receipt.seq)),
            Err(error) => {
                bar.abandon();
                return Err(after(error, done, jobs.len()));
            }
        }
        done += part.len();
        bar.set_position(u64::try_from(done).unwrap_or(u64::MAX));
    }
    bar.finish_and_clear();
    Ok(brought)
}

/// An error that says how far it came.
fn after(error: Error, done: usize, all: usize) -> Error {
    if done == 0 {
        return error;
    }
    let hint = error.hint().unwrap_or_default().to_owned();
    let message = format!("{} {done} of {all} jobs are in.", error.message());
    let again = "The same command again brings in the rest and nothing twice.";
    Error::new(error.kind(), message).with_hint(format!("{hint} {again}").trim())
}

/// Jobs in their order, as many in a part as fit.
fn parts<'a>(jobs: &'a [&'a Read]) -> Vec<&'a [&'a Read]> {
    let mut parts = Vec::new();
    let (mut from, mut bytes) = (0, 0);
    for (index, job) in jobs.iter().enumerate() {
        let size = job.past.encoded_len();
        if bytes > 0 && bytes + size > PART_BYTES_MAX {
            parts.extend(jobs.get(from..index));
            (from, bytes) = (index, 0);
        }
        bytes += size;
    }
    parts.extend(jobs.get(from..).filter(|rest| !rest.is_empty()));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jobs(count: usize) -> Vec<Read> {
        let job = |index: usize| Read {
            line: u64::try_from(index).unwrap(),
            past: v1::PastJob {
                key: vec![0; 16],
                date: "2025-03-24".to_owned(),
                job_type: "trike-coat".to_owned(),
                vehicle: format!("number {index}"),
                actual_us: 1,
                ..v1::PastJob::default()
            },
        };
        (0..count).map(job).collect()
    }

    #[test]
    fn parts_hold_every_job_once_in_order_and_stay_below_their_bound() {
        for count in [0, 1, 12_000] {
            let jobs = jobs(count);
            let jobs: Vec<&Read> = jobs.iter().collect();
            let parts = parts(&jobs);
            assert_eq!(parts.is_empty(), count == 0);
            assert_eq!(parts.len() > 1, count > 10_000);
            let all: Vec<u64> = parts
                .iter()
                .flat_map(|p| p.iter().map(|j| j.line))
                .collect();
            assert!(all.iter().copied().eq(0..u64::try_from(count).unwrap()));
            for part in parts {
                let bytes: usize = part.iter().map(|job| job.past.encoded_len()).sum();
                assert!(bytes <= PART_BYTES_MAX, "{bytes}");
            }
        }
    }
}
