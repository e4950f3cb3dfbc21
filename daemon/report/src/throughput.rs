//! What each bay got through: the four kinds of its time, exactly.
//!
//! `hands_on + waiting + idle + empty = open + occupied_outside_open`, in
//! integer microseconds of place time, whatever the rows are:
//!
//! - open is open hours × places; breaks are open hours;
//! - hands-on, waiting and idle partition the time of every job in the bay
//!   (the three clocks), inside and outside open hours, and their sum is
//!   occupied;
//! - empty is open place time that no job took. With more jobs than places
//!   nothing is empty, and the jobs beyond the places are counted under
//!   occupied outside open, so that no job time is lost;
//! - time after `as_of` is nothing: a week that runs is cut there.
//!
//! In the names of ISO 22400-2 (from memory): open is *planned busy time*,
//! occupied is *actual unit busy time*, hands-on is near to *actual production
//! time*. Utilisation is its *allocation efficiency*, with what lies outside
//! open hours left out, so that it is never above one.
//!
//! A bay counts with the places the catalogue gave it at each instant: none
//! before it was entered and none after it was retired.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::{Catalogues, Snapshot};
use baywright_floor::timeline::{self, BayTime, JobTime, Totals};
use baywright_terms::code::Code;
use baywright_terms::hours::open_intervals;
use baywright_terms::time::Micros;

use crate::figures::{JobFigures, Spread, WeekBay};
use crate::input::{Index, JobRows};
use crate::labour::{count, is_bay};
use crate::span::{Span, divide_half_even, sum_us};

type Stretch = (i64, i64);

/// A part of the span in which one catalogue holds.
#[derive(Debug, Clone, Copy)]
struct Piece<'c> {
    span: Span,
    snapshot: &'c Snapshot,
}

/// One job in one place without a break.
#[derive(Debug, Clone, Copy)]
struct Stay {
    presence: Stretch,
    clocks: Totals,
}

/// All bays over `counted`, in order of code: those of the catalogue that are
/// not retired, and every other one that was used. `released` are the jobs of
/// the week; each counts for the bay where it spent most of its time.
pub(crate) fn bay_figures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    counted: Span,
    as_of: Micros,
    released: &[JobFigures],
) -> Vec<WeekBay> {
    let pieces = pieces(catalogues, counted);
    let labour = labour_by_bay(index, counted);
    let jobs: Vec<BTreeMap<&Code, Vec<Stay>>> = index
        .jobs
        .values()
        .map(|rows| stays(rows, counted, as_of))
        .collect();
    let mut in_bay: BTreeMap<&Code, Vec<&[Stay]>> = BTreeMap::new();
    for (bay, stays) in jobs.iter().flatten() {
        in_bay.entry(bay).or_default().push(stays);
    }
    let last = catalogues.at(counted.until);
    let mut bays: BTreeSet<&Code> = pieces
        .iter()
        .map(|piece| piece.snapshot)
        .chain([last])
        .flat_map(|snapshot| &snapshot.catalogue.bays)
        .filter(|(_, bay)| !bay.retired)
        .map(|(code, _)| code)
        .collect();
    bays.extend(in_bay.keys().filter(|bay| is_bay(bay)));
    bays.extend(labour.keys());
    bays.extend(released.iter().map(|j| &j.bay).filter(|bay| is_bay(bay)));
    bays.into_iter()
        .map(|bay| {
            let jobs_here = in_bay.get(bay).map(Vec::as_slice).unwrap_or_default();
            let time = bay_time(bay, jobs_here, &pieces);
            WeekBay {
                bay: bay.clone(),
                places: places(last, bay),
                jobs_released: count(released.iter().filter(|j| &j.bay == bay).count()),
                open_us: time.open_us,
                occupied_us: time.occupied_us,
                occupied_outside_open_us: time.occupied_outside_open_us,
                hands_on_us: time.hands_on_us,
                waiting_us: time.waiting_us,
                idle_us: time.idle_us,
                empty_us: time.empty_us,
                labour_us: labour.get(bay).copied().unwrap_or(0),
                utilisation_permille: utilisation_permille(time),
                idle: Vec::new(),
                flow_permille: None,
                cycle: Spread::default(),
                longest_stage: None,
                contribution_per_hour_minor: None,
                jobs_here_us: 0,
            }
        })
        .collect()
}

/// Cuts a span where the catalogue changes, in order of time.
fn pieces(catalogues: &Catalogues, counted: Span) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let mut until = counted.until;
    while counted.from < until {
        let snapshot = catalogues.at(Micros(until.0.saturating_sub(1)));
        let from = snapshot.from.max(counted.from);
        pieces.push(Piece {
            span: Span::new(from, until),
            snapshot,
        });
        until = from;
    }
    pieces.reverse();
    pieces
}

/// Places of a bay in use; 0 where the catalogue does not have it or it is retired.
fn places(snapshot: &Snapshot, bay: &Code) -> u32 {
    match snapshot.catalogue.bays.get(bay) {
        Some(bay) if !bay.retired => bay.places.max(1),
        _ => 0,
    }
}

