//! Properties of the fold over random shops. A failure prints its seed.

mod shop;

use std::collections::BTreeMap;

use baywright_floor::event::{Event, EventId, JobKey, Position, Seq};
use baywright_floor::fact::Fact;
use baywright_floor::ledger::Entry;
use baywright_floor::memory::Book;
use baywright_floor::overlay::Overlay;
use baywright_floor::row::Row;
use baywright_floor::state::State;
use baywright_floor::step::{provisional, step};
use baywright_floor::timeline::{JobTime, bay_partition, merged, partition, totals};
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, Micros};
use proptest::prelude::{ProptestConfig, any, proptest};
use serde_json::Value;
use shop::{DAY_US, Desk, MONDAY, RandomShop, opened, regular_shop, used};

type Rows = BTreeMap<(Position, u32), Row>;

/// Folds a log in the plainest way: who is struck, in order, one step each.
fn from_scratch(events: &[Event]) -> (State, Rows) {
    let mut overlay = Overlay::default();
    for event in events {
        match &event.fact {
            Fact::StruckOut { event: target, .. } => {
                overlay.strike(*target, event.id);
            }
            Fact::Settled(settled) => {
                overlay.settle(settled.event, event.id, event.seq, settled.clone());
            }
            _ => {}
        }
    }
    let mut cats = baywright_floor::catalogues::Catalogues::default();
    let mut live: Vec<&Event> = events.iter().filter(|e| !overlay.is_struck(e.id)).collect();
    for event in &live {
        if let Fact::CatalogueSet {
            valid_from,
            changed,
            learned_up_to,
        } = &event.fact
        {
            let changed = changed.as_ref().clone();
            cats.add(
                *valid_from,
                event.received,
                event.seq,
                event.id,
                changed,
                *learned_up_to,
            );
        }
    }
    live.sort_by(|a, b| a.position.cmp(&b.position));
    let mut state = State::default();
    let mut rows = Rows::new();
    for event in live {
        let entry = Entry {
            event: event.clone(),
            settled: overlay.settled(event.id),
        };
        let mut out = Vec::new();
        step(&mut state, &cats, &entry, &mut out);
        for (ordinal, row) in (0..).zip(out) {
            rows.insert((event.position.clone(), ordinal), row);
        }
    }
    (state, rows)
}

fn rows_of(book: &Book) -> Rows {
    book.ledger
        .rows()
        .map(|(origin, ordinal, row)| ((origin.clone(), ordinal), row.clone()))
        .collect()
}

fn absorbed(events: &[Event]) -> Book {
    let mut book = Book::default();
    for event in events {
        book.absorb(event);
    }
    book
}

fn assert_same_rows(left: &Rows, right: &Rows, what: &str) {
    for (key, row) in left {
        assert_eq!(right.get(key), Some(row), "{what}: at {key:?}");
    }
    for key in right.keys() {
        assert!(left.contains_key(key), "{what}: too many at {key:?}");
    }
}

#[test]
fn the_live_state_and_rows_equal_a_fold_from_scratch_after_every_post() {
    for seed in 0..8 {
        let events = RandomShop::new(seed).events(200);
        let mut book = Book::default();
        for count in 0..events.len() {
            book.absorb(&events[count]);
            let (state, rows) = from_scratch(&events[..=count]);
            let what = format!("seed {seed} after post {}", count + 1);
            assert_same_rows(&rows_of(&book), &rows, &what);
            assert_eq!(book.fold.live.state, state, "{what}");
        }
    }
}

#[test]
fn long_shops_equal_a_fold_from_scratch_at_the_end_and_after_a_refold() {
    for seed in 100..106 {
        let events = RandomShop::new(seed).events(1_500);
        let mut book = absorbed(&events);
        let (state, rows) = from_scratch(&events);
        let what = format!("seed {seed}");
        assert_same_rows(&rows_of(&book), &rows, &what);
        assert_eq!(book.fold.live.state, state, "{what}");
        assert!(book.ledger.checkpoints().count() > 5, "{what}");
        let Ok(()) = book.fold.refold_all(&mut book.ledger);
        assert_same_rows(&rows_of(&book), &rows, &what);
        assert_eq!(book.fold.live.state, state, "{what}");
    }
}

