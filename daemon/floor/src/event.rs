//! An event of the log, decoded: who says that what happened when.

use std::fmt;
use std::sync::Arc;

use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::fact::Fact;

/// UUID version 7 made by the device that posted the event. Printed and stored
/// in readable formats as UUID text, so that it can also be a key there.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EventId(pub [u8; 16]);

impl fmt::Display for EventId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, byte) in self.0.iter().enumerate() {
            if matches!(at, 4 | 6 | 8 | 10) {
                f.write_str("-")?;
            }
            write!(f, "{byte:02x}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for EventId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl EventId {
    /// Reads UUID text; hyphens may stand anywhere. `None` where it is not 32 hex digits.
    pub fn parse(text: &str) -> Option<Self> {
        let mut bytes = [0_u8; 16];
        let mut digits = text.bytes().filter(|b| *b != b'-');
        for byte in &mut bytes {
            let high = char::from(digits.next()?).to_digit(16)?;
            let low = char::from(digits.next()?).to_digit(16)?;
            *byte = u8::try_from(high * 16 + low).ok()?;
        }
        digits.next().is_none().then_some(Self(bytes))
    }
}

impl Serialize for EventId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            self.0.serialize(serializer)
        }
    }
}

impl<'de> Deserialize<'de> for EventId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
            Self::parse(&text).ok_or_else(|| de::Error::custom("not an event id"))
        } else {
            <[u8; 16]>::deserialize(deserializer).map(Self)
        }
    }
}

/// Place in the log, gapless from 1.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Seq(pub u64);

/// The order of the fold: when it happened, then device, then the device's own
/// count. The derived order follows the order of the fields.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Position {
    pub occurred: Micros,
    pub device: Arc<str>,
    pub device_seq: u64,
}

/// A job is known by the event that opened it; its number is the log's.
pub type JobKey = EventId;

/// How an event names its job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum JobRef {
    /// Left to the fold: the job in that bay then.
    Here,
    Job(JobKey),
    /// A number that no job had when the event was appended.
    UnknownNumber(u64),
}

/// How the daemon found out when it happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum TimeBasis {
    Boot,
    EarlierBoot,
    PresentOffset,
    Stated,
    /// As it was acknowledged before the log was restored from a backup.
    FirstReceipt,
}

/// An event as the fold takes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    pub seq: Seq,
    pub id: EventId,
    pub position: Position,
    pub received: Micros,
    pub time_basis: TimeBasis,
    /// The device's wall clock minus the daemon's at delivery, microseconds.
    pub clock_offset_us: i64,
    pub bay: Code,
    pub by: Vec<Code>,
    pub job: JobRef,
    /// The number the log gave, on a job_opened.
    pub job_number: Option<u64>,
    /// The log had it before it was restored from a backup. Then `received` is
    /// when it first came, and events of the log before it may name its job.
    pub sent_again: bool,
    pub fact: Fact,
}
