//! Records that wait for the owner, each with a way to settle it.

use baywright_floor::notice::Severity;
use baywright_floor::row::NoticeRow;
use baywright_floor::words;

use crate::figures::OddFigures;
use crate::input::{Index, Input};

/// Odd records in order of when they happened; the settled ones too where `all`.
pub fn odd(input: &Input<'_>, all: bool) -> Vec<OddFigures> {
    odd_figures(&Index::new(input.rows), all)
}

/// Odd notices in order of when they happened; the settled ones too where
/// `all`.
pub(crate) fn odd_figures(index: &Index<'_>, all: bool) -> Vec<OddFigures> {
    let mut odd: Vec<OddFigures> = index
        .notices
        .iter()
        .filter(|row| words::severity(&row.notice) == Severity::Odd && (all || !row.settled))
        .map(|row| to_figures(index, row))
        .collect();
    odd.sort_by_key(|o| (o.occurred, o.seq));
    odd
}

fn to_figures(index: &Index<'_>, row: &NoticeRow) -> OddFigures {
    OddFigures {
        event: row.event,
        seq: row.seq,
        notice: row.notice.clone(),
        job: row.job,
        job_number: row.job.and_then(|job| index.number(job)),
        occurred: row.at,
        bay: row.bay.clone(),
        settled: row.settled,
        settle_with: settle_with(row),
    }
}

fn settle_with(row: &NoticeRow) -> String {
    match words::settle_hint(&row.notice) {
        Some(hint) => format!("bay settle {} {hint}", row.seq.0),
        None => format!("bay settle {}", row.seq.0),
    }
}
