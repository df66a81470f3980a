//! Weather, once an hour, from wherever the site says.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{Notify, mpsc};
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::sleep;

use super::Word;
use crate::agronomy::weather_record::RawHour;

/// Pause between two gatherings, and after one that brought nothing.
const PAUSE: Duration = Duration::from_secs(3600);
const PAUSE_AFTER_FAILURE: Duration = Duration::from_secs(600);

/// Gathers weather, on a thread where it may wait; says what is wrong in
/// words.
pub type Gather = Arc<dyn Fn() -> Result<Vec<RawHour>, String> + Send + Sync>;

/// Gathers now and every hour, and whenever `again` asks for it (the clock
/// was set, the site is another), and tells the loop. A fault is told when it
/// begins and when it is over, not each time. `speed` is the number of seconds
/// of the site in a real one.
pub fn gather_hourly(
    gather: Gather,
    word: mpsc::Sender<Word>,
    (again, speed): (Arc<Notify>, u32),
) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut was_wrong = false;
        loop {
            let work = Arc::clone(&gather);
            let gathered = spawn_blocking(move || work()).await;
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
                () = sleep(pause / speed.max(1)) => {}
                () = again.notified() => {}
            }
        }
    })
}
