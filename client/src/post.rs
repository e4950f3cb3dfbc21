//! One post of a person at the bay: composed, kept, sent, and what came of it.

use baywright_proto::v1;
use baywright_proto::v1::fact::{Kind, Occurred};
use baywright_terms::time::{Micros, parse_at, parse_span};

use crate::commands::refused;
use crate::context::Context;
use crate::delivery::Delivered;
use crate::device::{How, Posted};
use crate::error::Error;
use crate::resolve;
use crate::spool::EventId;

/// What came of a post.
#[derive(Debug, Clone, PartialEq)]
pub enum Said {
    /// Nothing was posted: `--dry`.
    Dry,
    /// On the daemon's disk.
    Acknowledged {
        receipt: Box<v1::Receipt>,
        older: Delivered,
    },
    /// Safe on this bay's disk.
    Kept {
        event_id: EventId,
        handle: String,
        why: Error,
        /// Facts that wait here now, this one among them.
        waiting: usize,
    },
}

impl Said {
    pub fn receipt(&self) -> Option<&v1::Receipt> {
        match self {
            Self::Acknowledged { receipt, .. } => Some(receipt),
            Self::Dry | Self::Kept { .. } => None,
        }
    }
}

/// Puts the common flags around what happened.
pub fn compose(context: &Context, kind: Kind) -> Result<v1::Fact, Error> {
    let by = context
        .common
        .by
        .iter()
        .map(|worker| resolve::worker(context, worker.trim()))
        .collect::<Result<Vec<_>, _>>()?;
    let bay = match context.bay() {
        "" => String::new(),
        bay => resolve::bay(context, bay)?,
    };
    let stand_in = context.stand_in.clone().unwrap_or_default();
    Ok(v1::Fact {
        clocks: stand_in.clocks.or_else(|| Some(context.clocks.sample())),
        occurred: occurred(context)?.or(stand_in.occurred),
        bay,
        by,
        job: resolve::job_flag(context)?,
        kind: Some(kind),
    })
}

/// When it happened, as the flags say.
fn occurred(context: &Context) -> Result<Option<Occurred>, Error> {
    if let Some(text) = &context.common.at {
        let at = parse_at(text, &context.zone(), context.shop_now()?);
        let at = at.map_err(|e| refused(&e))?;
        return Ok(Some(Occurred::AtUs(at.0)));
    }
    if let Some(text) = &context.common.ago {
        let ago_us = parse_span(text).map_err(|e| refused(&e))?;
        return Ok(Some(Occurred::AgoUs(ago_us)));
    }
    Ok(None)
}

/// When the fact happened as far as this device can tell.
pub fn occurred_at(context: &Context, fact: &v1::Fact) -> Micros {
    match fact.occurred {
        Some(Occurred::AtUs(at_us)) => Micros(at_us),
        Some(Occurred::AgoUs(ago_us)) => context.now().saturating_sub(ago_us),
        None => context.now(),
    }
}

/// Keeps a fact and sends it, or with `--dry` does neither.
pub fn post(context: &Context, fact: &v1::Fact) -> Result<Said, Error> {
    if context.common.dry {
        return Ok(Said::Dry);
    }
    let mut fact = fact.clone();
    let handle = handle_for(context, &mut fact).map_err(Error::not_kept)?;
    let how = How {
        waiting: true,
        anyway: context.common.anyway,
        handle: handle.clone(),
    };
    let posted = {
        let mut device = context.device().map_err(Error::not_kept)?;
        let mut link = context.link();
        context.block_on(device.post(&mut *link, fact, &how))??
    };
    match posted {
        Posted::Acknowledged(acknowledged) => {
            let older = acknowledged.older;
            let receipt = Box::new(acknowledged.receipt);
            context.note_daemon_time(receipt.received_us);
            context.note_revision(receipt.catalogue_revision.max(older.catalogue_revision));
            Ok(Said::Acknowledged { receipt, older })
        }
        Posted::Kept { event_id, why } => Ok(Said::Kept {
            event_id,
            handle,
            why,
            // It is kept, whether or not the others can be counted.
            waiting: context
                .device()
                .map_or(1, |device| device.spool().posts().waiting().len()),
        }),
    }
}

/// The answer to what is only made online was lost. What is posted so is posted
/// as a difference to what the daemon has, so nothing of it comes twice.
const MAY_HAVE_ARRIVED: &str =
    "It may have arrived all the same: the same command again does only what is missing.";

/// Posts a fact that is only made online, such as a catalogue: without a
/// daemon nothing is kept, and the error says so.
pub fn post_online(context: &Context, fact: &v1::Fact) -> Result<Said, Error> {
    if context.common.dry {
        return Ok(Said::Dry);
    }
    context.channel()?;
    match post(context, fact)? {
        Said::Kept { event_id, why, .. } => {
            let mut device = context.device()?;
            let spool = device.spool_mut();
            spool.withdraw(&event_id, "ONLINE_ONLY", why.message())?;
            let hint = why.hint().unwrap_or_default().to_owned();
            Err(why.with_hint(format!("{hint} {MAY_HAVE_ARRIVED}").trim()))
        }
        said => Ok(said),
    }
}

/// A lasting handle for a job that is opened while the daemon is away. The
/// handle is known on this bay in any case.
fn handle_for(context: &Context, fact: &mut v1::Fact) -> Result<String, Error> {
    let bay = fact.bay.clone();
    let Some(Kind::JobOpened(opened)) = &mut fact.kind else {
        return Ok(String::new());
    };
    let openings = {
        let mut device = context.device()?;
        device.spool_mut().refresh()?;
        device.spool().posts().openings
    };
    let handle = format!("{}-{}", short_bay(&bay), openings + 1);
    if context.channel().is_err() {
        opened.handle.clone_from(&handle);
    }
    Ok(handle)
}

/// `bay-2` as `b2`: the first letter of each word, and the digits.
fn short_bay(bay: &str) -> String {
    let short: String = bay
        .split(|c: char| !c.is_ascii_alphanumeric())
        .map(|word| {
            let letter = word.chars().next().filter(|c| !c.is_ascii_digit());
            let digits = word.chars().filter(char::is_ascii_digit);
            letter.into_iter().chain(digits).collect::<String>()
        })
        .collect();
    if short.is_empty() {
        "b".to_owned()
    } else {
        short.to_lowercase()
    }
}

#[cfg(test)]
mod tests {
    use super::short_bay;

    #[test]
    fn a_handle_begins_with_the_bay_made_short() {
        for (bay, short) in [
            ("bay-2", "b2"),
            ("wash", "w"),
            ("north-bay-12", "nb12"),
            ("3", "3"),
            ("", "b"),
        ] {
            assert_eq!(short_bay(bay), short, "{bay}");
        }
    }
}
