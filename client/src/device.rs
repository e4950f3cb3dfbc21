//! A device that posts: its spool, and the delivery of what is in it.
//!
//! Used by `bay` itself, and by programs that post on their own. The order of
//! things is always: keep on this disk, send what is older, send this one.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use baywright_proto::{bounds, v1};
use prost::Message as _;
use uuid::Uuid;

use crate::clock::{Clocks, within};
use crate::connect::CALL_MS_MAX;
use crate::delivery::carrier::{Carrier, Way};
use crate::delivery::refusal::{Cause, Refused};
use crate::delivery::{
    Delivered, Noticed, OUT_OF_STEP_FOR_GOOD, STEPS_MAX, deliver_older, held_after, step,
};
use crate::error::{Error, Kind};
use crate::spool::{Entry, EventId, Held, Lock, NewPost, Spool, Taken, event_id};

/// How often a busy delivery lock is looked at again.
const LOCK_POLL_MS: u64 = 5;

/// Where the ids of events come from. An id must never be given twice, on this
/// device or any other.
pub trait EventIds: Send + Sync + std::fmt::Debug {
    /// The id of an event that is kept when the wall clock shows this.
    fn next(&self, wall_us: i64) -> EventId;
}

/// UUIDs of version 7: random, and in the order of their making.
#[derive(Debug, Clone, Copy, Default)]
pub struct RandomIds;

impl EventIds for RandomIds {
    fn next(&self, wall_us: i64) -> EventId {
        let wall_us = wall_us.max(0);
        let seconds = u64::try_from(wall_us / 1_000_000).unwrap_or(0);
        let nanos = u32::try_from(wall_us % 1_000_000).unwrap_or(0) * 1_000;
        let stamp = uuid::Timestamp::from_unix(uuid::NoContext, seconds, nanos);
        Uuid::new_v7(stamp).into_bytes()
    }
}

/// How a post is meant.
#[derive(Debug, Clone, Default)]
pub struct How {
    /// A person waits: an unknown code is refused, with a hint.
    pub waiting: bool,
    /// The person has seen the hint and wants it kept.
    pub anyway: bool,
    /// Handle of the job, on a job_opened.
    pub handle: String,
}

/// Where a post is now.
#[derive(Debug, Clone, PartialEq)]
pub enum Posted {
    /// On the daemon's disk.
    Acknowledged(Box<Acknowledged>),
    /// On this device's disk: it goes out with the next command.
    Kept { event_id: EventId, why: Error },
}

/// A receipt, and what else was delivered before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Acknowledged {
    pub receipt: v1::Receipt,
    pub older: Delivered,
}

/// The spool of one data folder with its clocks.
#[derive(Debug)]
pub struct Device {
    pub(crate) spool: Spool,
    pub(crate) clocks: Arc<dyn Clocks>,
    ids: Arc<dyn EventIds>,
    /// Found out about the daemon, and not said yet.
    pub(crate) noticed: Option<Noticed>,
}

impl Device {
    /// Opens the device of a data folder; makes both where they are missing.
    pub fn open(folder: &Path, clocks: Arc<dyn Clocks>) -> Result<Self, Error> {
        Self::open_named(folder, clocks, "bay")
    }

    /// As [`Device::open`]; a new device's name begins with `name_start`.
    pub fn open_named(
        folder: &Path,
        clocks: Arc<dyn Clocks>,
        name_start: &str,
    ) -> Result<Self, Error> {
        Self::open_with(folder, clocks, name_start, Arc::new(RandomIds))
    }

    /// As [`Device::open_named`], with ids from outside: where a seed must give
    /// the same ones again.
    pub fn open_with(
        folder: &Path,
        clocks: Arc<dyn Clocks>,
        name_start: &str,
        ids: Arc<dyn EventIds>,
    ) -> Result<Self, Error> {
        let mut device = Self {
            spool: Spool::open(folder, name_start)?,
            clocks,
            ids,
            noticed: None,
        };
        if let Some(copy) = device.spool.found().damaged_copy.clone() {
            // The owner must know that facts may be missing from this bay.
            let text = format!(
                "the spool of {} was damaged; what could be read goes out, the damaged file is \
                 kept as {}",
                device.name(),
                copy.display()
            );
            let kind = Some(v1::fact::Kind::Noted(v1::Noted {
                text,
                ..v1::Noted::default()
            }));
            let note = v1::Fact {
                kind,
                ..v1::Fact::default()
            };
            device.keep(note, &How::default())?;
        }
        Ok(device)
    }

