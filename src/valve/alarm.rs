//! Alarms: what a person must know, once when it begins and once when over.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::command::Action;
use super::device::DeviceId;

/// Something that is wrong and that a person should know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Alarm {
    /// A device has not confirmed closed within the bound. Water may run.
    NotClosing(DeviceId),
    /// A device did not confirm that it opened.
    NotOpening(DeviceId),
    /// A device opened without a command.
    OpenedItself(DeviceId),
    /// The broker has been away for longer than the grace.
    LinkDown,
    /// Water flows although everything is closed.
    Leak,
    /// Far more flows than the open zone draws. Waits for a person.
    Burst(usize),
    /// Far less flows than the open zone draws.
    LowFlow(usize),
    /// Nothing flows although a valve is open. Waits for a person.
    DrySupply,
    /// A zone has long not been opened because by the meter it, or a zone
    /// beside it, draws more than the site says.
    NotFed(usize),
    /// The meter is silent while a valve is open.
    MeterSilent,
    /// The journal cannot be written.
    Journal,
}

/// How bad an alarm is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Handled for now; look when you pass.
    Warning,
    /// Go there.
    Critical,
}

impl Alarm {
    /// How bad it is.
    #[must_use]
    pub const fn severity(self) -> Severity {
        match self {
            Self::NotClosing(_)
            | Self::Leak
            | Self::Burst(_)
            | Self::DrySupply
            | Self::Journal
            | Self::LinkDown => Severity::Critical,
            Self::NotOpening(_)
            | Self::OpenedItself(_)
            | Self::LowFlow(_)
            | Self::NotFed(_)
            | Self::MeterSilent => Severity::Warning,
        }
    }

    /// Whether it stays until a person acknowledges it.
    #[must_use]
    pub const fn waits_for_a_person(self) -> bool {
        matches!(
            self,
            Self::Burst(_) | Self::DrySupply | Self::OpenedItself(_)
        )
    }

    /// Whether it keeps the valve of `zone` shut.
    #[must_use]
    pub fn forbids(self, zone: usize) -> bool {
        match self {
            Self::Leak | Self::DrySupply => true,
            Self::Burst(burst) => burst == zone,
            _ => false,
        }
    }
}

impl Alarm {
    /// The zone that it is about, by its index in the site.
    #[must_use]
    pub const fn zone(self) -> Option<usize> {
        match self {
            Self::NotClosing(DeviceId::Zone(zone))
            | Self::NotOpening(DeviceId::Zone(zone))
            | Self::OpenedItself(DeviceId::Zone(zone))
            | Self::Burst(zone)
            | Self::LowFlow(zone)
            | Self::NotFed(zone) => Some(zone),
            _ => None,
        }
    }

    /// What it says, to stand after the name of its zone.
    #[must_use]
    pub fn text(self) -> String {
        match self {
            Self::NotClosing(device) => format!(
                "the {} has not confirmed that it is closed: shut the water off by hand",
                named(device)
            ),
            Self::NotOpening(device) => format!(
                "the {} did not confirm that it opened: check its power and its connection",
                named(device)
            ),
            Self::OpenedItself(device) => format!(
                "the {} opened without a command: find out who else switches it",
                named(device)
            ),
            Self::LinkDown => {
                "the broker is not connected, valves cannot be reached and sensors not be heard: \
                 check broker and network"
                    .to_owned()
            }
            Self::Leak => {
                "water flows although everything is closed: look for a leak or an open tap"
                    .to_owned()
            }
            Self::Burst(_) => {
                "draws far more water than it should: look for a burst pipe or a lost \
                 sprinkler, then acknowledge"
                    .to_owned()
            }
            Self::LowFlow(_) => {
                "draws far less water than it should: look for a blocked filter or nozzle"
                    .to_owned()
            }
            Self::NotFed(_) => {
                "is not watered beside others: by the meter they draw more than the site \
                 file says; check the meter, or correct the flow of the zones"
                    .to_owned()
            }
            Self::DrySupply => {
                "nothing flows although a valve is open: check tap, tank and pump, then acknowledge"
                    .to_owned()
            }
            Self::MeterSilent => {
                "the flow meter is silent: bursts and leaks go unseen, check the meter".to_owned()
            }
            Self::Journal => {
                "the journal cannot be written, nothing will be watered: the disk is full, broken \
                 or does not answer; free some space, or see to the disk"
                    .to_owned()
            }
        }
    }
}

/// A device beside the name of its zone.
fn named(device: DeviceId) -> String {
    match device {
        DeviceId::Zone(_) => "valve".to_owned(),
        DeviceId::Master | DeviceId::Pump => device.to_string(),
    }
}

/// The alarms that stand.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct AlarmSet(BTreeSet<Alarm>);

impl AlarmSet {
    /// Raises an alarm; tells it only when it is new.
    pub fn raise(&mut self, alarm: Alarm, actions: &mut Vec<Action>) {
        if self.0.insert(alarm) {
            actions.push(Action::Raise(alarm));
        }
    }

    /// Ends an alarm; tells it only when it stood.
    pub fn clear(&mut self, alarm: Alarm, actions: &mut Vec<Action>) {
        if self.0.remove(&alarm) {
            actions.push(Action::Clear(alarm));
        }
    }

    /// Whether it stands.
    #[must_use]
    pub fn contains(&self, alarm: Alarm) -> bool {
        self.0.contains(&alarm)
    }

    /// All that stand, in a fixed order.
    pub fn iter(&self) -> impl Iterator<Item = Alarm> + '_ {
        self.0.iter().copied()
    }
}
