//! The services over an in-memory pipe, and the life of a whole daemon.

use std::future::Future;
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
use tonic::transport::{Channel, Endpoint, Uri};
use tonic::{Code, Status};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;

use crate::clock::{Clock, SetClock};
use crate::config::Config;
use crate::facts::{Answer, FactsError, Stored};
use crate::health;
use crate::journal::follow::{Follower, Standing};
use crate::journal::verify::{Broken, verify};
use crate::journal::writer::{Heads, QUEUE_POSTS_MAX, Writer};
use crate::journal::{Journal, LogReader};
use crate::lifecycle::{STOP_GRACE_MS_MAX, serve, server};
use crate::service::Services;
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
        let services = Services {
            writer: writer.clone(),
            reads: Reads::new(dir.path(), writer.heads(), stop.clone()),
            clock,
            meta,
            stop: stop.clone(),
            streams: TaskTracker::new(),
        };
        let (_, routes) = health::with_health(services.routes(), &writer.heads()).await;
        let (ours, theirs) = tokio::io::duplex(64 * 1024);
        tokio::spawn(
            server()
                .add_routes(routes)
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

#[tokio::test]
async fn a_receipt_carries_what_the_fold_says_and_a_repeat_says_so() {
    let pipe = Pipe::quiet().await;
    let first = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!((first.seq, first.repeated), (1, false));
    assert_eq!(first.job_title, "title of 1");
    assert_eq!(first.catalogue_revision, 7);
    let again = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!((again.seq, again.repeated), (1, true));
    assert_eq!(again.received_us, first.received_us);
    assert_eq!(again.job_title, "as the first time");
}

#[tokio::test]
async fn each_refusal_has_its_code_its_reason_and_how_to_mend_it() {
    let worker = Worker {
        name: "Ana".to_owned(),
        rate_minor: None,
        retired: false,
    };
    let mut catalogue = Catalogue::default();
    catalogue.workers.insert(Word::new("ana"), worker);
    let pipe = Pipe::with(Box::new(|s| Ok(titled(s))), catalogue, None).await;

    let mut unreadable = post(1, 0, 1);
    unreadable.event_id.pop();
    let status = pipe.post(unreadable).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    assert_eq!(reason(&status), "UNREADABLE");
    let details = status.get_error_details();
    let wrong = &details.bad_request().unwrap().field_violations;
    assert_eq!(wrong[0].field, "event_id");
    assert!(wrong[0].description.contains("16 bytes"));

    let status = patient(pipe.intake().post(v1::PostRequest { post: None }))
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "UNREADABLE");

    let status = pipe.post(post(1, 4, 5)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "OUT_OF_STEP");
    let details = status.get_error_details();
    let held = &details.error_info().unwrap().metadata["held_device_seq"];
    assert_eq!(held, "0");

    let mut slip = post(1, 0, 1);
    slip.waiting = true;
    let status = pipe.post(slip).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    assert_eq!(reason(&status), "UNKNOWN_CODE");
    assert_eq!(status.message(), "no worker `anna` in the catalogue");
    let details = status.get_error_details();
    let wrong = &details.bad_request().unwrap().field_violations[0];
    assert_eq!(wrong.field, "fact.by");
    assert!(
        wrong.description.contains("did you mean ana?"),
        "{}",
        wrong.description
    );

    pipe.post(post(1, 0, 1)).await.unwrap();
    let mut other = post(1, 1, 2);
    other.event_id = event_id(1, 1);
    let status = pipe.post(other).await.unwrap_err();
    assert_eq!(status.code(), Code::AlreadyExists);
    assert_eq!(reason(&status), "ID_REUSED");
}

