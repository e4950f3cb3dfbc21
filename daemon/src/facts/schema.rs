//! The facts database: its pragmas, tables and what it says about itself.

use std::path::Path;

use rusqlite::{Connection, OpenFlags, OptionalExtension as _};
use sha2::{Digest as _, Sha256};

use super::{FactsError, numbers, rows, touched, views};

/// Grows whenever the same log would fold to other rows or another state.
///
/// Tables that changed shape are noticed by themselves ([`layout_print`]), and
/// a build of another version always rebuilds.
pub(crate) const FOLD_VERSION: u32 = 6;

/// Waiting for a lock: only a person's own look into the file can hold one.
const BUSY_MS_MAX: u64 = 5_000;

/// Prepared statements kept by a connection: one insert and one delete for each
/// row table, a few reads, the index.
const STATEMENTS_KEPT: usize = 192;

const TABLES: &str = "
CREATE TABLE facts (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  made_by TEXT NOT NULL,
  layout BLOB NOT NULL,
  zones BLOB NOT NULL,
  log_id BLOB NOT NULL,
  epoch INTEGER NOT NULL,
  cursor_seq INTEGER NOT NULL,
  catalogue_seq INTEGER NOT NULL,
  live TEXT NOT NULL
) STRICT;
CREATE TABLE event (
  seq INTEGER PRIMARY KEY,
  event_id BLOB NOT NULL,
  occurred_us INTEGER NOT NULL,
  device TEXT NOT NULL,
  device_seq INTEGER NOT NULL,
  kind TEXT NOT NULL,
  overlay INTEGER NOT NULL,
  target BLOB,
  struck INTEGER NOT NULL,
  settled TEXT
) STRICT;
CREATE TABLE quote_number (
  number INTEGER PRIMARY KEY,
  quote BLOB NOT NULL UNIQUE,
  seq INTEGER NOT NULL
) STRICT;
CREATE TABLE checkpoint (
  at_us INTEGER PRIMARY KEY,
  state TEXT NOT NULL
) STRICT;
";

// `overlay` is set on strikes, settlements and catalogue changes, `target` on
// the first two; `settled` holds the answers in force.

/// The event index is needed while a rebuild folds, the others only after it.
const EVENT_INDICES: &str = "
CREATE UNIQUE INDEX event_by_id ON event (event_id);
CREATE INDEX event_by_position ON event (occurred_us, device, device_seq);
CREATE INDEX event_overlay ON event (seq) WHERE overlay = 1;
CREATE INDEX event_by_target ON event (target) WHERE target IS NOT NULL;
CREATE INDEX event_struck ON event (occurred_us) WHERE struck = 1;
";

/// How safely a connection writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Care {
    /// The live file: a killed process loses nothing that was committed, a
    /// lost power loses at most the latest commits, which are folded again.
    Live,
    /// A file that is thrown away unless it is finished.
    Building,
}

/// Opens a file for the writer, making it where it is missing.
pub(crate) fn open_writer(path: &Path, care: Care) -> Result<Connection, FactsError> {
    let conn = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    prepare(&conn)?;
    match care {
        Care::Live => {
            // Readers do not block the writer, nor it them.
            let mode: String = conn.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))?;
            if mode != "wal" {
                return Err(FactsError::Damaged(format!(
                    "its journal mode stayed {mode}: the data directory must be on a local disk"
                )));
            }
            // The log is the truth; facts are folded again after a power loss.
            conn.pragma_update(None, "synchronous", "NORMAL")?;
        }
        Care::Building => {
            conn.pragma_update(None, "journal_mode", "OFF")?;
            conn.pragma_update(None, "synchronous", "OFF")?;
            // Nobody else knows the file, so it need not be locked each time.
            conn.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
        }
    }
    Ok(conn)
}

/// A database that lives as long as its connection.
pub(crate) fn open_in_memory() -> Result<Connection, FactsError> {
    let conn = Connection::open_in_memory()?;
    prepare(&conn)?;
    Ok(conn)
}

/// A database on the disk that nobody else can find; it goes with its
/// connection. For folds of the past that are read for longer than a moment.
pub(crate) fn open_unnamed() -> Result<Connection, FactsError> {
    // Opened before `prepare` would put it into memory.
    let conn = Connection::open("")?;
    prepare(&conn)?;
    // Sorting for the indices would otherwise hold all rows.
    conn.pragma_update(None, "temp_store", "FILE")?;
    conn.pragma_update(None, "journal_mode", "OFF")?;
    conn.pragma_update(None, "synchronous", "OFF")?;
    Ok(conn)
}

