//! What a backup promises, against files on the disk.

use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;
use prost::Message as _;
use rusqlite::Connection;

use super::carried::Carried;
use super::devices::{self, Choice};
use super::file::{self, Checked};
use super::make::{Progress, make};
use super::noted::{self, Noted};
use super::restore::{Brought, bring_back, refuse_used};
use super::{BackupError, folder};
use crate::access::ACCESS_DIR;
use crate::journal::verify::verify;
use crate::journal::{Intake, Journal, LogReader, append_batch};
use crate::lifecycle::refuse_lost_log;

/// 2026-12-01T03:30:15Z.
const HALF_PAST_THREE_US: i64 = 1_796_095_815_000_000;

const DEVICES: &str = r#"{"devices": [
    {"name": "bay-1", "role": "bay", "enrolment": "019ad0c0-0000-7000-8000-000000000001", "enrolled_us": 3},
    {"name": "office", "role": "owner", "enrolment": "019ad0c0-0000-7000-8000-000000000002", "enrolled_us": 4, "expires_us": 77},
    {"name": "lost", "role": "bay", "enrolment": "019ad0c0-0000-7000-8000-000000000003", "enrolled_us": 3, "cut_off_us": 5}
]}"#;

/// A data directory with a log that goes on.
struct Shop {
    dir: tempfile::TempDir,
    journal: Journal,
    posted: u64,
}

impl Shop {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let journal = Journal::open(&dir.path().join("")).unwrap();
        Self {
            dir,
            journal,
            posted: 0,
        }
    }

    fn data(&self) -> &Path {
        self.dir.path()
    }

    /// Posts some facts, the first of which opens a job.
    fn post(&mut self, count: u64) {
        let numbers: Vec<u64> = (self.posted + 1..=self.posted + count).collect();
        for batch in numbers.chunks(256) {
            let intakes: Vec<Intake> = batch
                .iter()
                .map(|number| intake(*number, *number == self.posted + 1))
                .collect();
            let now = Micros(HALF_PAST_THREE_US);
            let done = append_batch(&mut self.journal, &Catalogue::default(), &intakes, now);
            assert!(done.iter().all(Result::is_ok), "{done:?}");
        }
        self.posted += count;
    }

    fn with_access(self) -> Self {
        let dir = self.data().join(ACCESS_DIR);
        std::fs::create_dir(&dir).unwrap();
        std::fs::write(dir.join("authority.key"), "an invented key").unwrap();
        std::fs::write(dir.join("devices.json"), DEVICES).unwrap();
        std::fs::write(dir.join("devices.json.new"), "half").unwrap();
        self
    }

    fn backup(&self, file: &Path) -> Result<Checked, BackupError> {
        make(self.data(), file, false, HALF_PAST_THREE_US, &mut |_| {})
    }
}

