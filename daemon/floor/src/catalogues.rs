//! The catalogue as it held at each instant.
//!
//! Entries hold from their `valid_from` and are laid over each other in the
//! order (`valid_from`, seq). Open hours, breaks and zone are never backdated:
//! they hold from the later of `valid_from` and the receipt. The first ones a
//! shop gives are the exception: there were none before that they could rewrite,
//! and without them work recorded on day one would stay unreadable for ever.

use std::collections::BTreeMap;

use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance, Shop, StageAllowance};
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
    /// Its allowances were learned from records up to here.
    learned_up_to: Option<Seq>,
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
        learned_up_to: Option<Seq>,
    ) {
        self.note(valid_from, received, seq, event, changed, learned_up_to);
        self.rebuild();
    }

    /// Adds a change without working the snapshots out: [`Catalogues::retain`]
    /// does so once, after many.
    pub(crate) fn note(
        &mut self,
        valid_from: Micros,
        received: Micros,
        seq: Seq,
        event: EventId,
        changed: Catalogue,
        learned_up_to: Option<Seq>,
    ) {
        self.changes.retain(|c| c.event != event);
        self.changes.push(Change {
            valid_from,
            seq,
            received,
            hours_from: valid_from.max(received),
            event,
            changed,
            learned_up_to,
        });
        self.changes.sort_by_key(|c| (c.valid_from, c.seq, c.event));
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

    /// The catalogues that ever held, in order of time.
    pub fn all(&self) -> impl Iterator<Item = &Snapshot> {
        self.snapshots.iter()
    }

    /// Job types as they hold at an instant, each allowance the last one that a
    /// person gave: what was learned and applied moves none, and neither does a
    /// person who sends a value again unchanged. Records are compared with these,
    /// so applying what they said never counts them twice.
    pub fn given_job_types(&self, at: Micros) -> BTreeMap<Code, JobType> {
        let mut in_force: BTreeMap<Code, JobType> = BTreeMap::new();
        let mut given: BTreeMap<Code, JobType> = BTreeMap::new();
        for change in self.changes.iter().filter(|c| c.valid_from <= at) {
            for (code, changed) in &change.changed.job_types {
                let mut now = changed.clone();
                if let (Some(before), Some(base)) = (in_force.get(code), given.get(code)) {
                    keep_given(&mut now, before, base, change.learned_up_to.is_some());
                }
                given.insert(code.clone(), now);
                in_force.insert(code.clone(), changed.clone());
            }
        }
        given
    }

    /// From when any change holds at all.
    pub(crate) fn earliest(&self) -> Option<Micros> {
        self.changes.first().map(|c| c.valid_from)
    }

    /// Lays the changes over each other from the first on, with a snapshot at
    /// every instant at which something begins to hold.
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
        let hours_from = |c: &Change| c.changed.shop.as_ref().map(|_| c.hours_from);
        let mut instants: Vec<Micros> = self
            .changes
            .iter()
            .flat_map(|c| std::iter::once(c.valid_from).chain(hours_from(c)))
            .collect();
        instants.sort_unstable();
        instants.dedup();
        let mut by_hours: Vec<&Change> = self
            .changes
            .iter()
            .filter(|c| c.changed.shop.is_some())
            .collect();
        by_hours.sort_by_key(|c| (c.hours_from, c.seq, c.event));
        let mut changes = self.changes.iter().peekable();
        let mut by_hours = by_hours.into_iter().peekable();
        let mut laid = Catalogue::default();
        let mut hours = None;
        self.snapshots = instants
            .into_iter()
            .map(|at| {
                while let Some(change) = changes.next_if(|c| c.valid_from <= at) {
                    laid.apply(&change.changed);
                }
                while let Some(change) = by_hours.next_if(|c| c.hours_from <= at) {
                    hours = change.changed.shop.as_ref();
                }
                let mut catalogue = laid.clone();
                if let Some(shop) = &mut catalogue.shop {
                    hold_hours(shop, hours);
                }
                Snapshot::new(at, catalogue)
            })
            .collect();
    }
}

