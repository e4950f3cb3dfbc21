//! What the daemon knows of its last backup: a note in the data directory.
//!
//! Bays are told with Hello up to where their posts are in a backup, and keep
//! the others longer. Without the note they are told that none is.

use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::{BackupError, give_to_owner, sync_folder};
use crate::journal::Meta;

/// Name of the note in the data directory.
pub const NOTE_FILE: &str = "backup.json";

/// Largest note that is read: it is a few lines.
const NOTE_BYTES_MAX: u64 = 16 * 1024;

/// The last backup of a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Noted {
    /// As text, in hexadecimal digits.
    pub log_id: String,
    pub epoch: u64,
    /// The last seq that it holds.
    pub seq: u64,
    pub made_us: i64,
    pub file: String,
}

impl Noted {
    pub fn new(meta: &Meta, seq: u64, made_us: i64, file: &Path) -> Self {
        Self {
            log_id: log_id_text(meta),
            epoch: meta.epoch,
            seq,
            made_us,
            file: file.display().to_string(),
        }
    }

    /// Writes the note so that a reader finds the old one or the new one.
    ///
    /// # Errors
    /// If the data directory cannot be written.
    pub fn write(&self, data_dir: &Path) -> Result<(), BackupError> {
        let path = data_dir.join(NOTE_FILE);
        let beside = data_dir.join(format!("{NOTE_FILE}.new"));
        let write = || -> std::io::Result<()> {
            let text = serde_json::to_string_pretty(self).map_err(std::io::Error::other)?;
            let mut file = std::fs::OpenOptions::new()
                .write(true)
                .create(true)
                .truncate(true)
                .mode(0o600)
                .open(&beside)?;
            writeln!(file, "{text}")?;
            file.sync_all()?;
            std::fs::rename(&beside, &path)
        };
        write().map_err(BackupError::file("writing", &path))?;
        give_to_owner(data_dir, &path)?;
        sync_folder(data_dir)
    }
}

/// Up to which seq the log is in a backup; 0: in none, as far as is known.
///
/// A note that cannot be read, or is about another log or an epoch that was
/// left behind by a restore, counts as none: bays then keep more.
pub fn backed_up_seq(data_dir: &Path, meta: &Meta) -> u64 {
    read(data_dir)
        .filter(|noted| noted.log_id == log_id_text(meta) && noted.epoch == meta.epoch)
        .map_or(0, |noted| noted.seq)
}

/// The note, where there is one that can be read.
pub fn read(data_dir: &Path) -> Option<Noted> {
    use std::io::Read as _;
    let file = std::fs::File::open(data_dir.join(NOTE_FILE)).ok()?;
    let mut text = String::new();
    file.take(NOTE_BYTES_MAX).read_to_string(&mut text).ok()?;
    serde_json::from_str(&text).ok()
}

fn log_id_text(meta: &Meta) -> String {
    uuid::Uuid::from_bytes(meta.log_id).simple().to_string()
}
