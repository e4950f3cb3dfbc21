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
        ..WeekRequest::default()
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn a_bad_week_is_a_usage_error_that_says_what_to_write() {
        for typed in ["48", "2026-48", "2026-W54", "W48", "2025-W53"] {
            let error = read_week(typed).unwrap_err();
            assert_eq!(error.kind(), crate::error::Kind::Usage, "{typed}");
            assert!(error.hint().is_some(), "{typed}");
        }
        assert_eq!(read_week("2026-w48").unwrap(), "2026-W48");
    }

    #[test]
    fn the_names_in_the_json_are_part_of_the_contract() {
        let json = outcome(&fixture::week(), 80).json;
        insta::assert_snapshot!(fixture::key_paths(&json).join("\n"), @r"
        week.as_of_seq
        week.as_of_us
        week.bays[].bay
        week.bays[].contribution_per_hour_minor
        week.bays[].cycle
        week.bays[].empty_us
        week.bays[].flow_permille
        week.bays[].hands_on_us
        week.bays[].id
        week.bays[].idle_us
        week.bays[].jobs_here_mean
        week.bays[].jobs_released
        week.bays[].labour_us
        week.bays[].longest_stage
        week.bays[].longest_stage_us
        week.bays[].occupied_outside_open_us
        week.bays[].occupied_us
        week.bays[].open_us
        week.bays[].places
        week.bays[].utilisation_permille
        week.bays[].waiting_us
        week.chemicals[].allowance
        week.chemicals[].allowance_cost_minor
        week.chemicals[].apportioned
        week.chemicals[].at_allowance
        week.chemicals[].cost_mean_minor
        week.chemicals[].cost_median_minor
        week.chemicals[].cost_minor
        week.chemicals[].cost_p80_minor
        week.chemicals[].dumped
        week.chemicals[].dumped_cost_minor
        week.chemicals[].id
        week.chemicals[].job_type
        week.chemicals[].jobs
        week.chemicals[].jobs_with_use
        week.chemicals[].mean
        week.chemicals[].median
        week.chemicals[].mixed_units
        week.chemicals[].n
        week.chemicals[].no_price
        week.chemicals[].p80
        week.chemicals[].product
        week.chemicals[].unit
        week.chemicals[].used
        week.chemicals[].uses_without_amount
        week.counted_until_us
        week.currency
        week.flow
        week.from_us
        week.jobs[].actual_us
        week.jobs[].bay
        week.jobs[].comeback_of
        week.jobs[].cycle_us
        week.jobs[].declared_us
        week.jobs[].first_pass_us
        week.jobs[].flow_permille
        week.jobs[].handle
        week.jobs[].id
        week.jobs[].job_type
        week.jobs[].money
        week.jobs[].no_allowance
        week.jobs[].number
        week.jobs[].occupied_us
        week.jobs[].quoted_us
        week.jobs[].released_us
        week.jobs[].rework_us
        week.jobs[].unclosed_us
        week.jobs[].vehicle
        week.log_from_us
        week.log_until_us
        week.money
        week.odd[].answers[].changes_us
        week.odd[].answers[].command
        week.odd[].answers[].proposed
        week.odd[].answers[].words
        week.odd[].bay
        week.odd[].changes_us
        week.odd[].code
        week.odd[].counted_from_us
        week.odd[].counted_until_us
        week.odd[].event_id
        week.odd[].job_number
        week.odd[].occurred_us
        week.odd[].of
        week.odd[].seq
        week.odd[].settle_with
        week.odd[].settled
        week.odd[].stage
        week.odd[].text
        week.odd[].worker
        week.quantiles
        week.remark
        week.shop
        week.types[].actual_unquoted_us
        week.types[].actual_us
        week.types[].declared_us
        week.types[].id
        week.types[].job_type
        week.types[].jobs
        week.types[].jobs_quoted
        week.types[].money
        week.types[].quoted_us
        week.types[].rework_us
        week.types[].stages[].actual_us
        week.types[].stages[].declared_us
        week.types[].stages[].id
        week.types[].stages[].jobs
        week.types[].stages[].no_allowance
        week.types[].stages[].quoted_us
        week.types[].stages[].rework_us
        week.types[].stages[].stage
        week.types[].stages[].unclosed_us
        week.types[].unclosed_us
        week.until_us
        week.week
        week.zone
        ");
    }
}
