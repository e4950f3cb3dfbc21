//! One direction of a connection.

use std::sync::{Mutex, PoisonError};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::sync::watch;

/// Bytes read at a time; a limit may make it less.
const PART_BYTES: usize = 16 * 1024;

/// What a lane lets through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    Open,
    /// So many bytes, then the connection ends both ways.
    CutAfter(u64),
    /// So many bytes, then all are taken and none arrive.
    SwallowAfter(u64),
    /// So many bytes, then none are taken: whoever sends is held back.
    HoldAfter(u64),
    /// So many bytes, then all are taken and kept until the lane is opened,
    /// also where their sender is gone by then.
    KeepAfter(u64),
}

impl Flow {
    /// Bytes it lets through beyond those that went.
    fn room(self, moved: u64) -> usize {
        let limit = match self {
            Self::Open => u64::MAX,
            Self::CutAfter(limit)
            | Self::SwallowAfter(limit)
            | Self::HoldAfter(limit)
            | Self::KeepAfter(limit) => limit,
        };
        usize::try_from(limit.saturating_sub(moved)).unwrap_or(usize::MAX)
    }
}

/// A lane's flow and what went through it.
#[derive(Debug)]
pub struct Lane {
    flow: watch::Sender<Flow>,
    moved: watch::Sender<u64>,
    /// Everything that went through, to be sent again.
    record: Mutex<Vec<u8>>,
}

impl Lane {
    pub(super) fn new(flow: Flow) -> Self {
        Self {
            flow: watch::channel(flow).0,
            moved: watch::channel(0).0,
            record: Mutex::new(Vec::new()),
        }
    }

    /// From now on it lets this through.
    pub fn set(&self, flow: Flow) {
        self.flow.send_replace(flow);
    }

    /// Bytes that went through.
    pub fn moved(&self) -> u64 {
        *self.moved.borrow()
    }

    /// Waits until so many bytes went through.
    pub async fn has_moved(&self, bytes: u64) {
        let mut moved = self.moved.subscribe();
        // The sender lives in `self`.
        let _ = moved.wait_for(|moved| *moved >= bytes).await;
    }

    /// What went through.
    pub fn record(&self) -> Vec<u8> {
        self.record
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn went(&self, part: &[u8]) {
        self.record
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .extend_from_slice(part);
        self.moved
            .send_modify(|moved| *moved += u64::try_from(part.len()).unwrap_or_default());
    }
}

/// How a lane came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ending {
    /// Its sender has said all; the other lane may go on.
    Said,
    /// The connection is at its end.
    Cut,
}

/// Carries one lane.
pub(super) async fn pump(mut from: OwnedReadHalf, mut to: OwnedWriteHalf, lane: &Lane) -> Ending {
    let mut flow = lane.flow.subscribe();
    let mut kept: Vec<u8> = Vec::new();
    let mut is_said = false;
    // Its sender ended where nobody was to hear of it.
    let mut is_gone = false;
    let mut buffer = vec![0; PART_BYTES];
    loop {
        let now = *flow.borrow_and_update();
        let room = now.room(lane.moved());
        if room > 0 && !kept.is_empty() {
            let part: Vec<u8> = kept.drain(..kept.len().min(room)).collect();
            if to.write_all(&part).await.is_err() {
                return Ending::Cut;
            }
            lane.went(&part);
            continue;
        }
        if is_said && kept.is_empty() {
            let _ = to.shutdown().await;
            return Ending::Said;
        }
        let wanted = match now {
            Flow::CutAfter(_) if room == 0 => return Ending::Cut,
            Flow::HoldAfter(_) if room == 0 => 0,
            Flow::SwallowAfter(_) | Flow::KeepAfter(_) if room == 0 => PART_BYTES,
            _ => room.min(PART_BYTES),
        };
        let wanted = if is_said || is_gone { 0 } else { wanted };
        let part = buffer.get_mut(..wanted).unwrap_or_default();
        tokio::select! {
            // The sender of flows lives as long as the connection.
            _ = flow.changed() => {}
            read = from.read(part), if wanted > 0 => match read {
                Ok(read) if read > 0 => {
                    let part = part.get(..read).unwrap_or_default();
                    match now {
                        Flow::SwallowAfter(_) if room == 0 => {}
                        Flow::KeepAfter(_) if room == 0 => kept.extend_from_slice(part),
                        _ => {
                            if to.write_all(part).await.is_err() {
                                return Ending::Cut;
                            }
                            lane.went(part);
                        }
                    }
                }
                // A sender that broke off has said all as well.
                _ => match now {
                    Flow::SwallowAfter(_) | Flow::KeepAfter(_) if room == 0 => is_gone = true,
                    _ => is_said = true,
                },
            },
        }
    }
}
