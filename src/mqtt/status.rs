//! What the link does now, why it is down, and what it had to drop.

use std::fmt;

use serde::Serialize;

use crate::valve::Moment;

/// Why a connection ended or did not come about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DownReason {
    /// Not tried yet.
    Starting,
    /// No connection to host and port.
    Unreachable(String),
    /// Certificate or handshake.
    Tls(String),
    /// The broker does not want us.
    Refused(String),
    /// No answer in time.
    TimedOut(&'static str),
    /// The broker closed the connection.
    Closed,
    /// The broker closed several in a short while: probably another client
    /// with our id.
    ClosedAgain,
    /// The broker does not let us read a topic.
    TopicRefused(String),
    /// A message on one of our topics is larger than we take.
    TooLarge,
    /// The broker said something that MQTT does not allow.
    Nonsense(String),
    /// Our own task could not follow.
    Overrun,
    /// Stopped on purpose.
    Stopped,
}

impl DownReason {
    /// The broker began with something else than an answer.
    pub(super) fn no_greeting() -> Self {
        Self::Nonsense("something else than an answer to our greeting".to_owned())
    }

    /// Whether it is of no use to try again at once.
    pub(super) fn is_refusal(&self) -> bool {
        matches!(
            self,
            Self::Refused(_) | Self::Tls(_) | Self::TopicRefused(_) | Self::TooLarge
        )
    }
}

impl fmt::Display for DownReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Starting => f.write_str("not connected yet"),
            Self::Unreachable(why) => write!(
                f,
                "the broker cannot be reached: {why}; check host, port and network"
            ),
            Self::Tls(why) => write!(
                f,
                "no encrypted connection: {why}; check the files in [mqtt.tls] and the host name"
            ),
            Self::Refused(why) => write!(
                f,
                "the broker refuses the connection: {why}; check user name and password"
            ),
            Self::TimedOut(what) => write!(f, "{what} did not come in time; check the network"),
            Self::Closed => f.write_str("the broker closed the connection"),
            Self::ClosedAgain => f.write_str(
                "the broker keeps closing the connection: probably another client uses our \
                 client id; give each its own",
            ),
            Self::TopicRefused(topic) => write!(
                f,
                "the broker does not let us read {topic}; check its access rules"
            ),
            Self::TooLarge => f.write_str(
                "a message on one of our topics is larger than 1 MiB; clear the retained \
                 messages of the topics in the site file",
            ),
            Self::Nonsense(what) => write!(f, "the broker said something wrong: {what}"),
            Self::Overrun => f.write_str("the computer is too slow to follow the broker"),
            Self::Stopped => f.write_str("stopped"),
        }
    }
}

/// What the link does now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LinkState {
    /// Connected, and every needed topic is subscribed.
    Up {
        /// Since when.
        since: Moment,
    },
    /// Not, and why.
    Down {
        /// Why.
        reason: DownReason,
    },
}

/// What was counted since the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Counters {
    /// Connections that came up.
    pub connections: u64,
    /// Messages taken in.
    pub received: u64,
    /// Messages dropped because newer ones of their topic came faster than
    /// they were read.
    pub crowded_out: u64,
    /// Messages dropped because they were too large to be a report.
    pub oversize: u64,
    /// Messages dropped because nobody asked for their topic.
    pub unasked: u64,
    /// Commands and reports handed to the connection.
    pub sent: u64,
    /// Commands dropped because their moment had passed.
    pub expired: u64,
}

/// State and counters together, for a status page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LinkStatus {
    /// What the link does.
    pub state: LinkState,
    /// What it counted.
    pub counters: Counters,
    /// Topics that the broker does not let us read, though we can do without.
    pub refused_topics: Vec<String>,
}
