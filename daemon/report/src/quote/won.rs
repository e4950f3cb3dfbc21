//! Quotes won and lost, by type and price.
//!
//! Prices are those that were printed, so that what was won and what was lost are
//! compared alike; what was agreed stands beside as a share of them. Lines of
//! their own in the middle of a job are no quote that a customer shops around
//! with, and are left out.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::row::Row;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::book::{BookedQuote, QuoteBook, QuoteStanding};
use crate::figures::QuotesOfType;
use crate::quantile::mean;
use crate::span::{Span, divide_half_even, sum_us};

/// Reasons that are kept of one type.
const REASONS_MAX: usize = 20;

/// Quotes decided in `from..until` or run out in it, and those still open at its
/// end or at `as_of`, whichever comes first; in order of type.
pub fn week_quotes(rows: &[Row], from: Micros, until: Micros, as_of: Micros) -> Vec<QuotesOfType> {
    let book = QuoteBook::of(rows);
    let span = Span::new(from, until);
    let last = Micros(until.0.saturating_sub(1)).min(as_of);
    let mut types: BTreeMap<&Code, Tally> = BTreeMap::new();
    for (_, quote) in book.quotes().filter(|(_, quote)| !quote.is_addition()) {
        let Some(print) = quote.print_at(last) else {
            continue;
        };
        let tally = types.entry(&print.asked.job_type).or_default();
        tally.add(quote, span, last);
    }
    types
        .into_iter()
        .map(|(job_type, tally)| tally.figures(job_type))
        .filter(|of| (of.won, of.lost, of.open, of.run_out) != (0, 0, 0, 0))
        .collect()
}

#[derive(Default)]
struct Tally {
    /// Printed prices.
    won_minor: Vec<i64>,
    lost_minor: Vec<i64>,
    /// Agreed and printed prices of the won ones that have both.
    agreed: Vec<(i64, i64)>,
    open: u32,
    run_out: u32,
    lost_why: BTreeSet<(Micros, String)>,
}

impl Tally {
    fn add(&mut self, quote: &BookedQuote<'_>, span: Span, last: Micros) {
        let Some(print) = quote.print_at(last) else {
            return;
        };
        let answer = quote.answer_at(last);
        match quote.standing(last) {
            Some(QuoteStanding::Open) => self.open = self.open.saturating_add(1),
            Some(QuoteStanding::RunOut) if span.holds(quote.runs_out(print)) => {
                self.run_out = self.run_out.saturating_add(1);
            }
            Some(QuoteStanding::Accepted) => {
                let Some(yes) = answer.filter(|answer| span.holds(answer.at)) else {
                    return;
                };
                let printed = quote.print_at(yes.at).unwrap_or(print).printed.price_minor;
                self.won_minor.push(printed);
                if let Some(agreed) = yes.agreed_minor.filter(|_| printed > 0) {
                    self.agreed.push((agreed, printed));
                }
            }
            Some(QuoteStanding::Declined) => {
                let Some(no) = answer.filter(|answer| span.holds(answer.at)) else {
                    return;
                };
                let printed = quote.print_at(no.at).unwrap_or(print);
                self.lost_minor.push(printed.printed.price_minor);
                if !no.reason.trim().is_empty() {
                    self.lost_why.insert((no.at, no.reason.trim().to_owned()));
                }
            }
            Some(QuoteStanding::RunOut) | None => {}
        }
    }

    fn figures(self, job_type: &Code) -> QuotesOfType {
        let agreed = sum_us(self.agreed.iter().map(|(agreed, _)| *agreed));
        let printed = sum_us(self.agreed.iter().map(|(_, printed)| *printed));
        let milli = divide_half_even(i128::from(agreed.max(0)) * 1_000, i128::from(printed));
        let latest = self.lost_why.into_iter().rev().take(REASONS_MAX);
        QuotesOfType {
            job_type: job_type.clone(),
            won: crate::labour::count(self.won_minor.len()),
            lost: crate::labour::count(self.lost_minor.len()),
            open: self.open,
            run_out: self.run_out,
            won_price_mean_minor: mean(&self.won_minor).unwrap_or(0),
            lost_price_mean_minor: mean(&self.lost_minor).unwrap_or(0),
            agreed_milli: u32::try_from(milli).unwrap_or(u32::MAX),
            lost_why: latest.map(|(_, why)| why).collect(),
        }
    }
}
