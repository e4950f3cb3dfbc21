//! What a crash, a second terminal and a full file may do to the spool: nothing.

use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::{FileExt as _, PermissionsExt as _};
use std::path::Path;

use proptest::prelude::*;
use tempfile::TempDir;

use super::*;

fn new_post(number: u8) -> NewPost {
    let mut event_id = [0; 16];
    event_id[15] = number;
    event_id[0] = 1;
    NewPost {
        event_id,
        fact: vec![number; 20 + usize::from(number % 7)],
        created_us: i64::from(number),
        anyway: false,
        handle: String::new(),
    }
}

fn open(folder: &TempDir) -> Spool {
    Spool::open(folder.path(), "bay-2").unwrap()
}

fn with_posts(count: u8) -> (TempDir, Vec<Entry>) {
    let folder = TempDir::new().unwrap();
    let mut spool = open(&folder);
    let entries = (1..=count).map(|n| spool.post(new_post(n)).unwrap());
    let entries = entries.collect();
    (folder, entries)
}

fn file(folder: &TempDir) -> PathBuf {
    folder.path().join("spool")
}

fn taken(entry: &Entry, seq: u64) -> Taken {
    Taken {
        event_id: entry.event_id,
        device_seq: entry.device_seq,
        seq,
        job_number: 118,
        occurred_us: 7,
        received_us: 8,
    }
}

#[test]
fn a_post_that_returned_is_there_when_the_spool_is_opened_again() {
    let (folder, entries) = with_posts(5);
    let spool = open(&folder);
    assert_eq!(spool.posts().all(), entries);
    assert_eq!(spool.found(), &Found::default());
    let numbers: Vec<u64> = entries.iter().map(|e| e.device_seq).collect();
    assert_eq!(numbers, [1, 2, 3, 4, 5]);
}

#[test]
fn the_spool_is_for_its_user_alone_and_says_so() {
    let (folder, _) = with_posts(1);
    let inner = folder.path().join("bay");
    drop(Spool::open(&inner, "x").unwrap());
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&inner), 0o700);
    assert_eq!(mode(&inner.join("spool")), 0o600);
    assert_eq!(mode(&inner.join("device")), 0o600);
    let bytes = fs::read(inner.join("spool")).unwrap();
    let header = String::from_utf8(bytes[..256].to_vec()).unwrap();
    insta::assert_snapshot!(header.trim_end(), @r"
    baywright spool, format 1
    What this bay posts, until and for a while after the daemon has it.
    Not encrypted: plain for the user who owns this file (mode 0600), and for him alone.
    Read it with `bay spool list`; do not edit it.
    ");
}

#[test]
fn a_write_torn_at_any_byte_is_cut_and_costs_no_earlier_post() {
    let (folder, entries) = with_posts(3);
    let whole = fs::read(file(&folder)).unwrap();
    let end = usize::try_from(open(&folder).file.used_bytes()).unwrap();
    let start = {
        let mut at = 256;
        for _ in 0..2 {
            let offset = u64::try_from(at).unwrap();
            at += Frame::decode(&whole[at..], offset).unwrap().1;
        }
        at
    };
    for cut in start..end {
        // The write stopped here: what follows is still zero, or old rubbish.
        for rubbish in [0_u8, 0xa5] {
            let mut torn = whole.clone();
            torn[cut..end].fill(rubbish);
            fs::write(file(&folder), &torn).unwrap();
            let mut spool = open(&folder);
            assert_eq!(spool.posts().all(), &entries[..2], "cut at {cut}");
            let is_torn = torn[start..end].iter().any(|b| *b != 0);
            assert_eq!(spool.found().torn_bytes > 0, is_torn, "cut at {cut}");
            assert_eq!(spool.found().damaged_copy, None);
            let again = spool.post(new_post(9)).unwrap();
            assert_eq!(again.device_seq, 3);
            assert_eq!(open(&folder).posts().all().len(), 3, "cut at {cut}");
        }
        // A file that ends here, as after a lost preallocation.
        fs::write(file(&folder), &whole[..cut]).unwrap();
        let mut spool = open(&folder);
        assert_eq!(spool.posts().all(), &entries[..2], "ended at {cut}");
        spool.post(new_post(9)).unwrap();
        assert_eq!(open(&folder).posts().all().len(), 3, "ended at {cut}");
    }
}

