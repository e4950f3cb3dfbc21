//! Start and stop: everything the daemon touches is given to it, and given back.

use std::net::SocketAddr;
use std::os::unix::fs::{FileTypeExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, UnixListener, UnixStream};
use tokio::task::JoinSet;
use tokio_stream::Stream;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tonic::service::Routes;
use tonic::transport::server::Connected;

use crate::access::gate::GateLayer;
use crate::access::joining::Joining;
use crate::access::{Access, AccessError, listen as doors, tls};
use crate::backup::restore::WORK_FOLDER;
use crate::clock::Clock;
use crate::config::Config;
use crate::facts;
use crate::health::{self, Health};
use crate::journal::follow::{Standing, chain};
use crate::journal::schema::LOG_FILE;
use crate::journal::verify::{verify, verify_tail};
use crate::journal::writer::{Heads, Writer};
use crate::journal::{Journal, JournalError, LogReader, Meta};
use crate::learner::{self, Learner};
use crate::lock::{DataLock, LockError};
use crate::mender::{self, Opener};
use crate::metrics::{Live, Metrics, Page, endpoint};
use crate::service::Services;
use crate::service::calls::CallsLayer;
use crate::service::limits::Limits;
use crate::service::reads::Reads;
use crate::supervision::{self, Listeners, notify};

/// Longest time a stop may take before remaining calls are cut off, milliseconds.
///
/// Must stay below `TimeoutStopSec` in the service unit.
pub const STOP_GRACE_MS_MAX: u64 = 8_000;

/// Part of the grace that is kept for the writer to answer what waits and to close.
const STOP_WRITER_MS_MAX: u64 = 4_000;

/// Longest wait for the facts before the daemon says that it listens. A short
/// catch-up is over by then, so that the first answers are whole; a long
/// rebuild goes on while bays post.
const START_FACTS_MS_MAX: u64 = 3_000;

/// Calls of one connection worked on at once: a bay makes one or two, a
/// watcher some; a script that opens more waits.
pub(crate) const CALLS_PER_CONNECTION_MAX: usize = 64;

/// Streams of one connection open at once. Who opens more waits.
pub(crate) const STREAMS_PER_CONNECTION_MAX: u32 = 256;

/// Largest headers of one call, bytes, counted as HTTP/2 does. Ours have about
/// 300; a library that adds a trace and a token has two thousand.
pub(crate) const HEADER_BYTES_MAX: u32 = 16 * 1024;

/// Calls that a peer has begun and taken back before they were looked at. More
/// than that comes from nobody but one who begins calls only to make work; its
/// connection is closed. The number is the library's own, written out.
pub(crate) const TAKEN_BACK_MAX: usize = 20;

/// Calls ended for faults of the peer's before its connection is closed. The
/// number is the library's own, written out.
const FAULTS_MAX: usize = 1_024;

/// Largest frame that is read whole before it is handed on, bytes: the least
/// that HTTP/2 allows, so that a frame costs little memory before its call is known.
const FRAME_BYTES_MAX: u32 = 16 * 1024;

/// What a stream may send before it is read, and all streams of a connection
/// together. The HTTP/2 library closes a connection whose unread small frames
/// cost more than half the connection's window (256 bytes less the frame, for
/// each); a stream of posts at full speed must be held back by its own window
/// long before: 64 KiB of the smallest posts cost about 200 KiB.
const STREAM_WINDOW_BYTES: u32 = 64 * 1024;
const CONNECTION_WINDOW_BYTES: u32 = 4 * 1024 * 1024;

/// How often a silent peer is asked whether it lives, and how long it may
/// think about it: a bay whose cable was pulled is noticed within 20 seconds.
const KEEP_ALIVE_MS: u64 = 10_000;
const KEEP_ALIVE_ANSWER_MS_MAX: u64 = 10_000;

/// Whoever may open the socket before `init`: its owner. The data directory is
/// theirs as well.
const SOCKET_MODE: u32 = 0o600;