#[test]
fn the_checkpoints_of_a_shop_that_never_releases_grow_as_its_log_does() {
    const JOBS: i64 = 3_000;
    let mut desk = Desk::default();
    let mut book = Book::default();
    let mut events = Vec::new();
    for job in 0..JOBS {
        let opening = desk.event(
            "bay-1",
            "bay-1",
            MONDAY + job * HOUR_US,
            opened("trike-coat"),
        );
        events.push(opening);
    }
    for event in &events {
        book.absorb(event);
    }
    // A checkpoint at an instant holds the jobs that were open then.
    let held = |at: Micros| events.iter().filter(|e| e.position.occurred < at).count();
    let kept: usize = book.ledger.checkpoints().map(held).sum();
    assert!(book.ledger.checkpoints().count() >= 5);
    assert!(kept <= 2 * events.len(), "{kept} jobs in checkpoints");
    let (state, rows) = from_scratch(&events);
    assert_same_rows(&rows_of(&book), &rows, "all open");
    assert_eq!(book.fold.live.state, state);
}

/// Rows without what the order of arrival decides: seqs and numbers.
fn blanked(rows: &Rows) -> Vec<Value> {
    fn blank(value: &mut Value) {
        match value {
            Value::Object(map) => {
                for (key, inner) in map.iter_mut() {
                    if key.starts_with("seq") || key == "number" {
                        *inner = Value::Null;
                    }
                    blank(inner);
                }
            }
            Value::Array(list) => list.iter_mut().for_each(blank),
            _ => {}
        }
    }
    rows.iter()
        .map(|((origin, ordinal), row)| {
            let mut value = serde_json::json!([origin.occurred, ordinal, row]);
            blank(&mut value);
            value
        })
        .collect()
}

#[test]
fn any_order_of_delivery_that_keeps_each_devices_order_gives_the_same_figures() {
    for seed in 200..208 {
        let events = RandomShop::new(seed).events(260);
        let expected = blanked(&rows_of(&absorbed(&events)));
        for order in 0..2 {
            let shuffled = RandomShop::shuffled(&events, seed * 10 + order);
            let found = blanked(&rows_of(&absorbed(&shuffled)));
            for (left, right) in expected.iter().zip(&found) {
                assert_eq!(left, right, "seed {seed} order {order}");
            }
            assert_eq!(expected.len(), found.len(), "seed {seed} order {order}");
        }
    }
}

fn judge(desk_id: u8, at: i64, target: EventId, seq: u64) -> Event {
    let fact = Fact::StruckOut {
        event: target,
        reason: String::new(),
    };
    let mut event = Desk::default().event("judge", "", at, fact);
    event.id = EventId([desk_id; 16]);
    event.position.device_seq = u64::from(desk_id);
    event.seq = Seq(seq);
    event
}

#[test]
fn a_struck_event_never_happened_and_a_struck_strike_lets_it_happen() {
    for seed in 300..320 {
        let events = RandomShop::new(seed).events(220);
        let picked = usize::try_from(seed * 37 % 220).unwrap();
        let target = events[picked].id;
        let end = events.iter().map(|e| e.position.occurred.0).max().unwrap() + HOUR_US;
        let strike = judge(201, end, target, 1_000);
        let struck_strike = judge(202, end, strike.id, 1_001);

        let mut with = absorbed(&events);
        with.absorb(&strike);
        let never: Vec<Event> = events.iter().filter(|e| e.id != target).cloned().collect();
        let mut without = absorbed(&never);
        without.absorb(&strike);
        let what = format!("seed {seed} event {picked}");
        assert_same_rows(&rows_of(&with), &rows_of(&without), &what);
        assert_eq!(with.fold.live.state, without.fold.live.state, "{what}");

        with.absorb(&struck_strike);
        let mut untouched = absorbed(&events);
        untouched.absorb(&struck_strike);
        assert_same_rows(&rows_of(&with), &rows_of(&untouched), &what);
        assert_eq!(with.fold.live.state, untouched.fold.live.state, "{what}");
    }
}

/// One job's rows, as intervals.
#[derive(Default)]
struct OfJob {
    presence: Vec<(Code, i64, i64)>,
    hands_on: Vec<(i64, i64)>,
    waiting: Vec<(i64, i64)>,
}

