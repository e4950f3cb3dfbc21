//! A real file system of a few megabytes fills up under the real daemon and
//! the real `bay`, and is emptied again. It is mounted where only these
//! processes see it, which needs root and the tool `unshare`; elsewhere these
//! tests say that they are skipped, and the layer's stand for them.

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_tests::harness::{Daemon, daemon_command};
use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;
use tonic_types::StatusExt as _;

use crate::at_bay::{NOWHERE, bay};
use crate::posting::{Bay, intake, post, records_at};

/// A small file system that lives as long as a process which holds it.
struct SmallDisk {
    holder: Child,
    home: tempfile::TempDir,
}

impl SmallDisk {
    /// `None` where this machine does not let it be mounted.
    fn mounted(size: &str) -> Option<Self> {
        let home = crate::folder();
        let at = home.path().join("disk");
        std::fs::create_dir(&at).expect("a folder");
        let script = format!(
            "mount -t tmpfs -o size={size} baywright-test '{}' && echo mounted && exec cat",
            at.display()
        );
        let mut holder = Command::new("unshare")
            .args(["--mount", "sh", "-c", &script])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .ok()?;
        let mut line = String::new();
        let out = holder.stdout.take().expect("its output");
        BufReader::new(out).read_line(&mut line).expect("a line");
        if line.trim() != "mounted" {
            let _ = holder.kill();
            let _ = holder.wait();
            return None;
        }
        let enters = Command::new("nsenter").arg("--version").output();
        enters.ok().filter(|told| told.status.success())?;
        Some(Self { holder, home })
    }

    fn path(&self) -> PathBuf {
        self.home.path().join("disk")
    }

    /// The same folder as this process can reach it.
    fn seen_here(&self) -> PathBuf {
        let path = self.path();
        let inner = path.strip_prefix("/").expect("an absolute path");
        Path::new("/proc")
            .join(self.holder.id().to_string())
            .join("root")
            .join(inner)
    }

    /// A program that is the demo binary, and sees the small disk.
    fn binary(&self) -> PathBuf {
        let script = self.home.path().join("inside");
        let text = format!(
            "#!/bin/sh\nexec nsenter --target {} --mount -- '{}' \"$@\"\n",
            self.holder.id(),
            crate::binary().display()
        );
        // A process of its own writes it: a child that another test starts in
        // that moment would hold it open, and nothing runs what is written to.
        let written = Command::new("sh")
            .args(["-c", "printf %s \"$2\" > \"$1\" && chmod 700 \"$1\"", "sh"])
            .args([script.as_os_str(), text.as_ref()])
            .status()
            .expect("a shell");
        assert!(written.success(), "a script that runs");
        script
    }

    /// Takes all the room that is left but for about `kept` bytes.
    fn fill(&self, kept: usize) {
        let path = self.seen_here().join("filler");
        let mut file = std::fs::File::create(&path).expect("a filler");
        while file.write_all(&[7; 4096]).is_ok() {}
        let length = file.metadata().expect("its length").len();
        let left = length.saturating_sub(u64::try_from(kept).expect("a size"));
        file.set_len(left).expect("room again");
    }

    fn empty(&self) {
        std::fs::remove_file(self.seen_here().join("filler")).expect("the filler goes");
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // The file system goes with the last process that sees it.
        let _ = self.holder.kill();
        let _ = self.holder.wait();
    }
}

