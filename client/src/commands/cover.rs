//! `bay cover`: a surface is masked or left out, which answers a *never*.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::surface::finish;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, post_kind};
use crate::context::Context;
use crate::error::Error;
use crate::nearby;

/// Mask a finish or a panel: `bay cover leather`; leave it out of the work:
/// `bay cover leather --left-out`.
#[derive(Debug, Args)]
pub struct CoverArgs {
    /// A finish, or a panel of this vehicle.
    #[arg(value_name = "WHAT")]
    pub what: String,
    /// It is not masked: the work leaves it out.
    #[arg(long)]
    pub left_out: bool,
}

pub fn run(context: &Context, args: &CoverArgs) -> Result<Outcome, Error> {
    let what = args.what.trim().to_owned();
    if what.is_empty() {
        return Err(Error::usage("What is covered?"));
    }
    let cover = if args.left_out {
        v1::CoverKind::LeftOut
    } else {
        v1::CoverKind::Masked
    };
    let (finish, panel) = if is_finish(context, &what) {
        (what, String::new())
    } else {
        (String::new(), what)
    };
    let kind = Kind::SurfaceCovered(v1::SurfaceCovered {
        finish,
        panel,
        cover: cover.into(),
    });
    post_kind(context, kind, None, &Local::None)
}

/// A panel of this vehicle wins over a finish of that name.
fn is_finish(context: &Context, what: &str) -> bool {
    let known = nearby::job(context, None).unwrap_or_default();
    if known.panels.iter().any(|p| p.code.as_str() == what) {
        return false;
    }
    finish(what).is_some() || known.panels.iter().any(|p| p.finish.as_str() == what)
}
