//! The bay's spool: a post is safe on this disk before it is sent.
//!
//! One append file of checksummed frames, one flush per post. Acknowledgements
//! are written without a flush: one that is lost in a crash only makes the post
//! go out again, and the daemon gives the first receipt for it.

mod entry;
mod file;
mod frame;
mod lock;

use std::path::{Path, PathBuf};

use uuid::Uuid;

pub use entry::{Entry, EventId, FirstReceipt, Posts, Standing, event_id};
pub use file::Found;
pub use lock::{Held, Lock};

use crate::cache::{make_folder, write_whole};
use crate::error::Error;
use file::SpoolFile;
use frame::{Acknowledged, Frame, InStep, Mended, Posted, Renumbered, SetAside, Withdrawn};

/// Above this the file is compacted. Every command reads the whole file, so
/// this bounds what a post costs (measured: a millisecond for 400 kB).
const SPOOL_BYTES_MAX: u64 = 256 * 1024;

/// Facts that the daemon has are kept here up to this size: after a restore
/// from a backup, what it lost goes out again. About 450 facts, some days of
/// one bay, where backups are made every night; what the daemon says to be in no
/// backup has a room of its own beside it.
const KEPT_BYTES: usize = 96 * 1024;

/// A post to be kept.
#[derive(Debug, Clone)]
pub struct NewPost {
    pub event_id: EventId,
    /// The serialised Fact.
    pub fact: Vec<u8>,
    pub created_us: i64,
    pub anyway: bool,
    /// Handle of the job, on a job_opened.
    pub handle: String,
}

/// What the daemon said of a post it took.
#[derive(Debug, Clone, Copy)]
pub struct Taken {
    pub event_id: EventId,
    /// The number it holds of this device now; 0: not known.
    pub device_seq: u64,
    pub seq: u64,
    pub job_number: u64,
    pub occurred_us: i64,
    pub received_us: i64,
}

/// What the daemon says that it holds of this device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holds {
    pub device_seq: u64,
    /// Id and epoch of its log; `None`: it did not say.
    pub log: Option<(EventId, u64)>,
    /// Posts up to here are in a backup, 0: none; `None`: it did not say.
    pub backed_up_device_seq: Option<u64>,
    /// When it was asked, by the clock of this device; `None`: it was not.
    pub asked_us: Option<i64>,
}

impl Holds {
    /// A number alone, as a refusal gives it.
    pub fn only(device_seq: u64) -> Self {
        Self {
            device_seq,
            log: None,
            backed_up_device_seq: None,
            asked_us: None,
        }
    }
}

/// The spool of one data folder. Several may be open on the same folder.
#[derive(Debug)]
pub struct Spool {
    folder: PathBuf,
    device: String,
    file: SpoolFile,
    posts: Posts,
    found: Found,
}

impl Spool {
    /// Opens the spool of the folder, making both where they are missing.
    ///
    /// `name_start` begins the name of the device, made once: `bay-2` gives
    /// `bay-2-k3f7qa`.
    pub fn open(folder: &Path, name_start: &str) -> Result<Self, Error> {
        make_folder(folder)?;
        let _lock = Lock::Append.hold(folder)?;
        let device = device_name(folder, name_start)?;
        let (file, posts, found) = read(folder)?;
        Ok(Self {
            folder: folder.to_owned(),
            device,
            file,
            posts,
            found,
        })
    }

