//! The daemon's clock. Time comes in through here and nowhere else, so that
//! tests and the simulated shop can set it.

use std::fmt;
use std::sync::atomic::{AtomicI64, Ordering};

use baywright_terms::time::Micros;

/// Tells the time: UTC, Unix microseconds.
pub trait Clock: Send + Sync + fmt::Debug {
    fn now(&self) -> Micros;
}

/// The clock of this computer.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[allow(
        clippy::disallowed_methods,
        reason = "this module is where the time comes in"
    )]
    fn now(&self) -> Micros {
        Micros(jiff::Timestamp::now().as_microsecond())
    }
}

/// A clock that stands until it is set.
#[derive(Debug)]
pub struct SetClock(AtomicI64);

impl SetClock {
    /// Starts the clock at an instant.
    pub fn at(now: Micros) -> Self {
        Self(AtomicI64::new(now.0))
    }

    /// Sets it, forwards or backwards.
    pub fn set(&self, now: Micros) {
        self.0.store(now.0, Ordering::SeqCst);
    }

    /// Moves it on by so many microseconds.
    pub fn advance(&self, by_us: i64) {
        self.0.fetch_add(by_us, Ordering::SeqCst);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Micros {
        Micros(self.0.load(Ordering::SeqCst))
    }
}
