//! Facts that failed come back by themselves: nobody stands at the server.
//!
//! The writer fences a failure of the facts and goes on without them. This asks
//! it to try again, or opens or makes the file anew, at growing intervals.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use crate::facts::{Facts, FactsError, LogSources as _};
use crate::journal::LogReaders;
use crate::journal::follow::{Follower, Standing};
use crate::journal::writer::Writer;
use crate::lock::DataLock;

/// First wait before a failure is tried again, milliseconds. A disk that was
/// full for a moment costs readers no more than this.
const WAIT_MS_MIN: u64 = 500;

/// Longest wait: whoever made room on the disk looks again after about a minute.
const WAIT_MS_MAX: u64 = 60_000;

/// Opens facts on a thread of their own, so that bays can post while a long
/// rebuild runs, and hands them to the writer.
#[derive(Debug)]
pub(crate) struct Opener {
    data_dir: PathBuf,
    writer: Writer,
    /// The data directory stays ours until the thread has let go of it too.
    lock: Arc<DataLock>,
}

impl Opener {
    pub(crate) fn new(data_dir: &Path, lock: &Arc<DataLock>, writer: &Writer) -> Self {
        Self {
            data_dir: data_dir.to_owned(),
            writer: writer.clone(),
            lock: Arc::clone(lock),
        }
    }

    /// Opens them as they are, or makes them anew where they are damaged. The
    /// receiver ends when the writer has the outcome.
    ///
    /// # Errors
    /// If the system gives no thread.
    pub(crate) fn open(
        &self,
        standing: Standing,
    ) -> std::io::Result<tokio::sync::oneshot::Receiver<()>> {
        let data_dir = self.data_dir.clone();
        let writer = self.writer.clone();
        let lock = Arc::clone(&self.lock);
        let (done, opened_at) = tokio::sync::oneshot::channel();
        std::thread::Builder::new()
            .name("facts-opener".to_owned())
            .spawn(move || {
                let opened = catch_unwind(AssertUnwindSafe(|| open_now(&data_dir, standing)));
                let opened = opened
                    .unwrap_or_else(|_| Err(FactsError::Damaged("the fold panicked".to_owned())));
                writer.follow(opened);
                drop(lock);
                // Whoever waited may be gone: the daemon stops.
                let _ = done.send(());
            })?;
        Ok(opened_at)
    }
}

fn open_now(data_dir: &Path, standing: Standing) -> Result<Box<dyn Follower>, FactsError> {
    let log = LogReaders::new(data_dir)
        .open()
        .map_err(FactsError::Source)?;
    let mut told = 0;
    let mut progress = |progress: crate::facts::Progress| {
        // A line for each tenth, for whoever watches a long start.
        let tenth = progress.folded.saturating_mul(10) / progress.of.max(1);
        if tenth > told {
            told = tenth;
            tracing::info!(
                folded = progress.folded,
                of = progress.of,
                "working out the facts"
            );
        }
    };
    let facts = if standing == Standing::Damaged {
        Facts::open_anew(data_dir, log, &mut progress)?
    } else {
        Facts::open(data_dir, log, &mut progress)?
    };
    Ok(Box::new(facts))
}

/// Brings facts back until the stop.
pub(crate) async fn follow(opener: Opener, writer: Writer, stop: CancellationToken) {
    let mut heads = writer.heads();
    let mut wait_ms = WAIT_MS_MIN;
    loop {
        let failed = heads.wait_for(|heads| {
            heads.closed || heads.facts == Standing::Behind || heads.facts.needs_opening()
        });
        tokio::select! {
            () = stop.cancelled() => return,
            failed = failed => match failed {
                Ok(heads) if !heads.closed => {}
                _ => return,
            },
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(Duration::from_millis(wait_ms)) => {}
        }
        let standing = heads.borrow_and_update().facts;
        match standing {
            Standing::Behind => writer.retry_facts().await,
            Standing::Broken | Standing::Damaged => match opener.open(standing) {
                Ok(opened) => tokio::select! {
                    () = stop.cancelled() => return,
                    // It ends without a word only with the writer.
                    _ = opened => {}
                },
                Err(error) => {
                    tracing::warn!(%error, "no thread to open the facts; trying later");
                    wait_ms = wait_ms.saturating_mul(2).min(WAIT_MS_MAX);
                    continue;
                }
            },
            // A post was quicker.
            Standing::Opening | Standing::Following => continue,
        }
        // What became of it, told by the writer.
        tokio::select! {
            () = stop.cancelled() => return,
            changed = heads.changed() => if changed.is_err() { return },
        }
        wait_ms = if heads.borrow().facts == Standing::Following {
            WAIT_MS_MIN
        } else {
            wait_ms.saturating_mul(2).min(WAIT_MS_MAX)
        };
    }
}
