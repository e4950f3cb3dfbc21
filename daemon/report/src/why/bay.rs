//! Time of a bay, job by job.

use baywright_floor::event::JobKey;
use baywright_floor::row::{HandsOn, Waiting};
use baywright_floor::timeline;
use baywright_terms::time::Micros;

use super::{Asked, Why, WhyLine, WhyUnit};
use crate::figures::WeekBay;
use crate::input::JobRows;
use crate::span::Span;

const FORMULA: &str = "hands-on + waiting + idle + empty = open hours of all places + job time \
    outside open hours or beyond the places; each minute of a job in the bay is exactly one of \
    the first three, in that precedence";

/// Hands-on, waiting and idle time of each job, and the empty rest.
pub(super) fn bay(asked: &Asked<'_, '_>, bay: &WeekBay) -> Why {
    let counted = Span::new(asked.week.from, asked.week.counted_until);
    let mut lines = Vec::new();
    for (job, rows) in &asked.index.jobs {
        lines.extend(of_job(asked, bay, counted, *job, rows));
    }
    lines.sort_by_key(|line| (line.from, line.job_number));
    let mut empty = WhyLine::new("empty: open, and no job in the place");
    empty.time_us = bay.empty_us;
    lines.push(empty);
    let title = format!(
        "Time of {} in {}: what each job took, and what stood empty.",
        bay.bay, asked.week.week
    );
    Why::of(title, FORMULA, WhyUnit::Us, lines)
}

fn of_job(
    asked: &Asked<'_, '_>,
    bay: &WeekBay,
    counted: Span,
    job: JobKey,
    rows: &JobRows<'_>,
) -> Vec<WhyLine> {
    let as_of = asked.input.as_of;
    let stays: Vec<_> = rows
        .presences
        .iter()
        .filter(|stay| stay.place == bay.bay)
        .filter_map(|stay| {
            let span = Span::new(stay.from, stay.until.unwrap_or(as_of)).cut_to(counted)?;
            Some((span, *stay))
        })
        .collect();
    let Some(from) = stays.iter().map(|(span, _)| span.from).min() else {
        return Vec::new();
    };
    let worked: Vec<(Span, &HandsOn)> = rows
        .hands_on
        .iter()
        .filter_map(|h| Some((Span::new(h.from, h.until).cut_to(counted)?, *h)))
        .collect();
    let waited: Vec<(Span, &Waiting)> = rows
        .waiting
        .iter()
        .filter_map(|w| {
            let span = Span::new(w.from, w.until.unwrap_or(as_of));
            Some((span.cut_to(counted)?, *w))
        })
        .collect();
    let hands_on: Vec<(i64, i64)> = worked.iter().map(|(span, _)| ends(*span)).collect();
    let waiting: Vec<(i64, i64)> = waited.iter().map(|(span, _)| ends(*span)).collect();
    let here: Vec<(i64, i64)> = stays.iter().map(|(span, _)| ends(*span)).collect();
    let here = timeline::merged(&here);
    let spans: Vec<timeline::Span> = here
        .iter()
        .flat_map(|stay| timeline::partition(*stay, &hands_on, &waiting))
        .collect();
    let clocks = timeline::totals(&spans);
    let is_here = |span: Span| {
        let within = |(from, until): &(i64, i64)| {
            span.cut_to(Span::new(Micros(*from), Micros(*until)))
                .is_some()
        };
        here.iter().any(within)
    };
    let worked = worked.into_iter().filter(|(span, _)| is_here(*span));
    let waited = waited.into_iter().filter(|(span, _)| is_here(*span));
    let kinds = [
        (
            "hands-on",
            clocks.hands_on_us,
            worked
                .flat_map(|(_, h)| [Some(h.seq_from), h.seq_until])
                .flatten()
                .collect(),
        ),
        (
            "waiting",
            clocks.waiting_us,
            waited
                .flat_map(|(_, w)| [Some(w.seq_from), w.seq_until])
                .flatten()
                .collect(),
        ),
        (
            "idle",
            clocks.idle_us,
            stays
                .iter()
                .flat_map(|(_, s)| [Some(s.seq_from), s.seq_until])
                .flatten()
                .collect(),
        ),
    ];
    kinds
        .into_iter()
        .filter(|(_, us, _)| *us != 0)
        .map(|(kind, time_us, seqs): (_, _, Vec<_>)| WhyLine {
            from: Some(from),
            time_us,
            seqs,
            ..WhyLine::of_job(job, asked.index, kind)
        })
        .collect()
}

fn ends(span: Span) -> (i64, i64) {
    (span.from.0, span.until.0)
}
