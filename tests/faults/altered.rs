//! Somebody, or something, altered the files. The first seq that is not what
//! was appended is named, by `verify` and at the start; the daemon is then
//! read-only, answers reads, and bays keep their facts. Facts are made anew.
//! Whatever is in the files, nothing panics and nothing wrong is taken for right.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use baywright_daemon::facts::{Facts, LogSources as _};
use baywright_daemon::journal::verify::verify;
use baywright_daemon::journal::{Journal, LogReader, LogReaders};
use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_tests::harness::{AS_DAEMON, Daemon, daemon_command};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rusqlite::Connection;
use tempfile::TempDir;
use tonic_types::StatusExt as _;

use crate::at_bay::bay;
use crate::posting::{Bay, intake, post, records_at};

/// Records in the log before it is altered.
const RECORDS: usize = 60;

/// SQLite's, and ours.
const PAGE_BYTES: usize = 4096;

/// A data directory with a log and its facts; after a kill they are still in
/// the write-ahead files.
async fn written(kill: bool) -> TempDir {
    let home = crate::folder();
    let data = home.path().join("data");
    let daemon = Daemon::start(crate::binary(), &data).expect("a daemon");
    let mut client = intake(&daemon.address).await;
    let mut bay = Bay::new("bay-1", ChaCha12Rng::seed_from_u64(20_261_205));
    for _ in 0..RECORDS {
        post(&mut client, &bay.next()).await.expect("a receipt");
    }
    drop(client);
    if kill {
        daemon.kill().expect("a kill");
    } else {
        daemon.stop().expect("a clean stop");
        let facts = Connection::open(data.join("facts.db")).expect("facts");
        facts
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
            .expect("everything in one file");
    }
    home
}

fn copied(from: &TempDir) -> TempDir {
    let to = crate::folder();
    let data = to.path().join("data");
    std::fs::create_dir(&data).expect("a folder");
    for entry in std::fs::read_dir(from.path().join("data")).expect("a folder") {
        let entry = entry.expect("an entry");
        if entry.file_type().expect("its type").is_file() {
            std::fs::copy(entry.path(), data.join(entry.file_name())).expect("a copy");
        }
    }
    to
}

/// SQL by someone with the file and no respect for its triggers.
fn sql(file: &Path, change: &str) {
    let conn = Connection::open(file).expect("the database");
    let triggers: Vec<String> = conn
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
        .and_then(|mut all| all.query_map([], |row| row.get(0))?.collect())
        .expect("its triggers");
    for trigger in triggers {
        conn.execute_batch(&format!("DROP TRIGGER {trigger}"))
            .expect("no trigger");
    }
    conn.execute_batch(change).expect("the change");
}

fn overwrite(file: &Path, at: usize, bytes: &[u8]) {
    use std::os::unix::fs::FileExt as _;
    let file = std::fs::OpenOptions::new()
        .write(true)
        .open(file)
        .expect("the file");
    file.write_all_at(bytes, at as u64).expect("written over");
}

fn truncate(file: &Path, length: u64) {
    let file = std::fs::OpenOptions::new()
        .write(true)
        .open(file)
        .expect("the file");
    file.set_len(length).expect("cut");
}

/// The root page of a table or index.
fn page_of(file: &Path, name: &str) -> usize {
    let conn = Connection::open(file).expect("the database");
    let page: u32 = conn
        .query_row(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?1",
            [name],
            |row| row.get(0),
        )
        .expect("a page");
    (page as usize - 1) * PAGE_BYTES
}

