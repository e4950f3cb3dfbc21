//! `bay settle`: odd records, and the owner's answers to them.

use baywright_proto::json::uuid_text;
use baywright_proto::v1;
use baywright_proto::v1::fact::{Kind, Occurred};
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_proto::v1::{OddRecord, OddResponse, settled};
use baywright_terms::code::{self, Resolved};
use baywright_terms::time::{self, DAY_US, Micros};
use clap::Args;
use prost::Message as _;
use serde_json::json;
use uuid::Uuid;

use self::answer::{Answer, AnswerArgs, Ground, Typed};
use self::offer::Aim;
use super::{office, page};
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::{Context, zone_named};
use crate::error::Error;
use crate::post::{self, Said};
use crate::render;
use crate::render::calendar::Calendar;
use crate::render::text::capital;
use crate::resolve;

mod answer;
mod offer;
mod walk;

/// Records that are odd, and what was meant.
///
/// Nothing is changed in the log: an answer is an event of its own, and the
/// latest one that is not struck out holds. On a terminal, without a record,
/// each is shown in turn with the answers that make sense and what they would
/// change, and answered with one digit. `bay strike` takes an answer back.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay settle                                one after the other
  bay settle 4711                           that one, and what can be said to it
  bay settle 4711 --end 17:20               it ended at 17:20 of that day
  bay settle 4711 --took 45m --of ana       so long for one of two workers
  bay settle 4712 --break-off               on the break: it comes off
  bay settle 4713 --stage decon --not-done  released without it
  bay settle 4790 --code iron-remover       that product was meant
  bay settle 4802 --job 118                 that job was meant
  bay settle 4807 --happened 14:05          said anew at its time, the old one struck
  bay settle 4815 --leave-out --why \"posted while trying it out\"")]
pub struct SettleArgs {
    /// The event, by its number in the log or by its id.
    #[arg(value_name = "RECORD")]
    pub record: Option<String>,
    #[command(flatten)]
    pub answer: AnswerArgs,
    /// Which of several questions about the event: a worker or a code.
    #[arg(long, value_name = "WHICH")]
    pub of: Option<String>,
    /// Which of the stages without a record.
    #[arg(long, value_name = "STAGE", conflicts_with = "of")]
    pub stage: Option<String>,
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
    let walks = context.can_ask() && !context.common.dry;
    let Some(record) = args.record.as_deref() else {
        if typed.is_some() {
            return Err(Error::usage("Which record?")
                .with_hint("Write its number before the answer: bay settle 4711 --as-is"));
        }
        if walks && !args.all {
            return walk::through(context, None, args.why.as_deref());
        }
        return Ok(listed(&odd(context, args.all)?));
    };
    let odd = odd(context, true)?;
    let target = find(context, &odd, record)?;
    let Some(typed) = typed else {
        if walks && target.records.iter().any(|r| !r.settled) {
            return walk::through(context, Some(&target.event_id), args.why.as_deref());
        }
        return Err(
            Error::usage(format!("What about {}?", target.name())).with_hint(target.answers_hint())
        );
    };
    let desk = Desk::new(context, &odd.zone, args.why.as_deref());
    let which = args.of.as_deref().or(args.stage.as_deref());
    desk.settle_typed(&target, &typed, which)
}

/// What an answer typed as an end, a span or a code comes to in words, for
/// checks that type what nobody would; refusals are left out.
pub fn read_answers(typed: &str, zone_name: &str, occurred_us: i64, now_us: i64) -> Vec<String> {
    let zone = zone_named(zone_name);
    let ground = Ground {
        zone: &zone,
        zone_name,
        occurred_us,
        now_us,
    };
    let ways = [Typed::End, Typed::Took, Typed::Code];
    let read = ways.map(|way| way(typed.to_owned()).read(&ground));
    read.into_iter().flatten().map(|read| read.words).collect()
}

fn listed(odd: &OddResponse) -> Outcome {
    let text = render::settle::list(odd, page::columns());
    Outcome::new(text, json!({ "odd": odd.odd, "zone": odd.zone }))
}

