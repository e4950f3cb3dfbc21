//! Records that wait for the owner, each with the ways to settle it.

mod answers;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::notice::{Notice, Severity};
use baywright_floor::reply;
use baywright_floor::row::NoticeRow;
use baywright_floor::words;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::figures::OddFigures;
use crate::input::{Index, Input};
use crate::promise::Promise;

/// Odd records in order of when they happened; the settled ones too where `all`.
///
/// Each comes with the answers that make sense, the likeliest that can be read
/// out of the rows first, and with the labour that hangs on it. With the
/// presences of the day and the work of its job among the rows, a fact that
/// found no job is proposed for the job that stood in that bay nearest in time.
pub fn odd(input: &Input<'_>, all: bool) -> Vec<OddFigures> {
    odd_figures(&Index::new(input.rows), input.catalogues, all)
}

pub(crate) fn odd_figures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    all: bool,
) -> Vec<OddFigures> {
    let mut odd: Vec<OddFigures> = index
        .notices
        .iter()
        .filter(|row| words::severity(&row.notice) == Severity::Odd && (all || !row.settled))
        .map(|row| to_figures(index, catalogues, row))
        .collect();
    odd.sort_by_key(|o| (o.occurred, o.seq));
    odd
}

fn to_figures(index: &Index<'_>, catalogues: &Catalogues, row: &NoticeRow) -> OddFigures {
    let labour = Labour::of(index, catalogues, row);
    let answers = answers::answers(index, catalogues, row, &labour);
    OddFigures {
        event: row.event,
        seq: row.seq,
        of: reply::subject(&row.notice),
        notice: row.notice.clone(),
        job: row.job,
        job_number: row.job.and_then(|job| index.number(job)),
        occurred: row.at,
        bay: row.bay.clone(),
        settled: row.settled,
        settle_with: answers
            .first()
            .map(|a| a.command.clone())
            .unwrap_or_default(),
        changes_us: labour.hangs_us,
        stage: labour.stage,
        worker: labour.worker,
        counted: labour.counted,
        answers,
    }
}

/// The labour that an odd record is about.
#[derive(Debug, Clone)]
struct Labour {
    stage: Code,
    worker: Code,
    /// The stretch as it is recorded.
    counted: Option<(Micros, Micros)>,
    /// What hangs on the answer; 0 where it is not about labour.
    hangs_us: i64,
    /// What the job's type allows for the stage, less what other records of it
    /// have taken; `None` where that is nothing or not known.
    allowance_us: Option<i64>,
}

impl Labour {
    fn of(index: &Index<'_>, catalogues: &Catalogues, row: &NoticeRow) -> Self {
        let nobody = Code::new("");
        let (stage, worker) = match &row.notice {
            Notice::Unclosed { stage, worker, .. } | Notice::BreakCrossed { stage, worker, .. } => {
                (stage, worker)
            }
            Notice::Undeclared { stages } => (stages.first().unwrap_or(&nobody), &nobody),
            _ => (&nobody, &nobody),
        };
        let allowance_us = allowance_us(index, catalogues, row, stage)
            .and_then(|us| left_of(us, index, row, (stage, worker)));
        let (counted, hangs_us) = match &row.notice {
            Notice::Unclosed { cut_at, .. } => {
                // One that is settled is counted as it was settled.
                let settled = last_ended(index, row, worker).filter(|_| row.settled);
                let cut = settled.unwrap_or(*cut_at).max(row.at);
                (Some((row.at, cut)), cut.0.saturating_sub(row.at.0))
            }
            Notice::BreakCrossed { from, until, .. } => {
                let ended = last_ended(index, row, worker);
                let hangs_us = until.0.saturating_sub(from.0).max(0);
                (ended.map(|ended| (row.at, ended)), hangs_us)
            }
            Notice::Undeclared { .. } => (None, allowance_us.unwrap_or(0)),
            _ => (None, 0),
        };
        Self {
            stage: stage.clone(),
            worker: worker.clone(),
            counted,
            hangs_us,
            allowance_us,
        }
    }

    fn counted_us(&self) -> Option<i64> {
        self.counted
            .map(|(from, until)| until.0.saturating_sub(from.0).max(0))
    }
}

/// When the stretch that the event of a notice began ended, as far as its row
/// is there.
fn last_ended(index: &Index<'_>, row: &NoticeRow, worker: &Code) -> Option<Micros> {
    let job = index.jobs.get(&row.job?)?;
    let of_event = job
        .hands_on
        .iter()
        .filter(|h| h.seq_from == row.seq && h.worker == *worker);
    of_event.map(|h| h.until).max()
}

/// What the other records of the stage leave of its allowance. A stretch whose
/// own row is not there says nothing about the others.
fn left_of(
    allowance_us: i64,
    index: &Index<'_>,
    row: &NoticeRow,
    (stage, worker): (&Code, &Code),
) -> Option<i64> {
    if matches!(row.notice, Notice::Undeclared { .. }) {
        return Some(allowance_us);
    }
    last_ended(index, row, worker)?;
    let job = index.jobs.get(&row.job?)?;
    let others = job
        .hands_on
        .iter()
        .filter(|h| h.stage == *stage && (h.seq_from != row.seq || h.worker != *worker));
    let taken_us = others.fold(0_i64, |sum, h| {
        sum.saturating_add(h.until.0.saturating_sub(h.from.0).max(0))
    });
    let left_us = allowance_us.saturating_sub(taken_us);
    (left_us > 0).then_some(left_us)
}

/// What was quoted for a stage of the job.
fn allowance_us(
    index: &Index<'_>,
    catalogues: &Catalogues,
    row: &NoticeRow,
    stage: &Code,
) -> Option<i64> {
    let opened = index.jobs.get(&row.job?)?.opened?;
    let promise = Promise::of(index, catalogues, opened);
    let stages = promise.stages.as_deref().unwrap_or_default();
    let allowed = stages.iter().filter(|a| a.stage == *stage);
    let sum = allowed.fold(0_i64, |sum, a| sum.saturating_add(a.allowance_us));
    (sum > 0).then_some(sum)
}