#[tokio::test]
async fn many_posts_get_a_receipt_or_a_refusal_each_in_their_order() {
    let pipe = Pipe::quiet().await;
    let mut posts: Vec<v1::Post> = (1..=300).map(|seq| post(1, seq - 1, seq)).collect();
    // One in the middle is nonsense; the next one still follows what is held.
    posts[100].fact = vec![0xff];
    posts[101].previous_device_seq = 100;
    let requests: Vec<v1::PostManyRequest> = posts
        .into_iter()
        .map(|post| v1::PostManyRequest { post: Some(post) })
        .collect();
    let mut answers = patient(pipe.intake().post_many(tokio_stream::iter(requests)))
        .await
        .unwrap()
        .into_inner();
    let mut seq = 0;
    for number in 1..=300_u64 {
        let answer = patient(answers.next()).await.unwrap().unwrap();
        match answer.result.unwrap() {
            v1::post_many_response::Result::Receipt(receipt) => {
                seq += 1;
                assert_eq!(receipt.seq, seq);
                assert_eq!(receipt.event_id, event_id(1, number));
            }
            v1::post_many_response::Result::Refusal(refusal) => {
                assert_eq!(number, 101);
                assert_eq!(refusal.reason, "UNREADABLE");
                assert_eq!(refusal.event_id, event_id(1, 101));
            }
        }
    }
    assert!(patient(answers.next()).await.is_none());
    assert_eq!(seq, 299);
}

async fn watched(stream: &mut tonic::Streaming<v1::WatchResponse>, count: usize) -> Vec<u64> {
    let mut seqs = Vec::new();
    for _ in 0..count {
        let next = patient(stream.next()).await.unwrap().unwrap();
        seqs.push(next.decoded.unwrap().seq);
    }
    seqs
}

#[tokio::test]
async fn a_watcher_pages_then_follows_and_resumes_after_any_seq() {
    let pipe = Pipe::quiet().await;
    for seq in 1..=200 {
        pipe.post(post(1, seq - 1, seq)).await.unwrap();
    }
    let watch = |after_seq, follow| {
        let mut floor = pipe.floor();
        async move {
            let request = v1::WatchRequest { after_seq, follow };
            patient(floor.watch(request)).await.unwrap().into_inner()
        }
    };
    let mut all = watch(0, false).await;
    assert_eq!(watched(&mut all, 200).await, (1..=200).collect::<Vec<_>>());
    assert!(
        patient(all.next()).await.is_none(),
        "without follow it ends"
    );
    let mut following = watch(197, true).await;
    assert_eq!(watched(&mut following, 3).await, [198, 199, 200]);
    for seq in 201..=203 {
        pipe.post(post(1, seq - 1, seq)).await.unwrap();
    }
    assert_eq!(watched(&mut following, 3).await, [201, 202, 203]);
    // One that never reads holds up nobody, and hears the last word.
    let mut slow = watch(0, true).await;
    pipe.stop.cancel();
    pipe.streams.close();
    patient(pipe.streams.wait()).await;
    let mut seen = 0;
    let status = loop {
        match patient(slow.next()).await.unwrap() {
            Ok(response) => {
                assert_eq!(response.decoded.unwrap().seq, seen + 1);
                seen += 1;
            }
            Err(status) => break status,
        }
    };
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "STOPPING");
    let mut resumed_from = following;
    let status = patient(resumed_from.next()).await.unwrap().unwrap_err();
    assert_eq!(reason(&status), "STOPPING");
}

#[tokio::test]
async fn a_full_queue_says_when_to_come_back_and_loses_nothing() {
    let (go, gate) = std_mpsc::sync_channel::<()>(1);
    let gate = Mutex::new(gate);
    let mut first = true;
    let pipe = Pipe::new(Box::new(move |stored| {
        if !stored.is_empty() && std::mem::take(&mut first) {
            gate.lock().unwrap().recv().unwrap();
        }
        Ok(titled(stored))
    }))
    .await;
    let held = {
        let mut intake = pipe.intake();
        tokio::spawn(async move { send(&mut intake, post(1, 0, 1)).await })
    };
    // The writer now stands in the fold with the first post.
    pipe.heads(|heads| heads.log_seq == 1).await;
    let mut waiting = Vec::new();
    for seq in 2..=u64::try_from(QUEUE_POSTS_MAX).unwrap() + 1 {
        let intake = crate::journal::Intake {
            post: post(1, seq - 1, seq),
            device: "bay-1".to_owned(),
            role: v1::Role::Owner,
        };
        waiting.push(pipe.writer.post(intake).unwrap());
    }
    let status = pipe.post(post(2, 0, 1)).await.unwrap_err();
    assert_eq!(status.code(), Code::ResourceExhausted);
    assert_eq!(reason(&status), "QUEUE_FULL");
    assert!(status.get_error_details().retry_info().is_some());
    go.send(()).unwrap();
    assert_eq!(patient(held).await.unwrap().unwrap().seq, 1);
    for (pending, seq) in waiting.into_iter().zip(2..) {
        assert_eq!(patient(pending.answer()).await.unwrap().kept.seq, seq);
    }
    pipe.post(post(2, 0, 1)).await.unwrap();
}

