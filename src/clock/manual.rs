//! A clock that a test sets by hand.

use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::{Clock, Now};

/// A clock that stands still until it is moved.
#[derive(Debug)]
pub struct ManualClock(Mutex<Now>);

impl ManualClock {
    /// A clock that shows `now`.
    #[must_use]
    pub fn at(now: Now) -> Self {
        Self(Mutex::new(now))
    }

    /// Time passes on both clocks.
    pub fn advance(&self, span: Duration) {
        let mut now = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        now.moment = now.moment.after(span);
        now.utc += TimeDelta::from_std(span).unwrap_or_default();
    }

    /// Somebody sets the wall clock.
    pub fn set_wall(&self, utc: DateTime<Utc>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).utc = utc;
    }
}

impl Clock for ManualClock {
    fn now(&self) -> Now {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
