//! How `log.db` is laid out and opened.

use std::path::Path;

use rusqlite::{Connection, OpenFlags, OptionalExtension as _};

use super::JournalError;

/// File name of the log in the data directory.
pub const LOG_FILE: &str = "log.db";

/// Layout of `log.db` that this build writes, kept in `user_version`.
pub const FORMAT_VERSION: i64 = 1;

/// Marks the file as a Baywright log ("BayL"), so that another database is not taken for one.
const APPLICATION_ID: i64 = 0x4261_794c;

/// Longest wait for a lock another process holds on the file, milliseconds.
/// Only a `verify` or a backup beside the daemon can hold one, and briefly.
const BUSY_MS_MAX: u64 = 2_000;

/// Pages in the write-ahead log after which it is moved into the file: about
/// 4 MB, so that the file stays small and a start replays little.
const CHECKPOINT_PAGES: i64 = 1_000;

/// Statements kept prepared on a connection: every one the journal uses.
const STATEMENTS_CACHED: usize = 32;

/// The tables. `record` holds what the chain covers; the other columns repeat
/// what is in the record, so that it can be found. `boot_clock` is derived: the
/// latest delivery of each boot of a device, written in the record's transaction.
const TABLES: &str = "
CREATE TABLE meta (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    log_id  BLOB    NOT NULL CHECK (length(log_id) = 16),
    epoch   INTEGER NOT NULL
) STRICT;

CREATE TABLE record (
    seq        INTEGER PRIMARY KEY,
    event_id   BLOB    NOT NULL UNIQUE CHECK (length(event_id) = 16),
    device     TEXT    NOT NULL,
    device_seq INTEGER NOT NULL CHECK (device_seq > 0),
    job_number INTEGER,
    record     BLOB    NOT NULL,
    hash       BLOB    NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE UNIQUE INDEX record_of_device ON record (device, device_seq);
CREATE UNIQUE INDEX record_of_job ON record (job_number) WHERE job_number IS NOT NULL;

CREATE TRIGGER record_keeps_every_row BEFORE DELETE ON record BEGIN
    SELECT RAISE(ABORT, 'the log is append-only: a record is never deleted');
END;
CREATE TRIGGER record_keeps_every_value BEFORE UPDATE ON record BEGIN
    SELECT RAISE(ABORT, 'the log is append-only: a record is never changed');
END;
-- INSERT OR REPLACE deletes without the trigger above, so it is refused here.
CREATE TRIGGER record_is_gapless BEFORE INSERT ON record
WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM record)
  OR EXISTS (SELECT 1 FROM record WHERE event_id = NEW.event_id)
  OR EXISTS (SELECT 1 FROM record WHERE device = NEW.device AND device_seq >= NEW.device_seq)
  OR EXISTS (SELECT 1 FROM record WHERE job_number = NEW.job_number)
BEGIN
    SELECT RAISE(ABORT, 'the log is append-only: a record takes the next seq and replaces none');
END;
CREATE TRIGGER meta_keeps_its_row BEFORE DELETE ON meta BEGIN
    SELECT RAISE(ABORT, 'the log keeps its identity');
END;
CREATE TRIGGER meta_keeps_the_log_id BEFORE UPDATE OF id, log_id ON meta BEGIN
    SELECT RAISE(ABORT, 'the log keeps its identity');
END;

CREATE TABLE boot_clock (
    device  TEXT    NOT NULL,
    boot_id TEXT    NOT NULL,
    boot_us INTEGER NOT NULL,
    true_us INTEGER NOT NULL,
    PRIMARY KEY (device, boot_id)
) STRICT, WITHOUT ROWID;
";

/// Opens the log for the one writer; makes it where there is none.
pub(crate) fn open_writer(path: &Path) -> Result<Connection, JournalError> {
    make_private(path).map_err(JournalError::File)?;
    let mut conn = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    set_writer_pragmas(&conn)?;
    let tx = conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    if tx.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))? == 0 {
        let tables: i64 =
            tx.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        if tables != 0 {
            return Err(JournalError::NotALog);
        }
        tx.execute_batch(TABLES)?;
        // SQLite seeds its generator from the operating system's.
        tx.execute(
            "INSERT INTO meta (id, log_id, epoch) VALUES (1, randomblob(16), 1)",
            [],
        )?;
        tx.pragma_update(None, "application_id", APPLICATION_ID)?;
        tx.pragma_update(None, "user_version", FORMAT_VERSION)?;
    }
    tx.commit()?;
    check_format(&conn)?;
    Ok(conn)
}

/// Makes an empty file for its owner alone where there is none. SQLite gives
/// the files beside it the same permissions, and takes an empty file for a new database.
fn make_private(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt as _;
    std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(path)
        .map(drop)
}

/// Opens the log for reading only; beside a running daemon too.
pub(crate) fn open_reader(path: &Path) -> Result<Connection, JournalError> {
    let conn = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    conn.busy_timeout(std::time::Duration::from_millis(BUSY_MS_MAX))?;
    conn.set_prepared_statement_cache_capacity(STATEMENTS_CACHED);
    // A file that was cut off is then read as far as it goes, and not refused
    // as a whole; this connection writes nothing in any case.
    conn.pragma_update(None, "writable_schema", true)?;
    check_format(&conn)?;
    Ok(conn)
}

