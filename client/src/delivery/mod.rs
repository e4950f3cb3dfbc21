//! Delivery of what waits in the spool: in order, exactly once.

pub mod carrier;
pub mod refusal;
pub mod step;

use std::sync::Arc;
use std::time::Duration;

use baywright_proto::v1;
use tokio_stream::StreamExt as _;

use crate::clock::within;
use crate::connect::CALL_MS_MAX;
use crate::device::{Device, How};
use crate::error::Error;
use crate::spool::{EventId, Standing, Taken, event_id};
use carrier::Carrier;
use refusal::{Cause, Refused};

/// Posts of one stream. The receipts of a stream are noted down together, so
/// this is how many go out again if this device stops in between.
const STREAM_POSTS_MAX: usize = 256;

/// Posts of the first stream; each that comes through whole is followed by one
/// of twice as many. Where connections last for a moment only, the receipts of
/// a few get back in it, and the next attempt begins after them.
const STREAM_POSTS_FIRST: usize = 16;

/// What a delivery did beside the post that was asked for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Delivered {
    /// Posts the daemon took.
    pub sent: u64,
    /// Posts put aside because the daemon could not take them.
    pub set_aside: u64,
    /// Notices of the daemon about them that are worth reading.
    pub notices: Vec<v1::Notice>,
    /// Highest catalogue revision a receipt named.
    pub catalogue_revision: u64,
    /// What was odd about the daemon, said once.
    pub noticed: Option<Noticed>,
    /// Times the daemon held another number than this bay thought.
    pub(crate) steps: u32,
}

/// What a bay finds out about the daemon's log while it sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noticed {
    /// It was restored from a backup; what it lost was sent again, as far as it
    /// is still kept here.
    Restored { is_complete: bool },
    /// It was restored from a backup that had all that this bay had posted.
    RestoredWhole,
    /// It was restored from a backup; what it lost waits here again, since it
    /// could not be sent at once.
    RestoredUnsent,
    /// It keeps another log than the one this bay posted to before.
    OtherLog,
}

/// Times in one delivery that this bay follows the daemon to another number.
/// Each corrects the number, so few are needed; a daemon that never agrees must
/// not be asked for ever.
pub(crate) const STEPS_MAX: u32 = 8;

pub(crate) const OUT_OF_STEP_FOR_GOOD: &str =
    "The daemon keeps saying that it holds another number of this bay.";

/// Sends everything that waits before `until`, or everything.
pub async fn deliver_older<C: Carrier>(
    device: &mut Device,
    carrier: &C,
    until: Option<&EventId>,
) -> Result<Delivered, Refused> {
    let mut done = Delivered::default();
    let mut at_most = STREAM_POSTS_FIRST;
    loop {
        let ids = older(device, until, at_most);
        let round = match ids.as_slice() {
            [] => return Ok(done),
            [one] => send_alone(device, carrier, one, &mut done).await?,
            many => send_many(device, carrier, many, &mut done).await?,
        };
        if !round {
            return Err(Refused::later(Error::unreachable(
                "The daemon takes no more of the waiting posts.",
            )));
        }
        at_most = STREAM_POSTS_MAX.min(at_most * 2);
    }
}

fn older(device: &Device, until: Option<&EventId>, at_most: usize) -> Vec<EventId> {
    let posts = device.spool.posts();
    let before = until
        .and_then(|id| posts.get(id))
        .map_or(u64::MAX, |e| e.device_seq);
    posts
        .waiting()
        .into_iter()
        .filter(|e| e.device_seq < before)
        .map(|e| e.event_id)
        .take(at_most)
        .collect()
}

/// Sends the only older post; tells whether it is dealt with.
async fn send_alone<C: Carrier>(
    device: &mut Device,
    carrier: &C,
    id: &EventId,
    done: &mut Delivered,
) -> Result<bool, Refused> {
    match Box::pin(device.send_one(carrier, id, &How::default())).await {
        Ok(receipt) => {
            done.note(receipt);
            Ok(true)
        }
        Err(refused) if refused.cause == Cause::Later => Err(refused),
        Err(_) => {
            done.set_aside += 1;
            Ok(true)
        }
    }
}

