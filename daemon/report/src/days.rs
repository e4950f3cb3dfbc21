//! Bay time day by day, and every longer sum of it.
//!
//! The time of the bays is worked out once for each piece of the reach: a civil
//! day of the shop, or the part of one in which one catalogue holds. Spans,
//! weeks of history and days are sums of pieces, so that the days add up to the
//! bay and a day of 23 or 25 hours is one like any other.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::{Catalogues, Snapshot};
use baywright_floor::timeline::{self, BayTime, Clock, JobTime};
use baywright_terms::code::Code;
use baywright_terms::hours::open_intervals;
use baywright_terms::time::{Micros, day_range, shop_day};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::figures::WeekDay;
use crate::input::Index;
use crate::labour::is_bay;
use crate::span::{Span, sum_us};
use crate::stays::{JobStays, Stretch, job_stays, stretch};
use crate::window::DAYS_MAX;

/// Days that are told apart: those of the longest report and its history. A
/// longer reach, which nobody can ask for, is cut by the catalogue alone.
const DAYS_CUT_MAX: u32 = 2 * DAYS_MAX;

/// A part of the reach in which one catalogue holds and one day lasts.
#[derive(Debug)]
pub(crate) struct Piece<'c> {
    pub(crate) span: Span,
    /// `None`: the reach is too long for days.
    pub(crate) date: Option<Date>,
    pub(crate) snapshot: &'c Snapshot,
    /// Open hours of the shop in it.
    pub(crate) open: Vec<Stretch>,
}

/// The time of every bay in every piece of the reach.
#[derive(Debug)]
pub(crate) struct BayTimes<'a> {
    pub(crate) pieces: Vec<Piece<'a>>,
    pub(crate) jobs: Vec<JobStays<'a>>,
    /// As many as there are pieces, for each bay.
    cells: BTreeMap<&'a Code, Vec<BayTime>>,
}

impl<'a> BayTimes<'a> {
    /// Works out `reach`, which must end at `as_of` at the latest. `edges` are
    /// instants at which sums will begin or end.
    pub(crate) fn new(
        index: &Index<'a>,
        catalogues: &'a Catalogues,
        reach: Span,
        zone: &TimeZone,
        edges: &[Micros],
        as_of: Micros,
    ) -> Self {
        let pieces = pieces(catalogues, reach, zone, edges);
        let jobs: Vec<JobStays<'a>> = index
            .jobs
            .iter()
            .map(|(job, rows)| job_stays(*job, rows, reach, as_of))
            .collect();
        let mut cells: BTreeMap<&'a Code, Vec<BayTime>> = BTreeMap::new();
        let in_catalogue = pieces
            .iter()
            .flat_map(|piece| piece.snapshot.catalogue.bays.keys());
        let in_use = jobs
            .iter()
            .flat_map(|job| &job.stays)
            .map(|stay| stay.place);
        let bays: BTreeSet<&'a Code> = in_catalogue.chain(in_use).collect();
        let mut present = presences(&jobs, &pieces);
        for bay in bays.into_iter().filter(|bay| is_bay(bay)) {
            let present = present.remove(bay).unwrap_or_default();
            cells.insert(bay, empty_cells(bay, &present, &pieces));
        }
        let mut times = Self {
            pieces,
            jobs: Vec::new(),
            cells,
        };
        for job in &jobs {
            times.add_clocks(job);
        }
        times.jobs = jobs;
        times.close();
        times
    }

    /// A bay's time in the pieces inside `span`.
    pub(crate) fn sum(&self, bay: &Code, span: Span) -> BayTime {
        let cells = self.cells.get(bay).map(Vec::as_slice).unwrap_or_default();
        let inside =
            self.pieces.iter().zip(cells).filter(|(piece, _)| {
                span.from <= piece.span.from && piece.span.until <= span.until
            });
        inside.fold(BayTime::default(), |sum, (_, cell)| plus(sum, *cell))
    }

    /// The time of all bays in the pieces inside `span`.
    pub(crate) fn sum_of_all(&self, span: Span) -> BayTime {
        self.cells.keys().fold(BayTime::default(), |sum, bay| {
            plus(sum, self.sum(bay, span))
        })
    }

    /// Days of `span` for each of `bays`, in order of day and bay.
    pub(crate) fn days(&self, bays: &[&Code], span: Span) -> Vec<WeekDay> {
        let mut days: BTreeMap<(Date, &Code), BayTime> = BTreeMap::new();
        for (at, piece) in self.pieces.iter().enumerate() {
            let inside = span.from <= piece.span.from && piece.span.until <= span.until;
            let Some(date) = piece.date.filter(|_| inside) else {
                continue;
            };
            for bay in bays {
                let cell = self.cells.get(*bay).and_then(|cells| cells.get(at));
                let day = days.entry((date, *bay)).or_default();
                *day = plus(*day, cell.copied().unwrap_or_default());
            }
        }
        days.into_iter()
            .map(|((date, bay), time)| WeekDay {
                date,
                bay: bay.clone(),
                open_us: time.open_us,
                hands_on_us: time.hands_on_us,
                waiting_us: time.waiting_us,
                idle_us: time.idle_us,
                empty_us: time.empty_us,
                occupied_outside_open_us: time.occupied_outside_open_us,
            })
            .collect()
    }

