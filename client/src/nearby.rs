//! What this bay can tell by itself while the daemon is away: the job in the
//! bay, its panels, the last air, and the rules that follow from them.

use baywright_proto::amount::panel_from_wire;
use baywright_proto::v1;
use baywright_proto::v1::fact::{Kind, Occurred};
use baywright_proto::v1::job_ref::Job;
use baywright_terms::air::humidity_at_surface_pct;
use baywright_terms::catalogue::{Catalogue, Panel, Standing};
use baywright_terms::code::Code;
use baywright_terms::surface::{
    Covered, Rule, rules_for_product, rules_for_stage, rules_for_vehicle,
};
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::FUTURE_SLACK_US;
use baywright_terms::window::{WhyUnknown, Window, levelling_window};
use prost::Message as _;

use crate::context::Context;
use crate::spool::{EventId, Standing as PostStanding, event_id};

/// A job as far as this bay knows it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    pub job_type: String,
    pub panels: Vec<Panel>,
    pub covered: Covered,
}

/// A fact of this bay.
struct Own {
    event_id: EventId,
    fact: v1::Fact,
    /// When the daemon says that it happened; `None`: it does not have it yet.
    occurred_us: Option<i64>,
}

/// The facts this bay posted, oldest first, without those that were refused.
fn own_facts(context: &Context) -> Vec<Own> {
    let Ok(device) = context.device() else {
        return Vec::new();
    };
    let posts = device.spool().posts();
    posts
        .all()
        .iter()
        .filter(|e| !matches!(e.standing, PostStanding::Withdrawn { .. }))
        .filter_map(|e| {
            Some(Own {
                event_id: e.event_id,
                fact: v1::Fact::decode(&*e.fact).ok()?,
                occurred_us: match e.standing {
                    PostStanding::Waiting => None,
                    PostStanding::Acknowledged { occurred_us, .. } => Some(occurred_us),
                    _ => Some(e.created_us),
                },
            })
        })
        .collect()
}

/// The job of a reference, or the one in this bay; from the floor as last seen
/// and from what this bay posted itself.
pub fn job(context: &Context, named: Option<&v1::JobRef>) -> Option<Known> {
    let facts = own_facts(context);
    let now = context.cache().now();
    let wanted = named
        .and_then(|j| j.job.clone())
        .or_else(|| brought_here(context, &facts, now.as_ref()))
        .or_else(|| only_job_here(context, now.as_ref()))?;
    let mut known = opened_here(&facts, &wanted)
        .or_else(|| seen_on_floor(now.as_ref(), &wanted))
        .unwrap_or_default();
    known.covered = covered(&facts, &wanted);
    if known.panels.is_empty()
        && let Some(held) = context.catalogue()
        && let Some(job_type) = held.catalogue.job_types.get(known.job_type.as_str())
    {
        known.panels.clone_from(&job_type.panels);
    }
    Some(known)
}

/// The job this bay brought in last, since the floor was last seen.
fn brought_here(context: &Context, facts: &[Own], now: Option<&v1::NowResponse>) -> Option<Job> {
    // The daemon's clock alone: this device's may be wrong.
    let seen_us = now.map_or(i64::MIN, |n| n.as_of_us);
    let is_later = |own: &Own| own.occurred_us.is_none_or(|at_us| at_us > seen_us);
    facts.iter().rev().find_map(|own| match &own.fact.kind {
        Some(Kind::JobMoved(moved)) if moved.place == context.bay() && is_later(own) => {
            own.fact.job.as_ref()?.job.clone()
        }
        _ => None,
    })
}

fn only_job_here(context: &Context, now: Option<&v1::NowResponse>) -> Option<Job> {
    let bay = now?.bays.iter().find(|b| b.bay == context.bay())?;
    match bay.jobs.as_slice() {
        [only] => Some(job_of(only)),
        _ => None,
    }
}

/// How a job on the floor is named in a fact.
pub fn job_of(job: &v1::NowJob) -> Job {
    if job.number > 0 {
        Job::Number(job.number)
    } else {
        Job::OpeningEventId(job.opening_event_id.clone())
    }
}

fn opened_here(facts: &[Own], wanted: &Job) -> Option<Known> {
    let Job::OpeningEventId(opening) = wanted else {
        return None;
    };
    let opening = event_id(opening)?;
    facts.iter().find_map(|own| match &own.fact.kind {
        Some(Kind::JobOpened(opened)) if own.event_id == opening => Some(Known {
            job_type: opened.job_type.clone(),
            panels: opened.panels.iter().map(panel_from_wire).collect(),
            covered: Covered::default(),
        }),
        _ => None,
    })
}

