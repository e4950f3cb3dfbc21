//! The way to the daemon: which address, and deadlines on everything.

use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use baywright_proto::{DEFAULT_PORT, DEFAULT_SOCKET};
use etcetera::BaseStrategy as _;
use hyper_util::rt::TokioIo;
use rustls::ClientConfig;
use tokio::net::{TcpStream, UnixStream};
use tokio_rustls::TlsConnector;
use tonic::transport::{Channel, Endpoint, Uri};

use crate::delivery::refusal::{Cause, Refused};
use crate::error::{Error, of_tls};
use crate::joined::Joined;
use crate::joined::tls::server_name;

/// Longest wait for a connection. A daemon in the same building answers in
/// milliseconds; past this the person should not stand and wait.
pub const CONNECT_MS_MAX: u64 = 1_500;

/// Longest wait for the answer to a post or a look at the floor.
pub const CALL_MS_MAX: u64 = 5_000;

/// Longest wait for a report, which may fold the log anew.
pub const REPORT_MS_MAX: u64 = 60_000;

/// How often a connection that carries a call is asked whether it still lives.
/// A half-open one is given up after this and [`KEEP_ALIVE_ANSWER_MS_MAX`].
const KEEP_ALIVE_MS: u64 = 2_000;

/// Longest wait for the answer to a keep-alive.
const KEEP_ALIVE_ANSWER_MS_MAX: u64 = 2_000;

/// How a device with a certificate reaches its daemon over TCP.
type Tls = Arc<ClientConfig>;

/// Where the daemon listens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Server {
    Tcp(String),
    Unix(PathBuf),
    /// Nobody said: the default socket where it exists, else the default port.
    Default,
}

impl FromStr for Server {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self, Error> {
        let text = text.trim();
        if let Some(path) = text.strip_prefix("unix:") {
            return Ok(Self::Unix(PathBuf::from(path)));
        }
        if text.starts_with('/') || text.starts_with("./") {
            return Ok(Self::Unix(PathBuf::from(text)));
        }
        let (host, port) = match text.rsplit_once(':') {
            // An IPv6 address without port has colons and no bracket at its end.
            Some((host, port)) if !host.contains(':') || host.ends_with(']') => (host, Some(port)),
            _ => (text, None),
        };
        let port = match port {
            Some(port) => port.parse::<u16>().map_err(|_| unreadable(text))?,
            None => DEFAULT_PORT,
        };
        // Brackets stand around the whole of an IPv6 address or nowhere.
        let bare = match host.strip_prefix('[').and_then(|h| h.strip_suffix(']')) {
            Some(inside) if inside.contains(':') => inside,
            Some(_) => return Err(unreadable(text)),
            None => host,
        };
        let known = |c: char| c.is_ascii_alphanumeric() || "-._:%".contains(c);
        // `unix` is the word before the path of a socket, and no host.
        if bare.is_empty() || bare == "unix" || !bare.chars().all(known) {
            return Err(unreadable(text));
        }
        let host = if bare.contains(':') {
            format!("[{bare}]")
        } else {
            bare.to_owned()
        };
        Ok(Self::Tcp(format!("{host}:{port}")))
    }
}

fn unreadable(text: &str) -> Error {
    Error::usage(format!("`{text}` is not a place where a daemon listens."))
        .with_hint("Write HOST:PORT, for example 192.0.2.7:7421, or unix:PATH.")
}

impl std::fmt::Display for Server {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tcp(address) => f.write_str(address),
            Self::Unix(path) => write!(f, "unix:{}", path.display()),
            Self::Default => write!(f, "127.0.0.1:{DEFAULT_PORT}"),
        }
    }
}

impl Server {
    /// Opens a connection, within [`CONNECT_MS_MAX`]. With `tls` every TCP
    /// connection shows this device's certificate.
    pub async fn connect(&self, tls: Option<&Tls>) -> Result<Channel, Error> {
        let deadline = Duration::from_millis(CONNECT_MS_MAX);
        match tokio::time::timeout(deadline, self.open(tls)).await {
            Ok(result) => result,
            Err(_) => Err(self.silent("it did not answer in time")),
        }
    }

