//! Taking connections in: bounded, each with a deadline for saying who it is,
//! and none able to hold up another.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use rustls::ServerConfig;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream, UnixListener, UnixStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::sync::CancellationToken;

use super::conn::{Conn, Peer};
use super::{Access, Caller};

/// Connections open at once on one listener. A shop has a handful of bays with
/// a few each; each costs some kilobytes.
pub const CONNECTIONS_MAX: usize = 256;

/// Longest time for saying who one is, milliseconds: a bay takes a few
/// milliseconds, over a bad radio a second or two.
pub const HANDSHAKE_MS_MAX: u64 = 10_000;

/// How long, and for how many bytes, a peer that was not let in is listened to.
const LINGER_MS_MAX: u64 = 1_000;
const LINGER_BYTES_MAX: usize = 64 * 1024;

/// Wait after an accept that failed, milliseconds: it fails for want of file
/// descriptors, which come back only when something closes.
const ACCEPT_PAUSE_MS: u64 = 50;

/// Connections that have said who they are and wait for the server to take
/// them; it does so at once.
const TAKEN_MAX: usize = 16;

/// Connections as the server takes them.
pub type Incoming<IO> = ReceiverStream<io::Result<Conn<IO>>>;

/// Plain connections of this computer, before `init`.
pub fn plain(listener: TcpListener, stop: CancellationToken) -> Incoming<TcpStream> {
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        |(stream, _), place| async move {
            stream.set_nodelay(true)?;
            Ok(Conn::new(
                stream,
                Peer::unlimited(Caller::OPEN),
                Some(place),
            ))
        },
    )
}

/// Connections over TLS whose certificate the access knows.
pub fn tls(
    listener: TcpListener,
    config: Arc<ServerConfig>,
    access: Access,
    stop: CancellationToken,
) -> Incoming<TlsStream<TcpStream>> {
    let acceptor = TlsAcceptor::from(config);
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        move |(stream, from), place| {
            let acceptor = acceptor.clone();
            let access = access.clone();
            async move {
                let greeted = async {
                    stream.set_nodelay(true)?;
                    let stream = match acceptor.accept(stream).into_fallible().await {
                        Ok(stream) => stream,
                        Err((error, stream)) => {
                            linger(stream).await;
                            return Err(error);
                        }
                    };
                    let peer = peer_of(&access, &stream)?;
                    Ok(Conn::new(stream, peer, Some(place)))
                };
                greeted.await.inspect_err(|error| {
                    tracing::info!(%from, %error, "a connection was not let in");
                })
            }
        },
    )
}

/// Lets the alert reach a peer that was not let in. With TLS 1.3 it has sent its
/// first request by then, and a close with unread bytes would overtake the alert.
async fn linger(mut stream: TcpStream) {
    let drained = async {
        stream.shutdown().await?;
        let mut unread = [0; 1024];
        let mut left = LINGER_BYTES_MAX;
        while left > 0 {
            match stream.read(&mut unread).await? {
                0 => break,
                read => left = left.saturating_sub(read),
            }
        }
        Ok::<_, io::Error>(())
    };
    let limit = Duration::from_millis(LINGER_MS_MAX);
    // Whether the peer heard it is its own affair.
    drop(tokio::time::timeout(limit, drained).await);
}

/// Who shows the certificate that the handshake proved.
fn peer_of(access: &Access, stream: &TlsStream<TcpStream>) -> io::Result<Peer> {
    let shown = stream.get_ref().1.peer_certificates();
    let certificate = shown.and_then(<[_]>::first);
    let (Some(kept), Some(certificate)) = (access.kept(), certificate) else {
        return Err(io::Error::from(io::ErrorKind::PermissionDenied));
    };
    kept.certificate(certificate)
        .map_err(|unknown| io::Error::new(io::ErrorKind::PermissionDenied, unknown))
}

/// Connections of the Unix socket, by the user at the other end.
pub fn unix(
    listener: UnixListener,
    access: Access,
    stop: CancellationToken,
) -> Incoming<UnixStream> {
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        move |stream: UnixStream, place| {
            let access = access.clone();
            async move {
                let user_id = stream.peer_cred()?.uid();
                let peer = access.user(user_id).unwrap_or_else(|unknown| {
                    tracing::info!(user_id, %unknown, "a user of this computer was not let in");
                    // Told in a sentence with the first call, which a closed
                    // connection could not be.
                    Peer::unlimited(Caller::nobody(user_id))
                });
                Ok(Conn::new(stream, peer, Some(place)))
            }
        },
    )
}

/// What hands out connections as they come.
pub(super) trait Door: Send + Sync + 'static {
    type Raw: Send + 'static;
    fn accept(&self) -> impl Future<Output = io::Result<Self::Raw>> + Send;
}

impl Door for TcpListener {
    type Raw = (TcpStream, SocketAddr);
    fn accept(&self) -> impl Future<Output = io::Result<Self::Raw>> + Send {
        Self::accept(self)
    }
}

impl Door for UnixListener {
    type Raw = UnixStream;
    async fn accept(&self) -> io::Result<UnixStream> {
        Ok(Self::accept(self).await?.0)
    }
}

/// Accepts until the stop. Each connection introduces itself on a task of its
/// own, within [`HANDSHAKE_MS_MAX`].
pub(super) fn accept_each<D, IO, Greeting>(
    door: D,
    connections_max: usize,
    stop: CancellationToken,
    greet: impl Fn(D::Raw, OwnedSemaphorePermit) -> Greeting + Send + Sync + 'static,
) -> Incoming<IO>
where
    D: Door,
    IO: Send + 'static,
    Greeting: Future<Output = io::Result<Conn<IO>>> + Send + 'static,
{
    let (taken, incoming) = mpsc::channel(TAKEN_MAX);
    let places = Arc::new(Semaphore::new(connections_max));
    tokio::spawn(async move {
        let accepting = async {
            // With every place taken the rest waits in the system's queue.
            while let Ok(place) = Arc::clone(&places).acquire_owned().await {
                match door.accept().await {
                    Ok(raw) => {
                        let greeting = greet(raw, place);
                        tokio::spawn(introduce(greeting, taken.clone()));
                    }
                    Err(error) => {
                        tracing::warn!(%error, "a connection could not be taken");
                        tokio::time::sleep(Duration::from_millis(ACCEPT_PAUSE_MS)).await;
                    }
                }
            }
        };
        tokio::select! {
            () = stop.cancelled() => {}
            () = accepting => {}
        }
    });
    ReceiverStream::new(incoming)
}

async fn introduce<IO>(
    greeting: impl Future<Output = io::Result<Conn<IO>>>,
    taken: mpsc::Sender<io::Result<Conn<IO>>>,
) {
    let limit = Duration::from_millis(HANDSHAKE_MS_MAX);
    match tokio::time::timeout(limit, greeting).await {
        // Refused only when the server has stopped.
        Ok(Ok(conn)) => drop(taken.send(Ok(conn)).await),
        Ok(Err(error)) => tracing::debug!(%error, "a connection ended before it began"),
        Err(_) => tracing::info!("a connection did not say in time who it is"),
    }
}
