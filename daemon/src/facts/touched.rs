//! Which jobs' rows changed since a seq, so that what is learned of a job is
//! read again only where it may have changed. A superset: a refold that puts
//! the same rows back touches their job too.
//!
//! It can be dropped: a rebuild marks every job with its own seq, and a reader
//! that knows nothing reads them all.

use std::collections::BTreeSet;

use baywright_floor::event::{EventId, JobKey};
use baywright_floor::row::{Emitted, Row};
use rusqlite::Connection;

use super::schema::signed;

pub(crate) const TABLES: &str = "
CREATE TABLE job_touched (
  job BLOB PRIMARY KEY,
  seq INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX job_touched_by_seq ON job_touched (seq);
";

/// Stands for the jobs from before the log, which have no key of this kind.
const PAST: [u8; 0] = [];

/// Whose rows changed.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Touched {
    pub jobs: BTreeSet<JobKey>,
    /// Jobs from before the log.
    pub past: bool,
}

impl Touched {
    /// Notes a row that is put. Rows that nothing is learned from, as notices
    /// and air readings, are passed over: most posts touch nothing.
    pub(crate) fn put(&mut self, emitted: &Emitted) {
        let job = match &emitted.row {
            Row::JobOpened(row) => Some(row.job),
            Row::HandsOn(row) => Some(row.job),
            Row::Waiting(row) => Some(row.job),
            Row::Presence(row) => Some(row.job),
            Row::Use(row) => row.job,
            Row::JobReleased { job, .. } | Row::Declared { job, .. } => Some(*job),
            Row::Past(_) => {
                self.past = true;
                None
            }
            _ => None,
        };
        self.jobs.extend(job);
    }

    /// Writes down that `seq` touched them; 0: nobody is told, as in a rebuild.
    pub(crate) fn write(&self, conn: &Connection, seq: u64) -> rusqlite::Result<()> {
        if seq == 0 {
            return Ok(());
        }
        let mut statement = conn.prepare_cached(
            "INSERT INTO job_touched VALUES (?1, ?2)
             ON CONFLICT (job) DO UPDATE SET seq = excluded.seq WHERE seq < excluded.seq",
        )?;
        for job in &self.jobs {
            statement.execute((job.0, signed(seq)))?;
        }
        if self.past {
            statement.execute((PAST, signed(seq)))?;
        }
        Ok(())
    }
}

/// Marks everything, after a rebuild up to `seq`.
pub(crate) fn all(conn: &Connection, seq: u64) -> rusqlite::Result<()> {
    conn.execute(
        "INSERT OR REPLACE INTO job_touched SELECT DISTINCT job, ?1 FROM job",
        [signed(seq)],
    )?;
    conn.execute(
        "INSERT OR REPLACE INTO job_touched VALUES (?1, ?2)",
        (PAST, signed(seq)),
    )?;
    Ok(())
}

/// What was touched after `seq`.
pub(crate) fn since(conn: &Connection, seq: u64) -> rusqlite::Result<Touched> {
    let mut statement = conn.prepare_cached("SELECT job FROM job_touched WHERE seq > ?1")?;
    let mut rows = statement.query([signed(seq)])?;
    let mut touched = Touched::default();
    while let Some(row) = rows.next()? {
        match <[u8; 16]>::try_from(row.get_ref(0)?.as_blob()?) {
            Ok(job) => {
                touched.jobs.insert(EventId(job));
            }
            Err(_) => touched.past = true,
        }
    }
    Ok(touched)
}
