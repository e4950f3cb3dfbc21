//! Figures about the daemon itself, for whoever watches over the server.
//!
//! Names follow the conventions of Prometheus: base units, `_total` on what
//! only grows. Every set of labels is a list of this program's own or is
//! bounded, and no label holds a word of a customer or a worker. Counting
//! costs an atomic addition; nothing here waits for anything.

pub mod delay;
pub mod endpoint;
mod page;
#[cfg(test)]
mod tests;

use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::{Family, MetricConstructor};
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::{Registry, Unit};

use crate::journal::Refusal;
use crate::service::status;
use delay::Delays;

pub use page::{Live, Page};

/// One label of a list of this program's own.
type Label = [(&'static str, &'static str); 1];

/// A counter for each value of a label.
type Counts = Family<Label, Counter>;

/// Bounds of the buckets of what a disk does, seconds: from a cached write on a
/// fast disk to one that a person takes for a hang.
const DISK_SECONDS: [f64; 13] = [
    0.000_5, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0,
];

/// The same for a call: the longest are reports over the whole log.
const CALL_SECONDS: [f64; 11] = [
    0.001, 0.005, 0.01, 0.025, 0.1, 0.25, 0.5, 1.0, 5.0, 30.0, 120.0,
];

/// The same for fitting what is learned: a tenth of a second to a minute.
const FIT_SECONDS: [f64; 9] = [0.01, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, 60.0];

/// Posts in a batch, up to the most there can be.
const BATCH_POSTS: [f64; 9] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0];

/// Everything that is counted while the daemon works. Shared by all of it.
#[derive(Debug)]
pub struct Metrics {
    posts: Counts,
    posts_refused: Counts,
    batch_posts: Histogram,
    commit_seconds: Histogram,
    fold_seconds: Histogram,
    refit_seconds: Histogram,
    calls: Family<CallLabels, Counter>,
    call_seconds: Family<Label, Histogram, Buckets>,
    over_bounds: Counts,
    connections: Family<Label, Gauge>,
    streams: Family<StreamLabels, Gauge>,
    delays: Delays,
    /// Why the last posts could not be written; `None` once one was again.
    not_written: Mutex<Option<String>>,
}

/// A call by its method and how it ended.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct CallLabels {
    method: &'static str,
    code: &'static str,
}

/// An open stream by what it carries and who reads it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct StreamLabels {
    kind: &'static str,
    role: &'static str,
}

