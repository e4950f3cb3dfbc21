//! A quote is worked out, printed and kept, first and again.

use std::path::Path;

use baywright_proto::v1;
use baywright_proto::v1::QuoteState;
use baywright_proto::v1::fact::Kind;
use serde_json::{Map, Value, json};

use super::{NewArgs, ReviseArgs, asked, customer_page, daemon, decide};
use crate::answer::Outcome;
use crate::commands::{office, page};
use crate::context::Context;
use crate::error::Error;
use crate::page::put;
use crate::post::{Said, compose, occurred_at, post};
use crate::render;
use crate::render::quote::Sheet;
use crate::say;

/// A fact of the office: about no job unless one is named.
pub(super) fn fact(
    context: &Context,
    kind: Kind,
    job: Option<v1::JobRef>,
) -> Result<v1::Fact, Error> {
    let mut fact = compose(context, kind)?;
    fact.job = job;
    Ok(fact)
}

/// Puts a question to the daemon, as of the time the fact will have.
pub(super) fn suggest(
    context: &Context,
    fact: &v1::Fact,
    asked: v1::QuoteAsked,
    seed: u64,
) -> Result<Suggested, Error> {
    let said_when = fact.occurred.is_some();
    let request = v1::SuggestRequest {
        asked: Some(asked),
        addition_to: fact.job.clone(),
        as_of_seq: 0,
        asked_us: if said_when {
            occurred_at(context, fact).0
        } else {
            0
        },
        seed,
    };
    let response = daemon::suggest(context, request.clone())?;
    let printed = response
        .printed
        .clone()
        .ok_or_else(|| Error::internal("The daemon answered without figures."))?;
    let asked = response.asked.clone().or(request.asked).unwrap_or_default();
    Ok(Suggested {
        asked,
        printed,
        response,
    })
}

/// What the daemon worked out.
pub(super) struct Suggested {
    pub(super) asked: v1::QuoteAsked,
    pub(super) printed: v1::QuotePrinted,
    pub(super) response: v1::SuggestResponse,
}

impl Suggested {
    pub(super) fn sheet<'a>(&'a self, zone: &'a str, addition_to: Option<&'a str>) -> Sheet<'a> {
        Sheet {
            asked: &self.asked,
            printed: &self.printed,
            zone,
            addition_to,
            remarks: &self.response.remarks,
        }
    }
}

/// The name of the shop's zone, as far as this bay knows it.
pub(super) fn zone_name(context: &Context) -> String {
    let held = context.catalogue_or_ask();
    held.as_ref()
        .and_then(|held| Some(held.catalogue.shop.as_ref()?.zone.clone()))
        .unwrap_or_default()
}

/// Works a new quote out, posts what it prints, and says its number.
pub(super) fn new(context: &Context, args: &NewArgs) -> Result<Outcome, Error> {
    let asked = asked::of_new(context, args)?;
    let mut drafted = fact(
        context,
        Kind::QuoteDrafted(v1::QuoteDrafted::default()),
        None,
    )?;
    let suggested = suggest(context, &drafted, asked, args.seed.unwrap_or(0))?;
    let zone = zone_name(context);
    let mut text = render::quote::figures(&suggested.sheet(&zone, None), page::columns());
    drafted.kind = Some(Kind::QuoteDrafted(v1::QuoteDrafted {
        asked: Some(suggested.asked.clone()),
        printed: Some(suggested.printed.clone()),
        addition: false,
    }));
    let said = post(context, &drafted)?;
    let quote = said
        .receipt()
        .and_then(|receipt| daemon::drafted(context, &receipt.event_id));
    text.push('\n');
    text.push_str(&drafted_words(context, &said, quote.as_ref()));
    let mut json = posted_json(&said);
    json.insert("suggested".to_owned(), json!(suggested.response));
    if let Some(quote) = &quote {
        json.insert("quote".to_owned(), json!(quote));
    }
    let Some(file) = &args.html else {
        return Ok(Outcome::new(text, Value::Object(json)));
    };
    let quote = quote.unwrap_or_else(|| unnumbered(context, &drafted, &suggested, &zone));
    with_page(context, &quote, file, text, json)
}

/// What a post leads to, for `--json`.
pub(super) fn posted_json(said: &Said) -> Map<String, Value> {
    match office::told_json(said) {
        Value::Object(object) => object,
        _ => Map::new(),
    }
}

/// `Quote 12.` with what can be said to it next.
fn drafted_words(context: &Context, said: &Said, quote: Option<&v1::Quote>) -> String {
    match said {
        Said::Dry => "Nothing was posted (--dry).\n".to_owned(),
        Said::Kept { why, waiting, .. } => format!(
            "{}\nIts number comes when it is sent: `bay quote list` shows it.\n",
            say::kept_line(context, why, *waiting)
        ),
        Said::Acknowledged { receipt, .. } => {
            let mut text = match quote {
                Some(quote) => numbered(quote),
                None => "It is in the log; `bay quote list` shows its number.\n".to_owned(),
            };
            for notice in &receipt.notices {
                text.push_str(&say::notice_line(notice));
                text.push('\n');
            }
            text
        }
    }
}

