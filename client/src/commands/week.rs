//! `bay week`: the figures of one week.

use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_proto::v1::{Week, WeekRequest};
use baywright_terms::time;
use clap::Args;
use serde_json::json;

use super::page;
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::render;

/// The week of the shop: what each bay got through, and what it took.
///
/// Bay time, quoted against actual labour of the jobs released, chemicals
/// against their allowance, and the records that wait to be settled. Without a
/// week it is the present one, up to now.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay week                        this week so far
  bay week 2026-W48               an ISO week
  bay week 2026-W48 --as-of 4812  as it could be printed after event 4812")]
pub struct WeekArgs {
    /// The ISO week, for example 2026-W48.
    #[arg(value_name = "WEEK")]
    pub week: Option<String>,
    /// Leave out every event after this one.
    #[arg(long, value_name = "SEQ")]
    pub as_of: Option<u64>,
}

/// Asks for the week and lays it out.
pub fn run(context: &Context, args: &WeekArgs) -> Result<Outcome, Error> {
    let week = match &args.week {
        Some(typed) => read_week(typed)?,
        None => String::new(),
    };
    let request = WeekRequest {
        week,
        as_of_seq: args.as_of.unwrap_or(0),
    };
    let response = context.call_within(REPORT_MS_MAX, "the week", async |channel| {
        ReportServiceClient::new(channel).week(request).await
    })?;
    let week = response
        .week
        .ok_or_else(|| Error::internal("The daemon answered without a week."))?;
    Ok(outcome(&week, page::columns()))
}

fn outcome(week: &Week, columns: usize) -> Outcome {
    Outcome::new(render::week::week(week, columns), json!({ "week": week }))
}

/// The week as the daemon reads it.
fn read_week(typed: &str) -> Result<String, Error> {
    time::Week::parse(typed)
        .map(|week| week.to_string())
        .map_err(|error| {
            Error::usage(format!("{error}."))
                .with_hint("Write a year and an ISO week; without one it is the present week.")
        })
}
