//! Codes that the catalogue does not know, and the code the owner meant.

use std::borrow::Cow;

use baywright_terms::catalogue::{Catalogue, UNSORTED, is_no_bay};
use baywright_terms::code::Code;

use crate::catalogues::{Snapshot, is_unknown};
use crate::event::{Event, JobRef};
use crate::fact::{Answer, Fact};
use crate::ledger::Entry;
use crate::notice::{Notice, What};

use super::folding::Folding;

/// The event with what the owner's settlement puts in: the job that was meant,
/// or a code in the place of the first unknown one.
pub(crate) fn as_settled<'a>(entry: &'a Entry, snapshot: &Snapshot) -> Cow<'a, Event> {
    let mut event = Cow::Borrowed(&entry.event);
    // The oldest first: each was given when the earlier ones held.
    for settled in entry.settled.iter().rev() {
        match &settled.answer {
            Answer::Job(job) => event.to_mut().job = *job,
            Answer::Code(code) => replace(event.to_mut(), snapshot, &settled.of, code),
            _ => {}
        }
    }
    event
}

/// Puts a code in the place of the unknown one that is named, else of the first.
fn replace(event: &mut Event, snapshot: &Snapshot, typed: &str, meant: &Code) {
    let is_meant = |what: What, code: &Code| {
        is_not_in(&snapshot.catalogue, what, code) && (typed.is_empty() || code.as_str() == typed)
    };
    let mut unknown = mentions(event)
        .into_iter()
        .filter(|(what, code)| is_meant(*what, code))
        .map(|(_, slot)| slot);
    if let Some(slot) = unknown.next() {
        slot.clone_from(meant);
        // The same slip in another place of one post is the same slip.
        if !typed.is_empty() {
            unknown.for_each(|slot| slot.clone_from(meant));
        }
        return;
    }
    // Only panels are left: they are known by the job alone.
    drop(unknown);
    replace_panel(&mut event.fact, typed, meant);
}

/// Notices every code that the catalogue, or the job for a panel, does not know.
pub(crate) fn check(f: &mut Folding<'_>) {
    let mut event = Cow::Borrowed(f.event);
    let catalogue = &f.snapshot.catalogue;
    let mut unknown: Vec<(What, Code)> = Vec::new();
    if mentions_any(f.event) {
        unknown = mentions(event.to_mut())
            .into_iter()
            .filter(|(what, code)| is_not_in(catalogue, *what, code))
            .map(|(what, code)| (what, code.clone()))
            .collect();
    }
    if let Some(job) = f.job.and_then(|key| f.state.jobs.get(&key))
        && !job.panels.is_empty()
    {
        let panels = panels(&f.event.fact)
            .filter(|code| !code.is_empty() && job.panels.iter().all(|p| p.code != **code))
            .map(|code| (What::Panel, code.clone()));
        unknown.extend(panels);
    }
    for (what, code) in unknown {
        f.notice(Notice::UnknownCode { what, code });
    }
}

fn is_not_in(catalogue: &Catalogue, what: What, code: &Code) -> bool {
    match what {
        What::Bay => is_unknown(&catalogue.bays, code),
        What::Place => is_unknown(&catalogue.bays, code) && !is_no_bay(code.as_str()),
        What::Worker => is_unknown(&catalogue.workers, code),
        What::Product => is_unknown(&catalogue.products, code),
        What::Stage => is_unknown(&catalogue.stages, code),
        What::JobType => is_unknown(&catalogue.job_types, code) && code.as_str() != UNSORTED,
        What::Panel => false,
    }
}

/// True where an event may mention a catalogue code at all.
fn mentions_any(event: &Event) -> bool {
    !matches!(
        event.fact,
        Fact::CatalogueSet { .. } | Fact::StruckOut { .. } | Fact::Settled(_)
    )
}

/// The catalogue codes of an event, the one most likely meant by a settlement first.
fn mentions(event: &mut Event) -> Vec<(What, &mut Code)> {
    let Event { bay, by, fact, .. } = event;
    let mut found: Vec<(What, &mut Code)> = match fact {
        Fact::JobOpened(opened) => vec![(What::JobType, &mut opened.job_type)],
        Fact::QuoteDrafted { asked, .. } | Fact::QuoteRevised { asked, .. } => {
            vec![(What::JobType, &mut asked.job_type)]
        }
        Fact::JobMoved { place } => vec![(What::Place, place)],
        Fact::StageStarted { stage, .. }
        | Fact::StagePaused { stage, .. }
        | Fact::StageResumed { stage }
        | Fact::StageFinished { stage, .. }
        | Fact::StageDeclared { stage, .. } => vec![(What::Stage, stage)],
        Fact::DwellStarted { product, .. }
        | Fact::DwellEnded { product, .. }
        | Fact::MixDumped { product, .. }
        | Fact::ProductRefilled { product, .. }
        | Fact::PanelCoated { product, .. }
        | Fact::StockReceived { product, .. }
        | Fact::StockCounted { product, .. } => vec![(What::Product, product)],
        Fact::ProductUsed(used) => vec![(What::Product, &mut used.product)],
        Fact::MixMade {
            product, additions, ..
        } => {
            let added = additions.iter_mut().map(|(code, _)| (What::Product, code));
            std::iter::once((What::Product, product))
                .chain(added)
                .collect()
        }
        _ => Vec::new(),
    };
    found.extend(by.iter_mut().map(|worker| (What::Worker, worker)));
    found.push((What::Bay, bay));
    found
}

fn panels(fact: &Fact) -> impl Iterator<Item = &Code> {
    let (many, one): (&[Code], Option<&Code>) = match fact {
        Fact::StageStarted { panels, .. }
        | Fact::DwellStarted { panels, .. }
        | Fact::DwellEnded { panels, .. } => (panels, None),
        Fact::ProductUsed(used) => (&used.panels, None),
        Fact::PanelCoated { panel, .. }
        | Fact::PanelLevelled { panel, .. }
        | Fact::PanelLamp { panel, .. }
        | Fact::PanelCured { panel }
        | Fact::SurfaceCovered { panel, .. }
        | Fact::FlawFound { panel, .. }
        | Fact::FlawRemedied { panel, .. } => (&[], Some(panel)),
        _ => (&[], None),
    };
    many.iter().chain(one)
}

fn replace_panel(fact: &mut Fact, typed: &str, code: &Code) {
    let many = match fact {
        Fact::StageStarted { panels, .. }
        | Fact::DwellStarted { panels, .. }
        | Fact::DwellEnded { panels, .. } => panels.as_mut_slice(),
        Fact::ProductUsed(used) => used.panels.as_mut_slice(),
        _ => &mut [],
    };
    for panel in many.iter_mut().filter(|panel| panel.as_str() == typed) {
        panel.clone_from(code);
    }
    if let Fact::PanelCoated { panel, .. }
    | Fact::PanelLevelled { panel, .. }
    | Fact::PanelLamp { panel, .. }
    | Fact::PanelCured { panel }
    | Fact::SurfaceCovered { panel, .. }
    | Fact::FlawFound { panel, .. }
    | Fact::FlawRemedied { panel, .. } = fact
        && (typed.is_empty() || panel.as_str() == typed)
    {
        panel.clone_from(code);
    }
}

/// True where the event leaves its job to the fold.
pub(crate) fn leaves_job_to_fold(event: &Event) -> bool {
    matches!(event.job, JobRef::Here)
}
