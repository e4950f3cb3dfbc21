//! A connection with who is at its other end.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use baywright_terms::time::Micros;
use prometheus_client::metrics::gauge::Gauge;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::OwnedSemaphorePermit;
use tokio_util::sync::{CancellationToken, WaitForCancellationFutureOwned};
use tonic::transport::server::Connected;
use uuid::Uuid;

use super::devices::{Devices, RoleWord};
use super::patience::{Busy, Patience, Times};
use super::{Caller, never};
use crate::service::limits::Limits;

/// Who is at the other end of a connection. Each request carries it.
#[derive(Debug, Clone)]
pub struct Peer(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    caller: Caller,
    cut: CancellationToken,
    leave: Option<Leave>,
    patience: Patience,
}

/// Counts a connection of a device off when it ends.
#[derive(Debug)]
pub(super) struct Leave {
    devices: Devices,
    enrolment: Uuid,
}

impl Leave {
    pub(super) fn new(devices: Devices, enrolment: Uuid) -> Self {
        Self { devices, enrolment }
    }
}

impl Drop for Leave {
    fn drop(&mut self) {
        self.devices.leave(self.enrolment);
    }
}

impl Peer {
    pub(super) fn new(caller: Caller, cut: CancellationToken, leave: Leave) -> Self {
        Self(Arc::new(Inner {
            caller,
            cut,
            leave: Some(leave),
            patience: Patience::new(),
        }))
    }

    /// One whom nobody can cut off: the owner on this computer.
    pub fn unlimited(caller: Caller) -> Self {
        Self(Arc::new(Inner {
            caller,
            cut: never(),
            leave: None,
            patience: Patience::new(),
        }))
    }

    pub fn caller(&self) -> &Caller {
        &self.0.caller
    }

    /// Cancelled when the device is cut off.
    pub fn cut(&self) -> &CancellationToken {
        &self.0.cut
    }

    /// A call begins; the connection is not idle while it lasts.
    pub(crate) fn busy(&self) -> Busy {
        self.0.patience.busy()
    }

    /// Notes that it made a call.
    pub(super) fn seen(&self, now: Micros) {
        if let Some(leave) = &self.0.leave {
            leave.devices.seen(leave.enrolment, now.0);
        }
    }
}

/// A connection that ends when its device is cut off.
#[derive(Debug)]
pub struct Conn<IO> {
    io: IO,
    peer: Peer,
    cut: Pin<Box<WaitForCancellationFutureOwned>>,
    times: Times,
    /// When to look next whether it was silent for too long.
    look: Pin<Box<tokio::time::Sleep>>,
    counted: Option<Counted>,
    /// Its place among the connections open at once.
    _place: Option<OwnedSemaphorePermit>,
}

/// Counts a connection among those open, until it ends.
#[derive(Debug)]
struct Counted {
    limits: Limits,
    open: Gauge,
}

impl Drop for Counted {
    fn drop(&mut self) {
        self.open.dec();
    }
}

impl<IO> Conn<IO> {
    pub fn new(io: IO, peer: Peer, place: Option<OwnedSemaphorePermit>) -> Self {
        Self {
            io,
            cut: Box::pin(peer.cut().clone().cancelled_owned()),
            peer,
            times: Times::default(),
            // Looked at with the first poll.
            look: Box::pin(tokio::time::sleep(Duration::ZERO)),
            counted: None,
            _place: place,
        }
    }

    /// Counts it among the connections that are open, and what it is over.
    #[must_use]
    pub(super) fn counted(mut self, limits: Limits) -> Self {
        let open = limits.connections(RoleWord::named(self.peer.caller().role));
        open.inc();
        self.counted = Some(Counted { limits, open });
        self
    }

    /// With other limits of silence than the daemon's.
    #[cfg(test)]
    #[must_use]
    pub(crate) fn patient_for(mut self, times: Times) -> Self {
        self.times = times;
        self
    }

    /// Fails once it was silent for too long, and wakes the task to look again.
    fn not_silent(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        while self.look.as_mut().poll(cx).is_ready() {
            match self.peer.0.patience.look(self.times, Instant::now()) {
                Ok(again) => self.look.as_mut().reset(again.into()),
                Err(bound) => {
                    if let Some(counted) = &self.counted {
                        counted.limits.over(bound, Instant::now());
                    }
                    tracing::debug!(bound = bound.word(), "a silent connection was ended");
                    return Err(io::Error::new(
                        io::ErrorKind::TimedOut,
                        "the connection was silent for too long",
                    ));
                }
            }
        }
        Ok(())
    }

    /// Fails once the device is cut off, and wakes the task when that happens.
    fn still_let_in(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        match self.cut.as_mut().poll(cx) {
            Poll::Ready(()) => Err(io::Error::new(
                io::ErrorKind::ConnectionAborted,
                "the device was cut off",
            )),
            Poll::Pending => Ok(()),
        }
    }
}

impl<IO> Connected for Conn<IO> {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        self.peer.clone()
    }
}

impl<IO: AsyncRead + Unpin> AsyncRead for Conn<IO> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.still_let_in(cx)?;
        self.not_silent(cx)?;
        Pin::new(&mut self.io).poll_read(cx, buf)
    }
}

impl<IO: AsyncWrite + Unpin> AsyncWrite for Conn<IO> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.still_let_in(cx)?;
        Pin::new(&mut self.io).poll_write(cx, buf)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.still_let_in(cx)?;
        Pin::new(&mut self.io).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        // Not refused to a device that was cut off: the goodbye may go out.
        Pin::new(&mut self.io).poll_shutdown(cx)
    }
}
