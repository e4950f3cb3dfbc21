//! One job, told by its figures. The lines of the log are the daemon's.

use std::collections::BTreeMap;

use baywright_floor::event::{JobKey, Seq};
use baywright_floor::row::{CoatedRow, Ended, Presence};
use baywright_floor::step::AIR_FRESH_US;
use baywright_floor::timeline;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals;
use crate::figures::{JobStory, StoryAir, StoryPlace, StorySection, StoryStretch, StretchKind};
use crate::input::{Index, Input, JobRows, Reading};
use crate::labour;
use crate::money::Account;
use crate::odd;
use crate::span::Span;
use crate::stays;

/// The figures of one job up to `as_of`; `None` where its opening is not among
/// the rows.
pub fn story(input: &Input<'_>, job: JobKey) -> Option<JobStory> {
    let index = Index::new(input.rows);
    let figures = labour::job_figures(&index, input.catalogues, input.as_of, job)?;
    let rows = index.jobs.get(&job)?;
    let shop_at = |at| input.catalogues.at(at).catalogue.shop.as_ref();
    let shop = shop_at(input.as_of);
    let currency = shop_at(figures.opened).map(|shop| shop.currency.clone());
    Some(JobStory {
        zone: shop.map(|shop| shop.zone.clone()).unwrap_or_default(),
        shop: shop.map(|shop| shop.name.clone()).unwrap_or_default(),
        currency: currency.unwrap_or_default(),
        as_of: input.as_of,
        stretches: stretches(&index, rows, input),
        air: air(&index, rows, input.as_of),
        sections: sections(&index, rows),
        opened: figures.opened,
        places: places(rows, input),
        uses: chemicals::story_uses(&index, input.catalogues, rows),
        odd: odd::odd_figures(&index, input.catalogues, true)
            .into_iter()
            .filter(|o| o.job == Some(job))
            .collect(),
        as_of_seq: input.as_of_seq,
        job: figures,
    })
}

fn places(rows: &JobRows<'_>, input: &Input<'_>) -> Vec<StoryPlace> {
    let mut places: Vec<StoryPlace> = rows
        .presences
        .iter()
        .map(|stay| place(rows, stay, input.as_of))
        .collect();
    places.sort_by_key(|p| (p.from, p.until.is_none(), p.until));
    places
}

/// One stay with its three clocks.
pub(crate) fn place(rows: &JobRows<'_>, stay: &Presence, as_of: Micros) -> StoryPlace {
    let span = Span::new(stay.from, stay.until.unwrap_or(as_of));
    let (hands_on, waiting) = stays::clocks(rows, span, as_of);
    let presence = (span.from.0, span.until.0);
    let clocks = timeline::totals(&timeline::partition(presence, &hands_on, &waiting));
    StoryPlace {
        place: stay.place.clone(),
        from: stay.from,
        until: stay.until,
        hands_on_us: clocks.hands_on_us,
        waiting_us: clocks.waiting_us,
        idle_us: clocks.idle_us,
    }
}

/// Each stretch with its part of the job's labour cost, which adds up with what
/// was declared.
fn stretches(index: &Index<'_>, rows: &JobRows<'_>, input: &Input<'_>) -> Vec<StoryStretch> {
    let account = Account::of(index, input.catalogues, rows);
    // Those that were recorded come first, in the order of the rows.
    let mut costs = account.iter().flat_map(Account::work_costs);
    let hands_on = rows.hands_on.iter().map(|h| StoryStretch {
        kind: StretchKind::HandsOn {
            stage: h.stage.clone(),
            worker: h.worker.clone(),
            rework: h.rework,
            ended: h.ended,
            cost_minor: costs.next().and_then(|(worked, minor)| {
                let unknown = worked.without_rate_us > 0 && minor == 0;
                (!unknown).then_some(minor)
            }),
        },
        place: h.bay.clone(),
        from: h.from,
        until: (h.ended != Ended::Running).then_some(h.until),
        seqs: seqs(h.seq_from, h.seq_until),
    });
    let waiting = rows.waiting.iter().map(|w| StoryStretch {
        kind: StretchKind::Waiting {
            kind: w.kind,
            product: w.product.clone(),
            panel: w.panel.clone(),
        },
        place: place_at(rows, w.from),
        from: w.from,
        until: w.until,
        seqs: seqs(w.seq_from, w.seq_until),
    });
    let mut stretches: Vec<StoryStretch> = hands_on.chain(waiting).collect();
    stretches.sort_by(|a, b| {
        let order = |s: &StoryStretch| (s.from, s.until.is_none(), s.until, s.seqs.clone());
        order(a).cmp(&order(b))
    });
    stretches
}

fn seqs(from: Seq, until: Option<Seq>) -> Vec<Seq> {
    let until = until.filter(|until| *until != from);
    let mut seqs: Vec<Seq> = [from].into_iter().chain(until).collect();
    seqs.sort_unstable();
    seqs
}

/// Where a job was; empty: in no place that is known.
pub(crate) fn place_at(rows: &JobRows<'_>, at: Micros) -> Code {
    let here = rows
        .presences
        .iter()
        .find(|stay| stay.from <= at && stay.until.is_none_or(|until| at < until));
    here.map_or_else(|| Code::new(""), |stay| stay.place.clone())
}

/// Readings in its bay while it stood there, and those before that still held
/// when something was coated or levelled.
fn air(index: &Index<'_>, rows: &JobRows<'_>, as_of: Micros) -> Vec<StoryAir> {
    let mut told: BTreeMap<(Micros, Seq), &Reading<'_>> = BTreeMap::new();
    for stay in rows.presences.iter().filter(|p| labour::is_bay(&p.place)) {
        let span = Span::new(stay.from, stay.until.unwrap_or(as_of));
        let here = || index.air.iter().filter(|r| *r.bay == stay.place);
        let during = here().filter(|r| span.holds(r.at));
        told.extend(during.map(|r| ((r.at, r.seq), r)));
        let levelled = rows.coated.iter().flat_map(|c| {
            let levelled = index.levelled.get(&c.event).into_iter().flatten();
            levelled.map(|l| l.at).chain([c.at])
        });
        for at in levelled.filter(|at| span.holds(*at)) {
            let fresh = |r: &&Reading<'_>| r.at <= at && at.since(r.at) <= AIR_FRESH_US;
            let held = here().filter(fresh).max_by_key(|r| (r.at, r.seq));
            told.extend(held.map(|r| ((r.at, r.seq), r)));
        }
    }
    told.into_values()
        .map(|r| StoryAir {
            read: r.at,
            bay: r.bay.clone(),
            air: r.air,
            humidity: r.humidity,
            surface: r.surface,
            seq: r.seq,
        })
        .collect()
}

fn sections(index: &Index<'_>, rows: &JobRows<'_>) -> Vec<StorySection> {
    let mut coated = rows.coated.clone();
    coated.sort_by_key(|c| (c.at, c.seq));
    let section = |c: &CoatedRow| {
        let levelled = index.levelled.get(&c.event).map(Vec::as_slice);
        let levelled = levelled.unwrap_or_default();
        StorySection {
            panel: c.panel.clone(),
            section: c.section,
            layer: c.layer,
            finish: c.finish.clone(),
            product: c.product.clone(),
            lot: c.lot.clone(),
            coated: c.at,
            levelled: levelled
                .first()
                .zip(levelled.last())
                .map(|(first, last)| (first.at, last.result)),
            seqs: [c.seq]
                .into_iter()
                .chain(levelled.iter().map(|l| l.seq))
                .collect(),
        }
    };
    coated.into_iter().map(section).collect()
}
