//! MQTT 3.1.1.

use rumqttc::mqttbytes::Error as BytesError;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, LastWill, MqttOptions,
    Packet, QoS, StateError, SubscribeFilter, SubscribeReasonCode,
};
use tokio::sync::mpsc;

use super::{Deliver, WINDOW, WireEvent, host, outgoing, quality, tell, transport, whole_seconds};
use crate::mqtt::outbox::Parcel;
use crate::mqtt::settings::{LARGEST_IN, LARGEST_OUT, Settings, Subscription, UNACKNOWLEDGED};
use crate::mqtt::status::DownReason;

pub(super) fn client(settings: &Settings) -> (AsyncClient, EventLoop) {
    let (client, mut library) = AsyncClient::new(options(settings), WINDOW + 2);
    let mut network = library.network_options();
    network.set_connection_timeout(whole_seconds(settings.times.connect));
    network.set_tcp_nodelay(true);
    library.set_network_options(network);
    (client, library)
}

fn options(settings: &Settings) -> MqttOptions {
    let mut options = MqttOptions::new(&settings.client_id, host(settings), settings.port);
    // With a kept session an old command could come back at a reconnection.
    options
        .set_clean_session(true)
        .set_keep_alive(settings.times.keep_alive)
        .set_inflight(UNACKNOWLEDGED)
        .set_max_packet_size(LARGEST_IN, LARGEST_OUT)
        .set_transport(transport(settings));
    if let Some(login) = &settings.login {
        options.set_credentials(&login.user, login.password.reveal());
    }
    let presence = &settings.presence;
    options.set_last_will(LastWill::new(
        &presence.topic,
        presence.lost.as_bytes(),
        QoS::AtLeastOnce,
        true,
    ));
    options
}

pub(super) fn subscribe(client: &AsyncClient, topics: &[Subscription]) -> Option<()> {
    let filter = |subscription: &Subscription| {
        SubscribeFilter::new(subscription.topic.clone(), QoS::AtLeastOnce)
    };
    client.try_subscribe_many(topics.iter().map(filter)).ok()
}

pub(super) fn publish(client: &AsyncClient, parcel: Parcel) -> Option<()> {
    let quality = quality(&parcel);
    client
        .try_publish(parcel.topic, quality, parcel.retain, parcel.payload)
        .ok()
}

pub(super) async fn poll(
    mut library: EventLoop,
    deliver: Deliver,
    session: mpsc::Sender<WireEvent>,
) {
    loop {
        let event = match library.poll().await {
            Ok(Event::Incoming(Packet::Publish(message))) => {
                deliver(&message.topic, &message.payload, message.retain);
                continue;
            }
            Ok(event) => match translated(&event) {
                Some(event) => event,
                None => continue,
            },
            Err(error) => WireEvent::Ended(Some(reason(&error))),
        };
        if !tell(&session, event) {
            return;
        }
    }
}

fn translated(event: &Event) -> Option<WireEvent> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(WireEvent::Connected),
        Event::Incoming(Packet::SubAck(answer)) => {
            let granted = |code: &SubscribeReasonCode| *code != SubscribeReasonCode::Failure;
            Some(WireEvent::Subscribed(
                answer.return_codes.iter().map(granted).collect(),
            ))
        }
        Event::Incoming(Packet::PubAck(_)) => Some(WireEvent::Acknowledged),
        Event::Incoming(Packet::PingResp) => Some(WireEvent::Pong),
        Event::Incoming(_) => None,
        Event::Outgoing(event) => outgoing(event),
    }
}

fn reason(error: &ConnectionError) -> DownReason {
    match error {
        ConnectionError::NetworkTimeout => DownReason::TimedOut("the connection"),
        ConnectionError::FlushTimeout => DownReason::TimedOut("the writing of a message"),
        ConnectionError::Tls(error) => DownReason::Tls(error.to_string()),
        ConnectionError::Io(error) => DownReason::Unreachable(error.to_string()),
        ConnectionError::ConnectionRefused(code) => DownReason::Refused(refusal(*code).to_owned()),
        ConnectionError::NotConnAck(_) => DownReason::no_greeting(),
        ConnectionError::RequestsDone => DownReason::Stopped,
        ConnectionError::MqttState(error) => state_reason(error),
    }
}

fn state_reason(error: &StateError) -> DownReason {
    match error {
        StateError::Io(_)
        | StateError::ConnectionAborted
        | StateError::Deserialization(BytesError::Io(_)) => DownReason::Closed,
        StateError::AwaitPingResp => DownReason::TimedOut("the answer to a ping"),
        StateError::CollisionTimeout => DownReason::TimedOut("an acknowledgement"),
        StateError::Deserialization(BytesError::PayloadSizeLimitExceeded(_)) => {
            DownReason::TooLarge
        }
        other => DownReason::Nonsense(other.to_string()),
    }
}

fn refusal(code: ConnectReturnCode) -> &'static str {
    match code {
        ConnectReturnCode::RefusedProtocolVersion => "it does not speak MQTT 3.1.1",
        ConnectReturnCode::BadClientId => "it does not like our client id",
        ConnectReturnCode::ServiceUnavailable => "it is not ready",
        ConnectReturnCode::BadUserNamePassword => "user name or password is wrong",
        ConnectReturnCode::NotAuthorized => "we are not authorised",
        ConnectReturnCode::Success => "it says success and refuses",
    }
}