fn seen_on_floor(now: Option<&v1::NowResponse>, wanted: &Job) -> Option<Known> {
    let now = now?;
    let jobs = now.bays.iter().flat_map(|b| &b.jobs).chain(&now.elsewhere);
    let mut jobs = jobs.filter(|job| match wanted {
        Job::Number(number) => job.number == *number,
        Job::OpeningEventId(id) => job.opening_event_id == *id,
    });
    jobs.next().map(|job| Known {
        job_type: job.job_type.clone(),
        ..Known::default()
    })
}

fn covered(facts: &[Own], wanted: &Job) -> Covered {
    let mut covered = Covered::default();
    for Own { fact, .. } in facts {
        if let Some(Kind::SurfaceCovered(cover)) = &fact.kind
            && fact.job.as_ref().and_then(|j| j.job.as_ref()) == Some(wanted)
        {
            if !cover.finish.is_empty() {
                covered.finishes.push(Code::new(&cover.finish));
            }
            if !cover.panel.is_empty() {
                covered.panels.push(Code::new(&cover.panel));
            }
        }
    }
    covered
}

/// What may not touch this vehicle, when it comes in: the nevers alone.
pub fn cautions_of_vehicle(catalogue: &Catalogue, known: &Known) -> Vec<String> {
    let job_type = catalogue.job_types.get(known.job_type.as_str());
    rules_for_vehicle(catalogue, job_type, &known.panels, &known.covered)
        .iter()
        .filter(|r| r.standing == Standing::Never)
        .map(rule_words)
        .collect()
}

/// What a stage may not touch on this vehicle, and its own caution.
pub fn cautions_of_stage(catalogue: &Catalogue, known: &Known, stage: &str) -> Vec<String> {
    let Some(entry) = catalogue.stages.get(stage) else {
        return Vec::new();
    };
    let code = Code::new(stage);
    let rules = rules_for_stage(&code, entry, &known.panels, &known.covered);
    let own = own_caution(stage, &entry.caution, "");
    rules.iter().map(rule_words).chain(own).collect()
}

/// What a product may not touch on this vehicle, and its own caution.
pub fn cautions_of_product(catalogue: &Catalogue, known: &Known, product: &str) -> Vec<String> {
    let Some(entry) = catalogue.products.get(product) else {
        return Vec::new();
    };
    let code = Code::new(product);
    let rules = rules_for_product(&code, entry, &known.panels, &known.covered);
    let own = own_caution(product, &entry.caution, &entry.sds);
    rules.iter().map(rule_words).chain(own).collect()
}

/// In the words the daemon uses: `Never decon on leather (seat): it shrinks.`
fn rule_words(rule: &Rule) -> String {
    let standing = match rule.standing {
        Standing::Never => "Never",
        Standing::Care | Standing::Fine => "Care with",
    };
    let panels: Vec<&str> = rule.panels.iter().map(Code::as_str).collect();
    format!(
        "{standing} {} on {} ({}): {}.",
        rule.what,
        rule.finish,
        panels.join(", "),
        rule.why.trim_end_matches('.')
    )
}

/// A stage's or product's own caution, and where its safety data sheet is.
fn own_caution(code: &str, caution: &str, sds: &str) -> Option<String> {
    if caution.is_empty() {
        return None;
    }
    let sheet = if sds.is_empty() {
        String::new()
    } else {
        format!(" ({sds})")
    };
    Some(format!(
        "Caution with {code}: {caution} Follow its safety data sheet{sheet} and local codes."
    ))
}

/// The last air this bay knows of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Air {
    pub air: MilliCelsius,
    pub humidity: MilliPercent,
    pub surface: Option<MilliCelsius>,
    /// How long ago it was read, as far as this device's clocks can tell.
    pub age_us: i64,
}

/// A reading is of this hour at most; after it the window says it has none.
const AIR_AGE_US_MAX: i64 = 60 * 60 * 1_000_000;

/// The latest reading in this bay, from the floor as last seen or from here.
pub fn last_air(context: &Context) -> Option<Air> {
    let own = own_facts(context)
        .iter()
        .rev()
        .find_map(|Own { fact, .. }| {
            let Some(Kind::AmbientRead(read)) = &fact.kind else {
                return None;
            };
            (fact.bay == context.bay()).then(|| Air {
                air: MilliCelsius(read.air_milli_c),
                humidity: MilliPercent(read.humidity_milli_pct),
                surface: read.surface_milli_c.map(MilliCelsius),
                age_us: age_us(fact, &context.clocks.sample()),
            })
        });
    let now = context.cache().now();
    let seen = now.as_ref().and_then(|now| {
        let bay = now.bays.iter().find(|b| b.bay == context.bay())?;
        let air = bay.air.as_ref()?;
        Some(Air {
            air: MilliCelsius(air.air_milli_c),
            humidity: MilliPercent(air.humidity_milli_pct),
            surface: air.surface_milli_c.map(MilliCelsius),
            age_us: context.now().0.saturating_sub(air.read_us),
        })
    });
    own.into_iter()
        .chain(seen)
        .filter(|air| is_recent(air.age_us))
        .min_by_key(|air| air.age_us)
}

