//! Taking connections in: bounded, each with a deadline for saying who it is,
//! and none able to hold up another.

use std::collections::BTreeMap;
use std::future::Future;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

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
use crate::service::limits::{Bound, Limits};

/// Connections open at once on one listener. A shop has a handful of bays with
/// a few each; each costs some kilobytes.
pub const CONNECTIONS_MAX: usize = 256;

/// Longest time for saying who one is, milliseconds: a bay takes a few
/// milliseconds, over a bad radio a second or two.
pub const HANDSHAKE_MS_MAX: u64 = 10_000;

/// Peers of one address that may be saying who they are at once. A shop's bays
/// do so one at a time; one machine that only connects cannot take the places
/// of all others.
pub const GREETINGS_PER_ADDRESS_MAX: usize = 16;

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
pub fn plain(
    listener: TcpListener,
    limits: Limits,
    stop: CancellationToken,
) -> Incoming<TcpStream> {
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        move |(stream, _), place| {
            let limits = limits.clone();
            async move {
                stream.set_nodelay(true)?;
                let peer = Peer::unlimited(Caller::OPEN);
                Ok(Conn::new(stream, peer, Some(place)).counted(limits))
            }
        },
    )
}

/// Connections over TLS whose certificate the access knows.
pub fn tls(
    listener: TcpListener,
    config: Arc<ServerConfig>,
    access: Access,
    limits: Limits,
    stop: CancellationToken,
) -> Incoming<TlsStream<TcpStream>> {
    let acceptor = TlsAcceptor::from(config);
    let greetings = Greetings::default();
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        move |(stream, from), place| {
            let acceptor = acceptor.clone();
            let (access, limits) = (access.clone(), limits.clone());
            let greeting = greetings.begin(from.ip());
            async move {
                let greeted = async {
                    let Some(_greeting) = greeting else {
                        if limits.over(Bound::Greetings, Instant::now()) {
                            tracing::warn!(%from, "an address has too many connections that do not say who they are; not told again for a while");
                        }
                        return Err(io::Error::from(io::ErrorKind::QuotaExceeded));
                    };
                    stream.set_nodelay(true)?;
                    let stream = match acceptor.accept(stream).into_fallible().await {
                        Ok(stream) => stream,
                        Err((error, stream)) => {
                            linger(stream).await;
                            return Err(error);
                        }
                    };
                    let peer = peer_of(&access, &stream)?;
                    Ok(Conn::new(stream, peer, Some(place)).counted(limits))
                };
                greeted.await.inspect_err(|error| {
                    if error.kind() != io::ErrorKind::QuotaExceeded {
                        tracing::info!(%from, %error, "a connection was not let in");
                    }
                })
            }
        },
    )
}

/// Who is saying who they are, by address.
#[derive(Debug, Clone, Default)]
struct Greetings(Arc<Mutex<BTreeMap<IpAddr, usize>>>);

/// One of them, until it is dropped.
#[derive(Debug)]
struct Greeting {
    all: Greetings,
    from: IpAddr,
}

impl Greetings {
    /// Nothing where the address has as many as it may.
    fn begin(&self, from: IpAddr) -> Option<Greeting> {
        let mut counts = self.lock();
        let count = counts.entry(from).or_default();
        if *count >= GREETINGS_PER_ADDRESS_MAX {
            return None;
        }
        *count += 1;
        let all = self.clone();
        Some(Greeting { all, from })
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<IpAddr, usize>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Greeting {
    fn drop(&mut self) {
        let mut counts = self.all.lock();
        if let Some(count) = counts.get_mut(&self.from) {
            *count -= 1;
            if *count == 0 {
                counts.remove(&self.from);
            }
        }
    }
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
    limits: Limits,
    stop: CancellationToken,
) -> Incoming<UnixStream> {
    accept_each(
        listener,
        CONNECTIONS_MAX,
        stop,
        move |stream: UnixStream, place| {
            let (access, limits) = (access.clone(), limits.clone());
            async move {
                let user_id = stream.peer_cred()?.uid();
                let peer = access.user(user_id).unwrap_or_else(|unknown| {
                    tracing::info!(user_id, %unknown, "a user of this computer was not let in");
                    // Told in a sentence with the first call, which a closed
                    // connection could not be.
                    Peer::unlimited(Caller::nobody(user_id))
                });
                Ok(Conn::new(stream, peer, Some(place)).counted(limits))
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

#[cfg(test)]
mod tests {
    use baywright_terms::time::Micros;
    use tokio::net::TcpSocket;

    use super::*;
    use crate::clock::SetClock;

    /// Shorter than the deadline of a handshake, so that it is not what ends one.
    const PATIENCE: Duration = Duration::from_millis(HANDSHAKE_MS_MAX / 2);

    async fn connect(from: &str, to: SocketAddr) -> TcpStream {
        let socket = TcpSocket::new_v4().unwrap();
        socket
            .bind(SocketAddr::new(from.parse().unwrap(), 0))
            .unwrap();
        socket.connect(to).await.unwrap()
    }

    /// Waits for the other end to close; tells whether it did.
    async fn is_closed(stream: &mut TcpStream, patience: Duration) -> bool {
        let mut heard = Vec::new();
        let ended = stream.read_to_end(&mut heard);
        tokio::time::timeout(patience, ended).await.is_ok()
    }

    #[tokio::test]
    async fn an_address_that_only_connects_leaves_room_for_the_others() {
        let dir = tempfile::tempdir().unwrap();
        super::super::init(dir.path()).unwrap();
        let access = Access::load(dir.path()).unwrap();
        let clock = Arc::new(SetClock::at(Micros(1_795_424_400_000_000)));
        let config = super::super::tls::for_devices(access.kept().unwrap(), clock).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let stop = CancellationToken::new();
        let limits = Limits::new(Arc::default());
        let _incoming = tls(listener, config, access, limits, stop.clone());
        let mut silent = Vec::new();
        for _ in 0..GREETINGS_PER_ADDRESS_MAX {
            silent.push(connect("127.0.0.2", address).await);
        }
        // More than there are places in all: each is closed at once.
        for _ in 0..CONNECTIONS_MAX {
            let mut more = connect("127.0.0.2", address).await;
            assert!(is_closed(&mut more, PATIENCE).await);
        }
        // Another address is heard: nonsense is told so and closed.
        let mut other = connect("127.0.0.1", address).await;
        other.write_all(b"GET / HTTP/1.1\r\n\r\n").await.unwrap();
        assert!(is_closed(&mut other, PATIENCE).await);
        for stream in &mut silent {
            assert!(!is_closed(stream, Duration::from_millis(1)).await);
        }
        // Places come back.
        silent.clear();
        let again = async {
            loop {
                let mut again = connect("127.0.0.2", address).await;
                if !is_closed(&mut again, Duration::from_millis(50)).await {
                    return;
                }
            }
        };
        tokio::time::timeout(PATIENCE, again).await.unwrap();
        stop.cancel();
    }
}
