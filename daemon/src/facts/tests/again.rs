//! After a restore bays send again what the log lost, in an order of their own.

use baywright_floor::event::EventId;
use baywright_proto::v1::{self, fact::Kind, job_ref::Job};
use prost::Message as _;

use super::log::Log;
use super::shop::{Dice, MINUTE_US, START_US, Shop};
use crate::facts::{Facts, Stored, dump};

/// Records of a log, the last of them lost and sent again device by device: in
/// each device's order, but of any device first.
fn sent_again(entries: &[Stored], backed_up: usize, dice: &mut Dice) -> Vec<Stored> {
    let (kept, lost) = entries.split_at(backed_up);
    let mut lost: Vec<v1::Record> = lost
        .iter()
        .map(|stored| v1::Record::decode(&*stored.record).unwrap())
        .collect();
    let mut order = Vec::new();
    while !lost.is_empty() {
        let device = lost[dice.below(lost.len())].device.clone();
        let burst = 1 + dice.below(30);
        for _ in 0..burst {
            if let Some(at) = lost.iter().position(|record| record.device == device) {
                order.push(lost.remove(at));
            }
        }
    }
    let seqs = u64::try_from(backed_up).unwrap() + 1..;
    let again = seqs.zip(order).map(|(seq, mut record)| {
        record.first_received_us = record.received_us;
        record.received_us = START_US + 90 * 24 * 60 * MINUTE_US;
        record.time_basis = v1::TimeBasis::FirstReceipt.into();
        record.seq = seq;
        Stored {
            seq,
            record: record.encode_to_vec(),
        }
    });
    kept.iter().cloned().chain(again).collect()
}

/// Feeds a log a few entries at a time, and holds it against a rebuild.
fn folded(entries: &[Stored]) -> (tempfile::TempDir, Facts) {
    let log = Log::default();
    let folder = tempfile::tempdir().unwrap();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    for batch in entries.chunks(7) {
        log.push(batch);
        facts.absorb(batch).unwrap();
        facts.commit().unwrap();
    }
    let rebuilt = Facts::in_memory_as_of(Log::of(entries.to_vec()).boxed(), u64::MAX).unwrap();
    assert_eq!(
        rows(&facts),
        rows(&rebuilt),
        "a rebuild gives the same rows"
    );
    let reopened = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    assert_eq!(reopened.fold.overlay, rebuilt.fold.overlay);
    (folder, facts)
}

fn rows(facts: &Facts) -> Vec<String> {
    let mut lines = Vec::new();
    dump(&facts.conn, &mut |line| lines.push(line.to_owned())).unwrap();
    lines
}

#[test]
fn whatever_comes_again_in_whatever_order_folds_as_a_rebuild_does() {
    for seed in 1..5 {
        println!("seed {seed}");
        let entries = Shop::new(seed, 20).records(180);
        let mut dice = Dice::new(seed + 100);
        let backed_up = 30 + dice.below(100);
        folded(&sent_again(&entries, backed_up, &mut dice));
    }
}

fn id(number: u8) -> Vec<u8> {
    let mut id = vec![7; 16];
    id[15] = number;
    id
}

