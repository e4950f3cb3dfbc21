//! Measures a backup of a long log while eight bays post: how long it takes,
//! and how long the slowest post takes meanwhile, beside a time without one.
//!
//! `cargo run --release -p baywright-daemon --example backup_latency [RECORDS] [DIR]`
//! The log and its backup are written under DIR, by default the system's temporary directory;
//! name one on the disk that is to be measured.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use baywright_daemon::backup::make::make;
use baywright_daemon::clock::{Clock as _, SystemClock};
use baywright_daemon::config::Config;
use baywright_daemon::journal::{Intake, Journal, append_batch};
use baywright_daemon::serve;
use baywright_proto::v1;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_terms::catalogue::Catalogue;
use prost::Message as _;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

/// Records of the log, where nobody says how many: some years of a shop.
const RECORDS: u64 = 100_000;

/// Bays that post at the same time, each as fast as it is answered.
const BAYS: u8 = 8;

/// How long the bays post without a backup, for the comparison.
const QUIET: Duration = Duration::from_secs(5);

type Failure = Box<dyn std::error::Error + Send + Sync>;

fn main() -> Result<(), Failure> {
    let mut args = std::env::args().skip(1);
    let records = args.next().map_or(Ok(RECORDS), |text| text.parse())?;
    let base = args.next().map_or_else(std::env::temp_dir, PathBuf::from);
    let dir = tempfile::tempdir_in(base)?;
    fill(dir.path(), records)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    runtime.block_on(measure(dir.path().to_owned()))
}

fn fill(data_dir: &Path, records: u64) -> Result<(), Failure> {
    let mut journal = Journal::open(data_dir)?;
    let mut seq = 0;
    while seq < records {
        let batch: Vec<Intake> = (0..256.min(records - seq))
            .map(|at| Intake {
                post: post("filler", 0, seq + at + 1),
                device: "filler".to_owned(),
                role: v1::Role::Bay,
            })
            .collect();
        let now = SystemClock.now();
        for outcome in append_batch(&mut journal, &Catalogue::default(), &batch, now) {
            outcome.map_err(|refusal| format!("{refusal:?}"))?;
        }
        seq += u64::try_from(batch.len())?;
    }
    journal.checkpoint()?;
    Ok(())
}

async fn measure(data_dir: PathBuf) -> Result<(), Failure> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let address = listener.local_addr()?;
    let config = Config {
        data_dir: data_dir.clone(),
        listen: address,
        join_port: None,
        metrics: None,
        socket: Some(data_dir.join("s")),
    };
    let stop = CancellationToken::new();
    let (tell, told) = tokio::sync::oneshot::channel();
    let clock = Arc::new(SystemClock);
    let daemon = tokio::spawn(serve(config, listener, clock, stop.clone(), |_| {
        let _ = tell.send(());
    }));
    told.await?;
    let url = format!("http://{address}");

    let until = tokio::time::sleep(QUIET);
    print("without a backup", &bays(&url, 100, until).await?);
    let file = data_dir.join("measured.backup");
    let backup = {
        let file = file.clone();
        tokio::task::spawn_blocking(move || {
            let began = Instant::now();
            let made = make(&data_dir, &file, false, SystemClock.now().0, &mut |_| {});
            (began.elapsed(), made.map(|made| made.whole.records))
        })
    };
    let (tell, told) = tokio::sync::oneshot::channel();
    let ended = async {
        let ended = backup.await;
        let _ = tell.send(ended);
    };
    print("during a backup", &bays(&url, 200, ended).await?);
    let (took, records) = told.await??;
    let bytes = std::fs::metadata(&file)?.len();
    println!(
        "backup of {} records, {} MB, read back: {took:?}",
        records?,
        bytes / 1_000_000
    );
    stop.cancel();
    daemon.await??;
    Ok(())
}

/// Posts from all bays until something has happened; how long each post took.
async fn bays(
    url: &str,
    run: u8,
    until: impl Future<Output = ()>,
) -> Result<Vec<Duration>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let mut tasks = Vec::new();
    for bay in 0..BAYS {
        let mut intake = IntakeServiceClient::connect(url.to_owned()).await?;
        let stop = Arc::clone(&stop);
        tasks.push(tokio::spawn(async move {
            let device = format!("bay-{run}-{bay}");
            let mut took = Vec::new();
            let mut seq = 0;
            while !stop.load(Ordering::Relaxed) {
                seq += 1;
                let post = Some(post(&device, run + bay, seq));
                let began = Instant::now();
                intake.post(v1::PostRequest { post }).await?;
                took.push(began.elapsed());
            }
            Ok::<_, Failure>(took)
        }));
    }
    until.await;
    stop.store(true, Ordering::Relaxed);
    let mut took = Vec::new();
    for task in tasks {
        took.extend(task.await??);
    }
    Ok(took)
}

fn post(device: &str, run: u8, seq: u64) -> v1::Post {
    let fact = v1::Fact {
        bay: device.to_owned(),
        kind: Some(v1::fact::Kind::Noted(v1::Noted {
            text: "nose and both doors wiped down, left mirror was loose before".to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    let mut event_id = vec![run.saturating_add(1); 8];
    event_id.extend(seq.to_be_bytes());
    v1::Post {
        event_id,
        device_seq: seq,
        previous_device_seq: seq - 1,
        fact: fact.encode_to_vec(),
        device: device.to_owned(),
        ..v1::Post::default()
    }
}

fn print(name: &str, took: &[Duration]) {
    let mut took = took.to_vec();
    took.sort_unstable();
    let at = |per_mille: usize| {
        let last = took.len().saturating_sub(1);
        took.get(last * per_mille / 1000)
            .copied()
            .unwrap_or_default()
    };
    println!(
        "{name:18} {:6} posts  half {:?}  99 of 100 {:?}  longest {:?}",
        took.len(),
        at(500),
        at(990),
        at(1000)
    );
}
