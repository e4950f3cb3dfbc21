//! Reading the log through a connection of its own, in bounded pages.

use std::path::{Path, PathBuf};

use baywright_proto::v1;
use prost::Message as _;
use rusqlite::{Connection, OptionalExtension as _, Row};

use super::chain::Hash;
use super::restored::{self, Restored};
use super::{JournalError, Meta, from_sql, schema, to_sql};
use crate::facts::{LogSource, LogSources, SourceError, Stored};

/// Most bytes of records in one page; a page holds at least one record. Keeps
/// a reader's memory small when the records are catalogues.
const PAGE_BYTES_MAX: usize = 2 * 1024 * 1024;

/// A record as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogEntry {
    pub seq: u64,
    /// A serialised [`v1::Record`]: what the hash covers.
    pub record: Vec<u8>,
    pub hash: Hash,
    /// What the index says; `verify` compares it with the record.
    pub event_id: Vec<u8>,
    pub device: String,
    pub device_seq: u64,
    /// 0: opens no job.
    pub job_number: u64,
}

impl LogEntry {
    /// Decodes the stored bytes.
    pub fn decode(&self) -> Result<v1::Record, JournalError> {
        v1::Record::decode(self.record.as_slice()).map_err(|source| JournalError::Undecodable {
            seq: self.seq,
            source,
        })
    }
}

/// Reads the log. One per thread; opening it costs well under a millisecond.
#[derive(Debug)]
pub struct LogReader {
    conn: Connection,
}

impl LogReader {
    /// Opens the log of a data directory, read-only.
    pub fn open(data_dir: &Path) -> Result<Self, JournalError> {
        Ok(Self {
            conn: schema::open_reader(&data_dir.join(schema::LOG_FILE))?,
        })
    }

    /// Opens a copy of a log under its own name, read-only. Nobody writes it.
    pub fn open_file(path: &Path) -> Result<Self, JournalError> {
        Ok(Self {
            conn: schema::open_copy(path)?,
        })
    }

    pub fn meta(&self) -> Result<Meta, JournalError> {
        schema::read_meta(&self.conn)
    }

    /// The restore that this epoch began with; `None`: the log never was restored.
    pub fn restored(&self) -> Result<Option<Restored>, JournalError> {
        restored::read(&self.conn)
    }

    /// The connection, for a backup of all that is in the file.
    pub(crate) fn connection(&self) -> &Connection {
        &self.conn
    }