    /// Takes the name under which the daemon let this device in.
    pub fn rename(&mut self, name: &str) -> Result<(), Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        write_whole(&self.folder, DEVICE_FILE, name.as_bytes())?;
        name.clone_into(&mut self.device);
        Ok(())
    }

    /// What this device calls itself: a name of its own, until it joins.
    pub fn device(&self) -> &str {
        &self.device
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The spool's file, for messages.
    pub fn path(&self) -> &Path {
        self.file.path()
    }

    /// All posts, as of the last look at the file.
    pub fn posts(&self) -> &Posts {
        &self.posts
    }

    /// What was wrong with the file when it was opened.
    pub fn found(&self) -> &Found {
        &self.found
    }

    /// Looks at the file again for what other terminals wrote.
    pub fn refresh(&mut self) -> Result<(), Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()
    }

    /// Keeps a post: when this returns, it is on the disk; an error says that it is not.
    pub fn post(&mut self, new: NewPost) -> Result<Entry, Error> {
        self.keep(new).map_err(Error::not_kept)
    }

    fn keep(&mut self, new: NewPost) -> Result<Entry, Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()?;
        let id = new.event_id;
        let frame = Frame::Posted(Posted {
            event_id: id.to_vec(),
            device_seq: self.posts.last_device_seq + 1,
            fact: new.fact,
            created_us: new.created_us,
            anyway: new.anyway,
            handle: new.handle,
            first: None,
        });
        self.write(frame, true)?;
        let entry = self.posts.get(&id).cloned();
        // It is kept, whatever becomes of this: a disk without room for a second
        // file leaves the first as it was, and the next post tries again.
        let _ = self.compact_if_large();
        entry.ok_or_else(|| Error::internal("The fact was written and cannot be found."))
    }

    /// The daemon has it. Where this disk takes no more, that is known for this
    /// run only, and the post goes out once more: the daemon keeps it once.
    pub fn acknowledge(&mut self, taken: &[Taken]) -> Result<(), Error> {
        let frames: Vec<Frame> = taken
            .iter()
            .map(|t| {
                Frame::Acknowledged(Acknowledged {
                    event_id: t.event_id.to_vec(),
                    device_seq: t.device_seq,
                    seq: t.seq,
                    job_number: t.job_number,
                    occurred_us: t.occurred_us,
                    received_us: t.received_us,
                })
            })
            .collect();
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()?;
        let _ = self.file.append(&frames, false);
        for frame in frames {
            self.posts.apply(frame);
        }
        Ok(())
    }

    /// Refused while the person waited; it will not be sent again.
    pub fn withdraw(&mut self, id: &EventId, reason: &str, message: &str) -> Result<(), Error> {
        let frame = Frame::Withdrawn(Withdrawn {
            event_id: id.to_vec(),
            reason: reason.to_owned(),
            message: message.to_owned(),
        });
        self.note_down(vec![frame], true)
    }

    /// The daemon cannot read it; it waits for somebody to mend it.
    pub fn set_aside(
        &mut self,
        id: &EventId,
        reason: &str,
        message: &str,
        now_us: i64,
    ) -> Result<(), Error> {
        let frame = Frame::SetAside(SetAside {
            event_id: id.to_vec(),
            reason: reason.to_owned(),
            message: message.to_owned(),
            at_us: now_us,
        });
        self.note_down(vec![frame], true)
    }

    /// A set-aside post is said anew by another, or (with `None`) sent again.
    pub fn mend(&mut self, id: &EventId, by: Option<&EventId>) -> Result<(), Error> {
        let frame = Frame::Mended(Mended {
            event_id: id.to_vec(),
            by_event_id: by.map(|b| b.to_vec()).unwrap_or_default(),
        });
        self.note_down(vec![frame], true)
    }

    /// What the daemon holds of this device. With `lost_after`, acknowledged
    /// posts past that number go out again.
    pub fn in_step(&mut self, holds: &Holds, lost_after: Option<u64>) -> Result<(), Error> {
        let (log_id, epoch) = match holds.log {
            Some((id, epoch)) => (id.to_vec(), epoch),
            None => (Vec::new(), self.posts.epoch),
        };
        let backed_up = holds.backed_up_device_seq;
        let frame = Frame::InStep(InStep {
            held_device_seq: holds.device_seq,
            log_id,
            epoch,
            resend: lost_after.is_some(),
            backed_up_device_seq: backed_up.unwrap_or(self.posts.backed_up_device_seq),
            lost_after_device_seq: lost_after,
            asked_us: holds.asked_us.unwrap_or(self.posts.asked_us),
        });
        self.note_down(vec![frame], true)
    }

    /// Gives every waiting post a number above `held`, in their order: the
    /// daemon holds other facts under the numbers they have.
    pub fn renumber_above(&mut self, held: u64) -> Result<(), Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()?;
        let free = self.posts.last_device_seq.max(held) + 1;
        let frames = (free..).zip(self.posts.waiting()).map(|(number, entry)| {
            Frame::Renumbered(Renumbered {
                event_id: entry.event_id.to_vec(),
                device_seq: number,
            })
        });
        let frames = frames.collect();
        self.append(frames, true)
    }

    fn note_down(&mut self, frames: Vec<Frame>, flush: bool) -> Result<(), Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()?;
        self.append(frames, flush)
    }

    fn write(&mut self, frame: Frame, flush: bool) -> Result<(), Error> {
        self.append(vec![frame], flush)
    }

    fn append(&mut self, frames: Vec<Frame>, flush: bool) -> Result<(), Error> {
        self.file.append(&frames, flush)?;
        for frame in frames {
            self.posts.apply(frame);
        }
        Ok(())
    }

    fn catch_up(&mut self) -> Result<(), Error> {
        if let Some(frames) = self.file.catch_up()? {
            for frame in frames {
                self.posts.apply(frame);
            }
        } else {
            let (file, posts, found) = read(&self.folder)?;
            self.file = file;
            self.posts = posts;
            self.found = found;
        }
        Ok(())
    }

    fn compact_if_large(&mut self) -> Result<(), Error> {
        if self.file.used_bytes() <= SPOOL_BYTES_MAX {
            return Ok(());
        }
        let (kept, _) = self.posts.kept(KEPT_BYTES);
        let size: usize = kept.iter().map(|entry| entry.bytes()).sum();
        let size = u64::try_from(size).unwrap_or(u64::MAX);
        // A long time offline, or without a backup, fills the file with posts
        // that must stay: then writing it anew at every post would only cost.
        let worth_it = (SPOOL_BYTES_MAX / 2).max(self.file.used_bytes() / 4 * 3);
        if size > worth_it {
            return Ok(());
        }
        let frames = self.posts.compacted(KEPT_BYTES);
        self.compact(&frames)
    }

    /// Writes the file anew, whatever its size.
    #[cfg(test)]
    pub(crate) fn write_anew(&mut self) -> Result<(), Error> {
        let _lock = Lock::Append.hold(&self.folder)?;
        self.catch_up()?;
        let frames = self.posts.compacted(KEPT_BYTES);
        self.compact(&frames)
    }

    fn compact(&mut self, frames: &[Frame]) -> Result<(), Error> {
        self.file = SpoolFile::replace(&self.folder, frames)?;
        let mut posts = Posts::default();
        for frame in frames {
            posts.apply(frame.clone());
        }
        self.posts = posts;
        Ok(())
    }
}

