//! Making a backup while posts come in.
//!
//! The copy is read in one transaction of SQLite's write-ahead log: it is the
//! log of one instant, the writer appends beside it and never waits for it, and
//! the copy need not begin anew when a post comes in between. It is written in
//! steps, each flushed, so that a post's own flush never queues behind a whole
//! log's worth of pages.

use std::fs::{File, OpenOptions, TryLockError};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::file::{self, Checked, Description};
use super::{BackupError, carried, folder_of, sync_folder};
use crate::journal::{Hash, LogReader, Meta};
use crate::service::hello::BUILD;

/// Pages copied in one step: a mebibyte of 4 KiB pages, some milliseconds.
const STEP_PAGES: i32 = 256;

/// Steps whose read was refused before the copy is given up. The transaction is
/// open, so one can be refused only by another program on the file.
const REFUSED_STEPS_MAX: u32 = 64;

/// SQLite's interface to the system without its locks: a copy lies under a name
/// that nobody else opens, perhaps on a network share where they do not work.
const WITHOUT_LOCKS: &str = "unix-none";

/// Ending of a copy that is not finished.
pub(super) const PART_ENDING: &str = ".part";

/// How far a backup has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    Copied { bytes: u64, of: u64 },
    Checked { records: u64, of: u64 },
}

/// Copies the log of a data directory with what is in its access folder to
/// `file`, and reads the copy from end to end before it takes that name.
///
/// # Errors
/// If it is there and not to be replaced, if the disk is full or fails, or if
/// the log is not what was appended. Nothing is left beside `file` then.
pub fn make(
    data_dir: &Path,
    file: &Path,
    replace: bool,
    made_us: i64,
    progress: &mut dyn FnMut(Progress),
) -> Result<Checked, BackupError> {
    refuse_existing(file, replace)?;
    let part = Part::begin(file)?;
    let meta = copy(data_dir, &part, progress)?;
    finish_copy(data_dir, &part, made_us)?;
    part.flush()?;
    let mut checked = file::check(&part.path, |records, of| {
        progress(Progress::Checked { records, of });
    })?;
    if checked.meta != meta {
        return Err(BackupError::NotWhole {
            path: part.path.clone(),
            why: "the copy is of another log".to_owned(),
        });
    }
    refuse_existing(file, replace)?;
    part.keep_as(file)?;
    file.clone_into(&mut checked.path);
    Ok(checked)
}

fn refuse_existing(file: &Path, replace: bool) -> Result<(), BackupError> {
    if !replace && file.symlink_metadata().is_ok() {
        return Err(BackupError::Exists {
            path: file.to_owned(),
        });
    }
    Ok(())
}

/// A copy on its way, locked against another; removed unless it is kept.
#[derive(Debug)]
struct Part {
    path: PathBuf,
    file: File,
    kept: bool,
}

