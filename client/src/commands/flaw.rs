//! `bay flaw`: what is wrong with a panel, and that it is put right.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, joined, post_kind};
use crate::context::Context;
use crate::error::Error;

/// Note a flaw: `bay flaw nose scratch --before`; put right: `bay flaw nose --fixed`.
#[derive(Debug, Args)]
pub struct FlawArgs {
    #[arg(value_name = "PANEL")]
    pub panel: String,
    /// In your own words: scratch, high spot, etching.
    #[arg(value_name = "WHAT")]
    pub flaw: Vec<String>,
    /// It was there when the vehicle came in.
    #[arg(long)]
    pub before: bool,
    /// It is put right.
    #[arg(long, conflicts_with = "before")]
    pub fixed: bool,
    /// Where a photograph of it is kept.
    #[arg(long, value_name = "WHERE", conflicts_with = "fixed")]
    pub photo: Option<String>,
}

pub fn run(context: &Context, args: &FlawArgs) -> Result<Outcome, Error> {
    let flaw = joined(&args.flaw);
    let panel = args.panel.clone();
    let kind = if args.fixed {
        Kind::FlawRemedied(v1::FlawRemedied {
            panel,
            flaw,
            flaw_event_id: Vec::new(),
        })
    } else if flaw.is_empty() {
        return Err(Error::usage(format!("What is wrong with {panel}?"))
            .with_hint("In your own words: bay flaw nose scratch --before."));
    } else {
        Kind::FlawFound(v1::FlawFound {
            panel,
            flaw,
            existing: args.before,
            photo: args.photo.clone().unwrap_or_default(),
        })
    };
    post_kind(context, kind, None, &Local::None)
}
