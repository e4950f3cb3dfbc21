//! Quotes as messages: the list, and one with all that became of it.

use std::collections::BTreeMap;

use baywright_floor::event::{EventId, JobKey};
use baywright_floor::quote::{QuoteDecidedRow, QuoteRow};
use baywright_proto::v1;
use baywright_report::figures::JobStory;
use baywright_report::quote::{BookedQuote, QuoteBook, QuoteStanding, SuggestError};
use baywright_terms::time::Micros;

use super::input;
use crate::facts::FactsError;
use crate::facts::decode;
use crate::facts::reader::{FactsReader, QuoteName, View, Worked};

/// Quotes of a list where nobody asked for a number, and at most: a screen or
/// two, and a list that is read in one go.
const LISTED: u32 = 50;
const LISTED_MAX: u32 = 500;

/// Letters of a text in a list: a line of it; the whole is in the quote.
const LINE_CHARS_MAX: usize = 200;

/// Keys of one question about past jobs: those of the largest import that is
/// read in one go fit several times into a question.
pub const KEYS_MAX: usize = 3_000;

/// Why a quote cannot be shown or made.
#[derive(Debug, thiserror::Error)]
pub enum QuoteError {
    #[error(transparent)]
    Facts(#[from] FactsError),
    #[error("no quote is named")]
    NoQuoteNamed,
    #[error("no quote {name}")]
    NoSuchQuote { name: String },
    #[error("quote {number} was struck out")]
    QuoteStruck { number: String },
    #[error("no job type is named")]
    NoTypeNamed,
    #[error("an unsorted job has no allowances to quote from")]
    Unsorted,
    #[error("no job type `{code}` in the catalogue{hint}")]
    NoSuchType { code: String, hint: String },
    #[error("no stage `{code}` in the catalogue{hint}")]
    NoSuchStage { code: String, hint: String },
    #[error("`{job_type}` has no stage `{code}` to leave out{hint}")]
    StageNotOfType {
        code: String,
        job_type: String,
        hint: String,
    },
    #[error("no job is named")]
    NoJobNamed,
    #[error("no job {name}")]
    NoSuchJob { name: String },
    #[error("job {name} was released: nothing can be added to it")]
    JobReleased { name: String },
    #[error("nothing is to be added")]
    NothingAdded,
    #[error(transparent)]
    Suggest(#[from] SuggestError),
    #[error("{field}: {message}")]
    Bad {
        field: &'static str,
        message: String,
        mend: &'static str,
    },
}

impl QuoteError {
    pub(super) fn bad(field: &'static str, message: String, mend: &'static str) -> Self {
        Self::Bad {
            field,
            message,
            mend,
        }
    }
}

impl FactsReader {
    /// The latest quotes, the newest first.
    ///
    /// # Errors
    /// If the database fails.
    pub fn quotes(
        &self,
        asked: &v1::ListQuotesRequest,
        now: Micros,
    ) -> Result<v1::ListQuotesResponse, FactsError> {
        self.view(|view| {
            let job_type = asked.job_type.trim();
            let at_most = match asked.at_most {
                0 => LISTED,
                asked => asked.min(LISTED_MAX),
            };
            let at_most = usize::try_from(at_most).unwrap_or(usize::MAX);
            let numbers = view.quote_numbers()?;
            let rows = view.rows_of_quotes()?;
            let book = QuoteBook::of(&rows);
            let fits = |quoted: &Listed<'_>| {
                let of_type = job_type.is_empty()
                    || quoted
                        .last()
                        .is_some_and(|print| print.asked.job_type.as_str() == job_type);
                let wanted = asked.state();
                of_type && (wanted == v1::QuoteState::Unspecified || quoted.state(now) == wanted)
            };
            let mut fitting: Vec<Listed<'_>> = book
                .quotes()
                .filter_map(|(id, quote)| {
                    let number = *numbers.get(&id)?;
                    Some(Listed { number, id, quote })
                })
                .filter(fits)
                .collect();
            fitting.sort_unstable_by_key(|quoted| std::cmp::Reverse(quoted.number));
            let left_off = fitting.len().saturating_sub(at_most);
            fitting.truncate(at_most);
            let jobs = fitting
                .iter()
                .filter_map(|quoted| quoted.quote.job)
                .collect();
            let worked = view.worked(&jobs, now)?;
            let cats = view.catalogues();
            let shop = cats.at(now).catalogue.shop.clone();
            Ok(v1::ListQuotesResponse {
                currency: shop
                    .as_ref()
                    .map(|s| s.currency.clone())
                    .unwrap_or_default(),
                zone: shop.map(|s| s.zone).unwrap_or_default(),
                quotes: fitting
                    .iter()
                    .map(|quoted| shortened(line(quoted, &worked, now)))
                    .collect(),
                left_off: u32::try_from(left_off).unwrap_or(u32::MAX),
            })
        })
    }

    /// One quote, as it was printed, with what the job took so far.
    ///
    /// # Errors
    /// If there is no such quote, or the database or the log fails.
    pub fn quote(
        &self,
        named: Option<&v1::QuoteRef>,
        now: Micros,
    ) -> Result<v1::Quote, QuoteError> {
        let name = quote_name(named)?;
        self.view(|view| {
            let text = match name {
                QuoteName::Number(number) => number.to_string(),
                QuoteName::Drafted(id) => id.to_string(),
            };
            let Some(drafted) = view.quote_named(name)? else {
                return Err(QuoteError::NoSuchQuote { name: text });
            };
            let rows = view.rows_of_quote(drafted)?;
            let book = QuoteBook::of(&rows);
            let Some(quote) = book.get(drafted) else {
                return Err(QuoteError::QuoteStruck { number: text });
            };
            let quoted = Listed {
                number: view.number_of_quote(drafted)?.unwrap_or(0),
                id: drafted,
                quote,
            };
            Ok(shown(view, &quoted, now)?)
        })
    }

    /// Which past jobs are in the log already.
    ///
    /// # Errors
    /// If the database fails.
    pub fn past_known(&self, keys: &[Vec<u8>]) -> Result<v1::PastKnownResponse, FactsError> {
        // A key that is no key is known to nobody.
        let keys: Vec<_> = keys.iter().filter_map(|key| decode::id(key)).collect();
        self.view(|view| {
            let known = view.past_known(&keys)?;
            Ok(v1::PastKnownResponse {
                known: known.iter().map(|key| key.0.to_vec()).collect(),
            })
        })
    }
}

fn quote_name(named: Option<&v1::QuoteRef>) -> Result<QuoteName, QuoteError> {
    match named.and_then(|named| named.quote.as_ref()) {
        Some(v1::quote_ref::Quote::Number(number)) => Ok(QuoteName::Number(*number)),
        Some(v1::quote_ref::Quote::DraftedEventId(bytes)) => match decode::id(bytes) {
            Some(id) => Ok(QuoteName::Drafted(id)),
            None => Err(QuoteError::NoSuchQuote {
                name: baywright_proto::json::uuid_text(bytes),
            }),
        },
        None => Err(QuoteError::NoQuoteNamed),
    }
}

/// A quote with its number, which is the log's.
#[derive(Clone, Copy)]
struct Listed<'r> {
    number: u64,
    id: EventId,
    quote: &'r BookedQuote<'r>,
}

