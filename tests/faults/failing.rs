//! Calls fail under the real daemon. It says so to whoever posts, goes on
//! reading, and is well again when the disk is: no restart, nothing lost or doubled.

use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_tests::harness::{Daemon, daemon_command};
use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;
use tonic::transport::Channel;
use tonic_types::StatusExt as _;

use crate::layer::Layer;
use crate::posting::{Bay, intake, post, records_at};

/// Longest wait for facts to come back by themselves.
const PATIENCE: Duration = Duration::from_mins(1);

/// A daemon on the layer, a bay, and all it had to say so far.
struct Shop {
    layer: Layer,
    daemon: Daemon,
    client: IntakeServiceClient<Channel>,
    bay: Bay,
    posts: Vec<v1::Post>,
}

impl Shop {
    async fn open(prepare: impl FnOnce(&Layer)) -> Self {
        let layer = Layer::failing();
        prepare(&layer);
        let daemon = Daemon::start_with(crate::binary(), &layer.root(), layer.environment())
            .expect("a daemon");
        let client = intake(&daemon.address).await;
        let bay = Bay::new("bay-1", ChaCha12Rng::seed_from_u64(20_261_203));
        Self {
            layer,
            daemon,
            client,
            bay,
            posts: Vec::new(),
        }
    }

    /// Posts that must be taken.
    async fn taken(&mut self, count: usize) {
        for _ in 0..count {
            let next = self.bay.next();
            let receipt = post(&mut self.client, &next).await.expect("a receipt");
            self.posts.push(next);
            assert_eq!(receipt.seq, self.posts.len() as u64);
        }
    }

    /// Posts until one is refused, at most `most`; gives the refused one.
    async fn until_refused(&mut self, most: usize) -> Option<v1::Post> {
        for _ in 0..most {
            let next = self.bay.next();
            match post(&mut self.client, &next).await {
                Ok(_) => self.posts.push(next),
                Err(status) => {
                    assert_not_written(&status);
                    return Some(next);
                }
            }
        }
        None
    }

    /// The facts have everything that is in the log, within the bound.
    async fn facts_are_there(&self) {
        let address = format!("http://{}", self.daemon.address);
        let mut floor = FloorServiceClient::connect(address)
            .await
            .expect("a connection");
        let asked = async {
            // Each call waits for the facts by itself, and says where they are behind.
            loop {
                match floor.now(v1::NowRequest::default()).await {
                    Ok(_) => return,
                    Err(status) => assert_eq!(reason(&status), "FACTS_BEHIND", "{status:?}"),
                }
                tokio::task::yield_now().await;
            }
        };
        tokio::time::timeout(PATIENCE, asked)
            .await
            .expect("the facts come back by themselves");
    }

    /// Everything is in the log once, in order, and the facts are those of a rebuild.
    async fn close(self) {
        let logged = records_at(&self.daemon.address).await;
        let ids: Vec<&[u8]> = logged.iter().map(|r| r.event_id.as_slice()).collect();
        let sent: Vec<&[u8]> = self.posts.iter().map(|p| p.event_id.as_slice()).collect();
        assert_eq!(ids, sent);
        let data = self.layer.root();
        drop(self.client);
        self.daemon.stop().expect("a clean stop");
        for command in [&["verify"][..], &["rebuild", "--check"]] {
            let done = daemon_command(crate::binary(), command, &data).expect("it runs");
            let said = String::from_utf8_lossy(&done.stdout);
            let cause = String::from_utf8_lossy(&done.stderr);
            assert!(done.status.success(), "{command:?}: {said}{cause}");
        }
        let trace = std::fs::read_to_string(data.with_extension("stderr")).expect("a trace");
        assert!(!trace.contains("panicked"), "{trace}");
    }
}

fn reason(status: &tonic::Status) -> String {
    let details = status.get_error_details();
    details
        .error_info()
        .map(|i| i.reason.clone())
        .unwrap_or_default()
}

fn assert_not_written(status: &tonic::Status) {
    assert_eq!(status.code(), tonic::Code::Unavailable, "{status:?}");
    assert_eq!(reason(status), "NOT_WRITTEN", "{status:?}");
}

/// What fails, whether posts are refused for it, and for how long.
struct Failure {
    rules: &'static [&'static str],
    refuses: bool,
}

const fn failure(refuses: bool, rules: &'static [&'static str]) -> Failure {
    Failure { rules, refuses }
}

