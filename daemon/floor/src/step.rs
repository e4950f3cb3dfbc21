//! Moves the state over one event, and tells what happened.

use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::ledger::Entry;
use crate::row::Row;
use crate::state::State;

/// Folds one event. Total: a stored event is a fact.
pub fn step(state: &mut State, cats: &Catalogues, entry: &Entry, out: &mut Vec<Row>) {
    let _ = (state, cats);
    out.push(Row::Counted {
        event: entry.event.id,
        seq: entry.event.seq,
        job: None,
        by: entry.event.by.clone(),
    });
}

/// Rows of what still runs at `as_of`: hands-on cut there, presence and waiting open.
pub fn provisional(state: &State, cats: &Catalogues, as_of: Micros) -> Vec<Row> {
    let _ = (state, cats, as_of);
    Vec::new()
}