    async fn open(&self, tls: Option<&Tls>) -> Result<Channel, Error> {
        match self {
            Self::Tcp(address) => match tls {
                Some(tls) => self.open_tls(address.clone(), Arc::clone(tls)).await,
                None => self.open_tcp(address).await,
            },
            Self::Unix(path) => self.open_unix(path.clone()).await,
            Self::Default => {
                for socket in default_sockets() {
                    if let Ok(channel) = self.open_unix(socket).await {
                        return Ok(channel);
                    }
                }
                self.open_tcp(&format!("127.0.0.1:{DEFAULT_PORT}")).await
            }
        }
    }

    async fn open_tcp(&self, address: &str) -> Result<Channel, Error> {
        let endpoint = Endpoint::from_shared(format!("http://{address}"))
            .map_err(|_| unreadable(address))?
            .tcp_nodelay(true);
        patient(endpoint)
            .connect()
            .await
            .map_err(|e| self.silent(&root_cause(&e)))
    }

    async fn open_tls(&self, address: String, tls: Tls) -> Result<Channel, Error> {
        let name = server_name().map_err(|e| Error::internal(format!("TLS: {e}.")))?;
        // The certificate's name is fixed; the address only says where to knock.
        let endpoint = patient(Endpoint::from_static("http://baywrightd"));
        let connector = tower::service_fn(move |_: Uri| {
            let (address, name) = (address.clone(), name.clone());
            let tls = TlsConnector::from(Arc::clone(&tls));
            async move {
                let stream = TcpStream::connect(address).await?;
                stream.set_nodelay(true)?;
                tls.connect(name, stream).await.map(TokioIo::new)
            }
        });
        endpoint
            .connect_with_connector(connector)
            .await
            .map_err(|e| of_tls(&e).unwrap_or_else(|| self.silent(&root_cause(&e))))
    }

    async fn open_unix(&self, path: PathBuf) -> Result<Channel, Error> {
        // The address of a socket is its path; the URI only fills the header.
        let endpoint = patient(Endpoint::from_static("http://localhost"));
        let connector = tower::service_fn(move |_: Uri| {
            let path = path.clone();
            async move { UnixStream::connect(path).await.map(TokioIo::new) }
        });
        endpoint
            .connect_with_connector(connector)
            .await
            .map_err(|e| self.silent(&root_cause(&e)))
    }

    fn silent(&self, why: &str) -> Error {
        Error::unreachable(format!("No daemon at {self}: {why}."))
            .with_hint("Is baywrightd running? `--server HOST:PORT` names another place.")
    }
}

/// Sockets of a daemon on this machine that exist: where a service unit has it,
/// and in the data folder of a daemon this user started. One nobody listens on
/// any more is passed over.
fn default_sockets() -> impl Iterator<Item = PathBuf> {
    let own = etcetera::base_strategy::Xdg::new()
        .ok()
        .map(|xdg| xdg.data_dir().join("baywright").join(SOCKET_FILE));
    [PathBuf::from(DEFAULT_SOCKET), PathBuf::from(STATE_SOCKET)]
        .into_iter()
        .chain(own)
        .filter(|socket| socket.exists())
}

/// The daemon's socket in its data folder.
const SOCKET_FILE: &str = "bay.sock";

/// The same where systemd keeps the data (`StateDirectory=baywright`).
const STATE_SOCKET: &str = "/var/lib/baywright/bay.sock";

/// A connection that is opened on first use and kept.
///
/// A failure to connect is remembered until [`Link::forget`]: one run of a
/// command waits for a silent daemon once.
#[derive(Debug)]
pub struct Link {
    server: Server,
    tls: Option<Tls>,
    opened: Option<Result<Channel, Error>>,
    /// A daemon that was silent once is not asked again.
    waits_once: bool,
}

impl Link {
    pub fn new(server: Server) -> Self {
        Self {
            server,
            tls: None,
            opened: None,
            waits_once: false,
        }
    }

