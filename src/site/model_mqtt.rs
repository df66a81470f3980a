//! The broker and the devices behind it, as a site file names them.

use chrono::TimeDelta;

use super::template::Template;

/// The broker of a site and what hangs on it beside the zone valves.
#[derive(Debug, Clone, PartialEq)]
pub struct Mqtt {
    /// Name or address.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Version of MQTT to speak.
    pub version: MqttVersion,
    /// Client id, the same over restarts.
    pub client_id: String,
    /// Everything that soakmist tells of itself is below this topic.
    pub base_topic: String,
    /// How the site shows itself as a device of the Homie convention; not
    /// without.
    pub homie: Option<Homie>,
    /// Where user name and password are.
    pub login: Option<LoginSource>,
    /// For an encrypted connection.
    pub tls: Option<TlsNames>,
    /// Pause between two pings.
    pub keep_alive: TimeDelta,
    /// The valve before all zone valves.
    pub master_valve: Option<Valve>,
    /// The pump.
    pub pump: Option<Valve>,
    /// The flow meter of the whole site.
    pub flow_meter: Option<FlowMeter>,
}

/// Version of MQTT.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MqttVersion {
    /// 3.1.1.
    V311,
    /// 5.
    V5,
}

/// The node of the whole site on Homie; zones have theirs by their names.
pub const SITE_NODE: &str = "site";

/// The place of the site among the devices of the Homie convention.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Homie {
    /// The level above all such devices.
    pub root: String,
    /// Id of ours, as the convention wants it.
    pub device: String,
}

impl Homie {
    /// The topic of the device, or one below it.
    #[must_use]
    pub fn topic(&self, below: &str) -> String {
        format!("{}/{}/{below}", self.root, self.device)
    }
}

/// Where user name and password are; a site file never holds a password.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoginSource {
    /// User name.
    pub user: String,
    /// File that holds the password, relative to the site file; without it
    /// the environment holds it.
    pub password_file: Option<String>,
}

/// Files of an encrypted connection, relative to the site file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TlsNames {
    /// Authorities to trust; the system's without.
    pub authority: Option<String>,
    /// Our certificate and its key.
    pub own: Option<(String, String)>,
}

/// One valve (or pump) with everything that is needed to drive it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Valve {
    /// How it acts.
    pub acts: Acts,
    /// Topic for commands.
    pub command_topic: String,
    /// Payload to open.
    pub open: Template,
    /// Payload to close.
    pub close: Template,
    /// How it tells its position; a valve without says nothing.
    pub state: Option<StateReading>,
}

/// How a valve acts on a command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Acts {
    /// Open until told to close.
    OnOff,
    /// Moved by a pulse, keeps its position without power.
    Latching,
    /// Told how long to stay open, closes itself.
    SelfClosing,
}

/// How to read a position from a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StateReading {
    /// Its topic.
    pub topic: String,
    /// JSON pointer to the position (RFC 6901); plain text without.
    pub pointer: Option<String>,
    /// Small-letter words for open.
    pub open_words: Vec<String>,
    /// Small-letter words for closed.
    pub closed_words: Vec<String>,
    /// JSON pointer to the number of the last command carried out.
    pub echo: Option<String>,
}

/// How to read the flow meter.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowMeter {
    /// Its topic.
    pub topic: String,
    /// JSON pointer to the number; plain text without.
    pub pointer: Option<String>,
    /// What the number means.
    pub counts: FlowCount,
    /// Expected time between two readings.
    pub interval: TimeDelta,
    /// Flow above which the meter surely turns [L/min].
    pub least_l_per_min: f64,
}

/// What the number of a flow meter means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FlowCount {
    /// The flow, in so many L/min for 1.
    Flow {
        /// L/min for 1.
        l_per_min: f64,
    },
    /// Water since ever, in so many L for 1.
    Total {
        /// L for 1.
        l: f64,
    },
}