    /// What this device calls itself.
    pub fn name(&self) -> &str {
        self.spool.device()
    }

    pub fn spool(&self) -> &Spool {
        &self.spool
    }

    pub fn spool_mut(&mut self) -> &mut Spool {
        &mut self.spool
    }

    /// Keeps a fact on this disk without sending it. Clocks are filled in
    /// where the fact has none.
    pub fn keep(&mut self, mut fact: v1::Fact, how: &How) -> Result<Entry, Error> {
        if fact.clocks.is_none() {
            fact.clocks = Some(self.clocks.sample());
        }
        let bytes = fact.encode_to_vec();
        within_bounds(&fact, &bytes)?;
        let id = self.ids.next(self.clocks.wall_us());
        self.spool.post(NewPost {
            event_id: id,
            fact: bytes,
            created_us: self.clocks.wall_us(),
            anyway: how.anyway,
            handle: how.handle.clone(),
        })
    }

    /// Keeps a fact on this disk, sends what is older, then sends it.
    ///
    /// An error means that the fact is not going to be posted: it could not be
    /// kept, or it was refused while the person waited. A daemon that cannot be
    /// reached is no error.
    pub async fn post<W: Way>(
        &mut self,
        way: &mut W,
        fact: v1::Fact,
        how: &How,
    ) -> Result<Posted, Error> {
        // With the lock taken first, no other terminal sends this fact as one
        // that nobody waits for; where it is busy, or the disk too full for its
        // file, keeping comes first.
        let early = Lock::Delivery.try_hold(self.spool.folder()).unwrap_or(None);
        let entry = self.keep(fact, how)?;
        let sent = self.send_kept(way, early, &entry, how).await;
        match sent {
            Ok(acknowledged) => Ok(Posted::Acknowledged(Box::new(acknowledged))),
            Err(Refused {
                cause: Cause::Later,
                error,
                ..
            }) => Ok(Posted::Kept {
                event_id: entry.event_id,
                why: error,
            }),
            Err(Refused { error, .. }) => Err(error),
        }
    }

    /// Sends everything that waits. Fails where the daemon cannot be reached.
    pub async fn deliver<W: Way>(&mut self, way: &mut W) -> Result<Delivered, Error> {
        let _lock = self.delivery_lock(None).await.map_err(|r| r.error)?;
        self.spool.refresh()?;
        let carrier = way.open().await?;
        step::check_log(self, &carrier).await.map_err(|r| r.error)?;
        let mut delivered = deliver_older(self, &carrier, None)
            .await
            .map_err(|r| r.error)?;
        delivered.noticed = self.noticed.take();
        Ok(delivered)
    }

    /// Asks the daemon whether it was restored since, and sends again what it
    /// lost then. For commands that only ask: they are a contact as well.
    pub async fn look<C: Carrier>(&mut self, carrier: &C) -> Result<Option<Noticed>, Error> {
        // Where another terminal is sending, it finds out by itself.
        let Some(_lock) = Lock::Delivery.try_hold(self.spool.folder())? else {
            return Ok(None);
        };
        self.spool.refresh()?;
        if self.spool.posts().log_id.is_none() {
            return Ok(None);
        }
        step::check_log(self, carrier).await.map_err(|r| r.error)?;
        self.send_again(carrier).await;
        Ok(self.noticed.take())
    }

    /// Sends what a restored daemon lost. What cannot be sent waits.
    async fn send_again<C: Carrier>(&mut self, carrier: &C) {
        if matches!(self.noticed, Some(Noticed::Restored { .. }))
            && deliver_older(self, carrier, None).await.is_err()
        {
            self.noticed = Some(Noticed::RestoredUnsent);
        }
    }

