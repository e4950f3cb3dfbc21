//! What the person reads when the network fails, and how long they stand there.

use std::time::{Duration, Instant};

use baywright_client::connect::{CALL_MS_MAX, CONNECT_MS_MAX};
use baywright_tests::network::{Conduct, Flow};

use super::{Wire, patient};
use crate::shop::Said;

/// Words of the machinery that say nothing to a person at the bay.
const JARGON: [&str; 9] = [
    "h2",
    "http",
    "transport",
    "os error",
    "hyper",
    "grpc",
    "tonic",
    "status:",
    "stream",
];
/// Sentences of what happened and what to do, at most.
const SENTENCES_MAX: usize = 4;

/// A failure of the network, and whether the daemon has the fact all the same.
const FAILURES: [(&str, Conduct, bool); 6] = [
    ("refused", Conduct::Refuse, false),
    (
        "cut in the request",
        Conduct::Carry {
            up: Flow::CutAfter(150),
            down: Flow::Open,
        },
        false,
    ),
    (
        "cut before any answer",
        Conduct::Carry {
            up: Flow::Open,
            down: Flow::CutAfter(0),
        },
        false,
    ),
    ("half open", Conduct::HALF_OPEN, false),
    ("black hole", Conduct::BLACK_HOLE, false),
    (
        "answers lost",
        Conduct::Carry {
            up: Flow::Open,
            down: Flow::SwallowAfter(60),
        },
        true,
    ),
];

pub(crate) fn is_clear(what: &str, text: &str) {
    let lower = text.to_lowercase();
    for word in JARGON {
        assert!(!lower.contains(word), "{what}: `{word}` in {text}");
    }
    let sentences = text.matches(". ").count() + text.lines().count();
    assert!(sentences <= SENTENCES_MAX, "{what}: {sentences} in {text}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_person_reads_where_the_fact_is_and_soon() {
    let wire = Wire::new().await;
    wire.shop.bay("bay-1", "note begin").ok();
    // A wait to connect, and one for an answer; the machine may be busy.
    let soon = Duration::from_millis(CONNECT_MS_MAX + CALL_MS_MAX) + Duration::from_secs(5);
    let mut expected = vec!["begin".to_owned()];
    for (what, conduct, _) in FAILURES {
        wire.proxy.meet(conduct);
        let began = Instant::now();
        let Said { code, out, err } = patient(wire.begin("bay-1", &["note", what]))
            .await
            .expect("joined");
        println!(
            "{what}: exit {code} after {:?}\n{out}{err}",
            began.elapsed()
        );
        assert_eq!(code, 0, "{what}: {out}{err}");
        assert!(out.contains("Kept on this bay"), "{what}: {out}");
        is_clear(what, out.split_once("Kept on this bay").expect("kept").1);
        assert!(began.elapsed() < soon, "{what}: {:?}", began.elapsed());
        expected.push(what.to_owned());

        let began = Instant::now();
        let Said { code, out, err } = patient(wire.begin("bay-1", &["week"]))
            .await
            .expect("joined");
        println!(
            "{what}, week: exit {code} after {:?}\n{out}{err}",
            began.elapsed()
        );
        assert_eq!(code, 4, "{what}: {out}{err}");
        is_clear(what, &err);
        assert!(began.elapsed() < soon, "{what}: {:?}", began.elapsed());

        wire.proxy.meet(Conduct::OPEN);
        wire.shop.bay("bay-1", "spool send").ok();
        assert_eq!(wire.notes().await, expected, "{what}");
    }
    wire.stop();
}

/// Nothing is lost in a network that stands still for a while: the command that
/// waited is answered as if nothing had been.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_black_hole_that_heals_in_time_is_not_noticed() {
    let wire = Wire::new().await;
    wire.proxy.meet(Conduct::BLACK_HOLE);
    let bay = wire.begin("bay-1", &["note", "in the dark"]);
    patient(wire.proxy.connection(0)).await;
    wire.proxy.heal();
    let said = patient(bay).await.expect("joined").ok();
    assert!(!said.contains("Kept"), "{said}");
    assert_eq!(wire.notes().await, ["in the dark"]);
    wire.stop();
}

/// A command that asks and posts several times stands for one silence only.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_silent_daemon_is_waited_for_once() {
    let wire = Wire::new().await;
    wire.shop.bay("bay-1", "note begin").ok();
    wire.shop.bay("bay-1", "now").ok();
    let soon = Duration::from_millis(CONNECT_MS_MAX + CALL_MS_MAX) + Duration::from_secs(5);
    wire.proxy.meet(Conduct::HALF_OPEN);
    for words in [
        &["open", "saloon-coat", "grey", "--bring"][..],
        &["open", "saloon-coat", "red", "--at", "00:01"],
        &["coat", "nose"],
        &[],
    ] {
        let began = Instant::now();
        let said = patient(wire.begin("bay-1", words)).await.expect("joined");
        println!("{words:?}: {:?} {said:?}", began.elapsed());
        assert_eq!(said.code, 0, "{said:?}");
        assert!(began.elapsed() < soon, "{words:?}: {:?}", began.elapsed());
    }
    wire.stop();
}
