//! What is learned from released jobs, kept in memory beside the facts.
//!
//! It holds one record for each released job and the fit of them. Brought up
//! to a newer cursor it reads the jobs that were touched since, and fits again
//! only where a record or the catalogue changed. The writer never waits for it:
//! it reads on connections of its own, after a post was acknowledged.
//!
//! Nothing here is kept: after a restart it is built again, at the first
//! question or in the background, whichever comes first. A fit depends on the
//! records and the catalogue alone, not on the fit before it, so the figures of
//! an old seq come out as they were.

mod follow;
mod records;

use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::row::Row;
use baywright_proto::v1;
use baywright_report::quote::Learnt;
use baywright_terms::time::Micros;
use tokio::sync::watch;

use crate::facts::reader::View;
use crate::facts::{FactsError, Touched};
use crate::metrics::Metrics;

pub use follow::follow;
pub use records::Records;
use records::Reread;

/// What was learned up to a seq.
#[derive(Debug, Clone)]
pub struct Known {
    /// The last seq that it counts.
    pub cursor_seq: u64,
    /// Fits made since the start: two of the same number are of the same records.
    pub fits: u64,
    pub records: Arc<Records>,
    pub learnt: Arc<Learnt>,
}

/// What a retrace is worked out of: the fit stands for records and catalogue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retraced {
    fits: u64,
    quoted: Vec<(JobKey, EventId)>,
    decided: Vec<Seq>,
}

impl Retraced {
    /// Of what is known and the rows of all quotes.
    pub fn of(known: &Known, rows: &[Row]) -> Self {
        let mut of = Self {
            fits: known.fits,
            quoted: Vec::new(),
            decided: Vec::new(),
        };
        for row in rows {
            match row {
                Row::JobOpened(job) => of.quoted.extend(job.quote.map(|quote| (job.job, quote))),
                Row::QuoteDecided(row) => of.decided.push(row.seq),
                Row::Quote(row) => of.decided.push(row.seq),
                _ => {}
            }
        }
        of
    }
}

/// Holds what is known at the head. Shared by all calls.
#[derive(Default)]
pub struct Learner {
    held: Mutex<Option<Held>>,
    /// How quotes would have held, and what that was worked out of.
    retraced: Mutex<Option<(Retraced, v1::Honesty)>>,
    /// The last seq that what is held counts; 0: nothing is held yet.
    learned: watch::Sender<u64>,
    metrics: Arc<Metrics>,
}

/// What is known, and the catalogue that it was fitted under.
struct Held {
    known: Known,
    catalogues: Arc<Catalogues>,
    /// From when the catalogue in force holds: one may begin to without a post.
    in_force_from: Micros,
}

impl fmt::Debug for Learner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Learner").finish_non_exhaustive()
    }
}

impl Learner {
    /// One that counts what it does.
    pub fn counting(metrics: Arc<Metrics>) -> Self {
        Self {
            metrics,
            ..Self::default()
        }
    }

    /// What is known at the cursor of a view of the head, or at a later one that
    /// another call has brought it up to. Whoever asks while it is fitted waits
    /// for that.
    ///
    /// # Errors
    /// If the database fails. It is then built anew by the next call.
    pub fn at_head(&self, view: &View<'_>, now: Micros) -> Result<Known, FactsError> {
        // A holder that panicked or failed has left nothing half done: what was
        // held is taken out first.
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let begun = Instant::now();
        let fits_before = held.as_ref().map_or(0, |held| held.known.fits);
        let moved = match held.take() {
            Some(before) => before.moved_to(view, now)?,
            None => Held::new(view, now, 0)?,
        };
        let known = moved.known.clone();
        if known.fits != fits_before {
            self.metrics.refitted(begun.elapsed());
        }
        *held = Some(moved);
        self.learned.send_replace(known.cursor_seq);
        Ok(known)
    }

    /// What working out honesty anew gives, or gave for the same records and
    /// quotes. It takes seconds: whoever asks meanwhile waits for it, nothing else does.
    pub fn retraced(&self, of: Retraced, retrace: impl FnOnce() -> v1::Honesty) -> v1::Honesty {
        let mut kept = self.retraced.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, honesty)) = kept.as_ref().filter(|(known, _)| *known == of) {
            return honesty.clone();
        }
        let begun = Instant::now();
        let honesty = retrace();
        tracing::info!(
            jobs = honesty.jobs,
            took_us = micros(begun.elapsed()),
            "retraced"
        );
        *kept = Some((of, honesty.clone()));
        honesty
    }

    /// How far it has come, to wait on.
    pub fn learned(&self) -> watch::Receiver<u64> {
        self.learned.subscribe()
    }
}

/// What the records of a view of the past say, worked out from the start and
/// without touching what is held.
///
/// # Errors
/// If the database fails.
pub fn afresh(view: &View<'_>, as_of: Micros) -> Result<Known, FactsError> {
    Ok(Held::new(view, as_of, 0)?.known)
}

impl Held {
    /// Reads everything.
    fn new(view: &View<'_>, now: Micros, fits: u64) -> Result<Self, FactsError> {
        let begun = Instant::now();
        let records = Records::read(view)?;
        let read = begun.elapsed();
        let reread = Reread {
            jobs: records.all().len(),
            changed: records.all().len(),
        };
        let held = Self::fitted(view, now, Arc::new(records), fits.saturating_add(1));
        held.tell("all was read", reread, read, begun.elapsed());
        Ok(held)
    }

    /// The same at the cursor of a view, where that is a later one.
    fn moved_to(mut self, view: &View<'_>, now: Micros) -> Result<Self, FactsError> {
        if view.cursor() < self.known.cursor_seq {
            return Ok(self);
        }
        let catalogues = view.catalogues();
        if !Arc::ptr_eq(&catalogues, &self.catalogues) {
            // Units, classes and zones of records are the catalogue's.
            return Self::new(view, now, self.known.fits);
        }
        let begun = Instant::now();
        let touched = view.touched_since(self.known.cursor_seq)?;
        let reread = if touched == Touched::default() {
            Reread::default()
        } else {
            // Copied only where somebody still quotes from what was.
            Arc::make_mut(&mut self.known.records).read_again(view, &touched)?
        };
        let read = begun.elapsed();
        let begins = catalogues.at(now).from != self.in_force_from;
        if reread.changed == 0 && !begins {
            self.known.cursor_seq = view.cursor();
            return Ok(self);
        }
        let Known { records, fits, .. } = self.known;
        let held = Self::fitted(view, now, records, fits.saturating_add(1));
        let reason = if begins {
            "another catalogue holds"
        } else {
            "records changed"
        };
        held.tell(reason, reread, read, begun.elapsed());
        Ok(held)
    }

    fn fitted(view: &View<'_>, now: Micros, records: Arc<Records>, fits: u64) -> Self {
        let catalogues = view.catalogues();
        let learnt = Learnt::of(records.all(), &catalogues, now);
        Self {
            known: Known {
                cursor_seq: view.cursor(),
                fits,
                records,
                learnt: Arc::new(learnt),
            },
            in_force_from: catalogues.at(now).from,
            catalogues,
        }
    }

    fn tell(&self, reason: &str, reread: Reread, read: Duration, whole: Duration) {
        tracing::info!(
            reason,
            jobs_read = reread.jobs,
            records_changed = reread.changed,
            records = self.known.records.all().len(),
            read_us = micros(read),
            fit_us = micros(whole.saturating_sub(read)),
            cursor_seq = self.known.cursor_seq,
            "learned"
        );
    }
}

fn micros(took: Duration) -> u64 {
    u64::try_from(took.as_micros()).unwrap_or(u64::MAX)
}
