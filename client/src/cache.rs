//! What the bay remembers of the daemon: the catalogue and the floor as it was
//! last seen. Both can be dropped at any time; they are fetched again.

use std::cell::OnceCell;
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use baywright_proto::v1;
use baywright_terms::catalogue::Catalogue;
use prost::Message as _;

use crate::error::Error;

/// Files of the cache in the data folder.
#[derive(Debug)]
pub struct Cache {
    folder: PathBuf,
    catalogue: OnceCell<Option<Held>>,
}

/// The catalogue as it was fetched.
#[derive(Debug)]
struct Held {
    revision: u64,
    catalogue: Catalogue,
}

impl Cache {
    pub fn at(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            catalogue: OnceCell::new(),
        }
    }

    /// The cached catalogue; `None` where there is none or it cannot be read.
    pub fn catalogue(&self) -> Option<&Catalogue> {
        self.held().map(|h| &h.catalogue)
    }

    /// The revision of the cached catalogue; 0: none.
    pub fn revision(&self) -> u64 {
        self.held().map_or(0, |h| h.revision)
    }

    fn held(&self) -> Option<&Held> {
        self.catalogue
            .get_or_init(|| {
                let bytes = fs::read(self.folder.join("catalogue")).ok()?;
                let answer = v1::GetCatalogueResponse::decode(&*bytes).ok()?;
                Some(Held {
                    revision: answer.revision,
                    catalogue: words_of(&answer.catalogue?)?,
                })
            })
            .as_ref()
    }

    /// Keeps a catalogue; [`Cache::catalogue`] of the next run reads it.
    pub fn keep_catalogue(&self, answer: &v1::GetCatalogueResponse) -> Result<(), Error> {
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

/// The catalogue in the words of `baywright-terms`. Until the conversions of
/// `baywright-proto` are there, no copy can be read.
fn words_of(_catalogue: &v1::Catalogue) -> Option<Catalogue> {
    None
}

/// Makes the data folder for this user alone.
pub fn make_folder(folder: &Path) -> Result<(), Error> {
    fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
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
