//! Keeping in step with what the daemon holds of this device.

use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST};

use crate::clock::{Clocks, within};
use crate::connect::CALL_MS_MAX;
use crate::delivery::Noticed;
use crate::delivery::carrier::Carrier;
use crate::delivery::refusal::Refused;
use crate::device::Device;
use crate::error::{Error, Kind};
use crate::spool::{Entry, Holds, Posts, event_id};

/// Says hello for this device, and checks that both ends speak one protocol.
pub async fn hello<C: Carrier>(carrier: &C, device: &Device) -> Result<v1::HelloResponse, Refused> {
    say_hello(carrier, &*device.clocks, device.name()).await
}

async fn say_hello<C: Carrier>(
    carrier: &C,
    clocks: &dyn Clocks,
    name: &str,
) -> Result<v1::HelloResponse, Refused> {
    let request = v1::HelloRequest {
        protocol_lowest: PROTOCOL_LOWEST,
        protocol_highest: PROTOCOL_HIGHEST,
        build: env!("CARGO_PKG_VERSION").to_owned(),
        device: name.to_owned(),
    };
    let limit = Duration::from_millis(CALL_MS_MAX);
    let answer = match within(clocks, limit, carrier.hello(request)).await {
        Some(Ok(answer)) => answer,
        Some(Err(status)) => return Err(Refused::of_call(&status, "a hello")),
        None => {
            return Err(Refused::silence(Error::unreachable(
                "The daemon did not say hello in time.",
            )));
        }
    };
    check_versions(&answer).map_err(Refused::later)?;
    Ok(answer)
}

/// A daemon that does not know a call may speak another protocol altogether:
/// then its hello says who of the two must be updated.
pub async fn explained<C: Carrier>(
    carrier: &C,
    clocks: &dyn Clocks,
    name: &str,
    refused: Refused,
) -> Refused {
    if refused.error.kind() != Kind::Version {
        return refused;
    }
    match say_hello(carrier, clocks, name).await {
        Err(other) if other.error.kind() == Kind::Version => other,
        _ => refused,
    }
}

/// One sentence that names both versions and who must be updated.
fn check_versions(answer: &v1::HelloResponse) -> Result<(), Error> {
    let (lowest, highest) = (answer.protocol_lowest, answer.protocol_highest);
    if lowest <= PROTOCOL_HIGHEST && PROTOCOL_LOWEST <= highest {
        return Ok(());
    }
    let older = if lowest > PROTOCOL_HIGHEST {
        "update this bay"
    } else {
        "update baywrightd"
    };
    Err(Error::new(
        Kind::Version,
        format!(
            "The daemon {} speaks protocol {lowest} to {highest}, this bay {} speaks \
             {PROTOCOL_LOWEST} to {PROTOCOL_HIGHEST}: {older}.",
            answer.build,
            env!("CARGO_PKG_VERSION"),
        ),
    ))
}

/// How often a device that posts asks what the daemon holds, although nothing
/// is out of step: what is in a backup by now need not be kept here any longer.
const ASK_US: i64 = 3_600_000_000;

/// Learns the log's id before the first post to it.
pub async fn first_contact<C: Carrier>(device: &mut Device, carrier: &C) -> Result<(), Refused> {
    let answer = hello(carrier, device).await?;
    let holds = holds(device, &answer);
    device.spool.in_step(&holds, None).map_err(Refused::broken)
}

/// Gets in step under a new name: what the daemon holds of it, and nothing is
/// sent again that it acknowledged under the old one.
///
/// But where it was restored since this device last heard of it, everything that
/// is still here goes out again: the numbers are of another name, and the daemon
/// knows by its event id what it has.
pub async fn start_over<C: Carrier>(device: &mut Device, carrier: &C) -> Result<(), Refused> {
    let answer = hello(carrier, device).await?;
    let posts = device.spool.posts();
    if is_same_log(posts, &answer) && is_later(posts, &answer) {
        return bring(device, &answer, Some(0));
    }
    let holds = holds(device, &answer);
    device.spool.in_step(&holds, None).map_err(Refused::broken)
}

/// Compares the daemon's log and number with ours, as `bay spool send` does.
pub async fn check_log<C: Carrier>(device: &mut Device, carrier: &C) -> Result<(), Refused> {
    let answer = hello(carrier, device).await?;
    let (posts, holds) = (device.spool.posts(), holds(device, &answer));
    let is_known = holds.log == posts.log_id.map(|id| (id, posts.epoch))
        && holds.device_seq == posts.held_device_seq
        && holds.backed_up_device_seq == Some(posts.backed_up_device_seq);
    if is_known && !asked_long_ago(device) {
        return Ok(());
    }
    settle(device, &answer)
}

