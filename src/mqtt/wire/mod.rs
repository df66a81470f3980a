//! The MQTT library behind events of our own: one client per connection.
//!
//! One task does nothing but poll the library: the library moves only while
//! it is polled, must not be polled in a race with anything else, and stalls
//! when it is given work from within. When the connection ends the task ends,
//! and the client with it. What the library would keep for the next one
//! (unacknowledged commands, a collided packet, buffered events) is gone.
//!
//! The library has its two versions of MQTT twice over, without a type in
//! common: `v4` is 3.1.1 (whose protocol level is 4), `v5` is 5.

mod v4;
mod v5;

use std::sync::Arc;
use std::time::Duration;

use rumqttc::{Outgoing, QoS, TlsConfiguration, Transport};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::outbox::{Parcel, Quality};
use super::settings::{LinkTimes, Settings, Subscription, Version};
use super::status::DownReason;

/// Requests that the library may hold; [`super::session`] gives it no more.
pub(super) const WINDOW: usize = 8;
/// Events that may wait for the session. It causes most of them itself, at
/// most [`WINDOW`] at a time; the broker acknowledges at most
/// [`super::settings::UNACKNOWLEDGED`] at once. So this is never full while
/// it runs.
const MOST_EVENTS: usize = 256;

/// What happens on a connection.
#[derive(Debug)]
pub(super) enum WireEvent {
    /// The broker has accepted us.
    Connected,
    /// The answer to a SUBSCRIBE: for each topic, whether it is granted.
    Subscribed(Vec<bool>),
    /// A message was written.
    Written,
    /// The broker has a message of ours.
    Acknowledged,
    /// A ping was written.
    PingSent,
    /// It was answered.
    Pong,
    /// The connection is over: none when we ended it.
    Ended(Option<DownReason>),
}

/// Takes each incoming message: topic, payload, whether it was stored.
pub(super) type Deliver = Arc<dyn Fn(&str, &[u8], bool) + Send + Sync>;

/// A connection.
pub(super) struct Wire {
    client: Client,
    /// Sent by the polling task, read by the session; when full, the polling
    /// task ends the connection.
    pub(super) events: mpsc::Receiver<WireEvent>,
    task: JoinHandle<()>,
}

enum Client {
    V4(rumqttc::AsyncClient),
    V5(rumqttc::v5::AsyncClient),
}

impl Drop for Wire {
    fn drop(&mut self) {
        // Polling is abandoned for good, so nothing is lost by it.
        self.task.abort();
    }
}

impl Wire {
    /// Begins to connect.
    pub(super) fn open(settings: &Settings, deliver: Deliver) -> Self {
        let (session, events) = mpsc::channel(MOST_EVENTS);
        let (client, task) = match settings.version {
            Version::V311 => {
                let (client, library) = v4::client(settings);
                let task = tokio::spawn(v4::poll(library, deliver, session));
                (Client::V4(client), task)
            }
            Version::V5 => {
                let (client, library) = v5::client(settings);
                let task = tokio::spawn(v5::poll(library, deliver, session));
                (Client::V5(client), task)
            }
        };
        Self {
            client,
            events,
            task,
        }
    }

    pub(super) fn subscribe(&self, topics: &[Subscription]) -> Result<(), DownReason> {
        let given = match &self.client {
            Client::V4(client) => v4::subscribe(client, topics),
            Client::V5(client) => v5::subscribe(client, topics),
        };
        given.ok_or(DownReason::Overrun)
    }

    /// Sends a message. Under version 5 the broker is told for how long it is
    /// valid; under 3.1.1 there is no way to.
    pub(super) fn publish(
        &self,
        parcel: Parcel,
        valid_for: Option<Duration>,
    ) -> Result<(), DownReason> {
        let given = match &self.client {
            Client::V4(client) => v4::publish(client, parcel),
            Client::V5(client) => v5::publish(client, parcel, valid_for),
        };
        given.ok_or(DownReason::Overrun)
    }

    pub(super) fn disconnect(&self) -> Result<(), DownReason> {
        let given = match &self.client {
            Client::V4(client) => client.try_disconnect().ok(),
            Client::V5(client) => client.try_disconnect().ok(),
        };
        given.ok_or(DownReason::Overrun)
    }
}

fn quality(parcel: &Parcel) -> QoS {
    match parcel.quality {
        Quality::AtMostOnce => QoS::AtMostOnce,
        Quality::AtLeastOnce => QoS::AtLeastOnce,
    }
}

/// A bare IPv6 address would run into the port.
fn host(settings: &Settings) -> String {
    if settings.host.contains(':') && settings.tls.is_none() {
        format!("[{}]", settings.host)
    } else {
        settings.host.clone()
    }
}

fn transport(settings: &Settings) -> Transport {
    match &settings.tls {
        None => Transport::tcp(),
        Some(tls) => Transport::tls_with_config(TlsConfiguration::Rustls(Arc::clone(tls))),
    }
}

/// What the library does by itself.
fn outgoing(event: &Outgoing) -> Option<WireEvent> {
    match event {
        // A message that waits for the acknowledgement of an older one is
        // not written yet, and is told as something else.
        Outgoing::Publish(_) => Some(WireEvent::Written),
        Outgoing::PingReq => Some(WireEvent::PingSent),
        // Polled once more, the library would connect again.
        Outgoing::Disconnect => Some(WireEvent::Ended(None)),
        _ => None,
    }
}

/// Hands an event to the session; whether polling goes on. Without a reader,
/// or with one that cannot follow, it does not.
fn tell(session: &mpsc::Sender<WireEvent>, event: WireEvent) -> bool {
    let is_over = matches!(event, WireEvent::Ended(_));
    session.try_send(event).is_ok() && !is_over
}

/// The library counts these times in whole seconds, of which it takes at
/// least one, and under version 5 at least five between two pings.
fn whole_seconds(span: Duration) -> u64 {
    span.as_secs().max(1)
}

impl LinkTimes {
    /// The same with the bounds that the library rounds, rounded.
    pub(super) fn rounded(self, version: Version) -> Self {
        let least = version.least_keep_alive().as_secs();
        Self {
            connect: Duration::from_secs(whole_seconds(self.connect)),
            keep_alive: Duration::from_secs(whole_seconds(self.keep_alive).max(least)),
            ..self
        }
    }
}
