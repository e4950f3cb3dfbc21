//! Walking the chain: is the log what was appended, byte for byte?

use super::chain::Hash;
use super::reader::{LogEntry, LogReader};
use super::{JournalError, Meta};

/// Records read at a time: a few hundred kilobytes.
const PAGE_RECORDS: usize = 512;

/// Records that are checked before a start goes on; the rest is checked beside
/// it. What a power cut can have hurt lies at the end, and this many take
/// a few milliseconds.
pub const TAIL_RECORDS: u64 = 1_024;

/// The first place where the log is not what was appended.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the log is broken at seq {seq}: {why}")]
pub struct Broken {
    pub seq: u64,
    pub why: String,
}

/// A stretch of the log that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whole {
    /// The last seq checked; 0 in an empty log.
    pub seq: u64,
    /// The hash of that record.
    pub hash: Hash,
    pub records: u64,
}

/// A place to begin: the hash of everything up to a seq.
#[derive(Debug, Clone, Copy)]
struct From {
    seq: u64,
    hash: Hash,
    received_us: i64,
}

/// Walks the log from its first record up to its head when the walk began.
/// `progress` is told the seqs done and to do, page by page; it stops the walk by answering `false`.
pub fn verify(
    log: &LogReader,
    mut progress: impl FnMut(u64, u64) -> bool,
) -> Result<Whole, Broken> {
    let (meta, head) = start(log)?;
    let from = From {
        seq: 0,
        hash: Hash::genesis(&meta.log_id),
        received_us: i64::MIN,
    };
    walk(log, from, head, &mut progress)
}

/// Walks the last [`TAIL_RECORDS`] records.
pub fn verify_tail(log: &LogReader) -> Result<Whole, Broken> {
    let (meta, head) = start(log)?;
    let before = head.saturating_sub(TAIL_RECORDS);
    let from = if before == 0 {
        From {
            seq: 0,
            hash: Hash::genesis(&meta.log_id),
            received_us: i64::MIN,
        }
    } else {
        let found = log
            .record(before)
            .map_err(|error| unreadable(before, &error))?;
        let entry = found.ok_or_else(|| missing(before))?;
        From {
            seq: before,
            hash: entry.hash,
            received_us: i64::MIN,
        }
    };
    walk(log, from, head, &mut |_, _| true)
}

fn start(log: &LogReader) -> Result<(Meta, u64), Broken> {
    let meta = log.meta().map_err(|error| unreadable(0, &error))?;
    let head = log.head_seq().map_err(|error| unreadable(0, &error))?;
    Ok((meta, head))
}

fn walk(
    log: &LogReader,
    from: From,
    head: u64,
    progress: &mut impl FnMut(u64, u64) -> bool,
) -> Result<Whole, Broken> {
    let mut at = from;
    while at.seq < head {
        let page = log
            .records_after(at.seq, PAGE_RECORDS)
            .map_err(|error| unreadable(at.seq + 1, &error))?;
        if page.is_empty() {
            return Err(missing(at.seq + 1));
        }
        for entry in page.iter().take_while(|entry| entry.seq <= head) {
            at = check(at, entry)?;
        }
        if !progress(at.seq, head) {
            break;
        }
    }
    Ok(Whole {
        seq: at.seq,
        hash: at.hash,
        records: at.seq - from.seq,
    })
}

/// Checks one record against the one before it.
fn check(before: From, entry: &LogEntry) -> Result<From, Broken> {
    let seq = before.seq + 1;
    let broken = |why: &str| {
        Err(Broken {
            seq,
            why: why.to_owned(),
        })
    };
    if entry.seq != seq {
        return Err(missing(seq));
    }
    let hash = before.hash.then(&entry.record);
    if hash != entry.hash {
        return broken(
            "its hash is not that of the hash before it and its bytes: it, or the record before it, was changed",
        );
    }
    let record = entry.decode().map_err(|error| unreadable(seq, &error))?;
    if record.seq != seq {
        return broken("the record says that it has another seq");
    }
    if record.event_id != entry.event_id || record.device != entry.device {
        return broken("the index names another event or device than the record");
    }
    if record.device_seq != entry.device_seq || record.job_number != entry.job_number {
        return broken("the index gives another device_seq or job number than the record");
    }
    if record.received_us < before.received_us {
        return broken("it was received before the record in front of it");
    }
    Ok(From {
        seq,
        hash,
        received_us: record.received_us,
    })
}

fn missing(seq: u64) -> Broken {
    Broken {
        seq,
        why: "there is no such record".to_owned(),
    }
}

fn unreadable(seq: u64, error: &JournalError) -> Broken {
    let mut why = format!("{error}");
    if let Some(source) = std::error::Error::source(error) {
        why.push_str(": ");
        why.push_str(&source.to_string());
    }
    Broken { seq, why }
}
