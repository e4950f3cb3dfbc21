//! A backup as a file: what it says of itself, and whether that is true.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OptionalExtension as _};

use super::carried::{self, Carried};
use super::{BackupError, FORMAT_VERSION};
use crate::journal::follow::chain;
use crate::journal::verify::{Whole, verify};
use crate::journal::{LogReader, Meta, from_sql, to_sql};

/// The row that a backup says of itself. The seq and hash are those of the last
/// record it holds: a copy that lost its end would still be a whole chain.
const TABLE: &str = "
CREATE TABLE backup (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    format  INTEGER NOT NULL,
    made_us INTEGER NOT NULL,
    made_by TEXT    NOT NULL,
    seq     INTEGER NOT NULL,
    hash    BLOB    NOT NULL CHECK (length(hash) = 32)
) STRICT;
";

/// What a backup says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Description {
    pub made_us: i64,
    /// The build that made it.
    pub made_by: String,
    pub seq: u64,
    pub hash: [u8; 32],
}

/// A backup that was read from end to end, and is what it says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    pub path: PathBuf,
    pub meta: Meta,
    pub whole: Whole,
    pub description: Description,
    pub carried: Vec<Carried>,
    /// When the last record was received, Unix microseconds; 0: there is none.
    pub last_received_us: i64,
}

/// Writes the description into a copy.
pub(super) fn describe(conn: &Connection, said: &Description) -> rusqlite::Result<()> {
    conn.execute_batch(TABLE)?;
    conn.execute(
        "INSERT INTO backup (id, format, made_us, made_by, seq, hash) VALUES (1, ?1, ?2, ?3, ?4, ?5)",
        (
            FORMAT_VERSION,
            said.made_us,
            &said.made_by,
            to_sql(said.seq),
            said.hash,
        ),
    )?;
    Ok(())
}

/// Reads a backup from end to end: the database's own structure, the whole
/// chain, what it says of itself, what it carries. `progress` is told the
/// records done and to do.
///
/// # Errors
/// If anything about it is not as it was made.
pub fn check(path: &Path, mut progress: impl FnMut(u64, u64)) -> Result<Checked, BackupError> {
    let not_whole = |why: String| BackupError::NotWhole {
        path: path.to_owned(),
        why,
    };
    let log = LogReader::open_file(path).map_err(|error| not_whole(chain(&error)))?;
    let meta = log.meta().map_err(|error| not_whole(chain(&error)))?;
    let conn = log.connection();
    let description = description(path, conn)?;
    // Pages that no record lies on count too: the next restore reads them all.
    let said: String = conn
        .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))
        .map_err(|error| not_whole(error.to_string()))?;
    if said != "ok" {
        return Err(not_whole(said));
    }
    let whole = verify(&log, |done, of| {
        progress(done, of);
        true
    })
    .map_err(|broken| not_whole(broken.to_string()))?;
    if (whole.seq, whole.hash.0) != (description.seq, description.hash) {
        return Err(not_whole(format!(
            "it says that it ends with seq {}, and ends with seq {} of another hash or place",
            description.seq, whole.seq
        )));
    }
    let carried = carried::load(conn).map_err(not_whole)?;
    let last = log.record(whole.seq).map_err(BackupError::Log)?;
    let last_received_us = match last {
        Some(entry) => entry.decode().map_err(BackupError::Log)?.received_us,
        None => 0,
    };
    Ok(Checked {
        path: path.to_owned(),
        meta,
        whole,
        description,
        carried,
        last_received_us,
    })
}

fn description(path: &Path, conn: &Connection) -> Result<Description, BackupError> {
    let not_whole = |why: String| BackupError::NotWhole {
        path: path.to_owned(),
        why,
    };
    let described: bool = conn
        .query_row(
            "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'backup'",
            [],
            |row| row.get(0),
        )
        .map_err(|error| not_whole(error.to_string()))?;
    if !described {
        return Err(not_whole(
            "it does not say what it is, as a log that was copied by hand".to_owned(),
        ));
    }
    let found = conn
        .query_row(
            "SELECT format, made_us, made_by, seq, hash FROM backup WHERE id = 1",
            [],
            |row| {
                let description = Description {
                    made_us: row.get(1)?,
                    made_by: row.get(2)?,
                    seq: from_sql(row.get(3)?),
                    hash: row.get(4)?,
                };
                Ok((row.get::<_, i64>(0)?, description))
            },
        )
        .optional()
        .map_err(|error| not_whole(error.to_string()))?;
    match found {
        Some((FORMAT_VERSION, description)) => Ok(description),
        Some((found, _)) => Err(BackupError::Newer {
            path: path.to_owned(),
            found,
        }),
        None => Err(not_whole("it does not say what it is".to_owned())),
    }
}
