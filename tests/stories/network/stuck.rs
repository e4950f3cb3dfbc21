//! Peers that stop reading, stop sending or never begin. They hold nobody but
//! themselves: other bays' posts are counted meanwhile, not timed.

use std::sync::Arc;

use baywright_client::connect::{Link, Server};
use baywright_client::device::{How, Posted};
use baywright_proto::v1;
use baywright_proto::v1::export_service_client::ExportServiceClient;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_tests::network::{Conduct, Connection, Flow, Proxy};
use prost::Message as _;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tonic::transport::{Channel, Endpoint};

use super::{Wire, noted, patient};

const OTHERS: usize = 3;
/// Posts of each other bay while the peers are stuck. Few enough to be done long
/// before the daemon hangs up on whoever does not answer it, in 10 to 20 seconds.
const POSTS: u64 = 15;
/// A stuck peer's own posts: more than the daemon's queue, a stream's window
/// and the buffers between them hold of answers.
const STUCK_POSTS: u64 = 6_000;

/// Three other bays post past the stuck peers, straight to the daemon; every
/// post is acknowledged.
async fn others_post(wire: &Wire, round: &str) {
    let posts = (0..OTHERS).map(|bay| {
        let (mut device, _) = wire.shop.device(&format!("{round}-{bay}"));
        let server: Server = wire.daemon.address.parse().expect("an address");
        tokio::spawn(async move {
            let mut link = Link::new(server);
            let mut acknowledged = 0;
            for number in 0..POSTS {
                let posted = device
                    .post(&mut link, noted(number.to_string()), &How::default())
                    .await;
                acknowledged += u64::from(matches!(posted, Ok(Posted::Acknowledged(_))));
            }
            acknowledged
        })
    });
    for bay in posts.collect::<Vec<_>>() {
        let acknowledged = patient(bay).await.expect("joined");
        assert_eq!(acknowledged, POSTS, "{round}");
    }
}

/// A channel, and the proxy's end of it. A client is connected before the proxy
/// has taken its connection.
async fn channel(proxy: &Proxy) -> (Channel, Arc<Connection>) {
    let number = proxy.connections().len();
    let channel = Endpoint::from_shared(format!("http://{}", proxy.address))
        .expect("an address")
        .connect()
        .await
        .expect("a connection");
    (channel, patient(proxy.connection(number)).await)
}

