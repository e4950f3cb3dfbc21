//! What a bay sends and what the log holds: posts, records, facts.

use std::cell::RefCell;

use baywright_daemon::facts::{Stored, event_of};
use baywright_daemon::journal::post::{FACT_BYTES_MAX, NAME_BYTES_MAX, read};
use baywright_daemon::journal::{Intake, Journal, Kept, Outcome, append_batch};
use baywright_floor::event::EventId;
use baywright_proto::v1;
use baywright_terms::time::Micros;
use prost::Message as _;
use tempfile::TempDir;

use super::catalogue::example;
use crate::Target;
use crate::food::{Food, NOW};
use crate::{made, scratch};

pub const POST: Target = Target {
    name: "post",
    run: post,
    words: &[
        "\n\u{10}",
        "\u{10}\u{1}",
        "\"",
        "bay-1",
        "\u{8}",
        "\u{1a}",
        "iron-remover",
        "\u{a2}\u{1}",
    ],
    slower: 2,
    bytes_max: 16 * 1024,
};

pub const APPEND: Target = Target {
    name: "append",
    run: append,
    words: &["\0", "\u{ff}", "bay-1", "iron-remover"],
    slower: 100,
    bytes_max: 2 * 1024,
};

pub const RECORD: Target = Target {
    name: "record",
    run: record,
    words: &[
        "Z",
        "\n\u{10}",
        "bay-1",
        "\u{a2}\u{1}",
        "\u{ba}\u{1}",
        "iron-remover",
    ],
    slower: 2,
    bytes_max: 16 * 1024,
};

/// What [`read`] takes must be what it took: ids of 16 bytes, names within
/// their bounds, and a fact whose stored bytes say the same again.
fn check_readable(intake: &Intake) {
    let Ok(readable) = read(intake) else {
        return;
    };
    let post = &intake.post;
    assert_eq!(post.event_id, readable.event_id);
    assert!(post.fact.len() <= FACT_BYTES_MAX);
    assert!((1..=NAME_BYTES_MAX).contains(&intake.device.len()));
    assert!(i64::try_from(post.device_seq).is_ok_and(|seq| seq > 0));
    let again = v1::Fact::decode(post.fact.as_slice()).unwrap_or_default();
    assert!(
        same(&again, &readable.fact),
        "{again:?} and {:?}",
        readable.fact
    );
    let sent_on = v1::Fact::decode(readable.fact.encode_to_vec().as_slice()).unwrap_or_default();
    assert!(same(&sent_on, &readable.fact));
}

/// Equal, where a number that is none equals itself.
fn same(one: &v1::Fact, other: &v1::Fact) -> bool {
    one.encode_to_vec() == other.encode_to_vec()
}

fn post(data: &[u8]) {
    if let Ok(post) = v1::Post::decode(data) {
        check_readable(&Intake {
            device: post.device.clone(),
            role: v1::Role::Bay,
            post,
        });
    }
    // The fact alone, in a post that is right.
    check_readable(&Intake {
        device: "bay-1-aaaaaa".to_owned(),
        role: v1::Role::Bay,
        post: v1::Post {
            event_id: vec![7; 16],
            device_seq: 1,
            fact: data.to_vec(),
            ..v1::Post::default()
        },
    });
}

/// A journal that some inputs share: opening one costs more than using it.
struct Log {
    _folder: TempDir,
    journal: Journal,
    inputs: u32,
}

/// Inputs that share a journal; then a new one is made.
const INPUTS_OF_A_LOG: u32 = 200;

thread_local! {
    static LOG: RefCell<Option<Log>> = const { RefCell::new(None) };
}

fn append(data: &[u8]) {
    LOG.with_borrow_mut(|held| {
        if held
            .as_ref()
            .is_none_or(|log| log.inputs >= INPUTS_OF_A_LOG)
        {
            *held = new_log();
        }
        if let Some(log) = held {
            log.inputs += 1;
            append_to(&mut log.journal, data);
        }
    });
}

fn new_log() -> Option<Log> {
    let folder = scratch::folder().ok()?;
    let journal = Journal::open(folder.path()).ok()?;
    Some(Log {
        _folder: folder,
        journal,
        inputs: 0,
    })
}

