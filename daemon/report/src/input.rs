//! What the figures are worked out of, and an index over it.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::{Declaration, LevelResult};
use baywright_floor::quote::{QuoteDecidedRow, QuoteRow};
use baywright_floor::row::{
    CoatedRow, ContainerKind, HandsOn, JobOpenedRow, MixMadeRow, NoticeRow, Presence, Row,
    StockKind, UseRow, Waiting,
};
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use crate::materials::Shared;

/// Rows and the catalogue history, as one read of the facts saw them.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// In order of (origin, ordinal), provisional rows after them. It holds
    ///
    /// - every row that touches the span asked for,
    /// - every row of each job that was released in it or stood in a bay in it,
    /// - the `MixMade` row of every mix that a use or dump among them names, and
    ///   every use and dump of it, whoever drew,
    /// - for each unmetered product that those jobs are allowed or that was
    ///   refilled in the span, its containers from the refill before that work
    ///   to the one at or after it; from the first to the last of these
    ///   refills, every use of the product by hand; and of each further job
    ///   worked on between them its opening, release and hands-on rows,
    /// - for each product drawn among all these, the last priced receipt at or
    ///   before the first draw of it and every one up to the last draw of
    ///   anything; and every receipt of a lot that a use or coat names,
    /// - every print of, and answer to, the quotes that those jobs were accepted
    ///   with or that were made for them since,
    /// - every odd notice that is not settled, and every odd one of those jobs,
    /// - what was coated so lately that it may still cure at `as_of`, with what
    ///   was found cured of those jobs,
    /// - for the story of a job, the readings in its bays while it was there and
    ///   for as long before as a reading holds,
    /// - with every opening among these the release, where there was one, and
    /// - the provisional rows of what was still running at `as_of`.
    ///
    /// More rows do no harm; a row must not come twice.
    pub rows: &'a [Row],
    pub catalogues: &'a Catalogues,
    /// Now, or the latest instant of the log as it was at `as_of_seq`.
    pub as_of: Micros,
    pub as_of_seq: Seq,
    /// First and latest instant in the log; `None`: empty.
    pub log_from: Option<Micros>,
    pub log_until: Option<Micros>,
}

/// Everything about one job.
#[derive(Debug, Default)]
pub(crate) struct JobRows<'a> {
    pub(crate) opened: Option<&'a JobOpenedRow>,
    /// The first release.
    pub(crate) released: Option<Micros>,
    pub(crate) presences: Vec<&'a Presence>,
    pub(crate) hands_on: Vec<&'a HandsOn>,
    pub(crate) waiting: Vec<&'a Waiting>,
    /// The latest declaration of each stage.
    pub(crate) declared: BTreeMap<&'a Code, Declaration>,
    pub(crate) declared_seqs: BTreeMap<&'a Code, Seq>,
    pub(crate) uses: Vec<&'a UseRow>,
    pub(crate) coated: Vec<&'a CoatedRow>,
    /// Panels that somebody found cured, and when.
    pub(crate) cured: Vec<(&'a Code, Micros)>,
}

/// How a section came out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Levelled {
    pub(crate) at: Micros,
    pub(crate) result: LevelResult,
    pub(crate) seq: Seq,
}

/// Part of a mix poured away.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Dumped {
    pub(crate) mix: EventId,
    pub(crate) volume: Nanolitres,
    pub(crate) at: Micros,
    pub(crate) seq: Seq,
}

/// A bottle was filled up.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Refill {
    pub(crate) at: Micros,
    pub(crate) seq: Seq,
    /// What went in.
    pub(crate) quantity: Option<Quantity>,
}

/// Packs of a product that came in, with what was paid.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Receipt<'a> {
    pub(crate) at: Micros,
    pub(crate) seq: Seq,
    /// Of all packs together.
    pub(crate) quantity: Quantity,
    pub(crate) packs: u32,
    /// For one pack.
    pub(crate) price_minor: i64,
    pub(crate) lot: &'a str,
}

/// The rows by what they are about; borrowed, built in one pass.
#[derive(Debug, Default)]
pub(crate) struct Index<'a> {
    pub(crate) jobs: BTreeMap<JobKey, JobRows<'a>>,
    /// On no job.
    pub(crate) loose_uses: Vec<&'a UseRow>,
    pub(crate) mixes: HashMap<EventId, &'a MixMadeRow>,
    pub(crate) dumped: Vec<Dumped>,
    pub(crate) notices: Vec<&'a NoticeRow>,
    /// Receipts with a price and an amount, in order of (instant, seq).
    receipts: BTreeMap<&'a Code, Vec<Receipt<'a>>>,
    /// On a job and on none.
    pub(crate) uses_of_mix: HashMap<EventId, Vec<&'a UseRow>>,
    /// In order of (instant, seq).
    pub(crate) refills: BTreeMap<&'a Code, Vec<Refill>>,
    /// Worked out when it is first asked for: shares are of all jobs at once.
    pub(crate) shared: OnceCell<Shared>,
    /// By the event that coated the section, in order of (instant, seq): the
    /// first levels it, later ones amend how it came out.
    pub(crate) levelled: HashMap<EventId, Vec<Levelled>>,
    pub(crate) air: Vec<Reading<'a>>,
    /// Prints of each quote, in order of (instant, seq).
    pub(crate) quotes: BTreeMap<EventId, Vec<&'a QuoteRow>>,
    /// Answers to each quote, in the same order.
    pub(crate) decided: BTreeMap<EventId, Vec<&'a QuoteDecidedRow>>,
    /// Quotes that were made for a job while it was there.
    pub(crate) added: BTreeMap<JobKey, BTreeSet<EventId>>,
}

