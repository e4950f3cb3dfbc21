//! Dwell: a product is left to work, and its workers are free meanwhile.

use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::event::{JobKey, Seq};
use crate::notice::Notice;
use crate::row::{Ended, Row, Waiting, WaitingKind};
use crate::state::{Dwell, Hand};

use super::folding::Folding;
use super::stages;

/// A dwell begins: those on the job's stage, or those of them named, are free.
pub(crate) fn started(f: &mut Folding<'_>, product: &Code, panels: &[Code]) {
    let Some((key, _)) = f.open_job() else {
        return;
    };
    end_matching(f, key, |dwell| dwell.product == *product);
    let mut freed = stages::hands_on_job(f.state, key, &Code::new(""));
    if !f.by.is_empty() {
        freed.retain(|hand| f.by.contains(&hand.worker));
    }
    f.fill_by(&freed);
    let stages: Vec<Code> = freed
        .iter()
        .filter_map(|hand| stages::end(f, hand, Ended::Dwell))
        .map(|stretch| stretch.stage)
        .collect();
    let stage = match stages.first() {
        Some(stage) => stage.clone(),
        None => super::supplies::stage_in_progress(f.state, key, &f.by).0,
    };
    let given = f.snapshot.catalogue.products.get(product);
    let after = |us: Option<i64>| us.map(|us| Micros(f.at.0.saturating_add(us.max(0))));
    let day = f.snapshot.shop_day(f.at);
    let dwell = Dwell {
        product: product.clone(),
        panels: panels.to_vec(),
        begun: f.begun(),
        stage,
        freed,
        shortest_at: after(given.and_then(|p| p.dwell_shortest_us)),
        longest_at: after(given.and_then(|p| p.dwell_longest_us)),
        closing: day.closing,
        next_opening: day.next_opening,
    };
    if let Some(job) = f.state.jobs.get_mut(&key) {
        job.dwells.push(dwell);
    }
    super::surfaces::of_product(f, product, panels);
}

/// A dwell ends: those it set free who have started nothing else go on.
pub(crate) fn ended(f: &mut Folding<'_>, product: &Code) {
    let Some((key, _)) = f.open_job() else {
        return;
    };
    let ended = end_matching(f, key, |dwell| {
        product.is_empty() || dwell.product == *product
    });
    if ended.is_empty() {
        f.notice(Notice::NothingToEnd {
            stage: product.clone(),
        });
    }
    let mut index = 0;
    for dwell in ended {
        let Some((run, rework)) = stages::run_of(f.state, key, &dwell.stage) else {
            continue;
        };
        let waiting: Vec<Hand> = dwell
            .freed
            .into_iter()
            .filter(|h| !f.state.hands.contains_key(h) && !f.state.breaks.contains_key(h))
            .collect();
        f.fill_by(&waiting);
        for hand in waiting {
            stages::begin(f, &hand, (key, &dwell.stage, run, rework), index);
            index += 1;
        }
    }
}

/// Ends every dwell of a job, as a move or a release does.
pub(crate) fn end_all_of_job(f: &mut Folding<'_>, key: JobKey) {
    end_matching(f, key, |_| true);
}

/// Ends the dwells that began in a stage.
pub(crate) fn end_of_stage(f: &mut Folding<'_>, key: JobKey, stage: &Code) {
    end_matching(f, key, |dwell| dwell.stage == *stage);
}

fn end_matching(f: &mut Folding<'_>, key: JobKey, ends: impl Fn(&Dwell) -> bool) -> Vec<Dwell> {
    let Some(job) = f.state.jobs.get_mut(&key) else {
        return Vec::new();
    };
    let (ended, kept) = std::mem::take(&mut job.dwells)
        .into_iter()
        .partition::<Vec<Dwell>, _>(ends);
    job.dwells = kept;
    for dwell in &ended {
        if let Some(row) = waiting(key, dwell, f.at, Some(f.event.seq)) {
            f.out.push(Row::Waiting(row));
        }
        let over_us = dwell.longest_at.map(|l| f.at.0.saturating_sub(l.0));
        let under_us = dwell.shortest_at.map(|s| s.0.saturating_sub(f.at.0));
        if let Some(over_us) = over_us.filter(|us| *us > 0) {
            f.notice(Notice::DwellTooLong {
                product: dwell.product.clone(),
                over_us,
            });
        }
        if let Some(under_us) = under_us.filter(|us| *us > 0) {
            f.notice(Notice::DwellTooShort {
                product: dwell.product.clone(),
                under_us,
            });
        }
    }
    ended
}

/// The waiting of a dwell that ends at an instant, capped at the product's
/// longest dwell. `None` where there is none or it is left out.
pub(crate) fn waiting(
    key: JobKey,
    dwell: &Dwell,
    until: Micros,
    seq: Option<Seq>,
) -> Option<Waiting> {
    let until = dwell.longest_at.map_or(until, |longest| longest.min(until));
    (until > dwell.begun.at && !dwell.begun.is_left_out()).then(|| Waiting {
        job: key,
        kind: WaitingKind::Dwell,
        product: dwell.product.clone(),
        panel: dwell
            .panels
            .first()
            .cloned()
            .unwrap_or_else(|| Code::new("")),
        from: dwell.begun.at,
        until: Some(until),
        seq_from: dwell.begun.seq,
        seq_until: seq,
    })
}
