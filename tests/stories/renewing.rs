//! Certificates renew by themselves, and one that nobody renewed ends. The
//! daemon runs inside the test, so that its clock can be set months ahead.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use baywright_daemon::clock::SetClock;
use baywright_daemon::config::Config;
use baywright_daemon::supervision::Listeners;
use baywright_terms::time::{DAY_US, Micros};
use baywright_tests::harness::{bay_at_home, daemon_command};
use tokio_util::sync::CancellationToken;

use crate::shop::Said;

/// 2026-12-01, noon, UTC.
const BEGIN: Micros = Micros(1_796_126_400_000_000);

/// A bound on the wait for a daemon, never a pause.
const PATIENCE: Duration = Duration::from_mins(1);

struct Server {
    clock: Arc<SetClock>,
    stop: CancellationToken,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    fn start(data: PathBuf) -> Self {
        let clock = Arc::new(SetClock::at(BEGIN));
        let stop = CancellationToken::new();
        let (tell, told) = std::sync::mpsc::sync_channel(1);
        let (its_clock, its_stop) = (Arc::clone(&clock), stop.clone());
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_multi_thread()
                .worker_threads(2)
                .enable_all()
                .build()
                .expect("a runtime");
            runtime.block_on(async move {
                let any = SocketAddr::from(([127, 0, 0, 1], 0));
                let listener = tokio::net::TcpListener::bind(any).await.expect("a port");
                let config = Config {
                    data_dir: data,
                    listen: any,
                    join_port: None,
                    socket: None,
                    metrics: None,
                };
                let ready = |_: &baywright_daemon::Ready| tell.send(()).expect("the test waits");
                baywright_daemon::serve(
                    config,
                    Listeners::from(listener),
                    its_clock,
                    its_stop,
                    ready,
                )
                .await
                .expect("it serves");
            });
        });
        told.recv_timeout(PATIENCE).expect("the daemon is ready");
        Self {
            clock,
            stop,
            thread: Some(thread),
        }
    }

    fn after_days(&self, days: i64) {
        self.clock.set(Micros(BEGIN.0 + days * DAY_US));
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop.cancel();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn bay(data: &Path, args: &[&str]) -> Said {
    bay_at_home(crate::binary(), data, args)
        .expect("bay runs")
        .into()
}

fn certificate(data: &Path) -> String {
    std::fs::read_to_string(data.join("joined/device.pem")).expect("a certificate")
}

#[test]
fn a_certificate_is_renewed_by_use_and_ends_without() {
    let home = tempfile::tempdir().expect("a temporary folder");
    let (shop, tablet) = (home.path().join("server"), home.path().join("bay-1"));
    let made = daemon_command(crate::binary(), &["init"], &shop).expect("init runs");
    assert!(made.status.success());
    let server = Server::start(shop.clone());
    let given = ["enrol", "bay-1", "--role", "bay", "--json"];
    let given = daemon_command(crate::binary(), &given, &shop).expect("enrol runs");
    let given: serde_json::Value = serde_json::from_slice(&given.stdout).expect("JSON");
    let place = format!("127.0.0.1:{}", given["join_port"]);
    let code = given["code"].as_str().expect("a code").to_owned();
    bay(&tablet, &["join", &place, &code]).ok();
    let first = certificate(&tablet);

    // Four months in, nothing is due yet.
    server.after_days(119);
    bay(&tablet, &["note", "one"]).ok();
    assert_eq!(certificate(&tablet), first);
    // A day later the next command brings a new one, with a new key.
    server.after_days(121);
    bay(&tablet, &["note", "two"]).ok();
    let second = certificate(&tablet);
    assert_ne!(second, first);
    assert!(second.contains("PRIVATE KEY") && !first.contains(&second[30..90]));
    // It carries the device past the end of the first.
    server.after_days(480);
    bay(&tablet, &["note", "three"]).ok();
    let third = certificate(&tablet);
    assert_ne!(third, second);
    // Not used for more than a year: the fact is kept, and it says what to do.
    server.after_days(480 + 366);
    let kept = bay(&tablet, &["note", "four"]);
    assert_eq!(kept.code, 0, "{}{}", kept.out, kept.err);
    assert!(
        kept.out.contains("Kept") && kept.out.contains("has ended"),
        "{}",
        kept.out
    );
    let now = bay(&tablet, &["now"]);
    assert_eq!(now.code, 5, "{}{}", now.out, now.err);
    assert!(now.err.contains("bay join"), "{}", now.err);
}
