//! How long to wait before the next connection.

use std::hash::{BuildHasher, RandomState};
use std::time::Duration;

/// A broker that refuses our name or password will refuse it again.
const LEAST_AFTER_REFUSAL: Duration = Duration::from_secs(15);

/// Pauses that double, with jitter, and begin anew after a healthy while.
///
/// There is no giving up: a broker may be away for a week.
#[derive(Debug, Clone)]
pub(super) struct Backoff {
    first: Duration,
    most: Duration,
    healthy: Duration,
    failures: u32,
}

impl Backoff {
    pub(super) fn new(first: Duration, most: Duration, healthy: Duration) -> Self {
        Self {
            first,
            most,
            healthy,
            failures: 0,
        }
    }

    /// The pause after a connection that was up for `up_for`. `dice` spreads
    /// it over half as much again, so that many clients of one broker do not
    /// come back at the same instant.
    pub(super) fn after(&mut self, up_for: Duration, refused: bool, dice: u32) -> Duration {
        if up_for >= self.healthy {
            self.failures = 0;
        }
        let doubled = self.first.saturating_mul(1 << self.failures.min(16));
        self.failures = self.failures.saturating_add(1);
        let least = if refused {
            LEAST_AFTER_REFUSAL.min(self.most)
        } else {
            Duration::ZERO
        };
        let plain = doubled.min(self.most).max(least);
        let jitter = plain.mul_f64(f64::from(dice) / f64::from(u32::MAX) / 2.0);
        (plain + jitter).min(self.most)
    }
}

/// A throw of dice, good enough to spread reconnections.
#[expect(
    clippy::cast_possible_truncation,
    reason = "the low half of a hash is as random as the whole"
)]
pub(super) fn throw(salt: u64) -> u32 {
    RandomState::new().hash_one(salt) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn backoff() -> Backoff {
        let secs = Duration::from_secs;
        Backoff::new(secs(1), secs(60), secs(30))
    }

    #[test]
    fn pauses_double_from_one_second_to_a_minute() {
        let mut backoff = backoff();
        let pauses: Vec<u64> = (0..8)
            .map(|_| backoff.after(Duration::ZERO, false, 0).as_secs())
            .collect();
        assert_eq!(pauses, [1, 2, 4, 8, 16, 32, 60, 60]);
    }

    #[test]
    fn jitter_adds_up_to_half_and_never_passes_the_longest() {
        let mut backoff = backoff();
        let pause = backoff.after(Duration::ZERO, false, u32::MAX);
        assert_eq!(pause, Duration::from_millis(1500));
        for _ in 0..10 {
            assert!(backoff.after(Duration::ZERO, false, u32::MAX) <= Duration::from_secs(60));
        }
    }

    #[test]
    fn half_a_minute_of_health_begins_anew_and_less_does_not() {
        let mut backoff = backoff();
        for _ in 0..5 {
            backoff.after(Duration::ZERO, false, 0);
        }
        assert_eq!(
            backoff.after(Duration::from_secs(29), false, 0).as_secs(),
            32
        );
        assert_eq!(
            backoff.after(Duration::from_secs(30), false, 0).as_secs(),
            1
        );
    }

    #[test]
    fn a_refused_password_is_not_tried_every_second() {
        let mut backoff = backoff();
        assert_eq!(backoff.after(Duration::ZERO, true, 0).as_secs(), 15);
    }

    #[test]
    fn dice_differ() {
        let throws: std::collections::BTreeSet<u32> = (0..16).map(throw).collect();
        assert!(throws.len() > 10);
    }
}
