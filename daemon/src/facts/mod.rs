//! What the fold made of the log, kept in `facts.db` beside it.
//!
//! Everything here can be dropped and rebuilt from the log to the same rows.
//! The writer thread owns [`Facts`]; reads go through [`reader::FactsReader`],
//! which has connections of its own, so a read sees rows and state of one
//! cursor and never waits for the writer.

pub mod reader;
pub mod source;

use std::path::Path;

use baywright_floor::event::EventId;
use baywright_proto::v1;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;

pub use source::{LogSource, LogSources, SourceError, Stored};

/// Name of the facts database in the data directory.
pub const FACTS_FILE: &str = "facts.db";

/// Why facts could not be moved on. The log is not touched by any of these.
#[derive(Debug, thiserror::Error)]
pub enum FactsError {
    #[error("the facts database failed")]
    Database(#[from] rusqlite::Error),
    #[error("the log could not be read")]
    Source(#[source] SourceError),
    #[error("a file of the facts database could not be moved or removed")]
    File(#[from] std::io::Error),
    #[error("what the facts database holds could not be read back: {0}")]
    Damaged(String),
}

/// What the fold has to say about one post, for its receipt.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answer {
    pub seq: u64,
    /// 0: it counts for no job.
    pub job_number: u64,
    /// For example "118 trike-coat, red three-wheeler"; empty without a job.
    pub job_title: String,
    /// Workers it counts for, after the fold has filled them in.
    pub by: Vec<String>,
    pub notices: Vec<v1::Notice>,
    /// Unix microseconds; 0 where no window is known.
    pub level_from_us: i64,
    pub level_until_us: i64,
}

/// How far a catch-up or a rebuild has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    pub folded: u64,
    pub of: u64,
}

/// The facts, as the writer thread moves them on.
#[derive(Debug)]
pub struct Facts {
    catalogue: Catalogue,
}

impl Facts {
    /// Opens `facts.db` in `data_dir`, rebuilding it where it is missing, of
    /// another fold version or damaged, and catches up with the log's head.
    ///
    /// # Errors
    /// If the log cannot be read, or the disk refuses a new database.
    pub fn open(
        _data_dir: &Path,
        _source: Box<dyn LogSource>,
        _progress: &mut dyn FnMut(Progress),
    ) -> Result<Self, FactsError> {
        Err(FactsError::Damaged("to come".to_owned()))
    }

    /// Folds the log up to `seq` into a database in memory, for `--as-of`.
    ///
    /// # Errors
    /// If the log cannot be read.
    pub fn in_memory_as_of(_source: Box<dyn LogSource>, _seq: u64) -> Result<Self, FactsError> {
        Err(FactsError::Damaged("to come".to_owned()))
    }

    /// Folds entries that the log has just committed, and answers for each.
    /// The facts transaction stays open until [`Facts::commit`], so receipts
    /// can go first. Entries already folded are answered again; a gap before
    /// the first is filled from the log.
    ///
    /// # Errors
    /// If the database or the log fails. The cursor then stays where the last
    /// commit left it and the next call catches up: the caller still sends its
    /// receipts, without notices.
    pub fn absorb(&mut self, _stored: &[Stored]) -> Result<Vec<Answer>, FactsError> {
        Ok(Vec::new())
    }

    /// Makes what was absorbed visible to readers.
    ///
    /// # Errors
    /// As for [`Facts::absorb`].
    pub fn commit(&mut self) -> Result<u64, FactsError> {
        Ok(0)
    }

    /// The answer to a post that was folded before, for a repeated post.
    ///
    /// # Errors
    /// If the database fails.
    pub fn answer_for(&mut self, _event: EventId) -> Result<Option<Answer>, FactsError> {
        Ok(None)
    }

    /// The last seq folded and committed.
    pub fn cursor(&self) -> u64 {
        0
    }

    /// The catalogue in force at an instant.
    pub fn catalogue(&self, _at: Micros) -> &Catalogue {
        &self.catalogue
    }

    /// The seq of the latest catalogue_set folded; 0 where there is none.
    pub fn catalogue_revision(&self) -> u64 {
        0
    }
}

/// Folds the whole log into a new `facts.db` beside the old one, then renames
/// it over. Returns the hash of the rows.
///
/// # Errors
/// As for [`Facts::open`].
pub fn rebuild(
    _data_dir: &Path,
    _source: Box<dyn LogSource>,
    _progress: &mut dyn FnMut(Progress),
) -> Result<[u8; 32], FactsError> {
    Err(FactsError::Damaged("to come".to_owned()))
}