/// Devices are of this input alone, so that their numbers begin anew.
fn intakes(food: &mut Food<'_>, head: u64) -> Vec<Intake> {
    let mut held = [0_u64; 2];
    let count = 1 + food.below(6);
    (0..count)
        .map(|_| {
            let which = usize::from(food.flag());
            let previous = held.get(which).copied().unwrap_or(0);
            let in_step = food.byte() < 230;
            let device_seq = if in_step {
                previous.saturating_add(1)
            } else {
                food.number().cast_unsigned()
            };
            if let Some(held) = held.get_mut(which) {
                *held = device_seq;
            }
            let fact = if food.byte() < 200 {
                made::fact(food).encode_to_vec()
            } else {
                let length = food.below(80);
                food.bytes(length).to_vec()
            };
            let mut event_id = food.id().to_vec();
            event_id.splice(0..8, head.to_be_bytes());
            if food.byte() > 250 {
                event_id.truncate(food.below(17));
            }
            Intake {
                device: format!("bay-{which}-{head}"),
                role: v1::Role::Bay,
                post: v1::Post {
                    event_id,
                    device_seq,
                    previous_device_seq: previous,
                    fact,
                    delivery_clocks: food.flag().then(|| v1::Clocks {
                        wall_us: food.instant().0,
                        boot_id: "boot-1".to_owned(),
                        boot_us: food.number(),
                    }),
                    waiting: food.flag(),
                    anyway: food.flag(),
                    device: String::new(),
                    first_receipt: food.flag().then(|| v1::FirstReceipt {
                        job_number: food.number().unsigned_abs(),
                        received_us: food.instant().0,
                        occurred_us: food.instant().0,
                    }),
                },
            }
        })
        .collect()
}

fn append_to(journal: &mut Journal, data: &[u8]) {
    let mut food = Food::new(data);
    let now = Micros(NOW.0 + i64::from(food.byte()) * 1_000_000);
    let before = journal.head();
    let intakes = intakes(&mut food, before.seq);
    let catalogue = example();
    let outcomes = append_batch(journal, &catalogue, &intakes, now);
    assert_eq!(outcomes.len(), intakes.len());
    let new = |outcome: &Outcome| outcome.as_ref().is_ok_and(|kept| !kept.repeated);
    let appended = outcomes.iter().filter(|outcome| new(outcome)).count();
    assert_eq!(
        journal.head().seq - before.seq,
        u64::try_from(appended).unwrap_or(u64::MAX)
    );
    let mut received = before.received;
    for (intake, outcome) in intakes.iter().zip(&outcomes) {
        check_readable(intake);
        if let Ok(kept) = outcome {
            assert!(read(intake).is_ok(), "kept, and not readable");
            check_kept(intake, kept);
            assert!(
                kept.repeated || kept.received >= received,
                "received went back"
            );
            received = received.max(kept.received);
        }
    }
    // All of it once more: nothing is appended, and the receipts are the first ones.
    let again = append_batch(journal, &catalogue, &intakes, now);
    for (first, second) in outcomes.iter().zip(&again) {
        if let Ok(first) = first {
            let second = second.as_ref().ok();
            assert_eq!(second.map(|kept| kept.seq), Some(first.seq), "not repeated");
        }
    }
    assert!(
        again
            .iter()
            .all(|outcome| !new(outcome) || outcomes.iter().any(Result::is_err))
    );
}

fn check_kept(intake: &Intake, kept: &Kept) {
    let stored = v1::Record::decode(kept.record.as_slice());
    assert!(stored.is_ok(), "the log cannot read what it wrote");
    let stored = stored.unwrap_or_default();
    assert_eq!(stored.fact, intake.post.fact, "the fact was changed");
    assert_eq!(stored.event_id, intake.post.event_id);
    // A number that came before, from whoever, has the receipt of its first post.
    if !kept.repeated {
        assert_eq!(stored.device, intake.device);
    }
    assert_eq!(
        (stored.seq, stored.received_us),
        (kept.seq, kept.received.0)
    );
    assert_eq!(stored.occurred_us, kept.occurred.0);
    check_event(&Stored {
        seq: kept.seq,
        record: kept.record.clone(),
    });
}

fn record(data: &[u8]) {
    check_event(&Stored {
        seq: 1,
        record: data.to_vec(),
    });
    // A record that is right, with any fact.
    let whole = v1::Record {
        seq: 1,
        received_us: NOW.0,
        occurred_us: NOW.0,
        device: "bay-1-aaaaaa".to_owned(),
        event_id: vec![7; 16],
        device_seq: 1,
        fact: data.to_vec(),
        ..v1::Record::default()
    };
    let known = check_event(&Stored {
        seq: 1,
        record: whole.encode_to_vec(),
    });
    assert!(known, "a record of the journal was left out");
}

/// Decoding is total and gives the same each time; true for a record.
fn check_event(stored: &Stored) -> bool {
    let numbers = |number: u64| number.is_multiple_of(3).then_some(EventId([7; 16]));
    let event = event_of(stored, numbers);
    assert_eq!(
        event.is_some(),
        v1::Record::decode(stored.record.as_slice()).is_ok()
    );
    assert!(format!("{event:?}") == format!("{:?}", event_of(stored, numbers)));
    event.is_some()
}