/// What has to come of an alteration.
enum Then {
    /// `verify` and the start name this seq; 0: any.
    Broken(u64),
    /// It starts, and everything that is there is whole.
    Goes,
    /// It does not start, and says this.
    Says(&'static str),
}

type Alter = fn(&Path);

/// An alteration of a data directory, and what comes of it.
const ALTERATIONS: [(&str, Alter, Then); 17] = [
    (
        "a record's bytes",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET record = x'0801' WHERE seq = 7",
            );
        },
        Then::Broken(7),
    ),
    (
        "one bit of a record",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET record = CAST(substr(record, 1, 30) || x'7f' || substr(record, 32) AS BLOB) WHERE seq = 9",
            );
        },
        Then::Broken(9),
    ),
    (
        "a hash",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET hash = zeroblob(32) WHERE seq = 11",
            );
        },
        Then::Broken(11),
    ),
    (
        "a device",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET device = 'other' WHERE seq = 13",
            );
        },
        Then::Broken(13),
    ),
    (
        "a number of a device",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET device_seq = 999 WHERE seq = 15",
            );
        },
        Then::Broken(15),
    ),
    (
        "an event id",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET event_id = x'00112233445566778899aabbccddeeff' WHERE seq = 17",
            );
        },
        Then::Broken(17),
    ),
    (
        "a record taken out",
        |d| sql(&d.join("log.db"), "DELETE FROM record WHERE seq = 19"),
        Then::Broken(19),
    ),
    (
        "two records exchanged",
        |d| {
            sql(
                &d.join("log.db"),
                "UPDATE record SET seq = 1000 WHERE seq = 21; UPDATE record SET seq = 21 WHERE seq = 22; UPDATE record SET seq = 22 WHERE seq = 1000",
            );
        },
        Then::Broken(21),
    ),
    (
        "the log's identity",
        |d| sql(&d.join("log.db"), "UPDATE meta SET log_id = zeroblob(16)"),
        Then::Broken(1),
    ),
    (
        "an index that lost an entry",
        |d| {
            let log = d.join("log.db");
            sql(
                &log,
                "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE INDEX record_of_device ON record (device, device_seq) WHERE seq <> 23' WHERE name = 'record_of_device'; PRAGMA writable_schema = RESET; REINDEX record_of_device; PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE UNIQUE INDEX record_of_device ON record (device, device_seq)' WHERE name = 'record_of_device'",
            );
        },
        Then::Broken(23),
    ),
    (
        "the index of events is rubbish",
        |d| {
            let log = d.join("log.db");
            let page = page_of(&log, "sqlite_autoindex_record_1");
            overwrite(&log, page, &[0x55; PAGE_BYTES]);
        },
        Then::Broken(1),
    ),
    (
        "the records are rubbish",
        |d| {
            let log = d.join("log.db");
            let page = page_of(&log, "record");
            overwrite(&log, page, &[0x55; PAGE_BYTES]);
        },
        Then::Broken(1),
    ),
    (
        "the file ends half way",
        |d| {
            let log = d.join("log.db");
            let length = std::fs::metadata(&log).expect("its length").len();
            truncate(&log, length / 2);
        },
        Then::Broken(0),
    ),
    (
        "the file is no database",
        |d| {
            std::fs::write(d.join("log.db"), "words, only words").expect("words");
        },
        Then::Says("the log"),
    ),
    (
        "the log is gone",
        |d| {
            std::fs::remove_file(d.join("log.db")).expect("gone");
        },
        Then::Says("is not there"),
    ),
    (
        "the log is empty",
        |d| truncate(&d.join("log.db"), 0),
        Then::Says("is empty"),
    ),
    (
        "the last record taken out",
        |d| sql(&d.join("log.db"), "DELETE FROM record WHERE seq = 60"),
        Then::Goes,
    ),
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_altered_log_is_named_and_read_only() {
    let whole = written(false).await;
    for (what, alter, then) in ALTERATIONS {
        let home = copied(&whole);
        let data = home.path().join("data");
        alter(&data);
        match then {
            Then::Broken(seq) => read_only(what, home.path(), seq).await,
            Then::Goes => {
                let daemon = Daemon::start(crate::binary(), &data)
                    .unwrap_or_else(|error| panic!("{what}: {error:#}"));
                let mut client = intake(&daemon.address).await;
                let mut other = Bay::new("bay-9", ChaCha12Rng::seed_from_u64(1));
                post(&mut client, &other.next()).await.expect("a receipt");
                drop(client);
                daemon.stop().expect("a clean stop");
                let said = trace_of(&data);
                assert!(said.contains("lost its end"), "{what}: {said}");
            }
            Then::Says(words) => {
                let done = std::process::Command::new(crate::binary())
                    .args([AS_DAEMON, "serve", "--listen", "127.0.0.1:0", "--data"])
                    .arg(&data)
                    .output()
                    .expect("it runs");
                let said = String::from_utf8_lossy(&done.stderr);
                assert!(!done.status.success(), "{what}: {said}");
                assert!(said.contains(words), "{what}: {said}");
                assert!(!said.contains("panicked"), "{what}: {said}");
            }
        }
    }
}

fn trace_of(data: &Path) -> String {
    std::fs::read_to_string(data.with_extension("stderr")).expect("a trace")
}

