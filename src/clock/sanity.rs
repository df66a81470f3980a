//! Whether the wall clock can be believed.

use chrono::{DateTime, TimeDelta, Utc};

use super::Now;

/// No sane clock is earlier: 2025-01-01, before this was written.
pub const EARLIEST: DateTime<Utc> =
    DateTime::from_timestamp(1_735_689_600, 0).expect("a valid instant");
/// No sane clock is later: 2100-01-01.
const LATEST: DateTime<Utc> = DateTime::from_timestamp(4_102_444_800, 0).expect("a valid instant");

/// Why nothing is watered by this clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ClockProblem {
    /// Earlier than any sane clock.
    #[error(
        "the clock shows {}, before this program was written: set it, or wait for the network time",
        minute(.shown)
    )]
    TooEarly {
        /// What it shows.
        shown: DateTime<Utc>,
    },
    /// Later than any sane clock.
    #[error("the clock shows {}, which is too far ahead: set it", minute(.shown))]
    TooLate {
        /// What it shows.
        shown: DateTime<Utc>,
    },
    /// Earlier than what was last written to the state.
    #[error(
        "the clock shows {}, but the state was last written at {}: set it, or wait for the network time. \
         If it is right, `soakmist acknowledge`",
        minute(.shown), minute(.written)
    )]
    BeforeState {
        /// What it shows.
        shown: DateTime<Utc>,
        /// When the state was last written.
        written: DateTime<Utc>,
    },
    /// So long after what was last written to the state that it may be ahead.
    #[error(
        "the clock shows {}, but the state was last written at {}: for an hour the network time is \
         waited for. If it is right, `soakmist acknowledge`",
        minute(.shown), minute(.written)
    )]
    LongAfterState {
        /// What it shows.
        shown: DateTime<Utc>,
        /// When the state was last written.
        written: DateTime<Utc>,
    },
}

impl ClockProblem {
    /// Whether a person can say that the clock is right all the same, and the
    /// state is not.
    #[must_use]
    pub const fn may_be_the_state(&self) -> bool {
        matches!(self, Self::BeforeState { .. } | Self::LongAfterState { .. })
    }
}

/// As it is told: a text that is another in each second would be told anew in
/// each.
fn minute(at: &DateTime<Utc>) -> impl std::fmt::Display {
    at.format("%Y-%m-%d %H:%M UTC")
}

/// A clock may be so far behind what was written: network time steps it back.
pub const BEHIND: TimeDelta = TimeDelta::minutes(5);
/// Nobody leaves a site alone for so long; a clock whose battery is empty may
/// show any year.
pub const LONG: TimeDelta = TimeDelta::days(400);

/// Judges the wall clock against the program's own age and against the time at
/// which the state was last written. A small step back, as network time does
/// it, is fine.
///
/// # Errors
/// [`ClockProblem`] while runs must not be started by it.
pub fn judge(shown: DateTime<Utc>, written: Option<DateTime<Utc>>) -> Result<(), ClockProblem> {
    if shown < EARLIEST {
        return Err(ClockProblem::TooEarly { shown });
    }
    if shown > LATEST {
        return Err(ClockProblem::TooLate { shown });
    }
    match written {
        Some(written) if shown + BEHIND < written => {
            Err(ClockProblem::BeforeState { shown, written })
        }
        Some(written) if shown - written > LONG && written >= EARLIEST => {
            Err(ClockProblem::LongAfterState { shown, written })
        }
        _ => Ok(()),
    }
}

/// Finds steps of the wall clock by comparing it with the monotonic one.
#[derive(Debug, Clone, Copy)]
pub struct JumpWatch {
    last: Now,
}

impl JumpWatch {
    /// A smaller difference between two looks is drift, not a step.
    pub const LEAST: TimeDelta = TimeDelta::seconds(2);

    /// A watch that begins now.
    #[must_use]
    pub const fn new(now: Now) -> Self {
        Self { last: now }
    }

    /// Looks at the clocks; by how much the wall clock was set since the last
    /// look, if it was (positive: forward).
    pub fn look(&mut self, now: Now) -> Option<TimeDelta> {
        let passed = TimeDelta::from_std(now.moment.since(self.last.moment)).unwrap_or_default();
        let step = (now.utc - self.last.utc) - passed;
        self.last = now;
        (step.abs() > Self::LEAST).then_some(step)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::clock::{Clock, ManualClock};
    use crate::valve::Moment;

    fn may() -> DateTime<Utc> {
        "2026-05-02T06:00:00Z".parse().unwrap()
    }

    #[test]
    fn a_clock_of_1970_or_before_the_state_starts_nothing() {
        let problem = judge(DateTime::UNIX_EPOCH, None);
        assert!(matches!(problem, Err(ClockProblem::TooEarly { .. })));
        let written = may() + TimeDelta::minutes(6);
        let problem = judge(may(), Some(written));
        assert!(matches!(problem, Err(ClockProblem::BeforeState { .. })));
        assert_eq!(judge(may(), Some(may() + TimeDelta::minutes(5))), Ok(()));
        let problem = judge(may() + TimeDelta::days(40_000), None);
        assert!(matches!(problem, Err(ClockProblem::TooLate { .. })));
        let problem = judge(may() + TimeDelta::days(401), Some(may()));
        assert!(matches!(problem, Err(ClockProblem::LongAfterState { .. })));
        assert_eq!(judge(may() + TimeDelta::days(399), Some(may())), Ok(()));
        assert_eq!(judge(may(), Some(DateTime::UNIX_EPOCH)), Ok(()));
    }

    #[test]
    fn a_step_is_seen_and_time_that_passes_is_not() {
        let moment = Moment::from_millis(1000);
        let clock = ManualClock::at(Now { utc: may(), moment });
        let mut watch = JumpWatch::new(clock.now());
        clock.advance(Duration::from_secs(86_400));
        assert_eq!(watch.look(clock.now()), None);
        clock.set_wall(may() + TimeDelta::days(1) - TimeDelta::hours(3));
        assert_eq!(watch.look(clock.now()), Some(TimeDelta::hours(-3)));
        assert_eq!(watch.look(clock.now()), None);
    }
}
