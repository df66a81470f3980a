//! Whether an order may be carried out now, beside everything else.

use super::alarm::AlarmSet;
use super::command::{OpenOrder, Refusal, RunId};
use super::config::{Installation, OthersWhenFaulted};
use super::device::MeterFlow;
use super::fleet::Fleet;
use super::flow_watch::FlowWatch;
use super::moment::Moment;
use super::state::ValveState;

/// What an order is judged against.
pub(super) struct Interlock<'a> {
    pub(super) installation: &'a Installation,
    pub(super) fleet: &'a Fleet,
    pub(super) flows: &'a FlowWatch,
    pub(super) alarms: &'a AlarmSet,
    pub(super) last_run: RunId,
    pub(super) now: Moment,
}

impl Interlock<'_> {
    /// Judges an order.
    ///
    /// # Errors
    /// [`Refusal`]: the first thing that forbids it.
    pub(super) fn admit(&self, order: &OpenOrder) -> Result<(), Refusal> {
        let state = self.fleet.zones.get(order.zone);
        let state = state.ok_or(Refusal::UnknownZone)?;
        if self.now >= order.expires() {
            return Err(Refusal::Late);
        }
        if order.run <= self.last_run {
            return Err(Refusal::GivenBefore);
        }
        if order.duration.is_zero() || order.duration > self.installation.longest_run {
            return Err(Refusal::RunTime);
        }
        if self.is_forbidden(order.zone) {
            return Err(Refusal::Alarm);
        }
        match state {
            ValveState::Closed {
                rest_until: Some(until),
                ..
            } if self.now < *until => return Err(Refusal::Resting),
            ValveState::Closed { .. } => {}
            _ => return Err(Refusal::Busy),
        }
        let drawn = self.drawn(|zone| self.flows.most(zone));
        // Alone the given flow counts: whatever the meter says, there is
        // nothing else to which the supply could go.
        let is_alone = drawn == MeterFlow::default();
        if !is_alone && drawn.plus(self.flows.most(order.zone)) > self.installation.supply {
            return Err(Refusal::Supply);
        }
        Ok(())
    }

    /// Whether the supply would feed a zone beside what is open, if all drew
    /// what the site says.
    pub(super) fn would_fit_as_given(&self, zone: usize) -> bool {
        let given = |zone| self.flows.given(zone);
        self.drawn(given).plus(given(zone)) <= self.installation.supply
    }

    fn is_forbidden(&self, zone: usize) -> bool {
        let faulted =
            |state: &Option<ValveState>| matches!(state, Some(ValveState::Faulted { .. }));
        let held = match self.installation.others {
            OthersWhenFaulted::Hold => self.fleet.any_faulted(),
            OthersWhenFaulted::Water => faulted(&self.fleet.master) || faulted(&self.fleet.pump),
        };
        held || self.alarms.iter().any(|alarm| alarm.forbids(zone))
    }

    /// What flows at most now: everything that is not confirmed closed, and
    /// everything that is about to open.
    fn drawn(&self, flow: impl Fn(usize) -> MeterFlow) -> MeterFlow {
        let zones = self.fleet.zones.iter().enumerate();
        zones
            .filter(|(_, state)| !matches!(state, ValveState::Closed { .. }))
            .map(|(zone, _)| flow(zone))
            .fold(MeterFlow::default(), MeterFlow::plus)
    }
}
