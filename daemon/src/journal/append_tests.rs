//! The contract of the log, as tables of posts and what becomes of them.

use std::collections::BTreeMap;

use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::catalogue::{Catalogue, Worker};
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use proptest::prelude::*;
use prost::Message as _;

use super::append::{Journal, Kept, Outcome, append_batch};
use super::post::{FACT_BYTES_MAX, Intake};
use super::reader::LogReader;
use super::refusal::{Named, Refusal};
use super::verify::{verify, verify_tail};

mod again;
mod codes;
mod steps;

/// 2026-11-23T09:00:00Z.
const NINE: Micros = Micros(1_795_424_400_000_000);

/// A log in a directory of its own.
struct Shop {
    dir: tempfile::TempDir,
    journal: Journal,
    catalogue: Catalogue,
}

impl Shop {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let journal = Journal::open(dir.path()).unwrap();
        Self {
            dir,
            journal,
            catalogue: Catalogue::default(),
        }
    }

    fn append_at(&mut self, intakes: &[Intake], now: Micros) -> Vec<Outcome> {
        append_batch(&mut self.journal, &self.catalogue, intakes, now)
    }

    fn append(&mut self, intakes: &[Intake]) -> Vec<Outcome> {
        self.append_at(intakes, NINE)
    }

    fn one(&mut self, intake: Intake) -> Outcome {
        self.append(&[intake]).pop().unwrap()
    }

    fn log(&self) -> LogReader {
        LogReader::open(self.dir.path()).unwrap()
    }

    fn record(&self, seq: u64) -> v1::Record {
        self.log().record(seq).unwrap().unwrap().decode().unwrap()
    }

    fn reopen(self) -> Self {
        let Self {
            dir,
            journal,
            catalogue,
        } = self;
        let before = journal.head();
        drop(journal);
        let journal = Journal::open(dir.path()).unwrap();
        assert_eq!(journal.head(), before, "a start finds the head it left");
        Self {
            dir,
            journal,
            catalogue,
        }
    }
}

fn id(number: u8) -> Vec<u8> {
    let mut id = vec![0x01; 16];
    id[15] = number;
    id
}

