//! Two locks of the data folder, each on a file of its own.
//!
//! The append lock is held for one write, the delivery lock while posts go out:
//! a person at a second terminal never waits for the first one's network.

use std::fs::{File, OpenOptions, TryLockError};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use crate::error::Error;

/// A lock that is given back when dropped, or when the process ends.
#[derive(Debug)]
pub struct Held {
    // The lock lives as long as the open file.
    _file: File,
}

/// A lock file in the data folder.
#[derive(Debug, Clone, Copy)]
pub enum Lock {
    /// Reading and appending: short.
    Append,
    /// Talking to the daemon: one terminal at a time, so that posts keep their order.
    Delivery,
}

impl Lock {
    fn name(self) -> &'static str {
        match self {
            Self::Append => "spool.lock",
            Self::Delivery => "delivery.lock",
        }
    }

    fn open(self, folder: &Path) -> Result<File, Error> {
        let path = folder.join(self.name());
        OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(&path)
            .map_err(|e| Error::file("Opening", &path, &e))
    }

    /// Waits for the lock.
    pub fn hold(self, folder: &Path) -> Result<Held, Error> {
        let file = self.open(folder)?;
        file.lock()
            .map_err(|e| Error::file("Locking", &folder.join(self.name()), &e))?;
        Ok(Held { _file: file })
    }

    /// Takes the lock where nobody has it.
    pub fn try_hold(self, folder: &Path) -> Result<Option<Held>, Error> {
        let file = self.open(folder)?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Held { _file: file })),
            Err(TryLockError::WouldBlock) => Ok(None),
            Err(TryLockError::Error(e)) => {
                Err(Error::file("Locking", &folder.join(self.name()), &e))
            }
        }
    }
}