const LOG_FAILURES: [Failure; 9] = [
    failure(true, &["grow * 0 -1 ENOSPC"]),
    failure(true, &["write log.db-wal 0 -1 EIO"]),
    failure(true, &["write log.db-wal 1 2 EIO"]),
    failure(
        true,
        &["write log.db-wal 0 1 SHORT", "write log.db-wal 0 -1 ENOSPC"],
    ),
    failure(true, &["sync log.db-wal 0 -1 EIO"]),
    failure(true, &["sync log.db-wal 0 1 EIO"]),
    // The checkpoint fails; posts go on, the write-ahead log grows.
    failure(false, &["write log.db 0 -1 EIO"]),
    failure(false, &["sync log.db 0 -1 EIO"]),
    failure(false, &["grow log.db 0 -1 ENOSPC"]),
];

/// Enough for two checkpoints: records of several pages among them.
const POSTS_MAX: usize = 500;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_failing_log_refuses_clearly_and_needs_no_restart() {
    let mut shop = Shop::open(|_| {}).await;
    shop.taken(3).await;
    for failure in LOG_FAILURES {
        shop.layer.fail(failure.rules);
        let most = if failure.refuses {
            POSTS_MAX
        } else {
            POSTS_MAX / 2
        };
        let refused = shop.until_refused(most).await;
        if failure.refuses {
            assert!(refused.is_some(), "{:?} was not felt", failure.rules);
        }
        if let Some(refused) = &refused {
            // It stays refused or is taken as the disk goes; reads go on.
            let logged = records_at(&shop.daemon.address).await;
            assert!(logged.len() >= shop.posts.len(), "{:?}", failure.rules);
            assert_eq!(refused.device_seq, shop.posts.len() as u64 + 1);
        }
        let felt = shop.layer.heal();
        println!("{:?}: met {felt} times", failure.rules);
        assert!(felt > 0, "{:?} was not met", failure.rules);
        if let Some(refused) = refused {
            post(&mut shop.client, &refused)
                .await
                .unwrap_or_else(|status| {
                    panic!("{:?}: the disk is well again: {status:?}", failure.rules)
                });
            shop.posts.push(refused);
        }
        shop.taken(3).await;
        shop.facts_are_there().await;
    }
    shop.close().await;
}

/// Enough for a checkpoint of the facts.
const FACTS_POSTS: usize = 120;

const FACTS_FAILURES: [&[&str]; 7] = [
    &["grow facts.db-wal 0 -1 ENOSPC", "grow facts.db 0 -1 ENOSPC"],
    &["write facts.db-wal 0 -1 EIO"],
    &["write facts.db-wal 1 2 EIO"],
    &[
        "write facts.db-wal 0 1 SHORT",
        "write facts.db-wal 0 -1 ENOSPC",
    ],
    &["sync facts.db-wal 0 -1 EIO", "sync facts.db 0 -1 EIO"],
    &["write facts.db 0 -1 EIO"],
    // For good in the eyes of the writer: it makes the file anew, which fails as well.
    &["write facts.db-wal 0 -1 EIO", "write facts.db.new 0 -1 EIO"],
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn failing_facts_stop_no_post_and_come_back_without_one() {
    let mut shop = Shop::open(|_| {}).await;
    shop.taken(3).await;
    for rules in FACTS_FAILURES {
        shop.layer.fail(rules);
        shop.taken(FACTS_POSTS).await;
        let felt = shop.layer.heal();
        println!("{rules:?}: met {felt} times");
        assert!(felt > 0, "{rules:?} was not met");
        // No post: they come back by themselves.
        shop.facts_are_there().await;
        shop.taken(1).await;
        shop.facts_are_there().await;
    }
    shop.close().await;
}

/// Facts that could not be opened or made at the start.
const OPENING_FAILURES: [&[&str]; 5] = [
    &["open facts.db 0 -1 EIO"],
    &["create facts.db.new 0 -1 ENOSPC"],
    &["grow facts.db.new 2 -1 ENOSPC"],
    &["rename facts.db 0 -1 EIO"],
    &["sync facts.db.new 0 -1 EIO"],
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn facts_that_cannot_be_opened_at_the_start_come_later() {
    for rules in OPENING_FAILURES {
        let mut shop = Shop::open(|layer| layer.fail(rules)).await;
        shop.taken(6).await;
        let felt = shop.layer.heal();
        assert!(felt > 0, "{rules:?} was not met");
        shop.facts_are_there().await;
        shop.taken(2).await;
        shop.facts_are_there().await;
        shop.close().await;
    }
}
