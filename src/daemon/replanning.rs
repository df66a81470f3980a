//! When the loop plans again, and what it takes over of a plan.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::assignment::{Assignment, Outcome};
use super::control::{Action, Control};
use super::notice::Notice;
use crate::balance::stores::Levels;
use crate::store::Entry;
use crate::valve::Moment;

/// A plan is never older.
const REPLAN_AFTER: Duration = Duration::from_secs(3600);
/// Pause between two plans that nothing urgent asks for.
const REPLAN_PAUSE: Duration = Duration::from_secs(2);
/// A planning that takes longer is given up; the old plan goes on.
const PLANNING_MOST: Duration = Duration::from_secs(60);
/// The balance is carried on in steps of this, each written down: it begins
/// at the same instant before a restart and after it.
const LEVELS_STEP: TimeDelta = TimeDelta::hours(6);
/// Missing weather nearer than this is told.
const STALE_WITHIN: TimeDelta = TimeDelta::hours(24);

/// A planning under way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Planning {
    pub(super) since: Moment,
    /// What is known then.
    pub(super) revision: u64,
}

impl Control {
    /// What was planned or is being planned no longer holds.
    pub(super) fn changed(&mut self) {
        self.revision += 1;
        self.plan_holds = false;
        self.replan_by(self.now.moment);
    }

    /// Plans again at the next chance. Not at once after the last time: news
    /// may come one after the other.
    pub(super) fn replan_soon(&mut self) {
        let now = self.now.moment;
        let next = self.planned_at.map_or(now, |at| at.after(REPLAN_PAUSE));
        self.replan_by(next.max(now));
    }

    pub(super) fn replan_by(&mut self, at: Moment) {
        self.replan_at = Some(self.replan_at.map_or(at, |known| known.min(at)));
    }

    /// Whether a plan is awaited that may change what is due.
    pub(super) fn is_planning(&self) -> bool {
        let now = self.now.moment;
        self.planning
            .is_some_and(|planning| now.since(planning.since) < PLANNING_MOST)
    }

    pub(super) fn plan_if_due(&mut self, out: &mut Vec<Action>) {
        let now = self.now.moment;
        let is_due = self.replan_at.is_some_and(|at| now >= at)
            || self
                .planned_at
                .is_some_and(|at| now.since(at) >= REPLAN_AFTER);
        let is_early = self.awaits_weather.is_some_and(|until| now < until);
        if !is_due || is_early || self.is_planning() || self.is_stopping || !self.is_clock_right() {
            return;
        }
        self.replan_at = None;
        self.planned_at = Some(now);
        self.planning = Some(Planning {
            since: now,
            revision: self.revision,
        });
        out.push(Action::Plan(Box::new(self.assignment())));
    }

    /// A planning of what is known now.
    #[must_use]
    pub fn assignment(&self) -> Assignment {
        let zones = self.fields.iter().enumerate();
        let zones = zones
            .map(|(zone, field)| field.now(self.now, self.is_left_out(zone), self.run_ends(zone)));
        Assignment {
            revision: self.revision,
            site: Arc::clone(&self.site),
            zones: zones.collect(),
            weather: Arc::clone(&self.weather),
            // The next whole second, on which runs can begin.
            now: whole_second(self.now.utc),
        }
    }

    pub(super) fn adopt(&mut self, outcome: Outcome, out: &mut Vec<Action>) {
        let is_awaited = |planning: &Planning| planning.revision == outcome.revision;
        if self.planning.as_ref().is_none_or(is_awaited) {
            self.planning = None;
        }
        if outcome.revision != self.revision {
            // It tells of what was. Unless a later one is under way, one is
            // made of what is. Nothing has changed by it: a planner that is
            // one behind would otherwise stay so for ever.
            if self.planning.is_none() {
                self.plan_holds = false;
                self.replan_by(self.now.moment);
            }
            return;
        }
        self.plan_holds = true;
        self.note_weather(&outcome, out);
        let plan = match outcome.plan {
            Ok(plan) => plan,
            Err(why) => {
                self.not_planned = Some(why.clone());
                out.push(Action::Tell(Notice::NotPlanned(why)));
                return;
            }
        };
        self.not_planned = None;
        for (zone, state) in plan.zones.iter().enumerate() {
            self.carry_on(zone, state.kept, (plan.horizon.now, out));
        }
        self.tell_corrections(&plan.corrections, out);
        let next = plan.runs.first().map(|run| (run.zone, run.start));
        out.push(Action::Tell(Notice::Planned {
            runs: plan.runs.len(),
            next,
            shortfalls: plan.shortfalls.len(),
        }));
        self.plan = Some(plan);
        self.next_run = 0;
    }

    fn note_weather(&mut self, outcome: &Outcome, out: &mut Vec<Action>) {
        let near = self.now.utc + STALE_WITHIN;
        let stale = outcome.stands_in.filter(|(from, _)| *from < near);
        if stale.is_some() != self.stale.is_some() {
            out.push(Action::Tell(match stale {
                Some((from, basis)) => Notice::WeatherStale(from, basis),
                None => Notice::WeatherFresh,
            }));
        }
        self.stale = stale;
    }

    fn carry_on(
        &mut self,
        zone: usize,
        (at, levels): (DateTime<Utc>, Levels),
        (seen, out): (DateTime<Utc>, &mut Vec<Action>),
    ) {
        let base = &self.fields[zone].base;
        if base.1.is_some() && at - base.0 < LEVELS_STEP {
            return;
        }
        self.fields[zone].carry_on(at, levels);
        if self.settings.dry_run {
            return;
        }
        // A finite set of numbers can always be written as JSON.
        if let Ok(state) = serde_json::to_value(levels) {
            out.push(Action::Write(Entry::Balance {
                zone,
                at,
                seen,
                state,
            }));
        }
    }

    /// When the next plan is due, while one can be made.
    pub(super) fn next_plan(&self) -> Option<Moment> {
        if self.is_planning() || self.is_stopping || !self.is_clock_right() {
            return None;
        }
        let hourly = self.planned_at.map(|at| at.after(REPLAN_AFTER));
        let due = [self.replan_at, hourly].into_iter().flatten().min();
        due.map(|due| due.max(self.awaits_weather.unwrap_or(due)))
    }
}

/// The first whole second from an instant on.
fn whole_second(at: DateTime<Utc>) -> DateTime<Utc> {
    let whole = DateTime::from_timestamp(at.timestamp(), 0).unwrap_or(at);
    if whole < at {
        whole + TimeDelta::seconds(1)
    } else {
        whole
    }
}
