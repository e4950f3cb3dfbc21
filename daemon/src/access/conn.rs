//! A connection with who is at its other end.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::OwnedSemaphorePermit;
use tokio_util::sync::{CancellationToken, WaitForCancellationFutureOwned};
use tonic::transport::server::Connected;
use uuid::Uuid;

use super::devices::Devices;
use super::{Caller, never};
use baywright_terms::time::Micros;

/// Who is at the other end of a connection. Each request carries it.
#[derive(Debug, Clone)]
pub struct Peer(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    caller: Caller,
    cut: CancellationToken,
    leave: Option<Leave>,
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
        }))
    }

    /// One whom nobody can cut off: the owner on this computer.
    pub fn unlimited(caller: Caller) -> Self {
        Self(Arc::new(Inner {
            caller,
            cut: never(),
            leave: None,
        }))
    }

    pub fn caller(&self) -> &Caller {
        &self.0.caller
    }

    /// Cancelled when the device is cut off.
    pub fn cut(&self) -> &CancellationToken {
        &self.0.cut
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
    /// Its place among the connections open at once.
    _place: Option<OwnedSemaphorePermit>,
}

impl<IO> Conn<IO> {
    pub fn new(io: IO, peer: Peer, place: Option<OwnedSemaphorePermit>) -> Self {
        Self {
            io,
            cut: Box::pin(peer.cut().clone().cancelled_owned()),
            peer,
            _place: place,
        }
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
