//! One bay under load: posts without end, each again until it is acknowledged.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_proto::v1::post_many_response::Result as Many;
use prost::Message as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use tokio::sync::watch;
use tonic::transport::Channel;
use tonic::{Code, Status};

/// A bay gives up when the daemon has not come back for this long.
const PATIENCE: Duration = Duration::from_mins(15);
/// Posts of one stream: an afternoon of a bay without network.
const STREAM_POSTS_MAX: u64 = 48;
/// One delivery in so many is a stream.
const STREAM_ONE_IN: u32 = 5;

pub(super) struct Bay {
    device: String,
    rng: ChaCha12Rng,
    device_seq: u64,
    boot_us: i64,
    /// Event id to seq.
    pub(super) receipts: BTreeMap<Vec<u8>, u64>,
    /// Receipts of all bays.
    got: Arc<watch::Sender<u64>>,
}

impl Bay {
    pub(super) fn new(number: u64, seed: u64, got: Arc<watch::Sender<u64>>) -> Self {
        Self {
            device: format!("bay-{number}"),
            rng: ChaCha12Rng::seed_from_u64(seed.wrapping_add(number)),
            device_seq: 0,
            boot_us: 1_000_000,
            receipts: BTreeMap::new(),
            got,
        }
    }

    fn fact(&mut self, clocks: &v1::Clocks) -> v1::Fact {
        use v1::fact::Kind;
        let stages = ["prewash", "decon", "dry", "polish", "coat"];
        let stage = stages[self.rng.random_range(0..stages.len())].to_owned();
        let kind = match self.rng.random_range(0..10) {
            0 => Kind::JobOpened(v1::JobOpened {
                vehicle: "under load".into(),
                job_type: "unsorted".into(),
                ..Default::default()
            }),
            1 => Kind::JobMoved(v1::JobMoved {
                place: self.device.clone(),
            }),
            2..5 => Kind::StageStarted(v1::StageStarted {
                stage,
                ..Default::default()
            }),
            5..8 => Kind::StageFinished(v1::StageFinished {
                stage,
                ..Default::default()
            }),
            8 => Kind::ProductUsed(v1::ProductUsed {
                product: "iron-remover".into(),
                quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
                    decimal: self.rng.random_range(1..500).to_string(),
                    unit: v1::Unit::Ml.into(),
                })),
                ..Default::default()
            }),
            _ => Kind::Noted(v1::Noted {
                text: format!("note {}", self.device_seq),
                ..v1::Noted::default()
            }),
        };
        v1::Fact {
            clocks: Some(clocks.clone()),
            bay: self.device.clone(),
            by: vec![format!("worker-{}", self.device)],
            job: matches!(kind, Kind::JobMoved(_)).then(|| v1::JobRef {
                job: Some(v1::job_ref::Job::Number(self.rng.random_range(1..40))),
            }),
            kind: Some(kind),
            ..Default::default()
        }
    }

    /// The next post, chained to the one before it.
    fn next(&mut self) -> v1::Post {
        self.boot_us += 1_000;
        let wall_us =
            jiff::Timestamp::UNIX_EPOCH.as_microsecond() + 1_700_000_000_000_000 + self.boot_us;
        let clocks = v1::Clocks {
            wall_us,
            boot_id: format!("boot-{}", self.device),
            boot_us: self.boot_us,
        };
        let fact = self.fact(&clocks);
        let previous_device_seq = self.device_seq;
        self.device_seq += 1;
        v1::Post {
            event_id: uuid::Builder::from_unix_timestamp_millis(
                1_700_000_000_000 + self.device_seq,
                &self.rng.random(),
            )
            .into_uuid()
            .into_bytes()
            .to_vec(),
            device_seq: self.device_seq,
            previous_device_seq,
            fact: fact.encode_to_vec(),
            delivery_clocks: Some(clocks),
            waiting: false,
            anyway: false,
            device: self.device.clone(),
            ..v1::Post::default()
        }
    }

    pub(super) async fn run(
        mut self,
        mut address: watch::Receiver<String>,
        stop: Arc<AtomicBool>,
    ) -> Self {
        while !stop.load(Ordering::Relaxed) {
            let count = if self.rng.random_ratio(1, STREAM_ONE_IN) {
                self.rng.random_range(2..=STREAM_POSTS_MAX)
            } else {
                1
            };
            let posts: Vec<v1::Post> = (0..count).map(|_| self.next()).collect();
            tokio::time::timeout(PATIENCE, self.deliver(posts, &mut address))
                .await
                .expect("the daemon came back");
        }
        self
    }

    /// Sends posts until the receipt of each came back, over any number of daemons.
    async fn deliver(&mut self, mut posts: Vec<v1::Post>, address: &mut watch::Receiver<String>) {
        while !posts.is_empty() {
            let at = format!("http://{}", address.borrow_and_update().clone());
            if let Ok(mut client) = IntakeServiceClient::connect(at).await {
                loop {
                    let sent = match posts.as_slice() {
                        [] => return,
                        [one] => self.send_one(&mut client, one).await,
                        many => self.send_many(&mut client, many).await,
                    };
                    posts.retain(|post| !self.receipts.contains_key(&post.event_id));
                    match sent {
                        Ok(()) => {}
                        Err(status) if status.code() == Code::ResourceExhausted => {}
                        Err(status) if is_transport(&status) => break,
                        Err(status) => panic!("{}: a post was refused: {status:?}", self.device),
                    }
                }
            }
            // The next daemon announces its address.
            address.changed().await.expect("the story goes on");
        }
    }

    async fn send_one(
        &mut self,
        client: &mut IntakeServiceClient<Channel>,
        post: &v1::Post,
    ) -> Result<(), Status> {
        let request = v1::PostRequest {
            post: Some(post.clone()),
        };
        let answer = client.post(request).await?.into_inner();
        self.note(post, &answer.receipt.expect("a receipt"));
        Ok(())
    }

    async fn send_many(
        &mut self,
        client: &mut IntakeServiceClient<Channel>,
        posts: &[v1::Post],
    ) -> Result<(), Status> {
        let requests: Vec<_> = posts
            .iter()
            .map(|post| v1::PostManyRequest {
                post: Some(post.clone()),
            })
            .collect();
        let mut answers = client
            .post_many(tokio_stream::iter(requests))
            .await?
            .into_inner();
        for post in posts {
            let Some(answer) = answers.message().await? else {
                break;
            };
            match answer.result {
                Some(Many::Receipt(receipt)) => self.note(post, &receipt),
                // What follows is chained to this one, and goes out again.
                Some(Many::Refusal(refusal)) => {
                    return Err(Status::new(
                        Code::from_i32(refusal.grpc_code),
                        refusal.message,
                    ));
                }
                None => panic!("{}: an answer without a result", self.device),
            }
        }
        Ok(())
    }

    fn note(&mut self, post: &v1::Post, receipt: &v1::Receipt) {
        assert_eq!(receipt.event_id, post.event_id, "answers come in order");
        self.got.send_modify(|got| *got += 1);
        let first = self.receipts.insert(post.event_id.clone(), receipt.seq);
        assert!(
            first.is_none_or(|seq| seq == receipt.seq),
            "one seq for one event"
        );
    }
}

fn is_transport(status: &Status) -> bool {
    matches!(
        status.code(),
        Code::Unavailable | Code::Unknown | Code::Internal | Code::Cancelled
    )
}
