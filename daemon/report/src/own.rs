//! A worker's own figures: what that person did, beside nobody else.
//!
//! No rates, no allowances and no other person stand next to them, so that they
//! cannot be read as a mark. Who may ask is the service's to decide.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::event::JobKey;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::figures::{Own, OwnStage};
use crate::input::{Index, Input};
use crate::labour::count;
use crate::span::{Span, sum_us};

/// Jobs needed before a worker's figures are shown. Fewer would be the story of
/// single jobs, which says more about the vehicles than about a person's work,
/// and which others can tell from the board who was on.
pub const OWN_JOBS_MIN: u32 = 5;

/// What `worker` did between two instants; below [`OWN_JOBS_MIN`] jobs nothing.
pub fn own(input: &Input<'_>, worker: &Code, from: Micros, until: Micros) -> Own {
    let index = Index::new(input.rows);
    let span = Span::new(from, until.min(input.as_of));
    let mut jobs: BTreeSet<JobKey> = BTreeSet::new();
    let mut stages: BTreeMap<&Code, (BTreeSet<JobKey>, i64)> = BTreeMap::new();
    for hands_on in index.jobs.values().flat_map(|rows| &rows.hands_on) {
        let part = Span::new(hands_on.from, hands_on.until).cut_to(span);
        let Some(part) = part.filter(|_| &hands_on.worker == worker) else {
            continue;
        };
        jobs.insert(hands_on.job);
        let (of_stage, us) = stages.entry(&hands_on.stage).or_default();
        of_stage.insert(hands_on.job);
        *us = sum_us([*us, part.length_us()]);
    }
    let catalogue = &input.catalogues.at(input.as_of).catalogue;
    let name = catalogue.workers.get(worker).map(|w| w.name.clone());
    let mut own = Own {
        worker: worker.clone(),
        name: name.unwrap_or_default(),
        jobs: 0,
        jobs_needed: OWN_JOBS_MIN,
        stages: Vec::new(),
        hands_on_us: 0,
    };
    if count(jobs.len()) < OWN_JOBS_MIN {
        return own;
    }
    own.jobs = count(jobs.len());
    own.hands_on_us = sum_us(stages.values().map(|(_, us)| *us));
    let stages = stages.into_iter().map(|(stage, (jobs, us))| OwnStage {
        stage: stage.clone(),
        jobs: count(jobs.len()),
        hands_on_us: us,
    });
    own.stages = stages.collect();
    own
}
