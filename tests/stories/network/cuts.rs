//! Connections that end at any byte, and such that are slow.

use std::collections::BTreeMap;

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_client::connect::{Link, Server};
use baywright_client::device::{Device, How, Posted};
use baywright_terms::time::SECOND_US;
use baywright_tests::network::{Conduct, Flow};

use super::{Wire, note, noted, patient};

/// Facts that wait when the connection comes, so that a stream is cut as well.
const WAITED: usize = 3;
/// Bytes between one cut and the next. Prime, so that cuts fall everywhere in
/// frames and messages.
const STRIDE: usize = 29;

fn link(wire: &Wire) -> Link {
    Link::new(wire.proxy.address.parse::<Server>().expect("an address"))
}

/// A new device with facts that wait; then one more is posted.
async fn post_after_waiting(wire: &Wire, name: &str) -> (Device, Posted) {
    let (mut device, _) = wire.shop.device(name);
    for number in 1..=WAITED {
        let kept = device.keep(noted(number.to_string()), &How::default());
        kept.expect("room in the spool");
    }
    let last = noted((WAITED + 1).to_string());
    let posted = device.post(&mut link(wire), last, &How::default()).await;
    (device, posted.expect("a cut is no refusal"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_connection_cut_at_any_byte_loses_and_doubles_nothing() {
    let wire = Wire::new().await;
    let began_us = MachineClocks::default().wall_us();
    let (_, whole) = post_after_waiting(&wire, "whole").await;
    assert!(matches!(whole, Posted::Acknowledged(_)), "{whole:?}");
    let first = wire.proxy.connection(0).await;
    let (up, down) = (first.up.moved(), first.down.moved());

    let at = |total: u64| (0..=total).step_by(STRIDE);
    let cuts = at(up)
        .map(|byte| ("up", byte, Conduct::up(Flow::CutAfter(byte))))
        .chain(at(down).map(|byte| ("down", byte, Conduct::down(Flow::CutAfter(byte)))));
    let (mut tried, mut acknowledged) = (0_usize, 0_usize);
    for (lane, byte, conduct) in cuts {
        wire.proxy.meet(conduct);
        let (mut device, posted) =
            patient(post_after_waiting(&wire, &format!("{lane}-{byte}"))).await;
        tried += 1;
        acknowledged += usize::from(matches!(posted, Posted::Acknowledged(_)));
        wire.proxy.meet(Conduct::OPEN);
        let delivered = patient(device.deliver(&mut link(&wire))).await;
        delivered.unwrap_or_else(|error| panic!("after a cut of {lane} at {byte}: {error}"));
        assert!(device.spool().posts().waiting().is_empty());
    }
    let ended_us = MachineClocks::default().wall_us();
    println!(
        "{tried} cuts over {up} bytes up and {down} down; {acknowledged} came too late to matter"
    );
    assert!(acknowledged < tried / 2, "most cuts were in the way");

    let mut by_device: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (record, fact) in wire.records().await {
        let truth = began_us - SECOND_US..=ended_us + SECOND_US;
        assert!(truth.contains(&record.occurred_us), "{record:?}");
        let text = note(&fact).expect("only notes");
        by_device.entry(record.device).or_default().push(text);
    }
    let expected: Vec<String> = (1..=WAITED + 1).map(|n| n.to_string()).collect();
    assert_eq!(by_device.len(), tried + 1);
    for (device, notes) in by_device {
        assert_eq!(notes, expected, "{device}");
    }
    wire.stop();
}

/// An afternoon alone, and a connection that never lasts.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_long_spool_gets_through_a_connection_that_keeps_ending() {
    const FACTS: usize = 600;
    /// The first contact takes some hundred bytes of these.
    const BYTES_EACH: u64 = 6_000;
    const ATTEMPTS_MAX: usize = 100;
    let wire = Wire::new().await;
    let (mut device, _) = wire.shop.device("bay-1");
    for number in 0..FACTS {
        let kept = device.keep(noted(number.to_string()), &How::default());
        kept.expect("room in the spool");
    }
    wire.proxy.meet(Conduct::up(Flow::CutAfter(BYTES_EACH)));
    let mut attempts = 0;
    while patient(device.deliver(&mut link(&wire))).await.is_err() {
        attempts += 1;
        assert!(attempts < ATTEMPTS_MAX, "each attempt gets on");
    }
    println!("{FACTS} facts took {attempts} cut connections");
    assert!(attempts > 3, "connections were cut");
    let expected: Vec<String> = (0..FACTS).map(|n| n.to_string()).collect();
    assert_eq!(wire.notes().await, expected);
    wire.stop();
}

/// Slow as the test likes: a few bytes each way, then a few more.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_fact_gets_through_a_network_of_a_few_bytes_at_a_time() {
    const STEP_BYTES: u64 = 7;
    let wire = Wire::new().await;
    wire.proxy.meet(Conduct::BLACK_HOLE);
    let mut bay = wire.begin("bay-1", &["note", "slowly"]);
    let mut steps = 0_u64;
    let said = loop {
        steps += 1;
        for connection in wire.proxy.connections() {
            connection.up.set(Flow::HoldAfter(steps * STEP_BYTES));
            connection.down.set(Flow::HoldAfter(steps * STEP_BYTES));
        }
        tokio::select! {
            said = &mut bay => break said.expect("joined"),
            () = tokio::task::yield_now() => {}
        }
        assert!(steps * STEP_BYTES < 1 << 40, "it ends");
    };
    let said = said.ok();
    assert!(!said.contains("Kept on this bay"), "{said}");
    assert_eq!(wire.notes().await, ["slowly"]);
    wire.stop();
}
