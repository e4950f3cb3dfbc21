//! The services over an in-memory pipe, and the life of a whole daemon.

mod bounds;
mod bounds_table;
mod export;
mod learned;
mod life;
mod posts;
mod quote;
mod reads;

use std::future::Future;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, mpsc as std_mpsc};
use std::time::Duration;

use baywright_floor::event::EventId;
use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_terms::catalogue::{Catalogue, Worker};
use baywright_terms::code::Code as Word;
use baywright_terms::time::Micros;
use hyper_util::rt::TokioIo;
use prost::Message as _;
use tokio_stream::StreamExt as _;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tonic::service::Routes;
use tonic::transport::{Channel, Endpoint, Uri};
use tonic::{Code, Status};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;

use crate::access::conn::{Conn, Peer};
use crate::access::gate::GateLayer;
use crate::access::joining::Joining;
use crate::access::{Access, Caller};
use crate::clock::{Clock, SetClock};
use crate::config::Config;
use crate::facts::{Answer, FactsError, Stored};
use crate::health;
use crate::journal::follow::{Follower, Standing};
use crate::journal::verify::{Broken, TAIL_RECORDS, verify};
use crate::journal::writer::{Heads, QUEUE_POSTS_MAX, Writer};
use crate::journal::{Journal, LogReader, append_batch};
use crate::lifecycle::{STOP_GRACE_MS_MAX, serve, server};
use crate::metrics::Metrics;
use crate::service::Services;
use crate::service::calls::CallsLayer;
use crate::service::limits::Limits;
use crate::service::reads::Reads;

/// Longest that any wait of a test may take: a bound, never a pause.
const PATIENCE: Duration = Duration::from_secs(30);

async fn patient<T>(future: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, future)
        .await
        .expect("it should not take this long")
}

/// What a follower of a test does with a batch.
type Doing = Box<dyn FnMut(&[Stored]) -> Result<Vec<Answer>, FactsError> + Send>;

struct Scripted {
    doing: Doing,
    seen: u64,
    cursor: u64,
    catalogue: Catalogue,
}

impl Follower for Scripted {
    fn absorb(&mut self, stored: &[Stored]) -> Result<Vec<Answer>, FactsError> {
        let answers = (self.doing)(stored)?;
        self.seen = stored.last().map_or(self.seen, |last| last.seq);
        Ok(answers)
    }

    fn commit(&mut self) -> Result<u64, FactsError> {
        self.cursor = self.seen;
        Ok(self.cursor)
    }

    fn answer_for(&mut self, _event: EventId) -> Result<Option<Answer>, FactsError> {
        Ok(Some(Answer {
            job_title: "as the first time".to_owned(),
            ..Answer::default()
        }))
    }

    fn cursor(&self) -> u64 {
        self.cursor
    }

    fn catalogue(&self, _at: Micros) -> &Catalogue {
        &self.catalogue
    }

    fn catalogue_revision(&self) -> u64 {
        7
    }
}

fn titled(stored: &[Stored]) -> Vec<Answer> {
    stored
        .iter()
        .map(|entry| Answer {
            seq: entry.seq,
            job_title: format!("title of {}", entry.seq),
            ..Answer::default()
        })
        .collect()
}

/// The services of a log behind a pipe.
struct Pipe {
    dir: tempfile::TempDir,
    writer: Writer,
    stop: CancellationToken,
    channel: Channel,
    streams: TaskTracker,
    /// What is behind the pipe, for another way in.
    layers: (CallsLayer, GateLayer),
    routes: Routes,
}

impl Pipe {
    async fn new(doing: Doing) -> Self {
        Self::with(doing, Catalogue::default(), None).await
    }

    async fn quiet() -> Self {
        Self::new(Box::new(|stored| Ok(titled(stored)))).await
    }

