//! The loop and the wall clock: whether it can be believed, what a step of it
//! means, and what is due by the day.

use std::fmt;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::control::{Action, Control};
use super::notice::Notice;
use crate::clock::{ClockProblem, JumpWatch, LONG, judge};
use crate::store::Entry;
use crate::valve::{self, CommandId, DeviceId, Moment};

/// Details older than this are forgotten.
const KEPT: TimeDelta = LONG;
/// Old details are forgotten so often.
const FORGET_AFTER: Duration = Duration::from_secs(24 * 3600);
/// A clock that is new to us is watched for so long before it makes anything
/// old: it may be years ahead until it is set.
const TRUST_AFTER: Duration = Duration::from_secs(3600);
/// A step of so much is no drift: what the state says of the last days is read
/// and dated anew.
const SET_BY_HOURS: TimeDelta = TimeDelta::hours(1);
/// 2020-01-01 [µs since 1970].
const COMMANDS_SINCE_US: i64 = 1_577_836_800_000_000;

/// What a new beginning by another clock waits for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Hindrance {
    /// The broker is away.
    Broker,
    /// The journal cannot be written.
    Journal,
    /// These valves do not confirm that they are closed.
    Faulted(Vec<String>),
    /// Not everything has confirmed yet that it is closed.
    Starting,
    /// A run is in progress.
    Open,
}

impl fmt::Display for Hindrance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "the clock has become another, and nothing is watered by it until everything was \
             closed once and the state is read again: ",
        )?;
        match self {
            Self::Broker => f.write_str("that waits for the broker"),
            Self::Journal => f.write_str("that waits for a disk that can be written"),
            Self::Faulted(names) => write!(
                f,
                "that waits for {} to confirm being closed: look whether it is",
                names.join(", ")
            ),
            Self::Starting => f.write_str("that waits until every valve has confirmed"),
            Self::Open => f.write_str("that waits for the end of the run in progress"),
        }
    }
}

impl Control {
    pub(super) fn look_at_clock(&mut self, out: &mut Vec<Action>) {
        let step = self
            .clock
            .get_or_insert(JumpWatch::new(self.now))
            .look(self.now);
        if let Some(step) = step {
            out.push(Action::Tell(Notice::ClockSet(step)));
            self.plan = None;
            self.forget_at = first_forgetting(self.now.moment);
            self.listen_to_sensors();
            self.changed();
            if step.abs() >= SET_BY_HOURS {
                // Somebody has set it while we watched: they know better.
                self.believe_clock(step, out);
            }
        }
        let problem = match self.settings.believe_clock {
            true => None,
            false => judge(self.now.utc, self.last_written).err(),
        };
        // It was left as it is for long enough: the site may have stood still.
        let is_left = self.now.moment >= self.believed_at;
        let problem = problem
            .filter(|problem| !(is_left && matches!(problem, ClockProblem::LongAfterState { .. })));
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
                self.is_to_begin_anew = true;
                self.changed();
            }
            _ => {}
        }
    }

    /// The clock is right from now on, whatever the state says; it was set by
    /// so much, if that is known.
    pub(super) fn believe_clock(&mut self, by: TimeDelta, out: &mut Vec<Action>) {
        self.last_written = None;
        let now = self.now.utc;
        if !self.settings.believe_clock && judge(now, None).is_ok() {
            self.is_to_begin_anew = true;
            out.push(Action::Write(Entry::ClockSet { now, by }));
        }
    }

    /// Whether anything may be done by the clock, and by what was read of the
    /// state when it was another.
    pub(super) fn is_clock_right(&self) -> bool {
        self.clock_problem.is_none() && !self.is_to_begin_anew
    }

    /// What was read by a wrong clock is read again as soon as no run is torn
    /// by it. What it waits for is told whenever that is another.
    pub(super) fn begin_anew_if_due(&mut self, out: &mut Vec<Action>) {
        let is_right = self.clock_problem.is_none();
        if !self.is_to_begin_anew || !is_right || self.is_stopping {
            self.hindrance = None;
            return;
        }
        let hindrance = self.hinders();
        if hindrance.is_none() {
            out.push(Action::BeginAnew);
        }
        if hindrance != self.hindrance {
            let told = hindrance
                .as_ref()
                .map(|it| Notice::AnewWaits(it.to_string()));
            out.extend(told.map(Action::Tell));
            self.hindrance = hindrance;
        }
    }

    /// What stands between now and a new beginning, if anything.
    fn hinders(&self) -> Option<Hindrance> {
        let known = self.supervisor.known();
        if known.link != valve::Link::Up {
            Some(Hindrance::Broker)
        } else if !known.journal_works {
            Some(Hindrance::Journal)
        } else if known.fleet.any_faulted() {
            let faulted = known.fleet.iter();
            let faulted =
                faulted.filter(|(_, state)| matches!(state, valve::ValveState::Faulted { .. }));
            let names = faulted.map(|(device, _)| self.name_of(device));
            Some(Hindrance::Faulted(names.collect()))
        } else if known.phase != valve::Phase::Running {
            Some(Hindrance::Starting)
        } else if !known.fleet.all_closed() {
            Some(Hindrance::Open)
        } else {
            None
        }
    }

    fn name_of(&self, device: DeviceId) -> String {
        match device {
            DeviceId::Zone(zone) => match self.site.zones.get(zone) {
                Some(zone) => zone.name.clone(),
                None => device.to_string(),
            },
            DeviceId::Master | DeviceId::Pump => format!("the {device}"),
        }
    }

    /// Forgets old details once a day: the state stops growing by them.
    pub(super) fn forget_if_due(&mut self, out: &mut Vec<Action>) {
        let now = self.now.moment;
        if now >= self.forget_at && self.is_clock_right() && !self.settings.dry_run {
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
