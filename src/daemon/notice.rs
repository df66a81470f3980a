//! What the control loop tells people: the diary of the ground, alarms, and
//! what is the matter with clock and weather.

use chrono::{DateTime, TimeDelta, Utc};

use super::outlook::Basis;
use super::sensors::SensorNews;
use crate::balance::probe::Correction;
use crate::clock::ClockProblem;
use crate::plan::timetable::Reason;
use crate::valve::{Alarm, FinishedRun, Refusal, RunId};

/// Something worth telling.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// Every valve has confirmed that it is closed; watering may begin.
    Ready,
    /// A run begins.
    Begins {
        /// Its number; none in a dry run.
        run: Option<RunId>,
        /// Index of the zone.
        zone: usize,
        /// How long.
        duration: TimeDelta,
        /// Why; none when a person asked.
        reason: Option<Reason>,
    },
    /// Water has been applied.
    Ended(FinishedRun),
    /// A run was not carried out.
    Refused {
        /// Index of the zone.
        zone: usize,
        /// Why.
        refusal: Refusal,
    },
    /// A run is due and waits until a valve before it has closed.
    Waits {
        /// Index of the zone.
        zone: usize,
    },
    /// A run was due and is too late now; it is planned anew.
    Missed {
        /// Index of the zone.
        zone: usize,
        /// When it was due.
        due: DateTime<Utc>,
    },
    /// An alarm begins.
    Alarm(Alarm),
    /// An alarm is over.
    AlarmOver(Alarm),
    /// A valve was left open that the site does not drive any more, in words.
    Stray(String),
    /// A plan was made.
    Planned {
        /// Runs within its reach.
        runs: usize,
        /// The next one: zone and start.
        next: Option<(usize, DateTime<Utc>)>,
        /// What it cannot meet.
        shortfalls: usize,
    },
    /// No plan could be made; the old one stays.
    NotPlanned(String),
    /// The wall clock cannot be believed: nothing opens.
    ClockWrong(ClockProblem),
    /// It can again.
    ClockRight,
    /// The wall clock was set.
    ClockSet(TimeDelta),
    /// By another clock everything begins anew, and that waits for something.
    AnewWaits(String),
    /// Weather is missing within a day; what stands in from when.
    WeatherStale(DateTime<Utc>, Basis),
    /// Weather is there again.
    WeatherFresh,
    /// A sensor has something wrong, or is as it should be again.
    Sensor(SensorNews),
    /// A probe has corrected the balance of a zone.
    Corrected {
        /// Index of the zone.
        zone: usize,
        /// Name of the probe.
        sensor: String,
        /// The instant of the levels that were corrected.
        at: DateTime<Utc>,
        /// What became of them.
        correction: Correction,
    },
}
