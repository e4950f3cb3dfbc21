//! A disk at a power cut: what was flushed is there, and of everything else
//! some is, some is not, and some is there in part.
//!
//! More hostile than any one file system: changes that wait for a flush are
//! kept or lost one by one, in sectors, in any order; a new, moved or removed
//! name is sure only after a flush of its folder, whatever was done with its file.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;

use rand::{Rng, RngExt as _};

use crate::trace::Event;

/// What a disk writes whole or not at all.
const SECTOR_BYTES: usize = 512;

/// How much of what was not flushed survives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Survives {
    Nothing,
    /// As after a kill of the process.
    Everything,
    /// Changes up to some moment, the last of them in part.
    InOrder,
    /// Each change by chance: kept, lost, or some sectors of it.
    Anything,
}

pub(crate) const SURVIVES: [Survives; 4] = [
    Survives::Nothing,
    Survives::Everything,
    Survives::InOrder,
    Survives::Anything,
];

#[derive(Debug, Clone)]
enum Change {
    Write { offset: usize, data: Vec<u8> },
    Truncate { length: usize },
}

/// Whether a change is on the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Waits,
    /// A flush failed on it. The system may have given it up and call it
    /// clean, so that a later flush leaves it out and succeeds all the same.
    GivenUp,
    Flushed,
}

#[derive(Debug, Clone, Default)]
struct Inode {
    flushed: Vec<u8>,
    changes: Vec<(Change, Standing)>,
}

impl Inode {
    fn flush(&mut self) {
        for (_, standing) in &mut self.changes {
            if *standing == Standing::Waits {
                *standing = Standing::Flushed;
            }
        }
        let sure = self
            .changes
            .iter()
            .take_while(|(_, s)| *s == Standing::Flushed)
            .count();
        for (change, _) in self.changes.drain(..sure) {
            apply(&mut self.flushed, &change);
        }
    }

    fn survivor(&self, how: Survives, rng: &mut impl Rng) -> Vec<u8> {
        let mut bytes = self.flushed.clone();
        let moment = rng.random_range(0..=self.changes.len());
        for (at, (change, standing)) in self.changes.iter().enumerate() {
            let kept = match (standing, how) {
                (Standing::Flushed, _) | (_, Survives::Everything) => Kept::Whole,
                (_, Survives::Nothing) => Kept::Not,
                (_, Survives::InOrder) => match at.cmp(&moment) {
                    std::cmp::Ordering::Less => Kept::Whole,
                    std::cmp::Ordering::Equal => Kept::InPart,
                    std::cmp::Ordering::Greater => Kept::Not,
                },
                (_, Survives::Anything) => match rng.random_range(0..3) {
                    0 => Kept::Whole,
                    1 => Kept::InPart,
                    _ => Kept::Not,
                },
            };
            match (kept, change) {
                (Kept::Not, _) | (Kept::InPart, Change::Truncate { .. }) => {}
                (Kept::Whole, change) => apply(&mut bytes, change),
                (Kept::InPart, Change::Write { offset, data }) => {
                    tear(&mut bytes, *offset, data, rng);
                }
            }
        }
        bytes
    }
}

#[derive(Debug, Clone, Copy)]
enum Kept {
    Whole,
    InPart,
    Not,
}

fn apply(bytes: &mut Vec<u8>, change: &Change) {
    match change {
        Change::Write { offset, data } => {
            let end = offset + data.len();
            if bytes.len() < end {
                bytes.resize(end, 0);
            }
            bytes[*offset..end].copy_from_slice(data);
        }
        Change::Truncate { length } => bytes.resize(*length, 0),
    }
}

/// Writes some of the sectors that a write touches.
fn tear(bytes: &mut Vec<u8>, offset: usize, data: &[u8], rng: &mut impl Rng) {
    let mut at = 0;
    while at < data.len() {
        let next = (SECTOR_BYTES - (offset + at) % SECTOR_BYTES).min(data.len() - at);
        if rng.random_bool(0.5) {
            let sector = Change::Write {
                offset: offset + at,
                data: data[at..at + next].to_vec(),
            };
            apply(bytes, &sector);
        }
        at += next;
    }
}

