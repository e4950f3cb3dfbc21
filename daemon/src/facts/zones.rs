//! A print of the time-zone rules that the rows were folded with.
//!
//! Open hours and days depend on the rules of the shop's zone, and those
//! change by decree. A hash of the offsets themselves notices it, and does not
//! care about other zones: most releases of the zone data rebuild nothing.

use std::collections::BTreeSet;

use jiff::Timestamp;
use sha2::{Digest as _, Sha256};

/// Most transitions looked at for each zone: two a year for fifty years.
const TRANSITIONS_MAX: usize = 100;

/// 2020-01-01, before any event of this program.
const FIRST_SECOND: i64 = 1_577_836_800;

/// Hashes the offsets of each zone from 2020 on.
pub(crate) fn print_of(zones: &BTreeSet<String>) -> [u8; 32] {
    let mut hash = Sha256::new();
    for name in zones {
        hash.update(name);
        let zone = baywright_terms::time::zone(name).ok();
        hash.update([u8::from(zone.is_some()), 0]);
        let (Some(zone), Ok(first)) = (zone, Timestamp::from_second(FIRST_SECOND)) else {
            continue;
        };
        hash.update(zone.to_offset(first).seconds().to_be_bytes());
        for transition in zone.following(first).take(TRANSITIONS_MAX) {
            hash.update(transition.timestamp().as_second().to_be_bytes());
            hash.update(transition.offset().seconds().to_be_bytes());
        }
    }
    hash.finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn print(names: &[&str]) -> [u8; 32] {
        print_of(&names.iter().map(|name| (*name).to_owned()).collect())
    }

    #[test]
    fn zones_of_other_rules_have_other_prints() {
        let berlin = print(&["Europe/Berlin"]);
        assert_eq!(berlin, print(&["Europe/Berlin"]));
        assert_ne!(berlin, print(&["Europe/Dublin"]));
        assert_ne!(berlin, print(&["Europe/Berlin", "Europe/Dublin"]));
        assert_ne!(print(&["No/Such"]), print(&[]));
    }
}
