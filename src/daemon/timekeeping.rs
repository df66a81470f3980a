//! The loop and the wall clock: whether it can be believed, what a step of it
//! means, and what is due by the day.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::control::{Action, Control};
use super::notice::Notice;
use super::outlook;
use crate::clock::{JumpWatch, judge};
use crate::store::Entry;
use crate::valve::{CommandId, Moment};

/// Details older than this are forgotten.
const KEPT: TimeDelta = TimeDelta::days(400);
/// Old details are forgotten so often.
const FORGET_AFTER: Duration = Duration::from_secs(24 * 3600);
/// A clock that is new to us is watched for so long before it makes anything
/// old: it may be years ahead until it is set.
const TRUST_AFTER: Duration = Duration::from_secs(3600);
/// 2020-01-01 [µs since 1970].
const COMMANDS_SINCE_US: i64 = 1_577_836_800_000_000;

impl Control {
    pub(super) fn look_at_clock(&mut self, out: &mut Vec<Action>) {
        let step = self
            .clock
            .get_or_insert(JumpWatch::new(self.now))
            .look(self.now);
        if let Some(step) = step {
            out.push(Action::Tell(Notice::ClockSet(step)));
            // Somebody has set it while we watched: they know better.
            self.last_written = None;
            self.plan = None;
            self.forget_at = first_forgetting(self.now.moment);
            self.listen_to_sensors();
            self.changed();
        }
        let problem = match self.settings.believe_clock {
            true => None,
            false => judge(self.now.utc, self.last_written).err(),
        };
        if problem.is_none() {
            // From here on the clock is watched by its steps.
            self.last_written = None;
        }
        let is_news = problem.is_some() != self.clock_problem.is_some();
        self.clock_problem = problem;
        match problem {
            Some(problem) if is_news => out.push(Action::Tell(Notice::ClockWrong(problem))),
            None if is_news => {
                out.push(Action::Tell(Notice::ClockRight));
                self.rebase();
                self.changed();
            }
            _ => {}
        }
    }

    /// The clock has become right: a balance that was to begin at a wrong
    /// time begins now.
    fn rebase(&mut self) {
        let now = outlook::floor(self.now.utc);
        for field in &mut self.fields {
            if field.base.1.is_none() {
                field.base.0 = now;
            }
        }
    }

    /// Forgets old details once a day: the state stops growing by them.
    pub(super) fn forget_if_due(&mut self, out: &mut Vec<Action>) {
        let now = self.now.moment;
        let is_believed = self.clock_problem.is_none();
        if now >= self.forget_at && is_believed && !self.settings.dry_run {
            self.forget_at = now.after(FORGET_AFTER);
            out.push(Action::Write(Entry::Forget(self.now.utc - KEPT)));
        }
    }
}

/// When a loop that begins, or whose clock was set, forgets for the first
/// time.
pub(super) fn first_forgetting(now: Moment) -> Moment {
    now.after(TRUST_AFTER)
}

/// A number below which no command is given at an instant: microseconds since
/// 2020, 15 digits until 2051.
///
/// A device may ignore numbers below the last that it heard. Numbers that
/// follow the time stay above it even when the state was lost, however soon
/// after the last start: no broker takes a command in a microsecond. They stay
/// below 2^53, which JSON carries exactly. Without a believable clock it is
/// zero, and the journal alone counts.
#[must_use]
pub fn first_command(now: DateTime<Utc>) -> CommandId {
    if judge(now, None).is_err() {
        return CommandId(0);
    }
    let since = now.timestamp_micros() - COMMANDS_SINCE_US;
    CommandId(u64::try_from(since).unwrap_or(0))
}
