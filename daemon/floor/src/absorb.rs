//! Takes one event of the log into a ledger, whatever it dirties.
//!
//! This is the only place that decides what an event changes beside itself:
//! memory and the daemon's database run the same function.

use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::event::{Event, EventId, JobKey, Position};
use crate::fact::Fact;
use crate::ledger::{Entry, Index, Mark};
use crate::notice::Notice;
use crate::overlay::Overlay;
use crate::refold::{Dirty, Live, Refolded, go_on, refold};
use crate::row::{CoatedRow, Emitted, Row};

use baywright_terms::code::Code;

/// The fold of a log beside its ledger. `cats` and `overlay` are rebuilt at
/// start with [`Fold::recall`]; `live` is stored.
#[derive(Debug, Clone, Default)]
pub struct Fold {
    pub live: Live,
    pub cats: Catalogues,
    pub overlay: Overlay,
}

/// What the person who posted an event is told.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Absorbed {
    pub job: Option<JobKey>,
    /// Workers it counts for, filled in by the fold.
    pub by: Vec<Code>,
    pub notices: Vec<Notice>,
    /// The section that it spread.
    pub coated: Option<CoatedRow>,
    /// Struck by an event that came before it; it counts for nothing.
    pub struck: bool,
    pub events_replayed: usize,
}

impl Fold {
    /// Learns of a stored event at start, in the order of the log: only
    /// strikes, settlements and catalogue changes matter. Call
    /// [`Fold::recalled`] after the last.
    pub fn recall(&mut self, event: &Event) {
        match &event.fact {
            Fact::StruckOut { event: target, .. } => {
                self.overlay.strike(*target, event.id);
            }
            Fact::Settled(settled) => {
                self.overlay
                    .settle(settled.event, event.id, event.seq, settled.clone());
            }
            Fact::CatalogueSet {
                valid_from,
                changed,
                learned_up_to,
            } => self.cats.note(
                *valid_from,
                event.received,
                event.seq,
                event.id,
                changed.as_ref().clone(),
                *learned_up_to,
            ),
            _ => {}
        }
    }

    /// Takes struck catalogue changes out again and lays the others over each other.
    pub fn recalled(&mut self) {
        let overlay = &self.overlay;
        self.cats.retain(|event| !overlay.is_struck(event));
    }

    /// Takes the next event of the log in: the ledger's rows are then what
    /// folding all its events would give.
    pub fn absorb<L: Index>(
        &mut self,
        ledger: &mut L,
        event: &Event,
    ) -> Result<Absorbed, L::Error> {
        let mut told = Absorbed::default();
        if ledger.holds(event.id)? {
            return Ok(told);
        }
        self.change_others(ledger, event, &mut told)?;
        let settled = self.overlay.settled(event.id);
        let mark = Mark {
            struck: self.overlay.is_struck(event.id),
            settled: &settled,
        };
        ledger.put(event, mark)?;
        if mark.struck {
            told.struck = true;
            return Ok(told);
        }
        let rows = if self.is_in_order(&event.position) {
            let entry = Entry {
                event: event.clone(),
                settled: mark.settled.to_vec(),
            };
            go_on(ledger, &self.cats, &mut self.live, &entry)?
        } else {
            let dirty = Dirty {
                watch: Some(event.position.clone()),
                ..Dirty::at(event.position.occurred)
            };
            let refolded = refold(ledger, &self.cats, &dirty)?;
            told.events_replayed += refolded.events_replayed;
            self.stand_on(refolded)
        };
        tell(&mut told, event.id, rows);
        Ok(told)
    }

