//! What the bay remembers of the daemon: the catalogue and the floor as it was
//! last seen. Both can be dropped at any time; they are fetched again.

use std::cell::RefCell;
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};
use std::rc::Rc;

use baywright_proto::catalogue::from_wire;
use baywright_proto::v1;
use baywright_terms::catalogue::Catalogue;
use prost::Message as _;

use crate::error::Error;

/// Files of the cache in the data folder.
#[derive(Debug)]
pub struct Cache {
    folder: PathBuf,
    /// Read once in a run; `Unread` until asked for.
    catalogue: RefCell<Read>,
}

#[derive(Debug, Clone)]
enum Read {
    Unread,
    None,
    Held(Rc<Held>),
}

/// The catalogue as it was fetched. Revision 0 is the first day's: empty.
#[derive(Debug)]
pub struct Held {
    pub revision: u64,
    pub catalogue: Catalogue,
}

impl Cache {
    pub fn at(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            catalogue: RefCell::new(Read::Unread),
        }
    }

    /// The cached catalogue; `None` where there is none or it cannot be read.
    pub fn held(&self) -> Option<Rc<Held>> {
        let mut read = self.catalogue.borrow_mut();
        if matches!(*read, Read::Unread) {
            *read = match self.read() {
                Some(held) => Read::Held(Rc::new(held)),
                None => Read::None,
            };
        }
        match &*read {
            Read::Held(held) => Some(Rc::clone(held)),
            Read::Unread | Read::None => None,
        }
    }

    fn read(&self) -> Option<Held> {
        let bytes = fs::read(self.folder.join("catalogue")).ok()?;
        let answer = v1::GetCatalogueResponse::decode(&*bytes).ok()?;
        Some(held_of(&answer))
    }

    /// Keeps a catalogue, for this run and the next ones.
    pub fn keep_catalogue(&self, answer: &v1::GetCatalogueResponse) -> Result<(), Error> {
        *self.catalogue.borrow_mut() = Read::Held(Rc::new(held_of(answer)));
        write_whole(&self.folder, "catalogue", &answer.encode_to_vec())
    }

    /// The floor as it was last seen.
    pub fn now(&self) -> Option<v1::NowResponse> {
        let bytes = fs::read(self.folder.join("now")).ok()?;
        v1::NowResponse::decode(&*bytes).ok()
    }

    pub fn keep_now(&self, now: &v1::NowResponse) -> Result<(), Error> {
        write_whole(&self.folder, "now", &now.encode_to_vec())
    }
}

fn held_of(answer: &v1::GetCatalogueResponse) -> Held {
    Held {
        revision: answer.revision,
        catalogue: answer.catalogue.as_ref().map(from_wire).unwrap_or_default(),
    }
}

/// Makes the data folder for this user alone.
pub fn make_folder(folder: &Path) -> Result<(), Error> {
    if folder.is_dir() {
        return Ok(());
    }
    fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        // A folder that a power cut takes back would take its facts with it.
        .and_then(|()| match folder.parent() {
            Some(parent) if parent.is_dir() => fs::File::open(parent)?.sync_all(),
            _ => Ok(()),
        })
        .map_err(|e| Error::file("Making", folder, &e))
}

/// Writes a file beside and renames it, so that a reader sees the old or the
/// new one, whole.
pub fn write_whole(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), Error> {
    make_folder(folder)?;
    let path = folder.join(name);
    let beside = folder.join(format!("{name}.{}.new", std::process::id()));
    let write = || -> std::io::Result<()> {
        let mut file = fs::OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(&beside)?;
        file.write_all(bytes)?;
        file.sync_data()?;
        fs::rename(&beside, &path)
    };
    write().map_err(|e| {
        let _ = fs::remove_file(&beside);
        Error::file("Writing", &path, &e)
    })
}
