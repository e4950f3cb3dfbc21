//! A ledger in memory: the model that the daemon's database is held against,
//! and what `--as-of` folds into.

use std::collections::BTreeMap;
use std::convert::Infallible;

use baywright_terms::time::Micros;

use crate::absorb::{Absorbed, Fold};
use crate::event::{Event, EventId, Position};
use crate::fact::Settled;
use crate::ledger::{Entry, Index, Ledger, Mark};
use crate::refold::go_on;
use crate::row::{Emitted, Row};
use crate::state::State;

/// Events, rows and checkpoints in ordered maps.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MemoryLedger {
    events: BTreeMap<Position, Kept>,
    places: BTreeMap<EventId, Position>,
    rows: BTreeMap<(Position, u32), Row>,
    checkpoints: BTreeMap<Micros, State>,
}

#[derive(Debug, Clone, PartialEq)]
struct Kept {
    event: Event,
    struck: bool,
    settled: Vec<Settled>,
}

/// The least position at an instant.
fn first_at(at: Micros) -> Position {
    Position {
        occurred: at,
        device: "".into(),
        device_seq: 0,
    }
}

impl MemoryLedger {
    /// All rows in the order of their key.
    pub fn rows(&self) -> impl Iterator<Item = (&Position, u32, &Row)> {
        self.rows
            .iter()
            .map(|((origin, ordinal), row)| (origin, *ordinal, row))
    }

    /// Instants at which a checkpoint is kept.
    pub fn checkpoints(&self) -> impl Iterator<Item = Micros> {
        self.checkpoints.keys().copied()
    }

    /// An event by its id, struck or not.
    pub fn event(&self, id: EventId) -> Option<&Event> {
        Some(&self.events.get(self.places.get(&id)?)?.event)
    }
}

impl Ledger for MemoryLedger {
    type Error = Infallible;

    fn entries(&mut self, from: Micros, until: Option<Micros>) -> Result<Vec<Entry>, Infallible> {
        Ok(self
            .events
            .range(first_at(from)..)
            .take_while(|(at, _)| until.is_none_or(|until| at.occurred < until))
            .filter(|(_, kept)| !kept.struck)
            .map(|(_, kept)| Entry {
                event: kept.event.clone(),
                settled: kept.settled.clone(),
            })
            .collect())
    }

    fn checkpoint_at_or_before(
        &mut self,
        at: Micros,
    ) -> Result<Option<(Micros, State)>, Infallible> {
        Ok(self
            .checkpoints
            .range(..=at)
            .next_back()
            .map(|(at, state)| (*at, state.clone())))
    }

    fn checkpoint_after(&mut self, at: Micros) -> Result<Option<(Micros, State)>, Infallible> {
        Ok(self
            .checkpoints
            .range((std::ops::Bound::Excluded(at), std::ops::Bound::Unbounded))
            .next()
            .map(|(at, state)| (*at, state.clone())))
    }

    fn put_checkpoint(&mut self, at: Micros, state: &State) -> Result<(), Infallible> {
        self.checkpoints.insert(at, state.clone());
        Ok(())
    }

    fn drop_checkpoints(&mut self, from: Micros, until: Option<Micros>) -> Result<(), Infallible> {
        self.checkpoints
            .retain(|at, _| *at <= from || until.is_some_and(|until| *at >= until));
        Ok(())
    }

    fn replace_rows(
        &mut self,
        from: Micros,
        until: Option<Micros>,
        rows: &[Emitted],
    ) -> Result<(), Infallible> {
        let first = (first_at(from), 0);
        if let Some(until) = until {
            // One by one: a segment is short, and joining maps costs the whole.
            let replaced: Vec<(Position, u32)> = self
                .rows
                .range(first..(first_at(until), 0))
                .map(|(key, _)| key.clone())
                .collect();
            for key in replaced {
                self.rows.remove(&key);
            }
        } else {
            self.rows.split_off(&first);
        }
        self.add_rows(rows)
    }

    fn add_rows(&mut self, rows: &[Emitted]) -> Result<(), Infallible> {
        self.rows.extend(
            rows.iter()
                .map(|r| ((r.origin.clone(), r.ordinal), r.row.clone())),
        );
        Ok(())
    }
}

impl Index for MemoryLedger {
    fn put(&mut self, event: &Event, mark: Mark<'_>) -> Result<(), Infallible> {
        self.places.insert(event.id, event.position.clone());
        self.events.insert(
            event.position.clone(),
            Kept {
                event: event.clone(),
                struck: mark.struck,
                settled: mark.settled.to_vec(),
            },
        );
        Ok(())
    }

    fn mark(&mut self, id: EventId, mark: Mark<'_>) -> Result<Option<Event>, Infallible> {
        let Some(kept) = self
            .places
            .get(&id)
            .and_then(|place| self.events.get_mut(place))
        else {
            return Ok(None);
        };
        kept.struck = mark.struck;
        kept.settled = mark.settled.to_vec();
        Ok(Some(kept.event.clone()))
    }

    fn holds(&mut self, id: EventId) -> Result<bool, Infallible> {
        Ok(self.places.contains_key(&id))
    }
}

/// A whole fold in memory.
#[derive(Debug, Clone, Default)]
pub struct Book {
    pub ledger: MemoryLedger,
    pub fold: Fold,
    /// Numbers the log gave to jobs.
    pub numbers: BTreeMap<u64, EventId>,
}

impl Book {
    /// Folds the events of a log from the start, each once, in the order in
    /// which things happened. `events` come in the order of the log: strikes,
    /// settlements and catalogue changes take effect in it.
    ///
    /// Nothing is ever folded again here, so this is what [`Book::absorb`] and
    /// the daemon's database are held against.
    pub fn from_start(events: &[Event]) -> Self {
        let mut book = Self::default();
        for event in events {
            if let Some(number) = event.job_number {
                book.numbers.insert(number, event.id);
            }
            book.fold.recall(event);
        }
        book.fold.recalled();
        let Ok(()) = book.fold_in_order(events);
        book
    }

    fn fold_in_order(&mut self, events: &[Event]) -> Result<(), Infallible> {
        for event in events {
            let settled = self.fold.overlay.settled(event.id);
            let mark = Mark {
                struck: self.fold.overlay.is_struck(event.id),
                settled: &settled,
            };
            self.ledger.put(event, mark)?;
        }
        for entry in self.ledger.entries(Micros(i64::MIN), None)? {
            go_on(
                &mut self.ledger,
                &self.fold.cats,
                &mut self.fold.live,
                &entry,
            )?;
        }
        Ok(())
    }

    /// Takes the next event of the log in.
    pub fn absorb(&mut self, event: &Event) -> Absorbed {
        if let Some(number) = event.job_number {
            self.numbers.insert(number, event.id);
        }
        match self.fold.absorb(&mut self.ledger, event) {
            Ok(told) => told,
        }
    }

    /// Rows in the order of their key.
    pub fn rows(&self) -> impl Iterator<Item = &Row> {
        self.ledger.rows().map(|(_, _, row)| row)
    }

    /// Rows of what still runs, cut at an instant.
    pub fn provisional(&self, as_of: Micros) -> Vec<Row> {
        crate::step::provisional(&self.fold.live.state, &self.fold.cats, as_of)
    }
}
