//! The MQTT library behind events of our own: one client per connection.
//!
//! One task does nothing but poll the library: the library moves only while
//! it is polled, must not be polled in a race with anything else, and stalls
//! when it is given work from within. When the connection ends the task ends,
//! and the client with it. What the library would keep for the next one
//! (unacknowledged commands, a collided packet, buffered events) is gone.

use std::sync::Arc;
use std::time::Duration;

use rumqttc::mqttbytes::Error as BytesError;
use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, LastWill, MqttOptions, Outgoing, Packet, QoS,
    StateError, SubscribeFilter, SubscribeReasonCode, TlsConfiguration, Transport,
};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::outbox::{Parcel, Quality};
use super::settings::{LARGEST_IN, LARGEST_OUT, LinkTimes, Settings, Subscription, UNACKNOWLEDGED};
use super::status::DownReason;

/// Requests that the library may hold; [`super::session`] gives it no more.
pub(super) const WINDOW: usize = 8;
/// Events that may wait for the session. It causes most of them itself, at
/// most [`WINDOW`] at a time, so that this is never full while it runs.
const MOST_EVENTS: usize = 64;

/// What happens on a connection.
#[derive(Debug)]
pub(super) enum WireEvent {
    /// The broker has accepted us.
    Connected,
    /// The answer to a SUBSCRIBE: for each topic, whether it is granted.
    Subscribed(Vec<bool>),
    /// A message was written.
    Written,
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
    client: AsyncClient,
    /// Sent by the polling task, read by the session; when full, the polling
    /// task ends the connection.
    pub(super) events: mpsc::Receiver<WireEvent>,
    task: JoinHandle<()>,
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
        let (client, mut library) = AsyncClient::new(options(settings), WINDOW + 2);
        let mut network = library.network_options();
        network.set_connection_timeout(whole_seconds(settings.times.connect));
        network.set_tcp_nodelay(true);
        library.set_network_options(network);
        let (sender, events) = mpsc::channel(MOST_EVENTS);
        let task = tokio::spawn(poll(library, deliver, sender));
        Self {
            client,
            events,
            task,
        }
    }

    pub(super) fn subscribe(&self, topics: &[Subscription]) -> Result<(), DownReason> {
        let filters = topics
            .iter()
            .map(|subscription| SubscribeFilter::new(subscription.topic.clone(), QoS::AtLeastOnce));
        let asked = self.client.try_subscribe_many(filters);
        asked.map_err(|_| DownReason::Overrun)
    }

    pub(super) fn publish(&self, parcel: Parcel) -> Result<(), DownReason> {
        let quality = match parcel.quality {
            Quality::AtMostOnce => QoS::AtMostOnce,
            Quality::AtLeastOnce => QoS::AtLeastOnce,
        };
        let Parcel {
            topic,
            retain,
            payload,
            ..
        } = parcel;
        let given = self.client.try_publish(topic, quality, retain, payload);
        given.map_err(|_| DownReason::Overrun)
    }

    pub(super) fn disconnect(&self) -> Result<(), DownReason> {
        self.client
            .try_disconnect()
            .map_err(|_| DownReason::Overrun)
    }
}

fn options(settings: &Settings) -> MqttOptions {
    let Settings {
        host, times, login, ..
    } = settings;
    // A bare IPv6 address would run into the port.
    let host = if host.contains(':') && settings.tls.is_none() {
        format!("[{host}]")
    } else {
        host.clone()
    };
    let mut options = MqttOptions::new(&settings.client_id, host, settings.port);
    // With a kept session an old command could come back at a reconnection.
    options
        .set_clean_session(true)
        .set_keep_alive(Duration::from_secs(whole_seconds(times.keep_alive)))
        .set_inflight(UNACKNOWLEDGED)
        .set_max_packet_size(LARGEST_IN, LARGEST_OUT);
    if let Some(login) = login {
        options.set_credentials(&login.user, login.password.reveal());
    }
    if let Some(tls) = &settings.tls {
        let configuration = TlsConfiguration::Rustls(Arc::clone(tls));
        options.set_transport(Transport::tls_with_config(configuration));
    }
    let presence = &settings.presence;
    let will = presence.offline.as_bytes();
    options.set_last_will(LastWill::new(&presence.topic, will, QoS::AtLeastOnce, true));
    options
}