fn check_clocks(rows: &[Row], as_of: i64, what: &str) {
    let mut jobs: BTreeMap<JobKey, OfJob> = BTreeMap::new();
    let mut hands: BTreeMap<(Code, Code), Vec<(i64, i64)>> = BTreeMap::new();
    for row in rows {
        match row {
            Row::Presence(p) => jobs.entry(p.job).or_default().presence.push((
                p.place.clone(),
                p.from.0,
                p.until.map_or(as_of, |u| u.0),
            )),
            Row::HandsOn(h) => {
                assert!(h.from <= h.until, "{what}: {h:?}");
                let bay = if h.worker.is_empty() {
                    h.bay.clone()
                } else {
                    "".into()
                };
                let of_hand = hands.entry((h.worker.clone(), bay)).or_default();
                of_hand.push((h.from.0, h.until.0));
                jobs.entry(h.job)
                    .or_default()
                    .hands_on
                    .push((h.from.0, h.until.0));
            }
            Row::Waiting(w) => {
                let until = w.until.map_or(as_of, |u| u.0);
                jobs.entry(w.job)
                    .or_default()
                    .waiting
                    .push((w.from.0, until));
            }
            _ => {}
        }
    }
    for (hand, mut stretches) in hands {
        stretches.sort_unstable();
        for pair in stretches.windows(2) {
            assert!(
                pair[0].1 <= pair[1].0,
                "{what}: {hand:?} overlaps: {pair:?}"
            );
        }
    }
    let mut bays: BTreeMap<Code, Vec<JobTime>> = BTreeMap::new();
    for (key, job) in &jobs {
        let stays: Vec<(i64, i64)> = job.presence.iter().map(|(_, a, b)| (*a, *b)).collect();
        let total: i64 = stays.iter().map(|(a, b)| (b - a).max(0)).sum();
        let apart: i64 = merged(&stays).iter().map(|(a, b)| b - a).sum();
        assert_eq!(total, apart, "{what}: {key} is in two places at once");
        for (place, from, until) in &job.presence {
            let spans = partition((*from, *until), &job.hands_on, &job.waiting);
            if from < until {
                assert_eq!(totals(&spans).sum_us(), until - from, "{what}: {key}");
                assert_eq!(spans.first().map(|s| s.from), Some(*from));
                assert_eq!(spans.last().map(|s| s.until), Some(*until));
                assert!(spans.windows(2).all(|w| w[0].until == w[1].from));
            }
            bays.entry(place.clone()).or_default().push(JobTime {
                presence: vec![(*from, *until)],
                hands_on: job.hands_on.clone(),
                waiting: job.waiting.clone(),
            });
        }
    }
    let open: Vec<(i64, i64)> = (0..60)
        .map(|d| MONDAY + d * DAY_US)
        .map(|d| (d + 8 * HOUR_US, d + 18 * HOUR_US))
        .collect();
    for (bay, jobs) in bays {
        for places in 1..3 {
            let time = bay_partition(&jobs, &open, places);
            assert_eq!(
                time.hands_on_us + time.waiting_us + time.idle_us + time.empty_us,
                time.open_us + time.occupied_outside_open_us,
                "{what}: {bay}"
            );
            assert_eq!(
                time.hands_on_us + time.waiting_us + time.idle_us,
                time.occupied_us
            );
            assert_eq!(time.open_us, i64::from(places) * 60 * 10 * HOUR_US);
        }
    }
}

#[test]
fn the_three_clocks_add_up_and_no_worker_is_at_two_stages_at_once() {
    for seed in 400..416 {
        let events = RandomShop::new(seed).events(240);
        let book = absorbed(&events);
        let end = events.iter().map(|e| e.position.occurred.0).max().unwrap();
        for as_of in [end, end + HOUR_US, end + 3 * DAY_US] {
            let mut rows: Vec<Row> = book.rows().cloned().collect();
            rows.extend(book.provisional(Micros(as_of)));
            check_clocks(&rows, as_of, &format!("seed {seed}"));
        }
    }
}

#[test]
fn provisional_rows_equal_those_of_an_event_that_does_nothing() {
    for seed in 500..520 {
        let events = RandomShop::new(seed).events(200);
        let book = absorbed(&events);
        let end = events.iter().map(|e| e.position.occurred.0).max().unwrap();
        let as_of = Micros(end + 2 * DAY_US);
        let now = provisional(&book.fold.live.state, &book.fold.cats, as_of);
        let mut later = book.clone();
        let mut desk = Desk::default();
        let mut note = desk.event(
            "judge",
            "bay-9",
            as_of.0,
            Fact::Noted {
                text: String::new(),
            },
        );
        note.id = EventId([9; 16]);
        later.absorb(&note);
        let of_note: Vec<Row> = later
            .ledger
            .rows()
            .filter(|(origin, ..)| **origin == note.position)
            .map(|(_, _, row)| row.clone())
            .filter(|row| !matches!(row, Row::Counted { .. }))
            .filter(|row| !matches!(row, Row::Notice(n) if n.event == note.id))
            .collect();
        assert_eq!(now[..of_note.len()], of_note[..], "seed {seed}");
    }
}

