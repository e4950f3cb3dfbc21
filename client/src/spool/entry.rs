//! The frames folded: every post of this bay and where it stands.

use std::collections::HashMap;

use crate::spool::frame::{Base, Frame, Posted};

/// A UUID of 16 bytes.
pub type EventId = [u8; 16];

/// Where a post stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// Not acknowledged yet.
    Waiting,
    /// On the daemon's disk, at this place in the log.
    Acknowledged {
        seq: u64,
        job_number: u64,
        occurred_us: i64,
    },
    /// Refused while the person waited.
    Withdrawn { reason: String, message: String },
    /// The daemon could not read it.
    SetAside { reason: String, message: String },
    /// Was set aside; another post says it anew.
    Mended { by: EventId },
}

/// One post.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    pub event_id: EventId,
    pub device_seq: u64,
    /// The serialised Fact.
    pub fact: Vec<u8>,
    pub created_us: i64,
    pub anyway: bool,
    /// Handle of the job, on a job_opened; else empty.
    pub handle: String,
    pub standing: Standing,
}

/// All posts that are still kept here, oldest first, and the counters.
#[derive(Debug, Clone, Default)]
pub struct Posts {
    entries: Vec<Entry>,
    by_id: HashMap<EventId, usize>,
    /// Highest number given to a post.
    pub last_device_seq: u64,
    /// The last number the daemon is known to hold of this device.
    pub held_device_seq: u64,
    /// How many jobs were opened here, for handles.
    pub openings: u64,
    /// The log this bay posts to; `None` before the first contact.
    pub log_id: Option<EventId>,
    pub epoch: u64,
    /// Acknowledged posts up to here were dropped by compaction.
    pub dropped_device_seq: u64,
    /// Frames of a newer `bay`, kept through compaction.
    unknown: Vec<Frame>,
}

impl Posts {
    /// Moves the posts over one frame. Total: a frame that makes no sense, for
    /// example about a post that is gone, changes nothing.
    pub(super) fn apply(&mut self, frame: Frame) {
        match frame {
            Frame::Posted(f) => self.posted(f),
            Frame::Acknowledged(f) => {
                self.held_device_seq = self.held_device_seq.max(f.device_seq);
                self.stand(
                    &f.event_id,
                    Standing::Acknowledged {
                        seq: f.seq,
                        job_number: f.job_number,
                        occurred_us: f.occurred_us,
                    },
                );
            }
            Frame::Withdrawn(f) => self.stand(
                &f.event_id,
                Standing::Withdrawn {
                    reason: f.reason,
                    message: f.message,
                },
            ),
            Frame::SetAside(f) => self.stand(
                &f.event_id,
                Standing::SetAside {
                    reason: f.reason,
                    message: f.message,
                },
            ),
            Frame::Mended(f) => {
                let standing = match event_id(&f.by_event_id) {
                    Some(by) => Standing::Mended { by },
                    None => Standing::Waiting,
                };
                self.stand(&f.event_id, standing);
            }
            Frame::InStep(f) => {
                self.held_device_seq = f.held_device_seq;
                self.log_id = event_id(&f.log_id).or(self.log_id);
                self.epoch = f.epoch;
                if f.resend {
                    self.resend_after(f.held_device_seq);
                }
            }
            Frame::Renumbered(f) => {
                self.last_device_seq = self.last_device_seq.max(f.device_seq);
                if let Some(entry) = self.entry_mut(&f.event_id) {
                    entry.device_seq = f.device_seq;
                }
            }
            Frame::Base(f) => {
                self.last_device_seq = self.last_device_seq.max(f.last_device_seq);
                self.held_device_seq = f.held_device_seq;
                self.openings = self.openings.max(f.openings);
                self.log_id = event_id(&f.log_id);
                self.epoch = f.epoch;
                self.dropped_device_seq = f.dropped_device_seq;
            }
            frame @ Frame::Unknown(..) => self.unknown.push(frame),
        }
    }

    fn posted(&mut self, f: Posted) {
        self.last_device_seq = self.last_device_seq.max(f.device_seq);
        let Some(id) = event_id(&f.event_id) else {
            return;
        };
        if self.by_id.contains_key(&id) {
            return;
        }
        if let Some(number) = handle_number(&f.handle) {
            self.openings = self.openings.max(number);
        }
        self.by_id.insert(id, self.entries.len());
        self.entries.push(Entry {
            event_id: id,
            device_seq: f.device_seq,
            fact: f.fact,
            created_us: f.created_us,
            anyway: f.anyway,
            handle: f.handle,
            standing: Standing::Waiting,
        });
    }

    fn stand(&mut self, id: &[u8], standing: Standing) {
        if let Some(entry) = self.entry_mut(id) {
            entry.standing = standing;
        }
    }