#[derive(Debug, Clone)]
enum Naming {
    Put {
        path: String,
        inode: usize,
    },
    Move {
        from: String,
        to: String,
        inode: usize,
    },
    Remove {
        path: String,
    },
    Folder {
        path: String,
    },
}

impl Naming {
    fn folder(&self) -> &str {
        let path = match self {
            Self::Put { path, .. } | Self::Remove { path } | Self::Folder { path } => path,
            Self::Move { to, .. } => to,
        };
        path.rsplit_once('/').map_or("", |(folder, _)| folder)
    }
}

#[derive(Debug, Clone, Default)]
struct Names {
    files: BTreeMap<String, usize>,
    folders: BTreeSet<String>,
}

impl Names {
    fn apply(&mut self, naming: &Naming) {
        match naming {
            Naming::Put { path, inode } => {
                self.files.insert(path.clone(), *inode);
            }
            Naming::Move { from, to, inode } => {
                self.files.remove(from);
                self.files.insert(to.clone(), *inode);
            }
            Naming::Remove { path } => {
                self.files.remove(path);
                self.folders.remove(path);
            }
            Naming::Folder { path } => {
                self.folders.insert(path.clone());
            }
        }
    }
}

/// The folder that was watched, as the disk has it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Disk {
    inodes: Vec<Inode>,
    of_ino: HashMap<u64, usize>,
    /// As running processes see them.
    names: Names,
    flushed_names: Names,
    namings: Vec<Naming>,
}

impl Disk {
    /// Follows one line of the trace.
    pub(crate) fn follow(&mut self, event: &Event) {
        match event {
            Event::Create { ino, path } => {
                let inode = self.inodes.len();
                self.inodes.push(Inode::default());
                self.of_ino.insert(*ino, inode);
                self.name(Naming::Put {
                    path: path.clone(),
                    inode,
                });
            }
            Event::Write { ino, offset, data } => {
                let change = Change::Write {
                    offset: usize::try_from(*offset).expect("an offset"),
                    data: data.clone(),
                };
                self.inode(*ino).changes.push((change, Standing::Waits));
            }
            Event::Truncate { ino, length } => {
                let length = usize::try_from(*length).expect("a length");
                let change = Change::Truncate { length };
                self.inode(*ino).changes.push((change, Standing::Waits));
            }
            Event::Sync { ino } => self.inode(*ino).flush(),
            Event::SyncFailed { ino } => {
                if !self.of_ino.contains_key(ino) {
                    return;
                }
                for (_, standing) in &mut self.inode(*ino).changes {
                    if *standing == Standing::Waits {
                        *standing = Standing::GivenUp;
                    }
                }
            }
            Event::SyncFolder { path } => {
                let (sure, waits): (Vec<_>, Vec<_>) = self
                    .namings
                    .drain(..)
                    .partition(|naming| naming.folder() == path);
                for naming in &sure {
                    self.flushed_names.apply(naming);
                }
                self.namings = waits;
            }
            Event::Rename { from, to } => {
                let inode = *self.names.files.get(from).expect("a known file is renamed");
                self.name(Naming::Move {
                    from: from.clone(),
                    to: to.clone(),
                    inode,
                });
            }
            Event::Unlink { path } => self.name(Naming::Remove { path: path.clone() }),
            Event::Link { from, to } => {
                let inode = *self.names.files.get(from).expect("a known file is linked");
                self.name(Naming::Put {
                    path: to.clone(),
                    inode,
                });
            }
            Event::MakeFolder { path } => {
                // The watched folder itself is the test's.
                if !path.is_empty() {
                    self.name(Naming::Folder { path: path.clone() });
                }
            }
            Event::Promised { .. } => {}
        }
    }

    fn name(&mut self, naming: Naming) {
        self.names.apply(&naming);
        self.namings.push(naming);
    }

    fn inode(&mut self, ino: u64) -> &mut Inode {
        let at = *self
            .of_ino
            .get(&ino)
            .expect("a file that was made while watched");
        &mut self.inodes[at]
    }