#[test]
fn a_late_use_three_weeks_ago_refolds_two_segments_at_most() {
    let events = regular_shop(7 * 8);
    let mut book = absorbed(&events);
    let mut desk = Desk::default();
    for (n, day) in [35, 28, 14, 2].into_iter().enumerate() {
        let at = MONDAY + day * DAY_US + 9 * HOUR_US;
        let mut late = desk.event("bay-2", "bay-2", at, used("iron-remover", 20));
        late.id = EventId([u8::try_from(n + 1).unwrap(); 16]);
        late.position.device_seq = 1_000_000;
        late.seq = Seq(2_000_000);
        let told = book.absorb(&late);
        assert!(told.job.is_some());
        assert!(
            (1..=2 * 64 + 30).contains(&told.events_replayed),
            "{} of {} events replayed",
            told.events_replayed,
            events.len()
        );
    }
    let mut book_again = book.clone();
    let Ok(()) = book_again.fold.refold_all(&mut book_again.ledger);
    assert_same_rows(&rows_of(&book), &rows_of(&book_again), "late uses");
}

#[test]
fn a_backdated_catalogue_change_reaches_every_later_event_though_no_state_differs() {
    let mut events = regular_shop(7 * 4);
    let mut changed = baywright_terms::catalogue::Catalogue::default();
    let mut polish = shop::catalogue().stages[&Code::new("polish")].clone();
    polish.caution = "wear a mask".to_owned();
    changed.stages.insert("polish".into(), polish);
    let mut set = Desk::default().catalogue_set(MONDAY + 7 * DAY_US, changed);
    set.id = EventId([8; 16]);
    set.position.occurred = Micros(MONDAY + 40 * DAY_US);
    set.position.device_seq = 99;
    set.seq = Seq(1_000_000);
    let mut book = absorbed(&events);
    book.absorb(&set);
    events.push(set);
    let (state, rows) = from_scratch(&events);
    assert_same_rows(&rows_of(&book), &rows, "after the catalogue");
    assert_eq!(book.fold.live.state, state);
}

#[test]
fn a_post_in_order_replays_nothing() {
    let events = regular_shop(10);
    let mut book = Book::default();
    let replayed: usize = events.iter().map(|e| book.absorb(e).events_replayed).sum();
    assert_eq!(replayed, 0);
}

#[test]
fn the_state_survives_json_and_stays_small() {
    let events = regular_shop(7 * 6);
    let book = absorbed(&events);
    let text = serde_json::to_string(&book.fold.live).unwrap();
    let back: baywright_floor::refold::Live = serde_json::from_str(&text).unwrap();
    assert_eq!(back, book.fold.live);
    assert!(text.len() < 20_000, "{} bytes", text.len());
    for seed in 600..606 {
        let book = absorbed(&RandomShop::new(seed).events(300));
        let text = serde_json::to_string(&book.fold.live).unwrap();
        let back: baywright_floor::refold::Live = serde_json::from_str(&text).unwrap();
        assert_eq!(back, book.fold.live, "seed {seed}");
    }
}

#[test]
fn a_repeated_event_is_absorbed_once() {
    let events = RandomShop::new(700).events(100);
    let mut book = absorbed(&events);
    let before = rows_of(&book);
    for event in &events {
        book.absorb(event);
    }
    assert_same_rows(&rows_of(&book), &before, "repeated");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn no_fact_however_extreme_makes_the_fold_panic(seed in any::<u64>()) {
        let events = RandomShop::wild(seed).events(160);
        let book = absorbed(&events);
        for at in [i64::MIN, 0, MONDAY, i64::MAX] {
            provisional(&book.fold.live.state, &book.fold.cats, Micros(at));
            baywright_floor::now::now(&book.fold.live.state, &book.fold.cats, Micros(at));
        }
        let (state, rows) = from_scratch(&events);
        assert_same_rows(&rows_of(&book), &rows, "wild");
        assert_eq!(book.fold.live.state, state);
    }
}