/// After `init` the daemon itself decides by the user at the other end.
const SOCKET_MODE_DECIDED: u32 = 0o666;

/// Longest path that a Unix socket can have: `sun_path` has 108 bytes on Linux
/// and 104 on macOS, the last of them zero.
const SOCKET_PATH_BYTES_MAX: usize = 103;

/// What a daemon that can append tells the world.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ready {
    pub listening: SocketAddr,
    /// `None`: the path in the data directory is too long for a socket.
    pub socket: Option<PathBuf>,
    pub meta: Meta,
    pub head_seq: u64,
    /// TCP takes certificates only.
    pub certificates: bool,
    /// Where figures about the daemon are read; `None`: nowhere.
    pub metrics: Option<SocketAddr>,
}

/// The daemon could not start, or could not go on.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    #[error(transparent)]
    Lock(#[from] LockError),
    #[error("the log cannot be opened")]
    Journal(#[from] JournalError),
    #[error("{what} failed")]
    Io {
        what: String,
        #[source]
        source: std::io::Error,
    },
    #[error(
        "{} {state}, but facts of {folded} records lie beside it: move this folder away, keep it, and bring back a backup with `baywrightd restore`; to begin a new log instead, move facts.db away",
        log.display()
    )]
    LogLost {
        log: PathBuf,
        state: &'static str,
        folded: u64,
    },
    #[error(
        "a restore was begun in {} and did not end: run it again, or remove {} to begin an empty log",
        dir.display(), dir.join(WORK_FOLDER).display()
    )]
    HalfRestored { dir: PathBuf },
    #[error("another process listens on the socket {}", path.display())]
    SocketInUse { path: PathBuf },
    #[error("who may speak to this daemon cannot be read")]
    Access(#[from] AccessError),
    #[error("{} is there and is no socket: give another path", path.display())]
    NoSocket { path: PathBuf },
    #[error("the server failed")]
    Server(#[from] tonic::transport::Error),
    #[error("the log's writer ended by itself; the trace names the cause")]
    WriterEnded,
}

impl ServeError {
    fn io(what: impl Into<String>) -> impl FnOnce(std::io::Error) -> Self {
        let what = what.into();
        move |source| Self::Io { what, source }
    }
}

/// Serves until `stop` is cancelled. `ready` is called once, when it can append.
///
/// # Errors
/// If it cannot start, or the writer or a listener fails.
pub async fn serve(
    config: Config,
    listeners: impl Into<Listeners>,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
    ready: impl FnOnce(&Ready),
) -> Result<(), ServeError> {
    let lock = Arc::new(DataLock::take(&config.data_dir)?);
    let access = Access::load(&config.data_dir)?;
    refuse_lost_log(&config.data_dir)?;
    let journal = Journal::open(&config.data_dir)?;
    let meta = journal.meta();
    let tail = verify_tail(&LogReader::open(&config.data_dir)?);
    let broken = tail.err().or_else(|| journal.damage().cloned());
    if let Some(broken) = &broken {
        tracing::error!(error = %broken, "the log is not what was appended: it is read-only");
    }
    let metrics = Arc::new(Metrics::default());
    let limits = Limits::new(Arc::clone(&metrics));
    let counting = Arc::clone(&metrics);
    let (writer, thread) = Writer::start_counting(journal, Arc::clone(&clock), broken, counting)
        .map_err(ServeError::io("starting the log's writer"))?;
    let heads = writer.heads();
    let opener = Opener::new(&config.data_dir, &lock, &writer);
    opener
        .open(Standing::Opening)
        .map_err(ServeError::io("starting the thread that opens the facts"))?;
    verify_rest(&config.data_dir, &writer, stop.clone())?;
    wait_for_facts(&heads).await;

    let Listeners { tcp, unix } = listeners.into();
    let listening = tcp
        .local_addr()
        .map_err(ServeError::io("asking for the address"))?;
    // The manager's socket stays when the daemon ends, its own goes.
    let own_socket = socket_path(&config).filter(|_| unix.is_none());
    let unix = match (unix, &own_socket) {
        (Some(handed_over), _) => Some(handed_over),
        (None, Some(path)) => Some(bind_socket(path, socket_mode(&access)).await?),
        (None, None) => None,
    };
    let socket = unix.as_ref().and_then(supervision::path_of);
    let services = Services {
        writer: writer.clone(),
        reads: Reads::new(
            &config.data_dir,
            heads.clone(),
            limits.clone(),
            stop.clone(),
        ),
        limits: limits.clone(),
        learner: Arc::new(Learner::counting(Arc::clone(&metrics))),
        joining: Joining::new(
            access.clone(),
            config.join_at(listening),
            listening.port(),
            meta.log_id,
            Arc::clone(&clock),
            stop.clone(),
        ),
        access: access.clone(),
        clock,
        meta,
        stop: stop.clone(),
        streams: TaskTracker::new(),
    };
    services.streams.spawn(learner::follow(
        Arc::clone(&services.learner),
        services.reads.clone(),
        Arc::clone(&services.clock),
        stop.clone(),
    ));
    tokio::spawn(supervision::watchdog(writer.clone(), stop.clone()));
    services
        .streams
        .spawn(mender::follow(opener, writer.clone(), stop.clone()));
    let calls = CallsLayer::new(Arc::clone(&metrics), limits.clone());
    let metrics_at = tell_figures(&config, &services, metrics).await;
    let (health, routes) = health::with_health(services.routes(), &heads).await;
    let layers = (calls, GateLayer::new(Arc::clone(&services.clock)));
    let mut servers = JoinSet::new();
    if let Some(kept) = access.kept() {
        let config = tls::for_devices(kept, Arc::clone(&services.clock))?;
        let incoming = doors::tls(tcp, config, access.clone(), limits.clone(), stop.clone());
        servers.spawn(listen(
            incoming,
            layers.clone(),
            routes.clone(),
            stop.clone(),
        ));
    } else {
        let incoming = doors::plain(tcp, limits.clone(), stop.clone());
        servers.spawn(listen(
            incoming,
            layers.clone(),
            routes.clone(),
            stop.clone(),
        ));
    }
    if let Some(unix) = unix {
        let incoming = doors::unix(unix, access.clone(), limits, stop.clone());
        servers.spawn(listen(incoming, layers, routes, stop.clone()));
    }

    let head_seq = heads.borrow().log_seq;
    tracing::info!(%listening, ?socket, head_seq, "listening");
    ready(&Ready {
        listening,
        socket,
        meta,
        head_seq,
        certificates: access.kept().is_some(),
        metrics: metrics_at,
    });
    notify(&[sd_notify::NotifyState::Ready]);
    let ended = tokio::select! {
        () = stop.cancelled() => Ok(()),
        ended = until_broken(&mut servers, heads.clone(), &health) => Err(ended),
    };
    notify(&[sd_notify::NotifyState::Stopping]);
    tracing::info!("stopping: no new calls");
    stop.cancel();
    health.stopping().await;
    finish(servers, &services, thread).await;
    // A daemon that starts now makes its own.
    if let Some(socket) = own_socket {
        let _ = std::fs::remove_file(socket);
    }
    drop(lock);
    tracing::info!("stopped");
    ended
}

/// Lets figures be read, where that was asked for. A port that is taken costs
/// the figures and not the posts.
async fn tell_figures(
    config: &Config,
    services: &Services,
    metrics: Arc<Metrics>,
) -> Option<SocketAddr> {
    let asked = config.metrics?;
    let bound = TcpListener::bind(asked)
        .await
        .and_then(|listener| Ok((listener.local_addr()?, listener)));
    let (at, listener) = match bound {
        Ok(bound) => bound,
        Err(error) => {
            tracing::warn!(%asked, %error, "no metrics: the address cannot be listened on; `--metrics ADDRESS:PORT` gives another");
            return None;
        }
    };
    let page = Page::new(Live {
        data_dir: config.data_dir.clone(),
        writer: services.writer.clone(),
        clock: Arc::clone(&services.clock),
        metrics,
        access: services.access.clone(),
        stop: services.stop.clone(),
    });
    // Not among the streams: a stop waits for no reader of figures.
    tokio::spawn(endpoint::serve(listener, page, services.stop.clone()));
    Some(at)
}

/// A log that is not there is made, on a shop's first day. Where facts lie
/// beside it there was one, and a new one in its place would hide the loss.
pub(crate) fn refuse_lost_log(data_dir: &Path) -> Result<(), ServeError> {
    let log = data_dir.join(LOG_FILE);
    let state = match std::fs::metadata(&log) {
        Ok(file) if file.len() > 0 => return Ok(()),
        Ok(_) => "is empty",
        Err(_) => "is not there",
    };
    // An empty log in its place would be another log to every bay.
    if data_dir.join(WORK_FOLDER).is_dir() {
        return Err(ServeError::HalfRestored {
            dir: data_dir.to_owned(),
        });
    }
    match facts::folded_records(data_dir) {
        0 => Ok(()),
        folded => Err(ServeError::LogLost { log, state, folded }),
    }
}

/// Checks the log from its first record while the daemon works.
fn verify_rest(
    data_dir: &Path,
    writer: &Writer,
    stop: CancellationToken,
) -> Result<(), ServeError> {
    let log = LogReader::open(data_dir)?;
    let writer = writer.clone();
    std::thread::Builder::new()
        .name("log-verifier".to_owned())
        .spawn(move || match verify(&log, |_, _| !stop.is_cancelled()) {
            Ok(whole) => tracing::debug!(records = whole.records, "the log is whole"),
            Err(broken) => writer.read_only(broken),
        })
        .map_err(ServeError::io("starting the thread that checks the log"))?;
    Ok(())
}

async fn wait_for_facts(heads: &tokio::sync::watch::Receiver<Heads>) {
    let mut heads = heads.clone();
    let opened = heads.wait_for(|heads| heads.facts != Standing::Opening);
    let limit = Duration::from_millis(START_FACTS_MS_MAX);
    if tokio::time::timeout(limit, opened).await.is_err() {
        tracing::info!("the facts are still being worked out; bays can post already");
    }
}

/// The socket that was asked for, else the one in the data directory unless
/// the system could not bind so long a path.
fn socket_path(config: &Config) -> Option<PathBuf> {
    let path = config.socket_path();
    if config.socket.is_none() && path.as_os_str().len() > SOCKET_PATH_BYTES_MAX {
        tracing::warn!(
            path = %path.display(),
            "no Unix socket: its path is too long; --socket PATH gives a shorter one"
        );
        return None;
    }
    Some(path)
}

fn socket_mode(access: &Access) -> u32 {
    match access.kept() {
        Some(_) => SOCKET_MODE_DECIDED,
        None => SOCKET_MODE,
    }
}

/// Binds the Unix socket. A socket that nobody answers on is left over from a
/// daemon that was killed, and goes.
async fn bind_socket(path: &Path, mode: u32) -> Result<UnixListener, ServeError> {
    // Connecting to any other file is refused as to a socket left over.
    if let Ok(there) = std::fs::symlink_metadata(path)
        && !there.file_type().is_socket()
    {
        return Err(ServeError::NoSocket {
            path: path.to_owned(),
        });
    }
    if path.exists() {
        match UnixStream::connect(path).await {
            Err(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
                std::fs::remove_file(path).map_err(ServeError::io(format!(
                    "removing the left-over socket {}",
                    path.display()
                )))?;
            }
            _ => {
                return Err(ServeError::SocketInUse {
                    path: path.to_owned(),
                });
            }
        }
    }
    let listener = UnixListener::bind(path).map_err(ServeError::io(format!(
        "listening on the socket {}",
        path.display()
    )))?;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).map_err(
        ServeError::io(format!("keeping the socket {} private", path.display())),
    )?;
    Ok(listener)
}

