//! Kills, other logs, other versions, broken files and failing reads.

use rusqlite::Connection;

use super::log::Log;
use super::shop::Shop;
use crate::facts::{FACTS_FILE, Facts, FactsError, Stored};

/// Facts in a folder that lives as long as they do.
struct Desk {
    folder: tempfile::TempDir,
    log: Log,
}

impl Desk {
    fn new(entries: Vec<Stored>) -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
            log: Log::of(entries),
        }
    }

    /// Opens the facts; tells whether they were built anew.
    fn open(&self) -> (Facts, bool) {
        self.open_on(&self.log)
    }

    fn open_on(&self, log: &Log) -> (Facts, bool) {
        let marker = self.query("SELECT count(*) FROM facts WHERE made_by != ''");
        // A rebuild makes the file anew, so a table of our own is gone then.
        if marker.is_some() {
            self.execute("CREATE TABLE IF NOT EXISTS kept (one INTEGER)");
        }
        let facts = Facts::open(self.folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let kept = self.query("SELECT count(*) FROM sqlite_master WHERE name = 'kept'");
        (facts, kept != Some(1))
    }

    fn file(&self) -> std::path::PathBuf {
        self.folder.path().join(FACTS_FILE)
    }

    fn execute(&self, sql: &str) {
        Connection::open(self.file())
            .unwrap()
            .execute(sql, [])
            .unwrap();
    }

    fn query(&self, sql: &str) -> Option<i64> {
        if !self.file().exists() {
            return None;
        }
        let conn = Connection::open(self.file()).ok()?;
        conn.query_row(sql, [], |row| row.get(0)).ok()
    }

    fn expected(&self) -> [u8; 32] {
        let facts = Facts::in_memory_as_of(self.log.boxed(), u64::MAX).unwrap();
        facts.hash().unwrap()
    }
}

#[test]
fn an_opened_file_is_kept_and_caught_up() {
    let mut shop = Shop::new(21, 15);
    let desk = Desk::new(shop.records(150));
    let (facts, rebuilt) = desk.open();
    assert!(rebuilt);
    assert_eq!(facts.cursor(), 150);
    drop(facts);
    desk.log.push(&shop.records(60));
    let (facts, rebuilt) = desk.open();
    assert!(!rebuilt);
    assert_eq!(facts.cursor(), 210);
    assert_eq!(facts.hash().unwrap(), desk.expected());
}

#[test]
fn a_kill_between_log_and_facts_loses_nothing() {
    let mut shop = Shop::new(22, 25);
    let desk = Desk::new(shop.records(120));
    let (mut facts, _) = desk.open();
    for _ in 0..8 {
        let batch = shop.records(11);
        desk.log.push(&batch);
        facts.absorb(&batch).unwrap();
        // The process dies before the facts commit; SQLite rolls back.
        drop(facts);
        let (reopened, rebuilt) = desk.open();
        assert!(!rebuilt);
        assert_eq!(reopened.hash().unwrap(), desk.expected());
        facts = reopened;
    }
}

#[test]
fn a_log_that_grew_far_ahead_is_folded_in_one_walk() {
    let mut shop = Shop::new(23, 15);
    let desk = Desk::new(shop.records(20));
    drop(desk.open());
    desk.log.push(&shop.records(1_500));
    let (facts, rebuilt) = desk.open();
    assert!(rebuilt);
    assert_eq!(facts.hash().unwrap(), desk.expected());
}

#[test]
fn what_does_not_fit_is_built_anew() {
    let cases = [
        ("another fold", "UPDATE facts SET made_by = '0.0.1 fold 0'"),
        ("other tables", "UPDATE facts SET layout = x'00'"),
        ("other zone rules", "UPDATE facts SET zones = x'00'"),
        ("another log", "UPDATE facts SET log_id = x'ff'"),
        ("a restored log", "UPDATE facts SET epoch = 9"),
        ("ahead of the log", "UPDATE facts SET cursor_seq = 999"),
        (
            "another event",
            "UPDATE event SET event_id = x'00' WHERE seq = 150",
        ),
        (
            "a state of another build",
            "UPDATE facts SET live = '{\"odd\":1}'",
        ),
        ("never finished", "DELETE FROM facts"),
        ("a table is gone", "DROP TABLE event"),
    ];
    for (what, tampering) in cases {
        let desk = Desk::new(Shop::new(24, 15).records(150));
        drop(desk.open());
        assert!(!desk.open().1, "{what}: kept before");
        desk.execute(tampering);
        let (facts, rebuilt) = desk.open();
        assert!(rebuilt, "{what}");
        assert_eq!(facts.hash().unwrap(), desk.expected(), "{what}");
    }
}

#[test]
fn a_file_that_is_no_database_is_replaced() {
    for bytes in [&b""[..], b"not a database at all, only words".as_slice()] {
        let desk = Desk::new(Shop::new(25, 15).records(90));
        std::fs::write(desk.file(), bytes).unwrap();
        let facts = Facts::open(desk.folder.path(), desk.log.boxed(), &mut |_| {}).unwrap();
        assert_eq!(facts.hash().unwrap(), desk.expected());
    }
}

#[test]
fn a_half_built_file_is_left_behind_by_the_next_start() {
    let desk = Desk::new(Shop::new(26, 15).records(90));
    std::fs::write(desk.folder.path().join("facts.db.new"), b"half").unwrap();
    let (facts, _) = desk.open();
    assert_eq!(facts.hash().unwrap(), desk.expected());
    assert!(!desk.folder.path().join("facts.db.new").exists());
}

#[test]
fn a_failed_batch_is_made_up_for_by_the_next() {
    let mut shop = Shop::new(27, 40);
    let desk = Desk::new(shop.records(200));
    let (mut facts, _) = desk.open();
    let before = facts.cursor();
    let batch = shop.records(60);
    desk.log.push(&batch);
    *desk.log.broken.lock().unwrap() = true;
    assert!(matches!(facts.absorb(&batch), Err(FactsError::Source(_))));
    assert_eq!(facts.cursor(), before);
    assert!(facts.absorb(&batch).is_err(), "still broken");
    *desk.log.broken.lock().unwrap() = false;
    let next = shop.records(5);
    desk.log.push(&next);
    assert_eq!(facts.absorb(&next).unwrap().len(), 5);
    facts.commit().unwrap();
    assert_eq!(facts.cursor(), 265);
    assert_eq!(facts.hash().unwrap(), desk.expected());
}

#[test]
fn nothing_to_absorb_catches_up_with_the_log() {
    let mut shop = Shop::new(28, 10);
    let desk = Desk::new(shop.records(50));
    let (mut facts, _) = desk.open();
    desk.log.push(&shop.records(30));
    assert_eq!(facts.absorb(&[]).unwrap(), []);
    assert_eq!(facts.commit().unwrap(), 80);
    assert_eq!(facts.hash().unwrap(), desk.expected());
}

#[test]
fn a_record_that_is_none_is_left_out_and_the_rest_goes_on() {
    let mut shop = Shop::new(29, 0);
    let mut entries = shop.records(40);
    entries[20].record = vec![0xff; 9];
    let desk = Desk::new(entries.clone());
    let (facts, _) = desk.open();
    assert_eq!(facts.cursor(), 40);
    let live_log = Log::default();
    let folder = tempfile::tempdir().unwrap();
    let mut live = Facts::open(folder.path(), live_log.boxed(), &mut |_| {}).unwrap();
    live_log.push(&entries);
    assert_eq!(live.absorb(&entries).unwrap().len(), 40);
    live.commit().unwrap();
    assert_eq!(live.hash().unwrap(), facts.hash().unwrap());
}