fn skipped() {
    eprintln!(
        "SKIPPED: no small file system can be mounted here (root, unshare and nsenter are \
         needed); the file layer's tests of a full disk run all the same"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_refuses_clearly_and_one_with_room_again_needs_no_restart() {
    let Some(disk) = SmallDisk::mounted("8m") else {
        return skipped();
    };
    let inside = disk.binary();
    let data = disk.path().join("data");
    // Its trace is opened from here, so that lies beside the small disk.
    let daemon = Daemon::start(&inside, &data).expect("a daemon");
    let mut client = intake(&daemon.address).await;
    let mut writer = Bay::new("bay-1", ChaCha12Rng::seed_from_u64(20_261_204));
    let mut posts: Vec<v1::Post> = Vec::new();
    let beside = crate::folder();
    let bay_data = beside.path().join("bay");
    let mut notes = BTreeSet::new();
    for round in 0..3 {
        disk.fill(300_000 * round);
        let mut refused = None;
        for _ in 0..4_000 {
            let next = writer.next();
            match post(&mut client, &next).await {
                Ok(_) => posts.push(next),
                Err(status) => {
                    let details = status.get_error_details();
                    let reason = details.error_info().map(|i| i.reason.clone());
                    assert_eq!(reason.as_deref(), Some("NOT_WRITTEN"), "{status:?}");
                    assert!(status.message().contains("full"), "{status:?}");
                    refused = Some(next);
                    break;
                }
            }
        }
        let refused = refused.expect("the disk is full");
        // Reads are answered meanwhile, and a bay keeps what it is told.
        assert!(records_at(&daemon.address).await.len() >= posts.len());
        let text = format!("note {round}");
        let said = bay(
            crate::binary(),
            &bay_data,
            &daemon.address,
            Vec::new(),
            &["note", &text],
        );
        assert_eq!(said.code, 0, "{said:?}");
        assert!(said.out.contains("Kept on this bay"), "{said:?}");
        notes.insert(text);
        disk.empty();
        post(&mut client, &refused)
            .await
            .expect("there is room again");
        posts.push(refused);
        let sent = bay(
            crate::binary(),
            &bay_data,
            &daemon.address,
            Vec::new(),
            &["spool", "send"],
        );
        assert_eq!(sent.code, 0, "{sent:?}");
        let address = format!("http://{}", daemon.address);
        let mut floor = FloorServiceClient::connect(address)
            .await
            .expect("a connection");
        let facts = async {
            while let Err(status) = floor.now(v1::NowRequest::default()).await {
                assert!(status.message().contains("not as far"), "{status:?}");
                tokio::task::yield_now().await;
            }
        };
        tokio::time::timeout(Duration::from_mins(1), facts)
            .await
            .expect("the facts come back by themselves");
    }
    drop(client);
    let logged = records_at(&daemon.address).await;
    let ids: BTreeSet<Vec<u8>> = logged.iter().map(|r| r.event_id.clone()).collect();
    assert_eq!(ids.len(), logged.len(), "none twice");
    assert!(
        posts.iter().all(|post| ids.contains(&post.event_id)),
        "none lost"
    );
    assert_eq!(logged.len(), posts.len() + notes.len(), "nothing else");
    println!("{} posts, 3 times a full disk", posts.len());
    daemon.stop().expect("a clean stop");
    for command in [&["verify"][..], &["rebuild", "--check"]] {
        let done = daemon_command(&inside, command, &data).expect("it runs");
        let said = String::from_utf8_lossy(&done.stdout);
        assert!(done.status.success(), "{command:?}: {said}");
    }
    let told = std::fs::read_to_string(data.with_extension("stderr")).expect("a trace");
    assert!(!told.contains("panicked"), "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_spool_without_room_says_that_the_fact_was_not_kept() {
    let Some(disk) = SmallDisk::mounted("128k") else {
        return skipped();
    };
    let inside = disk.binary();
    let data = disk.path().join("bay");
    let mut kept = BTreeSet::new();
    let mut number = 0;
    let mut note = || {
        number += 1;
        let text = format!("note {number} {}", "x".repeat(900));
        let said = bay(&inside, &data, NOWHERE, Vec::new(), &["note", &text]);
        if said.code == 0 {
            assert!(said.out.contains("Kept on this bay"), "{said:?}");
            kept.insert(text);
        } else {
            assert!(said.err.contains("could NOT be kept"), "{said:?}");
        }
        said.code == 0
    };
    assert!(note(), "an empty disk has room");
    disk.fill(0);
    let mut more = 0;
    while note() {
        more += 1;
        assert!(more < 200, "the disk is full");
    }
    assert!(!note(), "still");
    disk.empty();
    assert!(note(), "there is room again");
    let home = crate::folder();
    let daemon = Daemon::start(crate::binary(), &home.path().join("data")).expect("a daemon");
    let sent = bay(
        &inside,
        &data,
        &daemon.address,
        Vec::new(),
        &["spool", "send"],
    );
    assert_eq!(sent.code, 0, "{sent:?}");
    let logged = records_at(&daemon.address).await;
    assert_eq!(logged.len(), kept.len(), "what was kept, and nothing else");
    println!("{} kept around a full disk", kept.len());
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_without_room_leaves_the_older_ones_and_nothing_half() {
    let Some(disk) = SmallDisk::mounted("4m") else {
        return skipped();
    };
    let inside = disk.binary();
    let home = crate::folder();
    let data = home.path().join("data");
    let daemon = Daemon::start(crate::binary(), &data).expect("a daemon");
    let mut client = intake(&daemon.address).await;
    let mut writer = Bay::new("bay-1", ChaCha12Rng::seed_from_u64(20_261_206));
    for _ in 0..100 {
        let next = writer.next();
        post(&mut client, &next).await.expect("a receipt");
    }
    let folder = disk.path().join("backups");
    std::fs::create_dir(disk.seen_here().join("backups")).expect("a folder");
    let into = folder.to_str().expect("a path in text");
    let backup = || daemon_command(&inside, &["backup", "--into", into], &data).expect("it runs");
    let held = || {
        let entries = std::fs::read_dir(disk.seen_here().join("backups")).expect("a folder");
        let names = entries.map(|entry| entry.expect("an entry").file_name());
        names.collect::<BTreeSet<_>>()
    };
    let first = backup();
    assert!(first.status.success(), "{first:?}");
    let older = held();
    // Nothing fits; then the beginning of a file does.
    for kept in [0, 30_000] {
        disk.fill(kept);
        let full = backup();
        let told = String::from_utf8_lossy(&full.stderr);
        assert!(!full.status.success(), "{full:?}");
        assert!(told.contains("no room on the disk"), "{told}");
        assert_eq!(held(), older, "after {kept} bytes of room");
        let next = writer.next();
        post(&mut client, &next).await.expect("the daemon goes on");
        disk.empty();
    }
    let again = backup();
    assert!(again.status.success(), "{again:?}");
    let newest = held().difference(&older).next().cloned();
    let newest = folder.join(newest.expect("one more"));
    let newest = newest.to_str().expect("a path in text");
    let whole = daemon_command(&inside, &["verify", "--file", newest], &data).expect("it runs");
    assert!(whole.status.success(), "{whole:?}");
    daemon.stop().expect("a clean stop");
}
