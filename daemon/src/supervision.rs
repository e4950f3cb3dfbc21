//! What a service manager gives the daemon, and what it is told: a socket
//! opened beforehand, that the daemon is ready, that its writer still works.

use std::path::PathBuf;
use std::time::Duration;

use listenfd::ListenFd;
use tokio::net::{TcpListener, UnixListener};
use tokio_util::sync::CancellationToken;

use crate::journal::writer::Writer;

/// Signs of life in each span after which the manager would give the daemon
/// up: one may come late and nothing happens.
const SIGNS_PER_WATCHDOG_SPAN: u32 = 3;

/// Where the daemon listens: what it bound itself, and what was opened for it.
#[derive(Debug)]
pub struct Listeners {
    pub tcp: TcpListener,
    /// Opened by the service manager, who keeps it over a restart of the
    /// daemon: bays on this computer wait instead of being turned away. The
    /// daemon binds its own where there is none.
    pub unix: Option<UnixListener>,
}

impl From<TcpListener> for Listeners {
    fn from(tcp: TcpListener) -> Self {
        Self { tcp, unix: None }
    }
}

/// Takes the Unix socket that the service manager opened, if it did.
///
/// # Errors
/// If what was handed over is something else: the unit is wrong then, and bays
/// would wait on a socket that nobody serves.
pub fn handed_over() -> std::io::Result<Option<UnixListener>> {
    let mut given = ListenFd::from_env();
    let listener = match given.len() {
        0 => return Ok(None),
        1 => given.take_unix_listener(0)?,
        more => {
            return Err(std::io::Error::other(format!(
                "{more} sockets were given, and one Unix socket is all that is served"
            )));
        }
    };
    let Some(listener) = listener else {
        return Ok(None);
    };
    listener.set_nonblocking(true)?;
    UnixListener::from_std(listener).map(Some)
}

/// The path that a listener was bound to.
pub fn path_of(listener: &UnixListener) -> Option<PathBuf> {
    let address = listener.local_addr().ok()?;
    address.as_pathname().map(ToOwned::to_owned)
}

/// Tells systemd, where it is there.
pub fn notify(states: &[sd_notify::NotifyState]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::debug!(%error, "the service manager was not told");
    }
}

/// Gives the manager's watchdog signs of life, if it asked for them. Each has
/// been through the writer's queue: a daemon that can no longer take a post is
/// silent, is ended and started again, and no acknowledged post is lost by it.
pub async fn watchdog(writer: Writer, stop: CancellationToken) {
    let Some(span) = sd_notify::watchdog_enabled() else {
        return;
    };
    signs_of_life(&writer, span / SIGNS_PER_WATCHDOG_SPAN, &stop, || {
        notify(&[sd_notify::NotifyState::Watchdog]);
    })
    .await;
}

async fn signs_of_life(
    writer: &Writer,
    every: Duration,
    stop: &CancellationToken,
    mut sign: impl FnMut(),
) {
    let mut ticks = tokio::time::interval(every);
    ticks.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let lives = async {
        while writer.alive().await {
            sign();
            ticks.tick().await;
        }
    };
    // None owed while stopping: the manager has another limit for that.
    let _ = stop.run_until_cancelled(lives).await;
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::sync_channel;
    use std::sync::{Arc, Mutex};

    use baywright_proto::v1;
    use baywright_terms::time::Micros;

    use super::*;
    use crate::clock::{Clock, SystemClock};
    use crate::journal::{Intake, Journal};
    use crate::lifecycle::STOP_GRACE_MS_MAX;

    const UNIT: &str = include_str!("../../deploy/systemd/baywright.service");
    const SOCKET_UNIT: &str = include_str!("../../deploy/systemd/baywright.socket");

    /// Longest wait of a test for something that happens at once.
    const PATIENCE: Duration = Duration::from_secs(20);

    /// A setting of a unit file.
    fn setting<'a>(unit: &'a str, name: &str) -> Option<&'a str> {
        unit.lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix('='))
    }

    #[test]
    fn the_service_unit_waits_longer_for_the_stop_than_the_stop_may_take() {
        let stop_s: u64 = setting(UNIT, "TimeoutStopSec").unwrap().parse().unwrap();
        assert!(stop_s * 1_000 > STOP_GRACE_MS_MAX, "{stop_s} s");
    }

    #[test]
    fn the_socket_unit_opens_the_socket_that_bays_try_first() {
        assert_eq!(
            setting(SOCKET_UNIT, "ListenStream"),
            Some(baywright_proto::DEFAULT_SOCKET)
        );
    }

    #[tokio::test]
    async fn signs_of_life_end_with_the_writer() {
        let folder = tempfile::tempdir().unwrap();
        let journal = Journal::open(folder.path()).unwrap();
        let (writer, thread) = Writer::start(journal, Arc::new(SystemClock), None).unwrap();
        let (sent, signs) = sync_channel(1_000);
        let stop = CancellationToken::new();
        let watched = writer.clone();
        let watching = tokio::spawn(async move {
            signs_of_life(&watched, Duration::from_millis(1), &stop, || {
                let _ = sent.try_send(());
            })
            .await;
        });
        tokio::task::spawn_blocking(move || {
            signs.recv_timeout(PATIENCE).unwrap();
            signs.recv_timeout(PATIENCE).unwrap();
        })
        .await
        .unwrap();
        writer.stop().await;
        thread.join().unwrap();
        tokio::time::timeout(PATIENCE, watching)
            .await
            .expect("no sign comes from a writer that has ended")
            .unwrap();
    }

    /// A clock that does not answer while the test holds it.
    #[derive(Debug, Default)]
    struct StuckClock(Mutex<()>);

    impl Clock for StuckClock {
        fn now(&self) -> Micros {
            let _freed = self.0.lock();
            Micros(0)
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_writer_that_hangs_gives_no_sign_of_life_until_it_goes_on() {
        let folder = tempfile::tempdir().unwrap();
        let journal = Journal::open(folder.path()).unwrap();
        let clock = Arc::new(StuckClock::default());
        let (writer, _thread) = Writer::start(journal, Arc::clone(&clock) as _, None).unwrap();
        let stuck = tokio::task::spawn_blocking({
            let writer = writer.clone();
            move || {
                let held = clock.0.lock().unwrap();
                let posted = writer.post(Intake {
                    post: v1::Post::default(),
                    device: "bay-1".to_owned(),
                    role: v1::Role::Bay,
                });
                assert!(posted.is_ok());
                let silent = tokio::runtime::Handle::current().block_on(async {
                    tokio::time::timeout(Duration::from_millis(200), writer.alive()).await
                });
                drop(held);
                silent.is_err()
            }
        });
        assert!(stuck.await.unwrap(), "the writer hangs, and gave a sign");
        assert!(writer.alive().await);
        writer.stop().await;
    }
}
