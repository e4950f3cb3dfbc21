//! Cautions before the step: which product and stage may not touch which
//! finish of this vehicle, and whether the air is fit for coating.
//!
//! Everything said here defers to the product's safety data sheet, local codes
//! and licensed practice.

use baywright_terms::air::{AirAssessment, RangeStanding};
use baywright_terms::catalogue::{Panel, Product, Standing};
use baywright_terms::code::Code;
use baywright_terms::surface::{
    Covered, Rule, by_finish, rules_for_product, rules_for_stage, rules_for_vehicle,
};
use baywright_terms::temperature::{MilliCelsius, MilliPercent};

use crate::event::JobKey;
use crate::notice::{AirWhy, Notice};
use crate::row::Row;
use crate::state::{Job, Reading};

use super::folding::Folding;

/// A finish or panel is masked or left out: no rule holds there any more.
pub(crate) fn covered(f: &mut Folding<'_>, finish: &Code, panel: &Code, left_out: bool) {
    if f.left_out() {
        return;
    }
    let seq = f.event.seq;
    let Some((key, job)) = f.open_job() else {
        return;
    };
    if !finish.is_empty() {
        job.covered_finishes.insert(finish.clone());
    }
    if !panel.is_empty() {
        job.covered_panels.insert(panel.clone());
    }
    f.out.push(Row::Covered {
        job: key,
        finish: finish.clone(),
        panel: panel.clone(),
        left_out,
        seq,
    });
}

fn covered_of(job: &Job) -> Covered {
    Covered {
        finishes: job.covered_finishes.iter().cloned().collect(),
        panels: job.covered_panels.iter().cloned().collect(),
    }
}

/// Says, when a vehicle comes in, what it must never get: a line for each finish.
pub(crate) fn nevers_of_vehicle(f: &mut Folding<'_>, key: JobKey) {
    let Some(job) = f.state.jobs.get(&key) else {
        return;
    };
    let catalogue = &f.snapshot.catalogue;
    let job_type = catalogue.job_types.get(&job.job_type);
    let rules = rules_for_vehicle(catalogue, job_type, &job.panels, &covered_of(job));
    for of_finish in by_finish(&rules) {
        if !of_finish.nevers.is_empty() {
            f.notice(Notice::FinishNevers {
                finish: of_finish.finish,
                panels: of_finish.panels,
                nevers: of_finish.nevers,
                whys: of_finish.whys,
            });
        }
    }
}

/// Says, when a stage first starts on a job, what it may not touch, and the
/// stage's caution. What is repeated at every post is soon read at none.
pub(crate) fn of_stage(f: &mut Folding<'_>, key: JobKey, code: &Code, panels: &[Code]) {
    let Some(stage) = f.snapshot.catalogue.stages.get(code) else {
        return;
    };
    let Some(job) = f.state.jobs.get_mut(&key) else {
        return;
    };
    let first = job.cautioned_stages.insert(code.clone());
    let touched = touched(job, panels);
    let rules = rules_for_stage(code, stage, &touched, &covered_of(job));
    say(f, code, rules, !panels.is_empty(), first);
    if first && !stage.caution.is_empty() {
        f.notice(Notice::Caution {
            what: code.clone(),
            text: stage.caution.clone(),
            sds: String::new(),
        });
    }
}

/// Says what a product may not touch on the event's job, and its caution, when
/// it is first used there.
pub(crate) fn of_product(f: &mut Folding<'_>, code: &Code, panels: &[Code]) {
    let Some(product) = f.snapshot.catalogue.products.get(code) else {
        return;
    };
    let mut first = true;
    if let Some(job) = f.job.and_then(|key| f.state.jobs.get_mut(&key)) {
        first = job.cautioned_products.insert(code.clone());
        let touched = touched(job, panels);
        let rules = rules_for_product(code, product, &touched, &covered_of(job));
        say(f, code, rules, !panels.is_empty(), first);
    }
    if first && !product.caution.is_empty() {
        f.notice(Notice::Caution {
            what: code.clone(),
            text: product.caution.clone(),
            sds: product.sds.clone(),
        });
    }
}

/// The panels named, else all of the vehicle.
fn touched(job: &Job, panels: &[Code]) -> Vec<Panel> {
    job.panels
        .iter()
        .filter(|p| panels.is_empty() || panels.contains(&p.code))
        .cloned()
        .collect()
}

/// A *never* on a panel that the post itself names has happened and is odd;
/// those on the vehicle at large are a caution, said the first time and first.
fn say(f: &mut Folding<'_>, what: &Code, rules: Vec<Rule>, named: bool, first: bool) {
    let (nevers, others): (Vec<Rule>, Vec<Rule>) = rules
        .into_iter()
        .partition(|r| r.standing == Standing::Never);
    if named {
        for rule in &nevers {
            for panel in &rule.panels {
                f.notice(Notice::AgainstRule {
                    what: what.clone(),
                    panel: panel.clone(),
                    finish: rule.finish.clone(),
                    why: rule.why.clone(),
                });
            }
        }
    } else if first && !nevers.is_empty() {
        f.notice(Notice::SurfaceNever {
            what: what.clone(),
            finishes: nevers.into_iter().map(|r| (r.finish, r.why)).collect(),
        });
    }
    if !first {
        return;
    }
    for rule in others.into_iter().filter(|r| r.standing == Standing::Care) {
        f.notice(Notice::SurfaceCare {
            what: rule.what,
            finish: rule.finish,
            why: rule.why,
        });
    }
}

/// Says where the surface is too close to the dew point or out of the
/// product's own range.
pub(crate) fn air(f: &mut Folding<'_>, code: &Code, reading: &Reading) {
    let product = f.snapshot.catalogue.products.get(code);
    let read = (reading.air, reading.humidity);
    for why in air_unfit(product, read, reading.surface) {
        f.notice(Notice::AirUnfit {
            product: code.clone(),
            why,
        });
    }
}

/// Why coating in this air does not fit: the surface is too close to the dew
/// point (ISO 8502-4 practice), or out of the product's own range. Nothing
/// where the surface was not read.
pub fn air_unfit(
    product: Option<&Product>,
    (air, humidity): (MilliCelsius, MilliPercent),
    surface: Option<MilliCelsius>,
) -> Vec<AirWhy> {
    let mut whys = Vec::new();
    let Some(surface) = surface else {
        return whys;
    };
    let lowest = product.and_then(|p| p.surface_lowest);
    let highest = product.and_then(|p| p.surface_highest);
    let found = AirAssessment::new(air, humidity, Some(surface), lowest, highest);
    if found.dew_margin_holds == Some(false)
        && let Some(margin_c) = found.dew_margin_c
    {
        whys.push(AirWhy::DewMargin {
            margin_milli_c: milli(margin_c),
        });
    }
    match (found.range, lowest, highest) {
        (RangeStanding::Below, Some(lowest), _) => whys.push(AirWhy::TooCold {
            surface_milli_c: surface.0,
            lowest_milli_c: lowest.0,
        }),
        (RangeStanding::Above, _, Some(highest)) => whys.push(AirWhy::TooWarm {
            surface_milli_c: surface.0,
            highest_milli_c: highest.0,
        }),
        _ => {}
    }
    whys
}

/// Thousandths of a degree, for a sentence; stopped at a thousand degrees.
fn milli(celsius: f64) -> i32 {
    let milli = (celsius * 1000.0).round().clamp(-1e6, 1e6);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "clamped to a million, and not-a-number casts to zero"
    )]
    let milli = milli as i32;
    milli
}