/// A post of bay 1: a job, or a note of some length.
fn intake(number: u64, opens: bool) -> Intake {
    let kind = if opens {
        Kind::JobOpened(v1::JobOpened::default())
    } else {
        Kind::Noted(v1::Noted {
            text: format!("note {number} {}", "x".repeat(200)),
            ..v1::Noted::default()
        })
    };
    let fact = v1::Fact {
        kind: Some(kind),
        ..v1::Fact::default()
    };
    let mut event_id = vec![1; 16];
    event_id[8..].copy_from_slice(&number.to_be_bytes());
    Intake {
        post: v1::Post {
            event_id,
            device_seq: number,
            previous_device_seq: number - 1,
            fact: fact.encode_to_vec(),
            ..v1::Post::default()
        },
        device: "bay-1".to_owned(),
        role: v1::Role::Bay,
    }
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(dir)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn restore(file: &Path, data: &Path) -> Result<Brought, BackupError> {
    let checked = file::check(file, |_, _| {})?;
    let carried = checked.carried.clone();
    bring_back(&checked, &carried, data, HALF_PAST_THREE_US, &mut |_, _| {})
}

#[test]
fn a_backup_is_one_private_file_that_reads_as_the_log_of_one_instant() {
    let mut shop = Shop::new().with_access();
    shop.post(40);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let mut copied = 0;
    let mut seen = 0;
    let made = make(
        shop.data(),
        &path,
        false,
        HALF_PAST_THREE_US,
        &mut |at| match at {
            Progress::Copied { bytes, of } => {
                copied = bytes;
                assert!(bytes <= of);
            }
            Progress::Checked { records, .. } => seen = records,
        },
    )
    .unwrap();
    assert_eq!((made.whole.records, made.whole.seq, seen), (40, 40, 40));
    assert!(copied > 0);
    assert_eq!(names(out.path()), ["b.backup"]);
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let carried: Vec<&str> = made.carried.iter().map(|f| f.name.as_str()).collect();
    assert_eq!(carried, ["authority.key", "devices.json"]);
    assert!(
        !format!("{made:?}").contains("invented key"),
        "keys stay out of traces"
    );
    // What comes later is not in it.
    shop.post(3);
    let again = file::check(&path, |_, _| {}).unwrap();
    assert_eq!(again, made);
    assert_eq!(again.last_received_us, HALF_PAST_THREE_US + 39);
}

#[test]
fn posts_between_the_steps_neither_wait_nor_get_into_the_copy() {
    let mut shop = Shop::new();
    // Several steps of 256 pages of 4 KiB.
    shop.post(12_000);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let data = shop.data().to_owned();
    let mut steps = 0;
    let made = make(&data, &path, false, 1, &mut |at| {
        if let Progress::Copied { .. } = at {
            steps += 1;
            shop.post(1);
        }
    })
    .unwrap();
    assert!(
        (3..100).contains(&steps),
        "{steps} steps, none of them anew"
    );
    assert_eq!(made.whole.seq, 12_000);
    assert_eq!(shop.journal.head().seq, 12_000 + steps);
}

#[test]
fn nothing_is_written_over_unless_somebody_says_so() {
    let mut shop = Shop::new();
    shop.post(2);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    std::fs::write(&path, "dear").unwrap();
    let refused = shop.backup(&path).unwrap_err();
    assert!(matches!(refused, BackupError::Exists { .. }), "{refused}");
    assert_eq!(std::fs::read(&path).unwrap(), b"dear");
    make(shop.data(), &path, true, 1, &mut |_| {}).unwrap();
    assert!(file::check(&path, |_, _| {}).is_ok());
    assert_eq!(names(out.path()), ["b.backup"]);
}

#[test]
fn a_killed_run_is_no_obstacle_and_one_under_way_is_waited_for() {
    let mut shop = Shop::new();
    shop.post(2);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let part = out.path().join("b.backup.part");
    std::fs::write(&part, vec![7; 9_000]).unwrap();
    std::fs::write(out.path().join("b.backup.part-journal"), vec![7; 900]).unwrap();
    {
        let under_way = std::fs::File::open(&part).unwrap();
        under_way.lock().unwrap();
        let refused = shop.backup(&path).unwrap_err();
        assert!(matches!(refused, BackupError::Busy { .. }), "{refused}");
    }
    shop.backup(&path).unwrap();
    assert_eq!(names(out.path()), ["b.backup"]);
}

#[test]
fn a_log_that_is_broken_gives_no_backup() {
    let mut shop = Shop::new();
    shop.post(5);
    {
        let conn = Connection::open(shop.data().join("log.db")).unwrap();
        conn.execute_batch(
            "DROP TRIGGER record_keeps_every_value;
             UPDATE record SET record = x'0803' WHERE seq = 3;",
        )
        .unwrap();
    }
    let out = tempfile::tempdir().unwrap();
    let refused = shop.backup(&out.path().join("b.backup")).unwrap_err();
    assert!(refused.to_string().contains("seq 3"), "{refused}");
    assert_eq!(names(out.path()), Vec::<String>::new());
}

/// Every byte of a backup lies on a page that is checked, or is of no meaning:
/// whatever rots, it is found, or nothing that comes back is another.
#[test]
fn a_backup_that_rots_is_found_out_or_harmless() {
    let mut shop = Shop::new().with_access();
    shop.post(6);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let made = shop.backup(&path).unwrap();
    let whole = std::fs::read(&path).unwrap();
    let mut found = 0;
    for at in (0..whole.len()).step_by(97) {
        let mut rotten = whole.clone();
        rotten[at] ^= 0x41;
        std::fs::write(&path, &rotten).unwrap();
        match file::check(&path, |_, _| {}) {
            Ok(checked) => {
                assert_eq!(checked.whole, made.whole, "byte {at}");
                assert_eq!(checked.carried, made.carried, "byte {at}");
            }
            Err(_) => found += 1,
        }
    }
    assert!(found > 20, "{found} found");
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    assert!(file::check(&path, |_, _| {}).is_err(), "cut in half");
}

#[test]
fn a_backup_that_lost_its_end_is_not_whole() {
    let mut shop = Shop::new();
    shop.post(6);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    shop.backup(&path).unwrap();
    let conn = Connection::open(&path).unwrap();
    conn.execute_batch("DROP TRIGGER record_keeps_every_row; DELETE FROM record WHERE seq = 6;")
        .unwrap();
    drop(conn);
    let refused = file::check(&path, |_, _| {}).unwrap_err();
    assert!(refused.to_string().contains("ends with seq 6"), "{refused}");
}

#[test]
fn a_restore_is_the_same_log_in_a_later_epoch_and_keeps_every_key() {
    let mut shop = Shop::new().with_access();
    shop.post(9);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let made = shop.backup(&path).unwrap();
    let data = out.path().join("data");
    std::fs::create_dir(&data).unwrap();
    let brought = restore(&path, &data).unwrap();
    assert_eq!(names(&data), ["access", "backup.json", "log.db"]);
    assert_eq!(
        names(&data.join("access")),
        ["authority.key", "devices.json"]
    );
    let key = data.join("access/authority.key");
    assert_eq!(std::fs::read(&key).unwrap(), b"an invented key");
    for private in [&key, &data.join("log.db")] {
        let mode = std::fs::metadata(private).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{}", private.display());
    }
    let bytes = std::fs::read(data.join("log.db")).unwrap();
    let key_text = b"an invented key";
    assert!(
        !bytes
            .windows(key_text.len())
            .any(|window| window == key_text),
        "no key stays in the log"
    );
    let log = LogReader::open(&data).unwrap();
    assert_eq!(verify(&log, |_, _| true).unwrap(), made.whole);
    let meta = log.meta().unwrap();
    assert_eq!(meta.log_id, made.meta.log_id);
    assert!(meta.epoch > made.meta.epoch);
    assert_eq!(meta, brought.meta);
    assert_eq!(log.restored().unwrap(), Some(brought.restored));
    // What was brought back is in a backup: the one it came from.
    assert_eq!(noted::backed_up_seq(&data, &meta), 9);
    // The log goes on.
    drop(log);
    let journal = Journal::open(&data).unwrap();
    assert_eq!((journal.head().seq, journal.head().job_number), (9, 1_000));
}

#[test]
fn a_restore_writes_over_nothing() {
    let mut shop = Shop::new().with_access();
    shop.post(3);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    shop.backup(&path).unwrap();
    let before = std::fs::read(shop.data().join("log.db")).unwrap();
    let refused = restore(&path, shop.data()).unwrap_err().to_string();
    assert!(refused.contains("has a log already"), "{refused}");
    assert_eq!(std::fs::read(shop.data().join("log.db")).unwrap(), before);
    // Keys without a log are somebody's too.
    let other = tempfile::tempdir().unwrap();
    std::fs::create_dir(other.path().join("access")).unwrap();
    let refused = restore(&path, other.path()).unwrap_err().to_string();
    assert!(refused.contains("has keys"), "{refused}");
}

#[test]
fn a_restore_that_was_killed_is_begun_anew() {
    let mut shop = Shop::new().with_access();
    shop.post(3);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    shop.backup(&path).unwrap();
    // As it is between the keys' rename and the log's.
    let data = out.path().join("data");
    std::fs::create_dir_all(data.join("restoring")).unwrap();
    std::fs::write(data.join("restoring/log.db"), "half").unwrap();
    std::fs::create_dir(data.join("access")).unwrap();
    std::fs::write(data.join("access/authority.key"), "half").unwrap();
    refuse_used(&data).unwrap();
    restore(&path, &data).unwrap();
    assert_eq!(names(&data), ["access", "backup.json", "log.db"]);
    let key = std::fs::read(data.join("access/authority.key")).unwrap();
    assert_eq!(key, b"an invented key");
}

#[test]
fn two_restores_of_one_backup_are_two_epochs() {
    let mut shop = Shop::new();
    shop.post(3);
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("b.backup");
    let checked = shop.backup(&path).unwrap();
    let mut epochs = Vec::new();
    for (name, later_us) in [("first", 0), ("second", 1_000_000)] {
        let data = out.path().join(name);
        std::fs::create_dir(&data).unwrap();
        let now_us = HALF_PAST_THREE_US + later_us;
        let brought = bring_back(&checked, &[], &data, now_us, &mut |_, _| {}).unwrap();
        epochs.push(brought.meta.epoch);
        // A backup of the restored log can be brought back as well.
        let next = out.path().join(format!("{name}.backup"));
        make(&data, &next, false, now_us, &mut |_| {}).unwrap();
        let third = out.path().join(format!("{name}3"));
        std::fs::create_dir(&third).unwrap();
        let again = restore(&next, &third).unwrap();
        assert!(again.meta.epoch > brought.meta.epoch);
        assert_eq!(again.restored.first_job_number, 2_001);
    }
    assert!(epochs[0] < epochs[1], "{epochs:?}");
}

#[test]
fn devices_that_are_not_kept_are_cut_off_and_the_others_stay_as_they_were() {
    let carried = || {
        vec![Carried {
            name: "devices.json".to_owned(),
            content: DEVICES.into(),
        }]
    };
    let allowed = devices::allowed(&carried()).unwrap();
    let listed: Vec<&str> = allowed.iter().map(|device| device.name.as_str()).collect();
    assert_eq!(
        listed,
        ["bay-1", "office"],
        "one that was cut off is not asked about"
    );
    for (said, cut_off) in [
        ("all", vec![]),
        ("none", vec!["bay-1", "office"]),
        ("office", vec!["bay-1"]),
        (" bay-1 , office ", vec![]),
    ] {
        let choice = Choice::parse(said, &allowed).unwrap();
        let mut files = carried();
        let now_us = HALF_PAST_THREE_US;
        let gone = devices::cut_off_others(&mut files, &choice, now_us).unwrap();
        assert_eq!(gone, cut_off, "{said}");
        let left = devices::allowed(&files).unwrap();
        assert_eq!(left.len(), 2 - cut_off.len(), "{said}");
        let text = String::from_utf8(files[0].content.clone()).unwrap();
        assert!(text.contains("\"expires_us\": 77"), "{text}");
    }
    let unknown = Choice::parse("office,bay-9", &allowed)
        .unwrap_err()
        .to_string();
    assert!(
        unknown.contains("bay-9") && unknown.contains("bay-1, office"),
        "{unknown}"
    );
}

fn touch(dir: &Path, name: &str) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, "x").unwrap();
    path
}