/// A job that one bay opens, that another names by its number at work on it,
/// and about which the office settles what was put on no job.
fn two_bays_and_an_office() -> Vec<Stored> {
    let number = |number| {
        Some(v1::JobRef {
            job: Some(Job::Number(number)),
        })
    };
    let moved = |place: &str| {
        Kind::JobMoved(v1::JobMoved {
            place: place.to_owned(),
        })
    };
    let started = |stage: &str| {
        Kind::StageStarted(v1::StageStarted {
            stage: stage.to_owned(),
            ..Default::default()
        })
    };
    let finished = |stage: &str| {
        Kind::StageFinished(v1::StageFinished {
            stage: stage.to_owned(),
            ..Default::default()
        })
    };
    let opened = || {
        Kind::JobOpened(v1::JobOpened {
            vehicle: "invented tractor".to_owned(),
            ..Default::default()
        })
    };
    let settled = Kind::Settled(v1::Settled {
        event_id: id(6),
        reason: "it was the tractor".to_owned(),
        answer: number(2).map(v1::settled::Answer::Job),
        ..Default::default()
    });
    let told = [
        ("bay-1", opened(), None, 1),
        ("bay-1", opened(), None, 2),
        ("bay-2", moved("bay-2"), number(2), 0),
        ("bay-2", started("polish"), number(2), 0),
        ("bay-2", finished("polish"), number(2), 0),
        ("bay-2", finished("wash"), number(999), 0),
        ("office", settled, None, 0),
        ("bay-1", opened(), None, 3),
        ("bay-2", started("dry"), number(3), 0),
        (
            "bay-2",
            Kind::JobReleased(v1::JobReleased::default()),
            number(2),
            0,
        ),
    ];
    let mut device_seqs = std::collections::BTreeMap::new();
    (1..)
        .zip(told)
        .map(|(seq, (device, kind, job, job_number))| {
            let device_seq: &mut u64 = device_seqs.entry(device).or_default();
            *device_seq += 1;
            let at_us = START_US + i64::try_from(seq).unwrap() * 7 * MINUTE_US;
            let fact = v1::Fact {
                bay: device.to_owned(),
                by: vec!["ana".to_owned()],
                job,
                kind: Some(kind),
                ..v1::Fact::default()
            };
            let record = v1::Record {
                seq,
                received_us: at_us,
                occurred_us: at_us,
                time_basis: v1::TimeBasis::Boot.into(),
                device: device.to_owned(),
                event_id: id(u8::try_from(seq).unwrap()),
                device_seq: *device_seq,
                job_number,
                fact: fact.encode_to_vec(),
                ..v1::Record::default()
            };
            Stored {
                seq,
                record: record.encode_to_vec(),
            }
        })
        .collect()
}

/// Rows without the places of their events in the log, which are others now.
fn state_and_notices(facts: &Facts) -> (String, Vec<String>) {
    let strip = |text: String| {
        let mut parts = text.split("Seq(");
        let mut out = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            out.push_str("Seq(_");
            out.push_str(part.trim_start_matches(|c: char| c.is_ascii_digit()));
        }
        out
    };
    let rows = baywright_rows(facts).into_iter().map(strip).collect();
    (strip(format!("{:?}", facts.fold.live.state)), rows)
}

fn baywright_rows(facts: &Facts) -> Vec<String> {
    use crate::facts::rows::{self, KEY, Table};
    let mut found = Vec::new();
    for table in Table::ALL {
        for row in rows::select(&facts.conn, table, &format!("ORDER BY {KEY}"), []).unwrap() {
            found.push(format!("{row:?}"));
        }
    }
    found
}

#[test]
fn a_number_named_before_its_job_comes_again_means_that_job() {
    let entries = two_bays_and_an_office();
    let (_folder, before) = folded(&entries);
    let was = state_and_notices(&before);
    let on_the_tractor = was
        .1
        .iter()
        .filter(|row| row.contains(&format!("{:?}", EventId(id(2).try_into().unwrap()))));
    assert!(
        on_the_tractor.count() > 3,
        "the work is on the job: {:#?}",
        was.1
    );
    // The bay that opened the jobs is the last to come back.
    let by_device = |device: &str| {
        let of = |stored: &&Stored| v1::Record::decode(&*stored.record).unwrap().device == device;
        entries.iter().filter(of).cloned().collect::<Vec<_>>()
    };
    for order in [
        ["office", "bay-2", "bay-1"],
        ["bay-2", "office", "bay-1"],
        ["bay-1", "bay-2", "office"],
        ["bay-2", "bay-1", "office"],
    ] {
        let lost: Vec<Stored> = order.iter().flat_map(|device| by_device(device)).collect();
        let again: Vec<Stored> = (1..)
            .zip(lost)
            .map(|(seq, stored)| {
                let mut record = v1::Record::decode(&*stored.record).unwrap();
                record.first_received_us = record.received_us;
                record.received_us += 24 * 60 * MINUTE_US;
                record.seq = seq;
                Stored {
                    seq,
                    record: record.encode_to_vec(),
                }
            })
            .collect();
        let (_folder, facts) = folded(&again);
        assert_eq!(state_and_notices(&facts), was, "{order:?}");
    }
}
