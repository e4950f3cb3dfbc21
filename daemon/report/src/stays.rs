//! Where a job stood, and which of the three clocks ran.

use std::collections::BTreeMap;

use baywright_floor::event::JobKey;
use baywright_floor::timeline::{self, Totals};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::input::JobRows;
use crate::labour::is_bay;
use crate::span::Span;

pub(crate) type Stretch = (i64, i64);

/// One job in one place without a break.
#[derive(Debug, Clone)]
pub(crate) struct Stay<'a> {
    pub(crate) place: &'a Code,
    pub(crate) presence: Stretch,
    /// Without gap or overlap.
    pub(crate) spans: Vec<timeline::Span>,
}

/// The stays of one job inside a window, by place and time.
#[derive(Debug, Clone)]
pub(crate) struct JobStays<'a> {
    pub(crate) job: JobKey,
    pub(crate) stays: Vec<Stay<'a>>,
}

/// A job's stays, cut to the window. Stays in one place that overlap are one.
pub(crate) fn job_stays<'a>(
    job: JobKey,
    rows: &JobRows<'a>,
    window: Span,
    as_of: Micros,
) -> JobStays<'a> {
    let mut presence: BTreeMap<&'a Code, Vec<Stretch>> = BTreeMap::new();
    for stay in &rows.presences {
        if let Some(part) = stretch(stay.from, stay.until.unwrap_or(as_of), window) {
            presence.entry(&stay.place).or_default().push(part);
        }
    }
    if presence.is_empty() {
        return JobStays {
            job,
            stays: Vec::new(),
        };
    }
    let (hands_on, waiting) = clocks(rows, window, as_of);
    let stays = presence.into_iter().flat_map(|(place, presence)| {
        let (hands_on, waiting) = (&hands_on, &waiting);
        timeline::merged(&presence)
            .into_iter()
            .map(move |presence| Stay {
                place,
                presence,
                spans: timeline::partition(presence, hands_on, waiting),
            })
    });
    JobStays {
        job,
        stays: stays.collect(),
    }
}

/// The clocks of a job over all its time in bays.
pub(crate) fn in_bays(job: JobKey, rows: &JobRows<'_>, as_of: Micros) -> Totals {
    let ever = Span::new(Micros(i64::MIN), as_of);
    let stays = job_stays(job, rows, ever, as_of).stays;
    let mut sum = Totals::default();
    for stay in stays.iter().filter(|stay| is_bay(stay.place)) {
        let clocks = timeline::totals(&stay.spans);
        sum.hands_on_us = sum.hands_on_us.saturating_add(clocks.hands_on_us);
        sum.waiting_us = sum.waiting_us.saturating_add(clocks.waiting_us);
        sum.idle_us = sum.idle_us.saturating_add(clocks.idle_us);
    }
    sum
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

pub(crate) fn stretch(from: Micros, until: Micros, window: Span) -> Option<Stretch> {
    let part = Span::new(from, until).cut_to(window)?;
    Some((part.from.0, part.until.0))
}
