//! The network's failures on a bay that has joined, and the streams of a device
//! that is cut off.

use std::time::{Duration, Instant};

use baywright_client::connect::Link;
use baywright_proto::v1;
use baywright_proto::v1::Fact;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_tests::harness::bay_command;
use baywright_tests::network::{Conduct, Flow, Proxy};
use prost::Message as _;
use tokio_stream::StreamExt as _;
use tonic::Streaming;
use tonic::transport::Channel;

use crate::joining::{Joined, text};
use crate::network::said::is_clear;
use crate::network::{note, noted, patient};
use crate::shop::Said;

/// The bound for a device that is cut off.
const CUT_OFF_MAX: Duration = Duration::from_secs(1);

impl Joined {
    /// A connection of a device with its certificate.
    async fn channel(&self, device: &str) -> Channel {
        let mut link = Link::of_folder(&self.home.path().join(device), None).expect("it joined");
        link.channel().await.expect("a connection")
    }

    /// A stream of posts that has its first receipt and stays open.
    async fn open_stream(&self, device: &str) -> Streaming<v1::PostManyResponse> {
        let post = v1::Post {
            event_id: uuid::Uuid::now_v7().into_bytes().to_vec(),
            device_seq: 1,
            fact: noted(format!("of {device}")).encode_to_vec(),
            device: device.to_owned(),
            ..v1::Post::default()
        };
        let first = tokio_stream::once(v1::PostManyRequest { post: Some(post) });
        let requests = first.chain(tokio_stream::pending());
        let mut client = IntakeServiceClient::new(self.channel(device).await);
        let answers = client.post_many(requests).await.expect("a stream");
        let mut answers = answers.into_inner();
        let answer = patient(answers.message()).await.expect("an answer");
        let result = answer.expect("not the end").result;
        let is_receipt = matches!(result, Some(v1::post_many_response::Result::Receipt(_)));
        assert!(is_receipt, "{result:?}");
        answers
    }

    /// A watch that has seen what there is and stays open.
    async fn open_watch(&self, device: &str) -> Streaming<v1::WatchResponse> {
        let request = v1::WatchRequest {
            after_seq: 0,
            follow: true,
        };
        let mut client = FloorServiceClient::new(self.channel(device).await);
        let mut stream = client.watch(request).await.expect("a watch").into_inner();
        let first = patient(stream.message()).await.expect("a record");
        assert!(first.is_some());
        stream
    }

    /// Every note in the log, in order, as an owner's device reads them.
    async fn notes(&self, owner: &str) -> Vec<String> {
        let request = v1::WatchRequest {
            after_seq: 0,
            follow: false,
        };
        let mut client = FloorServiceClient::new(self.channel(owner).await);
        let mut stream = client.watch(request).await.expect("a watch").into_inner();
        let mut notes = Vec::new();
        while let Some(entry) = patient(stream.message()).await.expect("a record") {
            let record = entry.decoded.expect("decoded");
            notes.extend(note(&Fact::decode(&*record.fact).expect("a fact")));
        }
        notes
    }
}

