//! Bounds over real sockets: what is over one is told so, and the others work on.

use baywright_proto::REQUEST_HEADER;
use baywright_proto::bounds::NOTE_BYTES_MAX;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio_stream::wrappers::TcpListenerStream;
use tonic::metadata::MetadataMap;

use super::life::{Whole, whole};
use super::*;
use crate::access::patience::Times;
use crate::journal::room::STREAM_POSTS_MAX;
use crate::lifecycle::HEADER_BYTES_MAX;
use crate::service::limits::WATCHES_MAX;

impl Whole {
    async fn channel(&self) -> Channel {
        let endpoint = Endpoint::from_shared(self.address.clone()).unwrap();
        patient(endpoint.connect()).await.unwrap()
    }

    async fn end(self) {
        self.stop.cancel();
        patient(self.ended).await.unwrap().unwrap();
    }
}

fn number(metadata: &MetadataMap) -> String {
    let number = metadata.get(REQUEST_HEADER).expect("every call has one");
    number.to_str().unwrap().to_owned()
}

fn follow() -> v1::WatchRequest {
    v1::WatchRequest {
        after_seq: 0,
        follow: true,
    }
}

#[tokio::test]
async fn every_call_has_a_number_whether_it_fails_or_not() {
    let pipe = Pipe::quiet().await;
    let mut numbers = Vec::new();
    let request = v1::PostRequest {
        post: Some(post(1, 0, 1)),
    };
    let response = patient(pipe.intake().post(request)).await.unwrap();
    numbers.push(number(response.metadata()));
    // Refused before its first answer: in the headers.
    let refused = pipe.post(post(1, 7, 9)).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_STEP");
    numbers.push(number(refused.metadata()));
    // Ended after its first answer: in the trailers.
    let mut stream = patient(pipe.floor().watch(follow())).await.unwrap();
    let of_stream = number(stream.metadata());
    assert_eq!(watched(stream.get_mut(), 1).await, [1]);
    pipe.stop.cancel();
    let ended = patient(stream.get_mut().next()).await.unwrap().unwrap_err();
    assert_eq!(reason(&ended), "STOPPING");
    assert_eq!(number(ended.metadata()), of_stream);
    numbers.push(of_stream);
    numbers.sort();
    numbers.dedup();
    assert_eq!(numbers.len(), 3);
}

