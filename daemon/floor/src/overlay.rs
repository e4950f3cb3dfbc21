//! Strikes and settlements: which events count, and which answer holds.
//!
//! Pure bookkeeping by event id. A strike is live unless a live strike strikes
//! it; strikes that strike each other in a ring are all void. The result does
//! not depend on the order in which strikes arrive. It holds strikes and
//! settlements only, which are few, so a ledger keeps it in memory and
//! rebuilds it at start.

use std::collections::{BTreeMap, BTreeSet};

use crate::event::{EventId, Seq};
use crate::fact::Settled;
use crate::reply;

/// All strikes and settlements known so far.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Overlay {
    /// Strike → what it strikes.
    struck_by_strike: BTreeMap<EventId, EventId>,
    /// Target → its strikes, live or not.
    strikes_on: BTreeMap<EventId, BTreeSet<EventId>>,
    /// Target → number of its live strikes, where not 0.
    live_on: BTreeMap<EventId, u32>,
    /// Strikes in a ring.
    void: BTreeSet<EventId>,
    /// Settlement → what it settles.
    settled_by: BTreeMap<EventId, EventId>,
    /// Target → its settlements in the order of the log.
    settlements_on: BTreeMap<EventId, BTreeMap<(Seq, EventId), Settled>>,
}

impl Overlay {
    /// Notes a strike; gives the events whose standing it changed: struck or
    /// not any more, or settled in another way.
    pub fn strike(&mut self, target: EventId, striker: EventId) -> Vec<EventId> {
        if self.struck_by_strike.contains_key(&striker) {
            return Vec::new();
        }
        self.struck_by_strike.insert(striker, target);
        self.strikes_on.entry(target).or_default().insert(striker);
        let before = |overlay: &Self, id: &EventId| overlay.live_on.contains_key(id);
        let mut flipped = BTreeMap::new();
        if let Some(ring) = self.ring_of(striker) {
            let lived: Vec<(EventId, bool)> = ring
                .iter()
                .map(|node| (*node, *node != striker && self.is_live(*node)))
                .collect();
            for (node, was_live) in lived {
                flipped.entry(node).or_insert(before(self, &node));
                self.void.insert(node);
                if was_live && let Some(on) = self.struck_by_strike.get(&node).copied() {
                    self.lower(on);
                }
            }
        } else if self.is_live(striker) {
            self.raise(target, &mut flipped);
        }
        let mut changed: Vec<EventId> = flipped
            .into_iter()
            .filter(|(id, was)| before(self, id) != *was)
            .map(|(id, _)| id)
            .collect();
        let settled: Vec<EventId> = changed
            .iter()
            .filter_map(|id| self.settled_by.get(id).copied())
            .collect();
        changed.extend(settled);
        changed.sort_unstable();
        changed.dedup();
        changed
    }

    /// Notes a settlement; gives the events that are settled otherwise now.
    pub fn settle(
        &mut self,
        target: EventId,
        id: EventId,
        seq: Seq,
        settled: Settled,
    ) -> Vec<EventId> {
        if self.settled_by.contains_key(&id) {
            return Vec::new();
        }
        let before = self.settled(target);
        self.settled_by.insert(id, target);
        self.settlements_on
            .entry(target)
            .or_default()
            .insert((seq, id), settled);
        if self.settled(target) == before {
            Vec::new()
        } else {
            vec![target]
        }
    }

    /// True where a live strike takes the event back.
    pub fn is_struck(&self, id: EventId) -> bool {
        self.live_on.contains_key(&id)
    }

    /// The settlements that hold for an event, the latest first.
    pub fn settled(&self, id: EventId) -> Vec<Settled> {
        let Some(on) = self.settlements_on.get(&id) else {
            return Vec::new();
        };
        let live = on
            .iter()
            .filter(|((_, settlement), _)| !self.is_struck(*settlement));
        reply::held(live.map(|(_, settled)| settled))
    }

    fn is_live(&self, strike: EventId) -> bool {
        !self.void.contains(&strike) && !self.is_struck(strike)
    }

