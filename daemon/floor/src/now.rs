//! The floor as it is at an instant.

use baywright_terms::catalogue::is_no_bay;
use std::collections::{BTreeMap, BTreeSet};

use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use crate::catalogues::{Catalogues, Snapshot};
use crate::event::JobKey;
use crate::state::{Hand, Job, State};
use crate::step::{advance, section_window};

/// All places, jobs and workers. Odd records are counted from the rows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Now {
    pub as_of: Micros,
    pub bays: Vec<NowBay>,
    /// Jobs in no bay: holding or away.
    pub elsewhere: Vec<NowJob>,
    pub workers: Vec<NowWorker>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowBay {
    pub bay: Code,
    pub places: u32,
    pub jobs: Vec<NowJob>,
    pub air: Option<NowAir>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NowAir {
    pub read: Micros,
    pub air: MilliCelsius,
    pub humidity: MilliPercent,
    pub surface: Option<MilliCelsius>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowJob {
    pub job: JobKey,
    pub number: Option<u64>,
    pub handle: String,
    pub job_type: Code,
    pub vehicle: String,
    pub place: Code,
    pub in_place_since: Micros,
    pub running: Vec<NowStage>,
    pub paused: Vec<NowStage>,
    pub dwells: Vec<NowDwell>,
    /// Sections that wait to be levelled.
    pub sections: Vec<NowSection>,
    /// Stages with a record, in the type's order; stages of the type without one.
    pub stages_done: Vec<Code>,
    pub stages_open: Vec<Code>,
    /// It puts an earlier job right: none of its type's stages is missed.
    pub comeback: bool,
    pub dry_until: Option<Micros>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowStage {
    pub stage: Code,
    /// Empty: nobody named.
    pub worker: Code,
    pub since: Micros,
    pub hands_on_us: i64,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowDwell {
    pub product: Code,
    pub panels: Vec<Code>,
    pub since: Micros,
    pub shortest_at: Option<Micros>,
    pub longest_at: Option<Micros>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowSection {
    pub panel: Code,
    pub section: u32,
    pub finish: Code,
    pub product: Code,
    pub coated: Micros,
    /// When it may be levelled; `None` where no window is known.
    pub window: Option<(Micros, Micros)>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct NowWorker {
    pub worker: Code,
    pub job: Option<JobKey>,
    pub stage: Code,
    pub bay: Code,
    pub since: Option<Micros>,
    pub on_break: bool,
}

/// What is on at an instant: the state moved on to it by time alone.
pub fn now(state: &State, cats: &Catalogues, at: Micros) -> Now {
    let mut state = state.clone();
    advance(&mut state, cats, at, &mut Vec::new());
    let snapshot = cats.at(at);
    let mut bays: BTreeMap<Code, NowBay> = snapshot
        .catalogue
        .bays
        .iter()
        .filter(|(_, bay)| !bay.retired)
        .map(|(code, _)| (code.clone(), bay_of(&state, snapshot, code)))
        .collect();
    let mut elsewhere = Vec::new();
    let mut jobs: Vec<(JobKey, &Job)> = state
        .jobs
        .iter()
        .filter(|(_, job)| job.is_open())
        .map(|(key, job)| (*key, job))
        .collect();
    jobs.sort_by(|(_, a), (_, b)| a.placed.cmp(&b.placed));
    for (key, job) in jobs {
        let shown = job_of(&state, snapshot, key, job, at);
        if is_no_bay(job.place.as_str()) {
            elsewhere.push(shown);
        } else {
            bays.entry(job.place.clone())
                .or_insert_with(|| bay_of(&state, snapshot, &job.place))
                .jobs
                .push(shown);
        }
    }
    Now {
        as_of: at,
        bays: bays.into_values().collect(),
        elsewhere,
        workers: workers_of(&state, snapshot),
    }
}

fn bay_of(state: &State, snapshot: &Snapshot, bay: &Code) -> NowBay {
    NowBay {
        bay: bay.clone(),
        places: snapshot.places(bay),
        jobs: Vec::new(),
        air: state.air.get(bay).map(|r| NowAir {
            read: r.at,
            air: r.air,
            humidity: r.humidity,
            surface: r.surface,
        }),
    }
}

fn job_of(state: &State, snapshot: &Snapshot, key: JobKey, job: &Job, at: Micros) -> NowJob {
    let mut running = Vec::new();
    let mut paused = Vec::new();
    for (stage, record) in &job.stages {
        let Some(run) = &record.run else { continue };
        for (hand, on_run) in &run.hands {
            let on_it = state
                .hands
                .get(hand)
                .filter(|s| s.job == key && s.stage == *stage);
            let shown = |since: Micros, hands_on_us: i64| NowStage {
                stage: stage.clone(),
                worker: hand.worker.clone(),
                since,
                hands_on_us,
            };
            if let Some(stretch) = on_it {
                let since = stretch.begun.at;
                let so_far = at.0.saturating_sub(since.0).max(0);
                running.push(shown(since, on_run.worked_us.saturating_add(so_far)));
            } else if let Some(aside) = &on_run.aside {
                paused.push(shown(aside.at, on_run.worked_us));
            }
        }
    }
    let sections = job
        .sections
        .iter()
        .filter(|s| s.levelled.is_none())
        .map(|s| NowSection {
            panel: s.panel.clone(),
            section: s.section,
            finish: s.finish.clone(),
            product: s.product.clone(),
            coated: s.begun.at,
            window: section_window(&s.finish, &s.product, s.air, s.surface, snapshot)
                .limits()
                .map(|limits| {
                    let after = |us: i64| Micros(s.begun.at.0.saturating_add(us));
                    (after(limits.from_us), after(limits.until_us))
                }),
        })
        .collect();
    let dwells = job.dwells.iter().map(|dwell| NowDwell {
        product: dwell.product.clone(),
        panels: dwell.panels.clone(),
        since: dwell.begun.at,
        shortest_at: dwell.shortest_at,
        longest_at: dwell.longest_at,
    });
    let (stages_done, stages_open) = stages_of(snapshot, job);
    NowJob {
        job: key,
        number: job.number,
        handle: job.handle.clone(),
        job_type: job.job_type.clone(),
        vehicle: job.vehicle.clone(),
        place: job.place.clone(),
        in_place_since: job.placed.occurred,
        running,
        paused,
        dwells: dwells.collect(),
        sections,
        stages_done,
        stages_open,
        comeback: job.comeback,
        dry_until: job.cures.values().map(|cure| cure.until).max(),
    }
}

/// Stages with a record, in the type's order and then others; stages of the
/// type without one.
fn stages_of(snapshot: &Snapshot, job: &Job) -> (Vec<Code>, Vec<Code>) {
    let of_type: Vec<&Code> = snapshot
        .catalogue
        .job_types
        .get(&job.job_type)
        .into_iter()
        .flat_map(|t| t.stages.iter().map(|a| &a.stage))
        .collect();
    let has = |stage: &Code| job.stages.contains_key(stage);
    let others = job.stages.keys().filter(|stage| !of_type.contains(stage));
    let done = of_type
        .iter()
        .copied()
        .filter(|stage| has(stage))
        .chain(others)
        .cloned();
    let open = of_type.iter().filter(|stage| !has(stage));
    (done.collect(), open.copied().cloned().collect())
}

/// Every worker of the catalogue, and whoever else is on something.
fn workers_of(state: &State, snapshot: &Snapshot) -> Vec<NowWorker> {
    let mut hands: BTreeSet<Hand> = snapshot
        .catalogue
        .workers
        .iter()
        .filter(|(_, worker)| !worker.retired)
        .map(|(code, _)| Hand::named(code))
        .collect();
    hands.extend(state.hands.keys().cloned());
    hands.extend(state.breaks.keys().cloned());
    hands
        .into_iter()
        .map(|hand| {
            let on = state.hands.get(&hand);
            let on_break = state.breaks.get(&hand);
            NowWorker {
                job: on.map(|s| s.job),
                stage: on.map_or_else(|| Code::new(""), |s| s.stage.clone()),
                bay: on.map_or(hand.bay, |s| s.bay.clone()),
                since: on.map(|s| s.begun.at).or(on_break.map(|b| b.since)),
                on_break: on_break.is_some(),
                worker: hand.worker,
            }
        })
        .collect()
}