    async fn with(doing: Doing, catalogue: Catalogue, broken: Option<Broken>) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clock: Arc<dyn Clock> = Arc::new(SetClock::at(Micros(1_795_424_400_000_000)));
        let journal = Journal::open(dir.path()).unwrap();
        let meta = journal.meta();
        let (writer, _thread) = Writer::start(journal, Arc::clone(&clock), broken).unwrap();
        let follower = Scripted {
            doing,
            seen: 0,
            cursor: 0,
            catalogue,
        };
        let opener = writer.clone();
        std::thread::spawn(move || opener.follow(Ok(Box::new(follower))));
        let mut heads = writer.heads();
        patient(heads.wait_for(|heads| heads.facts != Standing::Opening))
            .await
            .unwrap();
        let stop = CancellationToken::new();
        let metrics = Arc::new(Metrics::default());
        let limits = Limits::new(Arc::clone(&metrics));
        let services = Services {
            writer: writer.clone(),
            reads: Reads::new(dir.path(), writer.heads(), limits.clone(), stop.clone()),
            limits: limits.clone(),
            learner: Arc::default(),
            joining: Joining::new(
                Access::open(),
                SocketAddr::from(([127, 0, 0, 1], 0)),
                0,
                meta.log_id,
                Arc::clone(&clock),
                stop.clone(),
            ),
            access: Access::open(),
            clock,
            meta,
            stop: stop.clone(),
            streams: TaskTracker::new(),
        };
        let (_, routes) = health::with_health(services.routes(), &writer.heads()).await;
        let (ours, theirs) = tokio::io::duplex(64 * 1024);
        let theirs = Conn::new(theirs, Peer::unlimited(Caller::OPEN), None);
        let calls = CallsLayer::new(metrics, limits);
        let gate = GateLayer::new(Arc::clone(&services.clock));
        tokio::spawn(
            server()
                .layer(calls.clone())
                .layer(gate.clone())
                .add_routes(routes.clone())
                .serve_with_incoming(tokio_stream::once(Ok::<_, std::io::Error>(theirs))),
        );
        let mut ours = Some(ours);
        let channel = Endpoint::from_static("http://pipe")
            .connect_with_connector(tower::service_fn(move |_: Uri| {
                let ours = ours.take();
                async move {
                    ours.map(TokioIo::new)
                        .ok_or_else(|| std::io::Error::other("the pipe is used up"))
                }
            }))
            .await
            .unwrap();
        Self {
            dir,
            writer,
            stop,
            channel,
            streams: services.streams,
            layers: (calls, gate),
            routes,
        }
    }

    fn intake(&self) -> IntakeServiceClient<Channel> {
        IntakeServiceClient::new(self.channel.clone())
    }

    fn floor(&self) -> FloorServiceClient<Channel> {
        FloorServiceClient::new(self.channel.clone())
    }

    async fn post(&self, post: v1::Post) -> Result<v1::Receipt, Status> {
        send(&mut self.intake(), post).await
    }

    async fn heads(&self, reached: impl FnMut(&Heads) -> bool) -> Heads {
        let mut heads = self.writer.heads();
        let heads = patient(heads.wait_for(reached)).await.unwrap();
        heads.clone()
    }
}

async fn send(
    intake: &mut IntakeServiceClient<Channel>,
    post: v1::Post,
) -> Result<v1::Receipt, Status> {
    let request = v1::PostRequest { post: Some(post) };
    let response = patient(intake.post(request)).await?;
    Ok(response.into_inner().receipt.unwrap())
}

fn event_id(device: u8, seq: u64) -> Vec<u8> {
    let mut id = vec![device; 8];
    id.extend(seq.to_be_bytes());
    id
}

fn post(device: u8, previous: u64, seq: u64) -> v1::Post {
    let fact = v1::Fact {
        by: vec!["anna".to_owned()],
        kind: Some(v1::fact::Kind::Noted(v1::Noted {
            text: format!("note {seq}"),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    v1::Post {
        event_id: event_id(device, seq),
        device_seq: seq,
        previous_device_seq: previous,
        fact: fact.encode_to_vec(),
        device: format!("bay-{device}"),
        ..v1::Post::default()
    }
}

fn reason(status: &Status) -> String {
    let details = status.get_error_details();
    let info = details.error_info().expect("every status has a reason");
    assert_eq!(info.domain, "baywright");
    info.reason.clone()
}

async fn watched(stream: &mut tonic::Streaming<v1::WatchResponse>, count: usize) -> Vec<u64> {
    let mut seqs = Vec::new();
    for _ in 0..count {
        let next = patient(stream.next()).await.unwrap().unwrap();
        seqs.push(next.decoded.unwrap().seq);
    }
    seqs
}
