//! Stops at every step of [`append_batch`]: by an error, by a panic, by a disk
//! that stays broken, and by a kill, which leaves the folder as it was.
//!
//! Nothing acknowledged may be lost, nothing doubled, and the posts sent again
//! must leave the very log that an undisturbed run leaves.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use super::*;
use crate::facts::{Facts, LogSource, LogSources as _, Stored};
use crate::journal::append::{Step, append_batch_by_steps};
use crate::journal::{JournalError, LogReaders};

/// How a batch is stopped.
#[derive(Debug, Clone, Copy)]
enum Stop {
    /// One error; whatever is tried after it works.
    Error,
    /// Every step fails from here on.
    Broken,
    /// A panic that the writer catches; it goes on with the same journal.
    Panic,
    /// A panic that ends the journal: its connection is closed.
    PanicAndReopen,
    /// The folder as it is at this step is all that is left.
    Kill,
}

const STOPS: [Stop; 5] = [
    Stop::Error,
    Stop::Broken,
    Stop::Panic,
    Stop::PanicAndReopen,
    Stop::Kill,
];

/// What the undisturbed run left.
struct Undisturbed {
    records: Vec<Vec<u8>>,
    outcomes: Vec<Outcome>,
    steps: Vec<Step>,
}

fn clocked(mut intake: Intake, boot_us: i64) -> Intake {
    intake.post.delivery_clocks = Some(v1::Clocks {
        wall_us: NINE.0,
        boot_id: "boot".to_owned(),
        boot_us,
    });
    intake
}

/// What is in the log before the batch.
fn before() -> Vec<Intake> {
    vec![
        post("a", 1, 0, 1, &opened()),
        post("b", 2, 0, 1, &noted("b")),
        clocked(post("a", 3, 1, 2, &noted("a")), 1_000),
    ]
}

fn batches() -> Vec<(&'static str, Vec<Intake>)> {
    vec![
        ("one", vec![post("a", 10, 2, 3, &noted("one"))]),
        (
            "several bays",
            vec![
                post("a", 10, 2, 3, &noted("x")),
                post("b", 11, 1, 2, &opened()),
                post("c", 12, 0, 1, &noted("y")),
                post("a", 13, 3, 4, &opened()),
            ],
        ),
        (
            "repeats and refusals between",
            vec![
                post("a", 3, 1, 2, &noted("a")),
                post("a", 10, 2, 3, &noted("x")),
                post("a", 10, 2, 3, &noted("x")),
                post("b", 11, 7, 8, &noted("out of step")),
                post("b", 2, 1, 2, &noted("another fact of a known id")),
                post("c", 12, 0, 0, &noted("unreadable")),
                post("c", 13, 0, 1, &noted("y")),
            ],
        ),
        (
            "nothing to keep",
            vec![
                post("a", 3, 1, 2, &noted("a")),
                post("b", 11, 7, 8, &noted("out of step")),
            ],
        ),
        (
            "clocks of a boot",
            vec![
                clocked(post("a", 10, 2, 3, &noted("x")), 2_000),
                clocked(post("a", 11, 3, 4, &noted("y")), 3_000),
            ],
        ),
    ]
}

fn records(shop: &Shop) -> Vec<Vec<u8>> {
    let page = shop.log().records_after(0, 1_000).unwrap();
    page.into_iter().map(|entry| entry.record).collect()
}

fn with_facts(shop: &Shop) -> Facts {
    let log: Box<dyn LogSource> = LogReaders::new(shop.dir.path()).open().unwrap();
    Facts::open(shop.dir.path(), log, &mut |_| {}).unwrap()
}

/// A folder without a disk behind it, where the system has one: what stops here
/// is the process, so a flush would only cost time.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    if memory.is_dir()
        && let Ok(folder) = tempfile::tempdir_in(memory)
    {
        return folder;
    }
    tempfile::tempdir().unwrap()
}

fn opened_in(dir: tempfile::TempDir) -> Shop {
    let journal = Journal::open(dir.path()).unwrap();
    Shop {
        dir,
        journal,
        catalogue: Catalogue::default(),
    }
}

/// Log and facts before the batch, made once and copied for every stop.
fn template() -> tempfile::TempDir {
    let mut shop = opened_in(folder());
    for outcome in shop.append(&before()) {
        outcome.unwrap();
    }
    drop(with_facts(&shop));
    let Shop { dir, journal, .. } = shop;
    drop(journal);
    dir
}

fn begun(template: &Path) -> Shop {
    let dir = folder();
    copy(template, dir.path());
    opened_in(dir)
}

fn undisturbed(template: &Path, batch: &[Intake]) -> Undisturbed {
    let mut shop = begun(template);
    let mut steps = Vec::new();
    let outcomes = append_batch_by_steps(
        &mut shop.journal,
        &shop.catalogue,
        batch,
        NINE,
        &mut |step| {
            steps.push(step);
            Ok(())
        },
    );
    Undisturbed {
        records: records(&shop),
        outcomes,
        steps,
    }
}

/// Copies a folder as a kill would leave it: the process had no time to close
/// a file, so the write-ahead log and its index stay.
fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

fn disk_full() -> JournalError {
    let code = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_FULL);
    JournalError::Database(rusqlite::Error::SqliteFailure(code, None))
}

