//! The customer's answer, and work that comes on top of a job.

use std::fmt::Write as _;

use baywright_proto::amount::money_to_wire;
use baywright_proto::v1;
use baywright_proto::v1::QuoteState;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::Money;
use serde_json::{Value, json};

use super::draft::{Suggested, fact, posted_json, suggest, zone_name};
use super::{AcceptArgs, AddArgs, DeclineArgs, daemon};
use crate::answer::Outcome;
use crate::commands::{office, page, refused};
use crate::context::Context;
use crate::error::Error;
use crate::post::{Said, post};
use crate::render;
use crate::render::calendar::Calendar;
use crate::resolve;
use crate::say::{Extra, say};

/// Keeps the agreed price, and opens the job.
pub(super) fn accept(context: &Context, args: &AcceptArgs) -> Result<Outcome, Error> {
    let named = daemon::named(&args.quote)?;
    let planned_date = args
        .on
        .as_deref()
        .map(date)
        .transpose()?
        .unwrap_or_default();
    if !context.common.dry {
        daemon::send_waiting(context)?;
    }
    let quote = daemon::show(context, &named)?;
    let line = quote.line.clone().unwrap_or_default();
    let printed = quote.printed.clone().unwrap_or_default();
    let asked = quote.asked.clone().unwrap_or_default();
    let price = price(&args.price, &quote.currency)?;
    may_be_accepted(context, &quote, &line)?;
    if asked.unseen {
        ask_unseen(context, line.number)?;
    }
    let job = line.addition.then(|| number(line.job_number));
    let is_accepted = line.state() == QuoteState::Accepted;
    let accepted = v1::QuoteAccepted {
        quote_event_id: line.drafted_event_id.clone(),
        agreed: Some(money_to_wire(&price)),
        suggested: Some(money_to_wire(&Money::new(
            printed.price_minor,
            &printed.currency,
        ))),
        reason: args.why.clone().unwrap_or_default(),
        planned_date: planned_date.clone(),
    };
    let accepted = fact(context, Kind::QuoteAccepted(accepted), job)?;
    // The opening is put together before anything is posted, so that what is
    // wrong with it keeps the acceptance back too.
    let opening = opening(context, &asked, args.vehicle.as_deref(), &line, &price)?;
    let mut text = render::quote::accepted(line.number, price.minor, &printed, &planned_date);
    let mut json = serde_json::Map::new();
    if !is_accepted {
        let said = post(context, &accepted)?;
        text.push_str(&notices(&said));
        json.insert("accepted".to_owned(), Value::Object(posted_json(&said)));
        if line.addition {
            return Ok(added(text, &said, line.job_number, json));
        }
    }
    let opened = post(context, &opening)?;
    let answer = say(context, &opening, &opened, Extra::default());
    json.insert("opened".to_owned(), answer.json);
    text.push('\n');
    text.push_str(answer.text.trim_end());
    match &opened {
        Said::Dry => text.push_str("\nNothing was posted (--dry)."),
        Said::Acknowledged { receipt, .. } if receipt.job_number > 0 => {
            let _ = write!(text, "\nNext: bay bring {}", receipt.job_number);
        }
        Said::Acknowledged { .. } | Said::Kept { .. } => {}
    }
    if asked.unseen {
        let _ = write!(text, "\n! {}", unseen_words(line.number, &opened));
    }
    Ok(Outcome::new(text, Value::Object(json)))
}

/// The answer to an acceptance that opens no job.
fn added(
    mut text: String,
    said: &Said,
    job_number: u64,
    json: serde_json::Map<String, Value>,
) -> Outcome {
    let _ = write!(text, "\nIt is on top of job {job_number}.");
    text.push_str(&kept(said));
    Outcome::new(text, Value::Object(json))
}

/// Refuses what cannot be accepted, and says why.
fn may_be_accepted(
    context: &Context,
    quote: &v1::Quote,
    line: &v1::QuoteLine,
) -> Result<(), Error> {
    let calendar = Calendar::of(&quote.zone);
    let day = |us: i64| match us {
        0 => String::new(),
        us => format!(" on {}", calendar.day(us)),
    };
    let anyway = context.common.anyway;
    let number = line.number;
    match line.state() {
        QuoteState::Accepted if line.job_number == 0 && !line.addition => {
            if anyway {
                return Ok(());
            }
            let message = format!(
                "Quote {number} was accepted{}, and its job is not in the log yet.",
                day(quote.decided_us)
            );
            Err(Error::refused(message).with_hint(
                "It may wait on the bay where that was said: `bay spool send` there sends it. To \
                 open it from here, add --anyway.",
            ))
        }
        QuoteState::Accepted => {
            let agreed = Money::new(line.agreed_minor, &quote.currency);
            let message = format!(
                "Quote {number} was accepted{} for {agreed}: job {}.",
                day(quote.decided_us),
                line.job_number
            );
            Err(Error::refused(message).with_hint(format!(
                "What comes on top is a line of its own: bay quote add {} --stage STAGE --price \
                 PRICE",
                line.job_number
            )))
        }
        QuoteState::Declined if !anyway => {
            let message = format!("Quote {number} was declined{}.", day(quote.decided_us));
            Err(Error::refused(message)
                .with_hint("Where the customer thought again, add --anyway."))
        }
        QuoteState::RunOut if !anyway => {
            let message = format!(
                "Quote {number} has run out: it held until {}.",
                calendar.day(line.valid_until_us)
            );
            Err(Error::refused(message).with_hint(format!(
                "`bay quote revise {number}` works it out anew. To accept it as it was, add \
                 --anyway."
            )))
        }
        _ => Ok(()),
    }
}

