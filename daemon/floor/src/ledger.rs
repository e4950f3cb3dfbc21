//! Where the fold keeps its events, checkpoints and rows. Two implementations
//! pass one contract suite: memory (here, the model) and SQLite (the daemon).

use baywright_terms::time::Micros;

use crate::event::{Event, EventId};
use crate::fact::Settled;
use crate::row::Emitted;
use crate::state::State;

/// An event that is not struck, with the settlements that hold for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    pub event: Event,
    /// The latest first.
    pub settled: Vec<Settled>,
}

/// What `refold` needs of a store.
///
/// A checkpoint at `k` is the state after every event with `occurred < k`.
pub trait Ledger {
    type Error;

    /// Live events with `from <= occurred` and, where given, `occurred < until`, in order of position.
    fn entries(&mut self, from: Micros, until: Option<Micros>) -> Result<Vec<Entry>, Self::Error>;

    /// The checkpoint with the greatest key not after `at`.
    fn checkpoint_at_or_before(
        &mut self,
        at: Micros,
    ) -> Result<Option<(Micros, State)>, Self::Error>;

    /// The checkpoint with the smallest key after `at`.
    fn checkpoint_after(&mut self, at: Micros) -> Result<Option<(Micros, State)>, Self::Error>;

    fn put_checkpoint(&mut self, at: Micros, state: &State) -> Result<(), Self::Error>;

    /// Drops checkpoints with `from < key` and, where given, `key < until`.
    fn drop_checkpoints(&mut self, from: Micros, until: Option<Micros>) -> Result<(), Self::Error>;

    /// Replaces the rows whose origin lies in `from..until` by `rows`.
    fn replace_rows(
        &mut self,
        from: Micros,
        until: Option<Micros>,
        rows: &[Emitted],
    ) -> Result<(), Self::Error>;

    /// Adds rows of one event that lies after all others.
    fn add_rows(&mut self, rows: &[Emitted]) -> Result<(), Self::Error>;
}

/// What `absorb` needs of a store beside [`Ledger`]: the events by id, and
/// whether each counts.
///
/// `entries` gives only events whose mark says that they are not struck, with
/// the settlements of their mark.
pub trait Index: Ledger {
    /// Keeps an event, with its mark. A repeated id is not put again.
    fn put(&mut self, event: &Event, mark: Mark<'_>) -> Result<(), Self::Error>;

    /// Changes the mark of an event and gives the event; `None` where it has
    /// not come yet.
    fn mark(&mut self, id: EventId, mark: Mark<'_>) -> Result<Option<Event>, Self::Error>;

    /// True where an event with this id has been put.
    fn holds(&mut self, id: EventId) -> Result<bool, Self::Error>;
}

/// Whether an event counts, and the settlements that hold for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark<'a> {
    pub struck: bool,
    /// The latest first.
    pub settled: &'a [Settled],
}
