//! Jobs through the shop: how many at once, how long each, how much of it was work.
//!
//! The definitions follow ISO 22400-2:2014 where it has one. The text of the
//! standard was not read: its formulas are taken from a published encoding of
//! it, which the outside check names (`tests/data/iso22400_kpi.csv`).
//!
//! | here | ISO 22400-2 | formula |
//! |---|---|---|
//! | open | planned busy time, PBT | open hours × places |
//! | occupied | actual unit busy time, AUBT | hands-on + waiting + idle |
//! | hands-on | actual production time, APT | |
//! | opening to release | actual order execution time, AOET | |
//! | utilisation | allocation efficiency, AUBT / PBT | (open − empty) / open |
//! | flow share | utilisation efficiency, APT / AUBT | hands-on / occupied |
//! | occupied share of the cycle | allocation ratio, AUBT / AOET | occupied / cycle |
//! | rework share | rework ratio, RQ / PQ | reworked jobs / released jobs |
//! | released for each hour | throughput rate, PQ / AOET | released / cycles |
//!
//! Two of them are not the standard's to the letter. Utilisation leaves out
//! what was occupied outside open hours and beyond the places, so that it is
//! never above one; where nothing is, both are the same. And waiting, which the
//! standard would split into set-up and delay, is part of the busy time only.
//!
//! Jobs in progress are counted as their integral over the window: from opening
//! to release, wherever the job was. Over a window that starts and ends without
//! a job it is the sum of the cycle times, exactly, so that the time average L
//! is the arrival rate λ times the mean cycle time W (Little 1961; in this
//! sample-path form Stidham 1974).

pub(crate) mod idle;
pub(crate) mod panels;

use crate::figures::{Flow, JobFigures, Spread};
use crate::input::Index;
use crate::labour::count;
use crate::quantile::{mean, quantile};
use crate::span::{Span, divide_half_even, sum_us};
use baywright_terms::time::Micros;

/// Flow through the shop in `counted`; `released` are the jobs of the span.
pub(crate) fn flow(
    index: &Index<'_>,
    counted: Span,
    as_of: Micros,
    released: &[JobFigures],
) -> Flow {
    let openings = index.jobs.values().filter_map(|rows| {
        let opened = rows.opened?.opened;
        Some((opened, rows.released.unwrap_or(as_of)))
    });
    let in_progress = openings.clone().filter_map(|(opened, released)| {
        let part = Span::new(opened, released).cut_to(counted)?;
        Some(part.length_us())
    });
    let reworked = released.iter().filter(|job| job.rework_us > 0).count();
    let occupied_us = sum_us(released.iter().map(|job| job.occupied_us));
    let hands_on_us = sum_us(released.iter().map(|job| job.hands_on_us));
    Flow {
        opened: count(openings.filter(|(at, _)| counted.holds(*at)).count()),
        released: count(released.len()),
        in_progress_us: sum_us(in_progress),
        window_us: counted.length_us(),
        cycle: spread(released.iter().filter_map(|job| job.cycle_us)),
        flow_permille: permille(hands_on_us, occupied_us),
        reworked: count(reworked),
        rework_permille: permille(of_count(reworked), of_count(released.len())),
    }
}

fn of_count(things: usize) -> i64 {
    i64::from(count(things))
}

/// Mean and quantiles of some lengths.
pub(crate) fn spread(lengths: impl Iterator<Item = i64>) -> Spread {
    let mut ordered: Vec<i64> = lengths.collect();
    ordered.sort_unstable();
    let at = |numerator, denominator| quantile(&ordered, numerator, denominator).unwrap_or(0);
    Spread {
        n: count(ordered.len()),
        mean_us: mean(&ordered).unwrap_or(0),
        half_us: at(1, 2),
        p80_us: at(4, 5),
        p90_us: at(9, 10),
    }
}

/// A share in thousandths, rounded half to even; `None` of nothing.
pub(crate) fn permille(part_us: i64, whole_us: i64) -> Option<u32> {
    if whole_us <= 0 {
        return None;
    }
    let thousandths = divide_half_even(i128::from(part_us) * 1000, i128::from(whole_us));
    u32::try_from(thousandths).ok()
}