/// Makes the histograms of a family.
#[derive(Debug, Clone)]
struct Buckets(&'static [f64]);

impl MetricConstructor<Histogram> for Buckets {
    fn new_metric(&self) -> Histogram {
        Histogram::new(self.0.iter().copied())
    }
}

impl Default for Metrics {
    fn default() -> Self {
        let metrics = Self {
            posts: Counts::default(),
            posts_refused: Counts::default(),
            batch_posts: Histogram::new(BATCH_POSTS),
            commit_seconds: Histogram::new(DISK_SECONDS),
            fold_seconds: Histogram::new(DISK_SECONDS),
            refit_seconds: Histogram::new(FIT_SECONDS),
            calls: Family::default(),
            call_seconds: Family::new_with_constructor(Buckets(&CALL_SECONDS)),
            over_bounds: Counts::default(),
            connections: Family::default(),
            streams: Family::default(),
            delays: Delays::default(),
            not_written: Mutex::new(None),
        };
        // Every series is there from the start, so that a rate can be taken of
        // the first of its kind.
        for outcome in ["kept", "repeated", "refused"] {
            drop(metrics.posts.get_or_create(&[("outcome", outcome)]));
        }
        for reason in status::POST_REASONS {
            drop(metrics.posts_refused.get_or_create(&[("reason", reason)]));
        }
        metrics
    }
}

impl Metrics {
    /// A batch was decided on and what could be kept is on disk.
    pub fn batch<'a>(
        &self,
        outcomes: impl ExactSizeIterator<Item = Result<bool, &'a Refusal>>,
        took: Duration,
    ) {
        self.batch_posts.observe(float(outcomes.len()));
        self.commit_seconds.observe(took.as_secs_f64());
        let mut written = None;
        for outcome in outcomes {
            let outcome = match outcome {
                Ok(repeated) => {
                    written = written.or(Some(Ok(())));
                    if repeated { "repeated" } else { "kept" }
                }
                Err(refusal) => {
                    if let Refusal::NotWritten { why } = refusal {
                        written = Some(Err(why.clone()));
                    }
                    self.refused(refusal);
                    continue;
                }
            };
            self.posts.get_or_create(&[("outcome", outcome)]).inc();
        }
        match written {
            Some(Ok(())) => *self.lock_not_written() = None,
            Some(Err(why)) => *self.lock_not_written() = Some(why),
            None => {}
        }
    }

    /// A post was not kept.
    pub fn refused(&self, refusal: &Refusal) {
        let reason = status::reason_of(refusal);
        self.posts.get_or_create(&[("outcome", "refused")]).inc();
        self.posts_refused
            .get_or_create(&[("reason", reason)])
            .inc();
    }

    /// What was appended is folded, and readers see it.
    pub fn folded(&self, took: Duration) {
        self.fold_seconds.observe(took.as_secs_f64());
    }

    /// What is learned was fitted anew.
    pub fn refitted(&self, took: Duration) {
        self.refit_seconds.observe(took.as_secs_f64());
    }

    /// How long posts of a device waited in its spool.
    pub fn delays(&self) -> &Delays {
        &self.delays
    }

    /// A call has ended. Both words are of lists of this program's own.
    pub fn called(&self, method: &'static str, code: &'static str, took: Duration) {
        self.calls.get_or_create(&CallLabels { method, code }).inc();
        self.call_seconds
            .get_or_create(&[("method", method)])
            .observe(took.as_secs_f64());
    }

    /// A bound was met, and what was over it refused or ended.
    pub fn over(&self, bound: &'static str) {
        self.over_bounds.get_or_create(&[("bound", bound)]).inc();
    }

    /// A gauge of the connections that are open for a role.
    pub fn connections(&self, role: &'static str) -> Gauge {
        self.connections.get_or_create_owned(&[("role", role)])
    }

    /// A gauge of the streams of a kind that are open for a role.
    pub fn streams(&self, kind: &'static str, role: &'static str) -> Gauge {
        self.streams
            .get_or_create_owned(&StreamLabels { kind, role })
    }

    /// Why the last posts could not be written.
    pub fn not_written(&self) -> Option<String> {
        self.lock_not_written().clone()
    }

    fn lock_not_written(&self) -> std::sync::MutexGuard<'_, Option<String>> {
        self.not_written
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Puts everything that is counted into a registry.
    fn register(&self, registry: &mut Registry) {
        registry.register("posts", "Posts by what became of them", self.posts.clone());
        registry.register(
            "posts_refused",
            "Posts that were not kept, by the reason the bay was given",
            self.posts_refused.clone(),
        );
        registry.register(
            "batch_posts",
            "Posts that shared one flush to the disk",
            self.batch_posts.clone(),
        );
        registry.register_with_unit(
            "commit",
            "Deciding on a batch, appending it and flushing it to the disk",
            Unit::Seconds,
            self.commit_seconds.clone(),
        );
        registry.register_with_unit(
            "fold",
            "Folding a batch into the facts and committing them",
            Unit::Seconds,
            self.fold_seconds.clone(),
        );
        registry.register_with_unit(
            "refit",
            "Reading what changed and fitting what is learned anew",
            Unit::Seconds,
            self.refit_seconds.clone(),
        );
        registry.register(
            "calls",
            "Calls that have ended, by method and gRPC code",
            self.calls.clone(),
        );
        registry.register_with_unit(
            "call",
            "How long calls took, streams until they ended",
            Unit::Seconds,
            self.call_seconds.clone(),
        );
        registry.register(
            "over_bounds",
            "Calls refused and connections ended because a bound was met",
            self.over_bounds.clone(),
        );
        registry.register(
            "connections",
            "Connections that are open, by role",
            self.connections.clone(),
        );
        registry.register(
            "streams",
            "Streams that are open, by what they carry and by role",
            self.streams.clone(),
        );
    }
}

/// A count as the text format takes it; exact for anything counted here.
fn float(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
