//! Panels: sections spread, levelled, lamped and cured; flaws.

use baywright_terms::code::Code;
use baywright_terms::temperature::MilliCelsius;
use baywright_terms::time::{HOUR_US, Micros};
use baywright_terms::window::{Window, levelling_window};

use crate::catalogues::Snapshot;
use crate::event::{EventId, JobKey, Seq};
use crate::fact::LevelResult;
use crate::notice::Notice;
use crate::row::{CoatedRow, Row, Waiting, WaitingKind};
use crate::state::{Cure, Job, Lamp, Section};

use super::folding::Folding;
use super::{AIR_FRESH_US, FLASH_LONGEST_US, surfaces};

/// A panel whose sections are all levelled gets a new layer, not a further
/// section, when it is spread again after this long: sections of one layer
/// follow each other within minutes, layers take an hour and more (common
/// practice). A post that names its layer or section is taken at its word.
const NEW_LAYER_AFTER_US: i64 = HOUR_US;

/// What a `panel_coated` says.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spread<'a> {
    pub(crate) panel: &'a Code,
    pub(crate) section: u32,
    pub(crate) product: &'a Code,
    pub(crate) lot: &'a str,
    pub(crate) layer: u32,
}

/// A section is spread: it flashes until it is levelled, and its panel stays
/// wet until water-safe. A product whose label gives no water-safe time makes
/// no cure waiting: nobody knows how long it would be.
pub(crate) fn coated(f: &mut Folding<'_>, spread: &Spread<'_>) {
    if f.left_out() {
        return;
    }
    let at = f.at;
    let Some((key, job)) = f.open_job() else {
        return;
    };
    let finish = finish_of(job, spread.panel);
    let (section, layer) = count(job, spread, at);
    let bay = f.work_bay(key);
    let fresh = f
        .state
        .air
        .get(&bay)
        .filter(|r| f.at.0.saturating_sub(r.at.0) <= AIR_FRESH_US)
        .cloned();
    let product = f.snapshot.catalogue.products.get(spread.product);
    let later = |us: i64| Micros(f.at.0.saturating_add(us.max(0)));
    let water_safe = product.and_then(|p| p.water_safe_us).map(later);
    let flash_until = water_safe.unwrap_or_else(|| {
        let label = product.and_then(|p| p.level_until_us);
        later(label.unwrap_or(FLASH_LONGEST_US))
    });
    let begun = f.begun();
    f.out.push(Row::Coated(CoatedRow {
        event: f.event.id,
        seq: f.event.seq,
        job: key,
        panel: spread.panel.clone(),
        section,
        finish: finish.clone(),
        product: spread.product.clone(),
        lot: spread.lot.to_owned(),
        layer,
        at: f.at,
        air: fresh.as_ref().map(|r| r.air),
        humidity: fresh.as_ref().map(|r| r.humidity),
        surface: fresh.as_ref().and_then(|r| r.surface),
    }));
    if let Some(job) = f.state.jobs.get_mut(&key) {
        if let Some(until) = water_safe {
            let cure = job
                .cures
                .entry(spread.panel.clone())
                .or_insert_with(|| Cure {
                    begun: begun.clone(),
                    product: spread.product.clone(),
                    levelled: None,
                    until,
                });
            cure.until = cure.until.max(until);
            cure.product = spread.product.clone();
        }
        job.sections.push(Section {
            begun,
            panel: spread.panel.clone(),
            section,
            finish,
            product: spread.product.clone(),
            layer,
            levelled: None,
            flash_until: Some(flash_until),
            air: fresh.as_ref().map(|r| (r.air, r.humidity)),
            surface: fresh.as_ref().and_then(|r| r.surface),
        });
    }
    surfaces::of_product(f, spread.product, std::slice::from_ref(spread.panel));
    if let Some(reading) = fresh {
        surfaces::air(f, spread.product, &reading);
    }
}

fn finish_of(job: &Job, panel: &Code) -> Code {
    job.panels
        .iter()
        .find(|p| p.code == *panel)
        .map_or_else(|| Code::new(""), |p| p.finish.clone())
}

/// Section and layer, counted where the post leaves them out.
fn count(job: &Job, spread: &Spread<'_>, at: Micros) -> (u32, u32) {
    let of_panel = || job.sections.iter().filter(|s| s.panel == *spread.panel);
    let current = of_panel().map(|s| s.layer).max();
    let layer = match (spread.layer, current) {
        (0, None) => 1,
        (0, Some(current)) => {
            let mut sections = of_panel().filter(|s| s.layer == current);
            let named_again =
                spread.section > 0 && sections.clone().any(|s| s.section == spread.section);
            let all_levelled = sections.clone().all(|s| s.levelled.is_some());
            let rested = sections.all(|s| at.0.saturating_sub(s.begun.at.0) >= NEW_LAYER_AFTER_US);
            if named_again || (spread.section == 0 && all_levelled && rested) {
                current.saturating_add(1)
            } else {
                current
            }
        }
        (layer, _) => layer,
    };
    let section = match spread.section {
        0 => of_panel()
            .filter(|s| s.layer == layer)
            .map(|s| s.section)
            .max()
            .unwrap_or(0)
            .saturating_add(1),
        section => section,
    };
    (section, layer)
}

