//! Reading beside the writer: blocking work on threads made for it, at most a
//! few at once, and never before the facts have what the caller could know of.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Semaphore, watch};
use tokio_util::sync::CancellationToken;
use tonic::{Code, Status};

use super::limits::{Bound, Limits, Over};
use super::status::{self, reason};
use crate::facts::{FactsError, reader::FactsReader};
use crate::journal::follow::Standing;
use crate::journal::writer::Heads;
use crate::journal::{JournalError, LogReader, LogReaders};

/// Reads at once. More would only take turns on the shop's small server, and
/// each holds a connection and its cache.
const READS_MAX: usize = 4;

/// Questions that may wait for a turn. A shop's screens ask a dozen at once;
/// each that waits holds its question and its caller.
pub const READS_WAITING_MAX: usize = 64;

/// Longest wait for the facts to reach the log's head. They are usually there
/// within a millisecond; a fold of a very late event can take a moment.
const FACTS_WAIT_MS_MAX: u64 = 4_000;

/// Longest wait for a turn, and for an answer. Reports may fold a whole log (`as_of_seq`).
const READ_MS_MAX: u64 = 120_000;

/// Reads the log and the facts for the services. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Reads(Arc<Inner>);

struct Inner {
    data_dir: PathBuf,
    heads: watch::Receiver<Heads>,
    turns: Semaphore,
    /// Reads that wait for a turn or have one.
    asked: Semaphore,
    limits: Limits,
    /// Connections that wait for the next read.
    logs: Mutex<Vec<LogReader>>,
    /// Opened with the first read, since at the start there may be no file yet,
    /// and again with the first read after each opening of the facts.
    facts: Mutex<Option<(u64, Arc<FactsReader>)>>,
    stop: CancellationToken,
}

impl std::fmt::Debug for Inner {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Inner")
            .field("data_dir", &self.data_dir)
            .finish_non_exhaustive()
    }
}

impl Reads {
    pub fn new(
        data_dir: &Path,
        heads: watch::Receiver<Heads>,
        limits: Limits,
        stop: CancellationToken,
    ) -> Self {
        Self(Arc::new(Inner {
            data_dir: data_dir.to_owned(),
            heads,
            turns: Semaphore::new(READS_MAX),
            asked: Semaphore::new(READS_MAX + READS_WAITING_MAX),
            limits,
            logs: Mutex::new(Vec::new()),
            facts: Mutex::new(None),
            stop,
        }))
    }

    /// Where the log and the facts are at this moment.
    pub fn heads(&self) -> Heads {
        self.0.heads.borrow().clone()
    }

    /// A receiver of its own, to wait on.
    pub fn follow_heads(&self) -> watch::Receiver<Heads> {
        self.0.heads.clone()
    }

    /// The data directory.
    pub fn data_dir(&self) -> &Path {
        &self.0.data_dir
    }

    /// Reads the log.
    pub async fn log<T: Send + 'static>(
        &self,
        read: impl FnOnce(&LogReader) -> Result<T, JournalError> + Send + 'static,
    ) -> Result<T, Status> {
        let inner = Arc::clone(&self.0);
        self.in_turn(move || {
            let kept = lock(&inner.logs).pop();
            let reader = match kept {
                Some(reader) => reader,
                None => LogReader::open(&inner.data_dir)?,
            };
            let result = read(&reader);
            if result.is_ok() {
                lock(&inner.logs).push(reader);
            }
            result
        })
        .await?
        .map_err(|error| status::internal("reading the log", &error))
    }

    /// Reads the facts, once they have everything that was in the log when this was called.
    pub async fn facts<T: Send + 'static>(
        &self,
        read: impl FnOnce(&FactsReader) -> Result<T, FactsError> + Send + 'static,
    ) -> Result<T, Status> {
        let head = self.0.heads.borrow().log_seq;
        self.facts_at(head).await?;
        let inner = Arc::clone(&self.0);
        self.in_turn(move || read(&*inner.facts()?))
            .await?
            .map_err(|error| status::internal("reading the figures", &error))
    }

    /// Waits until readers of facts see a seq.
    pub async fn facts_at(&self, seq: u64) -> Result<(), Status> {
        let mut heads = self.0.heads.clone();
        let reached = heads.wait_for(|heads| {
            heads.facts.needs_opening()
                || heads.closed
                || (heads.facts != Standing::Opening && heads.facts_seq >= seq)
        });
        let waited = tokio::time::timeout(Duration::from_millis(FACTS_WAIT_MS_MAX), reached).await;
        match waited {
            Ok(Ok(heads)) if heads.facts.needs_opening() => Err(status::facts_behind(
                "they broke and are made again from the log; where that goes on for minutes, the daemon's trace names the cause",
            )),
            Ok(Ok(heads)) if heads.facts_seq >= seq => Ok(()),
            Ok(_) => Err(status::stopping()),
            Err(_) if self.heads().facts == Standing::Opening => Err(status::facts_behind(
                "they are being worked out anew; ask again in a minute",
            )),
            Err(_) => Err(status::facts_behind("ask again in a moment")),
        }
    }

    async fn in_turn<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Status> {
        let Ok(_place) = self.0.asked.try_acquire() else {
            let over = Over {
                bound: Bound::ReadsWaiting,
                max: READS_WAITING_MAX,
                in_all: true,
            };
            self.0.limits.over(over.bound, Instant::now());
            return Err(status::over_bound(&over));
        };
        // What the trace says of the work belongs to the call.
        let span = tracing::Span::current();
        let in_time = async {
            let turn = self.0.turns.acquire().await;
            let done = tokio::task::spawn_blocking(move || span.in_scope(work)).await;
            drop(turn);
            done
        };
        tokio::select! {
            () = self.0.stop.cancelled() => Err(status::stopping()),
            done = tokio::time::timeout(Duration::from_millis(READ_MS_MAX), in_time) => match done {
                Ok(Ok(value)) => Ok(value),
                Ok(Err(error)) => Err(status::internal("reading", &error)),
                Err(_) => Err(status::of(
                    Code::DeadlineExceeded,
                    reason::TOO_SLOW,
                    "the answer took too long to work out; ask for less, or again",
                )),
            },
        }
    }
}

impl Inner {
    fn facts(&self) -> Result<Arc<FactsReader>, FactsError> {
        let opened = self.heads.borrow().facts_opened;
        let mut held = lock(&self.facts);
        if let Some((of, reader)) = held.as_ref()
            && *of == opened
        {
            return Ok(Arc::clone(reader));
        }
        let log = Arc::new(LogReaders::new(&self.data_dir));
        let reader = Arc::new(FactsReader::open(&self.data_dir, log)?);
        *held = Some((opened, Arc::clone(&reader)));
        Ok(reader)
    }
}

/// A lock whose holder panicked holds nothing half done here.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
