//! `bay settle`: odd records, and the owner's answers to them.

use baywright_proto::json::uuid_text;
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_proto::v1::{OddRecord, OddResponse, settled};
use baywright_terms::code::{self, Resolved};
use clap::Args;
use serde_json::json;
use uuid::Uuid;

use self::answer::{Answer, AnswerArgs, Ground, Typed};
use super::{office, page};
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::{Context, zone_named};
use crate::error::Error;
use crate::post;
use crate::render;
use crate::render::calendar::Calendar;
use crate::resolve;

mod answer;
mod walk;

/// Records that are odd, and what was meant.
///
/// Nothing is changed in the log: an answer is an event of its own, and the
/// latest one that is not struck out holds. On a terminal, without a record,
/// each is shown in turn and answered with one digit.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay settle                            one after the other
  bay settle 4711 --end 17:20           it ended at 17:20 of that day
  bay settle 4790 --code iron-remover   that product was meant
  bay settle 4802 --job 118             that job was meant
  bay settle 4815 --leave-out --why \"posted while trying it out\"")]
pub struct SettleArgs {
    /// The event, by its number in the log or by its id.
    #[arg(value_name = "RECORD")]
    pub record: Option<String>,
    #[command(flatten)]
    pub answer: AnswerArgs,
    /// Why, for whoever reads it later.
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
    /// List the settled ones too.
    #[arg(long)]
    pub all: bool,
}

/// Lists, walks through, or settles one.
pub fn run(context: &Context, args: &SettleArgs) -> Result<Outcome, Error> {
    let typed = Typed::of(&args.answer, context.common.job.as_deref())?;
    let Some(record) = args.record.as_deref() else {
        if typed.is_some() {
            return Err(Error::usage("Which record?")
                .with_hint("Write its number before the answer: bay settle 4711 --as-is"));
        }
        let odd = odd(context, args.all)?;
        if context.can_ask() && !args.all && !context.common.dry {
            return walk::through(context, &odd, args.why.as_deref());
        }
        return Ok(listed(&odd));
    };
    let odd = odd(context, true)?;
    let target = find(context, &odd, record)?;
    let Some(typed) = typed else {
        return Err(
            Error::usage(format!("What about event {}?", target.seq)).with_hint(format!(
                "{} {}",
                target.text,
                answers_hint(&target)
            )),
        );
    };
    let desk = Desk::new(context, &odd.zone);
    let answer = desk.read(&target, &typed)?;
    desk.settle(&target, answer, args.why.as_deref())
}

fn listed(odd: &OddResponse) -> Outcome {
    let text = render::settle::list(odd, page::columns());
    Outcome::new(text, json!({ "odd": odd.odd, "zone": odd.zone }))
}

fn answers_hint(target: &OddRecord) -> String {
    let proposed = if Typed::proposed(target).is_some() {
        format!("Proposed: {}. ", target.settle_with)
    } else {
        String::new()
    };
    format!(
        "{proposed}One of --as-is, --end TIME, --code CODE, --job JOB, --took SPAN, --leave-out."
    )
}

fn odd(context: &Context, all: bool) -> Result<OddResponse, Error> {
    let request = v1::OddRequest { all };
    context.call_within(REPORT_MS_MAX, "the odd records", async |channel| {
        ReportServiceClient::new(channel).odd(request).await
    })
}

/// The record by number or id; one that is not odd can be answered too.
fn find(context: &Context, odd: &OddResponse, typed: &str) -> Result<OddRecord, Error> {
    let typed = typed.trim().trim_start_matches('#');
    if let Ok(seq) = typed.parse::<u64>() {
        return match odd.odd.iter().find(|record| record.seq == seq) {
            Some(record) => Ok(record.clone()),
            None => by_seq(context, seq),
        };
    }
    let Ok(id) = Uuid::parse_str(typed) else {
        return Err(Error::usage(format!("`{typed}` is not a record."))
            .with_hint("Write its number in the log, as `bay settle` and `bay job` show it."));
    };
    let listed = odd.odd.iter().find(|r| r.event_id == id.as_bytes());
    Ok(listed.cloned().unwrap_or_else(|| OddRecord {
        event_id: id.as_bytes().to_vec(),
        ..OddRecord::default()
    }))
}

