//! The file under the spool: header, frames, zeros up to its preallocated end.
//!
//! Everything here happens under the append lock, so that two terminals of one
//! bay see one file. The file is never written in place except past its end of
//! frames; compaction writes a new one beside and renames it.

use std::fs::{self, File, OpenOptions};
use std::os::unix::fs::{FileExt as _, MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::spool::frame::Frame;

/// Name of the spool in the data folder.
pub(super) const NAME: &str = "spool";

/// The file grows by this much at a time, in written zeros: a post then only
/// overwrites blocks the disk already has, and its one flush stays cheap.
const GROW_BYTES: u64 = 16 * 1024;

const HEADER_BYTES: usize = 256;
const HEADER_BYTES_U64: u64 = 256;

/// First line; the number is the version of the format.
const HEADER_FIRST: &str = "baywright spool, format ";
const FORMAT: u32 = 1;
const HEADER_REST: &str = "\n\
    What this bay posts, until and for a while after the daemon has it.\n\
    Not encrypted: plain for the user who owns this file (mode 0600), and for him alone.\n\
    Read it with `bay spool list`; do not edit it.\n";

/// What opening found beside whole frames.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    /// Bytes of a write that never finished, cut off.
    pub torn_bytes: u64,
    /// Where a damaged file was put aside; its readable frames are kept.
    pub damaged_copy: Option<PathBuf>,
}

/// An open spool file, read up to `end`.
#[derive(Debug)]
pub(super) struct SpoolFile {
    path: PathBuf,
    file: File,
    /// End of the frames read or written so far.
    end: u64,
    /// Length of the file.
    length: u64,
}

impl SpoolFile {
    /// Opens or makes the file and reads all its frames. A torn tail is cut; a
    /// file damaged before its end is put aside and made anew from what can be
    /// read. Call under the append lock.
    pub(super) fn open(folder: &Path) -> Result<(Self, Vec<Frame>, Found), Error> {
        let path = folder.join(NAME);
        if !path.exists() {
            write_new(folder, &[])?;
        }
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(&path)
            .map_err(|e| Error::file("Opening", &path, &e))?;
        let mut spool = Self {
            path,
            file,
            end: HEADER_BYTES_U64,
            length: 0,
        };
        let bytes = spool.read_from(0)?;
        if bytes.iter().all(|b| *b == 0) {
            // Some file systems leave an empty file after a power cut.
            return Ok((Self::replace(folder, &[])?, Vec::new(), Found::default()));
        }
        check_header(&spool.path, &bytes)?;
        let mut frames = Vec::new();
        let body = bytes.get(HEADER_BYTES..).unwrap_or_default();
        let read = read_frames(body, HEADER_BYTES_U64, &mut frames);
        let found = spool.settle_tail(folder, &body[read..], &mut frames)?;
        Ok((spool, frames, found))
    }

    /// Reads what other terminals appended since; `None` where the file was
    /// replaced and must be opened anew. Call under the append lock.
    pub(super) fn catch_up(&mut self) -> Result<Option<Vec<Frame>>, Error> {
        let here = self.file.metadata();
        let there = fs::metadata(&self.path);
        match (here, there) {
            (Ok(here), Ok(there)) if here.ino() == there.ino() && here.dev() == there.dev() => {}
            _ => return Ok(None),
        }
        let bytes = self.read_from(self.end)?;
        let mut frames = Vec::new();
        let read = read_frames(&bytes, self.end, &mut frames);
        self.end += to_u64(read);
        if bytes[read..].iter().any(|b| *b != 0) {
            // Another terminal was killed while it wrote.
            return Ok(None);
        }
        Ok(Some(frames))
    }

    /// Appends frames and, where asked, flushes them to the disk. Call under
    /// the append lock, after [`SpoolFile::catch_up`].
    pub(super) fn append(&mut self, frames: &[Frame], flush: bool) -> Result<(), Error> {
        let mut bytes = Vec::new();
        for frame in frames {
            let offset = self.end + to_u64(bytes.len());
            let encoded = frame
                .encode(offset)
                .ok_or_else(|| Error::refused("This fact is too large to be kept."))?;
            bytes.extend_from_slice(&encoded);
        }
        let new_end = self.end + to_u64(bytes.len());
        if let Err(error) = self.write(&bytes, new_end, flush) {
            // Nobody is told that it is kept, so it must not turn up later, by
            // a power cut either: the person will say it again.
            let _ = self
                .file
                .write_all_at(&vec![0; bytes.len()], self.end)
                .and_then(|()| self.file.sync_data());
            return Err(Error::file("Writing", &self.path, &error));
        }
        self.end = new_end;
        Ok(())
    }

