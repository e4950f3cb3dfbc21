//! How a daemon ends, and what it refuses to begin.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use baywright_client::connect::Link;
use baywright_client::device::{Device, How, Posted};
use baywright_daemon::lifecycle::STOP_GRACE_MS_MAX;
use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use tonic::Code;

use crate::shop::Shop;

/// Longer than the daemon's own grace, so that only a hang fails.
const PATIENCE: Duration = Duration::from_secs(30);
const BAYS: usize = 3;
/// Records that a watcher has seen before the stop: posts are under way.
const UNDER_WAY: u64 = 40;

/// Posts until the daemon is away: event ids with the seqs of their receipts,
/// and the device, which keeps the fact that got none.
async fn post_until_away(mut device: Device, mut link: Link) -> (BTreeMap<Vec<u8>, u64>, Device) {
    let mut receipts = BTreeMap::new();
    loop {
        let noted = v1::fact::Kind::Noted(v1::Noted {
            text: format!("note {}", receipts.len()),
            ..v1::Noted::default()
        });
        let fact = v1::Fact {
            kind: Some(noted),
            ..Default::default()
        };
        match device.post(&mut link, fact, &How::default()).await {
            Ok(Posted::Acknowledged(acknowledged)) => {
                let receipt = acknowledged.receipt;
                receipts.insert(receipt.event_id, receipt.seq);
            }
            Ok(Posted::Kept { .. }) => return (receipts, device),
            Err(error) => panic!("a stop is no refusal: {error}"),
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_under_load_tells_watchers_and_loses_no_acknowledged_post() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let mut client = FloorServiceClient::connect(format!("http://{}", shop.server))
        .await
        .expect("the daemon answers");
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: true,
    };
    let mut stream = client.watch(request).await.expect("a watch").into_inner();
    let bays: Vec<_> = (1..=BAYS)
        .map(|bay| {
            let (device, link) = shop.device(&format!("bay-{bay}"));
            tokio::spawn(post_until_away(device, link))
        })
        .collect();
    let mut seen = 0;
    while seen < UNDER_WAY {
        let next = tokio::time::timeout(PATIENCE, stream.message()).await;
        let entry = next.expect("posts go on").expect("a record");
        seen = entry.expect("not the end").decoded.expect("decoded").seq;
    }
    let began = Instant::now();
    let stopped = tokio::task::spawn_blocking(move || daemon.stop());
    let status = loop {
        let next = tokio::time::timeout(PATIENCE, stream.message());
        match next.await.expect("it does not hang") {
            Ok(Some(_)) => {}
            Ok(None) => panic!("the stream ended without a word"),
            Err(status) => break status,
        }
    };
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    assert!(status.message().contains("stop"), "{status:?}");
    stopped.await.expect("joined").expect("exit code 0");
    assert!(
        began.elapsed() < Duration::from_millis(STOP_GRACE_MS_MAX),
        "the stop took {:?}",
        began.elapsed()
    );

    let mut receipts = BTreeMap::new();
    let mut devices = Vec::new();
    for bay in bays {
        let (its, device) = tokio::time::timeout(PATIENCE, bay)
            .await
            .expect("a bay notices that the daemon is away")
            .expect("a bay ends");
        assert!(!its.is_empty(), "each bay was under way");
        receipts.extend(its);
        devices.push(device);
    }
    let daemon = shop.start();
    let in_log = logged(&shop).await;
    for (event_id, seq) in &receipts {
        assert_eq!(
            in_log.get(event_id),
            Some(seq),
            "an acknowledged post is where its receipt said"
        );
    }
    // What each bay kept goes out now, once.
    for device in &mut devices {
        let mut link = Link::new(shop.server.parse().expect("an address"));
        device.deliver(&mut link).await.expect("a delivery");
    }
    assert_eq!(logged(&shop).await.len(), receipts.len() + BAYS);
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
}

/// Event ids with their seqs.
async fn logged(shop: &Shop) -> BTreeMap<Vec<u8>, u64> {
    let records = shop.records().await;
    let count = records.len();
    let by_id: BTreeMap<_, _> = records
        .into_iter()
        .map(|(record, _)| (record.event_id, record.seq))
        .collect();
    assert_eq!(by_id.len(), count, "no event is there twice");
    by_id
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_idle_watcher_is_told_when_the_daemon_stops() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.bay("bay-1", "note one").ok();
    let mut client = FloorServiceClient::connect(format!("http://{}", shop.server))
        .await
        .expect("the daemon answers");
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: true,
    };
    let mut stream = client.watch(request).await.expect("a watch").into_inner();
    let first = stream
        .message()
        .await
        .expect("a record")
        .expect("not the end");
    assert_eq!(first.decoded.expect("decoded").seq, 1);
    let stopped = tokio::task::spawn_blocking(move || daemon.stop());
    let told = tokio::time::timeout(PATIENCE, stream.message())
        .await
        .expect("it does not hang");
    let status = told.expect_err("a status ends the stream");
    assert_eq!(status.code(), Code::Unavailable, "{status:?}");
    stopped.await.expect("joined").expect("a clean stop");
    let daemon = shop.start();
    assert_eq!(
        shop.records().await.len(),
        1,
        "the note is there after a restart"
    );
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_daemon_on_one_directory_and_a_public_address_are_refused() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let second = shop.daemon(&["serve", "--listen", "127.0.0.1:0"]);
    assert_ne!(second.code, 0);
    assert!(second.err.contains("in use"), "{second:?}");
    daemon.stop().expect("a clean stop");
    let public = shop.daemon(&["serve", "--listen", "0.0.0.0:0"]);
    assert_ne!(public.code, 0);
    assert!(public.err.contains("certificate"), "{public:?}");
}