    /// What this event changes about others: strikes, settlements and the catalogue.
    fn change_others<L: Index>(
        &mut self,
        ledger: &mut L,
        event: &Event,
        told: &mut Absorbed,
    ) -> Result<(), L::Error> {
        let changed = match &event.fact {
            Fact::StruckOut { event: target, .. } => {
                if !ledger.holds(*target)? {
                    told.notices.push(Notice::StrikeUnknown);
                }
                self.overlay.strike(*target, event.id)
            }
            Fact::Settled(settled) => {
                if !ledger.holds(settled.event)? {
                    told.notices.push(Notice::SettledUnknown);
                }
                self.overlay
                    .settle(settled.event, event.id, event.seq, settled.clone())
            }
            Fact::CatalogueSet { valid_from, .. } => {
                if !self.overlay.is_struck(event.id) {
                    self.add_catalogue(event);
                    self.refold(ledger, &Dirty::from(*valid_from), told)?;
                }
                return Ok(());
            }
            _ => return Ok(()),
        };
        let mut dirty = Vec::new();
        for id in changed {
            let settled = self.overlay.settled(id);
            let mark = Mark {
                struck: self.overlay.is_struck(id),
                settled: &settled,
            };
            let struck = mark.struck;
            let Some(target) = ledger.mark(id, mark)? else {
                continue;
            };
            dirty.push(Dirty::at(target.position.occurred));
            if let Fact::CatalogueSet { valid_from, .. } = &target.fact {
                // Which shop entry is the first, whose hours may be backdated,
                // can change with it, so all that any of them touches is dirty.
                let before = self.cats.earliest();
                if struck {
                    self.cats.remove(id);
                } else {
                    self.add_catalogue(&target);
                }
                let earliest = before.into_iter().chain(self.cats.earliest());
                let from = earliest.fold(*valid_from, Micros::min);
                dirty.push(Dirty::from(from));
            }
        }
        dirty.sort_by_key(|d| d.from);
        for span in dirty {
            self.refold(ledger, &span, told)?;
        }
        Ok(())
    }

    fn refold<L: Index>(
        &mut self,
        ledger: &mut L,
        dirty: &Dirty,
        told: &mut Absorbed,
    ) -> Result<(), L::Error> {
        if self
            .live
            .last
            .as_ref()
            .is_none_or(|l| l.occurred < dirty.from)
        {
            return Ok(());
        }
        let refolded = refold(ledger, &self.cats, dirty)?;
        told.events_replayed += refolded.events_replayed;
        self.stand_on(refolded);
        Ok(())
    }

    /// Takes a new live state over, and gives the watched rows.
    fn stand_on(&mut self, refolded: Refolded) -> Vec<Emitted> {
        if let Some(live) = refolded.live {
            self.live.state = live.state;
            self.live.since_checkpoint = live.since_checkpoint;
            self.live.last = self.live.last.take().max(live.last);
        }
        refolded.watched
    }

    /// Folds everything from an instant on again, where what events say can be
    /// read in another way than before.
    pub fn refold_from<L: Index>(&mut self, ledger: &mut L, from: Micros) -> Result<(), L::Error> {
        self.refold(ledger, &Dirty::from(from), &mut Absorbed::default())
    }

    fn is_in_order(&self, position: &Position) -> bool {
        self.live.last.as_ref().is_none_or(|last| last < position)
    }

    fn add_catalogue(&mut self, event: &Event) {
        if let Fact::CatalogueSet {
            valid_from,
            changed,
            learned_up_to,
        } = &event.fact
        {
            self.cats.add(
                *valid_from,
                event.received,
                event.seq,
                event.id,
                changed.as_ref().clone(),
                *learned_up_to,
            );
        }
    }

    /// Everything folded anew from the first event, as `rebuild` does.
    pub fn refold_all<L: Index>(&mut self, ledger: &mut L) -> Result<(), L::Error> {
        let first = Micros(i64::MIN);
        ledger.drop_checkpoints(first, None)?;
        let refolded = refold(ledger, &self.cats, &Dirty::from(first))?;
        self.stand_on(refolded);
        Ok(())
    }
}

/// Collects what the rows of an event say about the event itself.
fn tell(told: &mut Absorbed, id: EventId, rows: Vec<Emitted>) {
    for emitted in rows {
        match emitted.row {
            Row::Counted { event, job, by, .. } if event == id => {
                told.job = job;
                told.by = by;
            }
            Row::Notice(row) if row.event == id => told.notices.push(row.notice),
            Row::Coated(row) if row.event == id => told.coated = Some(row),
            _ => {}
        }
    }
}
