//! One file per family of commands. Each exports a clap `Args` struct and
//! `run(context, args)`.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::Amount;
use serde_json::json;

use crate::answer::{Outcome, plain};
use crate::args::Command;
use crate::context::Context;
use crate::error::Error;
use crate::likely::Likely;
use crate::nearby;
use crate::post::{Said, compose, post};
use crate::say::{Extra, say};
use stage::Who;

pub mod air;
pub mod catalogue;
pub mod cover;
pub mod dwell;
pub mod export;
pub mod flaw;
pub mod generate;
pub mod import;
pub mod job;
pub mod job_type;
pub mod join;
pub mod learned;
pub mod mix;
pub mod note;
pub mod now;
mod office;
pub mod open;
pub mod page;
pub mod panel;
pub mod place;
mod progress;
pub mod quote;
pub mod release;
pub mod settle;
pub mod spool;
pub mod stage;
pub mod stock;
pub mod strike;
pub mod used;
pub mod week;

/// Does what the command line asked for.
pub fn run(context: &Context, command: Command) -> Result<Outcome, Error> {
    match command {
        Command::Open(args) => open::run(context, &args),
        Command::Bring(args) => place::bring(context, &args),
        Command::Move(args) => place::move_to(context, &args),
        Command::Start(args) => stage::start(context, &args),
        Command::Pause(args) => stage::pause(context, &args),
        Command::Resume(args) => stage::resume(context, &args),
        Command::Done(args) => stage::done(context, &args),
        Command::Break(args) => stage::break_off(context, &args),
        Command::Dwell(args) => dwell::run(context, &args),
        Command::Air(args) => air::run(context, &args),
        Command::Mix(args) => mix::run(context, &args),
        Command::Used(args) => used::used(context, &args),
        Command::Refill(args) => used::refill(context, &args),
        Command::Coat(args) => panel::coat(context, &args),
        Command::Level(args) => panel::level(context, &args),
        Command::Lamp(args) => panel::lamp(context, &args),
        Command::Cured(args) => panel::cured(context, &args),
        Command::Flaw(args) => flaw::run(context, &args),
        Command::Cover(args) => cover::run(context, &args),
        Command::Note(args) => note::run(context, &args),
        Command::Release(args) => release::run(context, &args),
        Command::Strike(args) => strike::run(context, &args),
        Command::Now(args) => now::run(context, &args),
        Command::Spool(args) => spool::run(context, &args),
        Command::Week(args) => week::run(context, &args),
        Command::Job(args) => job::run(context, &args),
        Command::Quote(args) => quote::run(context, &args),
        Command::Stock(args) => stock::run(context, &args),
        Command::Settle(args) => settle::run(context, &args),
        Command::Catalogue(args) => catalogue::run(context, &args),
        Command::Export(args) => export::run(context, &args),
        Command::Type(args) => job_type::run(context, &args),
        Command::Learned(args) => learned::run(context, &args),
        Command::Import(args) => import::run(context, &args),
        Command::Join(args) => join::run(context, &args),
        Command::Completions(args) => Ok(generate::completions(&args)),
        Command::Man(args) => generate::man(&args),
    }
}

/// Rules that this bay can say by itself while the daemon is away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Local {
    None,
    /// What may not touch this vehicle.
    Vehicle,
    /// What this stage may not touch on it.
    Stage(String),
    /// What this product may not touch on it.
    Product(String),
}

impl Local {
    /// The cautions, worked out only where the daemon did not say its own.
    pub(crate) fn extra(&self, context: &Context, fact: &v1::Fact, said: &Said) -> Extra {
        if *self == Self::None || said.receipt().is_some() {
            return Extra::default();
        }
        let Some(held) = context.catalogue() else {
            return Extra::default();
        };
        let known = nearby::job(context, fact.job.as_ref()).unwrap_or_default();
        let cautions = match self {
            Self::None => Vec::new(),
            Self::Vehicle => nearby::cautions_of_vehicle(&held.catalogue, &known),
            Self::Stage(stage) => nearby::cautions_of_stage(&held.catalogue, &known, stage),
            Self::Product(product) => nearby::cautions_of_product(&held.catalogue, &known, product),
        };
        Extra {
            json: serde_json::Map::from_iter([("cautions".to_owned(), json!(cautions))]),
            cautions,
            ..Extra::default()
        }
    }
}