/// Puts back the given allowance of each stage and product that `now` does not
/// change by a person's hand.
fn keep_given(now: &mut JobType, before: &JobType, base: &JobType, learned: bool) {
    for stage in &mut now.stages {
        let is_it = |a: &&StageAllowance| a.stage == stage.stage;
        let same = before.stages.iter().find(is_it);
        let same = same.is_some_and(|b| b.allowance_us == stage.allowance_us);
        if let Some(base) = base.stages.iter().find(is_it).filter(|_| learned || same) {
            stage.clone_from(base);
        }
    }
    for product in &mut now.products {
        let is_it = |a: &&ProductAllowance| a.product == product.product;
        let same = before.products.iter().find(is_it);
        let same = same.is_some_and(|b| b.amount.quantity() == product.amount.quantity());
        if let Some(base) = base.products.iter().find(is_it).filter(|_| learned || same) {
            product.clone_from(base);
        }
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
pub(crate) fn is_unknown<T>(table: &BTreeMap<Code, T>, code: &Code) -> bool {
    !table.is_empty() && !code.is_empty() && !table.contains_key(code)
}

#[cfg(test)]
mod tests {
    use super::*;
    use baywright_terms::catalogue::{Bay, ShopCosts, UnitSystem};
    use baywright_terms::hours::OpenHours;

    fn change(bay: &str, places: u32) -> Catalogue {
        let mut changed = Catalogue::default();
        let name = String::new();
        let retired = false;
        changed.bays.insert(
            bay.into(),
            Bay {
                name,
                places,
                retired,
            },
        );
        changed
    }

    fn shop(from_min: u16) -> Catalogue {
        Catalogue {
            shop: Some(Shop {
                name: format!("opens at {from_min}"),
                zone: "Europe/Berlin".to_owned(),
                currency: "EUR".to_owned(),
                units: UnitSystem::Metric,
                open: vec![OpenHours {
                    weekday: 1,
                    from_min,
                    until_min: 1080,
                }],
                breaks: Vec::new(),
                soil_grades: Vec::new(),
                defects_grades: Vec::new(),
                intricacy_grades: Vec::new(),
                costs: ShopCosts::default(),
            }),
            ..Catalogue::default()
        }
    }

    fn add(cats: &mut Catalogues, n: u8, valid_from: i64, received: i64, changed: Catalogue) {
        let (event, seq) = (EventId([n; 16]), Seq(u64::from(n)));
        cats.add(
            Micros(valid_from),
            Micros(received),
            seq,
            event,
            changed,
            None,
        );
    }

    #[test]
    fn entries_hold_from_their_instant_in_the_order_of_valid_from_then_seq() {
        let mut cats = Catalogues::default();
        add(&mut cats, 3, 10, 50, change("bay-1", 3));
        add(&mut cats, 2, 10, 60, change("bay-1", 2));
        add(&mut cats, 1, 30, 70, change("bay-1", 1));
        let places = |at| cats.at(Micros(at)).places(&"bay-1".into());
        assert_eq!([9, 10, 29, 30, 99].map(places), [1, 3, 3, 1, 1]);
        assert!(cats.at(Micros(9)).catalogue.bays.is_empty());
        cats.remove(EventId([3; 16]));
        assert_eq!(cats.at(Micros(10)).places(&"bay-1".into()), 2);
    }

    #[test]
    fn open_hours_and_zone_are_not_backdated_but_the_first_and_the_rest_of_the_shop_are() {
        let mut cats = Catalogues::default();
        add(&mut cats, 1, 0, 0, shop(480));
        add(&mut cats, 2, 10, 40, shop(540));
        let opens = |at| {
            let shop = cats.at(Micros(at)).catalogue.shop.clone();
            shop.map(|s| (s.name, s.open[0].from_min))
        };
        let (old, new) = ("opens at 480".to_owned(), "opens at 540".to_owned());
        assert_eq!(opens(9), Some((old, 480)));
        assert_eq!(opens(10), Some((new.clone(), 480)));
        assert_eq!(opens(40), Some((new, 540)));
        // The first hours that a shop gives had none before them to rewrite.
        cats.remove(EventId([1; 16]));
        let new = "opens at 540".to_owned();
        assert_eq!(cats.at(Micros(9)).zone, TimeZone::UTC);
        let shop = cats.at(Micros(10)).catalogue.shop.clone();
        assert_eq!(shop.map(|s| (s.name, s.open[0].from_min)), Some((new, 540)));
    }

    fn allows(polish_min: i64) -> Catalogue {
        let job_type = JobType {
            name: String::new(),
            vehicle_class: "saloon".into(),
            stages: vec![StageAllowance {
                stage: "polish".into(),
                allowance_us: polish_min,
                source: baywright_terms::catalogue::Source::Shop,
            }],
            products: Vec::new(),
            panels: Vec::new(),
            price: None,
            retired: false,
        };
        let mut changed = Catalogue::default();
        changed.job_types.insert("saloon-coat".into(), job_type);
        changed
    }

    fn given(cats: &Catalogues, at: i64) -> i64 {
        let types = cats.given_job_types(Micros(at));
        types[&Code::new("saloon-coat")].stages[0].allowance_us
    }

    #[test]
    fn what_was_learned_and_applied_moves_no_given_allowance() {
        let mut cats = Catalogues::default();
        add(&mut cats, 1, 10, 10, allows(100));
        let learned = |cats: &mut Catalogues, n: u8, at: i64, us: i64| {
            let (event, seq) = (EventId([n; 16]), Seq(u64::from(n)));
            cats.add(Micros(at), Micros(at), seq, event, allows(us), Some(seq));
        };
        learned(&mut cats, 2, 20, 130);
        assert_eq!(given(&cats, 25), 100);
        // A file sent again carries what was applied: nobody chose it.
        add(&mut cats, 3, 30, 30, allows(130));
        assert_eq!(given(&cats, 35), 100);
        // A person who gives another value has chosen it.
        add(&mut cats, 4, 40, 40, allows(120));
        assert_eq!(given(&cats, 45), 120);
        learned(&mut cats, 5, 50, 150);
        assert_eq!(given(&cats, 55), 120);
        assert_eq!([15, 45].map(|at| given(&cats, at)), [100, 120]);
        // Struck, it was never given.
        cats.remove(EventId([4; 16]));
        assert_eq!(given(&cats, 55), 100);
    }
}
