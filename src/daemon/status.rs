//! How everything stands, for people and programs.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::control::Control;
use super::{outlook, strays};
use crate::balance::record::Stage;
use crate::site::Site;
use crate::valve::{Alarm, Link, Phase, ValveState};

/// Runs to come that are told.
const RUNS_TOLD: usize = 12;

/// The whole state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// The site's name.
    pub site: String,
    /// Time of the daemon.
    pub now: DateTime<Utc>,
    /// IANA time zone of the site.
    pub time_zone: String,
    /// `starting`, `running`, `stopping`, `stopped`.
    pub phase: String,
    /// Whether valves are only pretended to open.
    pub dry_run: bool,
    /// Whether the broker is connected.
    pub broker: bool,
    /// What is wrong with the clock.
    pub clock_problem: Option<String>,
    /// What stands in for missing weather.
    pub weather_problem: Option<String>,
    /// Alarms, in words.
    pub alarms: Vec<String>,
    /// The zones.
    pub zones: Vec<ZoneStatus>,
    /// The next runs.
    pub runs: Vec<RunStatus>,
    /// Zones that the plan cannot keep moist: zone and hours.
    pub shortfalls: Vec<(String, f64)>,
}

/// One zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ZoneStatus {
    /// Its name.
    pub name: String,
    /// `closed`, `waiting`, `opening`, `open`, `closing`, `faulted`, `by hand`.
    pub valve: String,
    /// Stage.
    pub stage: Option<String>,
    /// Depletion of the managed layer [mm], at the last plan.
    pub depletion_mm: Option<f64>,
    /// What is allowed of it [mm].
    pub allowed_mm: Option<f64>,
    /// When the run in progress ends, once its valve has been told to open.
    pub open_until: Option<DateTime<Utc>>,
    /// When the next run of the plan begins.
    pub next_run: Option<DateTime<Utc>>,
    /// End of the last water.
    pub last_water: Option<DateTime<Utc>>,
    /// No watering before this.
    pub held_until: Option<DateTime<Utc>>,
    /// Why, in the words of who asked for it.
    #[serde(default)]
    pub held_why: Option<String>,
    /// When it was last mown.
    pub mown: Option<DateTime<Utc>>,
}

/// One run to come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunStatus {
    /// Zone.
    pub zone: String,
    /// Start.
    pub start: DateTime<Utc>,
    /// How long [s].
    pub seconds: i64,
    /// Gross depth [mm].
    pub depth_mm: f64,
}

impl Control {
    /// How everything stands.
    #[must_use]
    pub fn status(&self) -> Status {
        let known = self.supervisor.known();
        let phase = match known.phase {
            Phase::New | Phase::Starting => "starting",
            Phase::Running => "running",
            Phase::Stopping { .. } => "stopping",
            Phase::Stopped => "stopped",
        };
        let name = |zone: usize| self.site.zones[zone].name.clone();
        let runs = self.coming_runs().take(RUNS_TOLD).map(|run| RunStatus {
            zone: name(run.zone),
            start: run.start,
            seconds: run.duration.num_seconds(),
            depth_mm: run.depth.mm(),
        });
        let shortfalls = self.plan.iter().flat_map(|plan| &plan.shortfalls);
        Status {
            site: self.site.name.clone(),
            now: self.now.utc,
            time_zone: self.site.place.time_zone.name().to_owned(),
            phase: phase.to_owned(),
            dry_run: self.settings.dry_run,
            broker: known.link == Link::Up,
            clock_problem: self.clock_problem.map(|problem| problem.to_string()),
            weather_problem: self
                .stale
                .map(|(from, basis)| outlook::in_words(from, basis)),
            alarms: self.alarms(),
            zones: self.zone_statuses(),
            runs: runs.collect(),
            shortfalls: shortfalls
                .map(|shortfall| (name(shortfall.zone), shortfall.hours_dry))
                .collect(),
        }
    }

    /// Everything that a person should know at once, in words.
    fn alarms(&self) -> Vec<String> {
        let alarms = self.supervisor.known().alarms.iter();
        let planning = self.not_planned.iter();
        let planning = planning.map(|why| format!("no plan can be made: {why}"));
        let clock = self.clock_problem.map(|problem| problem.to_string());
        alarms
            .map(|alarm| in_words(&self.site, alarm))
            .chain(clock)
            .chain(self.hindrance.iter().map(ToString::to_string))
            .chain(planning)
            .chain(self.strays.iter().map(strays::in_words))
            .chain(self.senses.problems(self.now.utc))
            .collect()
    }

    fn zone_statuses(&self) -> Vec<ZoneStatus> {
        let mut next = vec![None; self.fields.len()];
        for run in self.coming_runs() {
            if let Some(next) = next.get_mut(run.zone) {
                next.get_or_insert(run.start);
            }
        }
        let zones = next.into_iter().enumerate();
        zones
            .map(|(zone, next)| self.zone_status(zone, next))
            .collect()
    }

    fn zone_status(&self, zone: usize, next_run: Option<DateTime<Utc>>) -> ZoneStatus {
        let field = &self.fields[zone];
        let is_driven = self.settings.driven.get(zone).copied().unwrap_or(false);
        let valve = match self.supervisor.known().fleet.zones.get(zone) {
            _ if !is_driven => "by hand",
            None => "unknown",
            Some(ValveState::Closed { .. }) => "closed",
            Some(ValveState::Waiting { .. }) => "waiting",
            Some(ValveState::Opening { .. }) => "opening",
            Some(ValveState::Open { .. }) => "open",
            Some(ValveState::Closing { .. }) => "closing",
            Some(ValveState::Faulted { .. }) => "faulted",
        };
        // While master valve and pump come first nobody knows when it will end.
        let is_open = matches!(valve, "opening" | "open");
        let state = self.plan.as_ref().and_then(|plan| plan.zones.get(zone));
        let hold = field.hold.as_ref().filter(|hold| hold.until > self.now.utc);
        ZoneStatus {
            name: self.site.zones[zone].name.clone(),
            valve: valve.to_owned(),
            stage: state.map(|state| stage_word(state.stage)),
            depletion_mm: state.map(|state| state.depletion_mm),
            allowed_mm: state.map(|state| state.allowed_mm),
            open_until: field
                .ordered
                .zip(self.run_ends(zone))
                .filter(|_| is_open)
                .map(|(run, ends)| run.wall_time(ends, self.now)),
            next_run,
            last_water: field.last_water().map(|water| water.to),
            held_until: hold.map(|hold| hold.until),
            held_why: hold
                .map(|hold| hold.note.clone())
                .filter(|why| !why.is_empty()),
            mown: field.mown,
        }
    }
}

/// The word for a stage.
pub(super) fn stage_word(stage: Stage) -> String {
    format!("{stage:?}").to_lowercase()
}

/// An alarm in words, with the name of its zone.
#[must_use]
pub fn in_words(site: &Site, alarm: Alarm) -> String {
    let zone = alarm.zone().and_then(|zone| site.zones.get(zone));
    match zone {
        Some(zone) => format!("{}: {}", zone.name, alarm.text()),
        None => alarm.text(),
    }
}
