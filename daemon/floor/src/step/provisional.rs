//! Rows of what still runs, for reading the floor as of an instant.

use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::row::{Ended, Presence, Row, Waiting};
use crate::state::State;

use super::{advance, dwell, panels, stages};

/// Rows that end by time alone up to `as_of`, and those of what still runs
/// then: hands-on is cut at `as_of`; presence and waiting stay open
/// (`until: None`) for readers to cut.
///
/// They belong to no event and are never stored: the next event emits them
/// for good.
pub fn provisional(state: &State, cats: &Catalogues, as_of: Micros) -> Vec<Row> {
    let mut state = state.clone();
    let mut out = Vec::new();
    advance(&mut state, cats, as_of, &mut out);
    for (hand, stretch) in &state.hands {
        let until = as_of.max(stretch.begun.at);
        let end = stages::End::in_time(until, Ended::Running);
        let pieces = stages::hands_on(hand, stretch, end, &[]);
        out.extend(pieces.into_iter().map(Row::HandsOn));
    }
    let open = |waiting: Option<Waiting>, cap: Option<Micros>| {
        waiting.map(|waiting| {
            Row::Waiting(Waiting {
                until: cap.filter(|cap| *cap <= as_of),
                ..waiting
            })
        })
    };
    for (key, job) in state.jobs.iter().filter(|(_, job)| job.is_open()) {
        out.push(Row::Presence(Presence {
            job: *key,
            place: job.place.clone(),
            from: job.placed.occurred,
            until: None,
            seq_from: job.placed_seq,
            seq_until: None,
        }));
        for dwell in &job.dwells {
            let row = dwell::waiting(*key, dwell, as_of, None);
            out.extend(open(row, dwell.longest_at));
        }
        for section in &job.sections {
            out.extend(open(panels::flash_row(*key, section, as_of, None), None));
        }
        for (panel, cure) in &job.cures {
            out.extend(open(panels::cure_row(*key, panel, cure, as_of, None), None));
        }
        for lamp in &job.lamps {
            out.extend(open(panels::lamp_row(*key, lamp, as_of, None), None));
        }
    }
    out
}
