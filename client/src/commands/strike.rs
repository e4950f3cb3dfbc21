//! `bay strike`: take back an earlier fact by a later one.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_terms::time::Micros;
use clap::Args;
use prost::Message as _;
use tokio_stream::StreamExt as _;
use uuid::Uuid;

use crate::answer::{Outcome, plain};
use crate::ask;
use crate::commands::{Local, post_with_line};
use crate::context::Context;
use crate::describe;
use crate::error::Error;
use crate::spool::{Entry, EventId, Standing, event_id};

/// Take back a slip: `bay strike` shows the last fact of this bay and takes it
/// back; `bay strike 4711` takes back that one of the log.
#[derive(Debug, Args)]
pub struct StrikeArgs {
    /// Its number in the log, or its event id; left out: the last from here.
    #[arg(value_name = "SEQ|EVENT")]
    pub event: Option<String>,
    /// Why.
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
    /// Do not ask.
    #[arg(long)]
    pub yes: bool,
}

/// What is to be struck.
struct Target {
    id: EventId,
    words: String,
}

pub fn run(context: &Context, args: &StrikeArgs) -> Result<Outcome, Error> {
    let target = match args.event.as_deref() {
        Some(typed) => named(context, typed)?,
        None => last(context)?,
    };
    if args.event.is_none() && !args.yes && context.can_ask() {
        let choices = ["strike it out".to_owned(), "leave it".to_owned()];
        let question = format!("Last from here: {}.", plain(&target.words));
        if ask::digit(&question, &choices)? != Some(0) {
            return Ok(Outcome::new(
                "Left as it is.",
                serde_json::json!({"posted": "no"}),
            ));
        }
    }
    let kind = Kind::StruckOut(v1::StruckOut {
        event_id: target.id.to_vec(),
        reason: args.why.clone().unwrap_or_default(),
    });
    let line = format!("It was: {}.", plain(&target.words));
    post_with_line(context, kind, None, &Local::None, Some(line))
}

/// The last fact of this device that is not a strike and not struck already.
fn last(context: &Context) -> Result<Target, Error> {
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    let mut struck: Vec<EventId> = Vec::new();
    for entry in device.spool().posts().all().iter().rev() {
        if !matches!(
            entry.standing,
            Standing::Waiting | Standing::Acknowledged { .. }
        ) {
            continue;
        }
        let Ok(fact) = v1::Fact::decode(&*entry.fact) else {
            continue;
        };
        if let Some(Kind::StruckOut(strike)) = &fact.kind {
            struck.extend(event_id(&strike.event_id));
        } else if !struck.contains(&entry.event_id) {
            return Ok(target(context, entry, &fact));
        }
    }
    Err(
        Error::refused("Nothing was posted from here that could be struck out.")
            .with_hint("Name it: bay strike SEQ, with the number from `bay job`."),
    )
}

fn target(context: &Context, entry: &Entry, fact: &v1::Fact) -> Target {
    let at = match entry.standing {
        Standing::Acknowledged { occurred_us, .. } => occurred_us,
        _ => entry.created_us,
    };
    Target {
        id: entry.event_id,
        words: words(context, fact, at),
    }
}

fn words(context: &Context, fact: &v1::Fact, at_us: i64) -> String {
    let clock = Micros(at_us).date_and_clock(&context.zone());
    format!("{}, {clock}", describe::fact(fact))
}

fn named(context: &Context, typed: &str) -> Result<Target, Error> {
    let typed = typed.trim().trim_start_matches('#');
    if let Ok(seq) = typed.parse::<u64>() {
        return by_seq(context, seq);
    }
    let id = Uuid::parse_str(typed)
        .map_err(|_| {
            Error::refused(format!(
                "`{typed}` is no number of the log and no event id."
            ))
            .with_hint("`bay job` shows the numbers.")
        })?
        .into_bytes();
    let device = context.device()?;
    let known = device.spool().posts().get(&id).and_then(|entry| {
        let fact = v1::Fact::decode(&*entry.fact).ok()?;
        Some(target(context, entry, &fact))
    });
    Ok(known.unwrap_or_else(|| Target {
        id,
        words: format!("event {typed}"),
    }))
}

/// An event by its place in the log: one this bay posted, else asked for.
fn by_seq(context: &Context, seq: u64) -> Result<Target, Error> {
    let unknown = || Error::refused(format!("the log has no record {seq}."));
    let own = {
        let device = context.device()?;
        let posts = device.spool().posts();
        let mut all = posts.all().iter();
        all.find(|e| matches!(e.standing, Standing::Acknowledged { seq: s, .. } if s == seq))
            .cloned()
    };
    if let Some(entry) = own
        && let Ok(fact) = v1::Fact::decode(&*entry.fact)
    {
        return Ok(target(context, &entry, &fact));
    }
    let request = v1::WatchRequest {
        after_seq: seq.checked_sub(1).ok_or_else(unknown)?,
        follow: false,
    };
    let mut records = context.call("the log", async |channel| {
        FloorServiceClient::new(channel).watch(request).await
    })?;
    let first = context.block_on(records.next())?;
    let record = match first {
        Some(Ok(answer)) => answer.decoded.filter(|r| r.seq == seq),
        Some(Err(status)) => return Err(Error::from_status(&status, "the log")),
        None => None,
    };
    let record = record.ok_or_else(unknown)?;
    let fact = v1::Fact::decode(&*record.fact).unwrap_or_default();
    Ok(Target {
        id: event_id(&record.event_id).ok_or_else(unknown)?,
        words: words(context, &fact, record.occurred_us),
    })
}
