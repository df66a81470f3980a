//! Planning beside the loop: one at a time, and only the latest of those that
//! wait.

use std::sync::Arc;

use tokio::task::{JoinHandle, spawn_blocking};

use crate::daemon::assignment::{Assignment, Outcome};

/// How a planning is carried out; a demonstration stops its clock meanwhile.
pub type Work = Arc<dyn Fn(&Assignment) -> Outcome + Send + Sync>;

/// The planner.
pub(super) struct Planner {
    work: Work,
    running: Option<(u64, JoinHandle<Outcome>)>,
    waiting: Option<Box<Assignment>>,
}

impl Planner {
    pub(super) fn new(work: Work) -> Self {
        Self {
            work,
            running: None,
            waiting: None,
        }
    }

    /// Takes a planning over. One that still waits is worth nothing any more.
    pub(super) fn take(&mut self, assignment: Box<Assignment>) {
        if self.running.is_some() {
            self.waiting = Some(assignment);
            return;
        }
        let revision = assignment.revision;
        let work = Arc::clone(&self.work);
        let task = spawn_blocking(move || work(&assignment));
        self.running = Some((revision, task));
    }

    /// Waits for the planning under way, for ever if there is none. Nothing
    /// is lost when the wait is given up.
    pub(super) async fn done(&mut self) -> Outcome {
        let Some((revision, task)) = &mut self.running else {
            return std::future::pending().await;
        };
        let revision = *revision;
        let outcome = task.await;
        self.running = None;
        if let Some(next) = self.waiting.take() {
            self.take(next);
        }
        outcome.unwrap_or_else(|error| {
            tracing::error!(%error, "the planner failed");
            Outcome {
                revision,
                plan: Err("the planner failed: please report this as a fault".to_owned()),
                stands_in: None,
            }
        })
    }
}
