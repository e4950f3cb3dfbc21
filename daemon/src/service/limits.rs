//! How much one device, and all together, may have open and ask for.
//!
//! What is over a bound is refused with a reason and may be asked again: no
//! fact is lost by it, a bay keeps what it could not deliver. Devices are told
//! apart by their certificates, so nobody can make up more of them; callers on
//! the server's own computer share one allowance.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use prometheus_client::metrics::gauge::Gauge;

use crate::metrics::Metrics;

/// Calls of one device that are open at once, streams with them. A bay has two
/// or three, an owner's `bay live` with a report beside it five.
pub const CALLS_PER_DEVICE_MAX: usize = 64;

/// Calls that one device may begin in a second over a longer time. A person
/// makes one in a second, a scanner three, and a bay that sends each post alone
/// as fast as the disk takes them three hundred; a script that loops makes thousands.
pub const CALLS_PER_SECOND_MAX: u32 = 500;

/// Calls that one device may begin at once after a quiet time. A bay that comes
/// back after a day sends its posts in streams of 256, so twenty calls do; this
/// leaves room for one that sends each post alone.
pub const CALLS_BURST_MAX: u32 = 5_000;

/// Streams of posts of one device: one sends, one more was cut off and is not
/// known to be yet.
pub const POST_STREAMS_PER_DEVICE_MAX: usize = 8;

/// Streams of posts in all. Each holds at most 128 posts on their way.
pub const POST_STREAMS_MAX: usize = 64;

/// Watches of one device: a wall screen, a `bay live`, a script.
pub const WATCHES_PER_DEVICE_MAX: usize = 8;

/// Watches in all. Each costs 64 records and a look at the log for each post.
pub const WATCHES_MAX: usize = 64;

/// Exports of one device: each reads the whole log.
pub const EXPORTS_PER_DEVICE_MAX: usize = 2;

/// Exports in all. They take turns with reports on the same few readers.
pub const EXPORTS_MAX: usize = 4;

/// So many devices are the callers on the server's own computer worth, who are
/// not told apart: before `init` every bay is among them.
pub const LOCAL_TIMES: usize = 8;

/// Shortest time between two lines of the trace about one bound, milliseconds:
/// who goes over it a thousand times a second shall not fill the disk with it.
const TOLD_MS: u64 = 10_000;

/// What can be too much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bound {
    CallRate,
    CallsOpen,
    PostStreams,
    Watches,
    Exports,
    ReadsWaiting,
    /// Connections of one address that do not say who they are.
    Greetings,
    /// A connection that asked for nothing in time.
    FirstCall,
    /// A connection that has asked for nothing for long.
    Idle,
    /// A stream on which nothing moved for long.
    StreamIdle,
    /// A call that did not arrive whole, or was not answered, in time.
    CallTime,
}

impl Bound {
    pub const ALL: [Self; 11] = [
        Self::CallRate,
        Self::CallsOpen,
        Self::PostStreams,
        Self::Watches,
        Self::Exports,
        Self::ReadsWaiting,
        Self::Greetings,
        Self::FirstCall,
        Self::Idle,
        Self::StreamIdle,
        Self::CallTime,
    ];

    /// The word for figures and the trace.
    pub const fn word(self) -> &'static str {
        match self {
            Self::CallRate => "call_rate",
            Self::CallsOpen => "calls_open",
            Self::PostStreams => "post_streams",
            Self::Watches => "watches",
            Self::Exports => "exports",
            Self::ReadsWaiting => "reads_waiting",
            Self::Greetings => "greetings",
            Self::FirstCall => "first_call",
            Self::Idle => "idle",
            Self::StreamIdle => "stream_idle",
            Self::CallTime => "call_time",
        }
    }
}

/// What a call keeps open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Plain,
    Posts,
    Watch,
    Export,
}

impl Kind {
    /// The word for figures; `None`: no stream.
    pub const fn stream(self) -> Option<&'static str> {
        match self {
            Self::Plain => None,
            Self::Posts => Some("posts"),
            Self::Watch => Some("watch"),
            Self::Export => Some("export"),
        }
    }

    /// The bound on streams of this kind, for one device and in all.
    const fn bound(self) -> Option<(Bound, usize, usize)> {
        match self {
            Self::Plain => None,
            Self::Posts => Some((
                Bound::PostStreams,
                POST_STREAMS_PER_DEVICE_MAX,
                POST_STREAMS_MAX,
            )),
            Self::Watch => Some((Bound::Watches, WATCHES_PER_DEVICE_MAX, WATCHES_MAX)),
            Self::Export => Some((Bound::Exports, EXPORTS_PER_DEVICE_MAX, EXPORTS_MAX)),
        }
    }

    const fn index(self) -> usize {
        match self {
            Self::Plain => 0,
            Self::Posts => 1,
            Self::Watch => 2,
            Self::Export => 3,
        }
    }
}

/// Whose allowance a call is taken off.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Whose {
    /// Somebody on the server's own computer.
    Local,
    /// A device with a certificate, by its name.
    Device(Arc<str>),
}

