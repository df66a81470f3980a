//! A TCP proxy that can hold the bytes of its connections back or cut them.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mode {
    Pass,
    Hold,
    Cut,
}

/// The proxy; connections made later begin to pass, unless it is shut.
pub(crate) struct Proxy {
    pub(crate) port: u16,
    is_shut: Arc<AtomicBool>,
    connections: Arc<Mutex<Vec<watch::Sender<Mode>>>>,
}

impl Proxy {
    pub(crate) async fn to(target: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let connections = Arc::new(Mutex::new(Vec::new()));
        let made = Arc::clone(&connections);
        let is_shut = Arc::new(AtomicBool::new(false));
        let shut = Arc::clone(&is_shut);
        tokio::spawn(async move {
            while let Ok((client, _)) = listener.accept().await {
                if shut.load(Ordering::Relaxed) {
                    continue;
                }
                let Ok(broker) = TcpStream::connect(("127.0.0.1", target)).await else {
                    continue;
                };
                let (sender, mode) = watch::channel(Mode::Pass);
                made.lock().unwrap().push(sender);
                let (client, broker) = (client.into_split(), broker.into_split());
                tokio::spawn(carry(client.0, broker.1, mode.clone()));
                tokio::spawn(carry(broker.0, client.1, mode));
            }
        });
        Self {
            port,
            is_shut,
            connections,
        }
    }

    fn set(&self, mode: Mode) {
        for connection in self.connections.lock().unwrap().iter() {
            let _ = connection.send(mode);
        }
    }

    /// Nothing comes through any more on the connections there are; what is
    /// sent meanwhile is kept.
    pub(crate) fn hold(&self) {
        self.set(Mode::Hold);
    }

    /// What was held back goes on, even if the other end has gone.
    pub(crate) fn release(&self) {
        self.set(Mode::Pass);
    }

    /// The connections there are end without a word.
    pub(crate) fn cut(&self) {
        self.set(Mode::Cut);
    }

    /// The network is gone: the connections there are, and new ones.
    pub(crate) fn shut(&self) {
        self.is_shut.store(true, Ordering::Relaxed);
        self.cut();
    }

    /// It is back.
    pub(crate) fn open(&self) {
        self.is_shut.store(false, Ordering::Relaxed);
    }

    pub(crate) fn connections(&self) -> usize {
        self.connections.lock().unwrap().len()
    }
}

async fn carry(mut from: OwnedReadHalf, mut to: OwnedWriteHalf, mut mode: watch::Receiver<Mode>) {
    let mut bytes = [0; 4096];
    loop {
        let read = tokio::select! {
            read = from.read(&mut bytes) => read,
            _ = async { mode.wait_for(|mode| *mode == Mode::Cut).await.is_ok() } => return,
        };
        let count = match read {
            Ok(count) if count > 0 => count,
            _ => 0,
        };
        let mode_now = match mode.wait_for(|mode| *mode != Mode::Hold).await {
            Ok(mode) => *mode,
            Err(_) => return,
        };
        if count == 0 || mode_now == Mode::Cut || to.write_all(&bytes[..count]).await.is_err() {
            return;
        }
    }
}