/// A section is levelled, or its outcome amended.
pub(crate) fn levelled(
    f: &mut Folding<'_>,
    panel: &Code,
    section: u32,
    result: LevelResult,
    amends: bool,
) {
    if f.left_out() {
        return;
    }
    let (at, seq) = (f.at, f.event.seq);
    let Some(key) = f.job else { return };
    let Some(job) = f.state.jobs.get_mut(&key) else {
        if f.event.job == crate::event::JobRef::Here {
            return;
        }
        f.notice(Notice::NothingToLevel {
            panel: panel.clone(),
        });
        return;
    };
    let mut matching = job.sections.iter_mut().filter(|s| {
        s.levelled.is_some() == amends
            && (panel.is_empty() || s.panel == *panel)
            && (section == 0 || s.section == section)
    });
    // Levelling meets the section that has waited longest; amending, the last levelled.
    let found = if amends {
        matching.last()
    } else {
        matching.next()
    };
    let Some(found) = found else {
        f.notice(Notice::NothingToLevel {
            panel: panel.clone(),
        });
        return;
    };
    found.levelled = Some(result);
    let coated = found.begun.event;
    let of_panel = found.panel.clone();
    let that = panel.is_empty().then(|| Notice::LevelledThat {
        panel: found.panel.clone(),
        section: found.section,
        after_us: at.since(found.begun.at),
    });
    let flash = flash_row(key, found, at, Some(seq));
    found.flash_until = None;
    if !amends && let Some(cure) = job.cures.get_mut(&of_panel) {
        cure.levelled.get_or_insert(at);
    }
    f.out.push(Row::Levelled {
        coated,
        job: key,
        at,
        result,
        seq,
    });
    f.out.extend(flash.map(Row::Waiting));
    if let Some(that) = that {
        f.notice(that);
    }
}

/// Flash waiting of a section that ends at an instant or at its cap.
pub(crate) fn flash_row(
    key: JobKey,
    section: &Section,
    until: Micros,
    seq: Option<Seq>,
) -> Option<Waiting> {
    let until = section.flash_until?.min(until);
    (until > section.begun.at).then(|| Waiting {
        job: key,
        kind: WaitingKind::Flash,
        product: section.product.clone(),
        panel: section.panel.clone(),
        from: section.begun.at,
        until: Some(until),
        seq_from: section.begun.seq,
        seq_until: seq,
    })
}

/// Cure waiting of a panel: from when it was first levelled, else spread.
pub(crate) fn cure_row(
    key: JobKey,
    panel: &Code,
    cure: &Cure,
    until: Micros,
    seq: Option<Seq>,
) -> Option<Waiting> {
    let from = cure.levelled.unwrap_or(cure.begun.at);
    let until = cure.until.min(until);
    (until > from).then(|| Waiting {
        job: key,
        kind: WaitingKind::Cure,
        product: cure.product.clone(),
        panel: panel.clone(),
        from,
        until: Some(until),
        seq_from: cure.begun.seq,
        seq_until: seq,
    })
}

pub(crate) fn lamp_row(
    key: JobKey,
    lamp: &Lamp,
    until: Micros,
    seq: Option<Seq>,
) -> Option<Waiting> {
    let until = lamp.until.min(until);
    (until > lamp.begun.at).then(|| Waiting {
        job: key,
        kind: WaitingKind::Lamp,
        product: Code::new(""),
        panel: lamp.panel.clone(),
        from: lamp.begun.at,
        until: Some(until),
        seq_from: lamp.begun.seq,
        seq_until: seq,
    })
}

/// A lamp shines on a panel for a while. It never shortens the cure.
pub(crate) fn lamp(
    f: &mut Folding<'_>,
    panel: &Code,
    duration_us: i64,
    surface: Option<MilliCelsius>,
) {
    if f.left_out() {
        return;
    }
    let begun = f.begun();
    let (at, seq) = (f.at, f.event.seq);
    let until = Micros(at.0.saturating_add(duration_us.max(0)));
    let Some((key, job)) = f.open_job() else {
        return;
    };
    let mut ended = Vec::new();
    job.lamps.retain(|lamp| {
        let same = lamp.panel == *panel;
        if same {
            ended.extend(lamp_row(key, lamp, at, Some(seq)));
        }
        !same
    });
    job.lamps.push(Lamp {
        begun,
        panel: panel.clone(),
        until,
    });
    f.out.extend(ended.into_iter().map(Row::Waiting));
    f.out.push(Row::Lamp {
        job: key,
        panel: panel.clone(),
        from: at,
        until,
        surface,
        seq,
    });
}