/// An air reading.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading<'a> {
    pub(crate) bay: &'a Code,
    pub(crate) at: Micros,
    pub(crate) air: MilliCelsius,
    pub(crate) humidity: MilliPercent,
    pub(crate) surface: Option<MilliCelsius>,
    pub(crate) seq: Seq,
}

impl<'a> Index<'a> {
    pub(crate) fn new(rows: &'a [Row]) -> Self {
        let mut index = Self::default();
        for row in rows {
            index.add(row);
        }
        for receipts in index.receipts.values_mut() {
            receipts.sort_by_key(|receipt| (receipt.at, receipt.seq));
        }
        for refills in index.refills.values_mut() {
            refills.sort_by_key(|refill| (refill.at, refill.seq));
        }
        for prints in index.quotes.values_mut() {
            prints.sort_by_key(|print| (print.at, print.seq));
        }
        for answers in index.decided.values_mut() {
            answers.sort_by_key(|answer| (answer.at, answer.seq));
        }
        for levelled in index.levelled.values_mut() {
            levelled.sort_by_key(|l| (l.at, l.seq));
        }
        index
    }

    /// Receipts of a product with a price, in order of time.
    pub(crate) fn receipts_of(&self, product: &Code) -> &[Receipt<'a>] {
        let receipts = self.receipts.get(product);
        receipts.map(Vec::as_slice).unwrap_or_default()
    }

    fn job(&mut self, job: JobKey) -> &mut JobRows<'a> {
        self.jobs.entry(job).or_default()
    }

    fn add(&mut self, row: &'a Row) {
        match row {
            Row::JobOpened(opened) => self.job(opened.job).opened = Some(opened),
            Row::JobReleased { job, at, .. } => {
                let released = &mut self.job(*job).released;
                *released = Some(released.map_or(*at, |before| before.min(*at)));
            }
            Row::Presence(presence) => self.job(presence.job).presences.push(presence),
            Row::HandsOn(hands_on) => self.job(hands_on.job).hands_on.push(hands_on),
            Row::Waiting(waiting) => self.job(waiting.job).waiting.push(waiting),
            Row::Declared {
                job,
                stage,
                declaration,
                seq,
            } => {
                let job = self.job(*job);
                job.declared.insert(stage, *declaration);
                job.declared_seqs.insert(stage, *seq);
            }
            Row::Use(used) => {
                match used.job {
                    Some(job) => self.job(job).uses.push(used),
                    None => self.loose_uses.push(used),
                }
                if let Some(mix) = used.mix {
                    self.uses_of_mix.entry(mix).or_default().push(used);
                }
            }
            Row::Container {
                product,
                kind: ContainerKind::Refilled,
                quantity,
                at,
                seq,
                ..
            } => self.refills.entry(product).or_default().push(Refill {
                at: *at,
                seq: *seq,
                quantity: *quantity,
            }),
            Row::MixMade(mix) => {
                self.mixes.insert(mix.mix, mix);
            }
            Row::MixDumped {
                mix,
                volume,
                at,
                seq,
            } => self.dumped.push(Dumped {
                mix: *mix,
                volume: *volume,
                at: *at,
                seq: *seq,
            }),
            Row::Notice(notice) => self.notices.push(notice),
            Row::Stock {
                product,
                kind: StockKind::Received,
                quantity: Some(quantity),
                packs,
                price_minor: Some(price_minor),
                lot,
                at,
                seq,
            } => self.receipts.entry(product).or_default().push(Receipt {
                at: *at,
                seq: *seq,
                quantity: *quantity,
                packs: *packs,
                price_minor: *price_minor,
                lot,
            }),
            Row::Coated(coated) => self.job(coated.job).coated.push(coated),
            Row::Cured { job, panel, at, .. } => self.job(*job).cured.push((panel, *at)),
            Row::Levelled {
                coated,
                at,
                result,
                seq,
                ..
            } => self.levelled.entry(*coated).or_default().push(Levelled {
                at: *at,
                result: *result,
                seq: *seq,
            }),
            Row::Quote(quote) => {
                if let Some(job) = quote.addition_to {
                    self.added.entry(job).or_default().insert(quote.quote);
                }
                self.quotes.entry(quote.quote).or_default().push(quote);
            }
            Row::QuoteDecided(decided) => {
                let answers = self.decided.entry(decided.quote).or_default();
                answers.push(decided);
            }
            Row::Air {
                bay,
                at,
                air,
                humidity,
                surface,
                seq,
                ..
            } => self.air.push(Reading {
                bay,
                at: *at,
                air: *air,
                humidity: *humidity,
                surface: *surface,
                seq: *seq,
            }),
            Row::Container { .. }
            | Row::Lamp { .. }
            | Row::Covered { .. }
            | Row::FlawFound { .. }
            | Row::FlawRemedied { .. }
            | Row::Stock { .. }
            | Row::Past(_)
            | Row::Counted { .. } => {}
        }
    }

    /// The log's number of a job, where its opening is among the rows.
    pub(crate) fn number(&self, job: JobKey) -> Option<u64> {
        self.jobs.get(&job)?.opened?.number
    }
}