async fn read_only(what: &str, home: &Path, seq: u64) {
    let data = home.join("data");
    let verified = daemon_command(crate::binary(), &["verify", "--json"], &data).expect("it runs");
    let said: serde_json::Value = serde_json::from_slice(&verified.stdout)
        .unwrap_or_else(|error| panic!("{what}: {error}: {verified:?}"));
    assert!(!verified.status.success(), "{what}: {said}");
    let named = said["broken_seq"].as_u64().expect("a seq");
    assert!(named == seq || seq == 0, "{what}: {said}");

    let daemon = Daemon::start(crate::binary(), &data)
        .unwrap_or_else(|error| panic!("{what}: {error:#}: {}", trace_of(&data)));
    let mut client = intake(&daemon.address).await;
    let mut other = Bay::new("bay-9", ChaCha12Rng::seed_from_u64(1));
    let refused = post(&mut client, &other.next())
        .await
        .expect_err("it is read-only");
    let details = refused.get_error_details();
    let reason = details.error_info().map(|info| info.reason.clone());
    assert_eq!(reason.as_deref(), Some("READ_ONLY"), "{what}: {refused:?}");
    assert!(
        refused.message().contains(&format!("seq {named}")),
        "{what}: {refused:?}"
    );
    let address = format!("http://{}", daemon.address);
    let mut floor = FloorServiceClient::connect(address)
        .await
        .expect("a connection");
    if let Err(status) = floor.now(v1::NowRequest::default()).await {
        panic!(
            "{what}: reads are answered: {status:?}: {}",
            trace_of(&data)
        );
    }
    let folder = home.join("bay");
    let said = bay(
        crate::binary(),
        &folder,
        &daemon.address,
        Vec::new(),
        &["note", "kept here"],
    );
    assert_eq!(said.code, 0, "{what}: {said:?}");
    assert!(said.out.contains("Kept on this bay"), "{what}: {said:?}");
    drop((client, floor));
    daemon.stop().expect("a clean stop");
    let trace = trace_of(&data);
    assert!(
        trace.contains(&format!("broken at seq {named}")),
        "{what}: {trace}"
    );
    assert!(!trace.contains("panicked"), "{what}: {trace}");
}

/// Records as they are in the log, up to where they can be read.
fn records(data: &Path) -> Option<Vec<Vec<u8>>> {
    let log = LogReader::open(data).ok()?;
    let mut all: Vec<Vec<u8>> = Vec::new();
    loop {
        let page = log.records_after(all.len() as u64, 100).ok()?;
        if page.is_empty() {
            return Some(all);
        }
        all.extend(page.into_iter().map(|entry| entry.record));
    }
}

/// Bytes written over at random places: a bit, some bytes, a sector, a page.
fn damage(file: &Path, rng: &mut ChaCha12Rng) -> String {
    let length =
        usize::try_from(std::fs::metadata(file).expect("its length").len()).expect("small");
    let at = rng.random_range(0..length);
    let bytes = std::fs::read(file).expect("the file");
    match rng.random_range(0..4) {
        0 => overwrite(file, at, &[bytes[at] ^ (1 << rng.random_range(0..8))]),
        1 => overwrite(file, at, &rng.random::<[u8; 4]>()),
        2 => {
            let sector = at / 512 * 512;
            overwrite(file, sector, &[rng.random(); 512]);
        }
        _ => {
            let page = at / PAGE_BYTES * PAGE_BYTES;
            let other = rng.random_range(0..length) / PAGE_BYTES * PAGE_BYTES;
            let copy = bytes[other..(other + PAGE_BYTES).min(length)].to_vec();
            overwrite(file, page, &copy);
        }
    }
    format!(
        "{} at {at}",
        file.file_name()
            .and_then(|n| n.to_str())
            .unwrap_or_default()
    )
}

/// Damage anywhere in the log's files: it does not open, or is named, or what
/// is there is what was appended, from the beginning on.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn damage_anywhere_in_the_log_is_named_or_harmless() {
    let seed = crate::from_environment("BAYWRIGHT_SEED", 20_261_206);
    let rounds = crate::from_environment("BAYWRIGHT_DAMAGES", 150);
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut counts = [0_u64; 4];
    for (kill, files) in [(false, &["log.db"][..]), (true, &["log.db-wal"])] {
        let whole = written(kill).await;
        let original = records(&copied(&whole).path().join("data")).expect("a whole log");
        assert_eq!(original.len(), RECORDS);
        for _ in 0..rounds / 2 {
            let home = copied(&whole);
            let data = home.path().join("data");
            let file = files[rng.random_range(0..files.len())];
            let what = damage(&data.join(file), &mut rng);
            let looked = catch_unwind(AssertUnwindSafe(|| {
                let Ok(journal) = Journal::open(&data) else {
                    return 0;
                };
                let log = LogReader::open(&data).expect("it was opened just now");
                if verify(&log, |_, _| true).is_err() {
                    return 1;
                }
                drop(journal);
                let found = records(&data).expect("a log that is whole");
                assert!(
                    original.starts_with(&found),
                    "{what}: altered, and taken for whole"
                );
                // Of the file alone nothing may be missing; a damaged
                // write-ahead log ends where it is damaged.
                assert!(
                    found.len() == RECORDS || kill,
                    "{what}: lost {}",
                    RECORDS - found.len()
                );
                if found.len() == RECORDS { 2 } else { 3 }
            }));
            let outcome = looked.unwrap_or_else(|_| panic!("seed {seed}: {what}"));
            counts[outcome] += 1;
        }
    }
    println!(
        "seed {seed}: {} not opened, {} named, {} harmless, {} cut the end of the write-ahead log",
        counts[0], counts[1], counts[2], counts[3]
    );
    assert!(counts[1] > 0 && counts[2] > 0);
}

