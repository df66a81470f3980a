//! Monotonic time as the supervisor is given it.

use std::time::Duration;

use serde::{Deserialize, Serialize};

/// An instant on a clock that never steps: milliseconds since the machine
/// booted, suspended time included.
///
/// Run times and every bound of the supervisor count on it, so a step of the
/// wall clock or a change to summer time neither lengthens nor repeats a run.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Moment(u64);

impl Moment {
    /// The instant so many milliseconds after boot.
    #[must_use]
    pub const fn from_millis(since_boot_ms: u64) -> Self {
        Self(since_boot_ms)
    }

    /// Milliseconds since boot.
    #[must_use]
    pub const fn as_millis(self) -> u64 {
        self.0
    }

    /// The instant later by `span`; stays at the end of time on overflow.
    #[must_use]
    pub fn after(self, span: Duration) -> Self {
        Self(self.0.saturating_add(millis(span)))
    }

    /// The instant earlier by `span`; stays at boot when that was later.
    #[must_use]
    pub fn before(self, span: Duration) -> Self {
        Self(self.0.saturating_sub(millis(span)))
    }

    /// The time from `earlier` to this instant, zero when that is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration::from_millis(self.0.saturating_sub(earlier.0))
    }
}

fn millis(span: Duration) -> u64 {
    u64::try_from(span.as_millis()).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn borders_saturate_instead_of_wrapping() {
        let late = Moment::from_millis(u64::MAX - 1);
        assert_eq!(late.after(Duration::from_secs(1)).as_millis(), u64::MAX);
        let boot = Moment::from_millis(5);
        assert_eq!(boot.before(Duration::from_secs(1)).as_millis(), 0);
        assert_eq!(boot.since(late), Duration::ZERO);
    }
}
