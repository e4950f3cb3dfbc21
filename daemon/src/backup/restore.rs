//! Bringing a backup back: into a data directory without a log, as a new epoch
//! of the same log.
//!
//! Everything is put together in a folder inside the data directory and flushed
//! there; then it takes its place, the log last. A restore that is killed leaves
//! no log, and the next one begins anew.

use std::path::{Path, PathBuf};

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::carried::Carried;
use super::file::Checked;
use super::make::files_beside;
use super::noted::{NOTE_FILE, Noted};
use super::{BackupError, carried, give_to_owner, sync_folder};
use crate::access::ACCESS_DIR;
use crate::facts::FACTS_FILE;
use crate::journal::schema::LOG_FILE;
use crate::journal::verify::{Whole, verify};
use crate::journal::{LogReader, Meta, Restored, restored};
use crate::lock::LOCK_FILE;

/// Where a restore is put together, in the data directory.
pub(crate) const WORK_FOLDER: &str = "restoring";

/// Pages copied between two looks at how far it is: some mebibytes.
const STEP_PAGES: i32 = 1_024;

/// What was brought back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brought {
    /// The log with its new epoch.
    pub meta: Meta,
    pub restored: Restored,
    pub whole: Whole,
    /// Files of the access folder.
    pub carried: usize,
}

/// Refuses a data directory that has anything a restore would write over.
///
/// # Errors
/// If it has a log, or keys that are not those of an interrupted restore.
pub fn refuse_used(data_dir: &Path) -> Result<(), BackupError> {
    let used = |what: &str| {
        Err(BackupError::Target {
            dir: data_dir.to_owned(),
            why: format!(
                "has {what} already, and nothing is written over: move that folder away and keep \
                 it, or give another with --data"
            ),
        })
    };
    if data_dir.join(LOG_FILE).symlink_metadata().is_ok() {
        return used("a log");
    }
    let interrupted = data_dir.join(WORK_FOLDER).is_dir();
    if !interrupted && data_dir.join(ACCESS_DIR).symlink_metadata().is_ok() {
        return used("keys in `access`");
    }
    Ok(())
}