/// Runs the batch until it is stopped at step `at`; gives the shop that is
/// left, and what had been answered.
fn stopped(mut shop: Shop, batch: &[Intake], stop: Stop, at: usize) -> (Shop, Vec<Outcome>) {
    let left = folder();
    let folder = shop.dir.path().to_owned();
    let mut taken = 0;
    let mut hook = |_: Step| {
        let here = taken == at;
        let past = taken >= at;
        taken += 1;
        match stop {
            Stop::Error if here => Err(disk_full()),
            Stop::Broken if past => Err(disk_full()),
            Stop::Panic | Stop::PanicAndReopen if here => panic!("a stop at step {at}"),
            Stop::Kill if here => {
                copy(&folder, left.path());
                Ok(())
            }
            _ => Ok(()),
        }
    };
    let ran = catch_unwind(AssertUnwindSafe(|| {
        append_batch_by_steps(&mut shop.journal, &shop.catalogue, batch, NINE, &mut hook)
    }));
    match (stop, ran) {
        // What was answered after the kill was answered by another world.
        (Stop::Kill, Ok(_)) => (opened_in(left), Vec::new()),
        (Stop::PanicAndReopen, Err(_)) => {
            let Shop { dir, journal, .. } = shop;
            drop(journal);
            (opened_in(dir), Vec::new())
        }
        (Stop::Panic, Err(_)) => (shop, Vec::new()),
        (Stop::Error | Stop::Broken, Ok(outcomes)) => (shop, outcomes),
        (_, ran) => panic!("{stop:?} at {at} was no stop: {ran:?}"),
    }
}

/// A receipt is the first one, but for the mark that it came before and for how
/// far the device is by then.
fn same_receipt(again: &Kept, first: &Kept) -> bool {
    let as_first = Kept {
        repeated: first.repeated,
        held_device_seq: first.held_device_seq,
        ..again.clone()
    };
    as_first == *first && again.held_device_seq >= first.held_device_seq
}

fn check(template: &Path, batch: &[Intake], whole: &Undisturbed, stop: Stop, at: usize) {
    let what = format!("{stop:?} at step {at}, {:?}", whole.steps[at]);
    let shop = begun(template);
    let mut facts = with_facts(&shop);
    let (mut shop, answered) = stopped(shop, batch, stop, at);
    if matches!(stop, Stop::Kill) {
        facts = with_facts(&shop);
    }

    // What was acknowledged is in the log, once and as the receipt says.
    let held = records(&shop);
    for kept in answered.iter().flatten() {
        let place = usize::try_from(kept.seq).unwrap() - 1;
        assert_eq!(held.get(place), Some(&kept.record), "{what}");
    }
    assert!(verify(&shop.log(), |_, _| true).is_ok(), "{what}");

    // Sent again, the same log comes out, and every receipt is the first one.
    let again = shop.append(batch);
    for (n, (again, first)) in again.iter().zip(&whole.outcomes).enumerate() {
        match (again, first) {
            (Ok(again), Ok(first)) => assert!(same_receipt(again, first), "{what}: post {n}"),
            (Err(_), Err(_)) => {}
            other => panic!("{what}: post {n}: {other:?}"),
        }
    }
    for (again, answered) in again.iter().zip(&answered) {
        if let (Ok(again), Ok(answered)) = (again, answered) {
            assert!(same_receipt(again, answered), "{what}");
            assert!(again.repeated, "{what}");
        }
    }
    assert_eq!(records(&shop), whole.records, "{what}");
    let whole_log = verify(&shop.log(), |_, _| true).unwrap();
    assert_eq!(whole_log.hash, shop.journal.head().hash, "{what}");

    // The facts, which knew nothing of the stop, are those of a rebuild.
    let stored: Vec<Stored> = again
        .iter()
        .flatten()
        .filter(|kept| !kept.repeated)
        .map(|kept| Stored {
            seq: kept.seq,
            record: kept.record.clone(),
        })
        .collect();
    facts.absorb(&stored).unwrap();
    facts.commit().unwrap();
    facts.absorb(&[]).unwrap();
    facts.commit().unwrap();
    let log = LogReaders::new(shop.dir.path()).open().unwrap();
    let rebuilt = Facts::in_memory_as_of(log, u64::MAX).unwrap();
    assert_eq!(facts.cursor(), shop.journal.head().seq, "{what}");
    assert_eq!(facts.hash().unwrap(), rebuilt.hash().unwrap(), "{what}");

    // And the journal goes on.
    let next = shop.one(post("z", 99, 0, 1, &noted("after"))).unwrap();
    assert_eq!(next.seq, whole_log.seq + 1, "{what}");
    shop.reopen();
}

#[test]
fn a_stop_at_any_step_loses_and_doubles_nothing() {
    let template = template();
    let mut stops = 0;
    for (name, batch) in batches() {
        let whole = undisturbed(template.path(), &batch);
        assert!(
            whole.steps.contains(&Step::Committed),
            "{name}: the batch ran to its end"
        );
        for at in 0..whole.steps.len() {
            for stop in STOPS {
                check(template.path(), &batch, &whole, stop, at);
                stops += 1;
            }
        }
    }
    println!("{stops} stops");
    assert!(stops > 200, "{stops} stops are not every step");
}

/// Every step that the enumeration goes through is there, in its order.
#[test]
fn the_steps_of_a_batch_are_these() {
    let (_, batch) = batches().swap_remove(2);
    assert_eq!(
        undisturbed(template().path(), &batch).steps,
        [
            Step::BeforeBegin,
            Step::Begun,
            Step::Decided(0),
            Step::Decided(1),
            Step::BeforeInsert(1),
            Step::Inserted(1),
            Step::Decided(2),
            Step::Decided(3),
            Step::Decided(4),
            Step::Decided(5),
            Step::Decided(6),
            Step::BeforeInsert(6),
            Step::Inserted(6),
            Step::BeforeCommit,
            Step::Committed,
            Step::HeadMoved,
        ]
    );
}
