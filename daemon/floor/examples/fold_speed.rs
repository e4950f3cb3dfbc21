//! Prints how long folding a year and more of a busy shop takes.
//!
//! `cargo run --release -p baywright-floor --example fold_speed`

#[path = "../tests/shop/mod.rs"]
mod shop;

use std::time::{Duration, Instant};

use baywright_floor::event::{Event, EventId, Seq};
use baywright_floor::ledger::Entry;
use baywright_floor::memory::Book;
use baywright_floor::state::State;
use baywright_floor::step::step;
use baywright_terms::time::HOUR_US;

const EVENTS: usize = 60_000;

fn main() {
    let mut events = shop::regular_shop(7 * 90);
    events.truncate(EVENTS);
    let begun = Instant::now();
    let mut book = Book::default();
    for event in &events {
        book.absorb(event);
    }
    let absorbed = begun.elapsed();
    let begun = Instant::now();
    let Ok(()) = book.fold.refold_all(&mut book.ledger);
    let refolded = begun.elapsed();
    let begun = Instant::now();
    let mut state = State::default();
    let mut rows = Vec::new();
    for event in &events {
        let entry = Entry {
            event: event.clone(),
            settled: Vec::new(),
        };
        rows.clear();
        step(&mut state, &book.fold.cats, &entry, &mut rows);
    }
    let stepped = begun.elapsed();
    let mut fastest = Duration::MAX;
    let mut replayed = 0;
    for nth in 0..9 {
        let late = late_use(nth);
        let begun = Instant::now();
        replayed = book.absorb(&late).events_replayed;
        fastest = fastest.min(begun.elapsed());
    }
    println!(
        "{} events, {} rows, {} checkpoints\n  posted one by one: {absorbed:?}\n  folded from the start: {refolded:?}\n  steps alone: {stepped:?}\n  one late use, fastest of nine: {fastest:?}, {replayed} events replayed",
        events.len(),
        book.ledger.rows().count(),
        book.ledger.checkpoints().count(),
    );
}

/// A use three weeks after the start, posted now.
fn late_use(nth: u8) -> Event {
    let at = shop::MONDAY + 21 * shop::DAY_US + 9 * HOUR_US;
    let mut late = shop::Desk::default().event("bay-2", "bay-2", at, shop::used("wipe", 20));
    late.id = EventId([nth + 1; 16]);
    late.position.device_seq = 10_000_000 + u64::from(nth);
    late.seq = Seq(late.position.device_seq);
    late
}
