//! Delivery against a fake daemon: in order, exactly once, whatever happens.

use std::sync::Arc;
use std::time::{Duration, Instant};

use proptest::prelude::*;
use prost::Message as _;
use tempfile::TempDir;
use tokio::runtime::Runtime;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;

use crate::clock::SetClocks;
use crate::connect::{Link, Server};
use crate::delivery::Noticed;
use crate::delivery::refusal::Refused;
use crate::device::{Device, How, Posted};
use crate::error::{Error, Kind as ErrorKind};
use crate::fake::{Fake, Fault};
use crate::spool::Standing;

mod restored;

fn runtime() -> Runtime {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
}

fn clocks() -> Arc<SetClocks> {
    Arc::new(SetClocks::new(1_795_000_000_000_000, "boot", 1_000_000))
}

fn device(folder: &TempDir) -> Device {
    Device::open(folder.path(), clocks()).unwrap()
}

fn note(text: &str) -> v1::Fact {
    v1::Fact {
        kind: Some(Kind::Noted(v1::Noted {
            text: text.to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    }
}

fn waiting() -> How {
    How {
        waiting: true,
        ..How::default()
    }
}

/// Nobody listens on a port that was just given back.
fn nowhere() -> Server {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    Server::Tcp(listener.local_addr().unwrap().to_string())
}

fn post(device: &mut Device, server: Server, text: &str) -> Result<Posted, Error> {
    let mut link = Link::new(server);
    runtime().block_on(device.post(&mut link, note(text), &waiting()))
}

fn is_acknowledged(posted: &Result<Posted, Error>) -> bool {
    matches!(posted, Ok(Posted::Acknowledged(_)))
}

#[test]
fn what_was_posted_while_nobody_answered_goes_out_first_and_in_order() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    for text in ["1", "2", "3"] {
        let posted = post(&mut device, nowhere(), text).unwrap();
        let Posted::Kept { why, .. } = posted else {
            panic!("{posted:?}");
        };
        assert_eq!(why.kind(), ErrorKind::Unreachable);
    }
    let fake = Fake::start();
    let Posted::Acknowledged(last) = post(&mut device, fake.server(), "4").unwrap() else {
        panic!("not acknowledged");
    };
    assert_eq!(last.older.sent, 3);
    assert_eq!(last.receipt.seq, 4);
    assert_eq!(fake.notes(), ["1", "2", "3", "4"]);
    let by_person: Vec<bool> = fake.state().log.iter().map(|s| s.waiting).collect();
    assert_eq!(by_person, [false, false, false, true]);
    assert!(device.spool().posts().waiting().is_empty());
}

#[test]
fn a_lost_receipt_does_not_double_a_post() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    assert!(is_acknowledged(&post(&mut device, fake.server(), "1")));
    fake.state().faults.push_back(Fault::LosesTheReceipt);
    let kept = post(&mut device, fake.server(), "2").unwrap();
    assert!(matches!(kept, Posted::Kept { .. }), "{kept:?}");
    assert_eq!(fake.notes(), ["1", "2"], "it did arrive");
    assert!(is_acknowledged(&post(&mut device, fake.server(), "3")));
    assert_eq!(fake.notes(), ["1", "2", "3"]);
}

#[test]
fn lost_receipts_of_a_whole_stream_do_not_double_anything() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    assert!(is_acknowledged(&post(&mut device, fake.server(), "0")));
    for text in ["1", "2", "3"] {
        device.keep(note(text), &How::default()).unwrap();
    }
    fake.state().faults.extend([Fault::LosesTheReceipt; 2]);
    // The first try ends at the first lost receipt; the second finds 1 there.
    for _ in 0..3 {
        let _ = runtime().block_on(device.deliver(&mut Link::new(fake.server())));
    }
    assert_eq!(fake.notes(), ["0", "1", "2", "3"]);
    assert!(device.spool().posts().waiting().is_empty());
}

#[test]
fn an_unreadable_post_is_set_aside_said_so_and_holds_nothing_up() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    for text in ["1", "unreadable", "2", "3"] {
        device.keep(note(text), &How::default()).unwrap();
    }
    let fake = Fake::start();
    let mut link = Link::new(fake.server());
    let delivered = runtime().block_on(device.deliver(&mut link)).unwrap();
    assert_eq!((delivered.sent, delivered.set_aside), (4, 1));
    assert_eq!(
        fake.notes(),
        [
            "1",
            "2",
            "3",
            "set aside: note: unreadable: the post cannot be read: fact is odd."
        ]
    );
    let aside: Vec<_> = device.spool().posts().set_aside().collect();
    let Standing::SetAside { reason, .. } = &aside[0].standing else {
        panic!("not set aside");
    };
    assert_eq!((aside.len(), reason.as_str()), (1, "UNREADABLE"));
    let entries = device.spool().posts().all();
    let names_it = entries.iter().any(|entry| {
        let fact = v1::Fact::decode(&*entry.fact).unwrap();
        matches!(fact.kind, Some(Kind::Noted(note)) if note.set_aside_event_id == aside[0].event_id)
    });
    assert!(names_it, "the note names the post that was set aside");
}

