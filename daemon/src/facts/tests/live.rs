//! The contract: whatever the order of arrival and the size of the batches,
//! the rows are those of the floor's model and those of a rebuild.

use baywright_floor::memory::Book;
use baywright_floor::row::{Emitted, Row};

use super::log::Log;
use super::shop::{Dice, Shop};
use crate::facts::decode;
use crate::facts::rows::{self, KEY, Table};
use crate::facts::schema;
use crate::facts::{Facts, Stored, dump_hash};

/// Seeds of random shops; each prints itself where it fails.
const SEEDS: std::ops::Range<u64> = 1..9;

/// Numbers as the model knows them.
struct Numbers<'a>(&'a Book);

impl decode::Numbers for Numbers<'_> {
    type Error = std::convert::Infallible;

    fn job(
        &mut self,
        number: u64,
        _seq: baywright_floor::event::Seq,
    ) -> Result<Option<baywright_floor::event::JobKey>, Self::Error> {
        Ok(self.0.numbers.get(&number).copied())
    }
}

fn model(entries: &[Stored]) -> Book {
    let mut book = Book::default();
    for stored in entries {
        let Ok(Some(event)) = decode::event(stored, &mut Numbers(&book)) else {
            panic!("seq {} cannot be decoded", stored.seq);
        };
        book.absorb(&event);
    }
    book
}

/// Feeds a log to facts in batches of random sizes, as the writer does.
fn feed(facts: &mut Facts, log: &Log, entries: &[Stored], dice: &mut Dice) {
    let mut rest = entries;
    while !rest.is_empty() {
        let (batch, after) = rest.split_at(rest.len().min(1 + dice.below(20)));
        log.push(batch);
        let answers = facts.absorb(batch).unwrap();
        assert_eq!(answers.len(), batch.len());
        facts.commit().unwrap();
        rest = after;
    }
}

fn all_rows(facts: &Facts) -> Vec<Emitted> {
    let mut found: Vec<Emitted> = Table::ALL
        .into_iter()
        .flat_map(|table| rows::select(&facts.conn, table, &format!("ORDER BY {KEY}"), []).unwrap())
        .collect();
    found.sort_by(|a, b| (&a.origin, a.ordinal).cmp(&(&b.origin, b.ordinal)));
    found
}

#[test]
fn rows_and_state_are_those_of_the_model_after_every_few_batches() {
    for seed in SEEDS {
        let entries = Shop::new(seed, 20).records(400);
        let log = Log::default();
        let folder = tempfile::tempdir().unwrap();
        let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let mut dice = Dice::new(seed);
        for (at, part) in entries.chunks(100).enumerate() {
            feed(&mut facts, &log, part, &mut dice);
            let book = model(&entries[..(at + 1) * 100]);
            let of_model: Vec<Emitted> = book
                .ledger
                .rows()
                .map(|(origin, ordinal, row)| Emitted {
                    origin: origin.clone(),
                    ordinal,
                    row: row.clone(),
                })
                .collect();
            let of_facts = all_rows(&facts);
            for (a, b) in of_model.iter().zip(&of_facts) {
                assert_eq!(a, b, "seed {seed} after {} events", (at + 1) * 100);
            }
            assert_eq!(of_model.len(), of_facts.len(), "seed {seed}");
            assert_eq!(book.fold.live.state, facts.fold.live.state, "seed {seed}");
        }
    }
}

#[test]
fn live_rows_hash_like_rebuilt_ones() {
    for seed in SEEDS {
        let entries = Shop::new(seed, 30).records(350);
        let log = Log::default();
        let folder = tempfile::tempdir().unwrap();
        let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        feed(&mut facts, &log, &entries, &mut Dice::new(seed));
        let live = facts.hash().unwrap();
        drop(facts);
        let rebuilt = crate::facts::rebuild(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        assert_eq!(live, rebuilt, "seed {seed}");
        let reopened = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        assert_eq!(live, reopened.hash().unwrap(), "seed {seed}");
    }
}

#[test]
fn random_shops_fill_every_table() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in SEEDS {
        let log = Log::of(Shop::new(seed, 10).records(700));
        let facts = Facts::in_memory_as_of(log.boxed(), u64::MAX).unwrap();
        seen.extend(Table::ALL.into_iter().filter(|table| {
            !rows::select(&facts.conn, *table, "LIMIT 1", [])
                .unwrap()
                .is_empty()
        }));
    }
    let missing: Vec<Table> = Table::ALL
        .into_iter()
        .filter(|table| !seen.contains(table))
        .collect();
    assert!(missing.is_empty(), "the comparisons never saw {missing:?}");
}

#[test]
fn the_past_folds_to_what_it_was_then() {
    let entries = Shop::new(77, 25).records(300);
    let log = Log::default();
    let folder = tempfile::tempdir().unwrap();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let mut was = Vec::new();
    for part in entries.chunks(60) {
        feed(&mut facts, &log, part, &mut Dice::new(5));
        was.push((facts.cursor(), facts.hash().unwrap()));
    }
    for (seq, hash) in was {
        let past = Facts::in_memory_as_of(log.boxed(), seq).unwrap();
        assert_eq!(past.cursor(), seq);
        assert_eq!(past.hash().unwrap(), hash, "as of {seq}");
    }
}

