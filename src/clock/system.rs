//! The clocks of the machine.

use std::time::Duration;

use chrono::{TimeDelta, Utc};
use rustix::time::{ClockId, clock_gettime};

use super::{Clock, Now};
use crate::valve::Moment;

/// The machine's own clocks.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the adapter that reads the clock"
    )]
    fn now(&self) -> Now {
        let boot = clock_gettime(ClockId::Boottime);
        let seconds = u64::try_from(boot.tv_sec).unwrap_or(0);
        let millis = u64::try_from(boot.tv_nsec / 1_000_000).unwrap_or(0);
        Now {
            utc: Utc::now(),
            moment: Moment::from_millis(seconds.saturating_mul(1000).saturating_add(millis)),
        }
    }
}

/// A clock that runs faster than the machine's, for demonstrations.
#[derive(Debug, Clone, Copy)]
pub struct AcceleratedClock {
    from: Now,
    real: Moment,
    factor: u32,
}

impl AcceleratedClock {
    /// A clock that shows `from` now and runs `factor` times as fast.
    #[must_use]
    pub fn new(from: Now, factor: u32) -> Self {
        let real = SystemClock.now().moment;
        Self { from, real, factor }
    }
}

impl Clock for AcceleratedClock {
    fn now(&self) -> Now {
        let passed: Duration = SystemClock.now().moment.since(self.real);
        let passed = passed.saturating_mul(self.factor);
        let wall = TimeDelta::from_std(passed).unwrap_or_default();
        Now {
            utc: self
                .from
                .utc
                .checked_add_signed(wall)
                .unwrap_or(self.from.utc),
            moment: self.from.moment.after(passed),
        }
    }
}

/// Tells this boot of the machine from every other. Where the system does not
/// tell, each start of the daemon counts as a boot: runs in progress are then
/// dated by the wall clock.
#[must_use]
#[expect(
    clippy::disallowed_methods,
    reason = "this is the adapter that asks the system"
)]
pub fn boot_id() -> String {
    let told = std::fs::read_to_string("/proc/sys/kernel/random/boot_id");
    match told {
        Ok(id) if !id.trim().is_empty() => id.trim().to_owned(),
        _ => format!("start-{}", Utc::now().timestamp_millis()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_machine_s_clock_does_not_run_backwards() {
        let first = SystemClock.now();
        let second = SystemClock.now();
        assert!(second.moment >= first.moment && first.moment.as_millis() > 0);
        assert_eq!(boot_id(), boot_id());
    }
}
