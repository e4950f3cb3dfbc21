//! Walking the chain: is the log what was appended, byte for byte?

use super::JournalError;
use super::chain::Hash;
use super::reader::{LogEntry, LogReader};

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
    let from = genesis(log)?;
    let head = head(log, from)?;
    let whole = walk(log, from, head, &mut progress)?;
    if whole.seq == head {
        check_indices(log, head)?;
    }
    Ok(whole)
}

/// Walks the last [`TAIL_RECORDS`] records.
pub fn verify_tail(log: &LogReader) -> Result<Whole, Broken> {
    let genesis = genesis(log)?;
    let head = head(log, genesis)?;
    let before = head.saturating_sub(TAIL_RECORDS);
    let from = if before == 0 {
        genesis
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

fn genesis(log: &LogReader) -> Result<From, Broken> {
    let meta = log.meta().map_err(|error| unreadable(0, &error))?;
    Ok(From {
        seq: 0,
        hash: Hash::genesis(&meta.log_id),
        received_us: i64::MIN,
    })
}

/// The last seq. Where the end of the table cannot be read, the whole log is
/// walked, since the first bad seq is what has to be named.
fn head(log: &LogReader, genesis: From) -> Result<u64, Broken> {
    log.head_seq().or_else(|error| {
        let whole = walk(log, genesis, u64::MAX, &mut |_, _| true)?;
        Err(unreadable(whole.seq + 1, &error))
    })
}

/// Walks up to `head`; one that is [`u64::MAX`] is not known, so that the walk ends where the log does.
fn walk(
    log: &LogReader,
    from: From,
    head: u64,
    progress: &mut impl FnMut(u64, u64) -> bool,
) -> Result<Whole, Broken> {
    let mut at = from;
    while at.seq < head {
        // A page fails as a whole; one record tells which of them it was.
        let page = log
            .records_after(at.seq, PAGE_RECORDS)
            .or_else(|_| log.records_after(at.seq, 1))
            .map_err(|error| unreadable(at.seq + 1, &error))?;
        if page.is_empty() {
            if head == u64::MAX {
                break;
            }
            return Err(missing(at.seq + 1));
        }
        for entry in page.iter().take_while(|entry| entry.seq <= head) {
            at = check(at, entry)?;
            check_found(log, entry)?;
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

/// Checks that each index finds the record, and no other: the daemon looks up
/// there what it holds already.
fn check_found(log: &LogReader, entry: &LogEntry) -> Result<(), Broken> {
    let found = log
        .found_by_index(entry)
        .map_err(|error| unreadable(entry.seq, &error))?;
    if found {
        return Ok(());
    }
    Err(Broken {
        seq: entry.seq,
        why: "an index does not find it, or finds another record in its place".to_owned(),
    })
}

/// Checks that no index has more than the records.
fn check_indices(log: &LogReader, head: u64) -> Result<(), Broken> {
    match log.first_astray() {
        Ok(None) => Ok(()),
        Ok(Some(seq)) => Err(Broken {
            seq,
            why: "an index has an entry of this seq that no record has".to_owned(),
        }),
        Err(error) => Err(unreadable(head, &error)),
    }
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
