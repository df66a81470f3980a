//! Master valve and pump: open before the zones, closed after them, and no
//! zone open without them.

use super::command::{Action, FinishCause, OpenOrder};
use super::device::DeviceId;
use super::moment::Moment;
use super::state::{Input, ValveState};
use super::supervisor::{Link, Supervisor};

impl Supervisor {
    /// Brings master valve, pump and waiting zones together, after an event.
    pub(super) fn settle(&mut self, actions: &mut Vec<Action>) {
        self.end_runs_without_supply(actions);
        self.close_unneeded_supply(actions);
        if self.known.link != Link::Up || !self.known.journal_works {
            return;
        }
        let waiting: Vec<(usize, OpenOrder)> = self.waiting().collect();
        if waiting.is_empty() || !self.prepare_supply(actions) {
            return;
        }
        for (zone, order) in waiting {
            if self.now < order.expires() {
                let input = Input::Open {
                    run: Some(order.run),
                    deadline: self.now.after(order.duration),
                    valid_until: order.expires(),
                };
                self.apply(DeviceId::Zone(zone), input, actions);
            }
        }
    }

    fn waiting(&self) -> impl Iterator<Item = (usize, OpenOrder)> + '_ {
        let zones = self.known.fleet.zones.iter().enumerate();
        zones.filter_map(|(zone, state)| match state {
            ValveState::Waiting { order, .. } => Some((zone, *order)),
            _ => None,
        })
    }

    fn supply_devices(&self) -> impl Iterator<Item = DeviceId> + use<> {
        let master = self.installation.master.map(|_| DeviceId::Master);
        let pump = self.installation.pump.map(|_| DeviceId::Pump);
        master.into_iter().chain(pump)
    }

    fn end_runs_without_supply(&mut self, actions: &mut Vec<Action>) {
        let is_open = |id| matches!(self.known.fleet.get(id), Some(ValveState::Open { .. }));
        if self.supply_devices().all(is_open) {
            return;
        }
        for zone in 0..self.known.fleet.zones.len() {
            if matches!(
                self.known.fleet.zones[zone],
                ValveState::Opening { .. } | ValveState::Open { .. }
            ) {
                let lost = Input::Close(FinishCause::SupplyLost);
                self.apply(DeviceId::Zone(zone), lost, actions);
            }
        }
    }

    /// A zone valve closes by the pressure before it, so the supply stays on
    /// until the zones have confirmed, or are given up as faulted.
    fn close_unneeded_supply(&mut self, actions: &mut Vec<Action>) {
        let is_at_rest = |state: &ValveState| {
            matches!(
                state,
                ValveState::Closed { .. } | ValveState::Faulted { .. }
            )
        };
        if !self.known.fleet.zones.iter().all(is_at_rest) {
            return;
        }
        for id in self.supply_devices() {
            self.apply(id, Input::Close(FinishCause::Deadline), actions);
        }
    }

    /// Opens the master valve, then starts the pump; true once both are on,
    /// for long enough, and will stay on for all runs.
    fn prepare_supply(&mut self, actions: &mut Vec<Action>) -> bool {
        let needed = self.needed_until();
        for id in self.supply_devices() {
            match self.known.fleet.get(id) {
                Some(ValveState::Closed { .. }) => {
                    let input = Input::Open {
                        run: None,
                        deadline: needed,
                        valid_until: self.now.after(self.installation.timing.open_bound),
                    };
                    self.apply(id, input, actions);
                }
                Some(ValveState::Open { lease }) if lease.deadline < needed => {
                    self.apply(id, Input::Renew(needed), actions);
                }
                _ => {}
            }
            if !matches!(self.known.fleet.get(id), Some(ValveState::Open { .. })) {
                return false;
            }
        }
        self.pump_ready_at().is_none()
    }

    /// When the pump has full pressure, as long as that is to come.
    pub(super) fn pump_ready_at(&self) -> Option<Moment> {
        let delay = self.installation.pump?.start_delay;
        let Some(ValveState::Open { lease }) = self.known.fleet.pump else {
            return None;
        };
        let ready = lease.seen_open?.after(delay);
        (ready > self.now).then_some(ready)
    }

    /// Until when the supply is needed: for what runs, and for what waits as
    /// if it began when its order expires; and then for the closing.
    fn needed_until(&self) -> Moment {
        let zones = self.known.fleet.zones.iter();
        let ends = zones.filter_map(|state| match state {
            ValveState::Waiting { order, .. } => Some(order.expires().after(order.duration)),
            ValveState::Opening { lease, .. } | ValveState::Open { lease } => Some(lease.deadline),
            _ => None,
        });
        let last = ends.max().unwrap_or(self.now);
        last.after(self.installation.timing.close_bound)
    }
}
