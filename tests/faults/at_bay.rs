//! The disk under `bay`: what it said is kept survives a power cut, what could
//! not be kept is said so, and neither is doubled.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use baywright_client::clock::MachineClocks;
use baywright_client::connect::Link;
use baywright_client::device::Device;
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_tests::harness::{AS_BAY, Daemon};
use prost::Message as _;
use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;

use crate::disk::{Disk, SURVIVES, places};
use crate::layer::Layer;
use crate::posting::records_at;
use crate::trace::{self, Event, promise};

/// Where nothing listens: port 1 of the loopback is reserved.
pub(crate) const NOWHERE: &str = "127.0.0.1:1";

/// How a command ended.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs `binary` as `bay` with its data in `data`.
pub(crate) fn bay(
    binary: &Path,
    data: &Path,
    server: &str,
    environment: Vec<(&'static str, OsString)>,
    words: &[&str],
) -> Said {
    let output = Command::new(binary)
        .arg(AS_BAY)
        .args(words)
        .env_clear()
        .envs(environment)
        .env("PATH", "/usr/bin:/bin")
        .env("HOME", data)
        .env("BAYWRIGHT_DATA", data)
        .env("BAYWRIGHT_SERVER", server)
        .env("BAYWRIGHT_BAY", "bay-1")
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output()
        .expect("bay runs");
    let said = Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    assert!(!said.err.contains("panicked"), "{said:?}");
    said
}

/// The text of a fact that is a note.
fn noted(fact: &[u8]) -> Option<String> {
    match v1::Fact::decode(fact).ok()?.kind? {
        Kind::Noted(noted) => Some(noted.text),
        _ => None,
    }
}

/// The notes that a spool still has, those that wait marked so.
fn notes_in(folder: &Path) -> BTreeSet<String> {
    let device = Device::open(folder, Arc::new(MachineClocks::default())).expect("a spool");
    let posts = device.spool().posts();
    posts
        .all()
        .iter()
        .filter_map(|entry| noted(&entry.fact))
        .collect()
}

/// The notes in the log of the daemon at an address, as often as they are there.
async fn notes_at(address: &str) -> Vec<String> {
    let records = records_at(address).await;
    records
        .iter()
        .filter_map(|record| noted(&record.fact))
        .collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_bay_said_is_kept_survives_a_power_cut() {
    let seed = crate::from_environment("BAYWRIGHT_SEED", 20_261_202);
    let cuts = usize::try_from(crate::from_environment("BAYWRIGHT_CUTS", 48)).expect("a number");
    let layer = Layer::tracing();
    let data = layer.root();
    let server = layer.beside("server");
    let mut count = 0;
    let mut note = |address: &str| {
        count += 1;
        let text = format!("note {count} {}", "x".repeat(700));
        let said = bay(
            crate::binary(),
            &data,
            address,
            layer.environment(),
            &["note", &text],
        );
        assert_eq!(said.code, 0, "{said:?}");
        promise(&layer.trace(), &text, 0);
    };
    for _ in 0..8 {
        note(NOWHERE);
    }
    let daemon = Daemon::start(crate::binary(), &server).expect("a daemon");
    for _ in 0..8 {
        note(&daemon.address);
    }
    daemon.stop().expect("a clean stop");
    for _ in 0..12 {
        note(NOWHERE);
    }

    let daemon = Daemon::start(crate::binary(), &server).expect("a daemon");
    let taken: BTreeSet<String> = notes_at(&daemon.address).await.into_iter().collect();
    assert_eq!(taken.len(), 16, "delivered while the daemon was there");
    let events = trace::read(&layer.trace(), &data);
    println!(
        "seed {seed}: {count} notes, {} calls to the disk",
        events.len()
    );
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let places = places(&events, cuts / SURVIVES.len(), &mut rng);
    let rounds = (cuts / (places.len() * SURVIVES.len())).max(1);
    let mut disk = Disk::default();
    let mut promised = BTreeSet::new();
    let mut done = 0;
    let mut sent = None;
    for at in 0..=events.len() {
        if places.contains(&at) {
            // A spool is few calls, so each place is cut in every way.
            for _ in 0..rounds {
                for how in SURVIVES {
                    done += 1;
                    let left = crate::folder();
                    disk.cut(how, &mut rng, left.path());
                    let found = notes_in(left.path());
                    let lost: Vec<_> = promised.difference(&found).collect();
                    assert!(lost.is_empty(), "cut at {at}, {how:?}: lost {lost:?}");
                    if at == events.len() {
                        sent = Some(left);
                    }
                }
            }
        }
        if let Some(event) = events.get(at) {
            disk.follow(event);
            if let Event::Promised { what, .. } = event {
                promised.insert(what.clone());
            }
        }
    }
    // What the last cut left goes out: everything is there, each once.
    let left = sent.expect("a cut at the end");
    let mut device =
        Device::open(left.path(), Arc::new(MachineClocks::default())).expect("a spool");
    let mut link = Link::new(daemon.address.parse().expect("an address"));
    device.deliver(&mut link).await.expect("a delivery");
    drop(link);
    let notes = notes_at(&daemon.address).await;
    assert_eq!(notes.len(), count, "each once");
    assert_eq!(notes.into_iter().collect::<BTreeSet<_>>(), promised);
    daemon.stop().expect("a clean stop");
    println!("{done} cuts at {} places", places.len());
    assert!(done >= cuts / 2, "{done} cuts");
}

/// What fails under `bay`, and how many notes to try: the spool has room for
/// some before it grows.
const FAILURES: [(&[&str], usize); 11] = [
    (&["grow * 0 -1 ENOSPC"], 40),
    (&["create * 0 -1 ENOSPC"], 1),
    (&["create * 0 -1 ENOSPC", "grow * 0 -1 ENOSPC"], 40),
    (&["write * 0 -1 EIO"], 1),
    (&["write * 1 1 EIO"], 1),
    (&["write spool 0 1 SHORT", "write * 0 -1 ENOSPC"], 1),
    (&["write spool 0 1 SHORT"], 1),
    (&["sync * 0 -1 EIO"], 1),
    (&["sync spool 0 1 EIO"], 1),
    (&["rename * 0 -1 EIO"], 1),
    (&["open spool 0 -1 EIO"], 1),
];

/// A bay on a failing disk, with what it was told is kept.
struct Trial {
    layer: Layer,
    kept: BTreeSet<String>,
    refused: usize,
    number: usize,
}

impl Trial {
    /// Says one note; whether it was kept. Nothing else may be said of it.
    fn note(&mut self, data: &Path, server: &str) -> bool {
        self.number += 1;
        let text = format!("note {} {}", self.number, "x".repeat(800));
        let environment = self.layer.environment();
        let said = bay(crate::binary(), data, server, environment, &["note", &text]);
        if said.code == 0 {
            assert!(
                server != NOWHERE || said.out.contains("Kept on this bay"),
                "{said:?}"
            );
            self.kept.insert(text);
        } else {
            self.refused += 1;
            assert!(said.err.contains("could NOT be kept"), "{said:?}");
            assert!(!said.out.contains("Kept on this bay"), "{said:?}");
        }
        said.code == 0
    }

    /// Says notes while calls fail: `most`, or until one is not kept.
    fn notes_under(&mut self, rules: &[&str], most: usize, data: &Path, server: &str) -> usize {
        self.layer.fail(rules);
        for _ in 0..most {
            if !self.note(data, server) {
                break;
            }
        }
        self.layer.heal()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_fact_that_could_not_be_kept_is_said_so_and_one_that_was_arrives_once() {
    let mut trial = Trial {
        layer: Layer::failing(),
        kept: BTreeSet::new(),
        refused: 0,
        number: 0,
    };
    let server = trial.layer.beside("server");
    let daemon = Daemon::start(crate::binary(), &server).expect("a daemon");
    std::fs::create_dir(trial.layer.root()).expect("a folder");
    for (at, (rules, most)) in FAILURES.into_iter().enumerate() {
        println!("{rules:?}");
        // First on a bay whose folder is not there yet.
        let data = trial.layer.root().join(format!("bay-{at}"));
        let mut met = trial.notes_under(rules, 1, &data, NOWHERE);
        for address in [NOWHERE, &daemon.address] {
            assert!(trial.note(&data, NOWHERE), "the disk is well");
            met += trial.notes_under(rules, most, &data, address);
            assert!(trial.note(&data, &daemon.address), "the disk is well");
        }
        assert!(met > 0, "{rules:?} was not met");
        let environment = trial.layer.environment();
        let words = ["spool", "send"];
        let sent = bay(crate::binary(), &data, &daemon.address, environment, &words);
        assert_eq!(sent.code, 0, "{sent:?}");
    }
    let notes = notes_at(&daemon.address).await;
    println!(
        "{} kept, {} not, {} in the log",
        trial.kept.len(),
        trial.refused,
        notes.len()
    );
    let found: BTreeSet<String> = notes.iter().cloned().collect();
    assert_eq!(found.len(), notes.len(), "none twice");
    let short = |text: &String| text.trim_end_matches('x').to_owned();
    let lost: Vec<_> = trial.kept.difference(&found).map(short).collect();
    assert!(lost.is_empty(), "lost: {lost:?}");
    let unasked: Vec<_> = found.difference(&trial.kept).map(short).collect();
    assert!(unasked.is_empty(), "said NOT kept, and there: {unasked:?}");
    assert!(trial.refused >= FAILURES.len(), "the failures were felt");
    daemon.stop().expect("a clean stop");
}
