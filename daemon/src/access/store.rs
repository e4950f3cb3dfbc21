//! Small private files, whole or as they were.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::Write as _;
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::Path;

use super::AccessError;

/// Largest file that is read, bytes: a list of a thousand devices is a quarter of it.
const FILE_BYTES_MAX: u64 = 1024 * 1024;

fn failed(path: &Path) -> impl FnOnce(std::io::Error) -> AccessError {
    let path = path.to_owned();
    move |source| AccessError::File { path, source }
}

/// Makes a folder for its owner alone.
pub(crate) fn make_dir(dir: &Path) -> Result<(), AccessError> {
    DirBuilder::new()
        .mode(0o700)
        .create(dir)
        .map_err(failed(dir))
}

/// Removes what an earlier attempt left.
pub(crate) fn clear(dir: &Path) -> Result<(), AccessError> {
    match std::fs::remove_dir_all(dir) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(failed(dir)(error)),
        _ => Ok(()),
    }
}

/// Gives a finished folder its name, on the disk too.
pub(crate) fn rename_dir(from: &Path, to: &Path) -> Result<(), AccessError> {
    flush_dir(from)?;
    std::fs::rename(from, to).map_err(failed(to))?;
    match to.parent() {
        Some(parent) => flush_dir(parent),
        None => Ok(()),
    }
}

fn flush_dir(dir: &Path) -> Result<(), AccessError> {
    File::open(dir)
        .and_then(|dir| dir.sync_all())
        .map_err(failed(dir))
}

/// Writes a file for its owner alone; after a power cut it is the old or the new one.
pub(crate) fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), AccessError> {
    let part = dir.join(format!("{name}.part"));
    let written = OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&part)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        });
    written.map_err(failed(&part))?;
    let path = dir.join(name);
    std::fs::rename(&part, &path).map_err(failed(&path))?;
    flush_dir(dir)
}

/// Reads a file of a known, small size.
pub(crate) fn read(dir: &Path, name: &str) -> Result<String, AccessError> {
    use std::io::Read as _;
    let path = dir.join(name);
    let mut text = String::new();
    File::open(&path)
        .and_then(|file| file.take(FILE_BYTES_MAX).read_to_string(&mut text))
        .map_err(failed(&path))?;
    Ok(text)
}
