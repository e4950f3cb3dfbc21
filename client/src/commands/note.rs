//! `bay note`: anything worth keeping that has no command of its own.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, joined, post_kind};
use crate::context::Context;
use crate::error::Error;

/// Keep a note: `bay note customer waits outside`.
#[derive(Debug, Args)]
pub struct NoteArgs {
    #[arg(value_name = "TEXT", required = true)]
    pub text: Vec<String>,
}

pub fn run(context: &Context, args: &NoteArgs) -> Result<Outcome, Error> {
    let text = joined(&args.text);
    if text.is_empty() {
        return Err(Error::usage("An empty note says nothing."));
    }
    post_kind(
        context,
        Kind::Noted(v1::Noted {
            text,
            ..v1::Noted::default()
        }),
        None,
        &Local::None,
    )
}
