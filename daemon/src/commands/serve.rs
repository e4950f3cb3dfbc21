//! `baywrightd serve`.

use std::io::{IsTerminal as _, Write as _};
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use baywright_proto::DEFAULT_PORT;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;

use super::data_dir_of;
use crate::access::is_initialised;
use crate::args::{LogFormat, ServeArgs};
use crate::clock::SystemClock;
use crate::config::{Config, NotLoopback, loopback_only, metrics_on_loopback};
use crate::lifecycle::{Ready, serve};
use crate::supervision::{Listeners, handed_over};

/// Threads that carry calls. The work is on the writer's and the readers'
/// threads, so that two are enough on the smallest server.
const CALL_THREADS: usize = 2;

pub(super) fn run(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    start_trace(args.log);
    let data_dir = data_dir_of(&args.data)?;
    let mut config = Config {
        data_dir: data_dir.clone(),
        listen: place(args, &data_dir)?,
        join_port: args.join_port,
        socket: args.socket.clone(),
        metrics: metrics_on_loopback(args.metrics.0)?,
    };
    let json = args.json;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(CALL_THREADS)
        .enable_all()
        .build()
        .context("the runtime could not be started")?;
    let done = runtime.block_on(async move {
        let listener = bind(&mut config).await?;
        let unix = handed_over().context("the socket of the service manager cannot be used")?;
        let listeners = Listeners {
            tcp: listener,
            unix,
        };
        let stop = CancellationToken::new();
        let at_once = stop_at_signals(stop.clone())?;
        let served = serve(config, listeners, Arc::new(SystemClock), stop, |ready| {
            if let Err(error) = announce(ready, json) {
                tracing::warn!(%error, "standard output is closed");
            }
        });
        tokio::select! {
            served = served => served.map(|()| ExitCode::SUCCESS).map_err(anyhow::Error::from),
            () = at_once.cancelled() => {
                tracing::warn!("stopped at once by a second signal; what was acknowledged is on disk");
                Ok(ExitCode::FAILURE)
            }
        }
    });
    // A read that still runs must not hold the process.
    runtime.shutdown_background();
    done
}

/// Where to listen: as asked, else on the loopback, and once there are
/// certificates on every address of this computer.
fn place(args: &ServeArgs, data_dir: &Path) -> Result<SocketAddr, NotLoopback> {
    if is_initialised(data_dir) {
        return Ok(args.listen.unwrap_or_else(everywhere));
    }
    loopback_only(args.listen.unwrap_or_else(loopback))
}

fn loopback() -> SocketAddr {
    SocketAddr::from((Ipv4Addr::LOCALHOST, DEFAULT_PORT))
}

/// Every address, IPv4 ones too where the system maps them, as it usually does.
fn everywhere() -> SocketAddr {
    SocketAddr::from((Ipv6Addr::UNSPECIFIED, DEFAULT_PORT))
}

/// Binds the port; a computer without IPv6 listens on its IPv4 addresses.
async fn bind(config: &mut Config) -> anyhow::Result<TcpListener> {
    let bound = match TcpListener::bind(config.listen).await {
        Err(error)
            if error.kind() != std::io::ErrorKind::AddrInUse && config.listen == everywhere() =>
        {
            config.listen = SocketAddr::from((Ipv4Addr::UNSPECIFIED, DEFAULT_PORT));
            TcpListener::bind(config.listen).await
        }
        bound => bound,
    };
    bound.with_context(|| format!("{} cannot be listened on", config.listen))
}

/// The first signal stops with grace, the second at once.
fn stop_at_signals(stop: CancellationToken) -> anyhow::Result<CancellationToken> {
    let mut terminate = signal(SignalKind::terminate()).context("SIGTERM cannot be heard")?;
    let mut interrupt = signal(SignalKind::interrupt()).context("SIGINT cannot be heard")?;
    let at_once = CancellationToken::new();
    let second = at_once.clone();
    tokio::spawn(async move {
        for token in [stop, second] {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt.recv() => {}
            }
            token.cancel();
        }
    });
    Ok(at_once)
}

/// Says that it can append, on standard output.
fn announce(ready: &Ready, json: bool) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    if json {
        let line = serde_json::json!({
            "listening": ready.listening.to_string(),
            "socket": ready.socket.as_ref().map(|path| path.to_string_lossy()),
            "log_id": uuid::Uuid::from_bytes(ready.meta.log_id).simple().to_string(),
            "epoch": ready.meta.epoch,
            "head_seq": ready.head_seq,
            "certificates": ready.certificates,
            "metrics": ready.metrics.map(|at| at.to_string()),
        });
        writeln!(out, "{line}")?;
    } else {
        write!(out, "listening on {}", ready.listening)?;
        if let Some(socket) = &ready.socket {
            write!(out, " and {}", socket.display())?;
        }
        let who = if ready.certificates {
            "certificates asked for"
        } else {
            "no certificates yet: this computer only"
        };
        write!(out, ", log at seq {}, {who}", ready.head_seq)?;
        if let Some(metrics) = ready.metrics {
            write!(out, ", metrics on {metrics}")?;
        }
        writeln!(out)?;
    }
    out.flush()
}

/// The trace goes to standard error, where systemd's journal keeps it.
fn start_trace(format: LogFormat) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(crate::trace::Trace);
    let set = match format {
        LogFormat::Text => builder
            .with_ansi(std::io::stderr().is_terminal())
            .try_init(),
        LogFormat::Json => builder.json().try_init(),
    };
    // Set before by whoever runs this inside another program.
    let _ = set;
}
