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
//! A bay counts with the places the catalogue gave it at each instant: none
//! before it was entered and none after it was retired.
//!
//! What these are in ISO 22400-2 stands in [`crate::flow`].

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::timeline::{self, BayTime};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::days::{BayTimes, places};
use crate::figures::{JobFigures, WeekBay};
use crate::flow::{idle, permille, spread};
use crate::input::Index;
use crate::labour::{count, is_bay};
use crate::span::{Span, sum_us};
use crate::stays::{Stretch, stretch};

/// Bays to list for `counted`, in order of code: those of the catalogue that
/// are not retired, and every other one that was used.
pub(crate) fn bays<'a>(
    index: &Index<'a>,
    catalogues: &'a Catalogues,
    times: &BayTimes<'a>,
    counted: Span,
    released: &'a [JobFigures],
) -> Vec<&'a Code> {
    let pieces = times.pieces.iter().filter(|p| within(p.span, counted));
    let mut bays: BTreeSet<&'a Code> = pieces
        .map(|piece| piece.snapshot)
        .chain([catalogues.at(counted.until)])
        .flat_map(|snapshot| &snapshot.catalogue.bays)
        .filter(|(_, bay)| !bay.retired)
        .map(|(code, _)| code)
        .collect();
    let stays = times.jobs.iter().flat_map(|job| &job.stays);
    let in_use = stays.filter(|stay| part(stay.presence, counted).is_some());
    bays.extend(in_use.map(|stay| stay.place).filter(|bay| is_bay(bay)));
    let hands_on = index.jobs.values().flat_map(|rows| &rows.hands_on);
    let worked_in = hands_on.filter(|h| stretch(h.from, h.until, counted).is_some());
    bays.extend(worked_in.map(|h| &h.bay).filter(|bay| is_bay(bay)));
    bays.extend(released.iter().map(|j| &j.bay).filter(|bay| is_bay(bay)));
    bays.into_iter().collect()
}

/// The figures of `bays` over `counted`. `released` are the jobs of the span;
/// each counts for the bay where it spent most of its time.
pub(crate) fn bay_figures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    times: &BayTimes<'_>,
    bays: &[&Code],
    counted: Span,
    released: &[JobFigures],
) -> Vec<WeekBay> {
    let labour = labour_by_bay(index, counted);
    let stages = stages_by_bay(index, times, counted);
    let mut idle = idle::by_bay(index, times, counted);
    let last = catalogues.at(counted.until);
    bays.iter()
        .map(|bay| {
            let time = times.sum(bay, counted);
            let cycles = released.iter().filter(|j| &j.bay == *bay);
            WeekBay {
                bay: (*bay).clone(),
                places: places(last, bay),
                jobs_released: count(cycles.clone().count()),
                open_us: time.open_us,
                occupied_us: time.occupied_us,
                occupied_outside_open_us: time.occupied_outside_open_us,
                hands_on_us: time.hands_on_us,
                waiting_us: time.waiting_us,
                idle_us: time.idle_us,
                empty_us: time.empty_us,
                labour_us: labour.get(*bay).copied().unwrap_or(0),
                utilisation_permille: utilisation_permille(time),
                idle: idle.remove(*bay).unwrap_or_default(),
                flow_permille: permille(time.hands_on_us, time.occupied_us),
                cycle: spread(cycles.filter_map(|j| j.cycle_us)),
                longest_stage: stages.get(*bay).and_then(longest),
                contribution_per_hour_minor: None,
                // Each job here counts once at every instant, which is what
                // occupied adds up.
                jobs_here_us: time.occupied_us,
            }
        })
        .collect()
}

/// True where one span lies inside the other.
pub(crate) fn within(span: Span, window: Span) -> bool {
    window.from <= span.from && span.until <= window.until
}

/// Open place time that was taken, of all open place time.
pub(crate) fn utilisation_permille(time: BayTime) -> Option<u32> {
    permille(time.open_us.saturating_sub(time.empty_us), time.open_us)
}

fn part(presence: Stretch, window: Span) -> Option<Span> {
    Span::new(Micros(presence.0), Micros(presence.1)).cut_to(window)
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

type StageTimes<'a> = BTreeMap<&'a Code, i64>;

/// How long each stage held each bay: the time during which anybody was
/// hands-on on it, however many, on each job that stood there.
fn stages_by_bay<'a>(
    index: &Index<'a>,
    times: &BayTimes<'a>,
    counted: Span,
) -> BTreeMap<&'a Code, StageTimes<'a>> {
    let mut bays: BTreeMap<&Code, StageTimes<'_>> = BTreeMap::new();
    for job in &times.jobs {
        let Some(rows) = index.jobs.get(&job.job) else {
            continue;
        };
        for stay in job.stays.iter().filter(|stay| is_bay(stay.place)) {
            let Some(here) = part(stay.presence, counted) else {
                continue;
            };
            let mut stages: BTreeMap<&Code, Vec<Stretch>> = BTreeMap::new();
            for h in &rows.hands_on {
                if let Some(part) = stretch(h.from, h.until, here) {
                    stages.entry(&h.stage).or_default().push(part);
                }
            }
            let of_bay = bays.entry(stay.place).or_default();
            for (stage, stretches) in stages {
                let merged = timeline::merged(&stretches).into_iter();
                let sum = of_bay.entry(stage).or_default();
                *sum = sum_us(merged.map(|(from, until)| until - from).chain([*sum]));
            }
        }
    }
    bays
}

/// The first by code among equals.
fn longest(stages: &StageTimes<'_>) -> Option<(Code, i64)> {
    let mut longest: Option<(&Code, i64)> = None;
    for (stage, us) in stages {
        if longest.is_none_or(|(_, most)| *us > most) {
            longest = Some((*stage, *us));
        }
    }
    longest.map(|(stage, us)| (stage.clone(), us))
}
