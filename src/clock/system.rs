//! The clocks of the machine.

use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

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

/// A clock that runs faster than the machine's and can be held, for
/// demonstrations: what a computer needs to think and to write takes no time
/// there.
#[derive(Debug)]
pub struct AcceleratedClock {
    factor: u32,
    stand: Mutex<Stand>,
}

#[derive(Debug, Clone, Copy)]
struct Stand {
    from: Now,
    since: Instant,
    holders: u32,
}

/// Time stands still while this lives.
#[derive(Debug)]
pub struct Held<'a>(&'a AcceleratedClock);

impl AcceleratedClock {
    /// A clock that shows `from` now and runs `factor` times as fast.
    #[must_use]
    pub fn new(from: Now, factor: u32) -> Self {
        let stand = Stand {
            from,
            since: instant(),
            holders: 0,
        };
        Self {
            factor,
            stand: Mutex::new(stand),
        }
    }

    /// Holds the clock.
    pub fn hold(&self) -> Held<'_> {
        let mut stand = self.stand();
        stand.from = self.shown(&stand);
        stand.holders += 1;
        Held(self)
    }

    fn stand(&self) -> MutexGuard<'_, Stand> {
        self.stand.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn shown(&self, stand: &Stand) -> Now {
        if stand.holders > 0 {
            return stand.from;
        }
        let passed: Duration = stand.since.elapsed().saturating_mul(self.factor);
        let wall = TimeDelta::from_std(passed).unwrap_or_default();
        let utc = stand.from.utc.checked_add_signed(wall);
        Now {
            utc: utc.unwrap_or(stand.from.utc),
            moment: stand.from.moment.after(passed),
        }
    }
}

impl Clock for AcceleratedClock {
    fn now(&self) -> Now {
        self.shown(&self.stand())
    }
}

impl Drop for Held<'_> {
    fn drop(&mut self) {
        let mut stand = self.0.stand();
        stand.holders -= 1;
        stand.since = instant();
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "this is the adapter that reads the clock"
)]
fn instant() -> Instant {
    Instant::now()
}

/// Tells this boot of the machine from every other. Where the system does not
/// tell, each start of the daemon counts as a boot, and a warning says so: runs
/// in progress are then dated by the wall clock.
#[must_use]
#[expect(
    clippy::disallowed_methods,
    reason = "this is the adapter that asks the system"
)]
pub fn boot_id() -> String {
    const FILE: &str = "/proc/sys/kernel/random/boot_id";
    let told = std::fs::read_to_string(FILE).unwrap_or_default();
    match told.trim() {
        "" => {
            tracing::warn!(
                file = FILE,
                "the system does not tell its boots apart: runs in progress are dated by the clock"
            );
            format!("start-{}", Utc::now().timestamp_millis())
        }
        id => id.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accelerated_clock_stands_still_while_it_is_held() {
        let clock = AcceleratedClock::new(SystemClock.now(), 1000);
        let held = clock.hold();
        let before = clock.now();
        let second = clock.hold();
        std::thread::yield_now();
        drop(second);
        assert_eq!(clock.now(), before);
        drop(held);
        while clock.now().moment <= before.moment {
            std::thread::yield_now();
        }
    }

    #[test]
    fn the_machine_s_clock_does_not_run_backwards() {
        let first = SystemClock.now();
        let second = SystemClock.now();
        assert!(second.moment >= first.moment && first.moment.as_millis() > 0);
        assert_eq!(boot_id(), boot_id());
    }
}
