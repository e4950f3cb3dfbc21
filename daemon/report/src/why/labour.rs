//! Labour of a type, a stage or a job.

use std::collections::BTreeMap;

use baywright_floor::event::JobKey;
use baywright_floor::row::Ended;
use baywright_terms::code::Code;
use baywright_terms::time::format_span;

use super::{Asked, Why, WhyLine, WhyUnit};
use crate::figures::{JobFigures, StageFigures, TypeFigures};
use crate::money::Account;

const FORMULA: &str = "labour = the hands-on time of every worker + minutes declared at release \
    for a stage without a record; its cost = each stretch at its worker's rate then, with the \
    wage burden";

/// Labour of each job of a type.
pub(super) fn job_type(asked: &Asked<'_, '_>, of: &TypeFigures) -> Why {
    let jobs = asked.jobs_of(&of.job_type);
    let lines = jobs.iter().map(|job| {
        let quoted = match job.quoted_us {
            Some(us) => format!("quoted {}", format_span(us)),
            None => "nothing quoted".to_owned(),
        };
        let pieces = pieces(asked, job.job);
        WhyLine {
            from: Some(job.opened),
            time_us: job.actual_us,
            money_minor: job.money.labour_minor,
            seqs: pieces.values().flat_map(|line| line.seqs.clone()).collect(),
            ..WhyLine::of_job(job.job, asked.index, format!("{}; {quoted}", job.vehicle))
        }
    });
    let lines = lines.collect();
    let title = format!(
        "Labour on the {} jobs released in {}.",
        of.job_type, asked.week.week
    );
    Why::of(title, FORMULA, WhyUnit::Us, lines)
}

/// Labour on one stage of the jobs of a type.
pub(super) fn stage(asked: &Asked<'_, '_>, job_type: &Code, of: &StageFigures) -> Why {
    let mut lines = Vec::new();
    for job in asked.jobs_of(job_type) {
        let of_stage = pieces(asked, job.job).into_values();
        lines.extend(of_stage.filter(|line| line.stage == of.stage));
    }
    let title = format!(
        "Labour on {} of the {job_type} jobs released in {}.",
        of.stage, asked.week.week
    );
    Why::of(title, FORMULA, WhyUnit::Us, lines)
}

/// Labour on each stage of one job.
pub(super) fn job(asked: &Asked<'_, '_>, job: &JobFigures) -> Why {
    let pieces = pieces(asked, job.job);
    let mut lines: Vec<WhyLine> = pieces.into_values().collect();
    lines.sort_by_key(|line| (line.from.is_none(), line.from));
    let number = job.number.unwrap_or(0);
    let title = format!("Labour on job {number}, {}, stage by stage.", job.vehicle);
    Why::of(title, FORMULA, WhyUnit::Us, lines)
}

/// What kind of labour a line tells of, in the order in which they are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    FirstPass,
    DoneAgain,
    Unclosed,
    Declared,
}

/// A line for each stage of a job and kind of labour.
fn pieces(asked: &Asked<'_, '_>, job: JobKey) -> BTreeMap<(Code, Kind), WhyLine> {
    let mut lines = BTreeMap::new();
    let Some(rows) = asked.index.jobs.get(&job) else {
        return lines;
    };
    let Some(account) = Account::of(asked.index, asked.input.catalogues, rows) else {
        return lines;
    };
    for (worked, money_minor) in account.work_costs() {
        let kind = match worked.row {
            None => Kind::Declared,
            Some(row) if row.ended == Ended::Unclosed => Kind::Unclosed,
            Some(_) if worked.rework => Kind::DoneAgain,
            Some(_) => Kind::FirstPass,
        };
        let text = match kind {
            Kind::FirstPass => "worked",
            Kind::DoneAgain => "done again",
            Kind::Unclosed => "nothing ended it, cut at closing",
            Kind::Declared => "declared at release",
        };
        let line = lines
            .entry((worked.stage.clone(), kind))
            .or_insert_with(|| WhyLine {
                stage: worked.stage.clone(),
                ..WhyLine::of_job(job, asked.index, text)
            });
        if let Some(row) = worked.row {
            line.from = Some(line.from.map_or(row.from, |from| from.min(row.from)));
        }
        line.time_us = line.time_us.saturating_add(worked.us);
        line.money_minor = line.money_minor.saturating_add(money_minor);
        line.seqs.extend_from_slice(&worked.seqs);
    }
    lines
}
