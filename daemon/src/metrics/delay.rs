//! How long posts lay in a bay's spool before they arrived.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use baywright_proto::v1::{self, TimeBasis};
use prost::Message as _;

/// Devices that are told apart. A shop has tens; before `init` a device is what
/// it calls itself, and a page must not grow with what callers make up.
pub const DEVICES_MAX: usize = 64;

/// Stands for all devices beyond [`DEVICES_MAX`]. No device can be called so:
/// the names of devices have no brackets.
const OTHERS: &str = "(others)";

/// How long the posts of one device waited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delay {
    /// Of the post that arrived last, microseconds.
    pub last_us: i64,
    /// The longest since the daemon began, microseconds.
    pub max_us: i64,
}

/// The delays of each device.
#[derive(Debug, Default)]
pub struct Delays(Mutex<BTreeMap<String, Delay>>);

impl Delays {
    /// Notes a record that was just appended.
    pub fn note(&self, record: &[u8]) {
        let Ok(record) = v1::Record::decode(record) else {
            return;
        };
        let Some(waited_us) = waited_us(&record) else {
            return;
        };
        let mut delays = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let known = delays.contains_key(&record.device) || delays.len() < DEVICES_MAX;
        let device = if known {
            record.device
        } else {
            OTHERS.to_owned()
        };
        let delay = delays.entry(device).or_insert(Delay {
            last_us: waited_us,
            max_us: waited_us,
        });
        delay.last_us = waited_us;
        delay.max_us = delay.max_us.max(waited_us);
    }

    /// What is known of each device, in the order of their names.
    pub fn all(&self) -> Vec<(String, Delay)> {
        let delays = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        delays
            .iter()
            .map(|(of, delay)| (of.clone(), *delay))
            .collect()
    }
}

/// From the person's key press to the daemon's disk, microseconds. `None`: the
/// fact carries no clock, or a time that the person stated and nothing else.
fn waited_us(record: &v1::Record) -> Option<i64> {
    let fact = v1::Fact::decode(record.fact.as_slice()).ok()?;
    let posted = fact.clocks.as_ref()?;
    if let Some(delivery) = &record.delivery_clocks
        && !posted.boot_id.is_empty()
        && posted.boot_id == delivery.boot_id
        && let Some(waited_us) = delivery.boot_us.checked_sub(posted.boot_us)
        && waited_us >= 0
    {
        return Some(waited_us);
    }
    // Another boot: the daemon worked out when it happened, which is when it
    // was posted unless the person said otherwise.
    if fact.occurred.is_some() || record.time_basis() == TimeBasis::Stated {
        return None;
    }
    let waited_us = record.received_us.checked_sub(record.occurred_us)?;
    Some(waited_us.max(0))
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1::fact::Occurred;
    use baywright_terms::time::{HOUR_US, MINUTE_US};

    use super::*;

    fn clocks(boot_id: &str, boot_us: i64) -> v1::Clocks {
        v1::Clocks {
            wall_us: 0,
            boot_id: boot_id.to_owned(),
            boot_us,
        }
    }

    fn record(device: &str, fact: &v1::Fact, delivered: v1::Clocks) -> v1::Record {
        v1::Record {
            device: device.to_owned(),
            fact: fact.encode_to_vec(),
            delivery_clocks: Some(delivered),
            received_us: 3 * HOUR_US,
            occurred_us: 2 * HOUR_US,
            ..v1::Record::default()
        }
    }

    #[test]
    fn a_post_waited_from_its_key_press_to_the_disk() {
        let plain = v1::Fact {
            clocks: Some(clocks("a", HOUR_US)),
            ..v1::Fact::default()
        };
        let ago = v1::Fact {
            occurred: Some(Occurred::AgoUs(HOUR_US)),
            ..plain.clone()
        };
        let later = clocks("a", HOUR_US + 5 * MINUTE_US);
        for fact in [&plain, &ago] {
            // Both clocks are of one boot: what the person said about the time
            // has nothing to do with the wait.
            assert_eq!(
                waited_us(&record("b", fact, later.clone())),
                Some(5 * MINUTE_US)
            );
        }
        let restarted = clocks("b", MINUTE_US);
        assert_eq!(
            waited_us(&record("b", &plain, restarted.clone())),
            Some(HOUR_US)
        );
        assert_eq!(waited_us(&record("b", &ago, restarted.clone())), None);
        assert_eq!(
            waited_us(&record("b", &v1::Fact::default(), restarted)),
            None
        );
        let backwards = clocks("a", 0);
        assert_eq!(waited_us(&record("b", &plain, backwards)), Some(HOUR_US));
    }

    #[test]
    fn the_last_and_the_longest_are_kept_of_a_bounded_number_of_devices() {
        let delays = Delays::default();
        let fact = v1::Fact {
            clocks: Some(clocks("a", 0)),
            ..v1::Fact::default()
        };
        let note = |device: &str, waited_us: i64| {
            let record = record(device, &fact, clocks("a", waited_us));
            delays.note(&record.encode_to_vec());
        };
        note("bay-1", HOUR_US);
        note("bay-1", MINUTE_US);
        for made_up in 0..10 * DEVICES_MAX {
            note(&format!("made-up-{made_up:04}"), 7);
        }
        note("bay-1", 2 * MINUTE_US);
        let all = delays.all();
        assert_eq!(all.len(), DEVICES_MAX + 1);
        let of = |device: &str| all.iter().find(|(known, _)| known == device).unwrap().1;
        assert_eq!(
            of("bay-1"),
            Delay {
                last_us: 2 * MINUTE_US,
                max_us: HOUR_US
            }
        );
        assert_eq!(of(OTHERS).last_us, 7);
        delays.note(b"no record");
        assert_eq!(delays.all().len(), DEVICES_MAX + 1);
    }
}
