//! Older bays with newer daemons and back, and logs of every age.

mod shapes;

use std::path::{Path, PathBuf};

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_proto::v1::hello_service_server::{HelloService, HelloServiceServer};
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_proto::v1::post_many_response::Result as Many;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST};
use baywright_tests::harness::Daemon;
use prost::Message as _;
use serde_json::Value;
use tokio::net::TcpListener;
use tonic::transport::Server;
use tonic::transport::server::TcpIncoming;
use tonic::{Code, Request, Response, Status};

use crate::shop::{Shop, records_at};

/// A daemon of another time: it says which protocol it speaks, and knows no
/// call that this bay would make beyond that.
struct OfAnotherTime {
    lowest: u32,
    highest: u32,
}

#[tonic::async_trait]
impl HelloService for OfAnotherTime {
    async fn hello(
        &self,
        _: Request<v1::HelloRequest>,
    ) -> Result<Response<v1::HelloResponse>, Status> {
        Ok(Response::new(v1::HelloResponse {
            protocol_lowest: self.lowest,
            protocol_highest: self.highest,
            build: "baywrightd 9.7".to_owned(),
            log_id: vec![7; 16],
            ..v1::HelloResponse::default()
        }))
    }
}

/// Serves until the test ends; its address.
async fn of_another_time(lowest: u32, highest: u32) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("an address").to_string();
    let service = HelloServiceServer::new(OfAnotherTime { lowest, highest });
    let serving = Server::builder()
        .add_service(service)
        .serve_with_incoming(TcpIncoming::from(listener));
    tokio::spawn(serving);
    address
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn ends_that_share_no_protocol_say_who_must_be_updated_and_keep_the_facts() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let real = shop.server.clone();
    shop.bay("bay-1", "note known").ok();
    let ours = format!("{PROTOCOL_LOWEST} to {PROTOCOL_HIGHEST}");
    let newer = (PROTOCOL_HIGHEST + 1, PROTOCOL_HIGHEST + 2);
    let older = (PROTOCOL_LOWEST - 1, PROTOCOL_LOWEST - 1);
    for ((lowest, highest), who) in [(newer, "update this bay"), (older, "update baywrightd")] {
        shop.server = of_another_time(lowest, highest).await;
        let is_named = |text: &str| {
            for part in [
                "baywrightd 9.7",
                &format!("{lowest} to {highest}"),
                env!("CARGO_PKG_VERSION"),
                &ours,
                who,
            ] {
                assert!(text.contains(part), "no `{part}` in {text}");
            }
        };
        // One that has posted before, and one that never has.
        for bay in ["bay-1", "bay-2"] {
            let said = shop.bay(bay, &format!("note \"{bay} and {who}\"")).ok();
            assert!(said.contains("Kept on this bay"), "{said}");
            is_named(&said);
            for line in ["spool send", "week", "now"] {
                let said = shop.bay(bay, line);
                assert_eq!(said.code, 4, "{line}: {said:?}");
                is_named(&said.err);
            }
        }
    }
    shop.server = real;
    for bay in ["bay-1", "bay-2"] {
        shop.bay(bay, "spool send").ok();
    }
    let texts: Vec<String> = shop
        .records()
        .await
        .iter()
        .filter_map(|(_, fact)| note(fact))
        .collect();
    assert_eq!(
        texts,
        [
            "known",
            "bay-1 and update this bay",
            "bay-1 and update baywrightd",
            "bay-2 and update this bay",
            "bay-2 and update baywrightd"
        ]
    );
    daemon.stop().expect("a clean stop");
}