fn numbered(quote: &v1::Quote) -> String {
    let number = quote.line.as_ref().map_or(0, |line| line.number);
    let (asked, printed) = (
        quote.asked.clone().unwrap_or_default(),
        quote.printed.clone().unwrap_or_default(),
    );
    format!(
        "Quote {number}.\n{}\n",
        render::quote::next_steps(number, &asked, &printed)
    )
}

/// The quote of a draft that has no number yet.
fn unnumbered(
    context: &Context,
    drafted: &v1::Fact,
    suggested: &Suggested,
    zone: &str,
) -> v1::Quote {
    let drafted_us = occurred_at(context, drafted).0;
    let held = context.catalogue();
    let shop = held.as_ref().and_then(|held| held.catalogue.shop.as_ref());
    v1::Quote {
        line: Some(v1::QuoteLine {
            state: QuoteState::Open.into(),
            drafted_us,
            valid_until_us: suggested.printed.valid_until_us,
            ..v1::QuoteLine::default()
        }),
        asked: Some(suggested.asked.clone()),
        printed: Some(suggested.printed.clone()),
        shop: shop.map(|shop| shop.name.clone()).unwrap_or_default(),
        currency: suggested.printed.currency.clone(),
        zone: zone.to_owned(),
        ..v1::Quote::default()
    }
}

/// Writes the customer's page beside what was printed; on standard output it
/// stands alone.
fn with_page(
    context: &Context,
    quote: &v1::Quote,
    file: &Path,
    mut text: String,
    mut json: Map<String, Value>,
) -> Result<Outcome, Error> {
    let written = put::page(&customer_page(context, quote), file)?;
    if written.verbatim {
        return Ok(written);
    }
    text.push_str(&written.text);
    text.push('\n');
    if let Value::Object(page) = written.json {
        json.extend(page);
    }
    Ok(Outcome::new(text, Value::Object(json)))
}

/// The same quote again, with what changed.
pub(super) fn revise(context: &Context, args: &ReviseArgs) -> Result<Outcome, Error> {
    let named = daemon::named(&args.quote)?;
    if !context.common.dry {
        daemon::send_waiting(context)?;
    }
    let before = daemon::show(context, &named)?;
    let line = before.line.clone().unwrap_or_default();
    if line.state() == QuoteState::Accepted && !context.common.anyway {
        return Err(Error::refused(format!(
            "Quote {} is accepted: its job is held against what it printed then.",
            line.number
        ))
        .with_hint(format!(
            "What comes on top is a line of its own: bay quote add {} --stage STAGE --price PRICE. \
             To revise it all the same, add --anyway.",
            line.job_number
        )));
    }
    let (was_asked, was_printed) = (
        before.asked.clone().unwrap_or_default(),
        before.printed.clone().unwrap_or_default(),
    );
    let asked = asked::of_revision(context, &args.changes, &was_asked)?;
    let job = line.addition.then_some(decide::number(line.job_number));
    let mut revised = fact(
        context,
        Kind::QuoteRevised(v1::QuoteRevised::default()),
        job,
    )?;
    let seed = args.seed.unwrap_or(was_printed.seed);
    let suggested = suggest(context, &revised, asked, seed)?;
    revised.kind = Some(Kind::QuoteRevised(v1::QuoteRevised {
        quote_event_id: line.drafted_event_id.clone(),
        asked: Some(suggested.asked.clone()),
        printed: Some(suggested.printed.clone()),
        reason: args.why.clone().unwrap_or_default(),
    }));
    let said = post(context, &revised)?;
    let job = line.job_number.to_string();
    let sheet = suggested.sheet(&before.zone, line.addition.then_some(job.as_str()));
    let was = (&was_asked, &was_printed);
    let mut text = render::quote::revised(line.number, was, &sheet, page::columns());
    text.push('\n');
    let steps = match &said {
        Said::Dry => String::new(),
        _ => render::quote::next_steps(line.number, &suggested.asked, &suggested.printed),
    };
    let understood = format!(
        "Quote {0} revised; `bay quote show {0}` prints all of it.",
        line.number
    );
    let understood = match &said {
        Said::Dry => String::new(),
        _ => understood,
    };
    text.push_str(office::told(&understood, &said).trim_start());
    text.push('\n');
    if !steps.is_empty() {
        text.push_str(&steps);
        text.push('\n');
    }
    let mut json = posted_json(&said);
    json.insert("suggested".to_owned(), json!(suggested.response));
    json.insert("number".to_owned(), json!(line.number));
    let Some(file) = &args.html else {
        return Ok(Outcome::new(text, Value::Object(json)));
    };
    let mut now = before;
    now.earlier.push(was_printed);
    now.asked = Some(suggested.asked.clone());
    now.printed = Some(suggested.printed.clone());
    with_page(context, &now, file, text, json)
}
