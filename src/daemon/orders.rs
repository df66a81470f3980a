//! Runs that are due become orders to the supervisor; what comes of them.

use std::time::Duration;

use chrono::{TimeDelta, Utc};

use super::control::{Action, Control};
use super::field::Ordered;
use super::notice::Notice;
use crate::plan::timetable::{Cycle, Reason, Run};
use crate::valve::{self, FinishedRun, Moment, OpenOrder, Refusal, RunId, ValveState};

/// A run that is so late is not given any more but planned anew; later where
/// a valve may take longer to close.
const LATE_MOST: Duration = Duration::from_secs(300);

/// A due run that waits until the valve before it has closed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Waiting {
    zone: usize,
    since: Moment,
    is_told: bool,
}

/// A run to be begun now.
pub(super) struct Wanted {
    pub(super) zone: usize,
    pub(super) duration: TimeDelta,
    pub(super) cycle: Option<Cycle>,
    pub(super) reason: Option<Reason>,
}

impl Control {
    /// Begins every run of the plan that is due.
    pub(super) fn begin_due_runs(&mut self, out: &mut Vec<Action>) {
        if self.is_planning() || !self.plan_holds {
            return;
        }
        while let Some(run) = self.due_run() {
            if self.now.utc - run.start > self.late_most() {
                self.next_run += 1;
                out.push(Action::Tell(Notice::Missed {
                    zone: run.zone,
                    due: run.start,
                }));
                self.replan_soon();
                continue;
            }
            if !self.may_begin() {
                return;
            }
            if self.waits(&run) {
                self.note_waiting(run.zone, out);
                return;
            }
            self.waiting = None;
            self.next_run += 1;
            if self.is_kept_shut(run.zone) {
                continue;
            }
            let wanted = Wanted {
                zone: run.zone,
                duration: run.duration,
                cycle: run.reason.cycle,
                reason: Some(run.reason),
            };
            // A refusal is told and planned around where it is taken in.
            let _ = self.begin(wanted, out);
        }
    }

    fn late_most(&self) -> TimeDelta {
        let closing = self.settings.installation.timing.close_bound;
        TimeDelta::from_std(LATE_MOST.max(closing)).unwrap_or(TimeDelta::MAX)
    }

    /// Whether a due run would be refused now, and only for a valve that is
    /// closing, about to close, or resting: its own, or one that draws the
    /// water that it needs. It waits for that valve, as long as a run may be
    /// late; a valve that does not close becomes a fault before.
    fn waits(&self, run: &Run) -> bool {
        if self.settings.dry_run {
            return false;
        }
        let left = run.start + self.late_most() - self.now.utc;
        let until = self.now.moment.after(left.to_std().unwrap_or_default());
        let is_freed = |state: &ValveState| state.free_at().is_some_and(|at| at <= until);
        let zones = &self.supervisor.known().fleet.zones;
        match self.supervisor.admit(&self.order(run.zone, run.duration)) {
            Err(Refusal::Busy | Refusal::Resting) => zones.get(run.zone).is_some_and(is_freed),
            Err(Refusal::Supply) => {
                let is_drawing = |state: &&ValveState| !matches!(state, ValveState::Closed { .. });
                zones.iter().filter(is_drawing).any(is_freed)
            }
            _ => false,
        }
    }

    /// A wait that is longer than a message may take is told, once.
    fn note_waiting(&mut self, zone: usize, out: &mut Vec<Action>) {
        let now = self.now.moment;
        let known = self.waiting.filter(|waiting| waiting.zone == zone);
        let mut waiting = known.unwrap_or(Waiting {
            zone,
            since: now,
            is_told: false,
        });
        let is_long = now.since(waiting.since) > self.settings.installation.timing.most_delay;
        if is_long && !waiting.is_told {
            waiting.is_told = true;
            out.push(Action::Tell(Notice::Waits { zone }));
        }
        self.waiting = Some(waiting);
    }

    fn order(&self, zone: usize, duration: TimeDelta) -> OpenOrder {
        OpenOrder {
            run: RunId(self.supervisor.known().last_run.0 + 1),
            zone,
            duration: duration.to_std().unwrap_or_default(),
            issued: self.now.moment,
            valid_for: self.settings.valid_for,
        }
    }

    /// When the run in progress of a zone ends, if there is one. Master valve
    /// and pump come first, so that it is later than the order says.
    pub(super) fn run_ends(&self, zone: usize) -> Option<Moment> {
        let ordered = self.fields.get(zone)?.ordered?;
        let duration = ordered.duration.to_std().unwrap_or_default();
        Some(match self.supervisor.known().fleet.zones.get(zone) {
            Some(ValveState::Opening { lease, .. } | ValveState::Open { lease }) => lease.deadline,
            Some(ValveState::Waiting { .. }) => self.now.moment.after(duration),
            _ => ordered.at.moment.after(duration),
        })
    }