fn by_seq(context: &Context, seq: u64) -> Result<OddRecord, Error> {
    let missing = || {
        Error::refused(format!("There is no event {seq} in the log."))
            .with_hint("`bay settle` lists the records to settle.")
    };
    let after_seq = seq.checked_sub(1).ok_or_else(missing)?;
    let request = v1::WatchRequest {
        after_seq,
        follow: false,
    };
    let mut stream = context.call("the log", async |channel| {
        FloorServiceClient::new(channel).watch(request).await
    })?;
    let first = context
        .block_on(stream.message())?
        .map_err(|status| Error::from_status(&status, "the log"))?;
    let record = first.and_then(|response| response.decoded);
    let record = record.filter(|r| r.seq == seq).ok_or_else(missing)?;
    Ok(OddRecord {
        event_id: record.event_id,
        seq,
        occurred_us: record.occurred_us,
        ..OddRecord::default()
    })
}

/// Where the owner answers: the zone, the clock and the way to the log.
struct Desk<'a> {
    context: &'a Context,
    zone: jiff::tz::TimeZone,
    zone_name: &'a str,
}

impl<'a> Desk<'a> {
    fn new(context: &'a Context, zone_name: &'a str) -> Self {
        Self {
            context,
            zone: zone_named(zone_name),
            zone_name,
        }
    }

    fn read(&self, target: &OddRecord, typed: &Typed) -> Result<Answer, Error> {
        let ground = Ground {
            zone: &self.zone,
            zone_name: self.zone_name,
            occurred_us: target.occurred_us,
            now_us: self.context.clocks.wall_us(),
        };
        match typed {
            Typed::Job(job) => Ok(Answer {
                wire: settled::Answer::Job(resolve::job(self.context, job)?),
                words: format!("job {} was meant", job.trim().trim_start_matches('#')),
            }),
            Typed::Code(code) => Typed::Code(self.known_code(code)?).read(&ground),
            other => other.read(&ground),
        }
    }

    /// A code of any table: the record tells which of them is meant.
    fn known_code(&self, typed: &str) -> Result<String, Error> {
        let typed = typed.trim();
        let Some(held) = self.context.catalogue_or_ask() else {
            return Ok(typed.to_owned());
        };
        let catalogue = &held.catalogue;
        let codes = catalogue
            .products
            .keys()
            .chain(catalogue.stages.keys())
            .chain(catalogue.job_types.keys())
            .chain(catalogue.workers.keys())
            .chain(catalogue.bays.keys());
        match code::resolve(typed, codes.map(AsRef::as_ref)) {
            Resolved::Exact(code) | Resolved::Prefix(code) => Ok(code.to_owned()),
            Resolved::Unknown { .. } if self.context.common.anyway || typed.is_empty() => {
                Ok(typed.to_owned())
            }
            Resolved::Unknown { nearest } => Err(resolve::unknown_code("code", typed, &nearest)),
        }
    }

    fn settle(
        &self,
        target: &OddRecord,
        answer: Answer,
        why: Option<&str>,
    ) -> Result<Outcome, Error> {
        let Answer { wire, words } = answer;
        let settled = v1::Settled {
            event_id: target.event_id.clone(),
            reason: why.unwrap_or_default().to_owned(),
            answer: Some(wire),
            ..v1::Settled::default()
        };
        let mut fact = post::compose(self.context, Kind::Settled(settled))?;
        // `--job` is the answer here, not the job that the answer is about.
        fact.job = None;
        let said = post::post(self.context, &fact)?;
        let understood = format!("{}: {words}.", name(target));
        Ok(Outcome::new(
            office::told(&understood, &said),
            office::told_json(&said),
        ))
    }

    fn calendar(&self) -> Calendar {
        Calendar::of(self.zone_name)
    }
}

/// `Event 4711`, or its id where the number is not known.
fn name(target: &OddRecord) -> String {
    if target.seq == 0 {
        format!("Event {}", uuid_text(&target.event_id))
    } else {
        format!("Event {}", target.seq)
    }
}
