//! Open hours of a catalogue from the wire, in any zone, around any instant.

use baywright_terms::hours::{
    OpenHours, breaks_crossed, closing_after, next_opening_after, open_intervals, session_at,
};
use baywright_terms::time::{DAY_US, zone};

use super::words::ZONES;
use crate::Target;
use crate::food::Food;

pub const HOURS: Target = Target {
    name: "hours",
    run: hours,
    words: &["\u{1}\0\0", "\u{7}", "\u{c8}"],
    slower: 8,
    bytes_max: 256,
};

/// Rows as the wire can hold them: any weekday, any minutes.
pub fn rows(food: &mut Food<'_>) -> Vec<OpenHours> {
    (0..food.below(24))
        .map(|_| OpenHours {
            weekday: if food.flag() {
                food.byte() % 9
            } else {
                food.byte()
            },
            from_min: minute(food),
            until_min: minute(food),
        })
        .collect()
}

fn minute(food: &mut Food<'_>) -> u16 {
    match food.byte() {
        how @ 0..=223 => u16::from(how) * 7,
        _ => u16::from(food.byte()) * 256 + u16::from(food.byte()),
    }
}

fn hours(data: &[u8]) {
    let mut food = Food::new(data);
    let Ok(zone) = zone(food.pick(&ZONES).unwrap_or("UTC")) else {
        return;
    };
    let (from, until) = (food.instant(), food.instant());
    let rows = rows(&mut food);
    let closing = closing_after(&rows, &zone, from);
    let opening = next_opening_after(&rows, &zone, from);
    assert!(
        opening.is_none_or(|at| at > from),
        "opened before {from:?}: {opening:?}"
    );
    let session = session_at(&rows, &zone, from);
    assert_eq!(session.closing, closing);
    // A long span is cut at forty years; a short one is enough here.
    let until = until.min(from.saturating_add(60 * DAY_US));
    let intervals = open_intervals(&rows, &zone, from, until);
    assert!(
        intervals.len() <= 62 * rows.len().max(1),
        "{} intervals",
        intervals.len()
    );
    assert!(
        intervals
            .iter()
            .all(|(a, b)| from <= *a && a < b && *b <= until)
    );
    assert!(
        intervals
            .windows(2)
            .all(|two| matches!(two, [(_, b), (c, _)] if b < c))
    );
    let _ = breaks_crossed(&rows, &zone, from, until);
}
