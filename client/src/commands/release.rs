//! `bay release`: the vehicle goes, and its stages are accounted for.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::parse_span;
use clap::Args;
use serde_json::{Value, json};

use crate::answer::Outcome;
use crate::ask;
use crate::commands::{Local, joined, post_kind, refused};
use crate::context::Context;
use crate::error::Error;
use crate::floor;
use crate::nearby::job_of;
use crate::resolve;

/// Hand the vehicle over: `bay release`. Stages without a record are asked
/// about, or said here.
#[derive(Debug, Args)]
pub struct ReleaseArgs {
    /// This stage was not done; can be said again.
    #[arg(long, value_name = "STAGE")]
    pub not_done: Vec<String>,
    /// This stage took about so long: polish=2h; can be said again.
    #[arg(long, value_name = "STAGE=SPAN")]
    pub about: Vec<String>,
    /// Nobody knows about this stage; can be said again.
    #[arg(long, value_name = "STAGE")]
    pub unknown: Vec<String>,
}

pub fn run(context: &Context, args: &ReleaseArgs) -> Result<Outcome, Error> {
    let named = resolve::job_flag(context)?;
    let mut declared = typed(context, args)?;
    let open = open_stages(context, named.as_ref());
    let mut left: Vec<String> = open
        .into_iter()
        .filter(|stage| declared.iter().all(|d| d.stage != *stage))
        .collect();
    if context.can_ask() && !context.common.dry {
        let asked = left.iter().map(|stage| ask_about(stage));
        let asked: Vec<Option<v1::StageDeclared>> = asked.collect::<Result<_, _>>()?;
        declared.extend(asked.into_iter().flatten());
        left.retain(|stage| declared.iter().all(|d| d.stage != *stage));
    }
    let mut texts = Vec::new();
    let mut objects = Vec::new();
    for stage in declared {
        let kind = Kind::StageDeclared(stage);
        let outcome = post_kind(context, kind, named.clone(), &Local::None)?;
        texts.push(outcome.text);
        objects.push(outcome.json);
    }
    let kind = Kind::JobReleased(v1::JobReleased {});
    let mut released = post_kind(context, kind, named, &Local::None)?;
    texts.push(released.text);
    if !left.is_empty() {
        texts.push(format!(
            "Left for the owner to settle, no record of: {}.",
            left.join(", ")
        ));
    }
    if let Value::Object(object) = &mut released.json {
        object.insert("declared".into(), Value::Array(objects));
        object.insert("stages_without_record".into(), json!(left));
    }
    Ok(Outcome::new(texts.join("\n"), released.json))
}

/// What the flags say of stages.
fn typed(context: &Context, args: &ReleaseArgs) -> Result<Vec<v1::StageDeclared>, Error> {
    let said = |typed: &str, declaration: v1::Declaration, about_us: i64| {
        Ok(v1::StageDeclared {
            stage: resolve::stage(context, typed)?,
            declaration: declaration.into(),
            about_us,
        })
    };
    let mut all = Vec::new();
    for stage in &args.not_done {
        all.push(said(stage, v1::Declaration::NotDone, 0)?);
    }
    for typed in &args.about {
        let Some((stage, span)) = typed.split_once('=') else {
            return Err(
                Error::refused(format!("`{typed}` is not a stage with its time."))
                    .with_hint("Write it like --about polish=2h."),
            );
        };
        let about_us = parse_span(span).map_err(|e| refused(&e))?;
        all.push(said(stage, v1::Declaration::DoneAbout, about_us)?);
    }
    for stage in &args.unknown {
        all.push(said(stage, v1::Declaration::Unknown, 0)?);
    }
    Ok(all)
}

/// Stages of the job's type that have no record yet, as far as can be known.
fn open_stages(context: &Context, named: Option<&v1::JobRef>) -> Vec<String> {
    let Ok(seen) = floor::ask_or_remember(context) else {
        return Vec::new();
    };
    let wanted = named.and_then(|j| j.job.as_ref());
    let here = seen.bay(context.bay()).map_or(&[][..], |bay| &bay.jobs);
    let everywhere = seen.now.bays.iter().flat_map(|b| &b.jobs);
    let mut everywhere = everywhere.chain(&seen.now.elsewhere);
    let job = match wanted {
        Some(wanted) => everywhere.find(|job| {
            job_of(job) == *wanted
                || matches!(wanted, v1::job_ref::Job::OpeningEventId(id) if *id == job.opening_event_id)
        }),
        // Of several here the fold takes the one brought in last.
        None => here.iter().max_by_key(|job| job.in_place_since_us),
    };
    job.filter(|j| !j.comeback)
        .map(|j| j.stages_open.clone())
        .unwrap_or_default()
}

/// Asks about one stage, by digit.
fn ask_about(stage: &str) -> Result<Option<v1::StageDeclared>, Error> {
    let choices = [
        "not done".to_owned(),
        "done, about so long".to_owned(),
        "nobody knows".to_owned(),
        "leave it for the owner".to_owned(),
    ];
    let declared = |declaration: v1::Declaration, about_us| {
        Some(v1::StageDeclared {
            stage: stage.to_owned(),
            declaration: declaration.into(),
            about_us,
        })
    };
    let picked = ask::digit(&format!("No record of {stage}:"), &choices)?;
    Ok(match picked {
        Some(0) => declared(v1::Declaration::NotDone, 0),
        Some(1) => {
            let span = ask::line("About how long? (20m, 1h30)")?;
            let about_us = parse_span(&joined(&[span])).map_err(|e| refused(&e))?;
            declared(v1::Declaration::DoneAbout, about_us)
        }
        Some(2) => declared(v1::Declaration::Unknown, 0),
        _ => None,
    })
}
