//! An event of the log, decoded: who says that what happened when.

use std::sync::Arc;

use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::fact::Fact;

/// UUID version 7 made by the device that posted the event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct EventId(pub [u8; 16]);

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
    pub fact: Fact,
}
