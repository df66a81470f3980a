//! Connections bounded in number and time: one that drips byte by byte holds
//! its place for half a minute and no longer.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Sleep, sleep};

/// Connections at once; others wait in the queue of the system.
const MOST_CONNECTIONS: usize = 32;
/// Pause when no connection can be had, as when files have run out.
const PAUSE: Duration = Duration::from_millis(500);

/// A listener that hands out a bounded number of connections.
pub(super) struct Bounded {
    listener: TcpListener,
    places: Arc<Semaphore>,
    life: Duration,
}

impl Bounded {
    pub(super) fn new(listener: TcpListener, life: Duration) -> Self {
        Self {
            listener,
            places: Arc::new(Semaphore::new(MOST_CONNECTIONS)),
            life,
        }
    }
}

impl Listener for Bounded {
    type Io = Mortal;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Mortal, SocketAddr) {
        let place = Arc::clone(&self.places).acquire_owned().await.ok();
        loop {
            match self.listener.accept().await {
                Ok((stream, peer)) => return (Mortal::new(stream, place, self.life), peer),
                Err(error) => {
                    tracing::debug!(%error, "no connection could be taken");
                    sleep(PAUSE).await;
                }
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A connection with an end.
pub(super) struct Mortal {
    stream: TcpStream,
    end: Pin<Box<Sleep>>,
    /// Given back with the connection.
    _place: Option<OwnedSemaphorePermit>,
}

impl Mortal {
    fn new(stream: TcpStream, place: Option<OwnedSemaphorePermit>, life: Duration) -> Self {
        Self {
            stream,
            end: Box::pin(sleep(life)),
            _place: place,
        }
    }

    fn is_over(&mut self, context: &mut Context<'_>) -> bool {
        self.end.as_mut().poll(context).is_ready()
    }
}

fn over<T>() -> Poll<io::Result<T>> {
    Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
}

impl AsyncRead for Mortal {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if self.is_over(context) {
            return over();
        }
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl AsyncWrite for Mortal {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        if self.is_over(context) {
            return over();
        }
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        if self.is_over(context) {
            return over();
        }
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        if self.is_over(context) {
            return over();
        }
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