    fn add_clocks(&mut self, job: &JobStays<'_>) {
        for stay in &job.stays {
            let Some(cells) = self.cells.get_mut(stay.place) else {
                continue;
            };
            for clock in &stay.spans {
                let (from, until) = (Micros(clock.from), Micros(clock.until));
                let first = self.pieces.partition_point(|p| p.span.until <= from);
                let pieces = self.pieces.iter().zip(cells.iter_mut()).skip(first);
                for (piece, cell) in pieces.take_while(|(piece, _)| piece.span.from < until) {
                    let part = Span::new(from, until).cut_to(piece.span);
                    let us = part.map_or(0, Span::length_us);
                    let sum = match clock.clock {
                        Clock::HandsOn => &mut cell.hands_on_us,
                        Clock::Waiting => &mut cell.waiting_us,
                        Clock::Idle => &mut cell.idle_us,
                    };
                    *sum = sum.saturating_add(us);
                }
            }
        }
    }

    /// What follows from the clocks and what was empty.
    fn close(&mut self) {
        for cell in self.cells.values_mut().flatten() {
            cell.occupied_us = sum_us([cell.hands_on_us, cell.waiting_us, cell.idle_us]);
            let taken_us = cell.open_us.saturating_sub(cell.empty_us);
            cell.occupied_outside_open_us = cell.occupied_us.saturating_sub(taken_us);
        }
    }
}

fn plus(a: BayTime, b: BayTime) -> BayTime {
    BayTime {
        open_us: a.open_us.saturating_add(b.open_us),
        occupied_us: a.occupied_us.saturating_add(b.occupied_us),
        occupied_outside_open_us: a
            .occupied_outside_open_us
            .saturating_add(b.occupied_outside_open_us),
        hands_on_us: a.hands_on_us.saturating_add(b.hands_on_us),
        waiting_us: a.waiting_us.saturating_add(b.waiting_us),
        idle_us: a.idle_us.saturating_add(b.idle_us),
        empty_us: a.empty_us.saturating_add(b.empty_us),
    }
}

/// Presence of the jobs of a bay in each piece, by its place in the list.
type Present<'a> = BTreeMap<&'a Code, BTreeMap<usize, Vec<JobTime>>>;

fn presences<'a>(jobs: &[JobStays<'a>], pieces: &[Piece<'_>]) -> Present<'a> {
    let mut present = Present::new();
    for stay in jobs.iter().flat_map(|job| &job.stays) {
        let (from, until) = (Micros(stay.presence.0), Micros(stay.presence.1));
        let first = pieces.partition_point(|p| p.span.until <= from);
        let of_bay = present.entry(stay.place).or_default();
        for (at, piece) in pieces.iter().enumerate().skip(first) {
            let Some(part) = stretch(from, until, piece.span) else {
                break;
            };
            of_bay.entry(at).or_default().push(JobTime {
                presence: vec![part],
                ..JobTime::default()
            });
        }
    }
    present
}

/// What was open and empty in each piece. [`timeline::bay_partition`], to which
/// jobs beyond the places are no time, gives both; the clocks are added after.
fn empty_cells(
    bay: &Code,
    present: &BTreeMap<usize, Vec<JobTime>>,
    pieces: &[Piece<'_>],
) -> Vec<BayTime> {
    pieces
        .iter()
        .enumerate()
        .map(|(at, piece)| {
            let jobs = present.get(&at).map(Vec::as_slice).unwrap_or_default();
            let places = places(piece.snapshot, bay);
            let time = timeline::bay_partition(jobs, &piece.open, places);
            BayTime {
                open_us: time.open_us,
                empty_us: time.empty_us,
                ..BayTime::default()
            }
        })
        .collect()
}

/// Places of a bay in use; 0 where the catalogue does not have it or it is retired.
pub(crate) fn places(snapshot: &Snapshot, bay: &Code) -> u32 {
    match snapshot.catalogue.bays.get(bay) {
        Some(bay) if !bay.retired => bay.places.max(1),
        _ => 0,
    }
}

/// Cuts the reach where the catalogue changes, at midnight and at the edges.
fn pieces<'c>(
    catalogues: &'c Catalogues,
    reach: Span,
    zone: &TimeZone,
    edges: &[Micros],
) -> Vec<Piece<'c>> {
    let mut cuts: BTreeSet<Micros> = edges
        .iter()
        .copied()
        .filter(|at| reach.holds(*at))
        .collect();
    cuts.extend([reach.from, reach.until]);
    let mut at = reach.until;
    while reach.from < at {
        let from = catalogues.at(Micros(at.0.saturating_sub(1))).from;
        at = from.max(reach.from);
        cuts.insert(at);
    }
    let midnights = midnights(reach, zone);
    cuts.extend(midnights.iter().flatten());
    let cuts: Vec<Micros> = cuts.into_iter().collect();
    let spans = cuts.windows(2).filter_map(|pair| match pair {
        [from, until] if from < until => Some(Span::new(*from, *until)),
        _ => None,
    });
    spans
        .map(|span| {
            let snapshot = catalogues.at(span.from);
            Piece {
                span,
                date: midnights.as_ref().map(|_| shop_day(span.from, zone)),
                snapshot,
                open: open_stretches(snapshot, span),
            }
        })
        .collect()
}

/// First instants of the days that begin in the reach; `None`: too many.
fn midnights(reach: Span, zone: &TimeZone) -> Option<Vec<Micros>> {
    let mut midnights = Vec::new();
    let mut day = shop_day(reach.from, zone);
    for _ in 0..=DAYS_CUT_MAX {
        let (_, next) = day_range(day, zone);
        if reach.until <= next {
            return Some(midnights);
        }
        midnights.push(next);
        day = shop_day(next, zone);
    }
    None
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
