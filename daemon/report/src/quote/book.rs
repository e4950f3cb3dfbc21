//! The quotes of a shop, put together from their rows.

use std::collections::BTreeMap;

use baywright_floor::event::{EventId, JobKey};
use baywright_floor::quote::{QuoteDecidedRow, QuoteRow};
use baywright_floor::row::Row;
use baywright_terms::time::Micros;

/// Every quote among some rows.
#[derive(Debug, Default)]
pub struct QuoteBook<'r> {
    quotes: BTreeMap<EventId, BookedQuote<'r>>,
}

/// One quote with all that became of it. Prints and answers are in order of
/// (instant, seq).
#[derive(Debug, Default)]
pub struct BookedQuote<'r> {
    /// At least one.
    pub prints: Vec<&'r QuoteRow>,
    pub answers: Vec<&'r QuoteDecidedRow>,
    /// The job that it is a line of its own for, or the first it opened.
    pub job: Option<JobKey>,
    /// That job's opening is among the rows.
    pub number: Option<u64>,
}

/// How a quote stands at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuoteStanding {
    Open,
    Accepted,
    Declined,
    /// Open, and past its date.
    RunOut,
}

impl<'r> QuoteBook<'r> {
    /// A quote whose draft is not among the rows is left out: it was struck.
    pub fn of(rows: &'r [Row]) -> Self {
        let mut quotes: BTreeMap<EventId, BookedQuote<'r>> = BTreeMap::new();
        let mut opened: BTreeMap<EventId, (Micros, JobKey)> = BTreeMap::new();
        let mut numbers: BTreeMap<JobKey, Option<u64>> = BTreeMap::new();
        for row in rows {
            match row {
                Row::Quote(print) => quotes.entry(print.quote).or_default().prints.push(print),
                Row::QuoteDecided(answer) => {
                    let quote = quotes.entry(answer.quote).or_default();
                    quote.answers.push(answer);
                }
                Row::JobOpened(job) => {
                    numbers.insert(job.job, job.number);
                    if let Some(quote) = job.quote {
                        let this = (job.opened, job.job);
                        let first = opened.entry(quote).or_insert(this);
                        *first = this.min(*first);
                    }
                }
                _ => {}
            }
        }
        quotes.retain(|_, quote| quote.prints.iter().any(|print| !print.revised));
        for (id, quote) in &mut quotes {
            quote.prints.sort_by_key(|print| (print.at, print.seq));
            quote.answers.sort_by_key(|answer| (answer.at, answer.seq));
            let added = quote.prints.iter().find_map(|print| print.addition_to);
            quote.job = added.or(opened.get(id).map(|(_, job)| *job));
            quote.number = quote.job.and_then(|job| numbers.get(&job).copied()?);
        }
        Self { quotes }
    }

    /// In order of id.
    pub fn quotes(&self) -> impl Iterator<Item = (EventId, &BookedQuote<'r>)> {
        self.quotes.iter().map(|(id, quote)| (*id, quote))
    }

    pub fn get(&self, quote: EventId) -> Option<&BookedQuote<'r>> {
        self.quotes.get(&quote)
    }
}

impl<'r> BookedQuote<'r> {
    /// The print that was shown last by an instant; `None` before the first.
    pub fn print_at(&self, at: Micros) -> Option<&'r QuoteRow> {
        let until = self.prints.iter().rev();
        until.copied().find(|print| print.at <= at)
    }

    /// The answer that counts by an instant: the latest one. A customer may
    /// think again, and whoever typed it may put it right.
    pub fn answer_at(&self, at: Micros) -> Option<&'r QuoteDecidedRow> {
        let until = self.answers.iter().rev();
        until.copied().find(|answer| answer.at <= at)
    }

    /// How it stands at an instant; `None` before it was drafted.
    pub fn standing(&self, at: Micros) -> Option<QuoteStanding> {
        let print = self.print_at(at)?;
        Some(match self.answer_at(at) {
            Some(answer) if answer.accepted => QuoteStanding::Accepted,
            Some(_) => QuoteStanding::Declined,
            None if self.runs_out(print) < at => QuoteStanding::RunOut,
            None => QuoteStanding::Open,
        })
    }

    /// The last instant at which a print can be accepted; one without a date runs
    /// for ever.
    pub fn runs_out(&self, print: &QuoteRow) -> Micros {
        match print.printed.valid_until {
            Micros(0) => Micros(i64::MAX),
            until => until,
        }
    }

    /// The print in force at the last acceptance, and the acceptance: what its job
    /// is held against, whatever was answered after the job was opened with it. A
    /// clock behind the shop's may say yes before the first print.
    pub fn accepted(&self) -> Option<(&'r QuoteRow, &'r QuoteDecidedRow)> {
        let yes = self.answers.iter().rev().find(|answer| answer.accepted)?;
        let before = |print: &&&QuoteRow| (print.at, print.seq) <= (yes.at, yes.seq);
        let in_force = self.prints.iter().rev().find(before);
        Some((*in_force.or(self.prints.first())?, *yes))
    }

    pub fn is_addition(&self) -> bool {
        self.prints.iter().any(|print| print.addition_to.is_some())
    }
}