/// Composes and posts one fact; `job` stands in where `--job` names none.
pub(crate) fn post_said(
    context: &Context,
    kind: Kind,
    job: Option<v1::JobRef>,
) -> Result<(v1::Fact, Said), Error> {
    let mut fact = compose(context, kind)?;
    if job.is_some() {
        fact.job = job;
    }
    let said = post(context, &fact)?;
    Ok((fact, said))
}

/// Posts one fact and answers it.
pub(crate) fn post_kind(
    context: &Context,
    kind: Kind,
    job: Option<v1::JobRef>,
    local: &Local,
) -> Result<Outcome, Error> {
    post_with_line(context, kind, job, local, None)
}

/// As [`post_kind`], with one more line for the person.
pub(crate) fn post_with_line(
    context: &Context,
    kind: Kind,
    job: Option<v1::JobRef>,
    local: &Local,
    line: Option<String>,
) -> Result<Outcome, Error> {
    let (fact, said) = post_said(context, kind, job)?;
    let mut extra = local.extra(context, &fact, &said);
    extra.lines.extend(line);
    Ok(say(context, &fact, &said, extra))
}

/// As [`post_kind`], for a fact about a person.
fn post_by(context: &Context, kind: Kind, who: Who, local: &Local) -> Result<Outcome, Error> {
    let mut fact = compose(context, kind)?;
    let line = named(&mut fact, who);
    let said = post(context, &fact)?;
    let mut extra = local.extra(context, &fact, &said);
    extra.lines.extend(line);
    Ok(say(context, &fact, &said, extra))
}

/// Posts one of the likely facts.
fn post_likely(context: &Context, choice: &Likely, who: Option<Who>) -> Result<Outcome, Error> {
    let mut fact = compose(context, choice.kind.clone())?;
    fact.job = choice.job.clone().or(fact.job);
    if fact.by.is_empty() {
        fact.by.clone_from(&choice.by);
    }
    let line = who.and_then(|who| named(&mut fact, who));
    let local = match &choice.kind {
        Kind::StageStarted(f) => Local::Stage(f.stage.clone()),
        Kind::JobMoved(_) => Local::Vehicle,
        _ => Local::None,
    };
    let said = post(context, &fact)?;
    let mut extra = local.extra(context, &fact, &said);
    extra.lines.extend(line);
    Ok(say(context, &fact, &said, extra))
}

/// Puts the person into the fact, and says aloud what was assumed.
fn named(fact: &mut v1::Fact, who: Who) -> Option<String> {
    match who {
        Who::Named => None,
        Who::Assumed(worker) => {
            let line = format!("Taken to be {}: --by says otherwise.", plain(&worker));
            fact.by = vec![worker];
            Some(line)
        }
        Who::Nobody => Some("Nobody is named: --by CODE says who.".to_owned()),
    }
}

/// Words of one argument that was typed with spaces.
pub(crate) fn joined(words: &[String]) -> String {
    words.join(" ").trim().to_owned()
}

/// An amount as typed, in the units of this bay.
pub(crate) fn amount(context: &Context, typed: &str) -> Result<Amount, Error> {
    // What a bare `gal` means is the shop's habit, so the catalogue is needed.
    context.catalogue_or_ask();
    Amount::parse(typed, context.units()).map_err(|e| refused(&e))
}

/// A value that cannot be read is refused before anything is kept. Its message
/// says how to write it.
pub(crate) fn refused(error: &dyn std::error::Error) -> Error {
    let message = error.to_string();
    let stop = if message.ends_with(['.', '?', '!']) {
        ""
    } else {
        "."
    };
    Error::refused(format!("{message}{stop}"))
}
