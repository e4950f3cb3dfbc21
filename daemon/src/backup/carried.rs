//! The small files that a backup carries beside the log: what the access
//! folder holds, so that a restored daemon is the one that its bays know.

use std::io::{Read as _, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::Path;

use rusqlite::Connection;
use sha2::{Digest as _, Sha256};

use super::{BackupError, sync_folder};
use crate::access::ACCESS_DIR;

/// Most files that are carried, and most bytes of all of them: a handful of
/// keys and a list of devices. More is nothing of ours, and is said aloud.
const FILES_MAX: usize = 64;
const BYTES_MAX: u64 = 4 * 1024 * 1024;

/// Table in the backup.
pub(super) const TABLE: &str = "
CREATE TABLE carried (
    name    TEXT PRIMARY KEY,
    content BLOB NOT NULL,
    sha256  BLOB NOT NULL CHECK (length(sha256) = 32)
) STRICT;
";

/// A file of the access folder.
#[derive(Clone, PartialEq, Eq)]
pub struct Carried {
    pub name: String,
    pub content: Vec<u8>,
}

impl std::fmt::Debug for Carried {
    /// Without the content, which may be a key.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Carried")
            .field("name", &self.name)
            .field("bytes", &self.content.len())
            .finish()
    }
}

/// Reads every regular file of the access folder, by name; none where there is
/// no such folder.
///
/// # Errors
/// If one cannot be read, or there is more than belongs there.
pub fn read_folder(data_dir: &Path) -> Result<Vec<Carried>, BackupError> {
    let dir = data_dir.join(ACCESS_DIR);
    let listed = match std::fs::read_dir(&dir) {
        Ok(listed) => listed,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(BackupError::file("reading the folder", &dir)(error)),
    };
    let mut carried = Vec::new();
    let mut room = BYTES_MAX;
    for entry in listed {
        let entry = entry.map_err(BackupError::file("reading the folder", &dir))?;
        let path = entry.path();
        let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
        let Some(name) = entry.file_name().to_str().map(str::to_owned) else {
            continue;
        };
        if !is_file || !is_plain(&name) {
            continue;
        }
        let mut content = Vec::new();
        std::fs::File::open(&path)
            .and_then(|file| file.take(room + 1).read_to_end(&mut content))
            .map_err(BackupError::file("reading", &path))?;
        let length = u64::try_from(content.len()).unwrap_or(u64::MAX);
        if length > room || carried.len() == FILES_MAX {
            return Err(BackupError::Target {
                dir,
                why: format!(
                    "holds more than {FILES_MAX} files or {BYTES_MAX} bytes: move out what is \
                     not the daemon's"
                ),
            });
        }
        room -= length;
        carried.push(Carried { name, content });
    }
    carried.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(carried)
}

/// A name that stays inside its folder, and is not one of a write under way.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && !name.starts_with('.')
        && name
            .bytes()
            .all(|b| b.is_ascii_alphanumeric() || b"._-".contains(&b))
        && !["new", "tmp", "part"]
            .iter()
            .any(|ending| Path::new(name).extension().is_some_and(|e| e == *ending))
}

/// Puts the files into a backup.
pub(super) fn store(conn: &Connection, carried: &[Carried]) -> rusqlite::Result<()> {
    conn.execute_batch(TABLE)?;
    let mut insert =
        conn.prepare("INSERT INTO carried (name, content, sha256) VALUES (?1, ?2, ?3)")?;
    for file in carried {
        let sum: [u8; 32] = Sha256::digest(&file.content).into();
        insert.execute((&file.name, &file.content, sum))?;
    }
    Ok(())
}

/// Takes the files out of a backup, each checked against its sum. The error
/// is why it is not whole.
pub(super) fn load(conn: &Connection) -> Result<Vec<Carried>, String> {
    let mut select = conn
        .prepare("SELECT name, content, sha256 FROM carried ORDER BY name LIMIT ?1")
        .map_err(|error| error.to_string())?;
    let most = i64::try_from(FILES_MAX).unwrap_or(i64::MAX);
    let rows = select
        .query_map([most], |row| {
            let file = Carried {
                name: row.get(0)?,
                content: row.get(1)?,
            };
            Ok((file, row.get::<_, [u8; 32]>(2)?))
        })
        .map_err(|error| error.to_string())?;
    let mut carried = Vec::new();
    for row in rows {
        let (file, sum) = row.map_err(|error| error.to_string())?;
        if !is_plain(&file.name) {
            return Err(format!("it carries a file with the name {:?}", file.name));
        }
        if <[u8; 32]>::from(Sha256::digest(&file.content)) != sum {
            return Err(format!("{} in it was changed", file.name));
        }
        carried.push(file);
    }
    Ok(carried)
}

/// Writes the files into a new folder for its owner alone.
pub(super) fn write_folder(dir: &Path, carried: &[Carried]) -> Result<(), BackupError> {
    std::fs::DirBuilder::new()
        .mode(0o700)
        .create(dir)
        .map_err(BackupError::file("making the folder", dir))?;
    for file in carried {
        let path = dir.join(&file.name);
        let write = || -> std::io::Result<()> {
            let mut to = std::fs::OpenOptions::new()
                .write(true)
                .create_new(true)
                .mode(0o600)
                .open(&path)?;
            to.write_all(&file.content)?;
            to.sync_all()
        };
        write().map_err(BackupError::file("writing", &path))?;
    }
    sync_folder(dir)
}