#[tokio::test]
async fn a_fold_that_panics_costs_no_receipt_and_stops_no_log() {
    let pipe = Pipe::new(Box::new(|stored| {
        assert!(stored.iter().all(|entry| entry.seq < 3), "made to panic");
        Ok(titled(stored))
    }))
    .await;
    for seq in 1..=5 {
        let receipt = pipe.post(post(1, seq - 1, seq)).await.unwrap();
        assert_eq!(receipt.seq, seq);
        assert_eq!(receipt.job_title.is_empty(), seq >= 3);
    }
    let heads = pipe.heads(|heads| heads.facts == Standing::Broken).await;
    assert_eq!(heads.log_seq, 5);
    let now = patient(pipe.floor().now(v1::NowRequest::default())).await;
    let status = now.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "FACTS_BEHIND");
    // The log itself can still be watched.
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = patient(pipe.floor().watch(request))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(watched(&mut stream, 5).await, [1, 2, 3, 4, 5]);
}

#[tokio::test]
async fn facts_that_fail_once_catch_up_with_the_next_post() {
    let mut fails = true;
    let pipe = Pipe::new(Box::new(move |stored| {
        if !stored.is_empty() && std::mem::take(&mut fails) {
            return Err(FactsError::Damaged("made to fail".to_owned()));
        }
        Ok(titled(stored))
    }))
    .await;
    let first = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!(first.job_title, "");
    pipe.heads(|heads| heads.facts == Standing::Behind).await;
    let second = pipe.post(post(1, 1, 2)).await.unwrap();
    assert_eq!(second.job_title, "title of 2");
    let heads = pipe.heads(|heads| heads.facts_seq == 2).await;
    assert_eq!(heads.facts, Standing::Following);
}

#[tokio::test]
async fn a_broken_chain_makes_the_log_read_only() {
    let broken = Broken {
        seq: 3,
        why: "made for a test".to_owned(),
    };
    let doing: Doing = Box::new(|stored| Ok(titled(stored)));
    let pipe = Pipe::with(doing, Catalogue::default(), Some(broken)).await;
    let status = pipe.post(post(1, 0, 1)).await.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "READ_ONLY");
    assert!(status.message().contains("seq 3"));
    let mut health = HealthClient::new(pipe.channel.clone());
    let answer = patient(health.check(HealthCheckRequest {
        service: "baywright.v1.IntakeService".to_owned(),
    }));
    let serving = answer.await.unwrap().into_inner().status();
    assert_eq!(
        serving,
        tonic_health::pb::health_check_response::ServingStatus::NotServing
    );
}

#[tokio::test]
async fn hello_says_what_is_held_and_which_side_is_too_old() {
    let pipe = Pipe::quiet().await;
    pipe.post(post(1, 0, 4)).await.unwrap();
    let mut hello = HelloServiceClient::new(pipe.channel.clone());
    let asked = v1::HelloRequest {
        protocol_lowest: 1,
        protocol_highest: 3,
        build: "bay 9".to_owned(),
        device: "bay-1".to_owned(),
    };
    let answer = patient(hello.hello(asked.clone()))
        .await
        .unwrap()
        .into_inner();
    assert_eq!((answer.held_device_seq, answer.head_seq), (4, 1));
    assert_eq!((answer.log_id.len(), answer.epoch), (16, 1));
    let newer = v1::HelloRequest {
        protocol_lowest: 2,
        ..asked
    };
    let status = patient(hello.hello(newer)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "VERSION");
    assert!(status.message().contains("update the daemon"));
    let log = LogReader::open(pipe.dir.path()).unwrap();
    assert_eq!(log.meta().unwrap().log_id.to_vec(), answer.log_id);
}

/// A whole daemon on a free port, and how it ends.
struct Whole {
    address: String,
    stop: CancellationToken,
    ended: tokio::task::JoinHandle<Result<(), crate::lifecycle::ServeError>>,
}

