//! Replies that are lost, and bytes that come twice, late or in another order.

use baywright_tests::network::{Conduct, Flow};

use super::{Wire, patient};

/// Bytes at the end of an answer without which it is none: the trailers.
const TRAILER_BYTES: u64 = 12;

/// Waits until a note is in the log.
async fn in_the_log(wire: &Wire, text: &str) {
    patient(async { while !wire.notes().await.iter().any(|note| note == text) {} }).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_fact_whose_receipt_was_lost_is_there_once_with_its_first_time() {
    let wire = Wire::new().await;
    // A run of the same length, to know where its answer ends.
    wire.shop.bay("bay-1", "note \"number 0\"").ok();
    wire.shop.bay("bay-1", "note \"number 1\"").ok();
    let usual = wire.proxy.connection(1).await.down.moved();
    wire.proxy
        .meet(Conduct::down(Flow::HoldAfter(usual - TRAILER_BYTES)));
    let bay = wire.begin("bay-1", &["note", "number 2"]);
    in_the_log(&wire, "number 2").await;
    let before = wire.records().await;
    wire.proxy.connection(2).await.cut();
    let said = bay.await.expect("joined").ok();
    assert!(said.contains("Kept on this bay"), "{said}");

    wire.proxy.heal();
    let said = wire.shop.bay("bay-1", "note \"number 3\"").ok();
    assert!(said.contains("Sent first: 1 fact"), "{said}");
    let after = wire.records().await;
    assert_eq!(after[..before.len()], before[..], "the first is untouched");
    assert_eq!(
        wire.notes().await,
        ["number 0", "number 1", "number 2", "number 3"]
    );
    wire.stop();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn bytes_that_come_again_add_nothing() {
    let wire = Wire::new().await;
    for text in ["one", "two", "three"] {
        wire.shop.bay("bay-1", &format!("note {text}")).ok();
    }
    let before = wire.records().await;
    for connection in wire.proxy.connections() {
        let (sent, answered) = (connection.up.record(), connection.down.moved());
        assert!(!sent.is_empty());
        let whole = usize::try_from(answered).expect("a short answer");
        for _ in 0..3 {
            let again = patient(wire.proxy.replay(&sent, whole)).await;
            assert!(!again.expect("a connection").is_empty());
        }
        // Doubled within one connection it is no protocol, and the daemon hangs up.
        let doubled = [sent.as_slice(), sent.as_slice()].concat();
        let _ = patient(wire.proxy.replay(&doubled, usize::MAX)).await;
    }
    assert_eq!(wire.records().await, before);
    wire.shop.bay("bay-1", "note four").ok();
    assert_eq!(wire.notes().await, ["one", "two", "three", "four"]);
    wire.stop();
}

/// The first post is stuck on the way while its bay gives up, says it again and
/// goes on; then it arrives after all.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_post_that_arrives_after_later_ones_changes_nothing() {
    let wire = Wire::new().await;
    wire.shop.bay("bay-1", "note first").ok();
    let contact = wire.proxy.connection(0).await;
    assert!(contact.up.moved() > 0);
    wire.proxy.meet(Conduct::Carry {
        up: Flow::KeepAfter(0),
        down: Flow::SwallowAfter(0),
    });
    let said = patient(wire.begin("bay-1", &["note", "second"])).await;
    let said = said.expect("joined").ok();
    assert!(said.contains("Kept on this bay"), "{said}");
    let stuck = wire.proxy.connection(1).await;
    assert_eq!(stuck.up.moved(), 0, "it is still on its way");

    wire.proxy.meet(Conduct::OPEN);
    wire.shop.bay("bay-2", "note \"of another bay\"").ok();
    wire.shop.bay("bay-1", "note third").ok();
    let before = wire.records().await;
    stuck.up.set(Flow::Open);
    stuck.down.set(Flow::Open);
    patient(async {
        tokio::select! {
            () = stuck.down.has_moved(1) => {}
            () = stuck.over() => {}
        }
    })
    .await;
    assert!(stuck.up.moved() > 0, "it has arrived");
    wire.shop.bay("bay-1", "note fourth").ok();
    let after = wire.records().await;
    assert_eq!(after[..before.len()], before[..]);
    assert_eq!(
        wire.notes().await,
        ["first", "of another bay", "second", "third", "fourth"]
    );
    wire.stop();
}

/// A catalogue is made online only: where its answer is lost, the person reads
/// that nobody knows, and saying it again settles it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_catalogue_whose_answer_was_lost_is_in_force_once() {
    let wire = Wire::new().await;
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/example-shop.toml");
    let words = ["catalogue", "apply", file, "--yes"];
    wire.proxy.meet(Conduct::OPEN);
    let bay = wire.begin("bay-1", &words);
    // Whatever it asks before, the answer to the post itself never comes: its
    // bytes up are by far the most.
    let connection = patient(wire.proxy.connection(0)).await;
    connection.up.has_moved(CATALOGUE_BYTES_MIN).await;
    connection.down.set(Flow::HoldAfter(0));
    patient(async { while wire.records().await.is_empty() {} }).await;
    connection.cut();
    let said = bay.await.expect("joined");
    println!("{said:?}");
    assert_eq!(said.code, 4, "{said:?}");

    let again = wire
        .shop
        .bay("bay-1", &format!("catalogue apply {file} --yes"));
    println!("{again:?}");
    assert_eq!(again.code, 0, "{again:?}");
    assert_eq!(wire.records().await.len(), 1, "it is in force once");
    wire.shop.bay("bay-1", "note afterwards").ok();
    assert_eq!(wire.notes().await, ["afterwards"]);
    wire.stop();
}

/// The example catalogue is longer than this; nothing else a bay says is.
const CATALOGUE_BYTES_MIN: u64 = 8_000;