    /// For a command at which a person stands: several posts wait for one
    /// silence, not for one each.
    #[must_use]
    pub fn waiting_once(self) -> Self {
        Self {
            waits_once: true,
            ..self
        }
    }

    /// As [`Link::new`], showing this device's certificate on TCP.
    pub fn with_tls(server: Server, tls: Arc<ClientConfig>) -> Self {
        Self {
            tls: Some(tls),
            ..Self::new(server)
        }
    }

    /// The link of a data folder: with its certificate where it has joined. Without
    /// a `server` the one that it joined, or the default place.
    pub fn of_folder(folder: &Path, server: Option<Server>) -> Result<Self, Error> {
        let Some(joined) = Joined::read(folder)? else {
            return Ok(Self::new(server.unwrap_or(Server::Default)));
        };
        let server = match server {
            Some(server) => server,
            None => joined.about.server.parse()?,
        };
        Ok(match server {
            Server::Unix(_) => Self::new(server),
            Server::Tcp(_) | Server::Default => Self::with_tls(server, joined.tls()?),
        })
    }

    /// A link that opens nothing, and says why.
    pub fn broken(why: Error) -> Self {
        Self {
            opened: Some(Err(why)),
            ..Self::new(Server::Default)
        }
    }

    /// The connection where one is open already.
    pub fn opened(&self) -> Option<Channel> {
        self.opened.clone()?.ok()
    }

    pub fn server(&self) -> &Server {
        &self.server
    }

    /// The connection, or why there is none.
    pub async fn channel(&mut self) -> Result<Channel, Error> {
        if let Some(known) = &self.opened {
            return known.clone();
        }
        let opened = self.server.connect(self.tls.as_ref()).await;
        self.opened.insert(opened).clone()
    }

    /// The next call connects anew.
    pub fn forget(&mut self) {
        self.opened = None;
    }

    /// Nobody answers there: asked no more until [`Link::forget`].
    pub(crate) fn give_up(&mut self, error: Error) {
        self.opened = Some(Err(error));
    }

    /// Gives a connection up that brought no answer.
    pub(crate) fn forget_after(&mut self, refused: &Refused) {
        if refused.cause == Cause::Later {
            let remembered = self.waits_once && refused.is_silence;
            self.opened = remembered.then(|| Err(refused.error.clone()));
        }
    }
}

/// Deadlines and keep-alive: a half-open connection is noticed while a call waits.
fn patient(endpoint: Endpoint) -> Endpoint {
    endpoint
        .connect_timeout(Duration::from_millis(CONNECT_MS_MAX))
        .http2_keep_alive_interval(Duration::from_millis(KEEP_ALIVE_MS))
        .keep_alive_timeout(Duration::from_millis(KEEP_ALIVE_ANSWER_MS_MAX))
        .keep_alive_while_idle(true)
}

/// The innermost cause, in the operating system's words without its number.
fn root_cause(error: &(dyn std::error::Error + 'static)) -> String {
    let mut cause = error;
    while let Some(source) = cause.source() {
        cause = source;
    }
    let text = cause.to_string();
    let text = text.split(" (os error").next().unwrap_or_default();
    text.to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_server_is_a_host_with_a_port_or_a_socket() {
        for (typed, means) in [
            ("127.0.0.1:7421", "127.0.0.1:7421"),
            ("shop-server", "shop-server:7421"),
            ("[::1]:9", "[::1]:9"),
            ("::1", "[::1]:7421"),
            ("unix:/run/b.sock", "unix:/run/b.sock"),
            ("/run/b.sock", "unix:/run/b.sock"),
        ] {
            let server: Server = typed.parse().unwrap();
            assert_eq!(server.to_string(), means, "{typed}");
        }
        for typed in [
            "",
            ":1",
            "host:port",
            "host:70000",
            "a b:1",
            "http://x:1",
            "[::1",
            "[::1:9",
            "[]:9",
            "[x]:9",
            "a]:9",
            "unix",
        ] {
            let error = typed.parse::<Server>().unwrap_err();
            assert_eq!(error.kind(), crate::error::Kind::Usage, "{typed}");
        }
    }
}
