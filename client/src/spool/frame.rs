//! The frames of the spool file, and how one is told from a torn write.
//!
//! A frame is `magic · kind · length · payload · checksum`. The checksum covers
//! kind, length, payload and the offset in the file, so neither a half-written
//! frame nor an old one left behind at another place can pass for a whole one.

use sha2::{Digest as _, Sha256};

/// First bytes of every frame; what the salvage of a damaged file looks for.
const MAGIC: [u8; 4] = *b"bwf1";
const KIND_AT: usize = 4;
const LENGTH_AT: usize = 5;
const PAYLOAD_AT: usize = 9;
const SUM_BYTES: usize = 8;

/// Largest payload: far above any fact, so that a broken length is not followed
/// through the whole file.
pub(super) const PAYLOAD_BYTES_MAX: usize = 4 * 1024 * 1024;

/// A fact this bay posts.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Posted {
    /// 16 bytes, UUID version 7.
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    #[prost(uint64, tag = "2")]
    pub(super) device_seq: u64,
    /// The serialised Fact, sent as it is.
    #[prost(bytes = "vec", tag = "3")]
    pub(super) fact: Vec<u8>,
    /// The device's wall clock when it was kept, Unix microseconds.
    #[prost(int64, tag = "4")]
    pub(super) created_us: i64,
    /// The person has seen the hint and wants it kept.
    #[prost(bool, tag = "5")]
    pub(super) anyway: bool,
    /// Handle of the job, on a job_opened.
    #[prost(string, tag = "6")]
    pub(super) handle: String,
    /// What the daemon had said of it before it was restored from a backup.
    #[prost(message, optional, tag = "7")]
    pub(super) first: Option<First>,
}

/// The first receipt of a post that waits again.
#[derive(Clone, Copy, PartialEq, Eq, prost::Message)]
pub(super) struct First {
    #[prost(int64, tag = "1")]
    pub(super) occurred_us: i64,
    #[prost(int64, tag = "2")]
    pub(super) received_us: i64,
    #[prost(uint64, tag = "3")]
    pub(super) job_number: u64,
}

/// The daemon has it on its disk.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Acknowledged {
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    /// The daemon holds this number now; 0: not known from this receipt.
    #[prost(uint64, tag = "2")]
    pub(super) device_seq: u64,
    /// Its place in the log.
    #[prost(uint64, tag = "3")]
    pub(super) seq: u64,
    #[prost(uint64, tag = "4")]
    pub(super) job_number: u64,
    #[prost(int64, tag = "5")]
    pub(super) occurred_us: i64,
    /// 0: written by an older `bay`, which did not keep it.
    #[prost(int64, tag = "6")]
    pub(super) received_us: i64,
}

/// Refused while the person waited: never sent again.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Withdrawn {
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    #[prost(string, tag = "2")]
    pub(super) reason: String,
    #[prost(string, tag = "3")]
    pub(super) message: String,
}

/// The daemon could not read it: kept for somebody to mend.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct SetAside {
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    #[prost(string, tag = "2")]
    pub(super) reason: String,
    #[prost(string, tag = "3")]
    pub(super) message: String,
    #[prost(int64, tag = "4")]
    pub(super) at_us: i64,
}

/// A set-aside fact has been said anew, or is to be tried again.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Mended {
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    /// The post that says it anew; empty: the same one goes out again.
    #[prost(bytes = "vec", tag = "2")]
    pub(super) by_event_id: Vec<u8>,
}

/// What the daemon says it holds of this device.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct InStep {
    #[prost(uint64, tag = "1")]
    pub(super) held_device_seq: u64,
    /// 16 bytes.
    #[prost(bytes = "vec", tag = "2")]
    pub(super) log_id: Vec<u8>,
    #[prost(uint64, tag = "3")]
    pub(super) epoch: u64,
    /// The same log, restored from a backup: what it lost goes out again.
    #[prost(bool, tag = "4")]
    pub(super) resend: bool,
    /// Posts up to here are in a backup; 0: none is, or nobody said.
    #[prost(uint64, tag = "5")]
    pub(super) backed_up_device_seq: u64,
    /// What came after this number was lost, where that is less than what the
    /// daemon holds. Only with `resend`.
    #[prost(uint64, optional, tag = "6")]
    pub(super) lost_after_device_seq: Option<u64>,
    /// The wall clock of the device when the daemon was asked, Unix microseconds.
    #[prost(int64, tag = "7")]
    pub(super) asked_us: i64,
}

/// The daemon holds another fact under this number: it gets a new one.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Renumbered {
    #[prost(bytes = "vec", tag = "1")]
    pub(super) event_id: Vec<u8>,
    #[prost(uint64, tag = "2")]
    pub(super) device_seq: u64,
}