    fn resend_after(&mut self, held: u64) {
        for entry in &mut self.entries {
            if entry.device_seq > held && matches!(entry.standing, Standing::Acknowledged { .. }) {
                entry.standing = Standing::Waiting;
            }
        }
    }

    fn entry_mut(&mut self, id: &[u8]) -> Option<&mut Entry> {
        let at = *self.by_id.get(&event_id(id)?)?;
        self.entries.get_mut(at)
    }

    pub fn get(&self, id: &EventId) -> Option<&Entry> {
        self.entries.get(*self.by_id.get(id)?)
    }

    /// All posts still kept, in the order they were made.
    pub fn all(&self) -> &[Entry] {
        &self.entries
    }

    /// The posts the daemon does not have yet, in the order of delivery.
    pub fn waiting(&self) -> Vec<&Entry> {
        let mut waiting: Vec<&Entry> = self
            .entries
            .iter()
            .filter(|e| e.standing == Standing::Waiting)
            .collect();
        waiting.sort_by_key(|e| e.device_seq);
        waiting
    }

    /// Posts that somebody has to mend.
    pub fn set_aside(&self) -> impl Iterator<Item = &Entry> {
        self.entries
            .iter()
            .filter(|e| matches!(e.standing, Standing::SetAside { .. }))
    }

    /// The frames that say all this anew, with acknowledged and finished posts
    /// kept only as far as `kept_bytes` of facts go, the newest first.
    pub(super) fn compacted(&self, kept_bytes: usize) -> Vec<Frame> {
        let mut room = kept_bytes;
        let mut dropped = self.dropped_device_seq;
        let mut kept: Vec<&Entry> = Vec::new();
        for entry in self.entries.iter().rev() {
            let needed = matches!(
                entry.standing,
                Standing::Waiting | Standing::SetAside { .. }
            );
            let size = entry.fact.len() + ENTRY_OVERHEAD_BYTES;
            if needed || size <= room {
                room = room.saturating_sub(if needed { 0 } else { size });
                kept.push(entry);
            } else {
                room = 0;
                if matches!(entry.standing, Standing::Acknowledged { .. }) {
                    dropped = dropped.max(entry.device_seq);
                }
            }
        }
        let mut frames = vec![Frame::Base(Base {
            last_device_seq: self.last_device_seq,
            held_device_seq: self.held_device_seq,
            openings: self.openings,
            log_id: self.log_id.map(|id| id.to_vec()).unwrap_or_default(),
            epoch: self.epoch,
            dropped_device_seq: dropped,
        })];
        for entry in kept.into_iter().rev() {
            frames.push(Frame::Posted(Posted {
                event_id: entry.event_id.to_vec(),
                device_seq: entry.device_seq,
                fact: entry.fact.clone(),
                created_us: entry.created_us,
                anyway: entry.anyway,
                handle: entry.handle.clone(),
            }));
            frames.extend(standing_frame(entry));
        }
        frames.extend(self.unknown.iter().cloned());
        // Said last: acknowledgements above only ever raise the held number,
        // and after a restore the daemon may hold less than they say.
        frames.push(Frame::InStep(crate::spool::frame::InStep {
            held_device_seq: self.held_device_seq,
            log_id: self.log_id.map(|id| id.to_vec()).unwrap_or_default(),
            epoch: self.epoch,
            resend: false,
        }));
        frames
    }
}

/// Rough bytes of the frames around a fact.
const ENTRY_OVERHEAD_BYTES: usize = 120;

fn standing_frame(entry: &Entry) -> Option<Frame> {
    use crate::spool::frame::{Acknowledged, Mended, SetAside, Withdrawn};
    let event_id = entry.event_id.to_vec();
    match &entry.standing {
        Standing::Waiting => None,
        Standing::Acknowledged {
            seq,
            job_number,
            occurred_us,
        } => Some(Frame::Acknowledged(Acknowledged {
            event_id,
            // The counter is said apart, by the last frame.
            device_seq: 0,
            seq: *seq,
            job_number: *job_number,
            occurred_us: *occurred_us,
        })),
        Standing::Withdrawn { reason, message } => Some(Frame::Withdrawn(Withdrawn {
            event_id,
            reason: reason.clone(),
            message: message.clone(),
        })),
        Standing::SetAside { reason, message } => Some(Frame::SetAside(SetAside {
            event_id,
            reason: reason.clone(),
            message: message.clone(),
            at_us: 0,
        })),
        Standing::Mended { by } => Some(Frame::Mended(Mended {
            event_id,
            by_event_id: by.to_vec(),
        })),
    }
}

/// The count in a handle: 7 in `b2-7`.
fn handle_number(handle: &str) -> Option<u64> {
    handle.rsplit_once('-')?.1.parse().ok()
}

/// The 16 bytes of an event id.
pub fn event_id(bytes: &[u8]) -> Option<EventId> {
    bytes.try_into().ok()
}