    /// Writes to an empty folder what a power cut may leave at this moment.
    pub(crate) fn cut(&self, how: Survives, rng: &mut impl Rng, to: &Path) {
        let mut names = self.flushed_names.clone();
        let moment = rng.random_range(0..=self.namings.len());
        for (at, naming) in self.namings.iter().enumerate() {
            let kept = match how {
                Survives::Nothing => false,
                Survives::Everything => true,
                Survives::InOrder => at < moment,
                Survives::Anything => rng.random_bool(0.5),
            };
            if kept {
                names.apply(naming);
            }
        }
        for folder in &names.folders {
            std::fs::create_dir_all(to.join(folder)).expect("a folder");
        }
        for (path, inode) in &names.files {
            let path = to.join(path);
            // A file goes with the folder that was not flushed.
            if path.parent().is_some_and(Path::is_dir) {
                let bytes = self.inodes[*inode].survivor(how, rng);
                std::fs::write(path, bytes).expect("a surviving file");
            }
        }
    }
}

/// Where a cut may find something: before and after each flush and each change
/// of names, and some places between.
pub(crate) fn places(events: &[Event], wanted: usize, rng: &mut impl Rng) -> BTreeSet<usize> {
    let telling: Vec<usize> = events
        .iter()
        .enumerate()
        .filter(|(_, event)| !matches!(event, Event::Write { .. } | Event::Promised { .. }))
        .flat_map(|(at, _)| [at, at + 1])
        .collect();
    let mut places = BTreeSet::from([0, events.len()]);
    let possible = events.len() + 1;
    while places.len() < wanted.min(possible) {
        places.insert(if rng.random_bool(0.5) {
            telling[rng.random_range(0..telling.len())]
        } else {
            rng.random_range(0..possible)
        });
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha12Rng;

    fn left(events: &[Event], how: Survives, seed: u64) -> Option<Vec<u8>> {
        let mut disk = Disk::default();
        for event in events {
            disk.follow(event);
        }
        let folder = crate::folder();
        disk.cut(how, &mut ChaCha12Rng::seed_from_u64(seed), folder.path());
        std::fs::read(folder.path().join("a")).ok()
    }

    fn write(data: &[u8]) -> Event {
        Event::Write {
            ino: 1,
            offset: 0,
            data: data.to_vec(),
        }
    }

    #[test]
    fn only_what_was_flushed_is_sure() {
        let create = Event::Create {
            ino: 1,
            path: "a".into(),
        };
        let folder = Event::SyncFolder {
            path: String::new(),
        };
        let mut events = vec![create.clone(), write(b"one"), Event::Sync { ino: 1 }];
        assert_eq!(
            left(&events, Survives::Nothing, 1),
            None,
            "its name was not"
        );
        events.push(folder);
        assert_eq!(left(&events, Survives::Nothing, 1).unwrap(), b"one");
        events.push(write(b"two"));
        assert_eq!(left(&events, Survives::Nothing, 1).unwrap(), b"one");
        assert_eq!(left(&events, Survives::Everything, 1).unwrap(), b"two");
        let seen: BTreeSet<Vec<u8>> = (0..40)
            .map(|seed| left(&events, Survives::Anything, seed).unwrap())
            .collect();
        assert_eq!(seen, BTreeSet::from([b"one".to_vec(), b"two".to_vec()]));
        events.push(Event::Sync { ino: 1 });
        assert_eq!(left(&events, Survives::Nothing, 1).unwrap(), b"two");
    }

    #[test]
    fn a_write_may_be_torn_between_sectors_and_a_failed_flush_is_never_made_good() {
        let mut events = vec![
            Event::Create {
                ino: 1,
                path: "a".into(),
            },
            write(&[1; 1024]),
            Event::Sync { ino: 1 },
            Event::SyncFolder {
                path: String::new(),
            },
            write(&[2; 1024]),
            Event::SyncFailed { ino: 1 },
            Event::Sync { ino: 1 },
        ];
        let kinds = |events: &[Event]| -> BTreeSet<(u8, u8)> {
            (0..60)
                .map(|seed| {
                    let bytes = left(events, Survives::Anything, seed).unwrap();
                    (bytes[0], bytes[1023])
                })
                .collect()
        };
        assert_eq!(
            kinds(&events),
            BTreeSet::from([(1, 1), (1, 2), (2, 1), (2, 2)])
        );
        // Written again and flushed, it is there.
        events.extend([write(&[3; 1024]), Event::Sync { ino: 1 }]);
        assert_eq!(kinds(&events), BTreeSet::from([(3, 3)]));
    }
}