    /// The latest seq; 0 in an empty log.
    pub fn head_seq(&self) -> Result<u64, JournalError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT coalesce(max(seq), 0) FROM record")?;
        Ok(from_sql(statement.query_row([], |row| row.get(0))?))
    }

    /// Up to `limit` records with a greater seq, in order. Fewer than `limit`
    /// does not mean the end: a page is bounded in bytes too. An empty page does.
    pub fn records_after(&self, seq: u64, limit: usize) -> Result<Vec<LogEntry>, JournalError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT seq, record, hash, event_id, device, device_seq, coalesce(job_number, 0) FROM record WHERE seq > ?1 ORDER BY seq LIMIT ?2",
        )?;
        let limit = i64::try_from(limit).unwrap_or(i64::MAX);
        let mut rows = statement.query((to_sql(seq), limit))?;
        let mut page = Vec::new();
        let mut bytes = 0;
        while let Some(row) = rows.next()? {
            let found = entry(row)?;
            bytes += found.record.len();
            page.push(found);
            if bytes >= PAGE_BYTES_MAX {
                break;
            }
        }
        Ok(page)
    }

    /// One record.
    pub fn record(&self, seq: u64) -> Result<Option<LogEntry>, JournalError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT seq, record, hash, event_id, device, device_seq, coalesce(job_number, 0) FROM record WHERE seq = ?1")?;
        Ok(statement.query_row([to_sql(seq)], entry).optional()?)
    }

    /// The record of an event.
    pub fn record_of_event(&self, event_id: &[u8]) -> Result<Option<LogEntry>, JournalError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT seq, record, hash, event_id, device, device_seq, coalesce(job_number, 0) FROM record WHERE event_id = ?1")?;
        Ok(statement.query_row([event_id], entry).optional()?)
    }

    /// Whether every index finds this record by what it holds.
    pub(crate) fn found_by_index(&self, entry: &LogEntry) -> Result<bool, JournalError> {
        let seq = to_sql(entry.seq);
        // Indices that hold all that is asked for, so the table is not looked at.
        let mut of_event = self
            .conn
            .prepare_cached("SELECT 1 FROM record INDEXED BY sqlite_autoindex_record_1 WHERE event_id = ?1 AND seq = ?2")?;
        let mut of_device = self.conn.prepare_cached(
            "SELECT 1 FROM record INDEXED BY record_of_device
             WHERE device = ?1 AND device_seq = ?2 AND seq = ?3",
        )?;
        let mut of_job = self.conn.prepare_cached(
            "SELECT 1 FROM record INDEXED BY record_of_job WHERE job_number = ?1 AND seq = ?2",
        )?;
        Ok(of_event.exists((&entry.event_id, seq))?
            && of_device.exists((&entry.device, to_sql(entry.device_seq), seq))?
            && (entry.job_number == 0 || of_job.exists((to_sql(entry.job_number), seq))?))
    }

    /// The first seq that an index has and the table has not, or has with other values.
    pub(crate) fn first_astray(&self) -> Result<Option<u64>, JournalError> {
        let mut statement = self.conn.prepare(
            "SELECT min(seq) FROM (
               SELECT seq FROM record AS i INDEXED BY record_of_device
               WHERE NOT EXISTS (
                 SELECT 1 FROM record AS t NOT INDEXED
                 WHERE t.seq = i.seq AND t.device = i.device AND t.device_seq = i.device_seq)
               UNION ALL
               SELECT seq FROM record AS i INDEXED BY record_of_job
               WHERE i.job_number IS NOT NULL AND NOT EXISTS (
                 SELECT 1 FROM record AS t NOT INDEXED
                 WHERE t.seq = i.seq AND t.job_number = i.job_number)
               UNION ALL
               SELECT seq FROM record AS i INDEXED BY sqlite_autoindex_record_1
               WHERE NOT EXISTS (
                 SELECT 1 FROM record AS t NOT INDEXED
                 WHERE t.seq = i.seq AND t.event_id = i.event_id))",
        )?;
        let first: Option<i64> = statement.query_row([], |row| row.get(0))?;
        Ok(first.map(from_sql))
    }

    /// The last device_seq held of a device; 0: none.
    pub fn held_device_seq(&self, device: &str) -> Result<u64, JournalError> {
        held_device_seq(&self.conn, device)
    }

    /// The last device_seq of a device up to a seq of the log; 0: none.
    pub fn device_seq_up_to(&self, device: &str, seq: u64) -> Result<u64, JournalError> {
        // Along the index from the latest down: it passes only what came since.
        let mut statement = self.conn.prepare_cached(
            "SELECT device_seq FROM record WHERE device = ?1 AND seq <= ?2 ORDER BY device_seq DESC LIMIT 1",
        )?;
        let found = statement.query_row((device, to_sql(seq)), |row| row.get(0));
        Ok(found.optional()?.map_or(0, from_sql))
    }
}

/// The last device_seq held of a device, by the index; 0: none.
pub(crate) fn held_device_seq(conn: &Connection, device: &str) -> Result<u64, JournalError> {
    let mut statement =
        conn.prepare_cached("SELECT coalesce(max(device_seq), 0) FROM record WHERE device = ?1")?;
    Ok(from_sql(statement.query_row([device], |row| row.get(0))?))
}

pub(crate) fn entry(row: &Row<'_>) -> rusqlite::Result<LogEntry> {
    Ok(LogEntry {
        seq: from_sql(row.get(0)?),
        record: row.get(1)?,
        hash: Hash(row.get(2)?),
        event_id: row.get(3)?,
        device: row.get(4)?,
        device_seq: from_sql(row.get(5)?),
        job_number: from_sql(row.get(6)?),
    })
}

impl From<LogEntry> for Stored {
    fn from(entry: LogEntry) -> Self {
        Self {
            seq: entry.seq,
            record: entry.record,
        }
    }
}

impl LogSource for LogReader {
    fn identity(&mut self) -> Result<([u8; 16], u64), SourceError> {
        let meta = self.meta()?;
        Ok((meta.log_id, meta.epoch))
    }

    fn head(&mut self) -> Result<u64, SourceError> {
        Ok(self.head_seq()?)
    }

    fn after(&mut self, seq: u64, at_most: usize) -> Result<Vec<Stored>, SourceError> {
        let page = self.records_after(seq, at_most)?;
        Ok(page.into_iter().map(Stored::from).collect())
    }

    fn one(&mut self, seq: u64) -> Result<Option<Stored>, SourceError> {
        Ok(self.record(seq)?.map(Stored::from))
    }
}

/// Opens readers of the log in one data directory.
#[derive(Debug, Clone)]
pub struct LogReaders {
    data_dir: PathBuf,
}

impl LogReaders {
    pub fn new(data_dir: &Path) -> Self {
        Self {
            data_dir: data_dir.to_owned(),
        }
    }
}

impl LogSources for LogReaders {
    fn open(&self) -> Result<Box<dyn LogSource>, SourceError> {
        Ok(Box::new(LogReader::open(&self.data_dir)?))
    }
}
