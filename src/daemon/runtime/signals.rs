//! Signals as words: TERM and INT stop, HUP reads the site file again.
//!
//! The process listens once, from its beginning to its end: a signal between
//! two lives of the daemon is told to the next.

use std::sync::Arc;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::{Notify, mpsc, watch};
use tokio::task::{AbortHandle, JoinHandle, spawn_blocking};

use super::{Word, manager};

/// The signals of this process.
pub struct Signals {
    stop: watch::Receiver<bool>,
    again: Arc<Notify>,
    listener: JoinHandle<()>,
}

impl Signals {
    /// Listens from now on, on the runtime of the caller.
    ///
    /// # Errors
    /// The system's, when it lets nobody listen.
    pub fn listen() -> std::io::Result<Self> {
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut hang_up = signal(SignalKind::hangup())?;
        let (stop, stopped) = watch::channel(false);
        let again = Arc::new(Notify::new());
        let ring = Arc::clone(&again);
        let listener = tokio::spawn(async move {
            loop {
                let name = tokio::select! {
                    _ = terminate.recv() => "TERM",
                    _ = interrupt.recv() => "INT",
                    _ = hang_up.recv() => {
                        ring.notify_one();
                        continue;
                    }
                };
                tracing::info!(signal = name, "stopping: everything is being closed");
                stop.send_replace(true);
            }
        });
        Ok(Self {
            stop: stopped,
            again,
            listener,
        })
    }

    /// Whether the process is to end.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        *self.stop.borrow()
    }

    /// Waits until the process is to end.
    pub async fn stopped(&self) {
        if !is_stopped(&mut self.stop.clone()).await {
            std::future::pending().await
        }
    }

    /// The task that listens: without it nobody can stop the daemon.
    #[must_use]
    pub fn listener(&self) -> AbortHandle {
        self.listener.abort_handle()
    }

    /// Tells one life of the daemon, until it is aborted. `reload` reads the
    /// site file and gives what the loop is to do with it, or why the site in
    /// force stays.
    pub fn tell(
        &self,
        word: mpsc::Sender<Word>,
        reload: impl Fn() -> Result<Word, String> + Send + Sync + Clone + 'static,
    ) -> JoinHandle<()> {
        let mut stop = self.stop.clone();
        let ring = Arc::clone(&self.again);
        tokio::spawn(async move {
            loop {
                // A stop does not wait for a file that is slow to be read.
                let told = tokio::select! {
                    biased;
                    is_stop = is_stopped(&mut stop) => is_stop.then_some(Word::Stop),
                    told = again(&ring, reload.clone()) => Some(told),
                };
                let is_last = !matches!(told, Some(Word::Site(_) | Word::Anew(_) | Word::Kept(_)));
                if let Some(told) = told
                    && word.send(told).await.is_err()
                {
                    return;
                }
                if is_last {
                    return std::future::pending().await;
                }
            }
        })
    }
}

/// False when nobody listens any more.
async fn is_stopped(stop: &mut watch::Receiver<bool>) -> bool {
    stop.wait_for(|is_stop| *is_stop).await.is_ok()
}

async fn again(ring: &Notify, reload: impl Fn() -> Result<Word, String> + Send + 'static) -> Word {
    ring.notified().await;
    manager::reloading();
    let read = spawn_blocking(reload).await;
    let read = read.unwrap_or_else(|error| Err(format!("it could not be read: {error}")));
    read.unwrap_or_else(Word::Kept)
}
