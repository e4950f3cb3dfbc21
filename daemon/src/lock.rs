//! One daemon per data directory.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

/// File that is locked; it holds the process id of the holder, for the message only.
pub const LOCK_FILE: &str = "daemon.lock";

/// Held while a daemon, or a rebuild, uses the data directory. The system
/// drops it with the process, however that ends.
#[derive(Debug)]
pub struct DataLock {
    _file: File,
}

/// The data directory could not be had.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    #[error("the data directory {} is in use by another baywrightd{holder}: stop it first, or give another directory", dir.display())]
    InUse { dir: PathBuf, holder: String },
    #[error("the data directory {} cannot be used", dir.display())]
    Unusable {
        dir: PathBuf,
        #[source]
        source: std::io::Error,
    },
}

impl DataLock {
    /// Takes the lock, making the directory for its owner alone where there is none.
    ///
    /// # Errors
    /// If another process holds it, or the directory cannot be made or written.
    pub fn take(data_dir: &Path) -> Result<Self, LockError> {
        let unusable = |source| LockError::Unusable {
            dir: data_dir.to_owned(),
            source,
        };
        make_private_dir(data_dir).map_err(unusable)?;
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(data_dir.join(LOCK_FILE))
            .map_err(unusable)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut pid = String::new();
                let read = file.read_to_string(&mut pid);
                let holder = match read {
                    Ok(_) if !pid.trim().is_empty() => format!(" (process {})", pid.trim()),
                    _ => String::new(),
                };
                return Err(LockError::InUse {
                    dir: data_dir.to_owned(),
                    holder,
                });
            }
            Err(TryLockError::Error(source)) => return Err(unusable(source)),
        }
        // Only a help to whoever meets the lock; the lock itself is the system's.
        let noted = file
            .set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| writeln!(file, "{}", std::process::id()));
        if let Err(error) = noted {
            tracing::debug!(%error, "the process id was not noted in the lock file");
        }
        Ok(Self { _file: file })
    }
}

pub(crate) fn make_private_dir(dir: &Path) -> std::io::Result<()> {
    std::fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(dir)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_daemon_is_told_who_has_the_data() {
        let dir = tempfile::tempdir().unwrap();
        let first = DataLock::take(dir.path()).unwrap();
        let refused = DataLock::take(dir.path()).unwrap_err().to_string();
        assert!(refused.contains("in use"), "{refused}");
        assert!(
            refused.contains(&std::process::id().to_string()),
            "{refused}"
        );
        drop(first);
        DataLock::take(dir.path()).unwrap();
    }
}