/// The library counts these times in whole seconds, of which it takes at
/// least one.
fn whole_seconds(span: Duration) -> u64 {
    span.as_secs().max(1)
}

async fn poll(mut library: EventLoop, deliver: Deliver, session: mpsc::Sender<WireEvent>) {
    loop {
        let event = match library.poll().await {
            Ok(Event::Incoming(Packet::Publish(message))) => {
                deliver(&message.topic, &message.payload, message.retain);
                continue;
            }
            Ok(event) => match translated(event) {
                Some(event) => event,
                None => continue,
            },
            Err(error) => WireEvent::Ended(Some(reason(&error))),
        };
        let is_over = matches!(event, WireEvent::Ended(_));
        // Without a reader, or with one that cannot follow, it ends here.
        if session.try_send(event).is_err() || is_over {
            return;
        }
    }
}

fn translated(event: Event) -> Option<WireEvent> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(WireEvent::Connected),
        Event::Incoming(Packet::SubAck(answer)) => {
            let granted = |code: &SubscribeReasonCode| *code != SubscribeReasonCode::Failure;
            Some(WireEvent::Subscribed(
                answer.return_codes.iter().map(granted).collect(),
            ))
        }
        Event::Incoming(Packet::PingResp) => Some(WireEvent::Pong),
        // A message that waits for the acknowledgement of an older one is
        // not written yet.
        Event::Outgoing(Outgoing::Publish(_)) => Some(WireEvent::Written),
        Event::Outgoing(Outgoing::PingReq) => Some(WireEvent::PingSent),
        // Polled once more, the library would connect again.
        Event::Outgoing(Outgoing::Disconnect) => Some(WireEvent::Ended(None)),
        _ => None,
    }
}

fn reason(error: &ConnectionError) -> DownReason {
    match error {
        ConnectionError::NetworkTimeout => DownReason::TimedOut("the connection"),
        ConnectionError::FlushTimeout => DownReason::TimedOut("the writing of a message"),
        ConnectionError::Tls(error) => DownReason::Tls(error.to_string()),
        ConnectionError::Io(error) => DownReason::Unreachable(error.to_string()),
        ConnectionError::ConnectionRefused(code) => DownReason::Refused(refusal(*code).to_owned()),
        ConnectionError::NotConnAck(_) => {
            DownReason::Nonsense("something else than an answer to our greeting".to_owned())
        }
        ConnectionError::RequestsDone => DownReason::Stopped,
        ConnectionError::MqttState(error) => state_reason(error),
    }
}

fn state_reason(error: &StateError) -> DownReason {
    match error {
        StateError::Io(_) | StateError::ConnectionAborted => DownReason::Closed,
        StateError::Deserialization(BytesError::Io(_)) => DownReason::Closed,
        StateError::AwaitPingResp => DownReason::TimedOut("the answer to a ping"),
        StateError::CollisionTimeout => DownReason::TimedOut("an acknowledgement"),
        StateError::Deserialization(BytesError::PayloadSizeLimitExceeded(_)) => {
            DownReason::TooLarge
        }
        other => DownReason::Nonsense(other.to_string()),
    }
}

fn refusal(code: rumqttc::ConnectReturnCode) -> &'static str {
    use rumqttc::ConnectReturnCode as Code;
    match code {
        Code::RefusedProtocolVersion => "it does not speak MQTT 3.1.1",
        Code::BadClientId => "it does not like our client id",
        Code::ServiceUnavailable => "it is not ready",
        Code::BadUserNamePassword => "user name or password is wrong",
        Code::NotAuthorized => "we are not authorised",
        Code::Success => "it says success and refuses",
    }
}

impl LinkTimes {
    /// The same with the bounds that the library rounds, rounded.
    pub(super) fn rounded(self) -> Self {
        Self {
            connect: Duration::from_secs(whole_seconds(self.connect)),
            keep_alive: Duration::from_secs(whole_seconds(self.keep_alive)),
            ..self
        }
    }
}
