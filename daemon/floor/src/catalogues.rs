//! The catalogue as it held at each instant.
//!
//! Entries hold from their `valid_from` and are laid over each other in the
//! order (`valid_from`, seq). Open hours, breaks and zone are never backdated:
//! they hold from the later of `valid_from` and the receipt. The first ones a
//! shop gives are the exception: there were none before that they could rewrite,
//! and without them work recorded on day one would stay unreadable for ever.

use baywright_terms::catalogue::{Catalogue, Shop};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use jiff::tz::TimeZone;

use crate::event::{EventId, Seq};
use crate::shop_day::{ShopDay, Week};

/// One `catalogue_set` that is not struck.
#[derive(Debug, Clone, PartialEq)]
struct Change {
    valid_from: Micros,
    seq: Seq,
    received: Micros,
    /// From when its open hours, breaks and zone hold.
    hours_from: Micros,
    event: EventId,
    changed: Catalogue,
}

/// The catalogue in force from one instant to the next.
#[derive(Debug, Clone)]
pub struct Snapshot {
    pub from: Micros,
    pub catalogue: Catalogue,
    /// UTC where the catalogue gives none or an unknown one.
    pub zone: TimeZone,
    week: Week,
}

/// The history of the catalogue.
#[derive(Debug, Clone)]
pub struct Catalogues {
    changes: Vec<Change>,
    /// By `from`; the first holds since ever.
    snapshots: Vec<Snapshot>,
    empty: Snapshot,
}

impl Default for Catalogues {
    fn default() -> Self {
        Self {
            changes: Vec::new(),
            snapshots: Vec::new(),
            empty: Snapshot::new(Micros(i64::MIN), Catalogue::default()),
        }
    }
}

impl Snapshot {
    fn new(from: Micros, catalogue: Catalogue) -> Self {
        let zone = catalogue
            .shop
            .as_ref()
            .and_then(|shop| TimeZone::get(&shop.zone).ok())
            .unwrap_or(TimeZone::UTC);
        Self {
            from,
            week: Week::new(catalogue.shop.as_ref()),
            catalogue,
            zone,
        }
    }

    /// The shop day of an instant.
    pub fn shop_day(&self, at: Micros) -> ShopDay {
        self.week.shop_day(&self.zone, at)
    }

    /// Breaks that lie wholly inside a stretch.
    pub fn breaks_within(&self, from: Micros, until: Micros) -> Vec<(Micros, Micros)> {
        self.week.breaks_within(&self.zone, from, until)
    }

    /// Vehicles a bay holds at once; 1 where it is not in the catalogue.
    pub fn places(&self, bay: &Code) -> u32 {
        self.catalogue.bays.get(bay).map_or(1, |b| b.places.max(1))
    }
}

impl Catalogues {
    /// Adds what one `catalogue_set` changed. The same event twice is one.
    pub fn add(
        &mut self,
        valid_from: Micros,
        received: Micros,
        seq: Seq,
        event: EventId,
        changed: Catalogue,
    ) {
        self.changes.retain(|c| c.event != event);
        self.changes.push(Change {
            valid_from,
            seq,
            received,
            hours_from: valid_from.max(received),
            event,
            changed,
        });
        self.changes.sort_by_key(|c| (c.valid_from, c.seq, c.event));
        self.rebuild();
    }

    /// Takes a struck `catalogue_set` out.
    pub fn remove(&mut self, event: EventId) {
        self.changes.retain(|c| c.event != event);
        self.rebuild();
    }

    /// Keeps only the changes of events for which `keep` is true.
    pub fn retain(&mut self, keep: impl Fn(EventId) -> bool) {
        self.changes.retain(|c| keep(c.event));
        self.rebuild();
    }

    /// The catalogue in force at an instant.
    pub fn at(&self, at: Micros) -> &Snapshot {
        let after = self.snapshots.partition_point(|s| s.from <= at);
        match after.checked_sub(1) {
            Some(index) => self.snapshots.get(index).unwrap_or(&self.empty),
            None => &self.empty,
        }
    }

    /// The catalogue that holds last, whenever that begins.
    pub fn latest(&self) -> &Snapshot {
        self.snapshots.last().unwrap_or(&self.empty)
    }

    fn rebuild(&mut self) {
        let first = self
            .changes
            .iter()
            .filter(|c| c.changed.shop.is_some())
            .map(|c| c.seq)
            .min();
        for change in &mut self.changes {
            change.hours_from = if Some(change.seq) == first {
                change.valid_from
            } else {
                change.valid_from.max(change.received)
            };
        }
        let mut instants: Vec<Micros> = self
            .changes
            .iter()
            .flat_map(|c| {
                let hours = c.changed.shop.as_ref().map(|_| c.hours_from);
                [Some(c.valid_from), hours].into_iter().flatten()
            })
            .collect();
        instants.sort_unstable();
        instants.dedup();
        self.snapshots = instants.into_iter().map(|at| self.snapshot(at)).collect();
    }

    fn snapshot(&self, at: Micros) -> Snapshot {
        let mut catalogue = Catalogue::default();
        for change in self.changes.iter().filter(|c| c.valid_from <= at) {
            catalogue.apply(&change.changed);
        }
        let hours = self
            .changes
            .iter()
            .filter(|c| c.hours_from <= at)
            .filter_map(|c| Some(((c.hours_from, c.seq), c.changed.shop.as_ref()?)))
            .max_by_key(|(order, _)| *order)
            .map(|(_, shop)| shop);
        if let Some(shop) = &mut catalogue.shop {
            hold_hours(shop, hours);
        }
        Snapshot::new(at, catalogue)
    }
}

/// Replaces hours, breaks and zone by those that hold, or by none.
fn hold_hours(shop: &mut Shop, held: Option<&Shop>) {
    if let Some(held) = held {
        shop.zone.clone_from(&held.zone);
        shop.open.clone_from(&held.open);
        shop.breaks.clone_from(&held.breaks);
    } else {
        shop.zone = String::new();
        shop.open = Vec::new();
        shop.breaks = Vec::new();
    }
}

/// True where the catalogue does not know a code although it has such a table.
pub(crate) fn is_unknown<T>(table: &std::collections::BTreeMap<Code, T>, code: &Code) -> bool {
    !table.is_empty() && !code.is_empty() && !table.contains_key(code)
}
