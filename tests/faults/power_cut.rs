//! The power is cut under the daemon: what was flushed is there, the rest by
//! chance. Every receipt sent before the cut is in the log, once and where it
//! said; the chain holds; the facts are those of a rebuild; and posts sent
//! again get their first receipts.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use baywright_daemon::facts::{Facts, LogSources as _};
use baywright_daemon::journal::verify::verify;
use baywright_daemon::journal::{Journal, LogReader, LogReaders};
use baywright_proto::v1;
use baywright_tests::harness::{Daemon, daemon_command};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use crate::disk::{Disk, SURVIVES, places};
use crate::layer::Layer;
use crate::posting::{Bay, intake, post, post_many, records_at};
use crate::trace::{self, Event, promise};

/// Of so many cuts one goes through the real daemon; the others through its
/// library, which does the same and saves the start of a process.
const REAL_EVERY: usize = 13;

/// Receipts by event id, as text.
type Receipts = BTreeMap<String, u64>;

fn hex(id: &[u8]) -> String {
    use std::fmt::Write as _;
    id.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// What the daemon did, and everything that it was sent, in order.
struct Story {
    events: Vec<Event>,
    posts: Vec<v1::Post>,
}

/// A daemon at work on the layer: posts one by one and many at once, a stop, a
/// kill, facts that are built anew, a log that outgrows its checkpoint.
async fn work(seed: u64) -> Story {
    let layer = Layer::tracing();
    let data = layer.root();
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut bays: Vec<Bay> = (1..=3)
        .map(|n| Bay::new(&format!("bay-{n}"), ChaCha12Rng::seed_from_u64(seed + n)))
        .collect();
    let mut posts = Vec::new();
    for life in 0..4 {
        let daemon =
            Daemon::start_with(crate::binary(), &data, layer.environment()).expect("a daemon");
        let mut client = intake(&daemon.address).await;
        for _ in 0..16 {
            let at = rng.random_range(0..bays.len());
            let next: Vec<v1::Post> = (0..rng.random_range(1..8))
                .map(|_| bays[at].next())
                .collect();
            posts.extend(next.iter().cloned());
            let told = |receipt: &v1::Receipt| {
                promise(&layer.trace(), &hex(&receipt.event_id), receipt.seq);
            };
            if let [one] = next.as_slice() {
                told(&post(&mut client, one).await.expect("a receipt"));
            } else {
                post_many(&mut client, &next, told).await;
            }
        }
        drop(client);
        match life {
            0 => daemon.stop().expect("a clean stop"),
            // Its facts are gone, and made again at the next start.
            1 => {
                daemon.kill().expect("a kill");
                rebuilt(&layer);
            }
            _ => daemon.kill().expect("a kill"),
        }
    }
    let events = trace::read(&layer.trace(), &data);
    Story { events, posts }
}

/// Runs `baywrightd rebuild` on the layer.
fn rebuilt(layer: &Layer) {
    let done = std::process::Command::new(crate::binary())
        .args([baywright_tests::harness::AS_DAEMON, "rebuild", "--data"])
        .arg(layer.root())
        .envs(layer.environment())
        .output()
        .expect("rebuild runs");
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
}

/// Looks at what a cut left, as the daemon would at its start.
fn look(folder: &Path, promised: &Receipts) -> Result<(), String> {
    let said = |what: &str, error: &dyn std::error::Error| {
        let source = error.source().map(ToString::to_string).unwrap_or_default();
        format!("{what}: {error}: {source}")
    };
    let journal = Journal::open(folder).map_err(|e| said("the log", &e))?;
    let log = LogReader::open(folder).map_err(|e| said("the log", &e))?;
    let whole = verify(&log, |_, _| true).map_err(|e| said("the chain", &e))?;
    if whole.hash != journal.head().hash {
        return Err("the head is not the end of the chain".to_owned());
    }
    let mut held = Receipts::new();
    let mut after = 0;
    loop {
        let page = log
            .records_after(after, 1_000)
            .map_err(|e| said("the log", &e))?;
        let Some(last) = page.last() else { break };
        after = last.seq;
        for entry in page {
            if held.insert(hex(&entry.event_id), entry.seq).is_some() {
                return Err(format!("seq {} is there twice", entry.seq));
            }
        }
    }
    for (event, seq) in promised {
        if held.get(event) != Some(seq) {
            return Err(format!(
                "event {event} was acknowledged as seq {seq} and is {:?}",
                held.get(event)
            ));
        }
    }
    let readers = Arc::new(LogReaders::new(folder));
    let facts = readers
        .open()
        .map_err(|e| e.to_string())
        .and_then(|log| Facts::open(folder, log, &mut |_| {}).map_err(|e| said("the facts", &e)))?;
    let rebuilt = readers
        .open()
        .map_err(|e| e.to_string())
        .and_then(|log| Facts::in_memory_as_of(log, u64::MAX).map_err(|e| said("a rebuild", &e)))?;
    let hash = |facts: &Facts| facts.hash().map_err(|e| said("the hash", &e));
    if facts.cursor() != whole.seq || hash(&facts)? != hash(&rebuilt)? {
        return Err("the facts are not those of a rebuild".to_owned());
    }
    Ok(())
}

/// The same through the real daemon, to which everything is sent again.
async fn live_on(folder: &Path, promised: &Receipts, posts: &[v1::Post]) {
    let daemon = Daemon::start(crate::binary(), folder).expect("the daemon starts by itself");
    let mut client = intake(&daemon.address).await;
    for sent in posts {
        let receipt = post(&mut client, sent).await.expect("a receipt");
        if let Some(seq) = promised.get(&hex(&sent.event_id)) {
            assert_eq!(receipt.seq, *seq, "a first receipt");
            assert!(receipt.repeated, "it was there before");
        }
    }
    drop(client);
    let logged = records_at(&daemon.address).await;
    assert_eq!(logged.len(), posts.len(), "each post once");
    daemon.stop().expect("a clean stop");
    for command in [&["verify"][..], &["rebuild", "--check"]] {
        let done = daemon_command(crate::binary(), command, folder).expect("the command runs");
        let out = String::from_utf8_lossy(&done.stdout);
        assert!(done.status.success(), "{command:?}: {out}");
    }
    let trace = std::fs::read_to_string(folder.with_extension("stderr")).expect("a trace");
    assert!(!trace.contains("panicked"), "{trace}");
    let _ = std::fs::remove_file(folder.with_extension("stderr"));
}

/// Cuts the power at `wanted` places; the first thing that is wrong, and how many were looked at.
async fn cut(
    story: &Story,
    wanted: usize,
    rng: &mut ChaCha12Rng,
    real: bool,
) -> (usize, Option<String>) {
    let mut disk = Disk::default();
    let mut promised = Receipts::new();
    let mut done = 0;
    let places = places(&story.events, wanted, rng);
    for at in 0..=story.events.len() {
        if places.contains(&at) {
            let how = SURVIVES[done % SURVIVES.len()];
            let home = crate::folder();
            let folder = home.path().join("data");
            std::fs::create_dir(&folder).expect("a folder");
            disk.cut(how, rng, &folder);
            if let Err(wrong) = look(&folder, &promised) {
                return (done, Some(format!("cut at {at}, {how:?}: {wrong}")));
            }
            if real && done % REAL_EVERY == REAL_EVERY - 1 {
                live_on(&folder, &promised, &story.posts).await;
            }
            done += 1;
        }
        if let Some(event) = story.events.get(at) {
            disk.follow(event);
            if let Event::Promised { what, number } = event {
                promised.insert(what.clone(), *number);
            }
        }
    }
    (done, None)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_power_cut_takes_back_no_receipt() {
    let seed = crate::from_environment("BAYWRIGHT_SEED", 20_261_201);
    let cuts = usize::try_from(crate::from_environment("BAYWRIGHT_CUTS", 48)).expect("a number");
    let story = work(seed).await;
    println!(
        "seed {seed}: {} posts, {} calls to the disk, {cuts} cuts",
        story.posts.len(),
        story.events.len()
    );
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let (done, wrong) = cut(&story, cuts, &mut rng, true).await;
    assert_eq!(wrong, None, "after {done} cuts");
    assert!(done >= cuts.min(story.events.len()), "{done} cuts");
}

/// The test of the test: on a disk that forgets its flushes, cuts find losses.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_disk_that_forgets_its_flushes_is_found_out() {
    let seed = crate::from_environment("BAYWRIGHT_SEED", 20_261_201);
    let mut story = work(seed).await;
    story
        .events
        .retain(|event| !matches!(event, Event::Sync { .. }));
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let (_, wrong) = cut(&story, 48, &mut rng, false).await;
    println!("seed {seed}: found {wrong:?}");
    assert!(wrong.is_some(), "lost receipts went unnoticed");
}