    fn due_run(&self) -> Option<Run> {
        let run = self.plan.as_ref()?.runs.get(self.next_run)?;
        (run.start <= self.now.utc).then(|| run.clone())
    }

    /// Whether a zone is held, out of order, or pausing after a refusal: then
    /// it is planned again after the pause.
    fn is_kept_shut(&mut self, zone: usize) -> bool {
        let field = &self.fields[zone];
        let (now, utc) = (self.now.moment, self.now.utc);
        let is_held = field.held_until().is_some_and(|until| until > utc);
        let pause = field.pause_until.filter(|until| *until > now);
        if let Some(until) = pause {
            self.replan_by(until);
        }
        is_held || pause.is_some() || self.is_left_out(zone)
    }

    /// Gives an order; the refusal, if it is refused at once.
    pub(super) fn begin(&mut self, wanted: Wanted, out: &mut Vec<Action>) -> Result<(), Refusal> {
        let Wanted { zone, .. } = wanted;
        if self.settings.dry_run {
            self.pretend(wanted, out);
            return Ok(());
        }
        let order = self.order(zone, wanted.duration);
        let ordered = Ordered {
            run: order.run,
            at: self.now,
            duration: wanted.duration,
            cycle: wanted.cycle,
        };
        if self.fields[zone].ordered.is_some() {
            return Err(Refusal::Busy);
        }
        self.fields[zone].ordered = Some(ordered);
        let told = out.len();
        self.drive(valve::Event::Open(order), out);
        let refusal = out[told..].iter().find_map(|action| match action {
            Action::Tell(Notice::Refused { zone: z, refusal }) if *z == zone => Some(*refusal),
            _ => None,
        });
        if let Some(refusal) = refusal {
            return Err(refusal);
        }
        self.fields[zone].ordered(ordered);
        self.revision += 1;
        out.insert(
            told,
            Action::Tell(Notice::Begins {
                run: Some(order.run),
                zone,
                duration: wanted.duration,
                reason: wanted.reason,
            }),
        );
        Ok(())
    }

    /// In a dry run the zone gets its water on paper only.
    fn pretend(&mut self, wanted: Wanted, out: &mut Vec<Action>) {
        self.fields[wanted.zone].applied(wanted.duration, self.now.utc + wanted.duration);
        self.revision += 1;
        self.replan_by(
            self.now
                .moment
                .after(wanted.duration.to_std().unwrap_or_default()),
        );
        out.push(Action::Tell(Notice::Begins {
            run: None,
            zone: wanted.zone,
            duration: wanted.duration,
            reason: wanted.reason,
        }));
    }

    pub(super) fn take_finished(&mut self, finished: &FinishedRun, out: &mut Vec<Action>) {
        if let Some(field) = self.fields.get_mut(finished.zone) {
            field.finished(finished, self.now);
        }
        out.push(Action::Tell(Notice::Ended(*finished)));
        self.replan_soon();
    }

    pub(super) fn take_refusal(&mut self, run: RunId, refusal: Refusal, out: &mut Vec<Action>) {
        let is_it = |ordered: &Ordered| ordered.run == run;
        let zone = self
            .fields
            .iter()
            .position(|field| field.ordered.as_ref().is_some_and(is_it));
        // The order of a person for a zone that is being watered: the run in
        // progress keeps its place, and the person is told.
        let Some(zone) = zone else {
            return;
        };
        let again = self.fields[zone].refused(self.now.moment);
        self.revision += 1;
        self.replan_by(again);
        out.push(Action::Tell(Notice::Refused { zone, refusal }));
    }

    /// Zones that no plan waters: without a valve of ours, or with one that
    /// does not do what it is told.
    pub(super) fn is_left_out(&self, zone: usize) -> bool {
        let known = self.supervisor.known();
        let is_faulted = matches!(
            known.fleet.zones.get(zone),
            Some(ValveState::Faulted { .. })
        );
        let is_driven = self.settings.driven.get(zone).copied().unwrap_or(false);
        let is_forbidden = known.alarms.iter().any(|alarm| alarm.forbids(zone));
        !is_driven || is_faulted || is_forbidden
    }

    /// When the next run of the plan begins, on the clock that never steps.
    pub(super) fn next_begin(&self) -> Option<Moment> {
        if self.is_planning() || !self.plan_holds || !self.may_begin() {
            return None;
        }
        let run = self.plan.as_ref()?.runs.get(self.next_run)?;
        if run.start <= self.now.utc && self.waits(run) {
            return None;
        }
        let wait = (run.start - self.now.utc).max(TimeDelta::zero());
        Some(self.now.moment.after(wait.to_std().unwrap_or_default()))
    }

    /// The runs of the plan that are still to come.
    pub(super) fn coming_runs(&self) -> impl Iterator<Item = &Run> {
        let runs = self.plan.iter().flat_map(|plan| &plan.runs);
        let now: chrono::DateTime<Utc> = self.now.utc;
        runs.filter(move |run| run.start >= now)
    }
}
