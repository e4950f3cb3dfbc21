//! `bay start`, `pause`, `resume`, `done` and `break`: who is on what.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use clap::Args;

use crate::answer::Outcome;
use crate::ask;
use crate::commands::{Local, joined, post_by, post_kind};
use crate::context::Context;
use crate::error::Error;
use crate::floor;
use crate::resolve;

/// Start a stage: `bay start decon --by ana`.
#[derive(Debug, Args)]
pub struct StartArgs {
    /// The stage, by its catalogue code.
    #[arg(value_name = "STAGE")]
    pub stage: String,
    /// Only these panels.
    #[arg(value_name = "PANEL")]
    pub panels: Vec<String>,
    /// This vehicle had the stage before: it is rework.
    #[arg(long)]
    pub again: bool,
}

/// Lay a stage aside: `bay pause`, or `bay pause polish --why "pads are out"`.
#[derive(Debug, Args)]
pub struct PauseArgs {
    /// The stage; left out: whatever is on here.
    #[arg(value_name = "STAGE")]
    pub stage: Option<String>,
    /// Why.
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
}

/// Go on with a stage that was paused, or come back from a break: `bay resume`.
#[derive(Debug, Args)]
pub struct ResumeArgs {
    /// The stage; left out: the one paused last.
    #[arg(value_name = "STAGE")]
    pub stage: Option<String>,
}

/// Finish a stage: `bay done`.
#[derive(Debug, Args)]
pub struct DoneArgs {
    /// The stage; left out: whatever is on here.
    #[arg(value_name = "STAGE")]
    pub stage: Option<String>,
    /// Ended, but it must be done again.
    #[arg(long)]
    pub again: bool,
}

/// A person's break, whatever the stage: `bay break --by ana`.
#[derive(Debug, Args)]
pub struct BreakArgs {
    /// Why.
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
}

pub fn start(context: &Context, args: &StartArgs) -> Result<Outcome, Error> {
    let stage = resolve::stage(context, &args.stage)?;
    let who = who(context)?;
    let kind = Kind::StageStarted(v1::StageStarted {
        stage: stage.clone(),
        panels: args.panels.clone(),
        rework: args.again,
    });
    post_by(context, kind, who, &Local::Stage(stage))
}

pub fn pause(context: &Context, args: &PauseArgs) -> Result<Outcome, Error> {
    let kind = Kind::StagePaused(v1::StagePaused {
        stage: optional_stage(context, args.stage.as_deref())?,
        person: false,
        reason: args.why.clone().unwrap_or_default(),
    });
    post_kind(context, kind, None, &Local::None)
}

pub fn resume(context: &Context, args: &ResumeArgs) -> Result<Outcome, Error> {
    let kind = Kind::StageResumed(v1::StageResumed {
        stage: optional_stage(context, args.stage.as_deref())?,
    });
    post_kind(context, kind, None, &Local::None)
}

pub fn done(context: &Context, args: &DoneArgs) -> Result<Outcome, Error> {
    let result = if args.again {
        v1::StageResult::Again
    } else {
        v1::StageResult::Done
    };
    let kind = Kind::StageFinished(v1::StageFinished {
        stage: optional_stage(context, args.stage.as_deref())?,
        result: result.into(),
    });
    post_kind(context, kind, None, &Local::None)
}

pub fn break_off(context: &Context, args: &BreakArgs) -> Result<Outcome, Error> {
    let who = who(context)?;
    let kind = Kind::StagePaused(v1::StagePaused {
        stage: String::new(),
        person: true,
        reason: joined(args.why.as_slice()),
    });
    post_by(context, kind, who, &Local::None)
}

fn optional_stage(context: &Context, typed: Option<&str>) -> Result<String, Error> {
    typed.map_or(Ok(String::new()), |typed| resolve::stage(context, typed))
}

/// Who a fact is about, where it matters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Who {
    /// `--by` said it.
    Named,
    /// The only one it can be: assumed, and said aloud.
    Assumed(String),
    /// Nobody is known.
    Nobody,
}

/// Works out who did it where `--by` does not say: the one worker who is on
/// here, or the only one the shop has. Two are asked about; nobody is
/// remembered for the next person.
pub(super) fn who(context: &Context) -> Result<Who, Error> {
    if !context.common.by.is_empty() {
        return Ok(Who::Named);
    }
    let bay = context.bay();
    let on_here: Vec<String> = match floor::ask_or_remember(context) {
        Ok(seen) => seen
            .workers_in(bay)
            .into_iter()
            .map(str::to_owned)
            .collect(),
        Err(_) => Vec::new(),
    };
    if let [only] = on_here.as_slice() {
        return Ok(Who::Assumed(only.clone()));
    }
    if on_here.len() > 1 {
        return pick(context, &on_here, true);
    }
    let all: Vec<String> = context
        .catalogue_or_ask()
        .map(|held| {
            let workers = held.catalogue.workers.iter();
            let there = workers.filter(|(_, worker)| !worker.retired);
            there.map(|(code, _)| code.to_string()).collect()
        })
        .unwrap_or_default();
    match all.as_slice() {
        [] => Ok(Who::Nobody),
        [only] => Ok(Who::Assumed(only.clone())),
        many => pick(context, many, false),
    }
}

/// Asks by digit. Without a terminal, two who are on here are an error that
/// names them; where nobody is on, the fact is kept with nobody named.
fn pick(context: &Context, workers: &[String], are_on: bool) -> Result<Who, Error> {
    if context.can_ask() && workers.len() <= ask::CHOICES_MAX {
        let picked = ask::digit("Who?", workers)?;
        return match picked.and_then(|index| workers.get(index)) {
            Some(worker) => Ok(Who::Assumed(worker.clone())),
            None => Err(Error::usage("Nobody was picked, so nothing was posted.")),
        };
    }
    if are_on {
        return Err(
            Error::usage(format!("{} are on here: who is it?", workers.join(" and ")))
                .with_hint(format!("Add --by {}.", workers.join(" or --by "))),
        );
    }
    Ok(Who::Nobody)
}