/// Serves one listener until the stop; graceful, and cut off by the caller.
async fn listen<I, IO>(
    incoming: I,
    (calls, gate): (CallsLayer, GateLayer),
    routes: Routes,
    stop: CancellationToken,
) -> Result<(), tonic::transport::Error>
where
    I: Stream<Item = Result<IO, std::io::Error>>,
    IO: AsyncRead + AsyncWrite + Connected + Unpin + Send + 'static,
{
    server()
        .layer(calls)
        .layer(gate)
        .add_routes(routes)
        .serve_with_incoming_shutdown(incoming, stop.cancelled_owned())
        .await
}

/// A server with every limit that is ours.
pub(crate) fn server() -> tonic::transport::Server {
    tonic::transport::Server::builder()
        .concurrency_limit_per_connection(CALLS_PER_CONNECTION_MAX)
        .max_concurrent_streams(STREAMS_PER_CONNECTION_MAX)
        .http2_max_header_list_size(HEADER_BYTES_MAX)
        .http2_max_pending_accept_reset_streams(Some(TAKEN_BACK_MAX))
        .http2_max_local_error_reset_streams(Some(FAULTS_MAX))
        .max_frame_size(FRAME_BYTES_MAX)
        .initial_stream_window_size(STREAM_WINDOW_BYTES)
        .initial_connection_window_size(CONNECTION_WINDOW_BYTES)
        .http2_keepalive_interval(Some(Duration::from_millis(KEEP_ALIVE_MS)))
        .http2_keepalive_timeout(Some(Duration::from_millis(KEEP_ALIVE_ANSWER_MS_MAX)))
}

