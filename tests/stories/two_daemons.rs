//! Two daemons where one belongs, and what a dead one left behind.

use std::path::Path;

use baywright_tests::harness::{Daemon, Starting, daemon_command};

use crate::shop::{Said, Shop, records_at};

/// What a second daemon says that could not begin.
fn second(data: &Path, more: &[&str]) -> Said {
    let args = [&["serve", "--listen", "127.0.0.1:0"], more].concat();
    let output = daemon_command(crate::binary(), &args, data);
    output.expect("the command runs").into()
}

async fn count(daemon: &Daemon) -> usize {
    records_at(&daemon.address).await.len()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_meets_a_directory_in_use_is_told_who_has_it_and_changes_nothing() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let socket = shop.data().join("bay.sock");
    shop.bay("bay-1", "note first").ok();
    for args in [
        &["serve", "--listen", "127.0.0.1:0"][..],
        &["rebuild"],
        &["rebuild", "--check"],
    ] {
        let refused = shop.daemon(args);
        assert_ne!(refused.code, 0, "{args:?}: {refused:?}");
        let holder = format!("process {}", daemon.id());
        for part in ["in use", holder.as_str(), "stop it first"] {
            assert!(refused.err.contains(part), "{args:?}: {refused:?}");
        }
    }
    // Reading beside it is allowed.
    shop.daemon(&["verify"]).ok();
    shop.bay("bay-1", "note second").ok();
    shop.server = format!("unix:{}", socket.display());
    shop.bay("bay-1", "note third").ok();
    assert_eq!(count(&daemon).await, 3, "the first is unharmed");
    daemon.stop().expect("a clean stop");
    assert!(!socket.exists(), "its own socket goes with it");
    shop.daemon(&["rebuild", "--check"]).ok();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_socket_that_somebody_listens_on_is_left_alone() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let socket = shop.data().join("bay.sock");
    let other = shop.data().with_file_name("other-server");
    let refused = second(&other, &["--socket", socket.to_str().expect("text")]);
    assert_ne!(refused.code, 0, "{refused:?}");
    assert!(
        refused
            .err
            .contains("another process listens on the socket"),
        "{refused:?}"
    );
    shop.server = format!("unix:{}", socket.display());
    shop.bay("bay-1", "note \"still here\"").ok();
    assert_eq!(count(&daemon).await, 1);
    daemon.stop().expect("a clean stop");
    // Nothing of the refused one is in the way of its next start.
    let daemon = Daemon::start(crate::binary(), &other).expect("a start");
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_killed_daemon_left_behind_is_in_nobodys_way() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let socket = shop.data().join("bay.sock");
    shop.bay("bay-1", "note before").ok();
    daemon.kill().expect("a kill");
    assert!(socket.exists(), "a killed daemon leaves its socket");
    // Numbers of processes are given again: the one in the file may be anybody's.
    let lock = shop.data().join("daemon.lock");
    std::fs::write(&lock, format!("{}\n", std::process::id())).expect("a lock file");
    let daemon = shop.start();
    let holder = std::fs::read_to_string(&lock).expect("a lock file");
    assert_eq!(holder.trim(), daemon.id().to_string());
    shop.server = format!("unix:{}", socket.display());
    shop.bay("bay-1", "note after").ok();
    assert_eq!(count(&daemon).await, 2);
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
}

/// A path given by mistake must not cost the file that is there.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_that_is_no_socket_is_not_taken_away() {
    let shop = Shop::closed();
    let folder = shop.data();
    let file = folder.with_file_name("prices.txt");
    std::fs::write(&file, "precious").expect("a file");
    let refused = second(&folder, &["--socket", file.to_str().expect("text")]);
    assert_ne!(refused.code, 0, "{refused:?}");
    assert!(refused.err.contains("no socket"), "{refused:?}");
    assert_eq!(
        std::fs::read_to_string(&file).expect("the file"),
        "precious"
    );
}

/// Two that begin at the same moment: one serves, the other says why not.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_two_that_start_at_once_one_serves() {
    const ROUNDS: usize = 5;
    let shop = Shop::closed();
    for _ in 0..ROUNDS {
        let both = [0, 1].map(|_| {
            let starting = Starting::start(crate::binary(), &shop.data());
            starting.expect("a start")
        });
        let ready: Vec<Daemon> = both
            .into_iter()
            .filter_map(|one| one.ready().ok())
            .collect();
        let [daemon] = <[Daemon; 1]>::try_from(ready).expect("one of the two");
        count(&daemon).await;
        daemon.kill().expect("a kill");
    }
}
