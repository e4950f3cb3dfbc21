//! Where an export goes: standard output, or a file that appears when it is
//! whole; and the bar that a person sees meanwhile.

use std::fs::File;
use std::io::{BufWriter, IsTerminal as _, Write};
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::screen::Screen;

/// What came out.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Written {
    pub(super) rows: u64,
    /// The last seq in it.
    pub(super) as_of_seq: u64,
    /// Uses on no job.
    pub(super) loose: u64,
    /// This form has no place for them.
    pub(super) loose_left_out: bool,
}

/// Why an export ended early.
#[derive(Debug)]
pub(super) enum Failure {
    /// The reader of a pipe has seen enough.
    Closed,
    Other(Error),
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::Other(error)
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            Self::Closed
        } else {
            Self::Other(Error::internal(format!(
                "The export could not be written: {error}."
            )))
        }
    }
}

impl From<csv::Error> for Failure {
    fn from(error: csv::Error) -> Self {
        match error.into_kind() {
            csv::ErrorKind::Io(error) => error.into(),
            other => Self::Other(Error::internal(format!(
                "A row could not be written: {other:?}."
            ))),
        }
    }
}

/// Lets `fill` write into the file or to standard output; it is told whether
/// a bar may be shown. `None`: the reader of a pipe had seen enough.
pub(super) fn write(
    path: Option<&Path>,
    fill: impl FnOnce(Box<dyn Write>, bool) -> Result<Written, Failure>,
) -> Result<Option<Written>, Error> {
    let Some(path) = path else {
        let stdout = std::io::stdout();
        let show = !stdout.is_terminal();
        let lock = stdout.lock();
        // Into a file or a pipe it goes as it is; a screen must not be steered.
        let out: Box<dyn Write> = if show {
            Box::new(BufWriter::new(lock))
        } else {
            Box::new(Screen::new(BufWriter::new(lock)))
        };
        return match fill(out, show) {
            Ok(written) => Ok(Some(written)),
            Err(Failure::Closed) => Ok(None),
            Err(Failure::Other(error)) => Err(error),
        };
    };
    into_file(path, fill).map(Some)
}

/// Writes beside the file first, so that half an export is never taken for one.
fn into_file(
    path: &Path,
    fill: impl FnOnce(Box<dyn Write>, bool) -> Result<Written, Failure>,
) -> Result<Written, Error> {
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = PathBuf::from(name);
    let file = File::create(&part).map_err(|e| Error::file("Writing", &part, &e))?;
    let written = file
        .try_clone()
        .map_err(|e| Failure::Other(Error::file("Writing", &part, &e)))
        .and_then(|out| fill(Box::new(BufWriter::new(out)), true))
        .and_then(|written| {
            file.sync_all()
                .and_then(|()| std::fs::rename(&part, path))
                .map_err(|e| Failure::Other(Error::file("Writing", path, &e)))?;
            Ok(written)
        });
    written.map_err(|failure| {
        // What is left of it is of no use to anyone.
        let _ = std::fs::remove_file(&part);
        match failure {
            Failure::Closed => Error::internal(format!("Writing {} failed.", path.display())),
            Failure::Other(error) => error,
        }
    })
}
