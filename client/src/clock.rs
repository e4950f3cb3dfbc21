//! The only place of the client that reads a clock.

use std::fmt;
use std::future::poll_fn;
use std::pin::{Pin, pin};
use std::sync::OnceLock;
use std::task::Poll;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use baywright_proto::v1;
use rustix::time::{DynamicClockId, clock_gettime_dynamic};

/// The clocks of a device: they come in from outside, so that tests and the
/// demo can set them.
pub trait Clocks: Send + Sync + fmt::Debug {
    /// Wall clock as the device believes it, Unix microseconds.
    fn wall_us(&self) -> i64;
    /// Changes at each start of the operating system.
    fn boot_id(&self) -> String;
    /// Microseconds since that start, counted through sleep.
    fn boot_us(&self) -> i64;

    /// All three, for the wire.
    fn sample(&self) -> v1::Clocks {
        v1::Clocks {
            wall_us: self.wall_us(),
            boot_id: self.boot_id(),
            boot_us: self.boot_us(),
        }
    }

    /// Lets time pass. Deadlines and waits of a delivery go by this.
    fn pause(&self, span: Duration) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(tokio::time::sleep(span))
    }
}

/// Waits for a future, but no longer than `limit`; `None`: it was not ready by then.
pub async fn within<F: Future>(
    clocks: &dyn Clocks,
    limit: Duration,
    future: F,
) -> Option<F::Output> {
    let mut future = pin!(future);
    let mut pause = clocks.pause(limit);
    poll_fn(|context| {
        if let Poll::Ready(output) = future.as_mut().poll(context) {
            return Poll::Ready(Some(output));
        }
        pause.as_mut().poll(context).map(|()| None)
    })
    .await
}

/// The clocks of this machine.
#[derive(Debug, Default)]
pub struct MachineClocks {
    boot_id: OnceLock<String>,
}

impl Clocks for MachineClocks {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the clock module that the rule points to"
    )]
    fn wall_us(&self) -> i64 {
        SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .ok()
            .and_then(|d| i64::try_from(d.as_micros()).ok())
            .unwrap_or(0)
    }

    fn boot_id(&self) -> String {
        // Empty where the kernel does not say: the daemon then falls back to
        // the present offset and flags it.
        self.boot_id
            .get_or_init(|| {
                std::fs::read_to_string("/proc/sys/kernel/random/boot_id")
                    .map(|id| id.trim().to_owned())
                    .unwrap_or_default()
            })
            .clone()
    }

    fn boot_us(&self) -> i64 {
        clock_gettime_dynamic(DynamicClockId::Boottime)
            .map_or(0, |t| t.tv_sec * 1_000_000 + t.tv_nsec / 1_000)
    }
}

/// Clocks that stand where they were set, for tests and the demo.
#[derive(Debug)]
pub struct SetClocks {
    now: std::sync::Mutex<v1::Clocks>,
}

impl SetClocks {
    pub fn new(wall_us: i64, boot_id: &str, boot_us: i64) -> Self {
        Self {
            now: std::sync::Mutex::new(v1::Clocks {
                wall_us,
                boot_id: boot_id.to_owned(),
                boot_us,
            }),
        }
    }

    /// Moves wall and boot clock on by the same span.
    pub fn advance_us(&self, span_us: i64) {
        let mut now = self.lock();
        now.wall_us += span_us;
        now.boot_us += span_us;
    }

    /// Sets all clocks anew.
    pub fn set(&self, clocks: v1::Clocks) {
        *self.lock() = clocks;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, v1::Clocks> {
        self.now
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

impl Clocks for SetClocks {
    fn wall_us(&self) -> i64 {
        self.lock().wall_us
    }

    fn boot_id(&self) -> String {
        self.lock().boot_id.clone()
    }

    fn boot_us(&self) -> i64 {
        self.lock().boot_us
    }
}
