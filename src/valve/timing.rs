//! The bounds that the supervisor keeps, in one place.

use std::time::Duration;

/// Times and bounds. `docs/valve-safety.md` says what each one promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Timing {
    /// Pause before a command is first repeated; doubles from there.
    pub repeat: Duration,
    /// Longest pause between two closings of a faulted device.
    pub repeat_most: Duration,
    /// A device that has not confirmed open after this is closed again.
    pub open_bound: Duration,
    /// A device that has not confirmed closed after this is faulted.
    pub close_bound: Duration,
    /// Longest travel of a command or of a report while the link is up; the
    /// link drops what is older.
    pub most_delay: Duration,
    /// How long the broker may be away before that is an alarm.
    pub link_grace: Duration,
    /// A stop gives up waiting for confirmations after this.
    pub stop_bound: Duration,
}

impl Default for Timing {
    /// For relays on a local network; own choice, no source.
    fn default() -> Self {
        Self {
            repeat: Duration::from_secs(1),
            repeat_most: Duration::from_secs(60),
            open_bound: Duration::from_secs(10),
            close_bound: Duration::from_secs(20),
            most_delay: Duration::from_secs(5),
            link_grace: Duration::from_secs(30),
            stop_bound: Duration::from_secs(15),
        }
    }
}

impl Timing {
    /// The pause after the closing number `attempts`, from 1. Before a fault
    /// it stays below a quarter of the bound, so that several more are tried.
    pub(super) fn pause(&self, attempts: u8, faulted: bool) -> Duration {
        let most = if faulted {
            self.repeat_most
        } else {
            self.close_bound / 4
        };
        let doublings = u32::from(attempts.saturating_sub(1)).min(16);
        self.repeat.saturating_mul(1 << doublings).min(most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closings_are_repeated_at_0_1_3_7_12_and_17_s_before_the_bound_of_20_s() {
        let timing = Timing::default();
        let mut at = Duration::ZERO;
        let mut sent = vec![0];
        for attempts in 1..=5 {
            at += timing.pause(attempts, false);
            sent.push(at.as_secs());
        }
        assert_eq!(sent, [0, 1, 3, 7, 12, 17]);
        assert_eq!(timing.pause(200, true), Duration::from_secs(60));
    }
}
