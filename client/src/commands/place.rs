//! `bay bring`, `bay move`: where a vehicle stands.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, post_kind};
use crate::context::Context;
use crate::error::Error;
use crate::resolve;

/// Bring a job into this bay: `bay bring 118`.
#[derive(Debug, Args)]
pub struct BringArgs {
    /// The job's number or handle.
    #[arg(value_name = "JOB")]
    pub number: Option<String>,
}

/// Move the job in this bay elsewhere: `bay move bay-3`, `bay move holding`.
#[derive(Debug, Args)]
pub struct MoveArgs {
    /// A bay, `holding` or `away`.
    #[arg(value_name = "PLACE")]
    pub place: String,
}

pub fn bring(context: &Context, args: &BringArgs) -> Result<Outcome, Error> {
    let typed = args.number.as_deref().or(context.common.job.as_deref());
    let Some(typed) = typed else {
        return Err(Error::usage("Which job is to come in?")
            .with_hint("Name it by number or handle: bay bring 118."));
    };
    if context.bay().is_empty() {
        return Err(no_bay("bring it to"));
    }
    let job = resolve::job(context, typed)?;
    let kind = Kind::JobMoved(v1::JobMoved {
        place: resolve::bay(context, context.bay())?,
    });
    let outcome = post_kind(context, kind, Some(job), &Local::Vehicle)?;
    if !context.common.dry && context.channel().is_ok() {
        // What came in is what the bay must know when the daemon is away.
        let _ = crate::floor::ask(context);
    }
    Ok(outcome)
}

pub fn move_to(context: &Context, args: &MoveArgs) -> Result<Outcome, Error> {
    let kind = Kind::JobMoved(v1::JobMoved {
        place: resolve::place(context, args.place.trim())?,
    });
    post_kind(context, kind, None, &Local::Vehicle)
}

/// The only commands that cannot go on without a bay.
pub(super) fn no_bay(to_do: &str) -> Error {
    Error::usage(format!("Which bay do you want to {to_do}?"))
        .with_hint("Add --bay CODE, or set BAYWRIGHT_BAY, or `bay = \"CODE\"` in bay.toml.")
}
