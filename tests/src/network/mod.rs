//! A TCP proxy under a test's control, between real bays and a real daemon.
//!
//! It knows bytes alone, so what it carries may be encrypted. Every connection
//! has two lanes, `up` to the daemon and `down` to the bay, and the test says
//! what each lets through. Nothing here waits on a clock: a slow network is one
//! that the test lets through byte by byte.

mod lane;

use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::{AbortHandle, JoinSet};

use lane::{Ending, pump};
pub use lane::{Flow, Lane};

/// What connections meet that are made from now on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Conduct {
    /// Each lane by its own flow.
    Carry { up: Flow, down: Flow },
    /// The connection is taken and ended at once.
    Refuse,
}

impl Conduct {
    /// Everything goes through.
    pub const OPEN: Self = Self::Carry {
        up: Flow::Open,
        down: Flow::Open,
    };

    /// Taken, and silent for ever: what arrives is thrown away.
    pub const HALF_OPEN: Self = Self::Carry {
        up: Flow::SwallowAfter(0),
        down: Flow::SwallowAfter(0),
    };

    /// As a cable that is pulled and put back: nothing moves until it is healed,
    /// and nothing is lost.
    pub const BLACK_HOLE: Self = Self::Carry {
        up: Flow::HoldAfter(0),
        down: Flow::HoldAfter(0),
    };

    /// What goes up meets this.
    pub fn up(up: Flow) -> Self {
        Self::Carry {
            up,
            down: Flow::Open,
        }
    }

    /// What comes down meets this.
    pub fn down(down: Flow) -> Self {
        Self::Carry {
            up: Flow::Open,
            down,
        }
    }
}

/// One connection that was made through the proxy.
#[derive(Debug)]
pub struct Connection {
    pub up: Lane,
    pub down: Lane,
    ending: watch::Sender<bool>,
}

impl Connection {
    fn new(up: Flow, down: Flow) -> Self {
        Self {
            up: Lane::new(up),
            down: Lane::new(down),
            ending: watch::channel(false).0,
        }
    }

    /// Ends it both ways.
    pub fn cut(&self) {
        self.ending.send_replace(true);
    }

    pub fn is_over(&self) -> bool {
        *self.ending.borrow()
    }

    /// Waits until it is over.
    pub async fn over(&self) {
        let mut ending = self.ending.subscribe();
        // The sender lives in `self`, so waiting cannot fail.
        let _ = ending.wait_for(|over| *over).await;
    }

    fn open(&self) {
        self.up.set(Flow::Open);
        self.down.set(Flow::Open);
    }
}

#[derive(Debug)]
struct Shared {
    conduct: Mutex<Conduct>,
    connections: watch::Sender<Vec<Arc<Connection>>>,
}

impl Shared {
    fn conduct(&self) -> MutexGuard<'_, Conduct> {
        self.conduct.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The proxy; it ends when it is dropped, with every connection.
#[derive(Debug)]
pub struct Proxy {
    /// Where bays find it: `127.0.0.1:PORT`.
    pub address: String,
    daemon: String,
    shared: Arc<Shared>,
    accepting: AbortHandle,
}

impl Proxy {
    /// A proxy before the daemon at an address; it lets everything through.
    pub async fn before(daemon: &str) -> io::Result<Self> {
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let address: SocketAddr = listener.local_addr()?;
        let shared = Arc::new(Shared {
            conduct: Mutex::new(Conduct::OPEN),
            connections: watch::channel(Vec::new()).0,
        });
        let accepting = tokio::spawn(accept(listener, daemon.to_owned(), Arc::clone(&shared)));
        Ok(Self {
            address: address.to_string(),
            daemon: daemon.to_owned(),
            shared,
            accepting: accepting.abort_handle(),
        })
    }

    /// What connections meet that are made from now on.
    pub fn meet(&self, conduct: Conduct) {
        *self.shared.conduct() = conduct;
    }

    /// Lets everything through, also on the connections there are.
    pub fn heal(&self) {
        self.meet(Conduct::OPEN);
        for connection in self.connections() {
            connection.open();
        }
    }

    /// Every connection since the start, oldest first.
    pub fn connections(&self) -> Vec<Arc<Connection>> {
        self.shared.connections.borrow().clone()
    }

    /// Waits for the connection of this number, from 0.
    pub async fn connection(&self, number: usize) -> Arc<Connection> {
        let mut connections = self.shared.connections.subscribe();
        loop {
            if let Some(found) = connections.borrow_and_update().get(number) {
                return Arc::clone(found);
            }
            // The sender lives in `self`.
            let _ = connections.changed().await;
        }
    }

    /// Sends bytes to the daemon again, over a connection of their own, and
    /// brings back what it answers until it has answered them or hung up.
    ///
    /// `answer_bytes` is how much to wait for: an HTTP/2 peer leaves the
    /// connection open.
    pub async fn replay(&self, bytes: &[u8], answer_bytes: usize) -> io::Result<Vec<u8>> {
        let mut stream = TcpStream::connect(&self.daemon).await?;
        stream.write_all(bytes).await?;
        let mut answer = Vec::new();
        let mut part = [0; 4096];
        while answer.len() < answer_bytes {
            match stream.read(&mut part).await {
                Ok(0) | Err(_) => break,
                Ok(read) => answer.extend_from_slice(part.get(..read).unwrap_or_default()),
            }
        }
        Ok(answer)
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.accepting.abort();
    }
}

async fn accept(listener: TcpListener, daemon: String, shared: Arc<Shared>) {
    // Dropped with this task, and every connection with it.
    let mut carried = JoinSet::new();
    loop {
        tokio::select! {
            accepted = listener.accept() => {
                // A bay that is gone before it was taken is no fault here.
                let Ok((bay, _)) = accepted else { continue };
                let conduct = *shared.conduct();
                let Conduct::Carry { up, down } = conduct else { continue };
                let connection = Arc::new(Connection::new(up, down));
                shared
                    .connections
                    .send_modify(|all| all.push(Arc::clone(&connection)));
                carried.spawn(carry(bay, daemon.clone(), connection));
            }
            Some(_) = carried.join_next() => {}
        }
    }
}

/// Carries one connection until either end, or the test, ends it.
async fn carry(bay: TcpStream, daemon: String, connection: Arc<Connection>) {
    if let Ok(daemon) = TcpStream::connect(&daemon).await {
        // Small answers must not wait for each other.
        let _ = (bay.set_nodelay(true), daemon.set_nodelay(true));
        let (from_bay, to_bay) = bay.into_split();
        let (from_daemon, to_daemon) = daemon.into_split();
        let mut ending = connection.ending.subscribe();
        let both = async {
            let up = pump(from_bay, to_daemon, &connection.up);
            let down = pump(from_daemon, to_bay, &connection.down);
            tokio::pin!(up, down);
            tokio::select! {
                Ending::Cut = &mut up => {}
                Ending::Cut = &mut down => {}
                else => {}
            }
        };
        tokio::select! {
            () = both => {}
            _ = ending.wait_for(|over| *over) => {}
        }
    }
    connection.cut();
}
