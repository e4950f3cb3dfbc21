//! True time, which nobody in the shop knows, and the clocks that go after it.

use std::collections::BTreeMap;
use std::future::poll_fn;
use std::pin::Pin;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::Poll;
use std::time::Duration;

use baywright_client::clock::Clocks;
use baywright_daemon::clock::Clock;
use baywright_terms::time::Micros;

/// Locks what only one thread ever uses.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The time as it is, microseconds.
#[derive(Debug, Clone)]
pub(crate) struct TrueTime(Arc<AtomicI64>);

impl TrueTime {
    pub(crate) fn at(now_us: i64) -> Self {
        Self(Arc::new(AtomicI64::new(now_us)))
    }

    pub(crate) fn now_us(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }

    pub(crate) fn advance_us(&self, by_us: i64) {
        self.0.fetch_add(by_us, Ordering::Relaxed);
    }
}

/// The daemon's clock: right, but for an error.
#[derive(Debug)]
pub(crate) struct DaemonClock {
    pub(crate) time: TrueTime,
    pub(crate) error_us: AtomicI64,
}

impl Clock for DaemonClock {
    fn now(&self) -> Micros {
        Micros(self.time.now_us() + self.error_us.load(Ordering::Relaxed))
    }
}

/// The clocks of a bay: a wall clock that may show anything, and a boot clock
/// that runs steadily from each start on.
#[derive(Debug)]
pub(crate) struct BayClocks {
    time: TrueTime,
    name: String,
    set: Mutex<Set>,
}

#[derive(Debug)]
struct Set {
    wall_error_us: i64,
    boot: u32,
    /// When each boot began, in true time; the oracle's.
    began_us: BTreeMap<String, i64>,
}

impl BayClocks {
    pub(crate) fn new(time: TrueTime, name: &str, running_us: i64) -> Self {
        let clocks = Self {
            set: Mutex::new(Set {
                wall_error_us: 0,
                boot: 0,
                began_us: BTreeMap::new(),
            }),
            name: name.to_owned(),
            time,
        };
        let began_us = clocks.time.now_us() - running_us;
        let id = clocks.boot_id();
        lock(&clocks.set).began_us.insert(id, began_us);
        clocks
    }

    /// The bay's computer starts anew.
    pub(crate) fn boot(&self) {
        lock(&self.set).boot += 1;
        let id = self.boot_id();
        lock(&self.set).began_us.insert(id, self.time.now_us());
    }

    pub(crate) fn wall_error_us(&self) -> i64 {
        lock(&self.set).wall_error_us
    }

    pub(crate) fn set_wall_error_us(&self, error_us: i64) {
        lock(&self.set).wall_error_us = error_us;
    }

    /// The true time at a reading of the boot clock.
    pub(crate) fn true_us(&self, boot_id: &str, boot_us: i64) -> Option<i64> {
        Some(lock(&self.set).began_us.get(boot_id)? + boot_us)
    }
}

impl Clocks for BayClocks {
    fn wall_us(&self) -> i64 {
        self.time.now_us() + lock(&self.set).wall_error_us
    }

    fn boot_id(&self) -> String {
        format!("{}-boot-{}", self.name, lock(&self.set).boot)
    }

    fn boot_us(&self) -> i64 {
        let id = self.boot_id();
        self.time.now_us() - lock(&self.set).began_us.get(&id).copied().unwrap_or(0)
    }

    fn pause(&self, span: Duration) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        let time = self.time.clone();
        let until_us = time.now_us() + i64::try_from(span.as_micros()).unwrap_or(i64::MAX);
        // Nobody is woken: the world polls after each step.
        Box::pin(poll_fn(move |_| {
            if time.now_us() >= until_us {
                Poll::Ready(())
            } else {
                Poll::Pending
            }
        }))
    }
}
