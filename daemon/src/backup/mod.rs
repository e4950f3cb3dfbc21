//! Copies of the log that stand on their own: made beside a running daemon,
//! checked before they count, and brought back as a new epoch of the same log.
//!
//! A backup is one SQLite file: the log as it is, the small files of the
//! access folder, and a row that says what it is. So it can be read with what
//! reads a log, and `baywrightd verify --file` walks its chain.

pub mod carried;
pub mod devices;
pub mod file;
pub mod folder;
pub mod make;
pub mod noted;
pub mod restore;

use std::path::{Path, PathBuf};

use crate::journal::JournalError;
use crate::journal::verify::Broken;

/// Layout of what a backup adds to a log.
pub const FORMAT_VERSION: i64 = 1;

/// Why a backup could not be made, read or brought back.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    #[error(
        "{} is there already: give another name, or --replace to write over it",
        path.display()
    )]
    Exists { path: PathBuf },
    #[error(
        "there is no room on the disk of {}: nothing was left there; make room, or name a place on another disk",
        path.display()
    )]
    DiskFull { path: PathBuf },
    #[error("another backup is being written to {}: wait for it to end", path.display())]
    Busy { path: PathBuf },
    #[error("{what} {} failed", path.display())]
    File {
        what: &'static str,
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("{what} failed")]
    Database {
        what: &'static str,
        #[source]
        source: rusqlite::Error,
    },
    #[error("the log cannot be read")]
    Log(#[from] JournalError),
    #[error("{0}; keep the backups that were made before")]
    Broken(#[from] Broken),
    #[error("{} is not a whole backup: {why}", path.display())]
    NotWhole { path: PathBuf, why: String },
    #[error(
        "{} was written by a newer baywrightd (layout {found}; this build knows {FORMAT_VERSION}): use that build, or a newer one",
        path.display()
    )]
    Newer { path: PathBuf, found: i64 },
    #[error("{}: {why}", dir.display())]
    Target { dir: PathBuf, why: String },
    #[error("{0}")]
    Devices(String),
}

impl BackupError {
    /// Puts what failed and where around an error of the system.
    fn file(what: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| {
            if source.kind() == std::io::ErrorKind::StorageFull {
                Self::DiskFull { path }
            } else {
                Self::File { what, path, source }
            }
        }
    }

    /// Puts what failed around an error of the database that is written at `path`.
    fn database(what: &'static str, path: &Path) -> impl FnOnce(rusqlite::Error) -> Self {
        let path = path.to_owned();
        move |source| {
            if source.sqlite_error_code() == Some(rusqlite::ErrorCode::DiskFull) {
                Self::DiskFull { path }
            } else {
                Self::Database { what, source }
            }
        }
    }
}

/// Gives a file to the owner of the data directory, where root made it for
/// another user's daemon. What is not there, or is theirs, stays as it is.
fn give_to_owner(data_dir: &Path, path: &Path) -> Result<(), BackupError> {
    use std::os::unix::fs::MetadataExt as _;
    let (Ok(dir), Ok(file)) = (std::fs::metadata(data_dir), std::fs::metadata(path)) else {
        return Ok(());
    };
    if dir.uid() == file.uid() {
        return Ok(());
    }
    std::os::unix::fs::chown(path, Some(dir.uid()), Some(dir.gid()))
        .map_err(BackupError::file("giving to the daemon's user", path))
}

/// Flushes a folder, so that a rename in it outlives a power cut.
fn sync_folder(dir: &Path) -> Result<(), BackupError> {
    std::fs::File::open(dir)
        .and_then(|dir| dir.sync_all())
        .map_err(BackupError::file("flushing the folder", dir))
}

/// The folder that a file is in.
fn folder_of(file: &Path) -> &Path {
    match file.parent() {
        Some(dir) if !dir.as_os_str().is_empty() => dir,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests;
