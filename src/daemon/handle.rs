//! How faces talk to the running control loop: requests of people go in one
//! by one, and how everything stands can be looked at at any time.
//!
//! The queue is short and both ways have a time limit: a face that asks too
//! much, or a loop that is busy, gives a word to the person and never a queue
//! that grows.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::timeout;

use super::people::{Answer, Request};
use super::status::Status;

/// Requests that wait for the loop at most.
const WAITING_MOST: usize = 16;
/// An answer waits for the disk; a person does not wait longer than this.
const ANSWER_WITHIN: Duration = Duration::from_secs(20);
/// A place in the queue is waited for so long.
const PLACE_WITHIN: Duration = Duration::from_secs(2);

/// A request, and where the answer goes. Whoever asked may be gone by then.
pub type Ask = (Request, oneshot::Sender<Answer>);

/// The control loop as a face sees it. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Handle {
    asks: mpsc::Sender<Ask>,
    status: watch::Receiver<Arc<Status>>,
}

/// The other end, for the loop.
#[derive(Debug)]
pub struct Counter {
    /// Requests of people, in the order in which they came.
    pub asks: mpsc::Receiver<Ask>,
    /// Where the loop shows how everything stands.
    pub status: watch::Sender<Arc<Status>>,
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AskError {
    /// Too many ask at once: nothing was done.
    #[error("too many requests at once, nothing was done: try again in a moment")]
    Busy,
    /// It was handed over, and no answer came in time.
    #[error("no answer within {} s: it may still be done, look at the status", .0.as_secs())]
    Late(Duration),
    /// The loop has ended.
    #[error("the daemon is stopping")]
    Gone,
}

impl Handle {
    /// A handle and the loop's end of it; `status` is shown until the loop
    /// shows another.
    #[must_use]
    pub fn new(status: Status) -> (Self, Counter) {
        let (asks, waiting) = mpsc::channel(WAITING_MOST);
        let (show, status) = watch::channel(Arc::new(status));
        let counter = Counter {
            asks: waiting,
            status: show,
        };
        (Self { asks, status }, counter)
    }

    /// Asks, and waits for the answer.
    ///
    /// # Errors
    /// [`AskError`] when there is none.
    pub async fn ask(&self, request: Request) -> Result<Answer, AskError> {
        let (to, answer) = oneshot::channel();
        let place = timeout(PLACE_WITHIN, self.asks.reserve()).await;
        let place = place.map_err(|_| AskError::Busy)?;
        place.map_err(|_| AskError::Gone)?.send((request, to));
        let answer = timeout(ANSWER_WITHIN, answer).await;
        let answer = answer.map_err(|_| AskError::Late(ANSWER_WITHIN))?;
        answer.map_err(|_| AskError::Gone)
    }

    /// How everything stands now.
    #[must_use]
    pub fn status(&self) -> Arc<Status> {
        Arc::clone(&self.status.borrow())
    }

    /// Whether the loop still runs.
    #[must_use]
    pub fn is_served(&self) -> bool {
        !self.asks.is_closed()
    }

    /// Waits until the status has been shown anew.
    ///
    /// # Errors
    /// [`AskError::Gone`] when it never will.
    pub async fn news(&mut self) -> Result<Arc<Status>, AskError> {
        let changed = self.status.changed().await;
        changed.map_err(|_| AskError::Gone)?;
        Ok(Arc::clone(&self.status.borrow_and_update()))
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    fn status(phase: &str) -> Status {
        Status {
            site: "Harrowmere".to_owned(),
            now: DateTime::UNIX_EPOCH,
            time_zone: "Europe/London".to_owned(),
            phase: phase.to_owned(),
            dry_run: false,
            broker: true,
            clock_problem: None,
            weather_problem: None,
            alarms: Vec::new(),
            zones: Vec::new(),
            runs: Vec::new(),
            shortfalls: Vec::new(),
        }
    }

    fn rests() -> tokio::runtime::Runtime {
        let mut builder = tokio::runtime::Builder::new_current_thread();
        builder.enable_time().build().unwrap()
    }

    #[test]
    fn a_request_is_answered_and_the_status_follows() {
        rests().block_on(async {
            let (mut handle, mut counter) = Handle::new(status("starting"));
            let served = tokio::spawn(async move {
                let (request, to) = counter.asks.recv().await.unwrap();
                assert_eq!(request, Request::Acknowledge);
                to.send(Answer::Done("1 acknowledged".to_owned())).unwrap();
                counter.status.send_replace(Arc::new(status("running")));
                counter
            });
            let answer = handle.ask(Request::Acknowledge).await.unwrap();
            assert_eq!(answer, Answer::Done("1 acknowledged".to_owned()));
            assert_eq!(handle.news().await.unwrap().phase, "running");
            drop(served.await.unwrap());
            assert_eq!(handle.status().phase, "running");
            assert!(!handle.is_served());
        });
    }

    #[test]
    fn a_loop_that_has_ended_is_told_and_never_waited_for() {
        rests().block_on(async {
            let (handle, counter) = Handle::new(status("stopped"));
            drop(counter);
            let answer = handle.ask(Request::Acknowledge).await;
            assert_eq!(answer, Err(AskError::Gone));
        });
    }
}