#[test]
fn a_note_of_a_refusal_that_is_refused_itself_is_the_last() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    device.keep(note("1"), &How::default()).unwrap();
    let refused = Refused::later(Error::new(ErrorKind::Refused, "not from here"));
    // A daemon that takes nothing from this device.
    let mut rounds = 0;
    while let Some(id) = device.spool().posts().waiting().first().map(|e| e.event_id) {
        device.put_aside(&id, &refused).unwrap();
        rounds += 1;
        assert!(rounds <= 2, "notes about notes");
    }
    assert_eq!(rounds, 2);
}

#[test]
fn a_post_refused_while_the_person_waits_is_withdrawn_and_never_sent_again() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    let error = post(&mut device, fake.server(), "unreadable").unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Refused);
    assert!(is_acknowledged(&post(&mut device, fake.server(), "1")));
    assert_eq!(fake.notes(), ["1"]);
    let gone = &device.spool().posts().all()[0];
    assert!(matches!(gone.standing, Standing::Withdrawn { .. }));
}

#[test]
fn a_daemon_restored_from_a_backup_gets_again_what_it_lost() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    for text in ["1", "2", "3", "4"] {
        assert!(is_acknowledged(&post(&mut device, fake.server(), text)));
    }
    {
        let mut state = fake.state();
        state.log.truncate(2);
        state.epoch = 2;
    }
    let Posted::Acknowledged(fifth) = post(&mut device, fake.server(), "5").unwrap() else {
        panic!("not acknowledged");
    };
    assert_eq!(fifth.receipt.seq, 5);
    let noticed = Some(Noticed::Restored { is_complete: true });
    assert_eq!(fifth.older.noticed, noticed);
    assert_eq!(fake.notes(), ["1", "2", "3", "4", "5"]);
    assert_eq!(device.spool().posts().epoch, 2);
    // Without a new post, sending alone finds it out too.
    fake.state().log.truncate(1);
    runtime()
        .block_on(device.deliver(&mut Link::new(fake.server())))
        .unwrap();
    assert_eq!(fake.notes(), ["1", "2", "3", "4", "5"]);
}

/// Found by the simulation: the receipt of "2" was lost and its second one did
/// not count, so a log restored to "1" passed for one that had lost nothing.
#[test]
fn a_restore_is_noticed_though_the_last_receipts_were_second_ones() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let fake = Fake::start();
    assert!(is_acknowledged(&post(&mut device, fake.server(), "1")));
    fake.state().faults.push_back(Fault::LosesTheReceipt);
    assert!(!is_acknowledged(&post(&mut device, fake.server(), "2")));
    let mut link = Link::new(fake.server());
    runtime().block_on(device.deliver(&mut link)).unwrap();
    assert!(device.spool().posts().waiting().is_empty());
    {
        let mut state = fake.state();
        state.log.truncate(1);
        state.epoch = 2;
    }
    assert!(is_acknowledged(&post(&mut device, fake.server(), "3")));
    assert_eq!(fake.notes(), ["1", "2", "3"]);
}

#[test]
fn another_log_gets_only_what_still_waits() {
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let first = Fake::start();
    for text in ["1", "2"] {
        assert!(is_acknowledged(&post(&mut device, first.server(), text)));
    }
    device.keep(note("3"), &How::default()).unwrap();
    let second = Fake::start();
    second.state().log_id = vec![2; 16];
    let Posted::Acknowledged(fourth) = post(&mut device, second.server(), "4").unwrap() else {
        panic!("not acknowledged");
    };
    assert_eq!(fourth.older.noticed, Some(Noticed::OtherLog));
    assert_eq!(second.notes(), ["3", "4"]);
    assert_eq!(first.notes(), ["1", "2"]);
}

#[test]
fn a_data_folder_put_back_from_an_old_copy_loses_no_new_fact() {
    let folder = TempDir::new().unwrap();
    let mut bay = device(&folder);
    let fake = Fake::start();
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "1")));
    let old = std::fs::read(folder.path().join("spool")).unwrap();
    for text in ["2", "3"] {
        assert!(is_acknowledged(&post(&mut bay, fake.server(), text)));
    }
    drop(bay);
    std::fs::write(folder.path().join("spool"), old).unwrap();
    let mut bay = device(&folder);
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "4")));
    assert!(is_acknowledged(&post(&mut bay, fake.server(), "5")));
    assert_eq!(fake.notes(), ["1", "2", "3", "4", "5"]);
}