/// Ends when the daemon cannot go on; tells the health service meanwhile.
async fn until_broken(
    servers: &mut JoinSet<Result<(), tonic::transport::Error>>,
    mut heads: tokio::sync::watch::Receiver<Heads>,
    health: &Health,
) -> ServeError {
    loop {
        tokio::select! {
            Some(ended) = servers.join_next() => match ended {
                Ok(Err(error)) => return error.into(),
                Ok(Ok(())) => {}
                Err(error) => {
                    return ServeError::Io {
                        what: "a listener".to_owned(),
                        source: std::io::Error::other(error),
                    };
                }
            },
            changed = heads.changed() => {
                let now = heads.borrow_and_update().clone();
                if changed.is_err() || now.closed {
                    return ServeError::WriterEnded;
                }
                health.follow(&now).await;
            }
        }
    }
}

/// Ends calls and streams, then the writer, each within its part of the grace.
async fn finish(
    mut servers: JoinSet<Result<(), tonic::transport::Error>>,
    services: &Services,
    thread: std::thread::JoinHandle<()>,
) {
    let calls = async {
        services.streams.close();
        services.streams.wait().await;
        while let Some(ended) = servers.join_next().await {
            if let Ok(Err(error)) = ended {
                tracing::warn!(error = %chain(&error), "a listener ended with an error");
            }
        }
    };
    let limit = Duration::from_millis(STOP_GRACE_MS_MAX - STOP_WRITER_MS_MAX);
    if tokio::time::timeout(limit, calls).await.is_err() {
        // An idle connection that never closes is the usual reason.
        tracing::info!("calls that were still open are cut off");
        servers.shutdown().await;
    }
    let closed = async {
        services.writer.stop().await;
        let joined = tokio::task::spawn_blocking(move || thread.join()).await;
        if !matches!(joined, Ok(Ok(()))) {
            tracing::error!("the log's writer ended with a panic");
        }
    };
    if tokio::time::timeout(Duration::from_millis(STOP_WRITER_MS_MAX), closed)
        .await
        .is_err()
    {
        tracing::error!("the log's writer did not end in time; what was acknowledged is on disk");
    }
}