/// Damage anywhere in the facts: they open, made anew where that was noticed,
/// and a rebuild always puts them right.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn damaged_facts_open_and_a_rebuild_puts_them_right() {
    let seed = crate::from_environment("BAYWRIGHT_SEED", 20_261_207);
    let rounds = crate::from_environment("BAYWRIGHT_DAMAGES", 150) / 3;
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut right = 0;
    for (kill, file) in [(false, "facts.db"), (true, "facts.db-wal")] {
        let whole = written(kill).await;
        for _ in 0..rounds / 2 {
            let home = copied(&whole);
            let data = home.path().join("data");
            let what = damage(&data.join(file), &mut rng);
            let readers = LogReaders::new(&data);
            let log = || readers.open().expect("the log");
            let opened = catch_unwind(AssertUnwindSafe(|| {
                let facts = Facts::open(&data, log(), &mut |_| {})
                    .unwrap_or_else(|error| panic!("{what}: {error}"));
                // Rows that were altered can fail to be read.
                facts.hash().ok()
            }));
            let hash = opened.unwrap_or_else(|_| panic!("seed {seed}: {what}"));
            let expected = Facts::in_memory_as_of(log(), u64::MAX)
                .and_then(|facts| facts.hash())
                .expect("a fold");
            right += usize::from(hash == Some(expected));
            let done = daemon_command_if(hash != Some(expected), &data);
            assert!(done, "{what}: rebuild puts it right");
        }
    }
    println!(
        "seed {seed}: {rounds} damages, {right} noticed or harmless, the others put right by `rebuild`"
    );
}

/// Rebuilds by the command and checks, where that is asked for.
fn daemon_command_if(wanted: bool, data: &Path) -> bool {
    !wanted
        || [&["rebuild"][..], &["rebuild", "--check"]]
            .iter()
            .all(|command| {
                daemon_command(crate::binary(), command, data)
                    .expect("it runs")
                    .status
                    .success()
            })
}

/// Facts that are no database, or whose place is taken, at the start of the daemon.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn facts_that_are_gone_or_rubbish_are_made_anew_by_the_start() {
    let whole = written(false).await;
    let cases: [(&str, Alter); 6] = [
        ("gone", |d| {
            std::fs::remove_file(d.join("facts.db")).expect("gone");
        }),
        ("empty", |d| truncate(&d.join("facts.db"), 0)),
        ("words", |d| {
            std::fs::write(d.join("facts.db"), "only words").expect("words");
        }),
        ("half", |d| truncate(&d.join("facts.db"), 8_192)),
        ("an index of rubbish behind it", |d| {
            std::fs::write(d.join("facts.db-wal"), [0x55; 9_000]).expect("rubbish");
            std::fs::write(d.join("facts.db-shm"), vec![0x55; 32_768]).expect("rubbish");
        }),
        ("a table is gone", |d| {
            let conn = Connection::open(d.join("facts.db")).expect("facts");
            conn.execute_batch("DROP TABLE event").expect("gone");
        }),
    ];
    for (what, alter) in cases {
        let home = copied(&whole);
        let data = home.path().join("data");
        alter(&data);
        let daemon = Daemon::start(crate::binary(), &data)
            .unwrap_or_else(|error| panic!("{what}: {error:#}"));
        let address = format!("http://{}", daemon.address);
        let mut floor = FloorServiceClient::connect(address)
            .await
            .expect("a connection");
        if let Err(status) = floor.now(v1::NowRequest::default()).await {
            panic!("{what}: {status:?}: {}", trace_of(&data));
        }
        assert_eq!(records_at(&daemon.address).await.len(), RECORDS, "{what}");
        drop(floor);
        daemon.stop().expect("a clean stop");
        let checked = daemon_command(crate::binary(), &["rebuild", "--check"], &data);
        assert!(checked.expect("it runs").status.success(), "{what}");
        assert!(!trace_of(&data).contains("panicked"), "{what}");
    }
}
