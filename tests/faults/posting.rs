//! Bays that post to a daemon: facts of many kinds, each post with the id and
//! the numbers of its bay, so that it can be sent again as it was.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_proto::v1::post_many_response::Result as Answer;
use prost::Message as _;
use rand::RngExt as _;
use rand_chacha::ChaCha12Rng;
use tokio_stream::StreamExt as _;
use tonic::transport::Channel;

/// A bay with its count, as its spool would keep it.
#[derive(Debug)]
pub(crate) struct Bay {
    pub(crate) device: String,
    rng: ChaCha12Rng,
    device_seq: u64,
    /// The last number that the daemon acknowledged, or is about to.
    previous: u64,
    boot_us: i64,
}

impl Bay {
    pub(crate) fn new(device: &str, rng: ChaCha12Rng) -> Self {
        Self {
            device: device.to_owned(),
            rng,
            device_seq: 0,
            previous: 0,
            boot_us: 1_000_000,
        }
    }

    /// The next post, chained to the one before.
    pub(crate) fn next(&mut self) -> v1::Post {
        self.boot_us += 1_000;
        self.device_seq += 1;
        let clocks = v1::Clocks {
            wall_us: 1_790_000_000_000_000 + self.boot_us,
            boot_id: format!("boot-{}", self.device),
            boot_us: self.boot_us,
        };
        let kind = self.kind();
        let fact = v1::Fact {
            clocks: Some(clocks.clone()),
            bay: self.device.clone(),
            by: vec![format!("worker-{}", self.device)],
            kind: Some(kind),
            ..v1::Fact::default()
        };
        let id = uuid::Builder::from_unix_timestamp_millis(
            1_790_000_000_000 + self.device_seq,
            &self.rng.random(),
        );
        let post = v1::Post {
            event_id: id.into_uuid().into_bytes().to_vec(),
            device_seq: self.device_seq,
            previous_device_seq: self.previous,
            fact: fact.encode_to_vec(),
            delivery_clocks: Some(clocks),
            device: self.device.clone(),
            ..v1::Post::default()
        };
        self.previous = self.device_seq;
        post
    }

    fn kind(&mut self) -> Kind {
        let stages = ["prewash", "decon", "dry", "polish", "coat"];
        let stage = stages[self.rng.random_range(0..stages.len())].to_owned();
        match self.rng.random_range(0..10) {
            0 => Kind::JobOpened(v1::JobOpened {
                vehicle: "on a bad disk".into(),
                job_type: "unsorted".into(),
                ..v1::JobOpened::default()
            }),
            1 => Kind::JobMoved(v1::JobMoved {
                place: self.device.clone(),
            }),
            2..5 => Kind::StageStarted(v1::StageStarted {
                stage,
                ..v1::StageStarted::default()
            }),
            5..8 => Kind::StageFinished(v1::StageFinished {
                stage,
                ..v1::StageFinished::default()
            }),
            // Long ones fill pages.
            _ => Kind::Noted(v1::Noted {
                text: "x".repeat(self.rng.random_range(1..900)),
                ..v1::Noted::default()
            }),
        }
    }
}

pub(crate) async fn intake(address: &str) -> IntakeServiceClient<Channel> {
    IntakeServiceClient::connect(format!("http://{address}"))
        .await
        .expect("the daemon answers")
}

/// Sends one post; its receipt, or the status that refuses it.
pub(crate) async fn post(
    client: &mut IntakeServiceClient<Channel>,
    post: &v1::Post,
) -> Result<v1::Receipt, tonic::Status> {
    let request = v1::PostRequest {
        post: Some(post.clone()),
    };
    let answer = client.post(request).await?.into_inner();
    Ok(answer.receipt.expect("an answer has a receipt"))
}

/// Sends many in one stream, so that they share flushes; every one must be taken.
pub(crate) async fn post_many(
    client: &mut IntakeServiceClient<Channel>,
    posts: &[v1::Post],
    mut taken: impl FnMut(&v1::Receipt),
) {
    let requests: Vec<_> = posts
        .iter()
        .map(|post| v1::PostManyRequest {
            post: Some(post.clone()),
        })
        .collect();
    let mut answers = client
        .post_many(tokio_stream::iter(requests))
        .await
        .expect("a stream of posts")
        .into_inner();
    for _ in posts {
        let answer = answers.next().await.expect("an answer for each");
        match answer.expect("the stream goes on").result {
            Some(Answer::Receipt(receipt)) => taken(&receipt),
            other => panic!("a post was not taken: {other:?}"),
        }
    }
}

/// Every record of the daemon at an address, in the order of the log.
pub(crate) async fn records_at(address: &str) -> Vec<v1::Record> {
    let mut client = FloorServiceClient::connect(format!("http://{address}"))
        .await
        .expect("the daemon answers");
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = client
        .watch(request)
        .await
        .expect("the log can be read")
        .into_inner();
    let mut all = Vec::new();
    while let Some(entry) = stream.message().await.expect("the stream ends well") {
        all.push(entry.decoded.expect("a decoded record"));
    }
    all
}