    async fn send_kept<W: Way>(
        &mut self,
        way: &mut W,
        early: Option<Held>,
        entry: &Entry,
        how: &How,
    ) -> Result<Acknowledged, Refused> {
        let carrier = way.open().await.map_err(Refused::later)?;
        let _lock = self.delivery_lock(early).await?;
        self.spool.refresh().map_err(Refused::broken)?;
        if self.spool.posts().log_id.is_none() {
            let met = step::first_contact(self, &carrier).await;
            met.inspect_err(|refused| way.gave_no_answer(refused))?;
        } else if step::asked_long_ago(self)
            && let Err(refused) = step::check_log(self, &carrier).await
            // Anything but silence and another protocol is no reason not to try the post.
            && matches!(refused.error.kind(), Kind::Unreachable | Kind::Version)
        {
            way.gave_no_answer(&refused);
            return Err(refused);
        }
        let sent = self.send_older_and(&carrier, &entry.event_id, how).await;
        let (older, receipt) = match sent {
            Ok(sent) => sent,
            Err(refused) => {
                let refused = step::explained(&carrier, &*self.clocks, self.name(), refused).await;
                way.gave_no_answer(&refused);
                return Err(refused);
            }
        };
        let older = Delivered {
            noticed: self.noticed.take(),
            ..older
        };
        Ok(Acknowledged { receipt, older })
    }

    async fn send_older_and<C: Carrier>(
        &mut self,
        carrier: &C,
        id: &EventId,
        how: &How,
    ) -> Result<(Delivered, v1::Receipt), Refused> {
        let older = deliver_older(self, carrier, Some(id)).await?;
        let receipt = self.send_one(carrier, id, how).await?;
        Ok((older, receipt))
    }

    /// Sends one post by itself, in step with the daemon.
    pub(crate) async fn send_one<C: Carrier>(
        &mut self,
        carrier: &C,
        id: &EventId,
        how: &How,
    ) -> Result<v1::Receipt, Refused> {
        for _ in 0..STEPS_MAX {
            let post = self.wire(id, self.spool.posts().held_device_seq, how)?;
            let device_seq = post.device_seq;
            let request = v1::PostRequest { post: Some(post) };
            let limit = Duration::from_millis(CALL_MS_MAX);
            let refused = match within(&*self.clocks, limit, carrier.post(request)).await {
                Some(Ok(response)) => {
                    let receipt = response
                        .receipt
                        .ok_or_else(|| Refused::later(Error::unreachable(NO_RECEIPT)))?;
                    self.taken(id, device_seq, &receipt)?;
                    return Ok(receipt);
                }
                Some(Err(status)) => Refused::from_status(&status),
                None => Refused::silence(Error::unreachable(format!(
                    "The daemon did not answer within {} s.",
                    CALL_MS_MAX / 1_000
                ))),
            };
            match refused.cause {
                Cause::OutOfStep { held } => {
                    step::follow(self, carrier, held, device_seq).await?;
                    // What a restored daemon lost goes out before this one.
                    deliver_older(self, carrier, Some(id)).await?;
                }
                Cause::Later => return Err(refused),
                Cause::Unreadable | Cause::Refused | Cause::NotPermitted => {
                    if how.waiting {
                        self.spool
                            .withdraw(id, &refused.reason(), refused.error.message())
                            .map_err(Refused::broken)?;
                    } else {
                        self.put_aside(id, &refused)?;
                    }
                    return Err(refused);
                }
            }
        }
        Err(Refused::later(Error::unreachable(OUT_OF_STEP_FOR_GOOD)))
    }

    /// The post as it goes out now.
    pub(crate) fn wire(
        &self,
        id: &EventId,
        previous_device_seq: u64,
        how: &How,
    ) -> Result<v1::Post, Refused> {
        let Some(entry) = self.spool.posts().get(id) else {
            return Err(Refused::broken(Error::internal(
                "The fact is no longer in the spool.",
            )));
        };
        Ok(v1::Post {
            event_id: entry.event_id.to_vec(),
            device_seq: entry.device_seq,
            previous_device_seq,
            fact: entry.fact.clone(),
            delivery_clocks: Some(self.clocks.sample()),
            waiting: how.waiting,
            anyway: how.anyway,
            device: self.spool.device().to_owned(),
            first_receipt: entry.first.map(|first| v1::FirstReceipt {
                occurred_us: first.occurred_us,
                received_us: first.received_us,
                job_number: first.job_number,
            }),
        })
    }