/// True where it is time to ask the daemon again what it holds.
pub fn asked_long_ago(device: &Device) -> bool {
    let since_us = device
        .clocks
        .wall_us()
        .saturating_sub(device.spool.posts().asked_us);
    // A clock that was set back says nothing of how long it is ago.
    !(0..ASK_US).contains(&since_us)
}

/// Follows an OUT_OF_STEP answer to the post `device_seq`.
pub async fn follow<C: Carrier>(
    device: &mut Device,
    carrier: &C,
    held: Option<u64>,
    device_seq: u64,
) -> Result<(), Refused> {
    let ours = device.spool.posts().held_device_seq;
    match held {
        // It has posts whose receipts were lost on the way.
        Some(held) if held > ours && held < device_seq => device
            .spool
            .in_step(&Holds::only(held), None)
            .map_err(Refused::broken),
        // It holds less, or our numbers: which log is it?
        _ => {
            let answer = hello(carrier, device).await?;
            settle(device, &answer)?;
            // It looked for this event id first and did not find it, so the
            // number belongs to another fact: this folder was put back from an
            // old copy, say. Waiting posts get new numbers and are not lost.
            if device_seq <= answer.held_device_seq {
                device
                    .spool
                    .renumber_above(answer.held_device_seq)
                    .map_err(Refused::broken)?;
            }
            Ok(())
        }
    }
}

/// Brings the spool in step with the daemon that gave this answer.
///
/// The same log in a later epoch, or one that holds less than it acknowledged,
/// was restored from a backup: what it lost goes out again. Another log gets only
/// what still waits: facts of one shop's log are not copied into another's unasked.
fn settle(device: &mut Device, answer: &v1::HelloResponse) -> Result<(), Refused> {
    let posts = device.spool.posts();
    let lost_after = is_same_log(posts, answer)
        .then(|| lost_after(posts, answer))
        .flatten();
    bring(device, answer, lost_after)
}

/// True but for the log of another shop.
fn is_same_log(posts: &Posts, answer: &v1::HelloResponse) -> bool {
    match (event_id(&answer.log_id), posts.log_id) {
        (Some(id), Some(known)) => id == known,
        _ => true,
    }
}

/// Notes what the daemon holds; acknowledged posts past `lost_after` go out again.
fn bring(
    device: &mut Device,
    answer: &v1::HelloResponse,
    lost_after: Option<u64>,
) -> Result<(), Refused> {
    let holds = holds(device, answer);
    let posts = device.spool.posts();
    device.noticed = match lost_after {
        _ if !is_same_log(posts, answer) => Some(Noticed::OtherLog),
        // It knows this device by another name since it joined, say.
        Some(_) if !is_later(posts, answer) => device.noticed,
        Some(number) if posts.dropped_device_seq > number => {
            Some(Noticed::Restored { is_complete: false })
        }
        Some(number) if posts.acknowledged_after(number) == 0 => Some(Noticed::RestoredWhole),
        Some(_) => Some(Noticed::Restored { is_complete: true }),
        None => device.noticed,
    };
    device
        .spool
        .in_step(&holds, lost_after)
        .map_err(Refused::broken)?;
    // Numbers that the daemon has given way past are not taken again. An event
    // that it has all the same is known to it by its id.
    let is_passed = |entry: &&Entry| entry.device_seq <= holds.device_seq;
    if lost_after.is_some() && device.spool.posts().waiting().iter().any(is_passed) {
        device
            .spool
            .renumber_above(holds.device_seq)
            .map_err(Refused::broken)?;
    }
    Ok(())
}

/// The number after which the daemon may have lost posts that it acknowledged.
fn lost_after(posts: &Posts, answer: &v1::HelloResponse) -> Option<u64> {
    let held = answer.held_device_seq;
    // Beyond what the backup had, this device may have posted in the new epoch
    // already, from a folder that was put back from an old copy.
    if is_later(posts, answer) {
        return Some(held.min(answer.restored_device_seq));
    }
    (held < posts.held_device_seq).then_some(held)
}

/// True where the daemon was restored since this device last heard of it.
fn is_later(posts: &Posts, answer: &v1::HelloResponse) -> bool {
    posts.log_id.is_some() && answer.epoch > posts.epoch
}

fn holds(device: &Device, answer: &v1::HelloResponse) -> Holds {
    Holds {
        device_seq: answer.held_device_seq,
        log: event_id(&answer.log_id).map(|id| (id, answer.epoch)),
        backed_up_device_seq: Some(answer.backed_up_device_seq),
        asked_us: Some(device.clocks.wall_us()),
    }
}
