//! Labour of jobs, job types and stages against what the catalogue allows.
//!
//! Actual labour is the sum over workers of their hands-on time, so two people
//! for an hour are two hours, plus what was declared at release for a stage
//! without a record. ISO 22400-2 calls the worker's part of it *actual
//! personnel work time* and opening to release *actual order execution time*
//! (names from memory). A job counts all of its labour in the week of its
//! release, whenever it was worked.
//!
//! Quoted is what its quote printed, without one the allowance of the catalogue
//! in force when the job was opened ([`crate::promise`]). A job type without allowances (`unsorted`, or one the catalogue does not
//! have) has no quote, which is not the same as a quote of nothing. A comeback
//! is quoted nothing: it puts right what was paid for before, so all of it is
//! over.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::JobKey;
use baywright_floor::fact::Declaration;
use baywright_floor::row::{Ended, HandsOn};
use baywright_terms::catalogue::{StageAllowance, is_no_bay};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::figures::{JobFigures, StageFigures, TypeFigures};
use crate::flow;
use crate::input::{Index, JobRows};
use crate::money::{self, Account};
use crate::promise::Promise;
use crate::span::{Span, sum_us};
use crate::stays;

/// The figures of one job up to `as_of`; `None` where its opening is not among
/// the rows.
pub(crate) fn job_figures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    as_of: Micros,
    job: JobKey,
) -> Option<JobFigures> {
    let rows = index.jobs.get(&job)?;
    let opened = rows.opened?;
    let promise = Promise::of(index, catalogues, opened);
    let allowances = promise.stages.as_deref();
    let stages = stage_figures(rows, allowances);
    let declared_us = sum_us(declared(rows).map(|(_, us)| us));
    let hands_on_us = |counts: &dyn Fn(&HandsOn) -> bool| {
        sum_us(
            rows.hands_on
                .iter()
                .filter(|h| counts(h))
                .map(|h| length_us(h)),
        )
    };
    let recorded_us = hands_on_us(&|_| true);
    let actual_us = recorded_us.saturating_add(declared_us);
    let rework_us = if opened.comeback_of.is_some() {
        actual_us
    } else {
        hands_on_us(&|h| h.rework)
    };
    let account = Account::of(index, catalogues, rows)?;
    let money = account.money();
    let bay_time = stays::in_bays(job, rows, as_of);
    Some(JobFigures {
        job,
        number: opened.number,
        handle: opened.handle.clone(),
        job_type: opened.job_type.clone(),
        vehicle: opened.vehicle.clone(),
        bay: main_bay(rows, as_of),
        opened: opened.opened,
        released: rows.released,
        quoted_us: allowances.map(|a| sum_us(a.iter().map(|s| s.allowance_us))),
        actual_us,
        first_pass_us: actual_us.saturating_sub(rework_us),
        rework_us,
        unclosed_us: hands_on_us(&|h| h.ended == Ended::Unclosed),
        declared_us,
        cycle_us: rows
            .released
            .map(|released| Span::new(opened.opened, released).length_us()),
        stages,
        comeback_of: opened.comeback_of,
        comeback_of_number: opened.comeback_of.and_then(|of| index.number(of)),
        occupied_us: bay_time.sum_us(),
        hands_on_us: bay_time.hands_on_us,
        flow_permille: flow::permille(bay_time.hands_on_us, bay_time.sum_us()),
        shortfalls: account.shortfalls(&money),
        money,
    })
}

/// Sums the figures of released jobs by type, in order of code.
pub(crate) fn type_figures(jobs: &[JobFigures]) -> Vec<TypeFigures> {
    let mut types: BTreeMap<&Code, Vec<&JobFigures>> = BTreeMap::new();
    for job in jobs {
        types.entry(&job.job_type).or_default().push(job);
    }
    types
        .into_iter()
        .map(|(job_type, jobs)| {
            let quoted = jobs.iter().filter(|j| j.quoted_us.is_some());
            let unquoted = jobs.iter().filter(|j| j.quoted_us.is_none());
            TypeFigures {
                job_type: job_type.clone(),
                jobs: count(jobs.len()),
                jobs_quoted: count(quoted.count()),
                quoted_us: sum_us(jobs.iter().filter_map(|j| j.quoted_us)),
                actual_us: sum_us(jobs.iter().map(|j| j.actual_us)),
                actual_unquoted_us: sum_us(unquoted.map(|j| j.actual_us)),
                stages: sum_stages(&jobs),
                rework_us: sum_us(jobs.iter().map(|j| j.rework_us)),
                unclosed_us: sum_us(jobs.iter().map(|j| j.unclosed_us)),
                declared_us: sum_us(jobs.iter().map(|j| j.declared_us)),
                money: money::sum(&jobs),
                shortfalls: money::shortfalls_over(&jobs),
            }
        })
        .collect()
}

/// Minutes that stand in for a record; a stage that has one needs none.
pub(crate) fn declared<'r>(rows: &'r JobRows<'_>) -> impl Iterator<Item = (&'r Code, i64)> {
    rows.declared.iter().filter_map(|(stage, declaration)| {
        let recorded = rows.hands_on.iter().any(|h| &h.stage == *stage);
        match declaration {
            Declaration::DoneAbout { about_us } if !recorded => Some((*stage, (*about_us).max(0))),
            _ => None,
        }
    })
}