fn noted(text: &str) -> v1::Fact {
    v1::Fact {
        bay: "bay-1".to_owned(),
        kind: Some(Kind::Noted(v1::Noted {
            text: text.to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    }
}

fn opened() -> v1::Fact {
    v1::Fact {
        kind: Some(Kind::JobOpened(v1::JobOpened {
            job_type: "unsorted".to_owned(),
            ..v1::JobOpened::default()
        })),
        ..v1::Fact::default()
    }
}

/// A post of a device whose count is `seq` after `previous`.
fn post(device: &str, number: u8, previous: u64, seq: u64, fact: &v1::Fact) -> Intake {
    Intake {
        post: v1::Post {
            event_id: id(number),
            device_seq: seq,
            previous_device_seq: previous,
            fact: fact.encode_to_vec(),
            device: device.to_owned(),
            ..v1::Post::default()
        },
        device: device.to_owned(),
        role: v1::Role::Owner,
    }
}

fn waiting(mut intake: Intake) -> Intake {
    intake.post.waiting = true;
    intake
}

fn kept(outcome: &Outcome) -> &Kept {
    outcome.as_ref().unwrap()
}

#[test]
fn a_post_is_kept_as_it_was_sent_and_the_chain_covers_it() {
    let mut shop = Shop::new();
    let fact = noted("first");
    let outcome = shop.one(post("a", 1, 0, 1, &fact));
    assert_eq!(kept(&outcome).seq, 1);
    let record = shop.record(1);
    assert_eq!(record.fact, fact.encode_to_vec());
    assert_eq!(record.received_us, NINE.0);
    assert_eq!(record.role(), v1::Role::Owner);
    let whole = verify(&shop.log(), |_, _| true).unwrap();
    assert_eq!(whole.records, 1);
    assert_eq!(whole.hash, shop.journal.head().hash);
    shop.reopen();
}

#[test]
fn a_post_sent_twice_is_kept_once_and_gets_the_first_receipt() {
    let mut shop = Shop::new();
    let first = shop.one(post("a", 1, 0, 1, &opened())).unwrap();
    // Much later, and after others.
    shop.one(post("a", 2, 1, 2, &noted("x"))).unwrap();
    let again = shop
        .append_at(&[post("a", 1, 0, 1, &opened())], Micros(NINE.0 + HOUR_US))
        .pop()
        .unwrap()
        .unwrap();
    let expected = Kept {
        repeated: true,
        // How far the device is by now, not by then.
        held_device_seq: 2,
        ..first
    };
    assert_eq!(again, expected);
    assert_eq!(shop.journal.head().seq, 2);
    // Twice in one batch, too.
    let outcomes = shop.append(&[
        post("a", 3, 2, 3, &noted("y")),
        post("a", 3, 2, 3, &noted("y")),
    ]);
    assert_eq!(kept(&outcomes[0]).seq, 3);
    assert_eq!(kept(&outcomes[1]).seq, 3);
    assert!(kept(&outcomes[1]).repeated && !kept(&outcomes[0]).repeated);
}

#[test]
fn an_event_id_with_another_fact_is_refused_on_its_own_ground() {
    let mut shop = Shop::new();
    shop.one(post("a", 1, 0, 1, &noted("x"))).unwrap();
    let refused = shop.one(post("a", 1, 1, 2, &noted("y")));
    assert_eq!(refused, Err(Refusal::IdReused { seq: 1 }));
    let refused = shop.one(post("b", 1, 0, 1, &noted("y")));
    assert_eq!(refused, Err(Refusal::IdReused { seq: 1 }));
    assert_eq!(shop.journal.head().seq, 1);
}

#[test]
fn a_post_out_of_step_is_told_what_is_held() {
    let mut shop = Shop::new();
    shop.one(post("a", 1, 0, 5, &noted("x"))).unwrap();
    for (previous, seq) in [(0, 6), (4, 6), (6, 7), (5, 5), (5, 3)] {
        let refused = shop.one(post("a", 9, previous, seq, &noted("y")));
        assert_eq!(
            refused,
            Err(Refusal::OutOfStep { held: 5 }),
            "{previous} {seq}"
        );
    }
    // Gaps are allowed, and other devices have their own count.
    shop.one(post("a", 2, 5, 9, &noted("y"))).unwrap();
    shop.one(post("b", 3, 0, 1, &noted("z"))).unwrap();
    assert_eq!(shop.log().held_device_seq("a").unwrap(), 9);
    let mut shop = shop.reopen();
    let refused = shop.one(post("a", 4, 5, 10, &noted("y")));
    assert_eq!(refused, Err(Refusal::OutOfStep { held: 9 }));
}

#[test]
fn an_unreadable_post_is_told_every_field_that_is_wrong() {
    let mut shop = Shop::new();
    let good = post("a", 1, 0, 1, &noted("x"));
    let with = |change: &dyn Fn(&mut Intake)| {
        let mut intake = good.clone();
        change(&mut intake);
        intake
    };
    let long_name = "d".repeat(65);
    let cases = [
        (with(&|i| i.post.event_id = vec![1; 15]), "event_id"),
        (with(&|i| i.post.event_id = vec![0; 16]), "event_id"),
        (with(&|i| i.post.event_id.clear()), "event_id"),
        (with(&|i| i.device.clear()), "device"),
        (with(&|i| i.device.clone_from(&long_name)), "device"),
        (with(&|i| i.post.device_seq = 0), "device_seq"),
        (with(&|i| i.post.device_seq = u64::MAX), "device_seq"),
        (with(&|i| i.post.fact = vec![0xff; 9]), "fact"),
        (with(&|i| i.post.fact = vec![0; FACT_BYTES_MAX + 1]), "fact"),
        (with(&|i| i.post.fact.clear()), "fact.kind"),
        (
            with(&|i| i.post.fact = v1::Fact::default().encode_to_vec()),
            "fact.kind",
        ),
        (
            with(&|i| {
                let fact = v1::Fact {
                    kind: Some(Kind::StruckOut(v1::StruckOut::default())),
                    ..v1::Fact::default()
                };
                i.post.fact = fact.encode_to_vec();
            }),
            "fact.struck_out.event_id",
        ),
        (
            with(&|i| {
                let fact = v1::Fact {
                    occurred: Some(v1::fact::Occurred::AtUs(1)),
                    ..noted("x")
                };
                i.post.fact = fact.encode_to_vec();
            }),
            "fact.at_us",
        ),
    ];
    for (intake, field) in cases {
        match shop.one(intake) {
            Err(Refusal::Unreadable(wrong)) => {
                let fields: Vec<&str> = wrong.iter().map(|w| w.field.as_str()).collect();
                assert_eq!(fields, [field]);
            }
            other => panic!("{field}: {other:?}"),
        }
    }
    let both = with(&|i| {
        i.post.device_seq = 0;
        i.post.event_id.clear();
    });
    let Err(Refusal::Unreadable(wrong)) = shop.one(both) else {
        panic!("two fields are wrong");
    };
    assert_eq!(wrong.len(), 2);
    assert_eq!(shop.journal.head().seq, 0);
}

#[test]
fn a_kind_of_a_newer_bay_is_kept_byte_for_byte() {
    let mut shop = Shop::new();
    let clocks = v1::Fact {
        clocks: Some(v1::Clocks::default()),
        ..v1::Fact::default()
    };
    // Field 60, length-delimited, three bytes.
    let unknown = [0xe2, 0x03, 0x03, b'a', b'b', b'c'];
    let mut newer = clocks.encode_to_vec();
    newer.extend(unknown);
    let mut intake = post("a", 1, 0, 1, &clocks);
    intake.post.fact.clone_from(&newer);
    shop.one(intake.clone()).unwrap();
    assert_eq!(shop.record(1).fact, newer);
    // An unknown field below the kinds says nothing that happened.
    let mut intake = post("a", 2, 1, 2, &clocks);
    intake.post.fact.extend([0x98, 0x01, 0x07]); // field 19, varint
    assert!(matches!(shop.one(intake), Err(Refusal::Unreadable(_))));
    // A known kind keeps its unknown fields as well.
    let mut intake = post("a", 3, 1, 2, &noted("x"));
    intake.post.fact.extend(unknown);
    let sent = intake.post.fact.clone();
    shop.one(intake).unwrap();
    assert_eq!(shop.record(2).fact, sent);
}

fn with_catalogue(shop: &mut Shop) {
    let mut workers = BTreeMap::new();
    for code in ["ana", "ben"] {
        let worker = Worker {
            name: code.to_owned(),
            rate_minor: None,
            retired: false,
        };
        workers.insert(Code::new(code), worker);
    }
    shop.catalogue.workers = workers;
}

#[test]
fn a_bad_post_never_fails_its_neighbours() {
    let mut shop = Shop::new();
    let mut bad = post("a", 2, 1, 2, &noted("x"));
    bad.post.fact = vec![0xff];
    let outcomes = shop.append(&[
        post("a", 1, 0, 1, &noted("x")),
        bad,
        post("a", 3, 7, 8, &noted("x")),
        post("b", 4, 0, 1, &noted("x")),
        post("a", 5, 1, 3, &noted("x")),
    ]);
    let seqs: Vec<Option<u64>> = outcomes
        .iter()
        .map(|o| o.as_ref().ok().map(|k| k.seq))
        .collect();
    assert_eq!(seqs, [Some(1), None, None, Some(2), Some(3)]);
    assert_eq!(verify(&shop.log(), |_, _| true).unwrap().records, 3);
}

#[test]
fn a_post_that_the_database_does_not_take_fails_alone() {
    let mut shop = Shop::new();
    shop.journal
        .connection()
        .execute_batch(
            "CREATE TEMP TRIGGER poison BEFORE INSERT ON main.record WHEN NEW.device = 'bad'
             BEGIN SELECT RAISE(ABORT, 'poison'); END;",
        )
        .unwrap();
    let outcomes = shop.append(&[
        post("a", 1, 0, 1, &opened()),
        post("bad", 2, 0, 1, &opened()),
        post("a", 3, 1, 2, &opened()),
    ]);
    assert_eq!(kept(&outcomes[0]).job_number, 1);
    assert!(matches!(&outcomes[1], Err(Refusal::NotWritten { why }) if why.contains("poison")));
    assert_eq!(kept(&outcomes[2]).job_number, 2);
    assert_eq!(verify(&shop.log(), |_, _| true).unwrap().records, 2);
}

#[test]
fn a_failed_commit_puts_the_head_back_and_keeps_nothing() {
    let mut shop = Shop::new();
    shop.one(post("a", 1, 0, 1, &opened())).unwrap();
    let before = shop.journal.head();
    shop.journal
        .connection()
        .commit_hook(Some(|| true))
        .unwrap();
    let batch = [
        post("a", 2, 1, 2, &opened()),
        post("a", 3, 2, 3, &opened()),
        post("b", 4, 0, 1, &noted("x")),
    ];
    for outcome in shop.append(&batch) {
        assert!(
            matches!(
                outcome,
                Err(Refusal::NotWritten { .. } | Refusal::OutOfStep { held: 1 })
            ),
            "{outcome:?}"
        );
    }
    assert_eq!(shop.journal.head(), before);
    assert_eq!(shop.log().head_seq().unwrap(), 1);
    shop.journal
        .connection()
        .commit_hook(None::<fn() -> bool>)
        .unwrap();
    // The same posts go through, with the numbers that were not used up.
    let outcomes = shop.append(&batch);
    let numbers: Vec<u64> = outcomes.iter().map(|o| kept(o).job_number).collect();
    assert_eq!(numbers, [2, 3, 0]);
    assert_eq!(verify(&shop.log(), |_, _| true).unwrap().records, 4);
    shop.reopen();
}

#[test]
fn received_never_decreases_but_what_happened_follows_the_true_clock() {
    let mut shop = Shop::new();
    let back = Micros(NINE.0 - HOUR_US);
    let clocks = v1::Clocks {
        wall_us: 1,
        boot_id: "x".to_owned(),
        boot_us: 50,
    };
    let fact = v1::Fact {
        clocks: Some(clocks.clone()),
        ..noted("x")
    };
    let delivered = |number, previous, seq| {
        let mut intake = post("a", number, previous, seq, &fact);
        intake.post.delivery_clocks = Some(clocks.clone());
        intake
    };
    for (number, now) in [(1, NINE), (2, back), (3, Micros(NINE.0 + 1))] {
        let n = u64::from(number);
        shop.append_at(&[delivered(number, n - 1, n)], now)
            .pop()
            .unwrap()
            .unwrap();
    }
    let received: Vec<i64> = (1..=3).map(|seq| shop.record(seq).received_us).collect();
    assert_eq!(received, [NINE.0, NINE.0, NINE.0 + 1]);
    assert_eq!(shop.record(2).occurred_us, back.0);
}

#[test]
fn posts_of_one_batch_happened_in_the_order_of_the_log() {
    let mut shop = Shop::new();
    let batch = [
        post("b", 1, 0, 1, &noted("x")),
        post("a", 2, 0, 1, &noted("x")),
        post("b", 3, 1, 2, &noted("x")),
    ];
    let outcomes = shop.append(&batch);
    let at: Vec<i64> = outcomes
        .iter()
        .map(|o| kept(o).occurred.0 - NINE.0)
        .collect();
    assert_eq!(at, [0, 1, 2]);
}

#[test]
fn the_clock_of_an_earlier_boot_is_known_from_its_last_delivery() {
    let mut shop = Shop::new();
    let clocks = |boot_id: &str, boot_us| v1::Clocks {
        // Seven minutes slow, and set to something else after the restart.
        wall_us: if boot_id == "one" {
            NINE.0 - 7 * MINUTE_US
        } else {
            0
        },
        boot_id: boot_id.to_owned(),
        boot_us,
    };
    let send = |number: u8, posted: v1::Clocks, delivered: v1::Clocks| {
        let fact = v1::Fact {
            clocks: Some(posted),
            ..noted("x")
        };
        let n = u64::from(number);
        let mut intake = post("a", number, n - 1, n, &fact);
        intake.post.delivery_clocks = Some(delivered);
        intake
    };
    let at = |us| Micros(NINE.0 + us);
    // Delivered in boot one; then posted in boot one, delivered an hour later in boot two.
    shop.append_at(&[send(1, clocks("one", 100), clocks("one", 100))], NINE);
    let mut shop = shop.reopen();
    shop.append_at(
        &[send(
            2,
            clocks("one", 100 + 20 * MINUTE_US),
            clocks("two", 5),
        )],
        at(HOUR_US),
    );
    // Another device's boot of the same name is not its own.
    let mut stranger = send(1, clocks("one", 0), clocks("three", 5));
    stranger.post.event_id = id(99);
    stranger.device = "b".to_owned();
    shop.append_at(&[stranger], at(HOUR_US));
    let found: Vec<(i64, v1::TimeBasis)> = (1..=3)
        .map(|seq| shop.record(seq))
        .map(|record| (record.occurred_us - NINE.0, record.time_basis()))
        .collect();
    assert_eq!(found[0], (0, v1::TimeBasis::Boot));
    assert_eq!(found[1], (20 * MINUTE_US, v1::TimeBasis::EarlierBoot));
    assert_eq!(found[2].1, v1::TimeBasis::PresentOffset);
}

#[test]
fn verify_names_the_first_bad_seq() {
    let changes: [(&str, u64); 5] = [
        ("UPDATE record SET record = x'0801' WHERE seq = 2", 2),
        ("UPDATE record SET hash = zeroblob(32) WHERE seq = 3", 3),
        ("DELETE FROM record WHERE seq = 2", 2),
        ("UPDATE record SET device = 'z' WHERE seq = 4", 4),
        ("UPDATE record SET job_number = 9 WHERE seq = 1", 1),
    ];
    for (change, seq) in changes {
        let mut shop = Shop::new();
        for n in 1..=4 {
            let number = u8::try_from(n).unwrap();
            shop.one(post("a", number, n - 1, n, &opened())).unwrap();
        }
        verify(&shop.log(), |_, _| true).unwrap();
        // Someone with the file and no respect for its triggers.
        shop.journal
            .connection()
            .execute_batch(&format!(
                "DROP TRIGGER record_keeps_every_row; DROP TRIGGER record_keeps_every_value; {change}"
            ))
            .unwrap();
        let broken = verify(&shop.log(), |_, _| true).unwrap_err();
        assert_eq!(broken.seq, seq, "{change}: {broken}");
        assert_eq!(verify_tail(&shop.log()).unwrap_err().seq, seq, "{change}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// However posts are cut into batches, the log and every answer are the same.
    #[test]
    fn any_batching_gives_the_same_log(
        posts in proptest::collection::vec((0..3_u8, 0..4_u64, 1..5_u64, 0..30_u8, any::<bool>()), 1..40),
        cut in 1..9_usize,
    ) {
        let intakes: Vec<Intake> = posts
            .iter()
            .map(|&(device, previous, step, number, opens)| {
                let fact = if opens { opened() } else { noted("x") };
                post(&format!("d{device}"), number + 1, previous, previous + step, &fact)
            })
            .collect();
        let mut together = Shop::new();
        let mut apart = Shop::new();
        let whole = together.append(&intakes);
        let mut parts = Vec::new();
        for batch in intakes.chunks(cut) {
            parts.extend(apart.append(batch));
        }
        prop_assert_eq!(whole, parts);
        prop_assert_eq!(
            together.journal.head().job_number,
            apart.journal.head().job_number
        );
        let kept = together.log().records_after(0, 1_000).unwrap();
        let other = apart.log().records_after(0, 1_000).unwrap();
        let bytes = |entries: &[super::LogEntry]| -> Vec<Vec<u8>> {
            entries.iter().map(|entry| entry.record.clone()).collect()
        };
        prop_assert_eq!(bytes(&kept), bytes(&other));
        prop_assert!(verify(&together.log(), |_, _| true).is_ok());
    }
}