impl Whose {
    fn times(&self) -> usize {
        match self {
            Self::Local => LOCAL_TIMES,
            Self::Device(_) => 1,
        }
    }
}

/// A bound was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Over {
    pub bound: Bound,
    /// How many there may be.
    pub max: usize,
    /// Of all devices together, and not of the one that asked.
    pub in_all: bool,
}

/// Counts what is open, for each device and in all. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Limits(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    metrics: Arc<Metrics>,
    counts: Mutex<Counts>,
}

#[derive(Debug, Default)]
struct Counts {
    /// Devices are those that were let in, so there are not many.
    devices: BTreeMap<Whose, Desk>,
    /// Streams in all, by [`Kind::index`].
    streams: [usize; 4],
    told: BTreeMap<Bound, Instant>,
}

/// One device's.
#[derive(Debug)]
struct Desk {
    calls: usize,
    streams: [usize; 4],
    bucket: Bucket,
}

/// Calls that may begin, refilled as time passes.
#[derive(Debug)]
struct Bucket {
    /// In thousandths of a call, so that short times count.
    milli_calls: u64,
    at: Instant,
}

impl Bucket {
    fn full(times: usize, now: Instant) -> Self {
        Self {
            milli_calls: Self::most(times),
            at: now,
        }
    }

    fn most(times: usize) -> u64 {
        u64::from(CALLS_BURST_MAX) * 1_000 * as_u64(times)
    }

    /// Takes one call, where there is one.
    fn take(&mut self, times: usize, now: Instant) -> bool {
        let passed_ms = now.saturating_duration_since(self.at).as_millis();
        let passed_ms = u64::try_from(passed_ms).unwrap_or(u64::MAX);
        if passed_ms > 0 {
            let per_ms = u64::from(CALLS_PER_SECOND_MAX) * as_u64(times);
            let refilled = self
                .milli_calls
                .saturating_add(passed_ms.saturating_mul(per_ms));
            self.milli_calls = refilled.min(Self::most(times));
            // What is left of a millisecond counts the next time.
            self.at += Duration::from_millis(passed_ms);
        }
        match self.milli_calls.checked_sub(1_000) {
            Some(left) => {
                self.milli_calls = left;
                true
            }
            None => false,
        }
    }
}

fn as_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

/// A place among what may be open. Given back when it is dropped.
#[derive(Debug)]
pub struct Place {
    inner: Arc<Inner>,
    whose: Whose,
    kind: Kind,
}

impl Limits {
    pub fn new(metrics: Arc<Metrics>) -> Self {
        Self(Arc::new(Inner {
            metrics,
            counts: Mutex::default(),
        }))
    }

    /// A call begins.
    ///
    /// # Errors
    /// The bound that it would be over.
    pub fn call(&self, whose: &Whose, kind: Kind, now: Instant) -> Result<Place, Over> {
        let times = whose.times();
        let mut counts = self.0.lock();
        let Counts {
            devices, streams, ..
        } = &mut *counts;
        let desk = devices
            .entry(whose.clone())
            .or_insert_with(|| Desk::new(times, now));
        let over = |bound, max, in_all| Over { bound, max, in_all };
        if !desk.bucket.take(times, now) {
            let most = usize::try_from(CALLS_PER_SECOND_MAX).unwrap_or(usize::MAX);
            return Err(over(Bound::CallRate, most * times, false));
        }
        if desk.calls >= CALLS_PER_DEVICE_MAX * times {
            return Err(over(Bound::CallsOpen, CALLS_PER_DEVICE_MAX * times, false));
        }
        if let Some((bound, of_device_max, in_all_max)) = kind.bound() {
            let index = kind.index();
            // Nobody alone may take all of them.
            let of_device_max = (of_device_max * times).min(in_all_max - in_all_max / 4);
            if desk.streams.get(index).is_some_and(|n| *n >= of_device_max) {
                return Err(over(bound, of_device_max, false));
            }
            if streams.get(index).is_some_and(|n| *n >= in_all_max) {
                return Err(over(bound, in_all_max, true));
            }
        }
        desk.calls += 1;
        for counted in [&mut desk.streams, streams] {
            if let Some(open) = counted.get_mut(kind.index()) {
                *open += 1;
            }
        }
        Ok(Place {
            inner: Arc::clone(&self.0),
            whose: whose.clone(),
            kind,
        })
    }

    /// A gauge of the connections that are open for a role.
    pub(crate) fn connections(&self, role: &'static str) -> Gauge {
        self.0.metrics.connections(role)
    }

    /// Counts what was over a bound. Answers whether the trace should say so:
    /// not again for a while.
    pub fn over(&self, bound: Bound, now: Instant) -> bool {
        self.0.metrics.over(bound.word());
        let mut counts = self.0.lock();
        let silent = Duration::from_millis(TOLD_MS);
        let told = counts.told.get(&bound);
        let again = told.is_none_or(|told| now.saturating_duration_since(*told) >= silent);
        if again {
            counts.told.insert(bound, now);
        }
        again
    }
}

