//! Keeps the rows of a ledger equal to what folding everything would give.

use baywright_terms::time::Micros;
use serde::{Deserialize, Serialize};

use crate::catalogues::Catalogues;
use crate::event::Position;
use crate::ledger::{Entry, Ledger};
use crate::row::{Emitted, Row};
use crate::state::State;
use crate::step::step;

/// Events between two checkpoints, at least: a checkpoint is some kilobytes,
/// and refolding so many events takes less than a millisecond.
pub const CHECKPOINT_EVENTS: u32 = 64;

/// Events between two checkpoints of this state: half as many as it has jobs,
/// where those are more. A shop that never releases would otherwise fill its disk
/// with the square of its jobs; so its checkpoints hold two jobs an event at most.
fn events_between(state: &State) -> u32 {
    u32::try_from(state.jobs.len() / 2).map_or(u32::MAX, |half| half.max(CHECKPOINT_EVENTS))
}

/// The fold up to the last event, as it is kept between events and stored.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Live {
    pub state: State,
    /// The greatest position ever folded, struck since or not.
    pub last: Option<Position>,
    /// Events folded in order since the last checkpoint was put.
    pub since_checkpoint: u32,
}

/// The span of instants at which something changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Dirty {
    pub from: Micros,
    /// The last such instant; `None`: everything from `from` on, as when the
    /// catalogue changed. Only past it can a stored checkpoint be trusted.
    pub to: Option<Micros>,
    /// Rows with this origin are given back.
    pub watch: Option<Position>,
}

impl Dirty {
    /// One changed instant.
    pub fn at(instant: Micros) -> Self {
        Self {
            from: instant,
            to: Some(instant),
            watch: None,
        }
    }

    /// Everything from an instant on.
    pub fn from(instant: Micros) -> Self {
        Self {
            from: instant,
            to: None,
            watch: None,
        }
    }
}

/// What a refold did.
#[derive(Debug, Clone, PartialEq)]
pub struct Refolded {
    /// The state after the last event; `None`: the fold converged on a stored
    /// checkpoint and the live state stands.
    pub live: Option<Live>,
    /// Rows with an origin from here ...
    pub from: Micros,
    /// ... up to here were replaced; `None`: to the end.
    pub until: Option<Micros>,
    pub segments: u32,
    pub events_replayed: usize,
    /// Rows of the watched origin.
    pub watched: Vec<Emitted>,
}

/// Folds again what a change at `dirty` can have touched: from the checkpoint
/// at or before it, segment by segment, until the state at a stored checkpoint
/// is the one that is stored. The rows after that are right as they are.
pub fn refold<L: Ledger>(
    ledger: &mut L,
    cats: &Catalogues,
    dirty: &Dirty,
) -> Result<Refolded, L::Error> {
    let (mut at, mut state) = match ledger.checkpoint_at_or_before(dirty.from)? {
        Some(found) => found,
        None => (Micros(i64::MIN), State::default()),
    };
    let mut done = Refolded {
        live: None,
        from: at,
        until: None,
        segments: 0,
        events_replayed: 0,
        watched: Vec::new(),
    };
    loop {
        let next = ledger.checkpoint_after(at)?;
        let until = next.as_ref().map(|(until, _)| *until);
        let entries = ledger.entries(at, until)?;
        let replayed = replay(ledger, cats, state, &entries)?;
        ledger.replace_rows(at, until, &replayed.rows)?;
        if let Some(watch) = &dirty.watch {
            let of_watch = replayed.rows.into_iter().filter(|r| r.origin == *watch);
            done.watched.extend(of_watch);
        }
        done.segments += 1;
        done.events_replayed += entries.len();
        state = replayed.state;
        let Some((until, stored)) = next else {
            done.live = Some(Live {
                state,
                last: entries.last().map(|e| e.event.position.clone()),
                since_checkpoint: replayed.since_checkpoint,
            });
            return Ok(done);
        };
        if dirty.to.is_some_and(|to| until > to) && state == stored {
            done.until = Some(until);
            return Ok(done);
        }
        ledger.put_checkpoint(until, &state)?;
        at = until;
    }
}

/// Steps the live state over an event that lies after all others.
pub fn go_on<L: Ledger>(
    ledger: &mut L,
    cats: &Catalogues,
    live: &mut Live,
    entry: &Entry,
) -> Result<Vec<Emitted>, L::Error> {
    let mut pace = Pace {
        since: live.since_checkpoint,
        last: live.last.as_ref().map(|p| p.occurred),
    };
    pace.before(ledger, entry.event.position.occurred, &live.state)?;
    let rows = emit(&mut live.state, cats, entry);
    live.since_checkpoint = pace.since;
    live.last = Some(entry.event.position.clone());
    ledger.add_rows(&rows)?;
    Ok(rows)
}

struct Replayed {
    state: State,
    rows: Vec<Emitted>,
    since_checkpoint: u32,
}

/// When a checkpoint is due: only between events of different instants.
struct Pace {
    since: u32,
    last: Option<Micros>,
}

impl Pace {
    fn before<L: Ledger>(
        &mut self,
        ledger: &mut L,
        occurred: Micros,
        state: &State,
    ) -> Result<(), L::Error> {
        if self.since >= events_between(state) && self.last.is_some_and(|last| last < occurred) {
            ledger.put_checkpoint(occurred, state)?;
            self.since = 0;
        }
        self.since = self.since.saturating_add(1);
        self.last = Some(occurred);
        Ok(())
    }
}

fn replay<L: Ledger>(
    ledger: &mut L,
    cats: &Catalogues,
    mut state: State,
    entries: &[Entry],
) -> Result<Replayed, L::Error> {
    let mut rows = Vec::with_capacity(entries.len() * 2);
    let mut pace = Pace {
        since: 0,
        last: None,
    };
    for entry in entries {
        pace.before(ledger, entry.event.position.occurred, &state)?;
        rows.append(&mut emit(&mut state, cats, entry));
    }
    Ok(Replayed {
        state,
        rows,
        since_checkpoint: pace.since,
    })
}

fn emit(state: &mut State, cats: &Catalogues, entry: &Entry) -> Vec<Emitted> {
    let mut out: Vec<Row> = Vec::new();
    step(state, cats, entry, &mut out);
    (0..)
        .zip(out)
        .map(|(ordinal, row)| Emitted {
            origin: entry.event.position.clone(),
            ordinal,
            row,
        })
        .collect()
}