fn posts(device: &str, count: u64) -> impl Iterator<Item = v1::PostManyRequest> + use<> {
    let device = device.to_owned();
    (1..=count).map(move |number| v1::PostManyRequest {
        post: Some(v1::Post {
            event_id: uuid::Uuid::now_v7().into_bytes().to_vec(),
            device_seq: number,
            previous_device_seq: number - 1,
            fact: noted("of a stuck bay").encode_to_vec(),
            device: device.clone(),
            ..v1::Post::default()
        }),
    })
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bay_that_never_reads_its_receipts_holds_nobody() {
    let wire = Wire::new().await;
    let (channel, connection) = channel(&wire.proxy).await;
    let mut client = IntakeServiceClient::new(channel);
    // Its answers are left where they are, and later its whole connection.
    let answers = client
        .post_many(tokio_stream::iter(posts("stuck", STUCK_POSTS)))
        .await
        .expect("a stream");
    others_post(&wire, "unread").await;
    connection.down.set(Flow::HoldAfter(0));
    others_post(&wire, "held").await;
    assert!(!connection.is_over(), "it was stuck all the while");

    // Whoever reads again gets on: what was kept is acknowledged in order.
    connection.down.set(Flow::Open);
    let mut answers = answers.into_inner();
    let mut receipts = 0;
    while let Some(answer) = patient(answers.message()).await.expect("a receipt") {
        let Some(v1::post_many_response::Result::Receipt(_)) = answer.result else {
            panic!("refused: {answer:?}");
        };
        receipts += 1;
    }
    assert_eq!(receipts, STUCK_POSTS);
    wire.stop();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn watchers_and_exports_that_stall_hold_nobody() {
    let wire = Wire::new().await;
    let (filled, _) = channel(&wire.proxy).await;
    let answers = IntakeServiceClient::new(filled)
        .post_many(tokio_stream::iter(posts("filled", STUCK_POSTS)))
        .await
        .expect("a stream");
    let mut answers = answers.into_inner();
    while patient(answers.message())
        .await
        .expect("a receipt")
        .is_some()
    {}

    let request = v1::WatchRequest {
        after_seq: 0,
        follow: true,
    };
    // One is read by its machine and not by its program, the other by neither.
    let (unread, _) = channel(&wire.proxy).await;
    let mut unread = FloorServiceClient::new(unread);
    let unread = unread.watch(request).await.expect("a watch").into_inner();
    let (held, watching) = channel(&wire.proxy).await;
    let mut held = FloorServiceClient::new(held);
    watching.down.set(Flow::HoldAfter(20_000));
    let held = held.watch(request).await.expect("a watch").into_inner();
    let (export, exporting) = channel(&wire.proxy).await;
    let export = ExportServiceClient::new(export)
        .export_jobs(v1::ExportJobsRequest {
            as_of_seq: 5,
            ..v1::ExportJobsRequest::default()
        })
        .await
        .expect("an export")
        .into_inner();
    exporting.down.set(Flow::HoldAfter(0));
    others_post(&wire, "watched").await;
    assert!(!watching.is_over() && !exporting.is_over());
    drop((held, export));

    // A slow watcher is behind; it has lost nothing.
    let mut unread = unread;
    let in_log = STUCK_POSTS + POSTS * OTHERS as u64;
    for seq in 1..=in_log {
        let entry = patient(unread.message()).await.expect("a record");
        let record = entry.and_then(|entry| entry.decoded).expect("decoded");
        assert_eq!(record.seq, seq);
    }
    wire.stop();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn half_a_message_and_silence_hold_nobody() {
    let wire = Wire::new().await;
    let mut halves = Vec::new();
    for bytes in [0, 10, 24, 40, 400, 3_000] {
        wire.proxy.meet(Conduct::up(Flow::HoldAfter(bytes)));
        let (mut device, mut link) = wire.shop.device(&format!("half-{bytes}"));
        halves.push(tokio::spawn(async move {
            let long = noted("a long story ".repeat(500));
            device.post(&mut link, long, &How::default()).await
        }));
    }
    patient(wire.proxy.connection(halves.len() - 1)).await;
    others_post(&wire, "beside").await;
    for half in halves {
        let posted = patient(half).await.expect("joined").expect("no refusal");
        assert!(matches!(posted, Posted::Kept { .. }), "{posted:?}");
    }
    assert_eq!(wire.notes().await.len() as u64, POSTS * OTHERS as u64);
    wire.stop();
}

/// RFC 9113: length, type, flags and stream of a frame.
fn frame(kind: u8, flags: u8, stream: u32, payload: &[u8]) -> Vec<u8> {
    let length = u32::try_from(payload.len()).expect("a short payload");
    let mut bytes = length.to_be_bytes()[1..].to_vec();
    bytes.extend([kind, flags]);
    bytes.extend(stream.to_be_bytes());
    bytes.extend(payload);
    bytes
}

/// A block of headers that never ends is ended by the daemon.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn endless_headers_are_hung_up_on() {
    const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";
    const HEADERS: u8 = 1;
    const SETTINGS: u8 = 4;
    const CONTINUATION: u8 = 9;
    const FRAMES_MAX: usize = 2_000;
    let wire = Wire::new().await;
    let mut peer = TcpStream::connect(&wire.daemon.address)
        .await
        .expect("a connection");
    // A literal header without indexing: name `x`, a value of 16,000 bytes.
    let mut field = vec![0, 1, b'x', 0x7f];
    let mut rest = 16_000 - 127;
    while rest >= 128 {
        field.push(u8::try_from(rest % 128).expect("a digit") | 0x80);
        rest /= 128;
    }
    field.push(u8::try_from(rest).expect("a digit"));
    field.extend([b'y'; 16_000]);
    let mut begin = PREFACE.to_vec();
    begin.extend(frame(SETTINGS, 0, 0, &[]));
    begin.extend(frame(HEADERS, 0, 1, &field));
    peer.write_all(&begin).await.expect("the beginning");
    let more = frame(CONTINUATION, 0, 1, &field);
    let mut sent = 0;
    let hung_up = patient(async {
        let (mut from, mut to) = peer.split();
        let reading = async {
            let mut part = [0; 1024];
            while let Ok(1..) = from.read(&mut part).await {}
        };
        let writing = async {
            while sent < FRAMES_MAX && to.write_all(&more).await.is_ok() {
                sent += 1;
            }
        };
        tokio::select! {
            () = reading => true,
            () = writing => sent < FRAMES_MAX,
        }
    })
    .await;
    println!("hung up after {sent} frames of headers");
    assert!(hung_up);
    others_post(&wire, "headers").await;
    wire.stop();
}