#[test]
fn a_repeated_post_gets_the_same_answer_again() {
    let entries = Shop::new(12, 10).records(200);
    let log = Log::default();
    let folder = tempfile::tempdir().unwrap();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let mut compared = 0;
    for stored in &entries {
        let batch = std::slice::from_ref(stored);
        log.push(batch);
        let first = facts.absorb(batch).unwrap();
        let again = facts.absorb(batch).unwrap();
        // What is odd about a strike or settlement itself is said once.
        let unknown = |code: &str| code.ends_with("unknown");
        if first[0].notices.iter().any(|n| unknown(&n.code)) {
            continue;
        }
        assert_eq!(first, again, "seq {}", stored.seq);
        compared += 1;
    }
    facts.commit().unwrap();
    assert!(compared > 150, "{compared}");
}

#[test]
fn the_hash_sees_one_changed_row() {
    let log = Log::of(Shop::new(3, 10).records(200));
    let facts = Facts::in_memory_as_of(log.boxed(), u64::MAX).unwrap();
    let before = facts.hash().unwrap();
    assert_eq!(before, facts.hash().unwrap());
    facts
        .conn
        .execute("UPDATE counted SET by = '[]' WHERE by != '[]'", [])
        .unwrap();
    assert_ne!(before, dump_hash(&facts.conn).unwrap());
}

#[test]
fn every_look_up_uses_an_index() {
    let conn = schema::open_in_memory().unwrap();
    schema::create(&conn).unwrap();
    schema::index_rows(&conn).unwrap();
    let plan = |sql: &str| -> String {
        let mut statement = conn.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).unwrap();
        let count = statement.parameter_count();
        let rows = statement
            .query_map(rusqlite::params_from_iter(vec![0; count]), |row| {
                row.get::<_, String>(3)
            })
            .unwrap();
        rows.collect::<Result<Vec<_>, _>>().unwrap().join("; ")
    };
    for table in Table::ALL {
        let shape = table.shape();
        let mut rests = vec!["WHERE origin_us >= ?1 AND origin_us < ?2".to_owned()];
        if shape.by_job {
            rests.push("WHERE job = ?1".to_owned());
        }
        match shape.when {
            rows::When::At(at) => rests.push(format!("WHERE {at} >= ?1 AND {at} < ?2")),
            rows::When::Span => rests.push("WHERE until_us > ?1 AND from_us < ?2".to_owned()),
            rows::When::Untimed => {}
        }
        for rest in rests {
            let used = plan(&table.select_sql(&rest));
            assert!(used.starts_with("SEARCH"), "{} {rest}: {used}", shape.name);
        }
    }
    for sql in [
        "SELECT seq FROM event WHERE event_id = ?1",
        "SELECT seq FROM event WHERE occurred_us >= ?1 AND (?2 IS NULL OR occurred_us < ?2) AND struck = 0 ORDER BY occurred_us, device, device_seq, seq",
        "SELECT seq FROM event WHERE (occurred_us, device, device_seq, seq) > (?1, ?2, ?3, ?4) AND struck = 0 ORDER BY occurred_us, device, device_seq, seq LIMIT 1000",
        "SELECT seq FROM event WHERE target = ?1",
        "SELECT * FROM stock WHERE product = ?1 AND kind = 'received' AND origin_us >= ?2 AND origin_us <= ?3",
        "SELECT * FROM stock WHERE lot = ?1 AND kind = 'received'",
        "SELECT max(origin_us) FROM stock WHERE product = ?1 AND kind = 'received' AND price_minor IS NOT NULL AND origin_us <= ?2",
        "SELECT * FROM container WHERE product = ?1 AND origin_us >= ?2 AND origin_us <= ?3",
        "SELECT max(origin_us) FROM container WHERE product = ?1 AND kind = 'refilled' AND origin_us < ?2",
        "SELECT * FROM product_use WHERE at_us >= ?1 AND at_us < ?2 AND product = ?3",
        "SELECT * FROM product_use WHERE product = ?1 AND origin_us >= ?2 AND mix IS NULL",
        "SELECT * FROM product_use WHERE mix = ?1",
        "SELECT * FROM product_use WHERE lot = ?1",
        "SELECT * FROM coated WHERE lot = ?1",
    ] {
        let used = plan(sql);
        assert!(used.starts_with("SEARCH"), "{sql}: {used}");
        assert!(!used.contains("TEMP B-TREE"), "{sql}: {used}");
    }
}

#[test]
fn a_job_is_answered_by_number_and_in_words() {
    let log = Log::default();
    let folder = tempfile::tempdir().unwrap();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let mut shop = Shop::new(1, 0);
    let mut entries = shop.records(1);
    entries.push(shop.stored(
        baywright_proto::v1::fact::Kind::JobOpened(baywright_proto::v1::JobOpened {
            job_type: "trike-coat".to_owned(),
            vehicle: "red three-wheeler".to_owned(),
            ..Default::default()
        }),
        super::shop::START_US + super::shop::MINUTE_US,
    ));
    log.push(&entries);
    let answers = facts.absorb(&entries).unwrap();
    assert_eq!(answers[1].job_number, 1);
    assert_eq!(answers[1].job_title, "1 trike-coat, red three-wheeler");
    assert_eq!(facts.catalogue_revision(), 1);
    let opened = rows::select_rows(&facts.conn, Table::Job, "", []).unwrap();
    assert!(matches!(&opened[..], [Row::JobOpened(row)] if row.number == Some(1)));
}
