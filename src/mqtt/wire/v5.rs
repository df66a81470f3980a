//! MQTT 5.

use std::time::Duration;

use rumqttc::v5::mqttbytes::v5::{
    ConnectReturnCode, DisconnectReasonCode, Filter, LastWill, Packet, PublishProperties,
    SubscribeReasonCode,
};
use rumqttc::v5::mqttbytes::{Error as BytesError, QoS};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use tokio::sync::mpsc;

use super::{Deliver, WINDOW, WireEvent, host, outgoing, tell, transport, whole_seconds};
use crate::mqtt::outbox::{Parcel, Quality};
use crate::mqtt::settings::{LARGEST_IN, Settings, Subscription, UNACKNOWLEDGED};
use crate::mqtt::status::DownReason;

pub(super) fn client(settings: &Settings) -> (AsyncClient, EventLoop) {
    AsyncClient::new(options(settings), WINDOW + 2)
}

fn options(settings: &Settings) -> MqttOptions {
    let mut options = MqttOptions::new(&settings.client_id, host(settings), settings.port);
    let mut network = options.network_options();
    network.set_tcp_nodelay(true);
    let largest = u32::try_from(LARGEST_IN).unwrap_or(u32::MAX);
    // A session that ends with its connection keeps no command.
    options
        .set_clean_start(true)
        .set_session_expiry_interval(Some(0))
        .set_keep_alive(settings.times.keep_alive)
        .set_connection_timeout(whole_seconds(settings.times.connect))
        .set_outgoing_inflight_upper_limit(UNACKNOWLEDGED)
        .set_max_packet_size(Some(largest))
        .set_network_options(network)
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
        None,
    ));
    options
}

pub(super) fn subscribe(client: &AsyncClient, topics: &[Subscription]) -> Option<()> {
    let filter =
        |subscription: &Subscription| Filter::new(subscription.topic.clone(), QoS::AtLeastOnce);
    client.try_subscribe_many(topics.iter().map(filter)).ok()
}

pub(super) fn publish(
    client: &AsyncClient,
    parcel: Parcel,
    valid_for: Option<Duration>,
) -> Option<()> {
    let quality = match parcel.quality {
        Quality::AtMostOnce => QoS::AtMostOnce,
        Quality::AtLeastOnce => QoS::AtLeastOnce,
    };
    // Whole seconds, and zero would be no time at all: so up to one too many.
    let seconds = valid_for.map(|span| span.as_millis().div_ceil(1000).max(1));
    let properties = PublishProperties {
        message_expiry_interval: seconds.map(|s| u32::try_from(s).unwrap_or(u32::MAX)),
        ..PublishProperties::default()
    };
    let Parcel {
        topic,
        retain,
        payload,
        ..
    } = parcel;
    client
        .try_publish_with_properties(topic, quality, retain, payload, properties)
        .ok()
}

pub(super) async fn poll(
    mut library: EventLoop,
    deliver: Deliver,
    session: mpsc::Sender<WireEvent>,
) {
    let keep_alive = library.options.keep_alive();
    loop {
        let polled = library.poll().await;
        // The broker may prescribe fewer pings, and the library obeys: then a
        // dead connection would be found out too late.
        if library.options.keep_alive() > keep_alive {
            tell(&session, WireEvent::Ended(Some(fewer_pings())));
            return;
        }
        let event = match polled {
            Ok(Event::Incoming(Packet::Publish(message))) => {
                let topic = String::from_utf8_lossy(&message.topic);
                deliver(&topic, &message.payload, message.retain);
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

fn fewer_pings() -> DownReason {
    let what = "it prescribes fewer pings than we need; write version = \"3.1.1\" in [mqtt]";
    DownReason::Refused(what.to_owned())
}

fn translated(event: &Event) -> Option<WireEvent> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(WireEvent::Connected),
        Event::Incoming(Packet::SubAck(answer)) => {
            let granted =
                |code: &SubscribeReasonCode| matches!(code, SubscribeReasonCode::Success(_));
            Some(WireEvent::Subscribed(
                answer.return_codes.iter().map(granted).collect(),
            ))
        }
        Event::Incoming(Packet::PubAck(_)) => Some(WireEvent::Acknowledged),
        Event::Incoming(Packet::PingResp(_)) => Some(WireEvent::Pong),
        Event::Incoming(_) => None,
        Event::Outgoing(event) => outgoing(event),
    }
}

fn reason(error: &ConnectionError) -> DownReason {
    match error {
        ConnectionError::Timeout(_) => DownReason::TimedOut("the connection"),
        ConnectionError::Tls(error) => DownReason::Tls(error.to_string()),
        ConnectionError::Io(error) => DownReason::Unreachable(error.to_string()),
        ConnectionError::ConnectionRefused(code) => refused(*code),
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
        StateError::Deserialization(BytesError::PayloadSizeLimitExceeded { .. })
        | StateError::IncomingPacketTooLarge { .. } => DownReason::TooLarge,
        StateError::ConnFail { reason } => refused(*reason),
        StateError::ServerDisconnect {
            reason_code: DisconnectReasonCode::SessionTakenOver,
            ..
        } => DownReason::ClosedAgain,
        StateError::ServerDisconnect { .. } => DownReason::Closed,
        other => DownReason::Nonsense(other.to_string()),
    }
}

fn refused(code: ConnectReturnCode) -> DownReason {
    DownReason::Refused(match code {
        ConnectReturnCode::BadUserNamePassword => "user name or password is wrong".to_owned(),
        ConnectReturnCode::NotAuthorized => "we are not authorised".to_owned(),
        ConnectReturnCode::ClientIdentifierNotValid => "it does not like our client id".to_owned(),
        ConnectReturnCode::RefusedProtocolVersion
        | ConnectReturnCode::UnsupportedProtocolVersion => "it does not speak MQTT 5".to_owned(),
        ConnectReturnCode::ServerBusy | ConnectReturnCode::ServerUnavailable => {
            "it is not ready".to_owned()
        }
        other => format!("it says {other:?}"),
    })
}
