//! Records that wait for the owner, each with a way to settle it.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::notice::{Notice, Severity, What};
use baywright_floor::row::NoticeRow;
use baywright_floor::words;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::{self, Code};
use baywright_terms::time::{DAY_US, Micros};
use jiff::tz::TimeZone;

use crate::figures::OddFigures;
use crate::input::{Index, Input};

/// Odd records in order of when they happened; the settled ones too where `all`.
///
/// Each comes with one proposal as a command line, the likeliest that can be
/// read out of the rows; [`words::settle_hint`] names the other answers. With
/// the presences of the day among the rows, a fact that found no job is
/// proposed for the job that stood in that bay nearest in time.
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
    let answer = proposal(index, catalogues, row);
    OddFigures {
        event: row.event,
        seq: row.seq,
        notice: row.notice.clone(),
        job: row.job,
        job_number: row.job.and_then(|job| index.number(job)),
        occurred: row.at,
        bay: row.bay.clone(),
        settled: row.settled,
        settle_with: format!("bay settle {} {answer}", row.seq.0),
    }
}

/// The likeliest answer; that it is right as it stands, where nothing better
/// can be read out of the rows.
fn proposal(index: &Index<'_>, catalogues: &Catalogues, row: &NoticeRow) -> String {
    let snapshot = catalogues.at(row.at);
    let better = match &row.notice {
        Notice::Unclosed { cut_at, .. } => Some(end_at(row.at, *cut_at, &snapshot.zone)),
        Notice::UnknownCode { what, code } => {
            let nearest = nearest(&snapshot.catalogue, *what, code);
            nearest.map(|code| format!("--code {code}"))
        }
        Notice::NoJobHere { bay } => {
            job_near(index, bay, row.at).map(|number| format!("--job {number}"))
        }
        Notice::UnknownJobNumber { .. } => {
            job_near(index, &row.bay, row.at).map(|number| format!("--job {number}"))
        }
        _ => None,
    };
    better.unwrap_or_else(|| "--as-is".to_owned())
}

/// Where it was cut: a time of day means the first such time after the record.
fn end_at(began: Micros, cut_at: Micros, zone: &TimeZone) -> String {
    let civil = cut_at.civil(zone);
    let clock = if civil.second() == 0 {
        civil.strftime("%H:%M")
    } else {
        civil.strftime("%H:%M:%S")
    };
    let within_a_day = began <= cut_at && cut_at.0.saturating_sub(began.0) < DAY_US;
    if within_a_day {
        format!("--end {clock}")
    } else {
        format!("--end {}T{clock}", civil.date())
    }
}

/// The known code that was probably meant.
fn nearest<'c>(catalogue: &'c Catalogue, what: What, typed: &Code) -> Option<&'c str> {
    fn of<'c, T>(table: &'c BTreeMap<Code, T>, typed: &Code) -> Option<&'c str> {
        let known = table.keys().map(Code::as_str);
        code::nearest(typed.as_str(), known).into_iter().next()
    }
    match what {
        What::Bay | What::Place => of(&catalogue.bays, typed),
        What::Worker => of(&catalogue.workers, typed),
        What::Product => of(&catalogue.products, typed),
        What::Stage => of(&catalogue.stages, typed),
        What::JobType => of(&catalogue.job_types, typed),
        What::Panel => None,
    }
}

/// Number of the job that stood in the bay nearest in time, at most a day away.
fn job_near(index: &Index<'_>, bay: &Code, at: Micros) -> Option<u64> {
    let stays = index.jobs.values().flat_map(|rows| &rows.presences);
    let near = stays.filter(|stay| &stay.place == bay).filter_map(|stay| {
        let since = at.0.saturating_sub(stay.until.unwrap_or(at).0);
        let ahead = stay.from.0.saturating_sub(at.0);
        let away_us = since.max(ahead).max(0);
        let number = index.number(stay.job)?;
        (away_us < DAY_US).then_some((away_us, number))
    });
    near.min().map(|(_, number)| number)
}