/// Waits for the end of a stream, whatever still comes before it.
async fn ends<T>(stream: &mut Streaming<T>) {
    patient(async { while let Ok(Some(_)) = stream.message().await {} }).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_open_streams_of_a_cut_off_device_end_within_a_second() {
    let shop = Joined::open();
    for (device, role) in [
        ("bay-1", "bay"),
        ("bay-2", "bay"),
        ("tablet", "owner"),
        ("office", "owner"),
    ] {
        shop.join(device, role);
    }
    let mut kept = shop.open_stream("bay-1").await;
    let mut stolen_posts = shop.open_stream("bay-2").await;
    let mut stolen_watch = shop.open_watch("tablet").await;

    for device in ["bay-2", "tablet"] {
        let began = Instant::now();
        let cut = shop.console(&["devices", "cut", device]);
        assert!(cut.status.success(), "{}", text(&cut));
        let returned = Instant::now();
        match device {
            "bay-2" => ends(&mut stolen_posts).await,
            _ => ends(&mut stolen_watch).await,
        }
        let after = returned.elapsed();
        println!(
            "{device}: the stream was over {after:?} after `devices cut` had ended, {:?} after it began",
            began.elapsed()
        );
        assert!(after < CUT_OFF_MAX, "{device}: {after:?}");
    }
    // Whoever was not cut off goes on, on the stream it had.
    let still = tokio::time::timeout(Duration::from_millis(1), kept.message()).await;
    assert!(still.is_err(), "the other bay's stream is open: {still:?}");
    assert_eq!(shop.notes("office").await, ["of bay-1", "of bay-2"]);
    // A device that was cut off gets no new one.
    let mut link = Link::of_folder(&shop.home.path().join("bay-2"), None).expect("it had joined");
    if let Ok(channel) = link.channel().await {
        let refused = IntakeServiceClient::new(channel)
            .post(v1::PostRequest::default())
            .await;
        refused.expect_err("it is not let in");
    }
}

/// `bay note` of a joined device through a proxy.
async fn say(shop: &Joined, proxy: &Proxy, text: &str) -> Said {
    let folder = shop.home.path().join("bay-2");
    let child = bay_command(
        crate::binary(),
        &folder,
        &proxy.address,
        "bay-2",
        ["note", text],
    )
    .spawn()
    .expect("bay starts");
    let ended = tokio::task::spawn_blocking(move || child.wait_with_output().expect("bay ends"));
    patient(ended).await.expect("joined").into()
}

/// Bytes are all that the proxy knows, so it cuts TLS as anything else: in the
/// handshake, in the request and in the answer.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_joined_bay_loses_and_doubles_nothing_on_a_network_that_fails() {
    /// Cuts of each lane, evenly over what a post takes.
    const CUTS: u64 = 12;
    let shop = Joined::open();
    shop.join("bay-2", "bay");
    shop.join("office", "owner");
    let proxy = Proxy::before(&shop.daemon.address).await.expect("a proxy");
    let mut expected = vec!["first".to_owned(), "usual".to_owned()];
    for text in &expected {
        let said = say(&shop, &proxy, text).await.ok();
        assert!(!said.contains("Kept"), "{said}");
    }
    let usual = proxy.connection(1).await;
    let (up, down) = (usual.up.moved(), usual.down.moved());
    println!("a post takes {up} bytes up and {down} down");
    let mut conducts = vec![
        ("refused".to_owned(), Conduct::Refuse),
        ("half open".to_owned(), Conduct::HALF_OPEN),
        ("black hole".to_owned(), Conduct::BLACK_HOLE),
        (
            "answers lost".to_owned(),
            Conduct::down(Flow::SwallowAfter(down - 40)),
        ),
    ];
    for cut in 0..CUTS {
        let (above, below) = (up * cut / CUTS, down * cut / CUTS);
        conducts.push((format!("up {above}"), Conduct::up(Flow::CutAfter(above))));
        conducts.push((
            format!("down {below}"),
            Conduct::down(Flow::CutAfter(below)),
        ));
    }
    let mut kept = 0;
    for (what, conduct) in conducts {
        proxy.meet(conduct);
        let said = say(&shop, &proxy, &what).await.ok();
        if let Some((_, why)) = said.split_once("Kept on this bay") {
            is_clear(&what, why);
            kept += 1;
        }
        expected.push(what);
        proxy.meet(Conduct::OPEN);
        let after = format!("after {}", expected.len());
        let said = say(&shop, &proxy, &after).await.ok();
        assert!(!said.contains("Kept"), "{after}: {said}");
        expected.push(after);
    }
    println!("{kept} of {} posts were kept first", expected.len() / 2 - 1);
    assert!(kept > CUTS, "most of them were in the way");
    // Bytes of a connection that come again are no connection.
    for connection in proxy.connections().into_iter().take(2) {
        let sent = connection.up.record();
        let _ = patient(proxy.replay(&sent, usize::MAX)).await;
    }
    assert_eq!(shop.notes("office").await, expected);
}