impl Inner {
    /// Whoever panicked while it counted has left numbers, which are whole.
    fn lock(&self) -> MutexGuard<'_, Counts> {
        self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Desk {
    fn new(times: usize, now: Instant) -> Self {
        Self {
            calls: 0,
            streams: [0; 4],
            bucket: Bucket::full(times, now),
        }
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut counts = self.inner.lock();
        let Counts {
            devices, streams, ..
        } = &mut *counts;
        let Some(desk) = devices.get_mut(&self.whose) else {
            return;
        };
        desk.calls = desk.calls.saturating_sub(1);
        for counted in [&mut desk.streams, streams] {
            if let Some(open) = counted.get_mut(self.kind.index()) {
                *open = open.saturating_sub(1);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits() -> Limits {
        Limits::new(Arc::default())
    }

    fn device(name: &str) -> Whose {
        Whose::Device(Arc::from(name))
    }

    /// Opens until a bound is met; answers what was opened, and the bound.
    fn fill(limits: &Limits, whose: &Whose, kind: Kind, now: Instant) -> (Vec<Place>, Over) {
        let mut places = Vec::new();
        loop {
            match limits.call(whose, kind, now) {
                Ok(place) => places.push(place),
                Err(over) => return (places, over),
            }
            assert!(places.len() < 100_000, "something is unbounded");
        }
    }

    #[test]
    fn one_device_at_its_bound_leaves_room_for_the_others() {
        let (limits, now) = (limits(), Instant::now());
        for (kind, bound, max) in [
            (Kind::Watch, Bound::Watches, WATCHES_PER_DEVICE_MAX),
            (Kind::Export, Bound::Exports, EXPORTS_PER_DEVICE_MAX),
            (Kind::Posts, Bound::PostStreams, POST_STREAMS_PER_DEVICE_MAX),
            (Kind::Plain, Bound::CallsOpen, CALLS_PER_DEVICE_MAX),
        ] {
            let (greedy, modest) = (device("greedy"), device("modest"));
            let (places, over) = fill(&limits, &greedy, kind, now);
            let expected = Over {
                bound,
                max,
                in_all: false,
            };
            assert_eq!((places.len(), over), (max, expected));
            assert!(limits.call(&modest, kind, now).is_ok(), "{kind:?}");
            drop(places);
            assert!(limits.call(&greedy, kind, now).is_ok(), "{kind:?}");
        }
    }

    #[test]
    fn all_devices_together_have_a_bound_of_their_own() {
        let (limits, now) = (limits(), Instant::now());
        let mut held = Vec::new();
        let over = (0..)
            .find_map(|number| {
                let (places, over) =
                    fill(&limits, &device(&format!("d{number}")), Kind::Watch, now);
                held.extend(places);
                over.in_all.then_some(over)
            })
            .unwrap();
        assert_eq!(over.max, WATCHES_MAX);
        assert_eq!(held.len(), WATCHES_MAX);
        // Posts go on: they have places of their own.
        assert!(limits.call(&device("bay-1"), Kind::Posts, now).is_ok());
        assert!(limits.call(&device("bay-1"), Kind::Plain, now).is_ok());
        held.pop();
        assert!(limits.call(&device("bay-1"), Kind::Watch, now).is_ok());
    }

    #[test]
    fn a_burst_is_taken_and_then_so_many_in_a_second() {
        let (limits, begun) = (limits(), Instant::now());
        let (bay, other) = (device("bay-1"), device("bay-2"));
        let taken = |now: Instant| {
            let mut taken = 0_u32;
            while let Ok(place) = limits.call(&bay, Kind::Plain, now) {
                drop(place);
                taken += 1;
            }
            taken
        };
        assert_eq!(taken(begun), CALLS_BURST_MAX);
        assert_eq!(taken(begun), 0);
        assert!(limits.call(&other, Kind::Plain, begun).is_ok());
        let over = limits.call(&bay, Kind::Plain, begun).unwrap_err();
        assert_eq!(over.bound, Bound::CallRate);
        let second = begun + Duration::from_secs(1);
        assert_eq!(taken(second), CALLS_PER_SECOND_MAX);
        // Time in small steps counts as much as time in one.
        let in_steps: u32 = (1..=1_000)
            .map(|step| taken(second + Duration::from_micros(1_500 * step)))
            .sum();
        assert_eq!(in_steps, CALLS_PER_SECOND_MAX * 3 / 2);
        // A day later there is a burst again, and not a day's worth of calls.
        assert_eq!(taken(second + Duration::from_hours(24)), CALLS_BURST_MAX);
    }

    #[test]
    fn the_trace_speaks_of_a_bound_once_in_a_while() {
        let (limits, now) = (limits(), Instant::now());
        assert!(limits.over(Bound::CallRate, now));
        assert!(!limits.over(Bound::CallRate, now));
        assert!(limits.over(Bound::Watches, now));
        assert!(limits.over(Bound::CallRate, now + Duration::from_millis(TOLD_MS)));
    }

    #[test]
    fn every_bound_has_a_word_of_its_own() {
        let mut words = Bound::ALL.map(Bound::word);
        words.sort_unstable();
        assert!(words.windows(2).all(|pair| pair[0] != pair[1]));
    }
}
