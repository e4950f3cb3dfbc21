//! Coated panels: air that did not fit, cures under way, how sections came out.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::JobKey;
use baywright_floor::fact::LevelResult;
use baywright_floor::row::CoatedRow;
use baywright_floor::step;
use baywright_terms::code::Code;
use baywright_terms::temperature::MilliCelsius;
use baywright_terms::time::Micros;

use crate::figures::{AirOut, CureUnderWay, ReworkGroup};
use crate::input::{Index, JobRows};
use crate::labour::count;
use crate::span::Span;
use crate::story::place_at;

/// Sections coated in `span` in air that did not fit, in order of time: by the
/// very rule that warned at the bay, on the reading that was fresh then.
/// Nothing is said of a section without a reading of its surface.
pub(crate) fn air_out(index: &Index<'_>, catalogues: &Catalogues, span: Span) -> Vec<AirOut> {
    let mut out = Vec::new();
    for (job, rows, coated) in coated_in(index, span) {
        let Some(read) = coated.air.zip(coated.humidity) else {
            continue;
        };
        let snapshot = catalogues.at(coated.at);
        let product = snapshot.catalogue.products.get(&coated.product);
        for why in step::air_unfit(product, read, coated.surface) {
            out.push(AirOut {
                job,
                job_number: index.number(job),
                panel: coated.panel.clone(),
                product: coated.product.clone(),
                coated: coated.at,
                bay: place_at(rows, coated.at),
                why,
                seq: coated.seq,
            });
        }
    }
    // Stable, so that two whys of one section keep their order.
    out.sort_by_key(|air| (air.coated, air.seq));
    out
}

/// Jobs with a panel whose water-safe or full cure is still ahead at `as_of`,
/// the soonest first, by the labels in force when they were coated.
///
/// A panel that somebody found cured is taken as water-safe. Its full cure goes
/// on by the label: nobody can see that one, and a lamp never shortens it. Jobs
/// that have left are listed too, since the customer has to keep them dry.
pub(crate) fn cures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    as_of: Micros,
) -> Vec<CureUnderWay> {
    let mut cures: Vec<CureUnderWay> = index
        .jobs
        .iter()
        .filter_map(|(job, rows)| cure(*job, rows, catalogues, as_of))
        .collect();
    cures.sort_by_key(|c| {
        let next = c.water_safe.or(c.full_cure);
        (next, c.full_cure, c.job_number, c.job)
    });
    cures
}

fn cure(
    job: JobKey,
    rows: &JobRows<'_>,
    catalogues: &Catalogues,
    as_of: Micros,
) -> Option<CureUnderWay> {
    let mut panels: BTreeMap<&Code, (Option<Micros>, Option<Micros>)> = BTreeMap::new();
    for coated in rows.coated.iter().filter(|c| c.at <= as_of) {
        let snapshot = catalogues.at(coated.at);
        let Some(product) = snapshot.catalogue.products.get(&coated.product) else {
            continue;
        };
        let ahead = |us: Option<i64>| {
            let at = coated.at.saturating_add(us?.max(0));
            (as_of < at).then_some(at)
        };
        let found = |(panel, at): &&(&Code, Micros)| {
            *panel == &coated.panel && coated.at <= *at && *at <= as_of
        };
        let found_cured = rows.cured.iter().any(|cured| found(&cured));
        let water_safe = ahead(product.water_safe_us).filter(|_| !found_cured);
        let (wet, soft) = panels.entry(&coated.panel).or_default();
        *wet = (*wet).max(water_safe);
        *soft = (*soft).max(ahead(product.full_cure_us));
    }
    panels.retain(|_, (wet, soft)| wet.is_some() || soft.is_some());
    if panels.is_empty() {
        return None;
    }
    let opened = rows.opened;
    Some(CureUnderWay {
        job,
        job_number: opened.and_then(|o| o.number),
        handle: opened.map(|o| o.handle.clone()).unwrap_or_default(),
        vehicle: opened.map(|o| o.vehicle.clone()).unwrap_or_default(),
        water_safe: panels.values().filter_map(|(wet, _)| *wet).max(),
        full_cure: panels.values().filter_map(|(_, soft)| *soft).max(),
        panels: count(panels.len()),
    })
}

/// Sections coated in `span` by product and lot, and how they came out: by the
/// latest word on each, since a high spot may be found later.
pub(crate) fn rework_groups(index: &Index<'_>, span: Span) -> Vec<ReworkGroup> {
    let mut groups: BTreeMap<(&Code, &str), ReworkGroup> = BTreeMap::new();
    for (_, _, coated) in coated_in(index, span) {
        let key = (&coated.product, coated.lot.as_str());
        let group = groups.entry(key).or_insert_with(|| ReworkGroup {
            product: coated.product.clone(),
            lot: coated.lot.clone(),
            sections: 0,
            smeared: 0,
            high_spots: 0,
            lowest: None,
            highest: None,
        });
        group.sections = group.sections.saturating_add(1);
        let levelled = index.levelled.get(&coated.event);
        match levelled.and_then(|l| l.last()).map(|l| l.result) {
            Some(LevelResult::Smeared) => group.smeared = group.smeared.saturating_add(1),
            Some(LevelResult::HighSpot) => group.high_spots = group.high_spots.saturating_add(1),
            Some(LevelResult::Clean) | None => {}
        }
        if let Some(read) = coated.surface.or(coated.air) {
            let colder = |t: MilliCelsius| t.min(read);
            let warmer = |t: MilliCelsius| t.max(read);
            group.lowest = Some(group.lowest.map_or(read, colder));
            group.highest = Some(group.highest.map_or(read, warmer));
        }
    }
    groups.into_values().collect()
}

/// The sections coated in a span, with their jobs.
fn coated_in<'i, 'a>(
    index: &'i Index<'a>,
    span: Span,
) -> impl Iterator<Item = (JobKey, &'i JobRows<'a>, &'a CoatedRow)> {
    index.jobs.iter().flat_map(move |(job, rows)| {
        let coated = rows.coated.iter().filter(move |c| span.holds(c.at));
        coated.map(move |coated| (*job, rows, *coated))
    })
}