/// Sends many in one stream; tells whether any was dealt with.
async fn send_many<C: Carrier>(
    device: &mut Device,
    carrier: &C,
    ids: &[EventId],
    done: &mut Delivered,
) -> Result<bool, Refused> {
    let mut previous = device.spool.posts().held_device_seq;
    let mut requests = Vec::with_capacity(ids.len());
    let mut numbers = Vec::with_capacity(ids.len());
    for id in ids {
        let post = device.wire(id, previous, &How::default())?;
        previous = post.device_seq;
        numbers.push((*id, post.device_seq));
        requests.push(v1::PostManyRequest { post: Some(post) });
    }
    let limit = Duration::from_millis(CALL_MS_MAX);
    let clocks = Arc::clone(&device.clocks);
    let call = carrier.post_many(requests);
    let mut answers = match within(&*clocks, limit, call).await {
        Some(Ok(answers)) => answers,
        Some(Err(status)) => return Err(later(&status)),
        None => return Err(silent()),
    };
    let mut taken: Vec<Taken> = Vec::new();
    let mut ended = Ok(());
    let mut stop = None;
    for (id, device_seq) in &numbers {
        let answer = match within(&*clocks, limit, answers.next()).await {
            Some(Some(Ok(answer))) => answer,
            Some(Some(Err(status))) => {
                ended = Err(later(&status));
                break;
            }
            Some(None) => break,
            None => {
                ended = Err(silent());
                break;
            }
        };
        match answer.result {
            Some(v1::post_many_response::Result::Receipt(receipt))
                if event_id(&receipt.event_id) == Some(*id) =>
            {
                taken.push(Taken {
                    event_id: *id,
                    device_seq: held_after(*device_seq, &receipt),
                    seq: receipt.seq,
                    job_number: receipt.job_number,
                    occurred_us: receipt.occurred_us,
                    received_us: receipt.received_us,
                });
                done.note(receipt);
            }
            Some(v1::post_many_response::Result::Refusal(refusal)) => {
                // What follows was chained to this one, so it is out of step.
                stop = Some((*id, *device_seq, Refused::from_stream(&refusal)));
                break;
            }
            _ => break,
        }
    }
    drop(answers);
    device.spool.acknowledge(&taken).map_err(Refused::broken)?;
    let mut progress = !taken.is_empty();
    if let Some((id, device_seq, refused)) = stop {
        progress |= settle_refusal(device, carrier, &id, device_seq, refused, done).await?;
    }
    ended?;
    Ok(progress)
}

/// What the daemon holds after a receipt; 0: not known. An older daemon does not
/// say it, and a post it had before may be there under another number.
///
/// The number must not lag behind what was acknowledged: a restored log that
/// holds just so much would pass for one that lost nothing.
pub(crate) fn held_after(device_seq: u64, receipt: &v1::Receipt) -> u64 {
    match receipt.held_device_seq {
        0 if receipt.repeated => 0,
        0 => device_seq,
        held => held,
    }
}

/// Deals with the first refusal of a stream; tells whether that helps the next round.
async fn settle_refusal<C: Carrier>(
    device: &mut Device,
    carrier: &C,
    id: &EventId,
    device_seq: u64,
    refused: Refused,
    done: &mut Delivered,
) -> Result<bool, Refused> {
    match refused.cause {
        Cause::Later => Err(refused),
        Cause::OutOfStep { held } => {
            done.steps += 1;
            if done.steps > STEPS_MAX {
                return Err(Refused::later(Error::unreachable(OUT_OF_STEP_FOR_GOOD)));
            }
            let before = (
                device.spool.posts().held_device_seq,
                device.spool.posts().last_device_seq,
            );
            step::follow(device, carrier, held, device_seq).await?;
            let posts = device.spool.posts();
            Ok(before != (posts.held_device_seq, posts.last_device_seq))
        }
        Cause::Unreadable | Cause::Refused | Cause::NotPermitted => {
            device.put_aside(id, &refused)?;
            done.set_aside += 1;
            Ok(true)
        }
    }
}

impl Delivered {
    fn note(&mut self, receipt: v1::Receipt) {
        self.sent += 1;
        self.catalogue_revision = self.catalogue_revision.max(receipt.catalogue_revision);
        self.notices.extend(receipt.notices);
    }
}

fn later(status: &tonic::Status) -> Refused {
    Refused::of_call(status, "the waiting posts")
}

fn silent() -> Refused {
    Refused::silence(Error::unreachable(format!(
        "The daemon did not answer within {} s.",
        CALL_MS_MAX / 1_000
    )))
}

/// Tells whether a post is on the daemon's disk.
pub fn is_acknowledged(device: &Device, id: &EventId) -> bool {
    device
        .spool
        .posts()
        .get(id)
        .is_some_and(|e| matches!(e.standing, Standing::Acknowledged { .. }))
}

#[cfg(test)]
mod tests;
