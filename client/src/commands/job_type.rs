//! `bay type`: one job type on one screen.

use baywright_proto::v1;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use clap::Args;
use serde_json::json;

use super::{learned, page, week};
use crate::answer::Outcome;
use crate::ask::{CHOICES_MAX, digit};
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::render::job_type::{Sheet, job_type};
use crate::resolve;

/// Half a year: enough jobs of a type to say something, recent enough to hold.
const WEEKS: u32 = 26;

/// One job type: its jobs, price, labour and chemicals, quoted and actual.
///
/// What was quoted and what it took, stage by stage, over the last weeks; what
/// half of the jobs and four in five stayed below; what the records have taught
/// beside it; quotes won and lost.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay type trike-coat
  bay type trike-coat --weeks 52")]
pub struct TypeArgs {
    /// The job type.
    #[arg(value_name = "TYPE")]
    job_type: Option<String>,
    /// So many weeks, the present one among them.
    #[arg(long, value_name = "N")]
    weeks: Option<String>,
}

/// Asks for the weeks and for what was learned, and lays them beside each other.
pub fn run(context: &Context, args: &TypeArgs) -> Result<Outcome, Error> {
    let weeks = args.weeks.as_deref().map(week::read_weeks).transpose()?;
    let code = match &args.job_type {
        Some(typed) => resolve::job_type(context, typed)?,
        None => which(context)?,
    };
    let request = v1::WeekRequest {
        weeks: weeks.unwrap_or(WEEKS),
        ..v1::WeekRequest::default()
    };
    let response = context.call_within(REPORT_MS_MAX, "the weeks", async |channel| {
        ReportServiceClient::new(channel).week(request).await
    })?;
    let week = response
        .week
        .ok_or_else(|| Error::internal("The daemon answered without a week."))?;
    let learned = learned::ask(context, &code, 0)?;
    Ok(outcome(&code, &week, &learned, page::columns()))
}

fn outcome(code: &str, week: &v1::Week, learned: &v1::LearnedResponse, columns: usize) -> Outcome {
    let of = learned.types.iter().find(|of| of.job_type == code);
    let sheet = Sheet {
        code,
        week,
        learned: of,
    };
    let text = job_type(&sheet, columns);
    let json = json!({ "type": {
        "job_type": code,
        "currency": week.currency,
        "zone": week.zone,
        "from_us": week.from_us,
        "until_us": week.until_us,
        "as_of_seq": week.as_of_seq,
        "released": week.types.iter().find(|t| t.job_type == code),
        "chemicals": week.chemicals.iter().filter(|c| c.job_type == code).collect::<Vec<_>>(),
        "quotes": week.quotes.iter().find(|q| q.job_type == code),
        "learned": of,
    }});
    Outcome::new(text, json)
}

/// Asks for one of the types that are in the catalogue.
fn which(context: &Context) -> Result<String, Error> {
    let held = context.catalogue_or_ask();
    let types: Vec<String> = held.map_or_else(Vec::new, |held| {
        let live = held.catalogue.job_types.iter().filter(|(_, t)| !t.retired);
        live.map(|(code, _)| code.to_string()).collect()
    });
    if context.can_ask() && (1..=CHOICES_MAX).contains(&types.len()) {
        let chosen = digit("Which job type?", &types)?;
        if let Some(code) = chosen.and_then(|index| types.get(index)) {
            return Ok(code.clone());
        }
    }
    let known = if types.is_empty() {
        String::new()
    } else {
        format!("Known: {}.", types.join(", "))
    };
    Err(Error::usage("Which job type?").with_hint(known))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn the_names_in_the_json_of_a_type_are_part_of_the_contract() {
        let json = outcome("trike-coat", &fixture::week(), &fixture::learned(), 80).json;
        insta::assert_snapshot!(fixture::key_paths(&json).join("\n"));
    }
}