impl<'r> Listed<'r> {
    /// The print that was shown last.
    fn last(&self) -> Option<&'r QuoteRow> {
        self.quote.prints.last().copied()
    }

    /// The answer that counts.
    fn answer(&self) -> Option<&'r QuoteDecidedRow> {
        self.quote.answers.last().copied()
    }

    /// A print of a clock ahead of ours is open.
    fn state(&self, now: Micros) -> v1::QuoteState {
        let latest = |rows: [Option<Micros>; 2]| rows.into_iter().flatten().max();
        let said = latest([
            self.last().map(|print| print.at),
            self.answer().map(|answer| answer.at),
        ]);
        match self.quote.standing(now.max(said.unwrap_or(now))) {
            Some(QuoteStanding::Accepted) => v1::QuoteState::Accepted,
            Some(QuoteStanding::Declined) => v1::QuoteState::Declined,
            Some(QuoteStanding::RunOut) => v1::QuoteState::RunOut,
            Some(QuoteStanding::Open) | None => v1::QuoteState::Open,
        }
    }
}

fn line(quoted: &Listed<'_>, worked: &BTreeMap<JobKey, Worked>, now: Micros) -> v1::QuoteLine {
    let drafted = quoted.quote.prints.first().map_or(0, |print| print.at.0);
    let answer = quoted.answer();
    let worked = quoted.quote.job.and_then(|job| worked.get(&job)).copied();
    let told = v1::QuoteLine {
        number: quoted.number,
        drafted_event_id: quoted.id.0.to_vec(),
        state: quoted.state(now).into(),
        drafted_us: drafted,
        agreed_minor: answer
            .filter(|answer| answer.accepted)
            .and_then(|answer| answer.agreed_minor)
            .unwrap_or(0),
        job_number: quoted.quote.number.unwrap_or(0),
        addition: quoted.quote.is_addition(),
        why: answer
            .filter(|answer| !answer.accepted)
            .map(|answer| answer.reason.clone())
            .unwrap_or_default(),
        actual_hands_on_us: worked.map_or(0, |worked| worked.labour_us),
        released: worked.is_some_and(|worked| worked.released),
        ..v1::QuoteLine::default()
    };
    let Some(QuoteRow { asked, printed, .. }) = quoted.last() else {
        return told;
    };
    v1::QuoteLine {
        valid_until_us: printed.valid_until.0,
        job_type: asked.job_type.to_string(),
        vehicle: asked.vehicle.clone(),
        customer: asked.customer.clone(),
        hands_on_half_us: printed.hands_on_half_us,
        hands_on_p80_us: printed.hands_on_p80_us,
        price_minor: printed.price_minor,
        trade_guess: printed.trade_guess,
        ..told
    }
}