    fn taken(
        &mut self,
        id: &EventId,
        device_seq: u64,
        receipt: &v1::Receipt,
    ) -> Result<(), Refused> {
        let held = held_after(device_seq, receipt);
        self.spool
            .acknowledge(&[Taken {
                event_id: *id,
                device_seq: held,
                seq: receipt.seq,
                job_number: receipt.job_number,
                occurred_us: receipt.occurred_us,
                received_us: receipt.received_us,
            }])
            .map_err(Refused::broken)
    }

    /// Puts a post aside that the daemon cannot take, and keeps a note of it
    /// that goes to the log in its place.
    pub(crate) fn put_aside(&mut self, id: &EventId, refused: &Refused) -> Result<(), Refused> {
        let now_us = self.clocks.wall_us();
        let message = refused.error.message().to_owned();
        self.spool
            .set_aside(id, &refused.reason(), &message, now_us)
            .map_err(Refused::broken)?;
        let fact = self.spool.posts().get(id).map(|e| e.fact.clone());
        let fact = fact.and_then(|bytes| v1::Fact::decode(&*bytes).ok());
        let said = fact
            .as_ref()
            .map_or_else(String::new, |f| format!("{}: ", crate::describe::fact(f)));
        let is_such_note = fact.as_ref().is_some_and(|fact| {
            matches!(&fact.kind, Some(v1::fact::Kind::Noted(noted)) if !noted.set_aside_event_id.is_empty())
        });
        if is_such_note {
            // A note about a note about a note would never end.
            return Ok(());
        }
        let note = v1::Fact {
            bay: fact.map(|f| f.bay).unwrap_or_default(),
            kind: Some(v1::fact::Kind::Noted(v1::Noted {
                text: format!("{NOTE_START} {said}{message}"),
                set_aside_event_id: id.to_vec(),
            })),
            ..v1::Fact::default()
        };
        self.keep(note, &How::default())
            .map(|_| ())
            .map_err(Refused::broken)
    }

    /// Waits for the delivery lock, so that two terminals keep the order.
    async fn delivery_lock(&self, early: Option<Held>) -> Result<Held, Refused> {
        if let Some(held) = early {
            return Ok(held);
        }
        let folder = self.spool.folder().to_owned();
        let wait = async {
            loop {
                if let Some(held) = Lock::Delivery.try_hold(&folder)? {
                    return Ok(held);
                }
                self.clocks.pause(Duration::from_millis(LOCK_POLL_MS)).await;
            }
        };
        match within(&*self.clocks, Duration::from_millis(CALL_MS_MAX), wait).await {
            Some(held) => held.map_err(Refused::broken),
            None => Err(Refused::later(Error::unreachable(
                "Another terminal of this bay is still sending.",
            ))),
        }
    }
}

/// First words of the note that stands in for a post set aside.
pub(crate) const NOTE_START: &str = "set aside:";

const NO_RECEIPT: &str = "The daemon answered without a receipt.";

/// The event id of a receipt.
pub fn receipt_id(receipt: &v1::Receipt) -> Option<EventId> {
    event_id(&receipt.event_id)
}

/// Refuses what the daemon could not take, while whoever says it can still say
/// it shorter. Nothing that happened at a bay comes near.
fn within_bounds(fact: &v1::Fact, bytes: &[u8]) -> Result<(), Error> {
    let over = bounds::over(fact);
    if let Some(first) = over.first() {
        return Err(Error::usage(format!("{} {}.", first.field, first.mend)));
    }
    if bytes.len() > bounds::FACT_BYTES_MAX {
        return Err(Error::usage(format!(
            "The fact has {} bytes, the most is {}: post it in parts.",
            bytes.len(),
            bounds::FACT_BYTES_MAX
        )));
    }
    Ok(())
}
