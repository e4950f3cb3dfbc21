//! The inputs that are kept: where they lie, and how one is named.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

/// Bytes of the hash in a file's name.
const NAME_BYTES: usize = 8;

/// The folder of this crate.
fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Inputs that reach far into a target.
pub fn corpus(target: &str) -> PathBuf {
    here().join("corpus").join(target)
}

/// Inputs that once broke something.
pub fn found(target: &str) -> PathBuf {
    here().join("found").join(target)
}

/// All inputs kept for a target, in the order of their names; a target without
/// any has none.
pub fn inputs(target: &str) -> io::Result<Vec<(PathBuf, Vec<u8>)>> {
    let mut all = Vec::new();
    for folder in [found(target), corpus(target)] {
        all.extend(files(&folder)?);
    }
    Ok(all)
}

/// The files of a folder that may not exist.
pub fn files(folder: &Path) -> io::Result<Vec<(PathBuf, Vec<u8>)>> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(error),
    };
    let mut paths = Vec::new();
    for entry in entries {
        paths.push(entry?.path());
    }
    paths.sort();
    paths
        .into_iter()
        .filter(|path| path.is_file())
        .map(|path| fs::read(&path).map(|bytes| (path, bytes)))
        .collect()
}

/// The name of an input: the beginning of its hash.
pub fn name(input: &[u8]) -> String {
    hex(Sha256::digest(input).get(..NAME_BYTES).unwrap_or_default())
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}
