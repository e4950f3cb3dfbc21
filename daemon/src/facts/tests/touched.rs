//! Which jobs changed since a seq: never fewer than did.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::log::Log;
use super::shop::{Dice, Shop};
use crate::facts::rows::Table;
use crate::facts::{Facts, touched};

/// Seeds of random shops; each prints itself where it fails.
const SEEDS: std::ops::Range<u64> = 70..74;

/// The rows that anything is learned from, as text, by whose record they are.
fn rows_by_job(facts: &Facts) -> BTreeMap<Vec<u8>, Vec<String>> {
    let mut found: BTreeMap<Vec<u8>, Vec<String>> = BTreeMap::new();
    for table in Table::ALL {
        let Some(column) = table.learned_from() else {
            continue;
        };
        let name = table.shape().name;
        // All past jobs are one record here, with an empty key.
        let key = if table == Table::Past { "x''" } else { column };
        let sql = format!("SELECT {key}, * FROM {name} WHERE {column} IS NOT NULL");
        let mut statement = facts.conn.prepare(&sql).unwrap();
        let columns = statement.column_count();
        let mut rows = statement.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            let mut text = name.to_owned();
            for column in 1..columns {
                write!(text, "|{:?}", row.get_ref(column).unwrap()).unwrap();
            }
            found.entry(row.get(0).unwrap()).or_default().push(text);
        }
    }
    found
}

#[test]
fn every_job_whose_rows_changed_was_touched() {
    for seed in SEEDS {
        let entries = Shop::new(seed, 25).records(500);
        let mut dice = Dice::new(seed);
        let folder = tempfile::tempdir().unwrap();
        let log = Log::default();
        let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let mut before = rows_by_job(&facts);
        let (mut changed, mut told, mut batches) = (0, 0, 0);
        let mut rest = entries.as_slice();
        while !rest.is_empty() {
            let (batch, after) = rest.split_at(rest.len().min(1 + dice.below(6)));
            let cursor = facts.cursor();
            log.push(batch);
            facts.absorb(batch).unwrap();
            facts.commit().unwrap();
            let now = rows_by_job(&facts);
            let touched = touched::since(&facts.conn, cursor).unwrap();
            for key in before.keys().chain(now.keys()) {
                if before.get(key) == now.get(key) {
                    continue;
                }
                changed += 1;
                let is_told = match <[u8; 16]>::try_from(key.as_slice()) {
                    Ok(job) => touched.jobs.contains(&baywright_floor::event::EventId(job)),
                    Err(_) => touched.past,
                };
                assert!(
                    is_told,
                    "seed {seed}: {key:02x?} changed after seq {cursor}"
                );
            }
            told += touched.jobs.len();
            batches += 1;
            before = now;
            rest = after;
        }
        println!("seed {seed}: {batches} batches, {changed} changes, {told} told");
        assert!(changed > 0, "seed {seed}");
        // Nothing new touches nothing.
        let head = facts.cursor();
        assert_eq!(
            touched::since(&facts.conn, head).unwrap(),
            touched::Touched::default()
        );
    }
}

#[test]
fn a_rebuild_marks_every_job() {
    let log = Log::of(Shop::new(75, 15).records(400));
    let folder = tempfile::tempdir().unwrap();
    let facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let jobs: i64 = facts
        .conn
        .query_row("SELECT count(DISTINCT job) FROM job", [], |row| row.get(0))
        .unwrap();
    let touched = touched::since(&facts.conn, facts.cursor() - 1).unwrap();
    assert!(jobs > 3);
    assert_eq!(touched.jobs.len(), usize::try_from(jobs).unwrap());
    assert!(touched.past);
}
