//! The files of a bay: its spool, damaged in any way, and its caches.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use baywright_client::cache::Cache;
use baywright_client::spool::{Entry, Holds, NewPost, Spool, Standing, Taken};
use baywright_proto::catalogue::to_wire;
use baywright_proto::v1;
use baywright_terms::catalogue::file::write;
use prost::Message as _;

use crate::Target;
use crate::food::{Food, NOW};
use crate::{made, scratch};

pub const DAMAGE: Target = Target {
    name: "spool-damage",
    run: damage,
    words: &[
        "bwf1",
        "\u{1}\u{10}\0\0\0",
        "\0\0\0\0",
        "\u{ff}\u{ff}\u{ff}\u{ff}",
    ],
    slower: 60,
    bytes_max: 1_024,
};

pub const ANY_FILE: Target = Target {
    name: "spool-file",
    run: any_file,
    words: &[
        "bwf1",
        "baywright spool, format 1\n",
        "baywright spool, format 2\n",
        "\u{1}",
        "\0\0\0\0",
        "\n",
    ],
    slower: 40,
    bytes_max: 32 * 1024,
};

pub const CACHE: Target = Target {
    name: "cache",
    run: cache,
    words: &["\u{8}\u{1}\u{12}", "\n", "bay-1", "\u{1a}"],
    slower: 20,
    bytes_max: 16 * 1024,
};

/// Facts in a spool of one input.
const POSTS_MAX: usize = 8;

fn in_folder(check: impl FnOnce(&Path)) {
    if let Ok(folder) = scratch::fresh() {
        check(&folder);
        scratch::gone(&folder);
    }
}

fn damage(data: &[u8]) {
    in_folder(|folder| {
        let mut food = Food::new(data);
        let Some(written) = filled(folder, &mut food) else {
            return;
        };
        let path = folder.join("spool");
        let Ok(whole) = fs::read(&path) else { return };
        let (damaged, first) = damaged(&whole, &mut food);
        if fs::write(&path, &damaged).is_err() {
            return;
        }
        check_salvaged(folder, &written, &whole, first, damaged == whole);
    });
}

/// A spool with some posts in it, and what was written, by event id.
fn filled(folder: &Path, food: &mut Food<'_>) -> Option<BTreeMap<[u8; 16], Entry>> {
    let mut spool = Spool::open(folder, "bay-1").ok()?;
    let count = 1 + food.below(POSTS_MAX);
    for number in 0..count {
        let mut event_id = [9_u8; 16];
        event_id[15] = u8::try_from(number).unwrap_or(0);
        let posted = spool.post(NewPost {
            event_id,
            fact: made::fact(food).encode_to_vec(),
            created_us: food.number(),
            anyway: food.flag(),
            handle: food.text(&["", "b1-1", "b1-9"]),
        });
        assert!(posted.is_ok(), "{posted:?}");
        let seq = u64::from(food.byte());
        let done = match food.byte() % 8 {
            0 | 1 => spool.acknowledge(&[Taken {
                event_id,
                device_seq: seq,
                seq,
                job_number: 1,
                occurred_us: NOW.0,
                received_us: NOW.0,
            }]),
            2 => spool.withdraw(&event_id, "WHY", "because"),
            3 => spool.set_aside(&event_id, "WHY", "because", NOW.0),
            4 => {
                let holds = Holds {
                    device_seq: seq,
                    log: food.flag().then_some(([3; 16], 1)),
                    backed_up_device_seq: food.flag().then_some(seq / 2),
                    asked_us: food.flag().then_some(NOW.0),
                };
                spool.in_step(&holds, food.flag().then_some(seq / 3))
            }
            5 => spool.renumber_above(seq),
            _ => Ok(()),
        };
        assert!(done.is_ok(), "{done:?}");
    }
    let all = spool.posts().all();
    Some(
        all.iter()
            .map(|entry| (entry.event_id, entry.clone()))
            .collect(),
    )
}

/// The file with some damage, and where the first of it is.
fn damaged(whole: &[u8], food: &mut Food<'_>) -> (Vec<u8>, usize) {
    let mut bytes = whole.to_vec();
    // Past the last frame there is nothing to damage but zeros.
    let used = whole.iter().rposition(|b| *b != 0).map_or(0, |at| at + 1);
    let mut first = whole.len();
    for _ in 0..food.below(4) {
        let place = usize::from(food.byte()) * 256 + usize::from(food.byte());
        let at = place % (used + 64).min(bytes.len()).max(1);
        first = first.min(at);
        match food.byte() % 6 {
            0 | 1 => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte ^= 1 << (food.byte() % 8);
                }
            }
            2 => bytes.truncate(at),
            3 => {
                // A torn write: what follows never reached the disk.
                for byte in bytes.iter_mut().skip(at) {
                    *byte = 0;
                }
            }
            4 => {
                let length = food.below(64);
                let piece = food.bytes(length).to_vec();
                for (to, from) in bytes.iter_mut().skip(at).zip(&piece) {
                    *to = *from;
                }
            }
            _ => {
                // A piece of the same file at another place.
                let from = usize::from(food.byte()) % used.max(1);
                let length = food.below(200).min(bytes.len() - from.min(bytes.len()));
                let piece = bytes.get(from..from + length).unwrap_or_default().to_vec();
                for (to, from) in bytes.iter_mut().skip(at).zip(&piece) {
                    *to = *from;
                }
            }
        }
    }
    (bytes, first)
}

