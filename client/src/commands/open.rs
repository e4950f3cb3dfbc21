//! `bay open`: a vehicle's visit begins.

use baywright_proto::amount::money_to_wire;
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::job_ref::Job;
use baywright_terms::amount::Money;
use baywright_terms::catalogue::UNSORTED;
use baywright_terms::time::{DAY_US, parse_span};
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, joined, post_kind, refused};
use crate::context::Context;
use crate::error::Error;
use crate::post::{Said, compose, post};
use crate::resolve;
use crate::say::{Extra, say};

/// Open a job: `bay open trike-coat red three-wheeler --intricacy 5`.
#[derive(Debug, Args)]
pub struct OpenArgs {
    /// Job type from the catalogue, or `unsorted`.
    #[arg(value_name = "TYPE")]
    pub job_type: String,
    /// The vehicle in your own words.
    #[arg(value_name = "VEHICLE")]
    pub vehicle: Vec<String>,
    /// Vehicle class, where it is not that of the type.
    #[arg(long, value_name = "CLASS")]
    pub class: Option<String>,
    /// Soiling, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    pub soil: Option<u32>,
    /// Defects of the paint, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    pub defects: Option<u32>,
    /// Nooks, trim and mixed finishes, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    pub intricacy: Option<u32>,
    /// A panel of this vehicle with its finish: nose=matte. Given once or
    /// more, these replace the panels of the type.
    #[arg(long = "panel", value_name = "PANEL=FINISH")]
    pub panels: Vec<String>,
    /// Time since a repaint: 20d.
    #[arg(long, value_name = "SPAN")]
    pub repainted: Option<String>,
    /// The earlier job that this one puts right.
    #[arg(long, value_name = "JOB")]
    pub comeback_of: Option<String>,
    /// Price agreed with the customer, without tax: "EUR 900".
    #[arg(long, value_name = "PRICE")]
    pub agreed: Option<String>,
    /// Bring it into this bay at once.
    #[arg(long)]
    pub bring: bool,
}

pub fn run(context: &Context, args: &OpenArgs) -> Result<Outcome, Error> {
    if args.bring && context.bay().is_empty() {
        return Err(super::place::no_bay("bring it to"));
    }
    let kind = Kind::JobOpened(opened(context, args)?);
    let mut fact = compose(context, kind)?;
    // The job of an opening is the one it opens.
    fact.job = None;
    let said = post(context, &fact)?;
    let extra = Extra {
        more_follows: args.bring,
        ..Extra::default()
    };
    let answer = say(context, &fact, &said, extra);
    let Some(moved) = brought(context, args, &said)? else {
        return Ok(answer);
    };
    Ok(Outcome::new(
        format!("{}\n{}", answer.text.trim_end(), moved.text),
        serde_json::json!({"opened": answer.json, "brought": moved.json}),
    ))
}

fn opened(context: &Context, args: &OpenArgs) -> Result<v1::JobOpened, Error> {
    let job_type = resolve::job_type(context, &args.job_type).map_err(|e| {
        let hint = e.hint().unwrap_or_default().to_owned();
        e.with_hint(format!(
            "{hint} A vehicle that fits no type is `{UNSORTED}`."
        ))
    })?;
    let comeback_of = args.comeback_of.as_deref();
    Ok(v1::JobOpened {
        job_type,
        vehicle: joined(&args.vehicle),
        vehicle_class: args.class.clone().unwrap_or_default(),
        grades: grades(args),
        panels: args
            .panels
            .iter()
            .map(|typed| panel(typed))
            .collect::<Result<_, _>>()?,
        repaint_age_days: repaint_days(args.repainted.as_deref())?,
        comeback_of: comeback_of
            .map(|typed| resolve::job(context, typed))
            .transpose()?,
        handle: String::new(),
        agreed: agreed(context, args.agreed.as_deref())?,
        quote_event_id: Vec::new(),
    })
}

fn grades(args: &OpenArgs) -> Option<v1::Grades> {
    let grades = v1::Grades {
        soil: args.soil.unwrap_or(0),
        defects: args.defects.unwrap_or(0),
        intricacy: args.intricacy.unwrap_or(0),
    };
    (grades != v1::Grades::default()).then_some(grades)
}

pub(super) fn panel(typed: &str) -> Result<v1::Panel, Error> {
    let unreadable = || {
        Error::refused(format!("`{typed}` is not a panel with its finish."))
            .with_hint("Write it like nose=matte.")
    };
    let (code, finish) = typed.split_once('=').ok_or_else(unreadable)?;
    let (code, finish) = (code.trim(), finish.trim());
    if code.is_empty() || finish.is_empty() {
        return Err(unreadable());
    }
    Ok(v1::Panel {
        code: code.to_owned(),
        finish: finish.to_owned(),
        area_cm2: 0,
    })
}

fn repaint_days(typed: Option<&str>) -> Result<u32, Error> {
    let Some(typed) = typed else { return Ok(0) };
    let span_us = parse_span(typed).map_err(|e| refused(&e))?;
    // 0 means unknown on the wire: painted today counts as a day.
    Ok(u32::try_from(span_us / DAY_US).unwrap_or(u32::MAX).max(1))
}

fn agreed(context: &Context, typed: Option<&str>) -> Result<Option<v1::Money>, Error> {
    let Some(typed) = typed else { return Ok(None) };
    let held = context.catalogue_or_ask();
    let currency = held
        .as_ref()
        .and_then(|h| h.catalogue.shop.as_ref())
        .map_or("", |shop| shop.currency.as_str());
    let money = Money::parse(typed, currency).map_err(|e| refused(&e))?;
    Ok(Some(money_to_wire(&money)))
}

/// Moves the job just opened into this bay, where that was asked for.
fn brought(context: &Context, args: &OpenArgs, said: &Said) -> Result<Option<Outcome>, Error> {
    if !args.bring {
        return Ok(None);
    }
    let opening = match said {
        Said::Dry => return Ok(None),
        Said::Acknowledged { receipt, .. } => receipt.event_id.clone(),
        Said::Kept { event_id, .. } => event_id.to_vec(),
    };
    let kind = Kind::JobMoved(v1::JobMoved {
        place: context.bay().to_owned(),
    });
    let job = v1::JobRef {
        job: Some(Job::OpeningEventId(opening)),
    };
    post_kind(context, kind, Some(job), &Local::Vehicle).map(Some)
}