fn odd(context: &Context, all: bool) -> Result<OddResponse, Error> {
    let request = v1::OddRequest { all };
    context.call_within(REPORT_MS_MAX, "the odd records", async |channel| {
        ReportServiceClient::new(channel).odd(request).await
    })
}

/// An event to settle, and what is odd about it.
struct Target {
    event_id: Vec<u8>,
    /// 0: not known.
    seq: u64,
    /// 0: not known.
    occurred_us: i64,
    records: Vec<OddRecord>,
}

impl Target {
    fn of(record: &OddRecord) -> Self {
        Self {
            event_id: record.event_id.clone(),
            seq: record.seq,
            occurred_us: record.occurred_us,
            records: vec![record.clone()],
        }
    }

    /// `event 4711`, or its id where the number is not known.
    fn name(&self) -> String {
        if self.seq == 0 {
            format!("event {}", uuid_text(&self.event_id))
        } else {
            format!("event {}", self.seq)
        }
    }

    /// What is odd about it, each with its answers.
    fn answers_hint(&self) -> String {
        let mut said = Vec::new();
        for record in &self.records {
            said.push(record.text.clone());
            for offered in offer::of(record) {
                let likely = if offered.proposed {
                    ", the likely one"
                } else {
                    ""
                };
                let effect = match offered.changes_us {
                    Some(us) => format!("; {}", offer::effect(record, us)),
                    None => String::new(),
                };
                said.push(format!(
                    "{} ({}{likely}{effect}).",
                    offered.command_line(),
                    offered.words
                ));
            }
        }
        if said.is_empty() {
            return "One of --as-is, --end TIME, --code CODE, --job JOB, --took SPAN, --leave-out."
                .to_owned();
        }
        said.join("\n")
    }
}

/// The event by number or id; one that is not odd can be answered too.
fn find(context: &Context, odd: &OddResponse, typed: &str) -> Result<Target, Error> {
    let typed = typed.trim().trim_start_matches('#');
    let seq = typed.parse::<u64>().ok();
    let id = Uuid::parse_str(typed).ok();
    let is_it = |record: &OddRecord| match (seq, id) {
        (Some(seq), _) => record.seq == seq,
        (None, Some(id)) => record.event_id == id.as_bytes(),
        (None, None) => false,
    };
    let records: Vec<OddRecord> = odd.odd.iter().filter(|r| is_it(r)).cloned().collect();
    if let Some(first) = records.first() {
        return Ok(Target {
            records: records.clone(),
            ..Target::of(first)
        });
    }
    if let Some(seq) = seq {
        let found = by_seq(context, seq)?;
        return Ok(Target {
            event_id: found.event_id,
            seq,
            occurred_us: found.occurred_us,
            records: Vec::new(),
        });
    }
    let Some(id) = id else {
        return Err(Error::usage(format!("`{typed}` is not a record."))
            .with_hint("Write its number in the log, as `bay settle` and `bay job` show it."));
    };
    Ok(Target {
        event_id: id.as_bytes().to_vec(),
        seq: 0,
        occurred_us: 0,
        records: Vec::new(),
    })
}

/// The entry of the log with a number.
fn by_seq(context: &Context, seq: u64) -> Result<v1::Record, Error> {
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
    record.filter(|r| r.seq == seq).ok_or_else(missing)
}

/// Where the owner answers: the zone, the clock and the way to the log.
struct Desk<'a> {
    context: &'a Context,
    zone: jiff::tz::TimeZone,
    zone_name: &'a str,
    why: Option<&'a str>,
}

impl<'a> Desk<'a> {
    fn new(context: &'a Context, zone_name: &'a str, why: Option<&'a str>) -> Self {
        Self {
            context,
            zone: zone_named(zone_name),
            zone_name,
            why,
        }
    }