#[test]
fn a_byte_that_rots_costs_at_most_its_own_frame_and_a_copy_is_kept() {
    let (folder, entries) = with_posts(4);
    let whole = fs::read(file(&folder)).unwrap();
    let second = 256 + Frame::decode(&whole[256..], 256).unwrap().1;
    let length = {
        let offset = u64::try_from(second).unwrap();
        Frame::decode(&whole[second..], offset).unwrap().1
    };
    for at in second..second + length {
        let folder = TempDir::new().unwrap();
        drop(open(&folder));
        let mut rotten = whole.clone();
        rotten[at] ^= 0x10;
        fs::write(file(&folder), &rotten).unwrap();
        let mut spool = open(&folder);
        let kept: Vec<&Entry> = spool.posts().all().iter().collect();
        assert_eq!(kept, [&entries[0], &entries[2], &entries[3]], "at {at}");
        let copy = spool.found().damaged_copy.clone().unwrap();
        assert_eq!(fs::read(copy).unwrap(), rotten);
        assert_eq!(spool.post(new_post(9)).unwrap().device_seq, 5);
        assert_eq!(open(&folder).found(), &Found::default());
    }
}

#[test]
fn two_terminals_at_once_never_give_a_number_twice() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let made: Vec<Entry> = std::thread::scope(|scope| {
        let terminals: Vec<_> = (0..4_u8)
            .map(|terminal| {
                scope.spawn(move || {
                    let mut spool = Spool::open(path, "bay").unwrap();
                    let posts = (1..=20).map(|n| spool.post(new_post(terminal * 50 + n)).unwrap());
                    posts.collect::<Vec<_>>()
                })
            })
            .collect();
        terminals
            .into_iter()
            .flat_map(|t| t.join().unwrap())
            .collect()
    });
    let numbers: BTreeSet<u64> = made.iter().map(|e| e.device_seq).collect();
    assert_eq!(numbers, (1..=80).collect());
    let spool = open(&folder);
    assert_eq!(spool.posts().all().len(), 80);
    let names: BTreeSet<String> = (0..3).map(|_| open(&folder).device().to_owned()).collect();
    assert_eq!(names.len(), 1);
}

#[test]
fn compaction_keeps_what_waits_and_every_counter() {
    let (folder, entries) = with_posts(10);
    let mut spool = open(&folder);
    let done: Vec<Taken> = entries[..6]
        .iter()
        .map(|e| taken(e, e.device_seq + 40))
        .collect();
    spool.acknowledge(&done).unwrap();
    spool
        .set_aside(&entries[6].event_id, "UNREADABLE", "why", 1)
        .unwrap();
    spool
        .withdraw(&entries[7].event_id, "UNKNOWN_CODE", "no")
        .unwrap();
    let frames = spool.posts().compacted(2 * 150);
    spool.compact(&frames).unwrap();
    // Another terminal, and this one, see the same.
    for spool in [&spool, &open(&folder)] {
        let posts = spool.posts();
        let kept: Vec<u64> = posts.all().iter().map(|e| e.device_seq).collect();
        assert_eq!(kept, [6, 7, 8, 9, 10]);
        assert_eq!(posts.waiting().len(), 2);
        assert_eq!(posts.set_aside().count(), 1);
        assert_eq!((posts.held_device_seq, posts.last_device_seq), (6, 10));
        assert_eq!(posts.dropped_device_seq, 5);
    }
    assert_eq!(open(&folder).post(new_post(99)).unwrap().device_seq, 11);
}

#[test]
fn a_crash_during_compaction_leaves_the_old_file_or_the_new_one() {
    let (folder, entries) = with_posts(3);
    // The new file was written in part, and never renamed.
    let part = fs::read(file(&folder)).unwrap();
    fs::write(folder.path().join("spool.new"), &part[..300]).unwrap();
    let mut spool = open(&folder);
    assert_eq!(spool.posts().all(), entries);
    let frames = spool.posts().compacted(0);
    spool.compact(&frames).unwrap();
    assert_eq!(open(&folder).posts().all(), entries);
    assert!(!folder.path().join("spool.new").exists());
}

#[test]
fn a_terminal_that_was_open_during_compaction_goes_on_with_the_new_file() {
    let (folder, _) = with_posts(3);
    let mut first = open(&folder);
    let mut second = open(&folder);
    let frames = first.posts().compacted(0);
    first.compact(&frames).unwrap();
    assert_eq!(second.post(new_post(8)).unwrap().device_seq, 4);
    first.refresh().unwrap();
    assert_eq!(first.posts().all().len(), 4);
}

#[test]
fn a_full_file_is_compacted_by_itself_and_stays_below_its_limit() {
    let folder = TempDir::new().unwrap();
    let mut spool = open(&folder);
    let large = vec![7; 6_000];
    for number in 1..=200 {
        let mut post = new_post(number);
        post.fact.clone_from(&large);
        let entry = spool.post(post).unwrap();
        spool
            .acknowledge(&[taken(&entry, u64::from(number))])
            .unwrap();
        assert!(spool.file.used_bytes() <= SPOOL_BYTES_MAX + 7_000);
    }
    let posts = spool.posts();
    assert_eq!((posts.held_device_seq, posts.last_device_seq), (200, 200));
    let kept = posts.all().len();
    assert!(
        (15..=45).contains(&kept),
        "recent ones stay for a restore: {kept}"
    );
}