fn note(fact: &v1::Fact) -> Option<String> {
    match &fact.kind {
        Some(Kind::Noted(noted)) => Some(noted.text.clone()),
        _ => None,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_caller_of_another_protocol_is_told_so_by_the_daemon() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let mut client = HelloServiceClient::connect(format!("http://{}", shop.server))
        .await
        .expect("the daemon answers");
    let refused = client
        .hello(v1::HelloRequest {
            protocol_lowest: PROTOCOL_HIGHEST + 1,
            protocol_highest: PROTOCOL_HIGHEST + 1,
            build: "bay 9.7".to_owned(),
            ..v1::HelloRequest::default()
        })
        .await
        .expect_err("no common protocol");
    assert_eq!(refused.code(), Code::FailedPrecondition);
    for part in ["bay 9.7", "baywrightd", "update the daemon"] {
        assert!(refused.message().contains(part), "{refused:?}");
    }
    // In the range, whatever else a newer caller could speak.
    let request = v1::HelloRequest {
        protocol_lowest: PROTOCOL_LOWEST,
        protocol_highest: PROTOCOL_HIGHEST + 5,
        ..v1::HelloRequest::default()
    };
    client.hello(request).await.expect("a common protocol");
    drop(client);
    daemon.stop().expect("a clean stop");
}

/// Posts facts as they are given, and brings back what the log has of them.
async fn post_bytes(address: &str, device: &str, facts: &[Vec<u8>]) -> Vec<v1::Record> {
    let mut client = IntakeServiceClient::connect(format!("http://{address}"))
        .await
        .expect("the daemon answers");
    let requests: Vec<_> = (1..)
        .zip(facts)
        .map(|(number, fact)| v1::PostManyRequest {
            post: Some(v1::Post {
                event_id: uuid::Uuid::now_v7().into_bytes().to_vec(),
                device_seq: number,
                previous_device_seq: number - 1,
                fact: fact.clone(),
                device: device.to_owned(),
                ..v1::Post::default()
            }),
        })
        .collect();
    let mut answers = client
        .post_many(tokio_stream::iter(requests))
        .await
        .expect("a stream")
        .into_inner();
    for number in 0..facts.len() {
        let answer = answers
            .message()
            .await
            .expect("an answer")
            .expect("for each");
        assert!(
            matches!(answer.result, Some(Many::Receipt(_))),
            "{number}: {answer:?}"
        );
    }
    drop(client);
    let mut records = records_at(address).await;
    records.retain(|record| record.device == device);
    records
}

/// A field of a newer release, as its encoder would put it at the end.
fn with_newer_field(mut bytes: Vec<u8>) -> Vec<u8> {
    // Field 19, a string: `newer`.
    bytes.extend([0x9a, 0x01, 5]);
    bytes.extend(b"newer");
    bytes
}

/// A fact whose kind has a number that nobody has given yet.
fn of_newer_kind() -> Vec<u8> {
    let mut bytes = v1::Fact {
        clocks: Some(v1::Clocks {
            wall_us: 1_795_424_400_000_000,
            boot_id: "newer".to_owned(),
            boot_us: 5,
        }),
        bay: "bay-1".to_owned(),
        ..v1::Fact::default()
    }
    .encode_to_vec();
    // Field 200, a message of four bytes.
    bytes.extend([0xc2, 0x0c, 4, 0x0a, 2, b'h', b'i']);
    bytes
}

/// What a newer bay says survives this daemon byte for byte, and every command
/// of this bay reads a log that has it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_newer_bay_says_survives_and_hurts_no_older_reader() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.bay("bay-1", "open unsorted \"grey saloon\" --bring")
        .ok();
    let known = v1::Fact {
        bay: "bay-1".to_owned(),
        kind: Some(Kind::Noted(v1::Noted {
            text: "with more".to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    let facts = [with_newer_field(known.encode_to_vec()), of_newer_kind()];
    let records = post_bytes(&shop.server, "newer", &facts).await;
    let stored: Vec<_> = records.iter().map(|record| record.fact.clone()).collect();
    assert_eq!(stored, facts, "byte for byte");
    for line in [
        "now",
        "job 1",
        "week",
        "settle",
        "strike --list",
        "export --events",
    ] {
        let said = shop.bay("bay-1", line);
        assert_ne!(said.code, 1, "{line}: {said:?}");
        assert!(!said.err.contains("panicked"), "{line}: {said:?}");
    }
    // A record of a newer daemon has a field that this bay does not know.
    let mut newer = records[0].encode_to_vec();
    newer.extend([0xfa, 0x01, 1, b'x']);
    assert_eq!(v1::Record::decode(&*newer).expect("a record"), records[0]);
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
}

/// Every shape ever written is kept and folded, and a rebuild gives the same.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_shape_ever_written_is_kept_and_folded() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let shapes = shapes::shapes();
    assert!(!shapes.is_empty());
    let facts: Vec<_> = shapes.iter().map(|shape| shape.bytes.clone()).collect();
    let records = post_bytes(&shop.server, "old", &facts).await;
    let stored: Vec<_> = records.iter().map(|record| record.fact.clone()).collect();
    assert_eq!(stored, facts);
    let now = shop.bay("bay-1", "now --json").ok();
    let now: Value = serde_json::from_str(&now).expect("JSON");
    assert!(now["as_of_us"].is_number(), "{now}");
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
}

fn old_log() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/data/log-0.1/log.db"))
}

/// The log of a short day, as 0.1 wrote it, with the figures that it must give
/// for ever. `BAYWRIGHT_OLD_LOG=write` made it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_log_of_the_first_release_gives_the_figures_it_gave() {
    if std::env::var("BAYWRIGHT_OLD_LOG").as_deref() == Ok("write") {
        write_old_log();
    }
    let mut shop = Shop::closed();
    std::fs::create_dir_all(shop.data()).expect("a folder");
    std::fs::copy(old_log(), shop.data().join("log.db")).expect("the old log");
    let verified = shop.daemon(&["verify", "--json"]).ok();
    let verified: Value = serde_json::from_str(&verified).expect("JSON");
    assert_eq!(verified["records"], OLD_LINES.len() + 1, "{verified}");
    let daemon = shop.start();
    the_figures_are_those(&shop);
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
    facts_of_an_earlier_fold_are_built_anew(&mut shop);
}

/// On Wednesday 18 November 2026, in Lisbon: the line, and when it was said.
const OLD_LINES: [(&str, &str, &str); 14] = [
    (
        "bay-1",
        "open trike-coat \"red three-wheeler\" --soil 4 --intricacy 5",
        "09:00",
    ),
    ("bay-1", "bring 1", "09:05"),
    ("bay-1", "start decon --by ana", "09:10"),
    ("bay-1", "used iron-remover 350ml", "09:20"),
    ("bay-1", "dwell iron-remover", "09:25"),
    ("bay-1", "dwell --end", "09:30"),
    ("bay-1", "resume decon --by ana", "09:30"),
    ("bay-1", "done --by ana", "09:55"),
    ("bay-1", "air 21.5C 46% --surface 20C", "10:00"),
    ("bay-1", "start coat --by ana,ben", "10:05"),
    ("bay-1", "coat nose", "10:10"),
    ("bay-1", "level", "10:14"),
    ("bay-1", "done --by ana,ben", "10:35"),
    ("bay-1", "release", "12:00"),
];

fn write_old_log() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example_from("2026-11-01");
    for (bay, line, at) in OLD_LINES {
        shop.bay(bay, &format!("{line} --at \"2026-11-18 {at}\""))
            .ok();
    }
    daemon.stop().expect("a clean stop");
    std::fs::create_dir_all(old_log().parent().expect("a folder")).expect("a folder");
    std::fs::copy(shop.data().join("log.db"), old_log()).expect("the log is written");
}