    /// Posts a typed answer to the questions of an event that take it.
    fn settle_typed(
        &self,
        target: &Target,
        typed: &Typed,
        which: Option<&str>,
    ) -> Result<Outcome, Error> {
        let records: Vec<&OddRecord> = target.records.iter().collect();
        let aims = offer::aims(&records, typed, which)?;
        if let Typed::Happened(at) = typed {
            return self.say_anew(target, at);
        }
        let answer = self.read(target, typed)?;
        let mut effects = Vec::new();
        let mut told = Vec::new();
        for (aim, asked) in aims {
            for record in asked {
                let changes = offer::changes(record, typed, answer.value_us);
                effects.extend(changes.map(|us| offer::effect(record, us)));
            }
            told.push(self.settle(target, &answer, aim)?);
        }
        let understood = capital(&format!("{}: {}.", target.name(), answer.words));
        let mut text = understood;
        effects.dedup();
        if !effects.is_empty() {
            text = format!("{text} It {}.", effects.join(", "));
        }
        let json = match told.as_slice() {
            [one] => office::told_json(one),
            several => json!({
                "settled": several.iter().map(office::told_json).collect::<Vec<_>>()
            }),
        };
        for said in &told {
            text = office::told(&text, said);
        }
        Ok(Outcome::new(text, json))
    }

    /// Says a fact anew with the time at which it happened, then strikes the
    /// old one: in that order, so that nothing is lost in between.
    fn say_anew(&self, target: &Target, at: &str) -> Result<Outcome, Error> {
        if target.seq == 0 {
            return Err(Error::usage(
                "Name it by its number in the log, as `bay settle` does.",
            ));
        }
        let record = by_seq(self.context, target.seq)?;
        let unreadable =
            || Error::refused("What it said is of a newer release; it cannot be said anew.");
        let old = v1::Fact::decode(record.fact.as_slice()).map_err(|_| unreadable())?;
        let kind = old.kind.clone().ok_or_else(unreadable)?;
        if matches!(kind, Kind::JobOpened(_)) {
            return Err(Error::refused(
                "An opening is not said anew: everything about the job names it.",
            )
            .with_hint("Its time changes no labour. --as-is settles it."));
        }
        // A time of day means the one nearest to the time it has now.
        let nearest = record.occurred_us.saturating_add(DAY_US / 2);
        let latest = nearest.min(self.context.clocks.wall_us());
        let has_date = at.trim().contains([' ', 'T']);
        let latest = if has_date {
            self.context.clocks.wall_us()
        } else {
            latest
        };
        let at = time::parse_at(at, &self.zone, Micros(latest))
            .map_err(|error| Error::refused(format!("{error}.")))?;
        let anew = v1::Fact {
            clocks: Some(self.context.clocks.sample()),
            occurred: Some(Occurred::AtUs(at.0)),
            ..old
        };
        let first = post::post(self.context, &anew)?;
        let struck = Kind::StruckOut(v1::StruckOut {
            event_id: target.event_id.clone(),
            reason: self.why.unwrap_or("said anew with its time").to_owned(),
        });
        let second = post::post(self.context, &self.paperwork(struck)?)?;
        let when = self.calendar().day_and_time(at.0);
        let understood = capital(&format!(
            "{} is struck out and said anew: {} at {when}.",
            target.name(),
            crate::describe::fact(&anew)
        ));
        let text = office::told(&office::told(&understood, &first), &second);
        let both = [&first, &second].map(office::told_json);
        Ok(Outcome::new(text, json!({ "said_anew": both })))
    }

    fn read(&self, target: &Target, typed: &Typed) -> Result<Answer, Error> {
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
                value_us: None,
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

    /// Appends one settlement.
    fn settle(&self, target: &Target, answer: &Answer, aim: Aim) -> Result<Said, Error> {
        let settled = v1::Settled {
            event_id: target.event_id.clone(),
            reason: self.why.unwrap_or_default().to_owned(),
            answer: Some(answer.wire.clone()),
            question: aim.question,
            of: aim.of,
        };
        let fact = self.paperwork(Kind::Settled(settled))?;
        post::post(self.context, &fact)
    }

    /// A fact about the log, not about the floor: `--job` is the answer here,
    /// not the job that the answer is about, and `--at` is of no use.
    fn paperwork(&self, kind: Kind) -> Result<v1::Fact, Error> {
        let mut fact = post::compose(self.context, kind)?;
        fact.job = None;
        Ok(fact)
    }

    fn calendar(&self) -> Calendar {
        Calendar::of(self.zone_name)
    }
}
