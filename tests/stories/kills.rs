//! The daemon is killed at random moments while eight bays post, some posts one
//! by one and some in streams; some kills meet it while it starts or works its
//! facts out anew. Whatever was acknowledged is in the log once, and the facts
//! are what the log says. Terminals are killed as well (`kills/terminals.rs`).
//!
//! `BAYWRIGHT_KILLS` sets how often (default 8); `BAYWRIGHT_SEED` sets the
//! seed, which is printed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod bay;
mod terminals;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use baywright_tests::harness::{Daemon, Starting, daemon_command};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use tokio::sync::watch;

use crate::shop::records_at;
use bay::Bay;

const BAYS: u64 = 8;
/// One kill in so many meets a daemon that starts.
const AT_START_ONE_IN: u32 = 4;
/// One kill in so many is followed by a start without facts, which are then
/// worked out anew while bays post.
const REBUILD_ONE_IN: u32 = 12;
/// Only while the log is about this long: a daemon that is killed again before a
/// rebuild is done begins it anew each time, and a long one would never be done.
const REBUILD_RECEIPTS_MAX: u64 = 3_000;
/// A daemon that serves is killed within this.
const SERVING_US_MAX: u64 = 120_000;
/// Or after this many receipts of all bays.
const RECEIPTS_MAX: u64 = 200;
/// A machine that gives none in this time has other things to do.
const STARVED: Duration = Duration::from_secs(5);
/// A daemon that starts is killed within this: opening the log, the facts and
/// the sockets takes some tens of milliseconds.
const STARTING_US_MAX: u64 = 60_000;

fn from_environment(name: &str, default: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(default)
}

/// Lets a random moment go by. The moment of a kill is the point of these
/// stories; nothing waits on it.
async fn a_moment(rng: &mut ChaCha12Rng, us_max: u64) {
    let moment = Duration::from_micros(rng.random_range(500..us_max));
    tokio::time::timeout(moment, std::future::pending::<()>())
        .await
        .expect_err("a moment passes");
}

/// Lets so many more receipts come, or the time that a starved machine may take.
async fn receipts(rng: &mut ChaCha12Rng, got: &watch::Sender<u64>) {
    let mut seen = got.subscribe();
    let until = *seen.borrow() + rng.random_range(1..=RECEIPTS_MAX);
    let _ = tokio::time::timeout(STARVED, seen.wait_for(|got| *got >= until)).await;
}

/// What the kills met.
#[derive(Debug, Default)]
struct Met {
    serving: u64,
    starting: u64,
    rebuilds: u64,
}

/// Kills the daemon so often; the one that is left serves.
async fn killed(
    kills: u64,
    rng: &mut ChaCha12Rng,
    data: &Path,
    mut daemon: Daemon,
    announce: &watch::Sender<String>,
    got: &watch::Sender<u64>,
) -> (Daemon, Met) {
    let mut met = Met::default();
    while met.serving + met.starting < kills {
        // By the clock alone no bay would get on where the machine is busy.
        if rng.random_ratio(1, 2) {
            receipts(rng, got).await;
        } else {
            a_moment(rng, SERVING_US_MAX).await;
        }
        daemon.kill().expect("a kill");
        met.serving += 1;
        if *got.borrow() < REBUILD_RECEIPTS_MAX && rng.random_ratio(1, REBUILD_ONE_IN) {
            for file in ["facts.db", "facts.db-wal", "facts.db-shm"] {
                let _ = std::fs::remove_file(data.join(file));
            }
            met.rebuilds += 1;
        }
        while met.serving + met.starting < kills && rng.random_ratio(1, AT_START_ONE_IN) {
            let starting = Starting::start(crate::binary(), data).expect("a start");
            a_moment(rng, STARTING_US_MAX).await;
            starting.kill().expect("a kill");
            met.starting += 1;
        }
        daemon = Daemon::start(crate::binary(), data).expect("the daemon comes back by itself");
        announce.send_replace(daemon.address.clone());
    }
    (daemon, met)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_daemon_loses_no_acknowledged_event_and_doubles_none() {
    let kills = from_environment("BAYWRIGHT_KILLS", 8);
    let seed = from_environment("BAYWRIGHT_SEED", 20_261_125);
    println!("seed {seed}, {kills} kills, {BAYS} bays");
    let began = Instant::now();
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let home = tempfile::tempdir().expect("a temporary folder");
    let data = home.path().join("data");

    let daemon = Daemon::start(crate::binary(), &data).expect("a daemon");
    let (announce, address) = watch::channel(daemon.address.clone());
    let stop = Arc::new(AtomicBool::new(false));
    let got = Arc::new(watch::channel(0).0);
    let bays: Vec<_> = (1..=BAYS)
        .map(|number| {
            let bay = Bay::new(number, seed, Arc::clone(&got));
            tokio::spawn(bay.run(address.clone(), Arc::clone(&stop)))
        })
        .collect();
    let (daemon, met) = killed(kills, &mut rng, &data, daemon, &announce, &got).await;
    stop.store(true, Ordering::Relaxed);
    let mut receipts = BTreeMap::new();
    for bay in bays {
        receipts.extend(bay.await.expect("the bay ends").receipts);
    }
    let logged = records_at(&daemon.address).await;
    daemon.stop().expect("a clean stop");

    println!(
        "{} acknowledged, {} in the log; {} kills while serving, {} while starting, {} rebuilds; {} s",
        receipts.len(),
        logged.len(),
        met.serving,
        met.starting,
        met.rebuilds,
        began.elapsed().as_secs(),
    );
    assert!(
        receipts.len() as u64 > kills,
        "the bays were under way between kills"
    );
    let mut seen = BTreeMap::new();
    let mut last_of_device = BTreeMap::new();
    for (at, record) in logged.iter().enumerate() {
        let (seq, event_id) = (&record.seq, &record.event_id);
        assert_eq!(*seq, at as u64 + 1, "seqs have no gap");
        assert!(
            seen.insert(event_id.clone(), *seq).is_none(),
            "seq {seq} is there twice"
        );
        let last = last_of_device.insert(record.device.clone(), record.device_seq);
        assert!(
            last.unwrap_or(0) < record.device_seq,
            "seq {seq} is in the order of its bay"
        );
    }
    let lost = receipts
        .iter()
        .filter(|(event_id, seq)| seen.get(*event_id) != Some(*seq))
        .count();
    assert_eq!(lost, 0, "an acknowledged event is where its receipt said");
    whole(&data);
    println!("none lost, none doubled, the log and the facts are whole");
}

/// The log verifies, and a rebuild gives the same rows.
fn whole(data: &Path) {
    for command in [&["verify"][..], &["rebuild", "--check"]] {
        let output = daemon_command(crate::binary(), command, data).expect("the command runs");
        assert!(
            output.status.success(),
            "{command:?}: {}{}",
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr)
        );
    }
}
