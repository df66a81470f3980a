//! Signals as words: TERM and INT stop, HUP reads the site file again.

use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::mpsc;
use tokio::task::{JoinHandle, spawn_blocking};

use super::Word;
use crate::site::Site;

/// Listens to signals from now on and tells them. `reload` reads the site
/// file and has told what is wrong with it when it gives none.
///
/// # Errors
/// The system's, when it lets nobody listen.
pub fn listen(
    word: mpsc::Sender<Word>,
    reload: impl Fn() -> Option<Site> + Send + Sync + Clone + 'static,
) -> std::io::Result<JoinHandle<()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    Ok(tokio::spawn(async move {
        loop {
            let told = tokio::select! {
                _ = terminate.recv() => Some(stop("TERM")),
                _ = interrupt.recv() => Some(stop("INT")),
                () = received(&mut hang_up) => again(reload.clone()).await,
            };
            if let Some(told) = told
                && word.send(told).await.is_err()
            {
                return;
            }
        }
    }))
}

fn stop(signal: &str) -> Word {
    tracing::info!(signal, "stopping: everything is being closed");
    Word::Stop
}

async fn received(signal: &mut Signal) {
    let _ = signal.recv().await;
}

async fn again(reload: impl Fn() -> Option<Site> + Send + 'static) -> Option<Word> {
    match spawn_blocking(reload).await {
        Ok(Some(site)) => Some(Word::Site(Box::new(site))),
        Ok(None) => {
            tracing::error!("the site file is wrong: the one in force stays");
            None
        }
        Err(error) => {
            tracing::error!(%error, "the site file could not be read again");
            None
        }
    }
}