impl Part {
    fn begin(file: &Path) -> Result<Self, BackupError> {
        let mut name = file.as_os_str().to_owned();
        name.push(PART_ENDING);
        let path = PathBuf::from(name);
        let opened = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(&path)
            .map_err(BackupError::file("making", &path))?;
        match opened.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(BackupError::Busy { path }),
            Err(TryLockError::Error(source)) => {
                return Err(BackupError::file("locking", &path)(source));
            }
        }
        // Left over from a run that was killed: the database would roll its
        // journal back into the new copy.
        for beside in files_beside(&path) {
            let _ = std::fs::remove_file(beside);
        }
        opened
            .set_len(0)
            .map_err(BackupError::file("emptying", &path))?;
        Ok(Self {
            path,
            file: opened,
            kept: false,
        })
    }

    fn flush(&self) -> Result<(), BackupError> {
        self.file
            .sync_all()
            .map_err(BackupError::file("flushing", &self.path))
    }

    fn keep_as(mut self, file: &Path) -> Result<(), BackupError> {
        std::fs::rename(&self.path, file).map_err(BackupError::file("naming", file))?;
        self.kept = true;
        sync_folder(folder_of(file))
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.kept {
            for path in files_beside(&self.path) {
                let _ = std::fs::remove_file(path);
            }
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// The files that SQLite may keep beside a database.
pub(super) fn files_beside(database: &Path) -> [PathBuf; 3] {
    ["-journal", "-wal", "-shm"].map(|ending| {
        let mut name = database.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    })
}

fn open_part(part: &Path) -> rusqlite::Result<Connection> {
    let conn = Connection::open_with_flags_and_vfs(
        part,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        WITHOUT_LOCKS,
    )?;
    // Nobody else knows the file; this also lets it leave the write-ahead mode
    // of the log it is copied from without files beside it.
    conn.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
    // A copy that did not finish is thrown away: it needs no way back, and it is
    // flushed by hand.
    conn.pragma_update(None, "synchronous", "OFF")?;
    Ok(conn)
}

/// Copies every page; gives the log's identity.
fn copy(
    data_dir: &Path,
    part: &Part,
    progress: &mut dyn FnMut(Progress),
) -> Result<Meta, BackupError> {
    let log = LogReader::open(data_dir)?;
    let from = log.connection();
    let failed = |what| BackupError::database(what, &part.path);
    let page_bytes: i64 = from
        .pragma_query_value(None, "page_size", |row| row.get(0))
        .map_err(failed("asking for the size of a page"))?;
    let page_bytes = u64::try_from(page_bytes).unwrap_or(0);
    // Holds one instant of the log for all steps.
    from.execute_batch("BEGIN")
        .map_err(failed("beginning to read the log"))?;
    let meta = log.meta()?;
    let mut to = open_part(&part.path).map_err(failed("opening the copy"))?;
    {
        let backup = Backup::new(from, &mut to).map_err(failed("beginning to copy the log"))?;
        let mut refused = 0;
        loop {
            let step = backup.step(STEP_PAGES).map_err(failed("copying the log"))?;
            // Bounds what the disk has to write at once.
            part.file
                .sync_data()
                .map_err(BackupError::file("flushing", &part.path))?;
            let at = backup.progress();
            let all = u64::try_from(at.pagecount).unwrap_or(0);
            let left = u64::try_from(at.remaining).unwrap_or(0);
            progress(Progress::Copied {
                bytes: all.saturating_sub(left) * page_bytes,
                of: all * page_bytes,
            });
            match step {
                StepResult::Done => break,
                StepResult::More => {}
                _ => {
                    refused += 1;
                    if refused > REFUSED_STEPS_MAX {
                        return Err(BackupError::Busy {
                            path: data_dir.to_owned(),
                        });
                    }
                }
            }
        }
    }
    from.execute_batch("ROLLBACK")
        .map_err(failed("ending to read the log"))?;
    let mode: String = to
        .pragma_update_and_check(None, "journal_mode", "delete", |row| row.get(0))
        .map_err(failed("making the copy one file"))?;
    if mode != "delete" {
        return Err(BackupError::NotWhole {
            path: part.path.clone(),
            why: format!("its journal mode stayed `{mode}`"),
        });
    }
    Ok(meta)
}

/// Adds what the copy carries and says of itself.
fn finish_copy(data_dir: &Path, part: &Part, made_us: i64) -> Result<(), BackupError> {
    let failed = |what| BackupError::database(what, &part.path);
    let carried = carried::read_folder(data_dir)?;
    let (seq, hash) = end_of(&LogReader::open_file(&part.path)?)?;
    let mut conn = open_part(&part.path).map_err(failed("opening the copy"))?;
    let tx = conn.transaction().map_err(failed("writing the copy"))?;
    carried::store(&tx, &carried).map_err(failed("writing the copy"))?;
    let description = Description {
        made_us,
        made_by: BUILD.to_owned(),
        seq,
        hash: hash.0,
    };
    file::describe(&tx, &description).map_err(failed("writing the copy"))?;
    tx.commit().map_err(failed("writing the copy"))?;
    conn.close()
        .map_err(|(_, error)| failed("closing the copy")(error))
}

/// The last record of a log as it says itself; the check walks up to it.
fn end_of(log: &LogReader) -> Result<(u64, Hash), BackupError> {
    let seq = log.head_seq()?;
    Ok(match log.record(seq)? {
        Some(entry) => (seq, entry.hash),
        None => (seq, Hash::genesis(&log.meta()?.log_id)),
    })
}
