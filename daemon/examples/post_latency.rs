//! Measures how long a post takes from a client's call to its receipt, so to
//! the daemon's disk and through the fold, and how many go through at once.
//!
//! `cargo run --release -p baywright-daemon --example post_latency [DIR]`
//! The log is written under DIR, by default the system's temporary directory;
//! name one on the disk that is to be measured.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use baywright_daemon::clock::{Clock as _, SystemClock};
use baywright_daemon::config::Config;
use baywright_daemon::serve;
use baywright_proto::v1;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use hyper_util::rt::TokioIo;
use prost::Message as _;
use tokio::net::{TcpListener, UnixStream};
use tokio_stream::StreamExt as _;
use tokio_util::sync::CancellationToken;
use tonic::transport::{Channel, Endpoint, Uri};

/// Posts of each measurement.
const POSTS: u64 = 2_000;

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> Result<(), Failure> {
    let base = std::env::args_os()
        .nth(1)
        .map_or_else(std::env::temp_dir, PathBuf::from);
    let dir = tempfile::tempdir_in(base)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    runtime.block_on(measure(dir.path().to_owned()))
}

async fn measure(data_dir: PathBuf) -> Result<(), Failure> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    let socket = data_dir.join("s");
    let config = Config {
        data_dir,
        listen: address,
        join_port: None,
        socket: Some(socket.clone()),
        metrics: None,
    };
    let stop = CancellationToken::new();
    let (tell, told) = tokio::sync::oneshot::channel();
    let serving = serve(
        config,
        listener,
        Arc::new(SystemClock),
        stop.clone(),
        |_| {
            let _ = tell.send(());
        },
    );
    let daemon = tokio::spawn(serving);
    told.await?;

    let tcp = Endpoint::from_shared(format!("http://{address}"))?
        .tcp_nodelay(true)
        .connect()
        .await?;
    one_by_one("one bay, TCP", "tcp", tcp.clone()).await?;
    let unix = Endpoint::from_static("http://socket")
        .connect_with_connector(tower::service_fn(move |_: Uri| {
            let socket = socket.clone();
            async move { UnixStream::connect(socket).await.map(TokioIo::new) }
        }))
        .await?;
    one_by_one("one bay, Unix socket", "unix", unix).await?;
    for bays in [8, 64] {
        together(bays, &tcp).await?;
    }
    stream("one stream of posts", "stream", tcp).await?;
    stop.cancel();
    daemon.await??;
    Ok(())
}

/// A post as a bay makes it: its job opened first, then notes on it.
fn post(device: &str, run: u8, seq: u64) -> v1::Post {
    let kind = if seq == 1 {
        v1::fact::Kind::JobOpened(v1::JobOpened {
            job_type: "unsorted".to_owned(),
            vehicle: "invented tractor".to_owned(),
            ..v1::JobOpened::default()
        })
    } else {
        v1::fact::Kind::Noted(v1::Noted {
            text: "panel wiped".to_owned(),
            ..v1::Noted::default()
        })
    };
    let clocks = v1::Clocks {
        wall_us: SystemClock.now().0,
        boot_id: "boot".to_owned(),
        boot_us: i64::try_from(seq).unwrap_or(0),
    };
    let fact = v1::Fact {
        clocks: Some(clocks.clone()),
        bay: device.to_owned(),
        kind: Some(kind),
        ..v1::Fact::default()
    };
    let mut event_id = vec![run; 8];
    event_id.extend(seq.to_be_bytes());
    v1::Post {
        event_id,
        device_seq: seq,
        previous_device_seq: seq - 1,
        fact: fact.encode_to_vec(),
        delivery_clocks: Some(clocks),
        device: device.to_owned(),
        ..v1::Post::default()
    }
}

async fn send(
    channel: Channel,
    device: &str,
    run: u8,
    posts: u64,
) -> Result<Vec<Duration>, Failure> {
    let mut intake = IntakeServiceClient::new(channel);
    let mut took = Vec::new();
    for seq in 1..=posts {
        let request = v1::PostRequest {
            post: Some(post(device, run, seq)),
        };
        let began = Instant::now();
        intake.post(request).await?;
        took.push(began.elapsed());
    }
    Ok(took)
}

async fn one_by_one(name: &str, device: &str, channel: Channel) -> Result<(), Failure> {
    let run = device.bytes().next().unwrap_or(1);
    let began = Instant::now();
    let took = send(channel, device, run, POSTS).await?;
    print(name, took, began.elapsed());
    Ok(())
}

async fn together(bays: u8, channel: &Channel) -> Result<(), Failure> {
    let began = Instant::now();
    let mut tasks = Vec::new();
    for bay in 0..bays {
        let channel = channel.clone();
        tasks.push(tokio::spawn(async move {
            let device = format!("of-{bays}-{bay}");
            // Runs of eight and sixty-four bays keep clear of each other.
            send(
                channel,
                &device,
                128 + bays + bay % 64,
                POSTS / u64::from(bays),
            )
            .await
        }));
    }
    let mut took = Vec::new();
    for task in tasks {
        took.extend(task.await??);
    }
    print(&format!("{bays} bays at once"), took, began.elapsed());
    Ok(())
}

async fn stream(name: &str, device: &str, channel: Channel) -> Result<(), Failure> {
    let mut intake = IntakeServiceClient::new(channel);
    let posts: Vec<v1::PostManyRequest> = (1..=POSTS)
        .map(|seq| v1::PostManyRequest {
            post: Some(post(device, 7, seq)),
        })
        .collect();
    let began = Instant::now();
    let mut answers = intake
        .post_many(tokio_stream::iter(posts))
        .await?
        .into_inner();
    let mut kept = 0_u64;
    while let Some(answer) = answers.next().await {
        if let Some(v1::post_many_response::Result::Receipt(_)) = answer?.result {
            kept += 1;
        }
    }
    let took = began.elapsed();
    let rate = f64::from(u32::try_from(kept)?) / took.as_secs_f64();
    println!("{name:24} {kept:6} posts  {rate:9.0} a second");
    Ok(())
}

fn print(name: &str, mut took: Vec<Duration>, whole: Duration) {
    took.sort_unstable();
    let at = |per_mille: usize| {
        took.get(took.len().saturating_sub(1) * per_mille / 1000)
            .copied()
            .unwrap_or_default()
    };
    let posts = u32::try_from(took.len()).unwrap_or(u32::MAX);
    println!(
        "{name:24} {posts:6} posts  {:9.0} a second  half {:?}  99 of 100 {:?}",
        f64::from(posts) / whole.as_secs_f64(),
        at(500),
        at(990)
    );
}