/// Tells whether a reading of this age still says something. One from the future
/// is of a clock that was set back since, and then nobody knows its age.
fn is_recent(age_us: i64) -> bool {
    (-FUTURE_SLACK_US..=AIR_AGE_US_MAX).contains(&age_us)
}

/// How long ago a fact of this device happened. Within one boot the boot clock
/// knows it, whatever became of the wall clock.
fn age_us(fact: &v1::Fact, now: &v1::Clocks) -> i64 {
    let since_posted = match &fact.clocks {
        Some(then) if !then.boot_id.is_empty() && then.boot_id == now.boot_id => {
            now.boot_us.saturating_sub(then.boot_us)
        }
        Some(then) => now.wall_us.saturating_sub(then.wall_us),
        None => 0,
    };
    match fact.occurred {
        Some(Occurred::AgoUs(ago_us)) => since_posted.saturating_add(ago_us),
        Some(Occurred::AtUs(at_us)) => now.wall_us.saturating_sub(at_us),
        None => since_posted,
    }
}

/// The window of a section spread now, as this bay can work it out.
///
/// The finish comes with it; `None`: the panel is not known and taken as gloss.
pub fn window(
    context: &Context,
    known: Option<&Known>,
    panel: &str,
    product: &str,
) -> (Window, Option<String>) {
    let finish = known
        .iter()
        .flat_map(|k| &k.panels)
        .find(|p| p.code.as_str() == panel)
        .map(|p| p.finish.to_string());
    let held = context.catalogue();
    let label = held.as_ref().and_then(|held| {
        let entry = held.catalogue.products.get(product)?;
        Some((entry.level_from_us?, entry.level_until_us?))
    });
    let air = last_air(context);
    let surface_c = air.and_then(|a| a.surface).map(MilliCelsius::to_c);
    let humidity = air.zip(surface_c).map(|(air, surface_c)| {
        humidity_at_surface_pct(air.air.to_c(), air.humidity.to_pct(), surface_c)
    });
    let taken_as = finish.as_deref().unwrap_or("gloss");
    (
        levelling_window(taken_as, surface_c, humidity, label),
        finish,
    )
}

/// The stage that this bay started last on a job and has not finished since.
pub fn last_started(context: &Context, job_number: u64) -> Option<String> {
    let device = context.device().ok()?;
    let entries = device.spool().posts().all().iter().rev();
    let of_job = entries.filter(
        |e| matches!(e.standing, PostStanding::Acknowledged { job_number: n, .. } if n == job_number),
    );
    let mut kinds = of_job.filter_map(|e| v1::Fact::decode(&*e.fact).ok()?.kind);
    // The first is the one just posted.
    kinds.next();
    kinds.find_map(|kind| match kind {
        Kind::StageStarted(f) => Some(Some(f.stage)),
        Kind::StageResumed(f) if !f.stage.is_empty() => Some(Some(f.stage)),
        Kind::StageFinished(_) | Kind::StagePaused(_) | Kind::StruckOut(_) => Some(None),
        _ => None,
    })?
}

/// The coating that was spread last from this bay.
pub fn last_coating(context: &Context) -> Option<String> {
    own_facts(context)
        .iter()
        .rev()
        .find_map(|Own { fact, .. }| match &fact.kind {
            Some(Kind::PanelCoated(coat)) if !coat.product.is_empty() => Some(coat.product.clone()),
            _ => None,
        })
}

/// Why there is no window, and what to do instead.
pub fn no_window_words(window: &Window) -> Option<String> {
    let words = match window {
        Window::Known { .. } => return None,
        Window::NoSafeWindow { .. } => "No safe window known: check by touch.".to_owned(),
        Window::Unknown { why } => {
            let why = match why {
                WhyUnknown::SurfaceNotRead { .. } => {
                    "the surface was not read (`bay air … --surface 20C`)"
                }
                WhyUnknown::SurfaceOutside => "the surface is outside 8 to 33 °C",
                WhyUnknown::NoFiguresForFinish => "the trade has no figures for this finish",
            };
            format!("No levelling window: {why}. Check by touch, and do a test section.")
        }
    };
    Some(words)
}
