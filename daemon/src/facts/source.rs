//! Where facts read the log: the journal's reader, or a list in tests.

use std::error::Error;

/// Whatever kept the log from being read.
pub type SourceError = Box<dyn Error + Send + Sync>;

/// One entry of the log as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stored {
    pub seq: u64,
    /// The bytes of a `v1::Record`, exactly as the hash chain covers them.
    pub record: Vec<u8>,
}

/// A reader of the log. Implemented by the journal; each holder has its own.
pub trait LogSource: Send {
    /// The id that the log was made with, and its epoch.
    ///
    /// # Errors
    /// If the log cannot be read.
    fn identity(&mut self) -> Result<([u8; 16], u64), SourceError>;

    /// The latest seq, 0 for an empty log.
    ///
    /// # Errors
    /// If the log cannot be read.
    fn head(&mut self) -> Result<u64, SourceError>;

    /// Up to `at_most` entries with a greater seq, in order of seq.
    ///
    /// # Errors
    /// If the log cannot be read.
    fn after(&mut self, seq: u64, at_most: usize) -> Result<Vec<Stored>, SourceError>;

    /// One entry.
    ///
    /// # Errors
    /// If the log cannot be read.
    fn one(&mut self, seq: u64) -> Result<Option<Stored>, SourceError>;
}

/// Gives each holder (writer, every concurrent read) a reader of its own.
pub trait LogSources: Send + Sync {
    /// # Errors
    /// If the log cannot be opened.
    fn open(&self) -> Result<Box<dyn LogSource>, SourceError>;
}
