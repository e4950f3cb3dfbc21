//! What a restore leaves in the log: which epochs it began, and which job
//! numbers may still come back.
//!
//! Numbers that were given after the backup are on job cards and in posts that
//! bays hold. So a restored log gives new jobs numbers far above them
//! ([`JOB_NUMBERS_LEFT_FREE`]), and a job whose opening a bay sends again takes
//! the number that it had.

use baywright_proto::v1::{self, TimeBasis};
use baywright_terms::time::Micros;
use rusqlite::{Connection, OptionalExtension as _};

use super::time::in_range;
use super::{JournalError, from_sql, to_sql};

/// Job numbers that a restore leaves free after the last one in the backup, at
/// least: for the jobs opened since. A busy shop opens some twenty a day, so
/// this is a month without a backup.
pub const JOB_NUMBERS_LEFT_FREE: u64 = 500;

/// New numbers begin at the next full thousand and one, so that everybody sees
/// which jobs were opened after the restore.
const JOB_NUMBER_STEP: u64 = 1_000;

/// A bay may ask for an old number this far above the first new one, and no
/// further: after a second restore of one backup it may have been given since
/// the first. The bound keeps a broken bay from using up the numbers.
const JOB_NUMBERS_ABOVE_MAX: u64 = 10_000;

/// Made by the first restore of a log; a log that never was restored has none.
const TABLES: &str = "
CREATE TABLE IF NOT EXISTS restored (
    epoch            INTEGER PRIMARY KEY,
    restored_us      INTEGER NOT NULL,
    seq              INTEGER NOT NULL,
    first_job_number INTEGER NOT NULL
) STRICT;
CREATE TRIGGER IF NOT EXISTS restored_keeps_every_row BEFORE DELETE ON restored BEGIN
    SELECT RAISE(ABORT, 'the log keeps what was restored');
END;
CREATE TRIGGER IF NOT EXISTS restored_keeps_every_value BEFORE UPDATE ON restored BEGIN
    SELECT RAISE(ABORT, 'the log keeps what was restored');
END;
";

/// A restore from a backup.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Restored {
    /// The epoch that began with it.
    pub epoch: u64,
    pub restored_us: i64,
    /// The last seq of the backup: what came after it was lost.
    pub seq: u64,
    /// New jobs get this number or a greater one.
    pub first_job_number: u64,
}

impl Restored {
    /// A restore now of a log that ends with `seq` and the job `last_job_number`.
    ///
    /// The epoch is later than any before it and tells two restores of one
    /// backup apart: it is the time in seconds, unless that has passed already.
    pub fn now(epoch_before: u64, seq: u64, last_job_number: u64, now_us: i64) -> Self {
        let seconds = u64::try_from(now_us / 1_000_000).unwrap_or(0);
        let taken = last_job_number
            .saturating_add(JOB_NUMBERS_LEFT_FREE)
            .div_ceil(JOB_NUMBER_STEP);
        Self {
            epoch: epoch_before.saturating_add(1).max(seconds),
            restored_us: now_us,
            seq,
            first_job_number: taken.saturating_mul(JOB_NUMBER_STEP).saturating_add(1),
        }
    }

    /// Whether a job sent again may ask for the number that it had.
    pub fn may_have_been(&self, job_number: u64) -> bool {
        job_number > 0 && job_number <= self.first_job_number.saturating_add(JOB_NUMBERS_ABOVE_MAX)
    }
}

/// What is taken over from the first receipt of a post that goes out again:
/// nothing, unless the log was restored.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct First {
    occurred: Option<Micros>,
    /// When it had been received; 0: it comes in for the first time.
    pub(crate) received_us: i64,
    /// The number that a job had, where it may ask for it.
    pub(crate) job_number: Option<u64>,
}

impl First {
    pub(crate) fn of(post: &v1::Post, restored: Option<&Restored>, now: Micros) -> Self {
        let (Some(said), Some(restored)) = (&post.first_receipt, restored) else {
            return Self::default();
        };
        let instant = |us: i64| in_range(i128::from(us));
        let occurred = instant(said.occurred_us);
        // A spool of an older build did not keep when it was received, which is
        // shortly after it happened unless it waited.
        let received = instant(said.received_us).or(occurred).unwrap_or(now);
        Self {
            occurred,
            received_us: received.min(now).0,
            job_number: restored
                .may_have_been(said.job_number)
                .then_some(said.job_number),
        }
    }

    /// The instant as it had been acknowledged. Worked out anew it would differ
    /// by how long the post was on its way, now and then. What a person stated
    /// comes out the same.
    pub(crate) fn occurred(&self, found: Micros, basis: TimeBasis) -> (Micros, TimeBasis) {
        match self.occurred {
            Some(at) if basis != TimeBasis::Stated => (at, TimeBasis::FirstReceipt),
            _ => (found, basis),
        }
    }
}

/// The latest restore.
pub(crate) fn read(conn: &Connection) -> Result<Option<Restored>, JournalError> {
    // The table is there only after a restore.
    let there: bool = conn
        .prepare_cached(
            "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'restored'",
        )?
        .query_row([], |row| row.get(0))?;
    if !there {
        return Ok(None);
    }
    let mut statement = conn.prepare_cached(
        "SELECT epoch, restored_us, seq, first_job_number FROM restored ORDER BY epoch DESC LIMIT 1",
    )?;
    let latest = statement.query_row([], |row| {
        Ok(Restored {
            epoch: from_sql(row.get(0)?),
            restored_us: row.get(1)?,
            seq: from_sql(row.get(2)?),
            first_job_number: from_sql(row.get(3)?),
        })
    });
    Ok(latest.optional()?)
}

/// Begins the epoch of a restore in a log that nobody else has open.
pub(crate) fn begin(conn: &Connection, restored: &Restored) -> rusqlite::Result<()> {
    conn.execute_batch(TABLES)?;
    conn.execute(
        "INSERT INTO restored (epoch, restored_us, seq, first_job_number) VALUES (?1, ?2, ?3, ?4)",
        (
            to_sql(restored.epoch),
            restored.restored_us,
            to_sql(restored.seq),
            to_sql(restored.first_job_number),
        ),
    )?;
    conn.execute(
        "UPDATE meta SET epoch = ?1 WHERE id = 1",
        [to_sql(restored.epoch)],
    )?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_restore_begins_a_later_epoch_even_of_the_same_backup_or_with_a_clock_set_back() {
        let noon_us = 1_796_126_400_000_000;
        let first = Restored::now(1, 90, 118, noon_us);
        assert_eq!(first.epoch, 1_796_126_400);
        let again = Restored::now(1, 90, 118, noon_us + 5_000_000);
        assert_ne!(first.epoch, again.epoch);
        let set_back = Restored::now(first.epoch, 90, 118, 0);
        assert_eq!(set_back.epoch, first.epoch + 1);
    }

    #[test]
    fn new_jobs_are_numbered_from_a_thousand_that_leaves_room_for_the_lost_ones() {
        for (last, first_new) in [
            (0, 1_001),
            (118, 1_001),
            (500, 1_001),
            (501, 2_001),
            (1_003, 2_001),
            (u64::MAX, u64::MAX),
        ] {
            let restored = Restored::now(1, 9, last, 0);
            assert_eq!(restored.first_job_number, first_new, "after {last}");
        }
        let restored = Restored::now(1, 9, 118, 0);
        for (number, may) in [
            (0, false),
            (1, true),
            (119, true),
            (11_001, true),
            (11_002, false),
        ] {
            assert_eq!(restored.may_have_been(number), may, "{number}");
        }
    }
}