/// Somebody found a panel, or every coated one, cured: its waiting ends.
pub(crate) fn cured(f: &mut Folding<'_>, panel: &Code) {
    if f.left_out() {
        return;
    }
    let (at, seq) = (f.at, f.event.seq);
    let Some((key, job)) = f.open_job() else {
        return;
    };
    let mut panels: Vec<Code> = if panel.is_empty() {
        job.sections.iter().map(|s| s.panel.clone()).collect()
    } else {
        vec![panel.clone()]
    };
    panels.sort_unstable();
    panels.dedup();
    let mut rows = Vec::new();
    for panel in panels {
        if let Some(cure) = job.cures.remove(&panel) {
            rows.extend(cure_row(key, &panel, &cure, at, Some(seq)).map(Row::Waiting));
        }
        rows.push(Row::Cured {
            job: key,
            panel,
            at,
            seq,
        });
    }
    f.out.append(&mut rows);
}

/// Lamps stay in the bay when the job leaves it.
pub(crate) fn end_lamps_of_job(f: &mut Folding<'_>, key: JobKey) {
    let (at, seq) = (f.at, Some(f.event.seq));
    if let Some(job) = f.state.jobs.get_mut(&key) {
        for lamp in std::mem::take(&mut job.lamps) {
            f.out
                .extend(lamp_row(key, &lamp, at, seq).map(Row::Waiting));
        }
    }
}

/// Ends all waiting of panels, as the release does.
pub(crate) fn end_all_of_job(f: &mut Folding<'_>, key: JobKey) {
    end_lamps_of_job(f, key);
    let (at, seq) = (f.at, Some(f.event.seq));
    let Some(job) = f.state.jobs.get_mut(&key) else {
        return;
    };
    for section in &mut job.sections {
        let row = flash_row(key, section, at, seq);
        section.flash_until = None;
        f.out.extend(row.map(Row::Waiting));
    }
    for (panel, cure) in std::mem::take(&mut job.cures) {
        let row = cure_row(key, &panel, &cure, at, seq);
        f.out.extend(row.map(Row::Waiting));
    }
}

/// A flaw is found: there before, or made here.
pub(crate) fn flaw_found(
    f: &mut Folding<'_>,
    panel: &Code,
    flaw: &str,
    existing: bool,
    photo: &str,
) {
    if f.left_out() {
        return;
    }
    let Some(key) = f.job else { return };
    let event = f.event.id;
    if let Some(job) = f.state.jobs.get_mut(&key) {
        job.flaws.push((event, panel.clone()));
    }
    f.out.push(Row::FlawFound {
        job: key,
        event,
        panel: panel.clone(),
        flaw: flaw.to_owned(),
        existing,
        photo: photo.to_owned(),
        at: f.at,
        seq: f.event.seq,
    });
}

/// A flaw is put right: the one named, else the latest on that panel.
pub(crate) fn flaw_remedied(f: &mut Folding<'_>, panel: &Code, found: Option<EventId>) {
    if f.left_out() {
        return;
    }
    let Some(key) = f.job else { return };
    let mut remedied = found;
    if let Some(job) = f.state.jobs.get_mut(&key) {
        let index = job.flaws.iter().rposition(|(event, on)| match found {
            Some(found) => *event == found,
            None => panel.is_empty() || on == panel,
        });
        if let Some(index) = index {
            remedied = Some(job.flaws.remove(index).0);
        }
    }
    f.out.push(Row::FlawRemedied {
        job: key,
        found: remedied,
        panel: panel.clone(),
        at: f.at,
        seq: f.event.seq,
    });
}

/// When a section may be levelled, by its product's label or common practice,
/// in the air that was read.
pub fn window_of(coated: &CoatedRow, snapshot: &Snapshot) -> Window {
    let air = coated.air.zip(coated.humidity);
    section_window(
        &coated.finish,
        &coated.product,
        air,
        coated.surface,
        snapshot,
    )
}

pub(crate) fn section_window(
    finish: &Code,
    product: &Code,
    air: Option<(MilliCelsius, baywright_terms::temperature::MilliPercent)>,
    surface: Option<MilliCelsius>,
    snapshot: &Snapshot,
) -> Window {
    let label = snapshot
        .catalogue
        .products
        .get(product)
        .and_then(|p| p.level_from_us.zip(p.level_until_us));
    let at_surface_pct = air.zip(surface).map(|((air, humidity), surface)| {
        baywright_terms::air::humidity_at_surface_pct(air.to_c(), humidity.to_pct(), surface.to_c())
    });
    levelling_window(
        finish.as_str(),
        surface.map(MilliCelsius::to_c),
        at_surface_pct,
        label,
    )
}
