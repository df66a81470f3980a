//! What the supervisor knows of each device: how it acts, how it answers.

use std::fmt;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::units::Flow;

/// One device under supervision. The pump is closed when it stands still.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeviceId {
    /// The valve of the zone with this index in the site.
    Zone(usize),
    /// The valve before all zone valves.
    Master,
    /// The pump.
    Pump,
}

impl fmt::Display for DeviceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Zone(index) => write!(f, "valve of zone {}", index + 1),
            Self::Master => f.write_str("master valve"),
            Self::Pump => f.write_str("pump"),
        }
    }
}

/// How a device acts on a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Actuation {
    /// Open until told to close; closes when it loses power.
    OnOff,
    /// Moved by a pulse and keeps its position without power. Its driver can
    /// report a pulse that moved nothing, so it is closed twice.
    Latching,
    /// The open command carries the run time and the device closes itself.
    SelfClosing,
}

impl Actuation {
    /// Closings that follow a confirmed one, each with a number of its own.
    #[must_use]
    pub const fn further_closings(self) -> u8 {
        match self {
            Self::OnOff | Self::SelfClosing => 0,
            Self::Latching => 1,
        }
    }
}

/// How a device tells its position.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Feedback {
    /// Answers each command with its position and the id of the last command
    /// that it carried out. A late report can be told from a fresh one.
    Echo,
    /// Answers each command with its position only. A report counts once it
    /// can no longer stem from before the last open command.
    Position,
    /// Says nothing: a closing counts after it was sent several times.
    Silent,
}

/// How one device acts and answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Device {
    /// How it acts.
    pub actuation: Actuation,
    /// How it answers.
    pub feedback: Feedback,
}

/// A flow as the supervisor counts it: whole mL/min, so that states compare
/// exactly. Not negative; what does not fit stays at the largest value.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct MeterFlow(u32);

impl MeterFlow {
    /// A flow of so many mL/min.
    #[must_use]
    pub const fn from_ml_per_min(value: u32) -> Self {
        Self(value)
    }

    /// The flow in mL/min.
    #[must_use]
    pub const fn ml_per_min(self) -> u32 {
        self.0
    }

    /// This share (in percent) of the flow.
    #[must_use]
    pub fn percent(self, percent: u32) -> Self {
        let scaled = u64::from(self.0) * u64::from(percent) / 100;
        Self(u32::try_from(scaled).unwrap_or(u32::MAX))
    }

    /// Both flows together.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl From<Flow> for MeterFlow {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a float to integer cast saturates, and NaN becomes zero"
    )]
    fn from(flow: Flow) -> Self {
        Self((flow.l_per_min() * 1000.0).round() as u32)
    }
}

impl From<MeterFlow> for Flow {
    fn from(flow: MeterFlow) -> Self {
        Self::from_l_per_min(f64::from(flow.0) / 1000.0)
    }
}

/// A zone valve and what its zone draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ZoneDevice {
    /// The valve.
    pub device: Device,
    /// Flow while it is open.
    pub flow: MeterFlow,
    /// Shortest pause between two runs of the zone.
    pub rest: Duration,
}

/// The pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PumpDevice {
    /// Its relay.
    pub device: Device,
    /// Time from start to full pressure; zone valves open after it.
    pub start_delay: Duration,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn absurd_flows_saturate() {
        assert_eq!(MeterFlow::from(Flow::from_l_per_min(-3.0)).ml_per_min(), 0);
        assert_eq!(
            MeterFlow::from(Flow::from_l_per_min(f64::NAN)).ml_per_min(),
            0
        );
        assert_eq!(
            MeterFlow::from(Flow::from_l_per_min(1e30)).ml_per_min(),
            u32::MAX
        );
        assert_eq!(
            MeterFlow::from(Flow::from_l_per_min(12.5)).ml_per_min(),
            12_500
        );
    }
}