#[test]
fn two_terminals_at_once_deliver_everything_once_with_growing_numbers() {
    let folder = TempDir::new().unwrap();
    let fake = Fake::start();
    let path = folder.path();
    std::thread::scope(|scope| {
        for terminal in ["a", "b", "c"] {
            let server = fake.server();
            scope.spawn(move || {
                let mut device = Device::open(path, clocks()).unwrap();
                for number in 0..8 {
                    let posted = post(&mut device, server.clone(), &format!("{terminal}{number}"));
                    assert!(is_acknowledged(&posted), "{posted:?}");
                }
            });
        }
    });
    let mut notes = fake.notes();
    let numbers: Vec<u64> = fake.state().log.iter().map(|s| s.device_seq).collect();
    assert!(numbers.is_sorted_by(|a, b| a < b), "{numbers:?}");
    for terminal in ["a", "b", "c"] {
        let own: Vec<&String> = notes.iter().filter(|n| n.starts_with(terminal)).collect();
        assert!(own.is_sorted(), "{own:?}");
    }
    notes.sort();
    notes.dedup();
    assert_eq!(notes.len(), 24);
}

#[test]
fn a_daemon_that_never_answers_costs_a_bounded_wait_and_no_fact() {
    // The connection stands, and nothing ever comes back over it.
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let server = Server::Tcp(listener.local_addr().unwrap().to_string());
    let folder = TempDir::new().unwrap();
    let mut device = device(&folder);
    let started = Instant::now();
    let posted = post(&mut device, server, "1").unwrap();
    assert!(matches!(posted, Posted::Kept { .. }), "{posted:?}");
    assert!(
        started.elapsed() < Duration::from_secs(9),
        "{:?}",
        started.elapsed()
    );
    assert_eq!(device.spool().posts().waiting().len(), 1);
}

#[test]
fn a_device_can_post_from_any_task() {
    fn is_send<T: Send>(value: T) -> T {
        value
    }
    let folder = TempDir::new().unwrap();
    let fake = Fake::start();
    let mut device = device(&folder);
    let mut link = Link::new(fake.server());
    let how = waiting();
    let posted = runtime().block_on(is_send(device.post(&mut link, note("1"), &how)));
    assert!(is_acknowledged(&posted));
}

#[test]
fn a_damaged_spool_says_so_in_the_log() {
    let folder = TempDir::new().unwrap();
    let mut bay = device(&folder);
    for text in ["1", "2"] {
        bay.keep(note(text), &How::default()).unwrap();
    }
    drop(bay);
    let path = folder.path().join("spool");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes[280] ^= 1;
    std::fs::write(&path, bytes).unwrap();
    let fake = Fake::start();
    let mut bay = device(&folder);
    runtime()
        .block_on(bay.deliver(&mut Link::new(fake.server())))
        .unwrap();
    let notes = fake.notes();
    assert_eq!(notes.len(), 2, "{notes:?}");
    assert_eq!(notes[0], "2");
    assert!(notes[1].contains("was damaged"), "{notes:?}");
}

#[derive(Debug, Clone, Copy)]
enum Step {
    Post,
    PostOffline,
    Send,
    LoseReceipts(usize),
    Busy,
    Restore(prop::sample::Index),
    Reopen,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        5 => Just(Step::Post),
        3 => Just(Step::PostOffline),
        2 => Just(Step::Send),
        2 => (1_usize..4).prop_map(Step::LoseReceipts),
        1 => Just(Step::Busy),
        1 => any::<prop::sample::Index>().prop_map(Step::Restore),
        1 => Just(Step::Reopen),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// After any mishaps and one quiet send, the log has every fact once, in order.
    #[test]
    fn the_log_has_every_fact_once_and_in_order(steps in prop::collection::vec(step(), 1..24)) {
        let folder = TempDir::new().unwrap();
        let fake = Fake::start();
        let mut bay = device(&folder);
        let mut posted = 0_u32;
        for step in steps {
            match step {
                Step::Post | Step::PostOffline => {
                    posted += 1;
                    let offline = matches!(step, Step::PostOffline);
                    let server = if offline { nowhere() } else { fake.server() };
                    post(&mut bay, server, &posted.to_string()).unwrap();
                }
                Step::Send => {
                    let _ = runtime().block_on(bay.deliver(&mut Link::new(fake.server())));
                }
                Step::LoseReceipts(count) => {
                    fake.state().faults.extend(std::iter::repeat_n(Fault::LosesTheReceipt, count));
                }
                Step::Busy => fake.state().faults.push_back(Fault::IsBusy),
                Step::Restore(index) => {
                    let mut state = fake.state();
                    let kept = index.index(state.log.len() + 1);
                    state.log.truncate(kept);
                    state.epoch += 1;
                }
                Step::Reopen => bay = device(&folder),
            }
        }
        fake.state().faults.clear();
        runtime().block_on(bay.deliver(&mut Link::new(fake.server()))).unwrap();
        let expected: Vec<String> = (1..=posted).map(|n| n.to_string()).collect();
        prop_assert_eq!(fake.notes(), expected);
        prop_assert!(bay.spool().posts().waiting().is_empty());
    }
}
