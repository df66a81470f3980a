//! Weather, every few minutes, from wherever the site says.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, mpsc, watch};
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::{Instant, sleep};

use super::Word;
use crate::weather::frozen::Frozen;
use crate::weather::series::SeriesHour;

/// Gathers weather, on a thread where it may wait, with the hours that were
/// observed before; says what is wrong in words.
pub type Gather = Arc<dyn Fn(&Frozen) -> Result<Vec<SeriesHour>, String> + Send + Sync>;

/// What the gathering hears of the loop.
#[derive(Debug, Clone)]
pub struct Gathering {
    /// Rings when weather should be gathered at once.
    pub again: Arc<Notify>,
    /// The hours that are over, as they were observed.
    pub frozen: watch::Receiver<Arc<Frozen>>,
}

/// How often weather is gathered. A service is asked no oftener than its own
/// terms allow (`weather::politeness`), so these need not be long: with a pause
/// of the service's own hour each second gathering would come just too early.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rhythm {
    /// Pause between two gatherings.
    pub pause: Duration,
    /// After one that brought nothing.
    pub pause_after_failure: Duration,
    /// Weather that has not changed is told again after this.
    pub told_again: Duration,
}

impl Default for Rhythm {
    /// Own choice, no source: waits after failures begin with a minute.
    fn default() -> Self {
        Self {
            pause: Duration::from_secs(300),
            pause_after_failure: Duration::from_secs(60),
            told_again: Duration::from_secs(3600),
        }
    }
}

/// Gathers now, then in its rhythm, and whenever `again` asks for it (the
/// clock was set, the site is another), and tells the loop what has changed. A
/// fault is told when it begins and when it is over, not each time.
pub fn gather_weather(
    gather: Gather,
    word: mpsc::Sender<Word>,
    (Gathering { again, frozen }, rhythm): (Gathering, Rhythm),
) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut was_wrong = false;
        let mut told: Option<(Instant, Vec<SeriesHour>)> = None;
        loop {
            let work = Arc::clone(&gather);
            let known = Arc::clone(&frozen.borrow());
            let gathered = spawn_blocking(move || work(&known)).await;
            let gathered = gathered.unwrap_or_else(|error| Err(error.to_string()));
            let is_wrong = gathered.is_err();
            match gathered {
                Ok(hours) => {
                    if was_wrong {
                        tracing::info!("weather comes in again");
                    }
                    let is_known = told.as_ref().is_some_and(|(at, known)| {
                        at.elapsed() < rhythm.told_again && *known == hours
                    });
                    if !is_known {
                        told = Some((Instant::now(), hours.clone()));
                        if word.send(Word::Weather(hours)).await.is_err() {
                            return;
                        }
                    }
                }
                Err(error) if !was_wrong => tracing::warn!(error, "no weather comes in"),
                Err(_) => {}
            }
            was_wrong = is_wrong;
            let pause = match is_wrong {
                true => rhythm.pause_after_failure,
                false => rhythm.pause,
            };
            tokio::select! {
                () = sleep(pause) => {}
                // Whoever rings wants to hear all of it.
                () = again.notified() => told = None,
            }
        }
    })
}
