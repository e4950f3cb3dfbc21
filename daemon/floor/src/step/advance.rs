//! Timed transitions: what time alone ends before the next event is folded.
//!
//! Each depends on its own due time only, so it does not matter at which
//! instants between two events the state is moved on.

use baywright_terms::amount::Nanolitres;
use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::notice::Notice;
use crate::reply;
use crate::row::{Ended, Row};
use crate::state::{Hand, State, Stretch};

use super::folding::notice_about;
use super::{AIR_KEPT_US, MIX_KEPT_US, dwell, jobs, panels, stages};

/// Moves the state on to an instant at which nothing has happened yet.
pub(crate) fn advance(state: &mut State, cats: &Catalogues, to: Micros, out: &mut Vec<Row>) {
    end_stretches(state, cats, to, out);
    end_waiting(state, to, out);
    jobs::forget_released(state, cats, to, out);
    state.breaks.retain(|_, on_break| on_break.until > to);
    state
        .air
        .retain(|_, r| r.at.0.saturating_add(AIR_KEPT_US) > to.0);
    end_mixes(state, to, out);
}

/// When a stretch ends by itself, if that is not after `to`.
fn due(hand: &Hand, stretch: &Stretch, to: Micros) -> Option<(Micros, Ended)> {
    if let Some(end) = stretch.fixed_end {
        return (end <= to).then_some((end, Ended::Settled));
    }
    if stretch.next_opening > to {
        return None;
    }
    let cut = cut_of(stretch);
    let asked = unclosed(hand, stretch, cut);
    let ended = match reply::to(&stretch.begun.settled, &asked) {
        Some(_) => Ended::Settled,
        None => Ended::Unclosed,
    };
    Some((cut, ended))
}

/// At closing, or at the worker's last post if that came later; never before it began.
fn cut_of(stretch: &Stretch) -> Micros {
    stretch.closing.max(stretch.last_post).max(stretch.begun.at)
}

fn unclosed(hand: &Hand, stretch: &Stretch, cut_at: Micros) -> Notice {
    Notice::Unclosed {
        stage: stretch.stage.clone(),
        worker: hand.worker.clone(),
        cut_at,
    }
}

fn end_stretches(state: &mut State, cats: &Catalogues, to: Micros, out: &mut Vec<Row>) {
    if state.hands.iter().all(|(h, s)| due(h, s, to).is_none()) {
        return;
    }
    let ending: Vec<(Hand, Micros, Ended)> = state
        .hands
        .iter()
        .filter_map(|(hand, s)| due(hand, s, to).map(|(at, ended)| (hand.clone(), at, ended)))
        .collect();
    for (hand, at, ended) in ending {
        let end = stages::End::in_time(at, ended);
        let Some(stretch) = stages::end_at(state, cats, &hand, end, out) else {
            continue;
        };
        let notice = unclosed(&hand, &stretch, cut_of(&stretch));
        if stretch.fixed_end.is_some() {
            finish_settled(state, &stretch);
            // Still listed among what has been settled, to be answered otherwise.
            if reply::to(&stretch.begun.settled, &notice).is_none() {
                continue;
            }
        }
        out.push(notice_about(&stretch.begun, Some(stretch.job), notice));
    }
}

/// The owner said when it ended: the stage is done once nobody else is on it.
fn finish_settled(state: &mut State, stretch: &Stretch) {
    if !stages::hands_on_job(state, stretch.job, &stretch.stage).is_empty() {
        return;
    }
    let record = state
        .jobs
        .get_mut(&stretch.job)
        .and_then(|job| job.stages.get_mut(&stretch.stage));
    if let Some(record) = record
        && record.run.as_ref().is_some_and(|run| run.id == stretch.run)
    {
        record.finished = true;
        record.again = false;
        record.run = None;
    }
}

/// Dwells that nothing ended before the next opening, flash and cure at their
/// caps, lamps that have gone out.
fn end_waiting(state: &mut State, to: Micros, out: &mut Vec<Row>) {
    for (key, job) in &mut state.jobs {
        let key = *key;
        job.dwells.retain(|dwell| {
            if dwell.next_opening > to {
                return true;
            }
            let row = dwell::waiting(key, dwell, dwell.closing, None);
            out.extend(row.map(Row::Waiting));
            false
        });
        for section in &mut job.sections {
            if let Some(cap) = section.flash_until.filter(|cap| *cap <= to) {
                let row = panels::flash_row(key, section, cap, None);
                section.flash_until = None;
                out.extend(row.map(Row::Waiting));
            }
        }
        job.cures.retain(|panel, cure| {
            if cure.until > to {
                return true;
            }
            let row = panels::cure_row(key, panel, cure, cure.until, None);
            out.extend(row.map(Row::Waiting));
            false
        });
        job.lamps.retain(|lamp| {
            if lamp.until > to {
                return true;
            }
            let row = panels::lamp_row(key, lamp, lamp.until, None);
            out.extend(row.map(Row::Waiting));
            false
        });
    }
}

/// What is left of a mix after thirty days is waste.
fn end_mixes(state: &mut State, to: Micros, out: &mut Vec<Row>) {
    state.mixes.retain(|_, mix| {
        let ends = Micros(mix.begun.at.0.saturating_add(MIX_KEPT_US));
        if ends > to {
            return true;
        }
        if let Some(rest) = mix.left_nl.filter(|left| *left > 0) {
            out.push(Row::MixDumped {
                mix: mix.begun.event,
                volume: Nanolitres(rest),
                at: ends,
                seq: mix.begun.seq,
            });
        }
        false
    });
}
