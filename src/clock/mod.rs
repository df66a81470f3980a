//! Wall clock and monotonic clock behind one trait; whether the wall clock can
//! be believed, and whether it was set.
//!
//! Runs count on the monotonic clock, which goes on while the machine sleeps
//! (the boot-time clock of Linux). The wall clock only decides what is due,
//! and only while it is sane: small boards without a clock battery start in
//! 1970, or at the time of their last stop.

mod manual;
mod sanity;
#[cfg(feature = "demo")]
mod shared;
mod system;

use chrono::{DateTime, TimeDelta, Utc};

pub use manual::ManualClock;
pub use sanity::{BEHIND, ClockProblem, EARLIEST, JumpWatch, LONG, judge};
#[cfg(feature = "demo")]
pub use shared::{Bearing, BearingError, SharedClock};
pub use system::{AcceleratedClock, Held, SystemClock, boot_id};

use crate::valve::Moment;

/// Both clocks, read together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// Wall clock.
    pub utc: DateTime<Utc>,
    /// Monotonic clock.
    pub moment: Moment,
}

impl Now {
    /// The wall time of an earlier (or later) moment, if neither clock was
    /// set in between.
    #[must_use]
    pub fn utc_at(&self, moment: Moment) -> DateTime<Utc> {
        let ms = |m: Moment| i64::try_from(m.as_millis()).unwrap_or(i64::MAX);
        let ago = TimeDelta::try_milliseconds(ms(self.moment) - ms(moment)).unwrap_or_default();
        self.utc.checked_sub_signed(ago).unwrap_or(self.utc)
    }
}

/// Where the daemon gets its time from.
pub trait Clock: Send + Sync {
    /// Both clocks, read together.
    fn now(&self) -> Now;
}
