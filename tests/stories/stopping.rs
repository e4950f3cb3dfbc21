//! How a daemon ends, and what it refuses to begin.

use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use tonic::Code;

use crate::shop::Shop;

/// Longer than the daemon's own grace, so that only a hang fails.
const PATIENCE: Duration = Duration::from_secs(30);

#[tokio::test]
async fn a_watcher_is_told_when_the_daemon_stops() {
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

#[tokio::test]
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
