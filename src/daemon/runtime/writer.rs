//! The journal on a thread of its own: one write at a time, and its outcome.

use std::sync::Arc;
use std::thread;

use tokio::sync::mpsc;

use crate::clock::Clock;
use crate::store::{Entry, Ledger, StoreError};

/// The thread that writes. It ends, and frees the state, when this is dropped
/// and what it was given is written.
pub(super) struct Writer {
    /// The desk gives one at a time, so that none ever waits.
    jobs: Option<mpsc::Sender<Vec<Entry>>>,
    done: mpsc::Receiver<Result<(), StoreError>>,
}

impl Writer {
    /// Begins to write into `ledger`, dated by `clock`.
    pub(super) fn start(ledger: Box<dyn Ledger + Send>, clock: Arc<dyn Clock>) -> Self {
        let (jobs, waiting) = mpsc::channel(1);
        let (tell, done) = mpsc::channel(1);
        let named = thread::Builder::new().name("journal".to_owned());
        let begun = named.spawn(move || write(ledger, waiting, &tell, clock.as_ref()));
        if let Err(error) = begun {
            // Its ends of both channels are gone: every write fails.
            tracing::error!(%error, "the thread of the journal does not start");
        }
        Self {
            jobs: Some(jobs),
            done,
        }
    }

    /// Begins to write. False when the thread has died.
    pub(super) fn write(&self, entries: Vec<Entry>) -> bool {
        let jobs = self.jobs.as_ref();
        jobs.is_some_and(|jobs| jobs.try_send(entries).is_ok())
    }

    /// The outcome of a write, if there is one already.
    pub(super) fn done_by_now(&mut self) -> Option<Result<(), StoreError>> {
        self.done.try_recv().ok()
    }

    /// Writes no more, and waits until the state is free for others.
    pub(super) async fn close(&mut self) {
        self.jobs = None;
        while self.done.recv().await.is_some() {}
    }

    /// Waits for the outcome of a write; none when the thread has died.
    pub(super) async fn done(&mut self) -> Option<Result<(), StoreError>> {
        self.done.recv().await
    }
}

fn write(
    mut ledger: Box<dyn Ledger + Send>,
    mut jobs: mpsc::Receiver<Vec<Entry>>,
    tell: &mpsc::Sender<Result<(), StoreError>>,
    clock: &dyn Clock,
) {
    while let Some(entries) = jobs.blocking_recv() {
        let outcome = ledger.write(&entries, clock.now());
        if tell.blocking_send(outcome).is_err() {
            return;
        }
    }
}
