//! `bay quote`: what a job will take and what to ask for it, and what became
//! of each quote.

use std::path::PathBuf;

use baywright_proto::v1;
use baywright_proto::v1::QuoteState;
use clap::{Args, Subcommand};
use serde_json::json;

use self::asked::{AskedArgs, Changes};
use super::page;
use crate::answer::Outcome;
use crate::context::Context;
use crate::error::Error;
use crate::page::put;
use crate::render;
use crate::resolve;

mod asked;
mod daemon;
mod decide;
mod draft;

/// Quotes that `compare` sets side by side; more fit no page.
const COMPARED_MAX: usize = 6;
/// Quotes of `list --all`: as many as the daemon lists at once.
const LISTED_MAX: u32 = 500;

/// What a job will take, what to ask for it, and what became of each quote.
///
/// A quote is worked out from the catalogue's allowances and the jobs on record,
/// and says how sure it is: half of such jobs take so long or less, four in
/// five take so long or less. It keeps what it printed. With the daemon away
/// there is none.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote new trike-coat red three-wheeler --soil 4 --intricacy 5
  bay quote accept 12 --price 1450
  bay quote compare 12                      the actual beside the quote")]
pub struct QuoteArgs {
    #[command(subcommand)]
    step: Step,
}

#[derive(Debug, Subcommand)]
enum Step {
    New(NewArgs),
    List(ListArgs),
    Show(ShowArgs),
    Revise(ReviseArgs),
    Accept(AcceptArgs),
    Add(AddArgs),
    Decline(DeclineArgs),
    Compare(CompareArgs),
}

/// Work a quote out, print it and keep it.
///
/// Grades are those of the catalogue, 1 to 5; what is not graded is taken as 3.
/// A vehicle nobody has seen gets a price from and to, subject to inspection.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote new trike-coat red three-wheeler --soil 4 --defects 2 --intricacy 5
  bay quote new trike-coat --seen no --for \"M. Oliveira, on the phone\"
  bay quote new truck-coat white van --without mask --dry
  bay quote new trike-coat --like 118 --html quote.html")]
struct NewArgs {
    /// Job type from the catalogue.
    #[arg(value_name = "TYPE")]
    job_type: String,
    /// The vehicle in your own words.
    #[arg(value_name = "VEHICLE")]
    vehicle: Vec<String>,
    #[command(flatten)]
    asked: AskedArgs,
    /// The draws begin here: the same number gives the same figures.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Write the customer's page into this file too; - is standard output.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// Quotes with their state, latest first.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay quote list
  bay quote list --open --type trike-coat")]
#[expect(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
struct ListArgs {
    /// Those that wait for an answer.
    #[arg(long, group = "state")]
    open: bool,
    /// Those the customer said yes to.
    #[arg(long, group = "state")]
    accepted: bool,
    /// Those the customer said no to.
    #[arg(long, group = "state")]
    declined: bool,
    /// Those past their date.
    #[arg(long, group = "state")]
    run_out: bool,
    /// Of one job type only.
    #[arg(long = "type", value_name = "TYPE")]
    job_type: Option<String>,
    /// The latest five hundred, not the latest fifty.
    #[arg(long)]
    all: bool,
}

/// One quote as it was printed, and what became of it.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote show 12
  bay quote show 12 --html quote-12.html    a page for the customer")]
struct ShowArgs {
    /// Its number.
    #[arg(value_name = "QUOTE")]
    quote: String,
    /// Write the customer's page into this file instead; - is standard output.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// The same quote again, after intake or new wishes.
///
/// What is not said stays as it was asked before. What moved is printed.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote revise 12 --soil 5 --seen yes --why \"baked insects all over\"
  bay quote revise 12 --without polish")]
struct ReviseArgs {
    /// Its number.
    #[arg(value_name = "QUOTE")]
    quote: String,
    #[command(flatten)]
    changes: Changes,
    /// The draws begin here; without it where they began before.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Why, for whoever reads it later.
    #[arg(long, value_name = "TEXT")]
    why: Option<String>,
    /// Write the customer's page into this file too; - is standard output.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

/// The customer said yes: the price agreed is kept, and the job is opened.
///
/// What the quote printed last is what the job is held against from now on.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote accept 12 --price 1450
  bay quote accept 12 --price 1400 --why \"second vehicle\" --on 2026-12-03")]
struct AcceptArgs {
    /// Its number.
    #[arg(value_name = "QUOTE")]
    quote: String,
    /// Price agreed with the customer, without tax: 1450, "EUR 1450".
    #[arg(long, value_name = "PRICE")]
    price: String,
    /// Why it is another price than suggested.
    #[arg(long, value_name = "TEXT")]
    why: Option<String>,
    /// The day the work is planned for: 2026-12-03.
    #[arg(long, value_name = "DATE")]
    on: Option<String>,
    /// The vehicle, where it has other words by now.
    #[arg(long, value_name = "WORDS")]
    vehicle: Option<String>,
}

/// Add work to a job that is under way, as a line of its own.
///
/// Without a price it prints the figures and posts nothing.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote add 118 --stage polish
  bay quote add 118 --stage polish --price 120 --why \"asked for when it was seen\"")]
