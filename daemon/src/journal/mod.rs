//! The log: append-only, hash-chained, on disk before it is acknowledged.
//!
//! [`append`] decides and appends a batch of posts, synchronously and with the
//! time given to it; [`writer`] is the one thread that calls it; [`reader`]
//! reads beside it through connections of its own.

pub mod append;
#[cfg(test)]
mod append_tests;
pub mod chain;
mod codes;
pub mod follow;
pub mod post;
pub mod reader;
pub mod refusal;
pub mod restored;
pub mod room;
pub mod schema;
pub mod time;
pub mod verify;
pub mod writer;

pub use append::{Journal, Kept, Outcome, Step, append_batch, append_batch_by_steps};
pub use chain::Hash;
pub use post::Intake;
pub use reader::{LogEntry, LogReader, LogReaders};
pub use refusal::Refusal;
pub use restored::Restored;

/// What the log is: made with it, and kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meta {
    pub log_id: [u8; 16],
    /// Grows at each restore from a backup.
    pub epoch: u64,
}

/// The log could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    #[error("the log's database failed")]
    Database(#[from] rusqlite::Error),
    #[error("the log's file cannot be made or opened")]
    File(#[source] std::io::Error),
    #[error("the file is not a Baywright log")]
    NotALog,
    #[error(
        "the log's file is damaged so that nothing in it can be read: keep it, and put back a backup"
    )]
    Damaged,
    #[error(
        "the log has layout {found}, this build knows {}: use the build that wrote it, or a newer one",
        schema::FORMAT_VERSION
    )]
    OtherFormat { found: i64 },
    #[error(
        "the data directory cannot hold a write-ahead log (journal mode stayed `{mode}`): it must be on a local disk"
    )]
    NoWriteAheadLog { mode: String },
    #[error("record {seq} cannot be decoded")]
    Undecodable {
        seq: u64,
        #[source]
        source: prost::DecodeError,
    },
}

/// SQLite's integers are signed; the log writes only values that are not negative.
pub(crate) fn from_sql(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(0)
}

/// A number as SQLite takes it; seqs stay far below the limit.
pub(crate) fn to_sql(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}