async fn whole(dir: &std::path::Path) -> Whole {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let config = Config {
        data_dir: dir.to_owned(),
        listen: listener.local_addr().unwrap(),
        socket: None,
    };
    let stop = CancellationToken::new();
    let (tell, told) = tokio::sync::oneshot::channel();
    let clock = Arc::new(SetClock::at(Micros(1_795_424_400_000_000)));
    let serving = serve(config, listener, clock, stop.clone(), move |ready| {
        tell.send(ready.clone()).unwrap();
    });
    let ended = tokio::spawn(serving);
    let ready = patient(told).await.unwrap();
    Whole {
        address: format!("http://{}", ready.listening),
        stop,
        ended,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_under_load_loses_nothing_that_was_acknowledged() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut bays = Vec::new();
    let (count, mut counted) = tokio::sync::mpsc::channel::<()>(64);
    for bay in 1..=4_u8 {
        let mut intake = IntakeServiceClient::connect(daemon.address.clone())
            .await
            .unwrap();
        let count = count.clone();
        bays.push(tokio::spawn(async move {
            let mut acknowledged = 0;
            loop {
                match send(&mut intake, post(bay, acknowledged, acknowledged + 1)).await {
                    Ok(_) => acknowledged += 1,
                    Err(status) => {
                        // Refused by the stop, or cut off by it; never for another reason.
                        let details = status.get_error_details();
                        if let Some(info) = details.error_info() {
                            assert_eq!(info.reason, "STOPPING");
                        }
                        return acknowledged;
                    }
                }
                let _ = count.try_send(());
            }
        }));
    }
    let mut floor = FloorServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: true,
    };
    let mut watcher = patient(floor.watch(request)).await.unwrap().into_inner();
    for _ in 0..50 {
        patient(counted.recv()).await.unwrap();
    }
    let began = std::time::Instant::now();
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
    assert!(began.elapsed() < Duration::from_millis(STOP_GRACE_MS_MAX));
    let last_word = loop {
        match patient(watcher.next()).await {
            Some(Ok(_)) => {}
            Some(Err(status)) => break status,
            None => panic!("a watcher is told why it ends"),
        }
    };
    assert_eq!(last_word.code(), Code::Unavailable);
    let log = LogReader::open(dir.path()).unwrap();
    verify(&log, |_, _| true).unwrap();
    for (bay, acknowledged) in (1..=4_u8).zip(bays) {
        let acknowledged = patient(acknowledged).await.unwrap();
        for seq in 1..=acknowledged {
            assert!(log.record_of_event(&event_id(bay, seq)).unwrap().is_some());
        }
        // At most the post whose answer did not arrive is there beyond that.
        let held = log.held_device_seq(&format!("bay-{bay}")).unwrap();
        assert!(held == acknowledged || held == acknowledged + 1);
    }
    // What was left behind is clean: the next daemon starts at once.
    assert!(!dir.path().join("bay.sock").exists());
    let next = whole(dir.path()).await;
    next.stop.cancel();
    patient(next.ended).await.unwrap().unwrap();
}

#[tokio::test]
async fn answers_over_tcp_do_not_wait_for_nagle() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut intake = IntakeServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let mut quickest = PATIENCE;
    for seq in 1..=20 {
        let began = std::time::Instant::now();
        send(&mut intake, post(1, seq - 1, seq)).await.unwrap();
        quickest = quickest.min(began.elapsed());
    }
    // With Nagle's algorithm and delayed acknowledgements each takes 40 ms.
    assert!(quickest < Duration::from_millis(30), "{quickest:?}");
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_left_over_socket_goes_and_one_in_use_stays() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bay.sock");
    drop(std::os::unix::net::UnixListener::bind(&path).unwrap());
    assert!(path.exists(), "a killed daemon leaves its socket");
    let daemon = whole(dir.path()).await;
    let other = tempfile::tempdir().unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let config = Config {
        data_dir: other.path().to_owned(),
        listen: listener.local_addr().unwrap(),
        socket: Some(path),
    };
    let clock = Arc::new(SetClock::at(Micros(0)));
    let refused = patient(serve(
        config,
        listener,
        clock,
        CancellationToken::new(),
        |_| {},
    ))
    .await;
    assert!(refused.unwrap_err().to_string().contains("another process"));
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
}
