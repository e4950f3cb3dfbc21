//! `bay learned`: what the records say about allowances, prices and quotes.

use baywright_proto::v1;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;
use clap::{Args, Subcommand};
use serde_json::json;

use super::page;
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::{render, resolve};

mod apply;

/// What the records say: allowances, grades, prices to look at again.
///
/// For each stage and product of a job type the allowance in force, what half
/// of the jobs needed and how sure that is. A stage that no record bears out
/// is marked as a trade guess, not your shop. Without a type it is all of them
/// in short. With --honesty it is how quotes held, each against its job, beside
/// the plain allowance and the mean of the last five jobs of the type.
#[derive(Debug, Default, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
Examples:
  bay learned                    every type in short, and prices to look at again
  bay learned trike-coat         every stage and product of one type
  bay learned --honesty          how quotes held
  bay learned --honesty --retrace
  bay learned apply trike-coat   put what was learned into the catalogue"
)]
pub struct LearnedArgs {
    #[command(subcommand)]
    step: Option<Step>,
    /// The job type.
    #[arg(value_name = "TYPE")]
    job_type: Option<String>,
    /// How quotes held.
    #[arg(long, conflicts_with = "job_type")]
    honesty: bool,
    /// Also what would have been quoted for jobs that had no quote, each from
    /// what was known before it.
    #[arg(long, requires = "honesty")]
    retrace: bool,
    /// Learned from the records up to this event only.
    #[arg(long, value_name = "SEQ")]
    as_of: Option<u64>,
}

#[derive(Debug, Subcommand)]
enum Step {
    Apply(apply::ApplyArgs),
}

/// Shows what was learned, or puts it into the catalogue.
pub fn run(context: &Context, args: &LearnedArgs) -> Result<Outcome, Error> {
    if let Some(Step::Apply(args)) = &args.step {
        return apply::run(context, args);
    }
    let as_of_seq = args.as_of.unwrap_or(0);
    if args.honesty {
        return honesty(context, as_of_seq, args.retrace);
    }
    let typed = args.job_type.as_deref();
    let job_type = typed.map(|typed| resolve::job_type(context, typed));
    let job_type = job_type.transpose()?;
    let learned = ask(context, job_type.as_deref().unwrap_or_default(), as_of_seq)?;
    Ok(outcome(&learned, job_type.as_deref(), page::columns()))
}

/// What was learned of a type; empty: of every one.
pub(super) fn ask(
    context: &Context,
    job_type: &str,
    as_of_seq: u64,
) -> Result<v1::LearnedResponse, Error> {
    let request = v1::LearnedRequest {
        job_type: job_type.to_owned(),
        as_of_seq,
    };
    context.call_within(REPORT_MS_MAX, "what was learned", async |channel| {
        QuoteServiceClient::new(channel).learned(request).await
    })
}

fn outcome(learned: &v1::LearnedResponse, of_type: Option<&str>, columns: usize) -> Outcome {
    let text = render::learned::learned(learned, of_type, columns);
    Outcome::new(text, json!({ "learned": learned }))
}

fn honesty(context: &Context, as_of_seq: u64, retrace: bool) -> Result<Outcome, Error> {
    let request = v1::HonestyRequest { as_of_seq, retrace };
    let honesty = context.call_within(REPORT_MS_MAX, "how quotes held", async |channel| {
        QuoteServiceClient::new(channel).honesty(request).await
    })?;
    Ok(honesty_outcome(&honesty, page::columns()))
}

fn honesty_outcome(honesty: &v1::HonestyResponse, columns: usize) -> Outcome {
    let text = render::honesty::honesty(honesty, columns);
    Outcome::new(text, json!({ "honesty": honesty }))
}

#[cfg(test)]
mod tests;
