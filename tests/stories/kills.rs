//! The daemon is killed at random moments while four bays post. Whatever was
//! acknowledged is in the log once, and the facts are what the log says.
//!
//! `BAYWRIGHT_KILLS` sets how often (default 8); `BAYWRIGHT_SEED` sets the
//! seed, which is printed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use baywright_tests::harness::{Daemon, daemon_command};
use prost::Message as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use tokio::sync::watch;

use crate::shop::records_at;

const BAYS: usize = 4;
/// A bay gives up when the daemon has not come back for this long.
const PATIENCE: Duration = Duration::from_mins(1);

fn from_environment(name: &str, default: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(default)
}

/// One bay: posts without end, each post again until it is acknowledged.
struct Bay {
    device: String,
    rng: ChaCha12Rng,
    device_seq: u64,
    acknowledged_seq: u64,
    /// Event id to seq.
    receipts: BTreeMap<Vec<u8>, u64>,
}

impl Bay {
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

    async fn run(mut self, mut address: watch::Receiver<String>, stop: Arc<AtomicBool>) -> Self {
        let mut boot_us = 1_000_000;
        while !stop.load(Ordering::Relaxed) {
            boot_us += 1_000;
            let wall_us =
                jiff::Timestamp::UNIX_EPOCH.as_microsecond() + 1_700_000_000_000_000 + boot_us;
            let clocks = v1::Clocks {
                wall_us,
                boot_id: format!("boot-{}", self.device),
                boot_us,
            };
            let fact = self.fact(&clocks);
            self.device_seq += 1;
            let post = v1::Post {
                event_id: uuid::Builder::from_unix_timestamp_millis(
                    1_700_000_000_000 + self.device_seq,
                    &self.rng.random(),
                )
                .into_uuid()
                .into_bytes()
                .to_vec(),
                device_seq: self.device_seq,
                previous_device_seq: self.acknowledged_seq,
                fact: fact.encode_to_vec(),
                delivery_clocks: Some(clocks),
                waiting: false,
                anyway: false,
                device: self.device.clone(),
                ..v1::Post::default()
            };
            let seq = self.until_acknowledged(&post, &mut address).await;
            self.acknowledged_seq = self.device_seq;
            self.receipts.insert(post.event_id, seq);
        }
        self
    }

    /// Sends one post until its receipt comes back, over any number of daemons.
    async fn until_acknowledged(
        &self,
        post: &v1::Post,
        address: &mut watch::Receiver<String>,
    ) -> u64 {
        let attempt = async {
            loop {
                let at = format!("http://{}", address.borrow_and_update().clone());
                if let Ok(mut client) = IntakeServiceClient::connect(at).await {
                    loop {
                        let request = v1::PostRequest {
                            post: Some(post.clone()),
                        };
                        match client.post(request).await {
                            Ok(answer) => {
                                return answer.into_inner().receipt.expect("a receipt").seq;
                            }
                            Err(status) if status.code() == tonic::Code::ResourceExhausted => {}
                            Err(status) if is_transport(&status) => break,
                            Err(status) => {
                                panic!("{}: a post was refused: {status:?}", self.device)
                            }
                        }
                    }
                }
                // The next daemon announces its address.
                address.changed().await.expect("the story goes on");
            }
        };
        tokio::time::timeout(PATIENCE, attempt)
            .await
            .expect("the daemon came back")
    }
}

fn is_transport(status: &tonic::Status) -> bool {
    matches!(
        status.code(),
        tonic::Code::Unavailable
            | tonic::Code::Unknown
            | tonic::Code::Internal
            | tonic::Code::Cancelled
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_daemon_loses_no_acknowledged_event_and_doubles_none() {
    let kills = from_environment("BAYWRIGHT_KILLS", 8);
    let seed = from_environment("BAYWRIGHT_SEED", 20_261_125);
    println!("seed {seed}, {kills} kills, {BAYS} bays");
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let home = tempfile::tempdir().expect("a temporary folder");
    let data = home.path().join("data");

    let mut daemon = Daemon::start(crate::binary(), &data).expect("a daemon");
    let (announce, address) = watch::channel(daemon.address.clone());
    let stop = Arc::new(AtomicBool::new(false));
    let bays: Vec<_> = (1..=BAYS)
        .map(|n| {
            let bay = Bay {
                device: format!("bay-{n}"),
                rng: ChaCha12Rng::seed_from_u64(seed.wrapping_add(n as u64)),
                device_seq: 0,
                acknowledged_seq: 0,
                receipts: BTreeMap::new(),
            };
            tokio::spawn(bay.run(address.clone(), Arc::clone(&stop)))
        })
        .collect();
    for _ in 0..kills {
        // The moment of the kill is the point of the story; nothing waits on it.
        let moment = Duration::from_micros(rng.random_range(500..120_000));
        tokio::time::timeout(moment, std::future::pending::<()>())
            .await
            .expect_err("a moment passes");
        daemon.kill().expect("a kill");
        daemon = Daemon::start(crate::binary(), &data).expect("the daemon comes back by itself");
        announce.send_replace(daemon.address.clone());
    }
    stop.store(true, Ordering::Relaxed);
    let mut receipts = BTreeMap::new();
    for bay in bays {
        receipts.extend(bay.await.expect("the bay ends").receipts);
    }
    let logged = records_at(&daemon.address).await;
    daemon.stop().expect("a clean stop");

    println!(
        "{} acknowledged, {} in the log",
        receipts.len(),
        logged.len()
    );
    assert!(
        receipts.len() as u64 > kills,
        "the bays were under way between kills"
    );
    let mut seen = BTreeMap::new();
    for (at, record) in logged.iter().enumerate() {
        let (seq, event_id) = (&record.seq, &record.event_id);
        assert_eq!(*seq, at as u64 + 1, "seqs have no gap");
        assert!(
            seen.insert(event_id.clone(), *seq).is_none(),
            "seq {seq} is there twice"
        );
    }
    for (event_id, seq) in &receipts {
        assert_eq!(
            seen.get(event_id),
            Some(seq),
            "an acknowledged event is where its receipt said"
        );
    }
    let verify = daemon_command(crate::binary(), &["verify"], &data).expect("verify runs");
    assert!(
        verify.status.success(),
        "{}",
        String::from_utf8_lossy(&verify.stderr)
    );
    let rebuild =
        daemon_command(crate::binary(), &["rebuild", "--check"], &data).expect("rebuild runs");
    assert!(
        rebuild.status.success(),
        "rebuild gives other rows: {}",
        String::from_utf8_lossy(&rebuild.stderr)
    );
}