#[test]
fn a_folder_keeps_the_latest_of_this_log_and_whatever_else_is_in_it() {
    let mut shop = Shop::new();
    shop.post(2);
    let mut other = Shop::new();
    other.post(1);
    let out = tempfile::tempdir().unwrap();
    let dir = out.path();
    let theirs = dir.join("baywright-2020-01-01T0330Z.backup");
    other.backup(&theirs).unwrap();
    touch(dir, "baywright-2020-01-02T0330Z.backup");
    touch(dir, "notes.txt");
    touch(dir, "baywright-2026-11-30T0330Z.backup.part");
    let day_us = 86_400_000_000;
    let mut removed = Vec::new();
    for day in 0..4 {
        let at_us = HALF_PAST_THREE_US + day * day_us;
        let kept = folder::make_in(shop.data(), dir, 2, at_us, &mut |_| {}).unwrap();
        assert!(kept.stayed.is_empty(), "{kept:?}");
        removed.push(kept.removed.len());
    }
    assert_eq!(removed, [0, 0, 1, 1]);
    // Twice in a minute: the seconds tell them apart.
    let at_us = HALF_PAST_THREE_US + 3 * day_us;
    folder::make_in(shop.data(), dir, 2, at_us, &mut |_| {}).unwrap();
    assert_eq!(
        names(dir),
        [
            "baywright-2020-01-01T0330Z.backup",
            "baywright-2020-01-02T0330Z.backup",
            "baywright-2026-12-04T033015Z.backup",
            "baywright-2026-12-04T0330Z.backup",
            "notes.txt",
        ]
    );
}