/// Opens the live file for reading.
pub(crate) fn open_reader(path: &Path) -> Result<Connection, FactsError> {
    let conn = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )?;
    prepare(&conn)?;
    conn.pragma_update(None, "query_only", true)?;
    Ok(conn)
}

fn prepare(conn: &Connection) -> rusqlite::Result<()> {
    conn.busy_timeout(std::time::Duration::from_millis(BUSY_MS_MAX))?;
    conn.set_prepared_statement_cache_capacity(STATEMENTS_KEPT);
    // 16 MiB of pages: the working set of a year of a small shop.
    conn.pragma_update(None, "cache_size", -16_384)?;
    conn.pragma_update(None, "temp_store", "MEMORY")?;
    Ok(())
}

/// Makes the tables, the views and the event index; row indices come with [`index_rows`].
pub(crate) fn create(conn: &Connection) -> rusqlite::Result<()> {
    conn.execute_batch(TABLES)?;
    conn.execute_batch(touched::TABLES)?;
    conn.execute_batch(numbers::TABLES)?;
    conn.execute_batch(EVENT_INDICES)?;
    conn.execute_batch(&rows::tables_ddl())?;
    conn.execute_batch(&views::ddl())
}

/// Makes the indices of the row tables: cheaper after the rows than before.
pub(crate) fn index_rows(conn: &Connection) -> rusqlite::Result<()> {
    conn.execute_batch(&rows::indices_ddl())
}

/// Hash of the layout, so that a changed table is noticed without a number.
pub(crate) fn layout_print() -> [u8; 32] {
    print_with(&views::ddl())
}

/// As [`layout_print`], with views of this text.
pub(crate) fn print_with(views: &str) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(TABLES);
    hash.update(touched::TABLES);
    hash.update(numbers::TABLES);
    hash.update(EVENT_INDICES);
    hash.update(rows::tables_ddl());
    hash.update(rows::indices_ddl());
    hash.update(views);
    hash.finalize().into()
}

/// The build and fold that rows belong to.
pub(crate) fn made_by() -> String {
    format!("{} fold {FOLD_VERSION}", env!("CARGO_PKG_VERSION"))
}

/// What the database says about itself.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct About {
    pub(crate) made_by: String,
    pub(crate) layout: Vec<u8>,
    /// Offsets of the shop's zones as they were when its rows were folded.
    pub(crate) zones: Vec<u8>,
    pub(crate) log_id: Vec<u8>,
    pub(crate) epoch: u64,
    /// The last seq folded.
    pub(crate) cursor_seq: u64,
    /// The latest catalogue_set folded; 0: none.
    pub(crate) catalogue_seq: u64,
    /// The live state, JSON.
    pub(crate) live: String,
}

/// Reads what the database says about itself; `None` where it says nothing.
pub(crate) fn read_about(conn: &Connection) -> rusqlite::Result<Option<About>> {
    conn.prepare_cached(
        "SELECT made_by, layout, zones, log_id, epoch, cursor_seq, catalogue_seq, live FROM facts",
    )?
    .query_row([], |row| {
        Ok(About {
            made_by: row.get(0)?,
            layout: row.get(1)?,
            zones: row.get(2)?,
            log_id: row.get(3)?,
            epoch: unsigned(row.get(4)?),
            cursor_seq: unsigned(row.get(5)?),
            catalogue_seq: unsigned(row.get(6)?),
            live: row.get(7)?,
        })
    })
    .optional()
}

/// Writes what the database says about itself.
pub(crate) fn write_about(conn: &Connection, about: &About) -> rusqlite::Result<()> {
    conn.prepare_cached(
        "INSERT OR REPLACE INTO facts
           (one, made_by, layout, zones, log_id, epoch, cursor_seq, catalogue_seq, live)
         VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?
    .execute((
        &about.made_by,
        &about.layout,
        &about.zones,
        &about.log_id,
        signed(about.epoch),
        signed(about.cursor_seq),
        signed(about.catalogue_seq),
        &about.live,
    ))?;
    Ok(())
}

/// SQLite's integers are signed; facts write only values that are not negative.
pub(crate) fn unsigned(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(0)
}

/// A number as SQLite takes it; seqs stay far below the limit.
pub(crate) fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}