/// Adds a bay's time up. The jobs' own clocks give what they did, wherever and
/// beside whomever; [`timeline::bay_partition`], to which jobs beyond the
/// places are no time, gives what was open and empty in each piece.
fn bay_time(bay: &Code, jobs: &[&[Stay]], pieces: &[Piece<'_>]) -> BayTime {
    let mut sum = BayTime::default();
    let clocks = jobs.iter().flat_map(|stays| *stays).map(|stay| stay.clocks);
    for clocks in clocks {
        for (total, part) in [
            (&mut sum.hands_on_us, clocks.hands_on_us),
            (&mut sum.waiting_us, clocks.waiting_us),
            (&mut sum.idle_us, clocks.idle_us),
            (&mut sum.occupied_us, clocks.sum_us()),
        ] {
            *total = total.saturating_add(part);
        }
    }
    for piece in pieces {
        let jobs: Vec<JobTime> = jobs
            .iter()
            .map(|stays| presence_in(stays, piece.span))
            .collect();
        let open = open_stretches(piece.snapshot, piece.span);
        let time = timeline::bay_partition(&jobs, &open, places(piece.snapshot, bay));
        sum.open_us = sum.open_us.saturating_add(time.open_us);
        sum.empty_us = sum.empty_us.saturating_add(time.empty_us);
    }
    let taken_us = sum.open_us.saturating_sub(sum.empty_us);
    sum.occupied_outside_open_us = sum.occupied_us.saturating_sub(taken_us);
    sum
}

/// A job's presence alone, cut to a piece.
fn presence_in(stays: &[Stay], piece: Span) -> JobTime {
    JobTime {
        presence: stays
            .iter()
            .filter_map(|stay| stretch(Micros(stay.presence.0), Micros(stay.presence.1), piece))
            .collect(),
        ..JobTime::default()
    }
}

/// A job's stays by place, cut to the span. Stays that overlap are one.
fn stays<'a>(rows: &JobRows<'a>, counted: Span, as_of: Micros) -> BTreeMap<&'a Code, Vec<Stay>> {
    let mut presence: BTreeMap<&Code, Vec<Stretch>> = BTreeMap::new();
    for stay in &rows.presences {
        if let Some(part) = stretch(stay.from, stay.until.unwrap_or(as_of), counted) {
            presence.entry(&stay.place).or_default().push(part);
        }
    }
    let (hands_on, waiting) = clocks(rows, counted, as_of);
    let stays_of = |presence: Vec<Stretch>| {
        let merged = timeline::merged(&presence).into_iter();
        let stays = merged.map(|presence| {
            let spans = timeline::partition(presence, &hands_on, &waiting);
            Stay {
                presence,
                clocks: timeline::totals(&spans),
            }
        });
        stays.collect()
    };
    presence
        .into_iter()
        .map(|(place, presence)| (place, stays_of(presence)))
        .collect()
}

/// Hands-on and waiting stretches of a job inside `window`, of all workers.
pub(crate) fn clocks(
    rows: &JobRows<'_>,
    window: Span,
    as_of: Micros,
) -> (Vec<Stretch>, Vec<Stretch>) {
    let hands_on = rows.hands_on.iter().map(|h| (h.from, h.until));
    let waiting = rows
        .waiting
        .iter()
        .map(|w| (w.from, w.until.unwrap_or(as_of)));
    (
        hands_on
            .filter_map(|(from, until)| stretch(from, until, window))
            .collect(),
        waiting
            .filter_map(|(from, until)| stretch(from, until, window))
            .collect(),
    )
}

fn stretch(from: Micros, until: Micros, window: Span) -> Option<Stretch> {
    let part = Span::new(from, until).cut_to(window)?;
    Some((part.from.0, part.until.0))
}

fn labour_by_bay(index: &Index<'_>, counted: Span) -> BTreeMap<Code, i64> {
    let mut labour: BTreeMap<Code, i64> = BTreeMap::new();
    for hands_on in index.jobs.values().flat_map(|rows| &rows.hands_on) {
        let part = Span::new(hands_on.from, hands_on.until).cut_to(counted);
        if let Some(part) = part
            && is_bay(&hands_on.bay)
        {
            let sum = labour.entry(hands_on.bay.clone()).or_default();
            *sum = sum_us([*sum, part.length_us()]);
        }
    }
    labour
}

fn utilisation_permille(time: BayTime) -> Option<u32> {
    if time.open_us <= 0 {
        return None;
    }
    let taken = i128::from(time.open_us) - i128::from(time.empty_us);
    u32::try_from(divide_half_even(taken * 1000, i128::from(time.open_us))).ok()
}

/// Open hours of the shop inside a span, in its zone; none without a shop.
fn open_stretches(snapshot: &Snapshot, span: Span) -> Vec<Stretch> {
    let Some(shop) = &snapshot.catalogue.shop else {
        return Vec::new();
    };
    open_intervals(&shop.open, &snapshot.zone, span.from, span.until)
        .into_iter()
        .map(|(from, until)| (from.0, until.0))
        .collect()
}