    /// The ring that a strike closes: itself and what it leads to, back to itself.
    fn ring_of(&self, strike: EventId) -> Option<Vec<EventId>> {
        let mut ring = vec![strike];
        let mut seen = BTreeSet::from([strike]);
        let mut at = strike;
        loop {
            at = *self.struck_by_strike.get(&at)?;
            if at == strike {
                return Some(ring);
            }
            // An older ring that this strike only leads into.
            if !seen.insert(at) {
                return None;
            }
            ring.push(at);
        }
    }

    /// One more live strike on `on`; what that makes dead further on lives again, and so on.
    fn raise(&mut self, on: EventId, flipped: &mut BTreeMap<EventId, bool>) {
        let mut at = on;
        let mut adds = true;
        loop {
            let was_struck = self.is_struck(at);
            flipped.entry(at).or_insert(was_struck);
            let was_live = self.is_live(at);
            if adds {
                *self.live_on.entry(at).or_default() += 1;
            } else {
                self.lower(at);
            }
            let is_live = self.is_live(at);
            let Some(next) = self.struck_by_strike.get(&at).copied() else {
                return;
            };
            if was_live == is_live {
                return;
            }
            adds = is_live;
            at = next;
        }
    }

    fn lower(&mut self, on: EventId) {
        if let Some(count) = self.live_on.get_mut(&on) {
            *count -= 1;
            if *count == 0 {
                self.live_on.remove(&on);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fact::Answer;

    fn id(n: u8) -> EventId {
        EventId([n; 16])
    }

    #[test]
    fn a_strike_strikes_and_a_struck_strike_does_not() {
        let mut o = Overlay::default();
        assert_eq!(o.strike(id(1), id(2)), vec![id(1)]);
        assert!(o.is_struck(id(1)));
        assert_eq!(o.strike(id(2), id(3)), vec![id(1), id(2)]);
        assert!(!o.is_struck(id(1)));
        assert!(o.is_struck(id(2)));
        assert_eq!(o.strike(id(3), id(4)), vec![id(1), id(2), id(3)]);
        assert!(o.is_struck(id(1)));
    }

    #[test]
    fn a_second_live_strike_keeps_an_event_struck() {
        let mut o = Overlay::default();
        o.strike(id(1), id(2));
        assert_eq!(o.strike(id(1), id(3)), vec![]);
        o.strike(id(2), id(4));
        assert!(o.is_struck(id(1)));
    }

    #[test]
    fn strikes_in_a_ring_are_void_in_any_order_of_arrival() {
        let strikes = [(2, 3), (3, 2), (1, 2), (3, 4), (5, 5), (2, 6)];
        let mut seen = Vec::new();
        for shift in 0..strikes.len() {
            let mut o = Overlay::default();
            for at in 0..strikes.len() {
                let (target, striker) = strikes[(at + shift) % strikes.len()];
                o.strike(id(target), id(striker));
            }
            seen.push((1..=6).map(|n| o.is_struck(id(n))).collect::<Vec<_>>());
        }
        assert!(seen.windows(2).all(|w| w[0] == w[1]), "{seen:?}");
        assert!(!seen[0][0], "struck by a void strike");
    }

    #[test]
    fn the_latest_live_settlement_by_seq_holds() {
        let settled = |reason: &str| Settled {
            event: id(1),
            reason: reason.into(),
            answer: Answer::AsIs,
            question: String::new(),
            of: String::new(),
        };
        let mut o = Overlay::default();
        assert_eq!(o.settle(id(1), id(9), Seq(9), settled("late")), [id(1)]);
        assert_eq!(o.settle(id(1), id(8), Seq(8), settled("early")), []);
        let reasons = |o: &Overlay| -> Vec<String> {
            o.settled(id(1)).into_iter().map(|s| s.reason).collect()
        };
        assert_eq!(reasons(&o), ["late"]);
        assert_eq!(o.strike(id(9), id(10)), [id(1), id(9)]);
        assert_eq!(reasons(&o), ["early"]);
    }
}
