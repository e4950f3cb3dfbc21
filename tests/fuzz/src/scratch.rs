//! Folders for targets that read and write files, in memory where the machine
//! has a file system for that: a flush to a disk would cost more than the rest.

use std::cell::{Cell, OnceCell};
use std::io;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

const IN_MEMORY: &str = "/dev/shm";

/// A new folder, gone when it is dropped.
pub fn folder() -> io::Result<TempDir> {
    let begin = tempfile::Builder::new()
        .prefix("baywright-fuzz-")
        .to_owned();
    if Path::new(IN_MEMORY).is_dir() {
        begin.tempdir_in(IN_MEMORY)
    } else {
        begin.tempdir()
    }
}

thread_local! {
    static KEPT: OnceCell<TempDir> = const { OnceCell::new() };
    static COUNT: Cell<u64> = const { Cell::new(0) };
}

/// A folder below this thread's own that no other input had.
pub fn fresh() -> io::Result<PathBuf> {
    let number = COUNT.with(|count| {
        count.set(count.get() + 1);
        count.get()
    });
    let path = KEPT.with(|kept| {
        if kept.get().is_none() {
            let _ = kept.set(folder()?);
        }
        kept.get()
            .map(|folder| folder.path().join(number.to_string()))
            .ok_or_else(|| io::Error::other("no scratch folder"))
    })?;
    std::fs::create_dir(&path)?;
    Ok(path)
}

/// Takes a folder of [`fresh`] away.
pub fn gone(path: &Path) {
    let _ = std::fs::remove_dir_all(path);
}