fn stage_figures(rows: &JobRows<'_>, allowances: Option<&[StageAllowance]>) -> Vec<StageFigures> {
    let mut actual = actual_by_stage(rows);
    let mut stages: Vec<StageFigures> = Vec::new();
    for allowance in allowances.unwrap_or_default() {
        if let Some(twice) = stages.iter_mut().find(|s| s.stage == allowance.stage) {
            twice.quoted_us = twice.quoted_us.saturating_add(allowance.allowance_us);
            continue;
        }
        let worked = actual.remove(&allowance.stage);
        stages.push(StageFigures {
            jobs: u32::from(worked.is_some()),
            quoted_us: allowance.allowance_us,
            allowed: true,
            ..worked.unwrap_or_else(|| no_work(&allowance.stage))
        });
    }
    stages.extend(actual.into_values());
    stages
}

/// Labour of each stage with a record or a declaration; nothing is allowed yet.
fn actual_by_stage<'r>(rows: &'r JobRows<'_>) -> BTreeMap<&'r Code, StageFigures> {
    let mut actual: BTreeMap<&Code, StageFigures> = BTreeMap::new();
    let mut add = |stage: &'r Code, us: i64, parts: [bool; 3]| {
        let sum = actual.entry(stage).or_insert_with(|| no_work(stage));
        let [rework, unclosed, declared] = parts;
        for (counts, part) in [
            (true, &mut sum.actual_us),
            (rework, &mut sum.rework_us),
            (unclosed, &mut sum.unclosed_us),
            (declared, &mut sum.declared_us),
        ] {
            if counts {
                *part = part.saturating_add(us);
            }
        }
    };
    let comeback = rows.opened.is_some_and(|o| o.comeback_of.is_some());
    for h in &rows.hands_on {
        let parts = [h.rework || comeback, h.ended == Ended::Unclosed, false];
        add(&h.stage, length_us(h), parts);
    }
    for (stage, us) in declared(rows) {
        add(stage, us, [comeback, false, true]);
    }
    actual
}

fn no_work(stage: &Code) -> StageFigures {
    StageFigures {
        stage: stage.clone(),
        jobs: 1,
        quoted_us: 0,
        actual_us: 0,
        allowed: false,
        rework_us: 0,
        unclosed_us: 0,
        declared_us: 0,
    }
}

/// Stages of several jobs: allowed ones in the order in which the jobs have
/// them, then the others by code.
fn sum_stages(jobs: &[&JobFigures]) -> Vec<StageFigures> {
    let mut sums: Vec<StageFigures> = Vec::new();
    for stage in jobs.iter().flat_map(|j| &j.stages) {
        match sums.iter_mut().find(|s| s.stage == stage.stage) {
            Some(sum) => {
                sum.jobs = sum.jobs.saturating_add(stage.jobs);
                sum.quoted_us = sum.quoted_us.saturating_add(stage.quoted_us);
                sum.actual_us = sum.actual_us.saturating_add(stage.actual_us);
                sum.allowed |= stage.allowed;
                sum.rework_us = sum.rework_us.saturating_add(stage.rework_us);
                sum.unclosed_us = sum.unclosed_us.saturating_add(stage.unclosed_us);
                sum.declared_us = sum.declared_us.saturating_add(stage.declared_us);
            }
            None => sums.push(stage.clone()),
        }
    }
    let (allowed, mut others): (Vec<_>, Vec<_>) = sums.into_iter().partition(|s| s.allowed);
    others.sort_by(|a, b| a.stage.cmp(&b.stage));
    allowed.into_iter().chain(others).collect()
}

/// The bay with the most job time, the first by code among equals; the other
/// places (`holding`, `away`) are not bays.
fn main_bay(rows: &JobRows<'_>, as_of: Micros) -> Code {
    let mut stays: BTreeMap<&Code, i64> = BTreeMap::new();
    for presence in rows.presences.iter().filter(|p| is_bay(&p.place)) {
        let span = Span::new(presence.from, presence.until.unwrap_or(as_of));
        let sum = stays.entry(&presence.place).or_default();
        *sum = sum.saturating_add(span.length_us());
    }
    let mut main: Option<(&Code, i64)> = None;
    for (bay, us) in stays {
        if main.is_none_or(|(_, most)| us > most) {
            main = Some((bay, us));
        }
    }
    main.map_or_else(|| Code::new(""), |(bay, _)| bay.clone())
}

pub(crate) fn length_us(hands_on: &HandsOn) -> i64 {
    Span::new(hands_on.from, hands_on.until).length_us()
}

/// True for a bay; a job can also be in a place that is none, or in none.
pub(crate) fn is_bay(place: &Code) -> bool {
    !place.is_empty() && !is_no_bay(place.as_str())
}

/// A count of things in memory, which are never more than a `u32` holds.
pub(crate) fn count(things: usize) -> u32 {
    u32::try_from(things).unwrap_or(u32::MAX)
}
