//! What a job is held against: the quote it was accepted with and the lines
//! accepted since, else what the catalogue in force at its opening allows.
//!
//! A quote counts as it was printed last before it was accepted, with the rates
//! and product prices of the catalogue at that instant: standards are frozen
//! then. Nothing that is learned or applied later moves them.

use std::borrow::Cow;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::EventId;
use baywright_floor::quote::{Printed, QuoteDecidedRow, QuoteRow};
use baywright_floor::row::JobOpenedRow;
use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance, Source, StageAllowance};

use crate::input::Index;
use crate::money::in_shop_currency;

/// Standards of one job.
#[derive(Debug)]
pub(crate) struct Promise<'c> {
    /// In force when the standards were frozen.
    pub(crate) catalogue: &'c Catalogue,
    /// In the order of work; `None`: nothing was quoted, which is not the same
    /// as a quote of nothing.
    pub(crate) stages: Option<Cow<'c, [StageAllowance]>>,
    pub(crate) products: Cow<'c, [ProductAllowance]>,
    /// What was asked before any discount; `None`: no price is known.
    pub(crate) list_minor: Option<i64>,
    pub(crate) agreed_minor: Option<i64>,
    pub(crate) comeback: bool,
}

impl<'c> Promise<'c> {
    pub(crate) fn of(index: &Index<'_>, catalogues: &'c Catalogues, opened: &JobOpenedRow) -> Self {
        if opened.comeback_of.is_some() {
            return Self::of_comeback(catalogues, opened);
        }
        let quoted = opened.quote.and_then(|quote| accepted(index, quote));
        let mut promise = match quoted {
            Some((printed, yes)) => Self::of_quote(catalogues, opened, printed, yes),
            None => Self::of_opening(catalogues, opened),
        };
        for (printed, yes) in additions(index, opened) {
            promise.add(&printed.printed, yes);
        }
        promise
    }

    /// It puts right what was paid for before: quoted nothing.
    fn of_comeback(catalogues: &'c Catalogues, opened: &JobOpenedRow) -> Self {
        Self {
            catalogue: &catalogues.at(opened.opened).catalogue,
            stages: Some(Cow::Borrowed(&[])),
            products: Cow::Borrowed(&[]),
            list_minor: Some(0),
            agreed_minor: opened.agreed_minor,
            comeback: true,
        }
    }

    fn of_opening(catalogues: &'c Catalogues, opened: &JobOpenedRow) -> Self {
        let catalogue = &catalogues.at(opened.opened).catalogue;
        let job_type = catalogue.job_types.get(&opened.job_type);
        let allowed = |job_type: &'c JobType| {
            (!job_type.stages.is_empty()).then_some(Cow::Borrowed(job_type.stages.as_slice()))
        };
        let stages = job_type.and_then(allowed);
        let products = job_type.map(|t| t.products.as_slice());
        Self {
            catalogue,
            products: Cow::Borrowed(products.unwrap_or_default()),
            list_minor: job_type.and_then(|t| in_shop_currency(catalogue, t.price.as_ref())),
            agreed_minor: opened.agreed_minor,
            stages,
            comeback: false,
        }
    }

    fn of_quote(
        catalogues: &'c Catalogues,
        opened: &JobOpenedRow,
        printed: &QuoteRow,
        yes: &QuoteDecidedRow,
    ) -> Self {
        Self {
            catalogue: &catalogues.at(yes.at).catalogue,
            stages: Some(stages_of(&printed.printed).collect()),
            products: products_of(&printed.printed).collect(),
            list_minor: Some(printed.printed.price_minor),
            agreed_minor: opened.agreed_minor.or(yes.agreed_minor),
            comeback: false,
        }
    }

    /// A line of its own in the middle of the job.
    fn add(&mut self, printed: &Printed, yes: &QuoteDecidedRow) {
        let stages = self.stages.get_or_insert(Cow::Borrowed(&[]));
        stages.to_mut().extend(stages_of(printed));
        self.products.to_mut().extend(products_of(printed));
        let more = |sum: i64, minor: i64| Some(sum.saturating_add(minor));
        let agreed = yes.agreed_minor.unwrap_or(printed.price_minor);
        // Without an agreed price for the job its list price stands in.
        let before = self.agreed_minor.or(self.list_minor).unwrap_or(0);
        if self.agreed_minor.is_some() || agreed != printed.price_minor {
            self.agreed_minor = more(before, agreed);
        }
        self.list_minor = more(self.list_minor.unwrap_or(0), printed.price_minor);
    }
}

/// Stages as the quote shared its hours among them.
fn stages_of(printed: &Printed) -> impl Iterator<Item = StageAllowance> {
    printed.stages.iter().map(|stage| StageAllowance {
        stage: stage.stage.clone(),
        allowance_us: stage.quoted_us,
        source: Source::Shop,
    })
}

fn products_of(printed: &Printed) -> impl Iterator<Item = ProductAllowance> {
    printed.products.iter().filter_map(|product| {
        Some(ProductAllowance {
            product: product.product.clone(),
            amount: product.quoted?,
            source: Source::Shop,
        })
    })
}

/// The print in force when the quote was accepted, and the acceptance.
fn accepted<'r>(index: &Index<'r>, quote: EventId) -> Option<(&'r QuoteRow, &'r QuoteDecidedRow)> {
    let decided = index.decided.get(&quote)?;
    let yes = decided.iter().rev().find(|decided| decided.accepted)?;
    let prints = index.quotes.get(&quote)?;
    let before = |print: &&&QuoteRow| (print.at, print.seq) <= (yes.at, yes.seq);
    let in_force = prints.iter().rev().find(before).or(prints.first())?;
    Some((in_force, yes))
}

/// Lines accepted for the job since it was opened, in order of time.
fn additions<'i, 'r>(
    index: &'i Index<'r>,
    opened: &JobOpenedRow,
) -> impl Iterator<Item = (&'r QuoteRow, &'r QuoteDecidedRow)> + use<'i, 'r> {
    let added = index.added.get(&opened.job);
    added
        .into_iter()
        .flatten()
        .filter_map(|quote| accepted(index, *quote))
}