/// Opens a copy of a log for reading only: without locks, which a network
/// share may not have and which nobody else would take.
pub(crate) fn open_copy(path: &Path) -> Result<Connection, JournalError> {
    let conn = Connection::open_with_flags_and_vfs(
        path,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        "unix-none",
    )?;
    conn.pragma_update(None, "trusted_schema", false)?;
    conn.pragma_update(None, "cell_size_check", true)?;
    check_format(&conn)?;
    Ok(conn)
}

/// Every setting of the writer's connection, each with its reason.
fn set_writer_pragmas(conn: &Connection) -> Result<(), JournalError> {
    conn.busy_timeout(std::time::Duration::from_millis(BUSY_MS_MAX))?;
    conn.set_prepared_statement_cache_capacity(STATEMENTS_CACHED);
    // Readers go on while the writer commits, and a commit is one flush of one file.
    let mode: String =
        conn.pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0))?;
    if !mode.eq_ignore_ascii_case("wal") {
        return Err(JournalError::NoWriteAheadLog { mode });
    }
    // NORMAL loses the last commits at a power cut, and those were acknowledged.
    conn.pragma_update(None, "synchronous", "full")?;
    // Where the system's flush does not reach the disk, ask for the one that does (only macOS has it).
    conn.pragma_update(None, "fullfsync", true)?;
    conn.pragma_update(None, "checkpoint_fullfsync", true)?;
    conn.pragma_update(None, "wal_autocheckpoint", CHECKPOINT_PAGES)?;
    // REPLACE then fires the triggers against DELETE as well.
    conn.pragma_update(None, "recursive_triggers", true)?;
    // A damaged page is noticed when it is read, not when its content is used.
    conn.pragma_update(None, "cell_size_check", true)?;
    // The schema of a file that someone swapped must not run functions with effects.
    conn.pragma_update(None, "trusted_schema", false)?;
    Ok(())
}

fn check_format(conn: &Connection) -> Result<(), JournalError> {
    let application: i64 = conn.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let found: i64 = conn.pragma_query_value(None, "user_version", |row| row.get(0))?;
    if application != APPLICATION_ID {
        return Err(JournalError::NotALog);
    }
    if found != FORMAT_VERSION {
        return Err(JournalError::OtherFormat { found });
    }
    Ok(())
}

/// Log id and epoch.
pub(crate) fn read_meta(conn: &Connection) -> Result<super::Meta, JournalError> {
    conn.query_row("SELECT log_id, epoch FROM meta WHERE id = 1", [], |row| {
        Ok(super::Meta {
            log_id: row.get(0)?,
            epoch: super::from_sql(row.get(1)?),
        })
    })
    .optional()?
    .ok_or(JournalError::NotALog)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_log_has_a_random_identity_and_takes_no_update_or_delete() {
        let dir = tempfile::tempdir().unwrap();
        let conn = open_writer(&dir.path().join("a.db")).unwrap();
        let other = open_writer(&dir.path().join("b.db")).unwrap();
        assert_ne!(
            read_meta(&conn).unwrap().log_id,
            read_meta(&other).unwrap().log_id
        );
        conn.execute(
            "INSERT INTO record (seq, event_id, device, device_seq, record, hash)
             VALUES (1, zeroblob(16), 'd', 1, x'00', zeroblob(32))",
            [],
        )
        .unwrap();
        for refused in [
            "UPDATE record SET record = x'01'",
            "UPDATE record SET hash = zeroblob(32)",
            "DELETE FROM record",
            "INSERT OR REPLACE INTO record (seq, event_id, device, device_seq, record, hash)
             VALUES (1, zeroblob(16), 'd', 1, x'01', zeroblob(32))",
            "INSERT OR REPLACE INTO record (seq, event_id, device, device_seq, record, hash)
             VALUES (2, zeroblob(16), 'd', 2, x'01', zeroblob(32))",
            "INSERT INTO record (seq, event_id, device, device_seq, record, hash)
             VALUES (3, x'00112233445566778899aabbccddeeff', 'd', 3, x'01', zeroblob(32))",
            "UPDATE meta SET log_id = zeroblob(16)",
            "DELETE FROM meta",
        ] {
            let error = conn.execute(refused, []).unwrap_err().to_string();
            assert!(
                error.contains("append-only") || error.contains("identity"),
                "{refused}: {error}"
            );
        }
        // Another connection without our settings is refused as well.
        let plain = Connection::open(dir.path().join("a.db")).unwrap();
        assert!(plain.execute("DELETE FROM record", []).is_err());
        assert!(plain.execute("UPDATE record SET device = 'e'", []).is_err());
        let kept: Vec<u8> = plain
            .query_row("SELECT record FROM record WHERE seq = 1", [], |row| {
                row.get(0)
            })
            .unwrap();
        assert_eq!(kept, [0]);
    }

    #[test]
    fn another_database_is_not_taken_for_a_log() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("x.db");
        Connection::open(&path)
            .unwrap()
            .execute_batch("CREATE TABLE t (x)")
            .unwrap();
        assert!(matches!(open_writer(&path), Err(JournalError::NotALog)));
        assert!(matches!(open_reader(&path), Err(JournalError::NotALog)));
    }
}