/// The seqs that are kept after so many acknowledged posts of a backup up to
/// `backed_up`, each large.
fn kept_of(count: u64, backed_up: u64) -> (Vec<u64>, u64, u64) {
    let folder = TempDir::new().unwrap();
    let mut spool = open(&folder);
    let holds = Holds {
        backed_up_device_seq: Some(backed_up),
        ..Holds::only(0)
    };
    spool.in_step(&holds, None).unwrap();
    for number in 1..=count {
        let mut post = new_post(1);
        post.event_id[8..].copy_from_slice(&number.to_be_bytes());
        post.fact = vec![7; 6_000];
        let entry = spool.post(post).unwrap();
        spool.acknowledge(&[taken(&entry, number)]).unwrap();
    }
    let posts = spool.posts();
    let kept = posts.all().iter().map(|e| e.device_seq).collect();
    assert_eq!(open(&folder).posts().backed_up_device_seq, backed_up);
    (kept, posts.dropped_device_seq, spool.file.used_bytes())
}

#[test]
fn what_is_in_no_backup_is_kept_for_longer_and_what_is_in_one_is_not() {
    // 60 posts since the backup are more than is kept of finished ones.
    let (kept, dropped, _) = kept_of(100, 40);
    assert!((41..=100).all(|number| kept.contains(&number)), "{kept:?}");
    assert!(dropped < 41, "{dropped}");
    let (kept, dropped, used_bytes) = kept_of(100, 99);
    assert!(kept.len() < 50 && dropped > 50, "{kept:?}");
    assert!(used_bytes <= SPOOL_BYTES_MAX + 7_000, "{used_bytes}");
}

#[test]
fn a_long_time_without_a_backup_does_not_fill_the_disk() {
    let (kept, dropped, used_bytes) = kept_of(400, 1);
    assert!(used_bytes < 900_000, "{used_bytes}");
    assert!(kept.len() > 80, "{}", kept.len());
    assert!(kept.is_sorted() && kept.last() == Some(&400));
    assert!(kept[0] <= dropped + 1, "no gap that nobody knows of");
}

#[test]
fn what_waits_is_never_dropped_however_large_the_file_becomes() {
    let folder = TempDir::new().unwrap();
    let mut spool = open(&folder);
    for number in 1..=80 {
        let mut post = new_post(number);
        post.fact = vec![7; 6_000];
        spool.post(post).unwrap();
    }
    assert!(spool.file.used_bytes() > SPOOL_BYTES_MAX);
    assert_eq!(open(&folder).posts().waiting().len(), 80);
}

#[test]
fn a_restored_daemon_gets_what_it_lost() {
    let (folder, entries) = with_posts(5);
    let mut spool = open(&folder);
    let all: Vec<Taken> = entries.iter().map(|e| taken(e, e.device_seq)).collect();
    spool.acknowledge(&all).unwrap();
    assert!(spool.posts().waiting().is_empty());
    let holds = Holds {
        log: Some(([7; 16], 2)),
        ..Holds::only(3)
    };
    spool.in_step(&holds, Some(3)).unwrap();
    let spool = open(&folder);
    let waiting: Vec<u64> = spool
        .posts()
        .waiting()
        .iter()
        .map(|e| e.device_seq)
        .collect();
    assert_eq!(waiting, [4, 5]);
    assert_eq!(spool.posts().held_device_seq, 3);
    assert_eq!(spool.posts().log_id, Some([7; 16]));
}

#[test]
fn posts_whose_numbers_are_taken_get_new_ones_in_their_order() {
    let (folder, entries) = with_posts(3);
    let mut spool = open(&folder);
    spool.acknowledge(&[taken(&entries[0], 1)]).unwrap();
    spool.renumber_above(40).unwrap();
    let spool = open(&folder);
    let waiting: Vec<(u64, EventId)> = spool
        .posts()
        .waiting()
        .iter()
        .map(|e| (e.device_seq, e.event_id))
        .collect();
    assert_eq!(
        waiting,
        [(41, entries[1].event_id), (42, entries[2].event_id)]
    );
    assert_eq!(spool.posts().last_device_seq, 42);
}