/// Reminds to inspect, and what to do where it is too late for that.
fn unseen_words(number: u64, said: &Said) -> String {
    let unseen = "Nobody of the shop had seen it when this was quoted";
    let added = |job: &str| {
        format!(
            "{unseen}. What the inspection brings on top is a line of its own: bay quote add {job} \
             --stage STAGE --price PRICE"
        )
    };
    match said {
        Said::Dry => format!(
            "{unseen}. Inspect it first, and say its grades: bay quote revise {number} --seen yes \
             --soil 4"
        ),
        Said::Acknowledged { receipt, .. } => added(&receipt.job_number.to_string()),
        Said::Kept { handle, .. } => added(handle),
    }
}

/// At a terminal a person decides; elsewhere the reminder stands in the answer.
fn ask_unseen(context: &Context, number: u64) -> Result<(), Error> {
    if !context.can_ask() || context.common.anyway || context.common.dry {
        return Ok(());
    }
    office::say(&unseen_words(number, &Said::Dry));
    if office::yes("Accept it as it is?")? {
        return Ok(());
    }
    Err(Error::refused("Nothing was posted."))
}

/// The job that the quote opens.
fn opening(
    context: &Context,
    asked: &v1::QuoteAsked,
    vehicle: Option<&str>,
    line: &v1::QuoteLine,
    price: &Money,
) -> Result<v1::Fact, Error> {
    // What was accepted earlier holds, whatever is typed now.
    let agreed_minor = match line.state() {
        QuoteState::Accepted => line.agreed_minor,
        _ => price.minor,
    };
    let opened = v1::JobOpened {
        job_type: asked.job_type.clone(),
        vehicle: vehicle.map_or_else(|| asked.vehicle.clone(), |words| words.trim().to_owned()),
        vehicle_class: asked.vehicle_class.clone(),
        grades: asked.grades,
        panels: asked.panels.clone(),
        agreed: Some(money_to_wire(&Money::new(agreed_minor, &price.currency))),
        quote_event_id: line.drafted_event_id.clone(),
        ..v1::JobOpened::default()
    };
    fact(context, Kind::JobOpened(opened), None)
}

/// Work that comes on top of a job, worked out, agreed and posted.
pub(super) fn add(context: &Context, args: &AddArgs) -> Result<Outcome, Error> {
    let job = resolve::job(context, &args.to_job)?;
    let stages = args
        .stages
        .iter()
        .map(|typed| resolve::stage(context, typed));
    let asked = v1::QuoteAsked {
        with_stages: stages.collect::<Result<_, _>>()?,
        grades: args.grades.over(None),
        ..v1::QuoteAsked::default()
    };
    let drafted = Kind::QuoteDrafted(v1::QuoteDrafted::default());
    let mut drafted = fact(context, drafted, Some(job.clone()))?;
    let suggested = suggest(context, &drafted, asked, args.seed.unwrap_or(0))?;
    let zone = zone_name(context);
    let name = args.to_job.trim().trim_start_matches('#');
    let sheet = suggested.sheet(&zone, Some(name));
    let mut text = render::quote::figures(&sheet, page::columns());
    text.push('\n');
    let mut json = serde_json::Map::new();
    json.insert("suggested".to_owned(), json!(suggested.response));
    let Some(typed) = &args.price else {
        text.push_str("Nothing was posted: once the customer agreed, say it again with --price.\n");
        return Ok(Outcome::new(text, Value::Object(json)));
    };
    let price = price(typed, &suggested.printed.currency)?;
    drafted.kind = Some(Kind::QuoteDrafted(v1::QuoteDrafted {
        asked: Some(suggested.asked.clone()),
        printed: Some(suggested.printed.clone()),
        addition: true,
    }));
    let said = post(context, &drafted)?;
    json.insert("drafted".to_owned(), Value::Object(posted_json(&said)));
    let drafted_event_id = match &said {
        Said::Dry => Vec::new(),
        Said::Acknowledged { receipt, .. } => receipt.event_id.clone(),
        Said::Kept { event_id, .. } => event_id.to_vec(),
    };
    let accepted = accepted_addition(
        context,
        args,
        &suggested,
        &price,
        drafted_event_id.clone(),
        job,
    )?;
    let said = post(context, &accepted)?;
    json.insert("accepted".to_owned(), Value::Object(posted_json(&said)));
    let number = match &said {
        Said::Acknowledged { .. } => daemon::drafted(context, &drafted_event_id)
            .and_then(|quote| quote.line)
            .map_or(0, |line| line.number),
        Said::Dry | Said::Kept { .. } => 0,
    };
    json.insert("number".to_owned(), json!(number));
    text.push_str(&render::quote::accepted(
        number,
        price.minor,
        &suggested.printed,
        "",
    ));
    text.push_str(&notices(&said));
    text.push_str(&kept(&said));
    Ok(Outcome::new(text, Value::Object(json)))
}

