//! The pure fold over facts in any order, about anything, at any time.

use baywright_daemon::facts::{Stored, event_of};
use baywright_floor::memory::Book;
use baywright_floor::now::now;
use baywright_floor::row::Row;
use prost::Message as _;

use crate::Target;
use crate::food::{Food, NOW};
use crate::made;

/// Facts of one input: a few days of one bay.
const FACTS_MAX: usize = 64;

pub const FLOOR: Target = Target {
    name: "floor",
    run: floor,
    words: &["\0\0", "\u{2}", "\u{4}\u{1}", "\u{1e}", "\u{1f}", " "],
    slower: 60,
    bytes_max: 2 * 1024,
};

fn floor(data: &[u8]) {
    let mut food = Food::new(data);
    let at = food.instant();
    let records = made::records(&mut food, FACTS_MAX);
    let mut book = Book::default();
    for record in &records {
        let stored = Stored {
            seq: record.seq,
            record: record.encode_to_vec(),
        };
        let event = event_of(&stored, |number| book.numbers.get(&number).copied());
        assert!(event.is_some(), "a record was left out");
        if let Some(event) = event {
            let _ = book.absorb(&event);
        }
    }
    // However it came in, folding everything from the start gives the same rows.
    let moved = rows(&book);
    match book.fold.refold_all(&mut book.ledger) {
        Ok(()) => {}
    }
    let anew = rows(&book);
    assert!(
        moved == anew,
        "moved on:\n{moved:#?}\nfrom the start:\n{anew:#?}"
    );
    // Rows are bounded by what was said: a span is cut by days at most.
    assert!(anew.len() <= records.len() * 2_000, "{} rows", anew.len());
    for at in [at, NOW] {
        let _ = now(&book.fold.live.state, &book.fold.cats, at);
        let _ = book.provisional(at);
    }
}

fn rows(book: &Book) -> Vec<Row> {
    book.rows().cloned().collect()
}