/// Counters that outlive the frames they came from; written by compaction.
#[derive(Clone, PartialEq, Eq, prost::Message)]
pub(super) struct Base {
    #[prost(uint64, tag = "1")]
    pub(super) last_device_seq: u64,
    #[prost(uint64, tag = "2")]
    pub(super) held_device_seq: u64,
    #[prost(uint64, tag = "3")]
    pub(super) openings: u64,
    #[prost(bytes = "vec", tag = "4")]
    pub(super) log_id: Vec<u8>,
    #[prost(uint64, tag = "5")]
    pub(super) epoch: u64,
    /// Acknowledged posts up to here are no longer kept here.
    #[prost(uint64, tag = "6")]
    pub(super) dropped_device_seq: u64,
    /// As in [`InStep`].
    #[prost(uint64, tag = "7")]
    pub(super) backed_up_device_seq: u64,
}

/// One frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Frame {
    Posted(Posted),
    Acknowledged(Acknowledged),
    Withdrawn(Withdrawn),
    SetAside(SetAside),
    Mended(Mended),
    InStep(InStep),
    Renumbered(Renumbered),
    Base(Base),
    /// Written by a newer `bay`: kept, not understood.
    Unknown(u8, Vec<u8>),
}

impl Frame {
    fn parts(&self) -> (u8, Vec<u8>) {
        use prost::Message as _;
        match self {
            Self::Posted(f) => (1, f.encode_to_vec()),
            Self::Acknowledged(f) => (2, f.encode_to_vec()),
            Self::Withdrawn(f) => (3, f.encode_to_vec()),
            Self::SetAside(f) => (4, f.encode_to_vec()),
            Self::Mended(f) => (5, f.encode_to_vec()),
            Self::InStep(f) => (6, f.encode_to_vec()),
            Self::Renumbered(f) => (7, f.encode_to_vec()),
            Self::Base(f) => (8, f.encode_to_vec()),
            Self::Unknown(kind, payload) => (*kind, payload.clone()),
        }
    }

    fn of(kind: u8, payload: &[u8]) -> Option<Self> {
        use prost::Message as _;
        let frame = match kind {
            1 => Self::Posted(Posted::decode(payload).ok()?),
            2 => Self::Acknowledged(Acknowledged::decode(payload).ok()?),
            3 => Self::Withdrawn(Withdrawn::decode(payload).ok()?),
            4 => Self::SetAside(SetAside::decode(payload).ok()?),
            5 => Self::Mended(Mended::decode(payload).ok()?),
            6 => Self::InStep(InStep::decode(payload).ok()?),
            7 => Self::Renumbered(Renumbered::decode(payload).ok()?),
            8 => Self::Base(Base::decode(payload).ok()?),
            0 => return None,
            other => Self::Unknown(other, payload.to_vec()),
        };
        Some(frame)
    }

    /// The bytes of the frame for this offset; `None` where it is too large.
    pub(super) fn encode(&self, offset: u64) -> Option<Vec<u8>> {
        let (kind, payload) = self.parts();
        if payload.len() > PAYLOAD_BYTES_MAX {
            return None;
        }
        let length = u32::try_from(payload.len()).ok()?;
        let mut bytes = Vec::with_capacity(PAYLOAD_AT + payload.len() + SUM_BYTES);
        bytes.extend_from_slice(&MAGIC);
        bytes.push(kind);
        bytes.extend_from_slice(&length.to_le_bytes());
        bytes.extend_from_slice(&payload);
        let sum = checksum(kind, &payload, offset);
        bytes.extend_from_slice(&sum);
        Some(bytes)
    }

    /// Reads the frame at the start of `bytes`, which lie at `offset`; gives it
    /// with its length. `None`: no whole frame is there.
    pub(super) fn decode(bytes: &[u8], offset: u64) -> Option<(Self, usize)> {
        if bytes.get(..KIND_AT)? != MAGIC {
            return None;
        }
        let kind = *bytes.get(KIND_AT)?;
        let length: [u8; 4] = bytes.get(LENGTH_AT..PAYLOAD_AT)?.try_into().ok()?;
        let length = usize::try_from(u32::from_le_bytes(length)).ok()?;
        if length > PAYLOAD_BYTES_MAX {
            return None;
        }
        let payload = bytes.get(PAYLOAD_AT..PAYLOAD_AT + length)?;
        let end = PAYLOAD_AT + length + SUM_BYTES;
        if bytes.get(PAYLOAD_AT + length..end)? != checksum(kind, payload, offset) {
            return None;
        }
        Some((Self::of(kind, payload)?, end))
    }

    /// Where the next whole frame starts in `bytes`, which lie at `offset`.
    pub(super) fn find(bytes: &[u8], offset: u64) -> Option<usize> {
        (0..bytes.len()).find(|&at| {
            bytes[at..].starts_with(&MAGIC)
                && u64::try_from(at)
                    .ok()
                    .and_then(|at_u64| Self::decode(&bytes[at..], offset + at_u64))
                    .is_some()
        })
    }
}

fn checksum(kind: u8, payload: &[u8], offset: u64) -> [u8; SUM_BYTES] {
    let mut hasher = Sha256::new();
    hasher.update(offset.to_le_bytes());
    hasher.update([kind]);
    hasher.update(
        u64::try_from(payload.len())
            .unwrap_or(u64::MAX)
            .to_le_bytes(),
    );
    hasher.update(payload);
    let mut sum = [0; SUM_BYTES];
    sum.copy_from_slice(&hasher.finalize()[..SUM_BYTES]);
    sum
}
