//! What people do today: so many runs a day at fixed times, all of one length,
//! whatever the weather.

use chrono::{NaiveTime, TimeDelta};
use chrono_tz::Tz;

use super::trial::Watered;
use crate::site::local_time::{date_of, instant, next_day};

/// A timer with fixed runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Practice {
    /// What people call it.
    pub name: &'static str,
    /// Local times of day [min after midnight].
    pub at_min: &'static [i64],
}

/// Three, four and nine runs a day, from the morning to the late afternoon
/// (common practice, no source).
pub const PRACTICES: [Practice; 3] = [
    Practice {
        name: "three a day",
        at_min: &[7 * 60, 12 * 60, 16 * 60],
    },
    Practice {
        name: "four a day",
        at_min: &[7 * 60, 10 * 60 + 30, 14 * 60, 17 * 60],
    },
    Practice {
        name: "nine a day",
        at_min: &[420, 510, 600, 690, 780, 870, 960, 1050, 1140],
    },
];

/// What all runs of a day together bring, gross, where people follow a rule
/// of thumb [mm] (common practice, no source: a quarter of an inch a day).
pub const RULE_OF_THUMB_MM: f64 = 6.35;

impl Practice {
    /// Runs a day.
    #[must_use]
    pub fn runs_per_day(&self) -> usize {
        self.at_min.len()
    }

    /// Its runs of `length` s that start from `from` on and before `to`, all
    /// in seconds of Unix time.
    #[must_use]
    pub fn runs(&self, (from, to): (i64, i64), length: i64, time_zone: Tz) -> Vec<Watered> {
        let mut runs = Vec::new();
        let at = |seconds: i64| chrono::DateTime::from_timestamp(seconds, 0).unwrap_or_default();
        let (mut date, last) = (date_of(time_zone, at(from)), date_of(time_zone, at(to)));
        while date <= last {
            for &minutes in self.at_min {
                let local = date.and_time(NaiveTime::MIN) + TimeDelta::minutes(minutes);
                let start = instant(time_zone, local).timestamp();
                if start >= from && start < to {
                    runs.push(Watered {
                        start,
                        end: start + length,
                    });
                }
            }
            date = next_day(date);
        }
        runs
    }
}
