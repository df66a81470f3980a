//! One simulated valve (or pump): what it understands, does and says.

use std::time::Duration;

use crate::clock::Now;
use crate::site::{Field, Valve};
use crate::valve::{Moment, Position};

/// What is wrong with a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Fault {
    /// Nothing.
    #[default]
    None,
    /// It neither obeys nor answers.
    Deaf,
    /// It obeys and does not answer.
    Mute,
    /// It answers as if it had obeyed, and does not move.
    Lying,
    /// It opens and does not close, and says so.
    Stuck,
}

/// How a device comes back that has lost power for a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reboot {
    /// Where it is then; a countdown is gone.
    pub position: Position,
    /// The number that it gives then.
    pub number: Number,
}

/// The number of the last command as a device knows it that has lost power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Number {
    /// It counts anew.
    Zero,
    /// It has kept an older one.
    Older,
}

/// A simulated valve.
#[derive(Debug, Clone)]
pub struct SimulatedValve {
    speaks: Valve,
    fault: Fault,
    open_since: Option<Moment>,
    closes_at: Option<Moment>,
    open_for: Duration,
    longest: Duration,
    openings: u32,
    late: u32,
    last_id: Option<u64>,
    said: Position,
}

impl SimulatedValve {
    /// A sound valve, closed.
    pub(super) fn new(speaks: Valve) -> Self {
        Self {
            speaks,
            fault: Fault::None,
            open_since: None,
            closes_at: None,
            open_for: Duration::ZERO,
            longest: Duration::ZERO,
            openings: 0,
            late: 0,
            last_id: None,
            said: Position::Closed,
        }
    }

    /// Whether water can pass.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.open_since.is_some()
    }

    /// How long it was open in its life, until `now`.
    #[must_use]
    pub fn open_for(&self, now: Moment) -> Duration {
        let running = self.open_since.map(|since| now.since(since));
        self.open_for + running.unwrap_or_default()
    }

    /// The longest time for which it was open at once, of those that are over.
    #[must_use]
    pub fn longest(&self) -> Duration {
        self.longest
    }

    /// How often it has opened in its life.
    #[must_use]
    pub fn openings(&self) -> u32 {
        self.openings
    }

    /// Commands to open that came too late or out of order, and that it did
    /// not obey.
    #[must_use]
    pub fn late_commands(&self) -> u32 {
        self.late
    }

    /// Where it last said it is.
    #[must_use]
    pub fn said(&self) -> Position {
        self.said
    }

    /// The number of the last command that it carried out, or says it has.
    pub(super) fn last_id(&self) -> Option<u64> {
        self.last_id
    }

    pub(super) fn speaks(&self) -> &Valve {
        &self.speaks
    }

    pub(super) fn set_fault(&mut self, fault: Fault) {
        self.fault = fault;
    }

    /// When it closes by itself, if it does.
    pub(super) fn closes_at(&self) -> Option<Moment> {
        self.closes_at
    }

    /// Takes a payload on its command topic; whether it answers.
    pub(super) fn hear(&mut self, payload: &str, now: Now) -> bool {
        let open = self.speaks.open.numbers_in(payload);
        let close = self.speaks.close.numbers_in(payload);
        let (position, numbers) = match (open, close) {
            (Some(numbers), _) => (Position::Open, numbers),
            (None, Some(numbers)) => (Position::Closed, numbers),
            (None, None) => return false,
        };
        if self.fault == Fault::Deaf {
            return false;
        }
        let number = |field| numbers.get(&field).copied();
        let id = number(Field::Id);
        let is_older = id.is_some_and(|id| self.last_id.is_some_and(|last| id < last));
        let is_expired = position == Position::Open
            && number(Field::IssuedAt)
                .zip(number(Field::ValidFor))
                .is_some_and(|(issued, valid)| is_past(issued, valid, now));
        if position == Position::Open && (is_older || is_expired) {
            self.late += 1;
        }
        if !is_older && !is_expired {
            self.last_id = id.or(self.last_id);
            self.obey(position, run_time(&number), now.moment);
        }
        self.fault != Fault::Mute
    }

    fn obey(&mut self, position: Position, run_time: Option<Duration>, now: Moment) {
        match (position, self.fault) {
            (_, Fault::Lying) => {}
            (Position::Open, _) => {
                self.open(now);
                self.closes_at = run_time.map(|span| now.after(span));
            }
            (Position::Closed, Fault::Stuck) => {}
            (Position::Closed, _) => self.close(now),
        }
        if self.fault != Fault::Mute {
            let is_stuck = self.fault == Fault::Stuck && self.is_open();
            self.said = if is_stuck { Position::Open } else { position };
        }
    }

    /// It opens, told or by itself.
    pub(super) fn open(&mut self, now: Moment) {
        if self.open_since.is_none() {
            self.openings += 1;
            self.open_since = Some(now);
        }
    }

    /// It closes, told or by itself.
    pub(super) fn close(&mut self, now: Moment) {
        self.closes_at = None;
        if let Some(since) = self.open_since.take() {
            self.open_for += now.since(since);
            self.longest = self.longest.max(now.since(since));
        }
    }

    /// It has lost power and comes back.
    pub(super) fn reboot(&mut self, how: Reboot, now: Moment) {
        self.last_id = match how.number {
            Number::Zero => Some(0),
            Number::Older => self.last_id.map(|last| last.saturating_sub(1)),
        };
        match how.position {
            Position::Open => {
                self.open(now);
                self.closes_at = None;
            }
            Position::Closed => self.close(now),
        }
    }

    /// Its time is up; whether it says so.
    pub(super) fn run_out(&mut self, at: Moment) -> bool {
        self.closes_at = None;
        match self.fault {
            Fault::Stuck => return false,
            Fault::Lying => {
                self.said = Position::Closed;
                return true;
            }
            _ => self.close(at),
        }
        self.tell()
    }

    /// It tells where it is, unasked; whether it can.
    pub(super) fn tell(&mut self) -> bool {
        if matches!(self.fault, Fault::Mute | Fault::Deaf) {
            return false;
        }
        self.said = if self.is_open() {
            Position::Open
        } else {
            Position::Closed
        };
        true
    }
}

/// Whole seconds were sent, so the last one counts in full.
fn is_past(issued_s: u64, valid_s: u64, now: Now) -> bool {
    let until_s = issued_s.saturating_add(valid_s).saturating_add(1);
    let end = i64::try_from(until_s).unwrap_or(i64::MAX);
    now.utc.timestamp() >= end
}

fn run_time(number: &impl Fn(Field) -> Option<u64>) -> Option<Duration> {
    let seconds = number(Field::Seconds).map(Duration::from_secs);
    let minutes =
        number(Field::Minutes).map(|minutes| Duration::from_secs(minutes.saturating_mul(60)));
    let millis = number(Field::Milliseconds).map(Duration::from_millis);
    millis.or(seconds).or(minutes)
}