#[tokio::test]
async fn what_is_too_large_says_so_and_the_next_call_works() {
    let pipe = Pipe::quiet().await;
    let mut hello = HelloServiceClient::new(pipe.channel.clone());
    let huge = v1::HelloRequest {
        build: "x".repeat(100 * 1024),
        ..v1::HelloRequest::default()
    };
    let refused = patient(hello.hello(huge)).await.unwrap_err();
    assert_eq!(refused.code(), Code::OutOfRange);
    assert_eq!(reason(&refused), "TOO_LARGE");
    // A note that is too long by a letter, and one that is not.
    let noted = |seq: u64, bytes: usize| {
        let fact = v1::Fact {
            kind: Some(v1::fact::Kind::Noted(v1::Noted {
                text: "n".repeat(bytes),
                ..v1::Noted::default()
            })),
            ..v1::Fact::default()
        };
        v1::Post {
            fact: fact.encode_to_vec(),
            ..post(1, seq - 1, seq)
        }
    };
    let refused = pipe.post(noted(1, NOTE_BYTES_MAX + 1)).await.unwrap_err();
    assert_eq!(reason(&refused), "UNREADABLE");
    let details = refused.get_error_details();
    let wrong = &details.bad_request().unwrap().field_violations[0];
    assert_eq!(wrong.field, "fact.noted.text");
    assert!(wrong.description.contains("say it shorter"));
    pipe.post(noted(1, NOTE_BYTES_MAX)).await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn watches_are_bounded_and_posts_go_on_meanwhile() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut floor = FloorServiceClient::new(daemon.channel().await);
    let mut open = Vec::new();
    let refused = loop {
        match patient(floor.watch(follow())).await {
            Ok(stream) => open.push(stream.into_inner()),
            Err(status) => break status,
        }
        assert!(open.len() <= WATCHES_MAX, "watches are unbounded");
    };
    assert_eq!(refused.code(), Code::ResourceExhausted);
    assert_eq!(reason(&refused), "TOO_MANY_STREAMS");
    assert!(refused.get_error_details().retry_info().is_some());
    // One caller may not have all of them.
    assert_eq!(open.len(), WATCHES_MAX / 4 * 3);
    let mut intake = IntakeServiceClient::new(daemon.channel().await);
    send(&mut intake, post(1, 0, 1)).await.unwrap();
    for stream in &mut open {
        assert_eq!(watched(stream, 1).await, [1]);
    }
    // Room comes back with the first that ends.
    open.pop();
    patient(async {
        while floor.watch(follow()).await.is_err() {
            tokio::task::yield_now().await;
        }
    })
    .await;
    drop(open);
    daemon.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn headers_are_bounded_and_the_others_work_on() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut others = IntakeServiceClient::new(daemon.channel().await);
    send(&mut others, post(1, 0, 1)).await.unwrap();
    let mut hello = HelloServiceClient::new(daemon.channel().await);
    let with = |bytes: usize| {
        let mut request = tonic::Request::new(v1::HelloRequest::default());
        let long = "x".repeat(bytes).parse().unwrap();
        request.metadata_mut().insert("x-long", long);
        request
    };
    let most = usize::try_from(HEADER_BYTES_MAX).unwrap();
    patient(hello.hello(with(most / 2))).await.unwrap();
    patient(hello.hello(with(most + 1))).await.unwrap_err();
    send(&mut others, post(1, 1, 2)).await.unwrap();
    daemon.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn streams_at_full_speed_cannot_take_the_queue_from_people() {
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
        tokio::spawn(async move { send(&mut intake, post(99, 0, 1)).await })
    };
    // The writer now stands in the fold with the first post.
    pipe.heads(|heads| heads.log_seq == 1).await;
    let bays = 10_u8;
    let mut streams = Vec::new();
    for bay in 1..=bays {
        let requests: Vec<v1::PostManyRequest> = (1..=200)
            .map(|seq| v1::PostManyRequest {
                post: Some(post(bay, seq - 1, seq)),
            })
            .collect();
        let mut intake = pipe.intake();
        let answers = patient(intake.post_many(tokio_stream::iter(requests))).await;
        streams.push(answers.unwrap().into_inner());
    }
    patient(async {
        while pipe.writer.waiting() < STREAM_POSTS_MAX {
            tokio::task::yield_now().await;
        }
    })
    .await;
    // More streams than there is room for wait; a person's post is taken in.
    let person = {
        let mut intake = pipe.intake();
        tokio::spawn(async move { send(&mut intake, post(98, 0, 1)).await })
    };
    patient(async {
        while pipe.writer.waiting() == STREAM_POSTS_MAX {
            tokio::task::yield_now().await;
        }
    })
    .await;
    assert_eq!(pipe.writer.waiting(), STREAM_POSTS_MAX + 1);
    go.send(()).unwrap();
    patient(held).await.unwrap().unwrap();
    patient(person).await.unwrap().unwrap();
    for mut answers in streams {
        for _ in 0..200 {
            let answer = patient(answers.next()).await.unwrap().unwrap();
            let taken = matches!(
                answer.result,
                Some(v1::post_many_response::Result::Receipt(_))
            );
            assert!(taken, "{answer:?}");
        }
    }
}

/// Limits of silence that a test can wait for.
const SHORT: Times = Times {
    first_call: Duration::from_millis(300),
    idle: Duration::from_millis(500),
};

/// The same services over TCP, where silent peers are ended sooner.
async fn over_tcp(pipe: &Pipe) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let incoming = TcpListenerStream::new(listener).map(|stream| {
        let peer = Peer::unlimited(Caller::OPEN);
        stream.map(|stream| Conn::new(stream, peer, None).patient_for(SHORT))
    });
    let (calls, gate) = pipe.layers.clone();
    let server = server()
        .layer(calls)
        .layer(gate)
        .add_routes(pipe.routes.clone());
    tokio::spawn(server.serve_with_incoming(incoming));
    address
}

