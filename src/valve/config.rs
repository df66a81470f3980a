//! What the supervisor must know of an installation, checked once.

use std::time::Duration;

use super::device::{Actuation, Device, DeviceId, Feedback, MeterFlow, PumpDevice, ZoneDevice};
use super::flow_watch::Meter;
use super::timing::Timing;

/// An installation under supervision.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Installation {
    /// Zone valves, in the order of the site.
    pub zones: Vec<ZoneDevice>,
    /// The valve before them.
    pub master: Option<Device>,
    /// The pump.
    pub pump: Option<PumpDevice>,
    /// The most that may flow at once.
    pub supply: MeterFlow,
    /// The flow meter of the whole site.
    pub meter: Option<Meter>,
    /// Times and bounds.
    pub timing: Timing,
    /// Whether other zones are watered beside a faulted device.
    pub others: OthersWhenFaulted,
    /// No run is longer.
    pub longest_run: Duration,
}

/// What becomes of the other zones while a device is faulted, that is, has
/// not confirmed closed within its bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum OthersWhenFaulted {
    /// Nothing opens until it has confirmed. The seed may dry; an alarm says
    /// so. With a master valve the faulted zone gets no water meanwhile.
    #[default]
    Hold,
    /// Others are watered as far as the supply reaches with the faulted
    /// valve counted as open. It may pass water whenever they run.
    Water,
}

/// What makes an installation impossible to supervise.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InstallationError {
    /// No zones.
    #[error("there is no zone with a valve: give at least one")]
    NoZones,
    /// A zone alone draws more than the supply.
    #[error("zone {} draws more than the supply gives: it could never be opened", .zone + 1)]
    ZoneAboveSupply {
        /// Index of the zone.
        zone: usize,
    },
    /// A bound is zero.
    #[error("the time `{name}` is zero: give a positive one")]
    Zero {
        /// Which.
        name: &'static str,
    },
    /// The closing bound leaves no time for a confirmation.
    #[error(
        "the {device} cannot confirm within the closing bound: \
         make the bound at least {least:?}"
    )]
    BoundTooShort {
        /// Which device.
        device: DeviceId,
        /// The shortest bound that can be kept.
        least: Duration,
    },
}

impl Installation {
    /// Every device: zones first, then master valve and pump.
    pub fn devices(&self) -> impl Iterator<Item = (DeviceId, Device)> + '_ {
        let zones = self.zones.iter().enumerate();
        zones
            .map(|(index, zone)| (DeviceId::Zone(index), zone.device))
            .chain(self.master.map(|device| (DeviceId::Master, device)))
            .chain(self.pump.map(|pump| (DeviceId::Pump, pump.device)))
    }

    /// How a device acts and how long it rests between two openings.
    pub(super) fn device(&self, id: DeviceId) -> (Device, Duration) {
        let silent = Device {
            actuation: Actuation::OnOff,
            feedback: Feedback::Silent,
        };
        match id {
            DeviceId::Zone(index) => self
                .zones
                .get(index)
                .map_or((silent, Duration::ZERO), |zone| (zone.device, zone.rest)),
            DeviceId::Master => (self.master.unwrap_or(silent), Duration::ZERO),
            DeviceId::Pump => (self.pump.map_or(silent, |pump| pump.device), Duration::ZERO),
        }
    }

    /// Judges whether the supervisor can keep its bounds here.
    ///
    /// # Errors
    /// [`InstallationError`]: the first thing that makes it impossible.
    pub fn check(&self) -> Result<(), InstallationError> {
        if self.zones.is_empty() {
            return Err(InstallationError::NoZones);
        }
        if let Some(zone) = self.zones.iter().position(|zone| zone.flow > self.supply) {
            return Err(InstallationError::ZoneAboveSupply { zone });
        }
        let timing = &self.timing;
        let times = [
            ("repeat", timing.repeat),
            ("open bound", timing.open_bound),
            ("most delay", timing.most_delay),
            ("longest run", self.longest_run),
        ];
        for (name, time) in times {
            if time.is_zero() {
                return Err(InstallationError::Zero { name });
            }
        }
        self.devices()
            .try_for_each(|(id, device)| self.check_bound(id, device))
    }

    /// A report without an echo counts two travel times after an opening, is
    /// asked for once more within a quarter of the bound, and travels.
    fn check_bound(&self, id: DeviceId, device: Device) -> Result<(), InstallationError> {
        let timing = &self.timing;
        let least = match device.feedback {
            Feedback::Position => timing.most_delay * 4,
            Feedback::Echo => timing.most_delay * 2,
            Feedback::Silent => timing.repeat * 8,
        };
        if timing.close_bound < least {
            return Err(InstallationError::BoundTooShort { device: id, least });
        }
        Ok(())
    }
}