/// Brings a checked backup back. `carried` are its files, perhaps with devices
/// cut off. Nobody else may use the data directory meanwhile.
///
/// # Errors
/// If the disk fails or is full, or the copy is not what the backup was.
pub fn bring_back(
    backup: &Checked,
    carried: &[Carried],
    data_dir: &Path,
    now_us: i64,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Brought, BackupError> {
    refuse_used(data_dir)?;
    let work = data_dir.join(WORK_FOLDER);
    remove_folder(&work)?;
    carried::write_folder(&work, &[])?;
    let log = work.join(LOG_FILE);
    let restored = write_log(backup, &log, now_us)?;
    let meta = Meta {
        log_id: backup.meta.log_id,
        epoch: restored.epoch,
    };
    let whole = check_log(backup, &log, progress)?;
    if !carried.is_empty() {
        carried::write_folder(&work.join(ACCESS_DIR), carried)?;
    }
    let noted = Noted::new(
        &meta,
        restored.seq,
        backup.description.made_us,
        &backup.path,
    );
    noted.write(&work)?;
    give_all_to_owner(data_dir, &work)?;
    sync_folder(&work)?;
    take_place(&work, data_dir, !carried.is_empty())?;
    Ok(Brought {
        meta,
        restored,
        whole,
        carried: carried.len(),
    })
}

/// Copies the log out of the backup, without what the backup added, and begins
/// its new epoch.
fn write_log(backup: &Checked, log: &Path, now_us: i64) -> Result<Restored, BackupError> {
    let failed = |what| BackupError::database(what, log);
    let made = std::fs::File::create_new(log).map_err(BackupError::file("making", log))?;
    set_private(log)?;
    let from = LogReader::open_file(&backup.path)?;
    let mut to = Connection::open_with_flags(
        log,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )
    .map_err(failed("opening the restored log"))?;
    {
        let copy =
            Backup::new(from.connection(), &mut to).map_err(failed("beginning to copy the log"))?;
        while copy.step(STEP_PAGES).map_err(failed("copying the log"))? == StepResult::More {}
        if copy.progress().remaining != 0 {
            return Err(BackupError::Busy {
                path: backup.path.clone(),
            });
        }
    }
    // The keys go to their own folder, and not a byte of them stays here.
    to.pragma_update(None, "secure_delete", true)
        .map_err(failed("writing the restored log"))?;
    let last_job: i64 = to
        .query_row(
            "SELECT coalesce(max(job_number), 0) FROM record WHERE job_number IS NOT NULL",
            [],
            |row| row.get(0),
        )
        .map_err(failed("reading the restored log"))?;
    let before = restored::read(&to)?;
    // Numbers that an earlier restore left free are still on job cards.
    let last_job = u64::try_from(last_job)
        .unwrap_or(0)
        .max(before.map_or(0, |before| before.first_job_number.saturating_sub(1)));
    let epoch_before = before.map_or(backup.meta.epoch, |b| b.epoch.max(backup.meta.epoch));
    let restored = Restored::now(epoch_before, backup.whole.seq, last_job, now_us);
    let tx = to
        .transaction()
        .map_err(failed("writing the restored log"))?;
    tx.execute_batch("DROP TABLE carried; DROP TABLE backup;")
        .map_err(failed("writing the restored log"))?;
    restored::begin(&tx, &restored).map_err(failed("beginning the new epoch"))?;
    tx.commit().map_err(failed("writing the restored log"))?;
    to.close()
        .map_err(|(_, error)| failed("closing the restored log")(error))?;
    made.sync_all()
        .map_err(BackupError::file("flushing", log))?;
    Ok(restored)
}

fn set_private(log: &Path) -> Result<(), BackupError> {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(log, std::fs::Permissions::from_mode(0o600))
        .map_err(BackupError::file("keeping private", log))
}

/// Reads what was written from end to end.
fn check_log(
    backup: &Checked,
    log: &Path,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Whole, BackupError> {
    let whole = verify(&LogReader::open_file(log)?, |done, of| {
        progress(done, of);
        true
    })?;
    if whole != backup.whole {
        return Err(BackupError::NotWhole {
            path: log.to_owned(),
            why: "the disk did not keep what was written to it".to_owned(),
        });
    }
    Ok(whole)
}

/// Moves what was put together to where a daemon looks for it, the log last.
fn take_place(work: &Path, data_dir: &Path, with_access: bool) -> Result<(), BackupError> {
    let access = data_dir.join(ACCESS_DIR);
    // Only that of an interrupted restore can be there: see `refuse_used`.
    remove_folder(&access)?;
    let facts = data_dir.join(FACTS_FILE);
    for stale in files_beside(&data_dir.join(LOG_FILE))
        .into_iter()
        .chain(files_beside(&facts))
        .chain([facts])
    {
        remove_file(&stale)?;
    }
    let mut names = vec![NOTE_FILE];
    if with_access {
        names.push(ACCESS_DIR);
    }
    for name in names {
        let to = data_dir.join(name);
        std::fs::rename(work.join(name), &to).map_err(BackupError::file("naming", &to))?;
    }
    sync_folder(data_dir)?;
    let log = data_dir.join(LOG_FILE);
    std::fs::rename(work.join(LOG_FILE), &log).map_err(BackupError::file("naming", &log))?;
    sync_folder(data_dir)?;
    remove_folder(work)
}

/// Where root restores, the daemon's own user must be able to use what it made.
fn give_all_to_owner(data_dir: &Path, work: &Path) -> Result<(), BackupError> {
    let access = work.join(ACCESS_DIR);
    for dir in [work, &access] {
        let Ok(listed) = std::fs::read_dir(dir) else {
            continue;
        };
        give_to_owner(data_dir, dir)?;
        for entry in listed {
            let entry = entry.map_err(BackupError::file("reading the folder", dir))?;
            give_to_owner(data_dir, &entry.path())?;
        }
    }
    give_to_owner(data_dir, &data_dir.join(LOCK_FILE))
}

fn remove_folder(dir: &Path) -> Result<(), BackupError> {
    match std::fs::remove_dir_all(dir) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(BackupError::file("removing", dir)(error))
        }
        _ => Ok(()),
    }
}

fn remove_file(path: &PathBuf) -> Result<(), BackupError> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(BackupError::file("removing", path)(error))
        }
        _ => Ok(()),
    }
}