struct AddArgs {
    /// The job: its number, or a bay's handle such as b2-7.
    #[arg(value_name = "JOB")]
    to_job: String,
    /// A stage that comes on top; may be given several times.
    #[arg(long = "stage", value_name = "STAGE", required = true)]
    stages: Vec<String>,
    #[command(flatten)]
    grades: asked::GradeArgs,
    /// Price agreed for it, without tax.
    #[arg(long, value_name = "PRICE")]
    price: Option<String>,
    /// Why, for whoever reads it later.
    #[arg(long, value_name = "TEXT")]
    why: Option<String>,
    /// The draws begin here: the same number gives the same figures.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
}

/// The customer said no.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  bay quote decline 12 --why \"too dear\"")]
struct DeclineArgs {
    /// Its number.
    #[arg(value_name = "QUOTE")]
    quote: String,
    /// Why, as far as it is known: quotes lost are counted by it.
    #[arg(long, value_name = "TEXT")]
    why: String,
}

/// Quotes side by side, and beside what their jobs took.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay quote compare 12                      the actual beside half and four in five
  bay quote compare 12 14 15")]
struct CompareArgs {
    /// Their numbers.
    #[arg(value_name = "QUOTE", required = true)]
    quotes: Vec<String>,
}

/// Does one step.
pub fn run(context: &Context, args: &QuoteArgs) -> Result<Outcome, Error> {
    match &args.step {
        Step::New(args) => draft::new(context, args),
        Step::List(args) => list(context, args),
        Step::Show(args) => show(context, args),
        Step::Revise(args) => draft::revise(context, args),
        Step::Accept(args) => decide::accept(context, args),
        Step::Add(args) => decide::add(context, args),
        Step::Decline(args) => decide::decline(context, args),
        Step::Compare(args) => compare(context, args),
    }
}

fn list(context: &Context, args: &ListArgs) -> Result<Outcome, Error> {
    let states = [
        (args.open, QuoteState::Open, "open"),
        (args.accepted, QuoteState::Accepted, "accepted"),
        (args.declined, QuoteState::Declined, "declined"),
        (args.run_out, QuoteState::RunOut, "run-out"),
    ];
    let asked = states.into_iter().find(|(asked, _, _)| *asked);
    let (state, word) = asked.map_or((QuoteState::Unspecified, ""), |(_, state, word)| {
        (state, word)
    });
    let job_type = args.job_type.as_deref();
    let job_type = job_type
        .map(|typed| resolve::job_type(context, typed))
        .transpose()?;
    let request = v1::ListQuotesRequest {
        state: state.into(),
        at_most: if args.all { LISTED_MAX } else { 0 },
        job_type: job_type.unwrap_or_default(),
    };
    let response = daemon::list(context, request)?;
    let which = render::quote::Which {
        state: word,
        all: args.all,
    };
    let text = render::quote::list(&response, which, page::columns());
    Ok(Outcome::new(text, json!(response)))
}

fn show(context: &Context, args: &ShowArgs) -> Result<Outcome, Error> {
    let quote = daemon::show(context, &daemon::named(&args.quote)?)?;
    if let Some(file) = &args.html {
        return put::page(&customer_page(context, &quote), file);
    }
    let asked = quote.asked.clone().unwrap_or_default();
    let remarks = asked::cautions(context, &asked);
    let mut text = render::quote::quote(&quote, &remarks, page::columns());
    let line = quote.line.clone().unwrap_or_default();
    if matches!(line.state(), QuoteState::Open | QuoteState::RunOut) && !line.addition {
        let printed = quote.printed.clone().unwrap_or_default();
        text.push('\n');
        text.push_str(&render::quote::next_steps(line.number, &asked, &printed));
        text.push('\n');
    }
    Ok(Outcome::new(text, json!({ "quote": quote })))
}

/// The page for the customer, with the names of the catalogue as far as this
/// bay has them.
fn customer_page(context: &Context, quote: &v1::Quote) -> String {
    let held = context.catalogue_or_ask();
    crate::page::quote::page(quote, held.as_ref().map(|held| &held.catalogue))
}

fn compare(context: &Context, args: &CompareArgs) -> Result<Outcome, Error> {
    if args.quotes.len() > COMPARED_MAX {
        return Err(Error::usage(format!(
            "{} quotes fit on no page: {COMPARED_MAX} at most.",
            args.quotes.len()
        ))
        .with_hint("Name fewer: bay quote compare 12 14"));
    }
    let named = args.quotes.iter().map(|typed| daemon::named(typed));
    let named = named.collect::<Result<Vec<_>, _>>()?;
    let quotes = named.iter().map(|of| daemon::show(context, of));
    let quotes = quotes.collect::<Result<Vec<_>, _>>()?;
    let text = render::quote::compare(&quotes, page::columns());
    Ok(Outcome::new(text, json!({ "quotes": quotes })))
}