fn the_figures_are_those(shop: &Shop) {
    let json: Value = serde_json::from_str(&shop.bay("bay-1", "job 1 --json").ok()).expect("JSON");
    let story = &json["story"];
    println!("{story}");
    let minutes = |us: &Value| us.as_i64().expect("a time") / 60_000_000;
    let bay = story["places"]
        .as_array()
        .expect("places")
        .iter()
        .find(|place| place["place"] == "bay-1")
        .expect("the bay");
    // Decon from 09:10 to 09:25 and 09:30 to 09:55, coat from 10:05 to 10:35.
    assert_eq!(minutes(&bay["hands_on_us"]), 15 + 25 + 30, "{bay}");
    // Two people on the coat.
    assert_eq!(
        minutes(&story["job"]["actual_us"]),
        15 + 25 + 2 * 30,
        "{story}"
    );
    let used = story["uses"]
        .as_array()
        .expect("uses")
        .iter()
        .find(|used| used["product"] == "iron-remover")
        .expect("the use");
    assert_eq!(used["used"], 350.0, "{used}");
    let section = &story["sections"][0];
    assert_eq!(section["panel"], "nose", "{section}");
}

/// Facts that another fold made are not believed, whatever they say.
fn facts_of_an_earlier_fold_are_built_anew(shop: &mut Shop) {
    let facts = shop.data().join("facts.db");
    make_older(&facts);
    assert_ne!(shop.daemon(&["rebuild", "--check"]).code, 0, "they are old");
    let daemon: Daemon = shop.start();
    the_figures_are_those(shop);
    daemon.stop().expect("a clean stop");
    shop.daemon(&["rebuild", "--check"]).ok();
}

/// Makes facts those of an earlier fold, with other rows.
fn make_older(facts: &Path) {
    let conn = rusqlite::Connection::open(facts).expect("the facts");
    let changed = conn
        .execute("UPDATE facts SET made_by = '0.0.9 fold 1'", [])
        .expect("the facts say who made them");
    assert_eq!(changed, 1);
    let gone = conn
        .execute("DELETE FROM product_use", [])
        .expect("the facts have uses");
    assert!(gone > 0);
}