fn accepted_addition(
    context: &Context,
    args: &AddArgs,
    suggested: &Suggested,
    price: &Money,
    quote_event_id: Vec<u8>,
    job: v1::JobRef,
) -> Result<v1::Fact, Error> {
    let printed = &suggested.printed;
    let accepted = v1::QuoteAccepted {
        quote_event_id,
        agreed: Some(money_to_wire(price)),
        suggested: Some(money_to_wire(&Money::new(
            printed.price_minor,
            &printed.currency,
        ))),
        reason: args.why.clone().unwrap_or_default(),
        planned_date: String::new(),
    };
    fact(context, Kind::QuoteAccepted(accepted), Some(job))
}

/// The customer said no.
pub(super) fn decline(context: &Context, args: &DeclineArgs) -> Result<Outcome, Error> {
    let named = daemon::named(&args.quote)?;
    if !context.common.dry {
        daemon::send_waiting(context)?;
    }
    let quote = daemon::show(context, &named)?;
    let line = quote.line.clone().unwrap_or_default();
    let anyway = context.common.anyway;
    match line.state() {
        QuoteState::Accepted if !anyway => {
            return Err(Error::refused(format!(
                "Quote {} was accepted: job {}.",
                line.number, line.job_number
            ))
            .with_hint(
                "Where the customer took it back, strike the acceptance out (`bay job` shows its \
                 event), or add --anyway.",
            ));
        }
        QuoteState::Declined if !anyway => {
            let message = format!("Quote {} is declined already.", line.number);
            return Err(Error::refused(message));
        }
        _ => {}
    }
    let declined = Kind::QuoteDeclined(v1::QuoteDeclined {
        quote_event_id: line.drafted_event_id.clone(),
        reason: args.why.trim().to_owned(),
    });
    let job = line.addition.then(|| number(line.job_number));
    let said = post(context, &fact(context, declined, job)?)?;
    let understood = format!(
        "Quote {} declined: {}.",
        line.number,
        args.why.trim().trim_end_matches('.')
    );
    let understood = crate::answer::plain(&understood).into_owned();
    let mut json = posted_json(&said);
    json.insert("number".to_owned(), json!(line.number));
    Ok(Outcome::new(
        office::told(&understood, &said),
        Value::Object(json),
    ))
}

/// A job of the daemon's.
pub(super) fn number(job_number: u64) -> v1::JobRef {
    v1::JobRef {
        job: Some(v1::job_ref::Job::Number(job_number)),
    }
}

/// A price of the quote's own currency.
fn price(typed: &str, currency: &str) -> Result<Money, Error> {
    let price = Money::parse(typed, currency).map_err(|e| refused(&e))?;
    if !currency.is_empty() && price.currency != currency {
        return Err(Error::refused(format!(
            "The quote is in {currency}, and {price} is not."
        )));
    }
    Ok(price)
}

/// A day, as people write it in a calendar file.
fn date(typed: &str) -> Result<String, Error> {
    let day: jiff::civil::Date = typed.trim().parse().map_err(|_| {
        Error::usage(format!("`{typed}` is not a date."))
            .with_hint("Write year, month and day: 2026-12-03")
    })?;
    Ok(day.to_string())
}

/// Notices of the daemon, a line each.
fn notices(said: &Said) -> String {
    let notices = said
        .receipt()
        .map(|r| r.notices.as_slice())
        .unwrap_or_default();
    notices.iter().fold(String::new(), |mut lines, notice| {
        let _ = write!(lines, "\n{}", crate::say::notice_line(notice));
        lines
    })
}

/// Where a post is that the daemon does not have.
fn kept(said: &Said) -> String {
    match said {
        Said::Dry => "\nNothing was posted (--dry).".to_owned(),
        Said::Kept { why, .. } => format!(
            "\nKept on this disk, sent with the next command: {}",
            crate::answer::plain(why.message())
        ),
        Said::Acknowledged { .. } => String::new(),
    }
}