/// Opened after any damage, a spool has no fact that was not written and every
/// one that lies whole before the damage; and it can be written to again.
fn check_salvaged(
    folder: &Path,
    written: &BTreeMap<[u8; 16], Entry>,
    whole: &[u8],
    first: usize,
    unharmed: bool,
) {
    let mut spool = match Spool::open(folder, "bay-1") {
        Ok(spool) => spool,
        Err(error) => {
            // Nothing can be found in it: only where nothing was left to find.
            assert!(!unharmed, "an unharmed spool does not open: {error}");
            assert!(error.hint().is_some(), "no word on how to mend it: {error}");
            let intact = written
                .values()
                .filter(|entry| ends_before(whole, entry, first));
            assert_eq!(
                intact.count(),
                0,
                "whole facts in a spool that does not open"
            );
            return;
        }
    };
    for entry in spool.posts().all() {
        let original = written.get(&entry.event_id);
        assert!(original.is_some(), "a fact that nobody wrote: {entry:?}");
        if let Some(original) = original {
            assert_eq!(entry.fact, original.fact, "a fact was changed");
            assert_eq!(entry.created_us, original.created_us);
        }
    }
    for entry in written
        .values()
        .filter(|entry| ends_before(whole, entry, first))
    {
        assert!(
            spool.posts().get(&entry.event_id).is_some(),
            "lost: {entry:?}"
        );
    }
    if unharmed {
        let same = spool
            .posts()
            .all()
            .iter()
            .all(|entry| written.get(&entry.event_id) == Some(entry));
        assert!(
            same && spool.posts().all().len() == written.len(),
            "read differently"
        );
        assert_eq!(spool.found().torn_bytes, 0);
    }
    let posted = spool.post(NewPost {
        event_id: [0xee; 16],
        fact: vec![1, 2, 3],
        created_us: 1,
        anyway: false,
        handle: String::new(),
    });
    assert!(posted.is_ok(), "{posted:?}");
    let before: Vec<Entry> = spool.posts().all().to_vec();
    drop(spool);
    let again = Spool::open(folder, "bay-1");
    assert!(
        again
            .as_ref()
            .is_ok_and(|again| again.posts().all() == before),
        "{again:?}"
    );
}

/// Whether the frame that carries a fact ends before an offset of the file.
/// Its fact stands in the file as it is; with other bytes around it, 40 at most.
fn ends_before(whole: &[u8], entry: &Entry, offset: usize) -> bool {
    let fact = entry.fact.as_slice();
    let id = entry.event_id.as_slice();
    let found = whole.windows(id.len()).position(|window| window == id);
    found.is_some_and(|at| at + id.len() + fact.len() + entry.handle.len() + 40 <= offset)
}

fn any_file(data: &[u8]) {
    in_folder(|folder| {
        if fs::write(folder.join("spool"), data).is_err() {
            return;
        }
        match Spool::open(folder, "bay-1") {
            Err(error) => assert!(error.hint().is_some(), "{error}"),
            Ok(mut spool) => {
                let waiting = spool.posts().waiting().len();
                assert!(
                    waiting * 16 <= data.len(),
                    "{waiting} facts in {} bytes",
                    data.len()
                );
                let all = spool.posts().all().len();
                let posted = spool.post(NewPost {
                    event_id: [0xee; 16],
                    fact: vec![1, 2, 3],
                    created_us: 1,
                    anyway: false,
                    handle: String::new(),
                });
                let known = spool.posts().all().len();
                assert!(posted.is_ok_and(|p| p.standing == Standing::Waiting) && known >= all);
                let before: Vec<Entry> = spool.posts().all().to_vec();
                drop(spool);
                let again = Spool::open(folder, "bay-1");
                assert!(again.is_ok_and(|again| again.posts().all() == before));
            }
        }
    });
}

fn cache(data: &[u8]) {
    in_folder(|folder| {
        for name in ["catalogue", "now"] {
            if fs::write(folder.join(name), data).is_err() {
                return;
            }
        }
        let cache = Cache::at(folder);
        if let Some(now) = cache.now() {
            assert!(cache.keep_now(&now).is_ok());
            assert!(cache.now().as_ref() == Some(&now), "the floor changed");
        }
        let Some(held) = cache.held() else { return };
        let _ = write(&held.catalogue);
        let answer = v1::GetCatalogueResponse {
            revision: held.revision,
            catalogue: Some(to_wire(&held.catalogue)),
        };
        assert!(cache.keep_catalogue(&answer).is_ok());
        let again = Cache::at(folder).held();
        assert!(again.is_some_and(|again| again.catalogue == held.catalogue));
    });
}