#[test]
fn a_file_of_a_newer_format_is_left_alone() {
    let (folder, _) = with_posts(1);
    let mut bytes = fs::read(file(&folder)).unwrap();
    bytes[24] = b'2';
    fs::write(file(&folder), &bytes).unwrap();
    let error = Spool::open(folder.path(), "x").unwrap_err();
    assert!(
        error.message().contains("has format 2; this bay reads 1"),
        "{error}"
    );
    assert_eq!(fs::read(file(&folder)).unwrap(), bytes);
}

#[derive(Debug, Clone)]
enum Step {
    Post,
    Acknowledge(prop::sample::Index),
    SetAside(prop::sample::Index),
    Reopen,
    Compact(usize),
    Tear(usize),
}

fn step() -> impl Strategy<Value = Step> {
    let index = any::<prop::sample::Index>;
    prop_oneof![
        6 => Just(Step::Post),
        3 => index().prop_map(Step::Acknowledge),
        1 => index().prop_map(Step::SetAside),
        1 => Just(Step::Reopen),
        1 => (0_usize..600).prop_map(Step::Compact),
        1 => (1_usize..40).prop_map(Step::Tear),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Whatever happens, what waits is exactly what was posted and not dealt with.
    #[test]
    fn nothing_that_waits_is_ever_lost_or_doubled(steps in prop::collection::vec(step(), 1..40)) {
        let folder = TempDir::new().unwrap();
        let mut spool = open(&folder);
        let mut model: Vec<EventId> = Vec::new();
        let mut posted = 0_u64;
        for step in steps {
            match step {
                Step::Post => {
                    posted += 1;
                    let mut post = new_post(1);
                    post.event_id[8..].copy_from_slice(&posted.to_be_bytes());
                    let entry = spool.post(post).unwrap();
                    prop_assert_eq!(entry.device_seq, posted);
                    model.push(entry.event_id);
                }
                Step::Acknowledge(index) if !model.is_empty() => {
                    let id = model.remove(index.index(model.len()));
                    let entry = spool.posts().get(&id).unwrap().clone();
                    spool.acknowledge(&[taken(&entry, 1)]).unwrap();
                }
                Step::SetAside(index) if !model.is_empty() => {
                    let id = model.remove(index.index(model.len()));
                    spool.set_aside(&id, "UNREADABLE", "x", 0).unwrap();
                }
                Step::Acknowledge(_) | Step::SetAside(_) => {}
                Step::Reopen => spool = open(&folder),
                Step::Compact(kept) => {
                    let frames = spool.posts().compacted(kept);
                    spool.compact(&frames).unwrap();
                }
                Step::Tear(bytes) => {
                    // A process killed in the middle of the next write.
                    let end = spool.file.used_bytes();
                    let next = Frame::Renumbered(Renumbered { event_id: vec![9; 16], device_seq: 1 << 40 });
                    let next = next.encode(end).unwrap();
                    let part = &next[..bytes.min(next.len() - 1)];
                    let raw = fs::OpenOptions::new().write(true).open(file(&folder)).unwrap();
                    raw.write_all_at(part, end).unwrap();
                    spool = open(&folder);
                }
            }
            let waiting: Vec<EventId> = spool.posts().waiting().iter().map(|e| e.event_id).collect();
            prop_assert_eq!(&waiting, &model);
        }
        let again = open(&folder);
        let waiting: Vec<EventId> = again.posts().waiting().iter().map(|e| e.event_id).collect();
        prop_assert_eq!(&waiting, &model);
        prop_assert_eq!(again.posts().last_device_seq, posted);
    }
}

/// The fact is on the disk before the file is compacted: an error then would
/// make the person say it again.
#[test]
fn a_file_that_cannot_be_compacted_costs_no_post() {
    let folder = TempDir::new().unwrap();
    let mut spool = open(&folder);
    // Something is in the way of the new file.
    fs::create_dir(folder.path().join("spool.new")).unwrap();
    let mut count = 0_u8;
    while spool.file.used_bytes() <= SPOOL_BYTES_MAX + 20_000 {
        count += 1;
        let mut new = new_post(count);
        new.fact = vec![count; 4_000];
        let entry = spool.post(new).unwrap();
        spool
            .acknowledge(&[taken(&entry, u64::from(count))])
            .unwrap();
    }
    assert_eq!(open(&folder).posts().all().len(), usize::from(count));
    // With the way free the next post makes the file small.
    fs::remove_dir(folder.path().join("spool.new")).unwrap();
    spool.post(new_post(count + 1)).unwrap();
    assert!(spool.file.used_bytes() < SPOOL_BYTES_MAX);
    let reopened = open(&folder);
    assert!(
        reopened
            .posts()
            .get(&new_post(count + 1).event_id)
            .is_some()
    );
}
