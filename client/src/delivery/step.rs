//! Keeping in step with what the daemon holds of this device.

use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST};
use tonic::transport::Channel;

use crate::connect::CALL_MS_MAX;
use crate::delivery::Noticed;
use crate::delivery::refusal::Refused;
use crate::device::Device;
use crate::error::{Error, Kind};
use crate::spool::{EventId, event_id};

/// Says hello for this device, and checks that both ends speak one protocol.
pub async fn hello(channel: &Channel, device: &str) -> Result<v1::HelloResponse, Refused> {
    let request = v1::HelloRequest {
        protocol_lowest: PROTOCOL_LOWEST,
        protocol_highest: PROTOCOL_HIGHEST,
        build: env!("CARGO_PKG_VERSION").to_owned(),
        device: device.to_owned(),
    };
    let mut client = HelloServiceClient::new(channel.clone());
    let limit = Duration::from_millis(CALL_MS_MAX);
    let answer = match tokio::time::timeout(limit, client.hello(request)).await {
        Ok(Ok(response)) => response.into_inner(),
        Ok(Err(status)) => return Err(Refused::later(Error::from_status(&status, "a hello"))),
        Err(_) => {
            return Err(Refused::later(Error::unreachable(
                "The daemon did not say hello in time.",
            )));
        }
    };
    check_versions(&answer).map_err(Refused::later)?;
    Ok(answer)
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

/// Learns the log's id before the first post to it.
pub async fn first_contact(device: &mut Device, channel: &Channel) -> Result<(), Refused> {
    let answer = hello(channel, device.name()).await?;
    let log = log_of(&answer);
    device
        .spool
        .in_step(answer.held_device_seq, log, false)
        .map_err(Refused::broken)
}

/// Gets in step under a new name: what the daemon holds of it, and nothing is
/// sent again that it acknowledged under the old one.
pub async fn start_over(device: &mut Device, channel: &Channel) -> Result<(), Refused> {
    first_contact(device, channel).await
}

/// Compares the daemon's log and number with ours, as `bay spool send` does.
pub async fn check_log(device: &mut Device, channel: &Channel) -> Result<(), Refused> {
    let answer = hello(channel, device.name()).await?;
    let posts = device.spool.posts();
    let (held, ours) = (answer.held_device_seq, posts.held_device_seq);
    let same = log_of(&answer).map(|(id, _)| id) == posts.log_id;
    if same && held == ours {
        return Ok(());
    }
    settle(device, &answer)
}

/// Follows an OUT_OF_STEP answer to the post `device_seq`.
pub async fn follow(
    device: &mut Device,
    channel: &Channel,
    held: Option<u64>,
    device_seq: u64,
) -> Result<(), Refused> {
    let ours = device.spool.posts().held_device_seq;
    match held {
        // It has posts whose receipts were lost on the way.
        Some(held) if held > ours && held < device_seq => device
            .spool
            .in_step(held, None, false)
            .map_err(Refused::broken),
        // It holds less, or our numbers: which log is it?
        _ => {
            let answer = hello(channel, device.name()).await?;
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
/// The same log that holds less than it acknowledged was restored from a
/// backup: what it lost goes out again. Another log gets only what still waits:
/// facts of one shop's log are not copied into another's unasked.
fn settle(device: &mut Device, answer: &v1::HelloResponse) -> Result<(), Refused> {
    let posts = device.spool.posts();
    let held = answer.held_device_seq;
    let log = log_of(answer);
    let same = match (log, posts.log_id) {
        (Some((id, _)), Some(known)) => id == known,
        _ => true,
    };
    let resend = same && held < posts.held_device_seq;
    if resend {
        device.noticed = Some(Noticed::Restored {
            is_complete: posts.dropped_device_seq <= held,
        });
    } else if !same {
        device.noticed = Some(Noticed::OtherLog);
    }
    device
        .spool
        .in_step(held, log, resend)
        .map_err(Refused::broken)
}

fn log_of(answer: &v1::HelloResponse) -> Option<(EventId, u64)> {
    event_id(&answer.log_id).map(|id| (id, answer.epoch))
}