/// True where a device of this folder has ever kept a post.
pub fn is_there(folder: &Path) -> bool {
    folder.join(file::NAME).exists()
}

fn read(folder: &Path) -> Result<(SpoolFile, Posts, Found), Error> {
    let (file, frames, found) = SpoolFile::open(folder)?;
    let mut posts = Posts::default();
    for frame in frames {
        posts.apply(frame);
    }
    Ok((file, posts, found))
}

/// The name of the device, made once under the append lock.
fn device_name(folder: &Path, name_start: &str) -> Result<String, Error> {
    const BASE32: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";
    let path = folder.join(DEVICE_FILE);
    match std::fs::read_to_string(&path) {
        Ok(name) if !name.trim().is_empty() => return Ok(name.trim().to_owned()),
        Ok(_) => {}
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
        Err(e) => return Err(Error::file("Reading", &path, &e)),
    }
    // The last bytes of a version 7 UUID are random: 30 bits of them.
    let random = Uuid::now_v7().into_bytes();
    let ending: String = random[10..16]
        .iter()
        .map(|b| char::from(BASE32[usize::from(b & 31)]))
        .collect();
    let start: String = name_start
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || *c == '-')
        .take(DEVICE_START_CHARS_MAX)
        .collect();
    let start = if start.is_empty() {
        "bay"
    } else {
        start.as_str()
    };
    let name = format!("{start}-{ending}");
    write_whole(folder, DEVICE_FILE, name.as_bytes())?;
    Ok(name)
}

/// Holds the name of the device.
const DEVICE_FILE: &str = "device";

/// Keeps device names short enough for one column.
const DEVICE_START_CHARS_MAX: usize = 24;

#[cfg(test)]
mod tests;
