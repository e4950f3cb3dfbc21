//! How long a connection may be silent.
//!
//! A peer that connects and says nothing, or trickles a byte now and then, is
//! ended: only a whole call counts. While a call lasts, a stream of posts or a
//! watch among them, nothing is counted.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::service::limits::Bound;

/// Longest wait for the first call of a connection that has said who it is,
/// milliseconds. A bay connects in order to call, and does so at once.
pub const FIRST_CALL_MS_MAX: u64 = 10_000;

/// Longest that a connection is kept without a call, milliseconds. A screen
/// asks every few seconds and a scanner's terminal connects again by itself, so
/// what is silent for longer was left behind.
pub const IDLE_MS_MAX: u64 = 15 * 60 * 1_000;

/// Both limits, as a test may set them.
#[derive(Debug, Clone, Copy)]
pub struct Times {
    pub first_call: Duration,
    pub idle: Duration,
}

impl Default for Times {
    fn default() -> Self {
        Self {
            first_call: Duration::from_millis(FIRST_CALL_MS_MAX),
            idle: Duration::from_millis(IDLE_MS_MAX),
        }
    }
}

/// What a connection has been asked. Shared by it and its calls.
#[derive(Debug, Clone)]
pub(super) struct Patience(Arc<Mutex<Asked>>);

#[derive(Debug)]
struct Asked {
    open: usize,
    /// When a call began or ended last; at first when the connection began.
    last: Instant,
    calls_begun: bool,
}

/// A call that lasts. The connection is not idle before it is dropped.
#[derive(Debug)]
pub struct Busy(Arc<Mutex<Asked>>);

impl Patience {
    pub(super) fn new() -> Self {
        Self(Arc::new(Mutex::new(Asked {
            open: 0,
            last: Instant::now(),
            calls_begun: false,
        })))
    }

    pub(super) fn busy(&self) -> Busy {
        let mut asked = lock(&self.0);
        asked.open += 1;
        asked.calls_begun = true;
        asked.last = Instant::now();
        Busy(Arc::clone(&self.0))
    }

    /// When to look again.
    ///
    /// # Errors
    /// If it was silent for too long: the bound.
    pub(super) fn look(&self, times: Times, now: Instant) -> Result<Instant, Bound> {
        let asked = lock(&self.0);
        if asked.open > 0 {
            return Ok(now + times.idle);
        }
        let (limit, bound) = if asked.calls_begun {
            (times.idle, Bound::Idle)
        } else {
            (times.first_call, Bound::FirstCall)
        };
        let until = asked.last + limit;
        if until <= now { Err(bound) } else { Ok(until) }
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        let mut asked = lock(&self.0);
        asked.open = asked.open.saturating_sub(1);
        asked.last = Instant::now();
    }
}

/// Whoever panicked has left a count, which is whole.
fn lock(asked: &Mutex<Asked>) -> MutexGuard<'_, Asked> {
    asked.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_whole_calls_keep_a_connection() {
        let times = Times::default();
        let (silent, patience) = (Patience::new(), Patience::new());
        let begun = Instant::now();
        let second = Duration::from_secs(1);
        let almost = begun + times.first_call.saturating_sub(second);
        assert!(silent.look(times, almost).is_ok());
        let late = begun + times.first_call + second;
        assert_eq!(silent.look(times, late), Err(Bound::FirstCall));
        let busy = patience.busy();
        let much_later = begun + times.idle * 3;
        assert!(patience.look(times, much_later).is_ok(), "a call lasts");
        drop(busy);
        assert!(patience.look(times, late).is_ok());
        assert_eq!(patience.look(times, much_later), Err(Bound::Idle));
    }
}
