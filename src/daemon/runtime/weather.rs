//! Weather, once an hour, from wherever the site says.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, mpsc, watch};
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::sleep;

use super::Word;
use crate::weather::frozen::Frozen;
use crate::weather::series::SeriesHour;

/// Pause between two gatherings, and after one that brought nothing.
const PAUSE: Duration = Duration::from_secs(3600);
const PAUSE_AFTER_FAILURE: Duration = Duration::from_secs(600);

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

/// Gathers now and every hour, and whenever `again` asks for it (the clock
/// was set, the site is another), and tells the loop. A fault is told when it
/// begins and when it is over, not each time.
pub fn gather_hourly(
    gather: Gather,
    word: mpsc::Sender<Word>,
    Gathering { again, frozen }: Gathering,
) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut was_wrong = false;
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
                    if word.send(Word::Weather(hours)).await.is_err() {
                        return;
                    }
                }
                Err(error) if !was_wrong => tracing::warn!(error, "no weather comes in"),
                Err(_) => {}
            }
            was_wrong = is_wrong;
            let pause = if is_wrong { PAUSE_AFTER_FAILURE } else { PAUSE };
            tokio::select! {
                () = sleep(pause) => {}
                () = again.notified() => {}
            }
        }
    })
}
