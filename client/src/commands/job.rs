//! `bay job`: the story of one job.

use std::path::PathBuf;

use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_proto::v1::{JobRequest, job_request};
use baywright_terms::hours::OpenHours;
use clap::Args;
use serde_json::json;

use super::page;
use crate::answer::Outcome;
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::{Error, Kind};
use crate::page::put;
use crate::render;

/// The story of one job: what was quoted, what it took, every event of it.
///
/// Money and why it differs from the quote, its days drawn hour by hour, the
/// stages and waits, products, coated sections with the air at the time. Each
/// event has its number in the log, so that it can be struck out or settled;
/// what was struck out is shown and marked.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay job 118                  by its number
  bay job b2-7                 by the handle of a bay that was offline
  bay job 118 --html job.html  a page of it, for the shop")]
pub struct JobArgs {
    /// Its number, or a bay's handle such as b2-7.
    #[arg(value_name = "JOB")]
    pub number: Option<String>,
    /// Leave out every event after this one.
    #[arg(long, value_name = "SEQ")]
    pub as_of: Option<u64>,
    /// Write it as a page into this file instead; - is standard output.
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
}

/// Asks for the story and lays it out.
pub fn run(context: &Context, args: &JobArgs) -> Result<Outcome, Error> {
    let typed = args.number.as_ref().or(context.common.job.as_ref());
    let Some(typed) = typed.map(|t| t.trim()).filter(|t| !t.is_empty()) else {
        return Err(Error::usage("Which job?").with_hint("Write its number: bay job 118"));
    };
    let request = JobRequest {
        job: Some(read_job(typed)),
        as_of_seq: args.as_of.unwrap_or(0),
    };
    let response = context.call_within(REPORT_MS_MAX, "the job", async |channel| {
        ReportServiceClient::new(channel).job(request).await
    });
    let response = response.map_err(|error| match (error.kind(), error.hint()) {
        (Kind::Refused, None) => error.with_hint(
            "`bay now` shows the jobs on the floor, `bay week` those of a week, by number.",
        ),
        _ => error,
    })?;
    let story = response
        .story
        .ok_or_else(|| Error::internal("The daemon answered without a job."))?;
    if let Some(file) = &args.html {
        return put::page(&crate::page::job::page(&story), file);
    }
    let hours = if context.output.json {
        Vec::new()
    } else {
        open_hours(context)
    };
    let text = render::job::story(&story, &hours, page::columns());
    Ok(Outcome::new(text, json!({ "story": story })))
}

/// The shop's open hours as this bay knows them; none where it knows none.
fn open_hours(context: &Context) -> Vec<OpenHours> {
    context
        .catalogue_or_ask()
        .and_then(|held| Some(held.catalogue.shop.as_ref()?.open.clone()))
        .unwrap_or_default()
}

/// A plain number, also with `#` before it, is the daemon's; all else a handle.
fn read_job(typed: &str) -> job_request::Job {
    match typed.strip_prefix('#').unwrap_or(typed).parse() {
        Ok(number) => job_request::Job::Number(number),
        Err(_) => job_request::Job::Handle(typed.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn the_names_in_the_json_are_part_of_the_contract() {
        let json = json!({ "story": fixture::story() });
        let paths = fixture::key_paths(&json).join("\n");
        insta::assert_snapshot!(paths, @"
        story.air[].air_milli_c
        story.air[].bay
        story.air[].humidity_milli_pct
        story.air[].read_us
        story.air[].seq
        story.air[].surface_milli_c
        story.as_of_seq
        story.as_of_us
        story.currency
        story.job.actual_us
        story.job.bay
        story.job.comeback_of
        story.job.cycle_us
        story.job.declared_us
        story.job.first_pass_us
        story.job.flow_permille
        story.job.handle
        story.job.id
        story.job.job_type
        story.job.money.contribution_minor
        story.job.money.effective_hour_minor
        story.job.money.labour_minor
        story.job.money.labour_without_rate_us
        story.job.money.list_minor
        story.job.money.margin
        story.job.money.materials_minor
        story.job.money.materials_unmeasured_minor
        story.job.money.overhead_minor
        story.job.money.quoted
        story.job.money.quoted_contribution_minor
        story.job.money.quoted_labour_minor
        story.job.money.quoted_materials_minor
        story.job.money.revenue_assumed
        story.job.money.revenue_known
        story.job.money.revenue_minor
        story.job.money.supplies_minor
        story.job.money.uses_without_price
        story.job.no_allowance
        story.job.number
        story.job.occupied_us
        story.job.quoted_us
        story.job.released_us
        story.job.rework_us
        story.job.shortfalls[].amount_minor
        story.job.shortfalls[].cause
        story.job.shortfalls[].id
        story.job.shortfalls[].labour_minor
        story.job.shortfalls[].materials_minor
        story.job.stages[].actual_us
        story.job.stages[].declared_us
        story.job.stages[].id
        story.job.stages[].jobs
        story.job.stages[].no_allowance
        story.job.stages[].quoted_us
        story.job.stages[].rework_us
        story.job.stages[].stage
        story.job.stages[].unclosed_us
        story.job.unclosed_us
        story.job.vehicle
        story.lines[].bay
        story.lines[].by[]
        story.lines[].cautions
        story.lines[].device
        story.lines[].event_id
        story.lines[].notices[]
        story.lines[].occurred_us
        story.lines[].seq
        story.lines[].struck
        story.lines[].text
        story.lines[].time_basis
        story.odd[].answers[].changes_us
        story.odd[].answers[].command
        story.odd[].answers[].proposed
        story.odd[].answers[].words
        story.odd[].bay
        story.odd[].changes_us
        story.odd[].code
        story.odd[].counted_from_us
        story.odd[].counted_until_us
        story.odd[].event_id
        story.odd[].job_number
        story.odd[].occurred_us
        story.odd[].of
        story.odd[].seq
        story.odd[].settle_with
        story.odd[].settled
        story.odd[].stage
        story.odd[].text
        story.odd[].worker
        story.opened_us
        story.places[].from_us
        story.places[].hands_on_us
        story.places[].idle_us
        story.places[].place
        story.places[].until_us
        story.places[].waiting_us
        story.sections[].coated_us
        story.sections[].finish
        story.sections[].layer
        story.sections[].levelled_us
        story.sections[].lot
        story.sections[].panel
        story.sections[].product
        story.sections[].result
        story.sections[].section
        story.sections[].seqs[]
        story.shop
        story.stretches[].cost_minor
        story.stretches[].ended
        story.stretches[].from_us
        story.stretches[].kind
        story.stretches[].panel
        story.stretches[].place
        story.stretches[].product
        story.stretches[].rework
        story.stretches[].seqs[]
        story.stretches[].stage
        story.stretches[].until_us
        story.stretches[].worker
        story.uses[].allowance
        story.uses[].allowance_cost_minor
        story.uses[].apportioned
        story.uses[].at_allowance
        story.uses[].cost_minor
        story.uses[].no_price
        story.uses[].product
        story.uses[].seqs[]
        story.uses[].unit
        story.uses[].used
        story.uses[].uses_without_amount
        story.uses[].waste_minor
        story.zone
        ");
    }

    #[test]
    fn a_number_is_the_daemons_and_a_handle_the_bays() {
        assert_eq!(read_job("118"), job_request::Job::Number(118));
        assert_eq!(read_job("#118"), job_request::Job::Number(118));
        assert_eq!(
            read_job("b2-7"),
            job_request::Job::Handle("b2-7".to_owned())
        );
    }
}
