//! Quotes and past jobs: kept as they were said. They move no state, so a late
//! one refolds nothing but its own row.

use baywright_terms::amount::Money;

use crate::event::EventId;
use crate::quote::{Asked, PastJob, PastRow, Printed, QuoteDecidedRow, QuoteRow};
use crate::row::Row;

use super::folding::Folding;

/// A quote was printed, first (`of` is then the event itself) or again.
pub(crate) fn printed(
    f: &mut Folding<'_>,
    of: Option<EventId>,
    asked: &Asked,
    printed: &Printed,
    addition: bool,
) {
    if f.left_out() {
        return;
    }
    f.out.push(Row::Quote(QuoteRow {
        quote: of.unwrap_or(f.event.id),
        seq: f.event.seq,
        at: f.at,
        revised: of.is_some(),
        addition_to: f.job.filter(|_| addition),
        asked: asked.clone(),
        printed: printed.clone(),
    }));
}

/// What an acceptance carries.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Accepted<'a> {
    pub(crate) agreed: Option<&'a Money>,
    pub(crate) suggested: Option<&'a Money>,
    pub(crate) planned_date: &'a str,
}

/// The customer answered; `None`: no.
pub(crate) fn decided(
    f: &mut Folding<'_>,
    quote: EventId,
    yes: Option<&Accepted<'_>>,
    reason: &str,
) {
    if f.left_out() {
        return;
    }
    let minor = |money: Option<&Money>| money.and_then(|price| f.shop_price(price));
    let row = QuoteDecidedRow {
        quote,
        seq: f.event.seq,
        at: f.at,
        accepted: yes.is_some(),
        addition_to: f.job,
        agreed_minor: minor(yes.and_then(|yes| yes.agreed)),
        suggested_minor: minor(yes.and_then(|yes| yes.suggested)),
        reason: reason.to_owned(),
        planned_date: yes.map_or_else(String::new, |yes| yes.planned_date.to_owned()),
    };
    f.out.push(Row::QuoteDecided(row));
}

/// Jobs from before the log.
pub(crate) fn past(f: &mut Folding<'_>, source: &str, jobs: &[PastJob]) {
    if f.left_out() {
        return;
    }
    for past in jobs {
        f.out.push(Row::Past(PastRow {
            seq: f.event.seq,
            source: source.to_owned(),
            past: past.clone(),
        }));
    }
}