/// Waits for the end of a connection, sending a byte of `trickle` now and then.
async fn until_ended(mut stream: TcpStream, trickle: &[u8]) {
    let mut bytes = trickle.iter().cycle();
    let mut heard = [0; 1024];
    let ended = async {
        loop {
            let now_and_then = Duration::from_millis(20);
            match tokio::time::timeout(now_and_then, stream.read(&mut heard)).await {
                Ok(Ok(0) | Err(_)) => return,
                Ok(Ok(_)) => {}
                Err(_) => {
                    if let Some(byte) = bytes.next()
                        && stream.write_all(&[*byte]).await.is_err()
                    {
                        return;
                    }
                }
            }
        }
    };
    patient(ended).await;
}

/// The first words of HTTP/2: the preface and empty settings.
const PREFACE: &[u8] = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\0\0\0\x04\0\0\0\0\0";
/// A ping with its eight bytes.
const PING: &[u8] = b"\0\0\x08\x06\0\0\0\0\0whatever";
/// The beginning of headers that are never whole.
const HEADERS: &[u8] = b"\0\0\xff\x01\0\0\0\0\x01";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn silent_and_trickling_peers_are_ended_and_a_long_stream_is_not() {
    let pipe = Pipe::quiet().await;
    let address = over_tcp(&pipe).await;
    let connect = || TcpStream::connect(address);
    let endpoint = Endpoint::from_shared(format!("http://{address}")).unwrap();
    let bay = patient(endpoint.connect()).await.unwrap();
    // A watch, and a stream of posts that pauses for longer than a connection
    // may be idle.
    let mut floor = FloorServiceClient::new(bay.clone());
    let mut watch = patient(floor.watch(follow())).await.unwrap().into_inner();
    let (say, said) = tokio::sync::mpsc::channel(4);
    let requests = tokio_stream::wrappers::ReceiverStream::new(said);
    let mut intake = IntakeServiceClient::new(bay);
    let mut receipts = patient(intake.post_many(requests))
        .await
        .unwrap()
        .into_inner();
    for seq in 1..=3_u64 {
        // Says nothing; says no whole preface; only pings; begins a call and
        // never ends its headers.
        until_ended(connect().await.unwrap(), b"").await;
        until_ended(connect().await.unwrap(), PREFACE).await;
        for more in [PING, HEADERS] {
            let mut stream = connect().await.unwrap();
            stream.write_all(PREFACE).await.unwrap();
            until_ended(stream, more).await;
        }
        let post = Some(post(1, seq - 1, seq));
        say.send(v1::PostManyRequest { post }).await.unwrap();
        let answer = patient(receipts.next()).await.unwrap().unwrap();
        assert!(matches!(
            answer.result,
            Some(v1::post_many_response::Result::Receipt(_))
        ));
        assert_eq!(watched(&mut watch, 1).await, [seq]);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_peer_that_takes_no_receipts_holds_up_nobody() {
    let pipe = Pipe::quiet().await;
    let address = over_tcp(&pipe).await;
    let endpoint = Endpoint::from_shared(format!("http://{address}")).unwrap();
    let stuck = patient(endpoint.connect()).await.unwrap();
    let requests: Vec<v1::PostManyRequest> = (1..=5_000)
        .map(|seq| v1::PostManyRequest {
            post: Some(post(1, seq - 1, seq)),
        })
        .collect();
    let mut intake = IntakeServiceClient::new(stuck);
    let unread = patient(intake.post_many(tokio_stream::iter(requests)))
        .await
        .unwrap()
        .into_inner();
    let bay = patient(endpoint.connect()).await.unwrap();
    let mut intake = IntakeServiceClient::new(bay);
    for seq in 1..=50 {
        send(&mut intake, post(2, seq - 1, seq)).await.unwrap();
    }
    drop(unread);
}