    /// End of the frames in bytes, header included.
    pub(super) fn used_bytes(&self) -> u64 {
        self.end
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    fn write(&mut self, bytes: &[u8], new_end: u64, flush: bool) -> std::io::Result<()> {
        if new_end > self.length {
            let grown = new_end.next_multiple_of(GROW_BYTES);
            let missing = usize::try_from(grown - self.length).unwrap_or(0);
            self.file.write_all_at(&vec![0; missing], self.length)?;
            self.file.sync_all()?;
            self.length = grown;
        }
        self.file.write_all_at(bytes, self.end)?;
        if flush {
            self.file.sync_data()?;
        }
        Ok(())
    }

    fn read_from(&mut self, offset: u64) -> Result<Vec<u8>, Error> {
        let read = || -> std::io::Result<(u64, Vec<u8>)> {
            let length = self.file.metadata()?.len();
            let wanted = usize::try_from(length.saturating_sub(offset)).unwrap_or(0);
            let mut bytes = vec![0; wanted];
            self.file.read_exact_at(&mut bytes, offset)?;
            Ok((length, bytes))
        };
        let (length, bytes) = read().map_err(|e| Error::file("Reading", &self.path, &e))?;
        self.length = length;
        Ok(bytes)
    }

    /// Looks at what follows the last whole frame: nothing, a torn write, or
    /// more frames behind a damaged place.
    fn settle_tail(
        &mut self,
        folder: &Path,
        rest: &[u8],
        frames: &mut Vec<Frame>,
    ) -> Result<Found, Error> {
        self.end = self.length.max(HEADER_BYTES_U64) - to_u64(rest.len());
        let Some(last) = rest.iter().rposition(|b| *b != 0) else {
            return Ok(Found::default());
        };
        if Frame::find(rest, self.end).is_none() {
            let torn = last + 1;
            self.file
                .write_all_at(&vec![0; torn], self.end)
                .and_then(|()| self.file.sync_data())
                .map_err(|e| Error::file("Mending", &self.path, &e))?;
            return Ok(Found {
                torn_bytes: to_u64(torn),
                damaged_copy: None,
            });
        }
        let mut at = 0;
        while let Some(skip) = Frame::find(&rest[at..], self.end + to_u64(at)) {
            at += skip;
            at += read_frames(&rest[at..], self.end + to_u64(at), frames);
        }
        let copy = self.put_aside(folder)?;
        *self = Self::replace(folder, frames)?;
        Ok(Found {
            torn_bytes: 0,
            damaged_copy: Some(copy),
        })
    }

    fn put_aside(&self, folder: &Path) -> Result<PathBuf, Error> {
        for number in 1..=u32::MAX {
            let copy = folder.join(format!("{NAME}.damaged-{number}"));
            match fs::hard_link(&self.path, &copy) {
                Ok(()) => return Ok(copy),
                Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(Error::file("Keeping a copy of", &self.path, &e)),
            }
        }
        Err(Error::internal("Too many damaged copies of the spool."))
    }

    /// Writes a new file with these frames beside the old one and renames it,
    /// whole and on the disk. Call under the append lock.
    pub(super) fn replace(folder: &Path, frames: &[Frame]) -> Result<Self, Error> {
        let (file, end, length) = write_new(folder, frames)?;
        Ok(Self {
            path: folder.join(NAME),
            file,
            end,
            length,
        })
    }
}

fn write_new(folder: &Path, frames: &[Frame]) -> Result<(File, u64, u64), Error> {
    let path = folder.join(NAME);
    let beside = folder.join(format!("{NAME}.new"));
    let mut bytes = header();
    for frame in frames {
        let encoded = frame
            .encode(to_u64(bytes.len()))
            .ok_or_else(|| Error::internal("A frame of the spool is too large."))?;
        bytes.extend_from_slice(&encoded);
    }
    let end = to_u64(bytes.len());
    let length = (end + 1).next_multiple_of(GROW_BYTES);
    bytes.resize(usize::try_from(length).unwrap_or(bytes.len()), 0);
    let write = || -> std::io::Result<File> {
        // A leftover of a crash is overwritten: only the lock's holder is here.
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(&beside)?;
        file.write_all_at(&bytes, 0)?;
        file.sync_all()?;
        fs::rename(&beside, &path)?;
        File::open(folder)?.sync_all()?;
        Ok(file)
    };
    let file = write().map_err(|e| Error::file("Writing", &path, &e))?;
    Ok((file, end, length))
}

/// Reads whole frames from the start of `bytes`; gives how many bytes they take.
fn read_frames(bytes: &[u8], offset: u64, frames: &mut Vec<Frame>) -> usize {
    let mut at = 0;
    while let Some((frame, length)) = Frame::decode(&bytes[at..], offset + to_u64(at)) {
        frames.push(frame);
        at += length;
    }
    at
}

fn header() -> Vec<u8> {
    let mut bytes = format!("{HEADER_FIRST}{FORMAT}{HEADER_REST}").into_bytes();
    bytes.resize(HEADER_BYTES - 1, b' ');
    bytes.push(b'\n');
    bytes
}

fn check_header(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let line = bytes.split(|b| *b == b'\n').next().unwrap_or_default();
    let line = std::str::from_utf8(line).unwrap_or_default();
    match line.strip_prefix(HEADER_FIRST).map(str::parse::<u32>) {
        Some(Ok(FORMAT)) => Ok(()),
        Some(Ok(other)) => Err(Error::new(
            crate::error::Kind::Version,
            format!(
                "{} has format {other}; this bay reads {FORMAT}.",
                path.display()
            ),
        )
        .with_hint("It was written by a newer bay: update this one. Nothing was changed.")),
        // The header is written before the first frame is; frames behind a
        // damaged one are still found by their checksums.
        _ if Frame::find(bytes, 0).is_some() => Ok(()),
        _ => Err(Error::internal(format!(
            "{} is not a spool, and no fact can be found in it.",
            path.display()
        ))
        .with_hint("Move it away; a new one is then made.")),
    }
}

/// A length on disk; no file here is near the limit of either type.
fn to_u64(length: usize) -> u64 {
    u64::try_from(length).unwrap_or(u64::MAX)
}