#[test]
fn a_wrong_clock_costs_no_backup_that_is_newer() {
    let mut shop = Shop::new();
    let out = tempfile::tempdir().unwrap();
    let dir = out.path();
    let day_us = 86_400_000_000;
    let mut made = Vec::new();
    // The server's battery is empty on the third day, and changed on the fifth.
    for day in [0, 1, -3_000, -2_999, 4] {
        shop.post(1);
        let at_us = HALF_PAST_THREE_US + day * day_us;
        let kept = folder::make_in(shop.data(), dir, 2, at_us, &mut |_| {}).unwrap();
        made.push(kept.made.path);
        let there = made.iter().map(|path| path.exists()).collect::<Vec<_>>();
        let latest = made.len().saturating_sub(2);
        assert!(there[latest..].iter().all(|there| *there), "{there:?}");
        assert!(!there[..latest].contains(&true), "{there:?}");
    }
}

#[test]
fn a_restore_that_was_cut_is_no_place_for_an_empty_log() {
    let dir = tempfile::tempdir().unwrap();
    refuse_lost_log(dir.path()).unwrap();
    std::fs::create_dir(dir.path().join("restoring")).unwrap();
    let refused = refuse_lost_log(dir.path()).unwrap_err().to_string();
    assert!(refused.contains("run it again"), "{refused}");
    touch(dir.path(), "log.db");
    refuse_lost_log(dir.path()).unwrap();
}

#[test]
fn a_note_of_another_log_or_epoch_counts_as_none() {
    let mut shop = Shop::new();
    shop.post(4);
    let meta = shop.journal.meta();
    assert_eq!(noted::backed_up_seq(shop.data(), &meta), 0);
    Noted::new(&meta, 3, 1, Path::new("/x"))
        .write(shop.data())
        .unwrap();
    assert_eq!(noted::backed_up_seq(shop.data(), &meta), 3);
    let later = crate::journal::Meta { epoch: 9, ..meta };
    assert_eq!(noted::backed_up_seq(shop.data(), &later), 0);
    std::fs::write(shop.data().join(noted::NOTE_FILE), "{half").unwrap();
    assert_eq!(noted::backed_up_seq(shop.data(), &meta), 0);
    let log = LogReader::open(shop.data()).unwrap();
    assert_eq!(log.device_seq_up_to("bay-1", 3).unwrap(), 3);
    assert_eq!(log.device_seq_up_to("bay-2", 3).unwrap(), 0);
    assert_eq!(log.device_seq_up_to("bay-1", 0).unwrap(), 0);
}
