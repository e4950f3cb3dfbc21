//! The frames folded: every post of this bay and where it stands.

use std::collections::HashMap;

use crate::spool::frame::{Acknowledged, Base, First, Frame, InStep, Posted};

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
        /// 0: an older `bay` did not keep it.
        received_us: i64,
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
    /// What the daemon had said of it, where it waits again because the daemon
    /// was restored from a backup.
    pub first: Option<FirstReceipt>,
}

/// What the first receipt of a post said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FirstReceipt {
    pub occurred_us: i64,
    /// 0: not kept.
    pub received_us: i64,
    pub job_number: u64,
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
    /// Posts up to here are in a backup; 0: none is, or nobody said.
    pub backed_up_device_seq: u64,
    /// When the daemon last said what it holds, by the clock of this device.
    pub asked_us: i64,
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
                        received_us: f.received_us,
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
            Frame::InStep(f) => self.stepped(&f),
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
                self.backed_up_device_seq = f.backed_up_device_seq;
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
            first: f.first.map(|first| FirstReceipt {
                occurred_us: first.occurred_us,
                received_us: first.received_us,
                job_number: first.job_number,
            }),
        });
    }

    fn stepped(&mut self, f: &InStep) {
        let log_id = event_id(&f.log_id).or(self.log_id);
        if log_id != self.log_id {
            // What another log said of a post is nothing to this one.
            for entry in &mut self.entries {
                entry.first = None;
            }
        }
        self.log_id = log_id;
        self.held_device_seq = f.held_device_seq;
        self.epoch = f.epoch;
        self.asked_us = f.asked_us;
        self.backed_up_device_seq = f.backed_up_device_seq;
        if f.resend {
            self.resend_after(f.lost_after_device_seq.unwrap_or(f.held_device_seq));
        }
    }

    fn stand(&mut self, id: &[u8], standing: Standing) {
        if let Some(entry) = self.entry_mut(id) {
            entry.standing = standing;
        }
    }

    /// Acknowledged posts after a number wait again, with what was said of them.
    fn resend_after(&mut self, device_seq: u64) {
        for entry in &mut self.entries {
            if entry.device_seq <= device_seq {
                continue;
            }
            if let Standing::Acknowledged {
                job_number,
                occurred_us,
                received_us,
                ..
            } = entry.standing
            {
                entry.first = Some(FirstReceipt {
                    occurred_us,
                    received_us,
                    job_number,
                });
                entry.standing = Standing::Waiting;
            }
        }
    }

    /// How many acknowledged posts after a number are kept here.
    pub fn acknowledged_after(&self, device_seq: u64) -> usize {
        let after = self.entries.iter().filter(|e| e.device_seq > device_seq);
        after
            .filter(|e| matches!(e.standing, Standing::Acknowledged { .. }))
            .count()
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

    /// The entries that stay when the file is written anew, oldest first, and up
    /// to which number acknowledged ones go. Finished posts stay as far as
    /// `finished_bytes` go, the newest first; so do those that are in no backup
    /// yet, in a room of their own.
    pub(super) fn kept(&self, finished_bytes: usize) -> (Vec<&Entry>, u64) {
        let mut finished = finished_bytes;
        let mut not_backed_up = NOT_BACKED_UP_BYTES_MAX;
        let mut dropped = self.dropped_device_seq;
        let mut kept: Vec<&Entry> = Vec::new();
        for entry in self.entries.iter().rev() {
            let size = entry.bytes();
            let is_acknowledged = matches!(entry.standing, Standing::Acknowledged { .. });
            let room = match entry.standing {
                Standing::Waiting | Standing::SetAside { .. } => {
                    kept.push(entry);
                    continue;
                }
                // Where nothing is in a backup there is none to be restored.
                Standing::Acknowledged { .. }
                    if self.backed_up_device_seq > 0
                        && entry.device_seq > self.backed_up_device_seq =>
                {
                    &mut not_backed_up
                }
                _ => &mut finished,
            };
            if size <= *room {
                *room -= size;
                kept.push(entry);
            } else {
                // No older one either: what is kept has no gaps.
                *room = 0;
                if is_acknowledged {
                    dropped = dropped.max(entry.device_seq);
                }
            }
        }
        kept.reverse();
        (kept, dropped)
    }

    /// The frames that say all this anew, with finished posts as in [`Posts::kept`].
    pub(super) fn compacted(&self, finished_bytes: usize) -> Vec<Frame> {
        let (kept, dropped) = self.kept(finished_bytes);
        let mut frames = vec![Frame::Base(Base {
            last_device_seq: self.last_device_seq,
            held_device_seq: self.held_device_seq,
            openings: self.openings,
            log_id: self.log_id.map(|id| id.to_vec()).unwrap_or_default(),
            epoch: self.epoch,
            dropped_device_seq: dropped,
            backed_up_device_seq: self.backed_up_device_seq,
        })];
        for entry in kept {
            frames.push(Frame::Posted(Posted {
                event_id: entry.event_id.to_vec(),
                device_seq: entry.device_seq,
                fact: entry.fact.clone(),
                created_us: entry.created_us,
                anyway: entry.anyway,
                handle: entry.handle.clone(),
                first: entry.first.map(|first| First {
                    occurred_us: first.occurred_us,
                    received_us: first.received_us,
                    job_number: first.job_number,
                }),
            }));
            frames.extend(standing_frame(entry));
        }
        frames.extend(self.unknown.iter().cloned());
        // Said last: acknowledgements above only ever raise the held number,
        // and after a restore the daemon may hold less than they say.
        frames.push(Frame::InStep(InStep {
            held_device_seq: self.held_device_seq,
            log_id: self.log_id.map(|id| id.to_vec()).unwrap_or_default(),
            epoch: self.epoch,
            resend: false,
            backed_up_device_seq: self.backed_up_device_seq,
            lost_after_device_seq: None,
            asked_us: self.asked_us,
        }));
        frames
    }
}

impl Entry {
    /// Roughly what it takes in the file.
    pub(super) fn bytes(&self) -> usize {
        self.fact.len() + ENTRY_OVERHEAD_BYTES
    }
}

/// Acknowledged posts that are in no backup yet are kept up to this size. Some
/// 2,400 facts, two or three weeks of a busy bay without a backup: past that
/// somebody has to be told, not every command of the bay slowed down. Every
/// command reads the whole file; this much costs it two milliseconds.
pub(super) const NOT_BACKED_UP_BYTES_MAX: usize = 512 * 1024;

/// Rough bytes of the frames around a fact.
const ENTRY_OVERHEAD_BYTES: usize = 120;

fn standing_frame(entry: &Entry) -> Option<Frame> {
    use crate::spool::frame::{Mended, SetAside, Withdrawn};
    let event_id = entry.event_id.to_vec();
    match &entry.standing {
        Standing::Waiting => None,
        Standing::Acknowledged {
            seq,
            job_number,
            occurred_us,
            received_us,
        } => Some(Frame::Acknowledged(Acknowledged {
            event_id,
            // The counter is said apart, by the last frame.
            device_seq: 0,
            seq: *seq,
            job_number: *job_number,
            occurred_us: *occurred_us,
            received_us: *received_us,
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
