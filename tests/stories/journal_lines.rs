//! What the daemon's trace says of calls, and what it never says.

use std::io::{Read as _, Write as _};

use baywright_client::device::How;
use baywright_proto::v1;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_tests::harness::Daemon;

use crate::shop::Shop;

/// Words of a customer, a worker and a vehicle, which are no matter of a journal.
const WORDS: [&str; 5] = [
    "struppi",
    "okonkwo",
    "lime-green-three-wheeler",
    "left-handed",
    "zuzanna",
];

/// Reads a page of the daemon's figures.
fn page(address: &str, path: &str) -> String {
    let mut stream = std::net::TcpStream::connect(address).expect("the figures are served");
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\n\r\n");
    stream.write_all(request.as_bytes()).expect("a request");
    let mut page = String::new();
    stream.read_to_string(&mut page).expect("a page");
    page
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_trace_names_each_call_and_holds_no_word_of_people() {
    let mut shop = Shop::closed();
    let daemon = Daemon::start_as(
        crate::binary(),
        &shop.data(),
        &["--log", "json"],
        // Everything of ours; the libraries below down to their steps.
        [("RUST_LOG", "debug,baywright_daemon=trace".into())],
    )
    .expect("a daemon");
    shop.server.clone_from(&daemon.address);
    shop.apply_example();
    shop.bay(
        "bay-1",
        "open trike-coat \"lime-green-three-wheeler of Okonkwo\"",
    )
    .ok();
    shop.bay(
        "bay-1",
        "note \"Struppi the dog waits; she is left-handed\"",
    )
    .ok();
    let noted = |text: &str| v1::Fact {
        by: vec!["zuzanna".to_owned()],
        kind: Some(v1::fact::Kind::Noted(v1::Noted {
            text: text.to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    // A worker whom the catalogue does not have: refused while somebody waits.
    let (mut device, mut link) = shop.device("bay-3");
    let how = How::default();
    let waiting = How {
        waiting: true,
        ..How::default()
    };
    let refused = device.post(&mut link, noted("Struppi barks"), &waiting);
    refused.await.expect_err("no such worker");
    // The same in a stream, where nobody waits and it is kept.
    let (mut device, mut link) = shop.device("bay-2");
    for text in ["Struppi again", "and Okonkwo called"] {
        device.keep(noted(text), &how).expect("a fact is kept");
    }
    device.deliver(&mut link).await.expect("a delivery");
    // A question that names a person, and cannot be answered.
    let mut reports = ReportServiceClient::connect(format!("http://{}", shop.server))
        .await
        .expect("a connection");
    let asked = v1::OwnRequest {
        worker: "zuzanna".to_owned(),
        ..v1::OwnRequest::default()
    };
    let unknown = reports.own(asked).await.expect_err("nobody of that name");
    let number = unknown.metadata().get("baywright-request");
    let number = number.and_then(|number| number.to_str().ok());
    let number = number.expect("a call has a number").to_owned();
    let metrics = daemon.metrics.clone().expect("figures");
    let figures = page(&metrics, "/metrics");
    assert!(figures.contains("\nbaywright_posts_refused_total{reason=\"UNKNOWN_CODE\"} 1\n"));
    assert!(
        figures.contains("baywright_calls_total{method=\"IntakeService/PostMany\",code=\"OK\"} 1")
    );
    assert!(page(&metrics, "/health").starts_with("HTTP/1.1 200 OK"));
    daemon.stop().expect("a stop");

    let trace = std::fs::read_to_string(shop.data().with_extension("stderr")).expect("a trace");
    let mut told = Vec::new();
    for line in trace.lines() {
        let line: serde_json::Value = serde_json::from_str(line)
            .unwrap_or_else(|error| panic!("a line is no JSON ({error}): {line}"));
        told.push(line);
    }
    let lower = trace.to_lowercase();
    for word in WORDS {
        assert!(!lower.contains(word), "the trace says `{word}`");
        assert!(
            !figures.to_lowercase().contains(word),
            "the page says `{word}`"
        );
    }
    let of_call = told
        .iter()
        .find(|line| line["span"]["request"] == number.as_str())
        .expect("the call that failed has its line");
    assert_eq!(of_call["span"]["method"], "ReportService/Own");
    assert_eq!(of_call["fields"]["outcome"], "INVALID_ARGUMENT");
    assert_eq!(of_call["level"], "INFO");
    assert!(of_call["fields"]["took_ms"].is_u64());
    let refused = told.iter().any(|line| {
        line["span"]["method"] == "IntakeService/Post" && line["fields"]["reason"] == "UNKNOWN_CODE"
    });
    assert!(refused, "the refused post has its line");
}