/// A line whose texts fit into a list.
fn shortened(line: v1::QuoteLine) -> v1::QuoteLine {
    let cut = |text: String| match text.char_indices().nth(LINE_CHARS_MAX) {
        Some((at, _)) => format!("{}…", text.get(..at).unwrap_or_default()),
        None => text,
    };
    v1::QuoteLine {
        vehicle: cut(line.vehicle),
        customer: cut(line.customer),
        why: cut(line.why),
        job_type: cut(line.job_type),
        ..line
    }
}

fn shown(view: &mut View<'_>, quoted: &Listed<'_>, now: Micros) -> Result<v1::Quote, FactsError> {
    let mut said = Vec::new();
    for print in &quoted.quote.prints {
        said.push((print.revised, view.print_at(print.seq)?));
    }
    let revised_why = said
        .iter()
        .filter(|(revised, _)| *revised)
        .map(|(_, (_, _, why))| why.clone())
        .collect();
    let (asked, printed) = said
        .pop()
        .map(|(_, (asked, printed, _))| (asked, printed))
        .unwrap_or_default();
    let cats = view.catalogues();
    let shop = cats.at(now).catalogue.shop.clone();
    let jobs = quoted.quote.job.into_iter().collect();
    let answer = quoted.answer();
    let accepted = answer.filter(|answer| answer.accepted);
    let quote = v1::Quote {
        line: Some(line(quoted, &view.worked(&jobs, now)?, now)),
        asked: Some(asked),
        currency: printed.currency.clone(),
        printed: Some(printed),
        earlier: said
            .into_iter()
            .map(|(_, (_, printed, _))| printed)
            .collect(),
        revised_why,
        decided_us: answer.map_or(0, |answer| answer.at.0),
        accepted_reason: accepted.map(|yes| yes.reason.clone()).unwrap_or_default(),
        planned_date: accepted
            .map(|yes| yes.planned_date.clone())
            .unwrap_or_default(),
        shop: shop.as_ref().map(|s| s.name.clone()).unwrap_or_default(),
        zone: shop.map(|s| s.zone).unwrap_or_default(),
        ..v1::Quote::default()
    };
    match quoted.quote.job {
        Some(job) => with_actual(view, quoted, job, now, quote),
        None => Ok(quote),
    }
}

/// Adds what the job took so far. Of a line that was added to a job, only its
/// own stages and products: bay time and cost are the whole job's, not its.
fn with_actual(
    view: &mut View<'_>,
    quoted: &Listed<'_>,
    job: JobKey,
    now: Micros,
    quote: v1::Quote,
) -> Result<v1::Quote, FactsError> {
    let rows = view.rows_for_job(job, now)?;
    let cats = view.catalogues();
    let input = input(view, &rows, &cats, now)?;
    let Some(JobStory { job, uses, .. }) = baywright_report::story(&input, job) else {
        return Ok(quote);
    };
    let line = quoted.last().filter(|print| print.addition_to.is_some());
    let stage_of_it =
        |stage| line.is_none_or(|print| print.printed.stages.iter().any(|own| own.stage == stage));
    let product_of_it = |product| {
        line.is_none_or(|print| {
            print
                .printed
                .products
                .iter()
                .any(|own| own.product == product)
        })
    };
    let money = &job.money;
    let cost_minor = [
        money.labour_minor,
        money.materials_minor,
        money.supplies_minor,
        money.overhead_minor,
    ]
    .into_iter()
    .fold(0, i64::saturating_add);
    Ok(v1::Quote {
        actual_stages: job
            .stages
            .iter()
            .filter(|stage| stage.actual_us != 0 && stage_of_it(stage.stage.clone()))
            .map(|stage| v1::QuoteActual {
                stage: stage.stage.to_string(),
                hands_on_us: stage.actual_us,
            })
            .collect(),
        actual_products: uses
            .iter()
            .filter(|used| used.used.base != 0 && product_of_it(used.product.clone()))
            .map(|used| v1::QuoteActualProduct {
                product: used.product.to_string(),
                unit: used.unit.as_str().to_owned(),
                used: used.used.value(),
            })
            .collect(),
        actual_bay_us: if line.is_some() { 0 } else { job.occupied_us },
        actual_cost_minor: if line.is_some() || job.actual_us == 0 {
            0
        } else {
            cost_minor
        },
        ..quote
    })
}
