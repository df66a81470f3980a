//! Who connects where, and the bounds of a connection.

use std::sync::Arc;
use std::time::Duration;

use super::login::Login;

/// The largest packet that is taken in [bytes]. A larger retained message on
/// one of our topics would end every connection, so this is generous; what is
/// kept of a message is far less.
pub(super) const LARGEST_IN: usize = 1024 * 1024;
/// The largest packet that is sent [bytes].
pub(super) const LARGEST_OUT: usize = 256 * 1024;
/// The largest payload that is sent [bytes]: leaves room for a topic.
pub(super) const LARGEST_PAYLOAD: usize = 128 * 1024;
/// Unacknowledged messages at most.
pub(super) const UNACKNOWLEDGED: u16 = 100;
/// Topics in one SUBSCRIBE packet.
pub(super) const TOPICS_AT_ONCE: usize = 50;

/// Version of MQTT.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Version {
    /// 3.1.1.
    #[default]
    V311,
    /// 5: the broker also drops an open command that waits there for too long.
    V5,
}

impl Version {
    /// The shortest pause between two pings that the library takes.
    pub(super) fn least_keep_alive(self) -> Duration {
        Duration::from_secs(match self {
            Self::V311 => 1,
            Self::V5 => 5,
        })
    }
}

/// What the link needs to know.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Name or address of the broker; also the name its certificate must bear.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Version of MQTT to speak.
    pub version: Version,
    /// Our client id. It must stay the same over restarts: by it the broker
    /// ends an old connection of ours whose bytes are still on their way.
    pub client_id: String,
    /// As whom to connect.
    pub login: Option<Login>,
    /// For an encrypted connection.
    pub tls: Option<Arc<rustls::ClientConfig>>,
    /// How others see whether we are there.
    pub presence: Presence,
    /// Exact topics to read; each once.
    pub subscriptions: Vec<Subscription>,
    /// What can be read of them: on a crowded topic the rest goes first.
    pub legible: Legible,
    /// Bounds.
    pub times: LinkTimes,
}

/// One topic to read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subscription {
    /// Its name, without wildcards.
    pub topic: String,
    /// Whether the link is of no use without it: a valve's state is needed, a
    /// sensor's reading is not.
    pub needed: bool,
}

/// Tells whether a payload can be read on a topic, by the index of its
/// subscription; everything can be by default.
#[derive(Clone, Default)]
pub struct Legible(Option<Arc<IsLegible>>);

type IsLegible = dyn Fn(usize, &[u8]) -> bool + Send + Sync;

impl Legible {
    /// As a function says. It is asked once for each message of a crowded
    /// topic, while nothing else is read.
    pub fn by(is_legible: impl Fn(usize, &[u8]) -> bool + Send + Sync + 'static) -> Self {
        Self(Some(Arc::new(is_legible)))
    }

    pub(super) fn is_so(&self, subscription: usize, payload: &[u8]) -> bool {
        let judge = self.0.as_ref();
        judge.is_none_or(|is_legible| is_legible(subscription, payload))
    }
}

impl std::fmt::Debug for Legible {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Legible")
    }
}

/// A retained topic that says whether we are there; the broker changes it
/// when we vanish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Presence {
    /// Its topic.
    pub topic: String,
    /// What it says while we are connected.
    pub online: String,
    /// What it says when we have taken our leave.
    pub offline: String,
    /// What the broker says in our place when we vanish.
    pub lost: String,
}

/// Bounds of a connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinkTimes {
    /// For name, TCP, TLS and CONNACK together, and for a write; whole seconds.
    pub connect: Duration,
    /// For the answer to a SUBSCRIBE.
    pub subscribe: Duration,
    /// Between two pings; whole seconds.
    pub keep_alive: Duration,
    /// For the answer to a ping.
    pub pong: Duration,
    /// For an open command in the outbox, on the clock of the site: the only
    /// bound here that an accelerated clock accelerates.
    pub command: Duration,
    /// For the library to write what it was given.
    pub write: Duration,
    /// First pause between two connections.
    pub pause: Duration,
    /// Longest pause.
    pub pause_most: Duration,
    /// Pauses begin anew after a connection that lasted so long.
    pub healthy: Duration,
}

impl Default for LinkTimes {
    /// For a broker on a local network; own choice, no source. Keep-alive and
    /// pong together are the longest time for which a report can be held up
    /// on a connection that is later found dead.
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(5),
            subscribe: Duration::from_secs(5),
            keep_alive: Duration::from_secs(3),
            pong: Duration::from_secs(2),
            command: Duration::from_secs(5),
            write: Duration::from_secs(3),
            pause: Duration::from_secs(1),
            pause_most: Duration::from_secs(60),
            healthy: Duration::from_secs(30),
        }
    }
}

impl LinkTimes {
    /// The longest time that a report can be held up between broker and us
    /// before the connection is given up, and the report with it.
    #[must_use]
    pub fn most_delay(&self) -> Duration {
        self.keep_alive + self.pong
    }
}
