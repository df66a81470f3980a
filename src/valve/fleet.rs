//! The states of all devices of an installation.

use super::command::Recovery;
use super::device::DeviceId;
use super::state::ValveState;

/// The state of every device.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Fleet {
    /// Zone valves, in the order of the site.
    pub zones: Vec<ValveState>,
    /// The valve before them.
    pub master: Option<ValveState>,
    /// The pump.
    pub pump: Option<ValveState>,
}

impl Fleet {
    /// The state of one device.
    #[must_use]
    pub fn get(&self, id: DeviceId) -> Option<&ValveState> {
        match id {
            DeviceId::Zone(index) => self.zones.get(index),
            DeviceId::Master => self.master.as_ref(),
            DeviceId::Pump => self.pump.as_ref(),
        }
    }

    /// Puts the state of one device; a zone that is new must be the next.
    pub(super) fn put(&mut self, id: DeviceId, state: ValveState) {
        match id {
            DeviceId::Zone(index) if index < self.zones.len() => self.zones[index] = state,
            DeviceId::Zone(_) => self.zones.push(state),
            DeviceId::Master => self.master = Some(state),
            DeviceId::Pump => self.pump = Some(state),
        }
    }

    /// All devices: zones first, then master valve and pump.
    pub fn iter(&self) -> impl Iterator<Item = (DeviceId, &ValveState)> {
        let zones = self.zones.iter().enumerate();
        zones
            .map(|(index, state)| (DeviceId::Zone(index), state))
            .chain(self.master.iter().map(|state| (DeviceId::Master, state)))
            .chain(self.pump.iter().map(|state| (DeviceId::Pump, state)))
    }

    /// Whether all devices are confirmed closed.
    #[must_use]
    pub fn all_closed(&self) -> bool {
        self.iter().all(|(_, state)| state.is_closed())
    }

    /// Whether a device is faulted.
    #[must_use]
    pub fn any_faulted(&self) -> bool {
        self.iter()
            .any(|(_, state)| matches!(state, ValveState::Faulted { .. }))
    }
}

/// The recovered run of a zone, if one was in progress: the last begun.
pub(super) fn unfinished_of(
    recovery: &Recovery,
    id: DeviceId,
) -> Option<&super::command::UnfinishedRun> {
    let DeviceId::Zone(zone) = id else {
        return None;
    };
    let runs = recovery.unfinished.iter();
    runs.filter(|run| run.zone == zone)
        .max_by_key(|run| run.run)
}
