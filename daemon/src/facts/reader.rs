//! The read side: rows, state and the log of one cursor.

use std::path::Path;
use std::sync::Arc;

use baywright_floor::event::EventId;
use baywright_proto::v1;
use baywright_terms::time::Micros;

use super::{FactsError, LogSources};

/// How a caller names a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobName {
    Number(u64),
    Handle(String),
    Opening(EventId),
}

/// Job number and struck flag of an event, for watchers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counted {
    /// 0: none.
    pub job_number: u64,
    pub struck: bool,
}

/// Reads facts. Every call blocks on SQLite: call it from `spawn_blocking`.
/// Cheap to share behind an `Arc`.
#[allow(missing_debug_implementations)]
pub struct FactsReader {
    _log: Arc<dyn LogSources>,
}

impl FactsReader {
    /// # Errors
    /// If `facts.db` cannot be opened for reading.
    pub fn open(_data_dir: &Path, log: Arc<dyn LogSources>) -> Result<Self, FactsError> {
        Ok(Self { _log: log })
    }

    /// The last seq that readers can see.
    ///
    /// # Errors
    /// If the database fails.
    pub fn cursor(&self) -> Result<u64, FactsError> {
        Ok(0)
    }

    /// Job number and struck flag as of now for each seq asked for.
    ///
    /// # Errors
    /// If the database fails.
    pub fn counted(&self, seqs: &[u64]) -> Result<Vec<Counted>, FactsError> {
        Ok(vec![Counted::default(); seqs.len()])
    }

    /// The catalogue in force at an instant, with its revision.
    ///
    /// # Errors
    /// If the database fails.
    pub fn catalogue(
        &self,
        _at: Micros,
    ) -> Result<(u64, baywright_terms::catalogue::Catalogue), FactsError> {
        Ok((0, baywright_terms::catalogue::Catalogue::default()))
    }

    /// The floor as it is. `bay` empty: all bays.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn now(&self, _bay: &str, _as_of: Micros) -> Result<v1::NowResponse, FactsError> {
        Ok(v1::NowResponse::default())
    }
}
