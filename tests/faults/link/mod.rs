//! The link to the broker, with everything that goes wrong between: one test
//! for each trap of the MQTT library, of brokers and of networks.

#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

mod fake_broker;
pub(crate) mod mosquitto;
pub(crate) mod proxy;

mod away_device;
mod broken_broker;
mod encrypted;
mod real_broker;
mod slow_broker;
mod version_5;

use std::sync::Arc;
use std::time::Duration;

use soakmist::clock::{Clock, SystemClock};
use soakmist::mqtt::{
    Arrival, DownReason, Legible, Link, LinkState, LinkTimes, Message, Parcel, Presence, Quality,
    Settings, Subscription, Version,
};
use soakmist::valve::{DeviceId, Moment};

use mosquitto::Mosquitto;

pub(crate) const ZONE: DeviceId = DeviceId::Zone(0);
/// No wait of a test is longer: it fails instead.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);

pub(crate) fn now() -> Moment {
    SystemClock.now().moment
}

/// Settings for a broker on this machine, with short bounds.
pub(crate) fn settings(port: u16) -> Settings {
    Settings {
        host: "127.0.0.1".into(),
        port,
        version: Version::V311,
        client_id: "harrowmere-test".into(),
        login: None,
        tls: None,
        presence: Presence {
            topic: "harrowmere/presence".into(),
            online: "online".into(),
            offline: "offline".into(),
            lost: "offline".into(),
        },
        subscriptions: vec![needed("bed/state"), needed("lawn/state")],
        legible: Legible::default(),
        times: LinkTimes {
            connect: Duration::from_secs(1),
            subscribe: Duration::from_millis(600),
            keep_alive: Duration::from_secs(1),
            pong: Duration::from_millis(500),
            command: Duration::from_secs(5),
            write: Duration::from_millis(800),
            pause: Duration::from_millis(200),
            pause_most: Duration::from_secs(60),
            healthy: Duration::from_secs(30),
        },
    }
}

pub(crate) fn needed(topic: &str) -> Subscription {
    Subscription {
        topic: topic.into(),
        needed: true,
    }
}

pub(crate) fn start(settings: Settings) -> Link {
    Link::start(settings, Arc::new(SystemClock))
}

pub(crate) async fn next(link: &Link) -> Arrival {
    tokio::time::timeout(PATIENCE, link.next())
        .await
        .expect("the link tells nothing")
}

pub(crate) async fn until_up(link: &Link) {
    while next(link).await != Arrival::Up {}
}

pub(crate) async fn until_down(link: &Link) -> DownReason {
    loop {
        if let Arrival::Down(reason) = next(link).await {
            return reason;
        }
    }
}

pub(crate) async fn next_message(link: &Link) -> Message {
    loop {
        if let Arrival::Message(message) = next(link).await {
            return message;
        }
    }
}

pub(crate) fn is_up(link: &Link) -> bool {
    matches!(link.status().state, LinkState::Up { .. })
}

pub(crate) fn open_parcel(text: &str) -> Parcel {
    Parcel {
        topic: "bed/set".into(),
        payload: text.into(),
        quality: Quality::AtMostOnce,
        retain: false,
    }
}

pub(crate) fn close_parcel(text: &str) -> Parcel {
    Parcel {
        quality: Quality::AtLeastOnce,
        ..open_parcel(text)
    }
}

pub(crate) fn open(link: &Link, text: &str) {
    let soon = now().after(Duration::from_secs(60));
    link.open(ZONE, open_parcel(text), soon).unwrap();
}

pub(crate) fn close(link: &Link, text: &str) {
    link.close(ZONE, close_parcel(text)).unwrap();
}

/// After a restart of the broker what it is told of comes in again.
pub(crate) async fn is_subscribed_again(settings: fn(u16) -> Settings) {
    let mut broker = Mosquitto::start();
    let link = start(settings(broker.port));
    until_up(&link).await;
    broker.kill();
    until_down(&link).await;
    broker.restart();
    until_up(&link).await;
    broker.publish(&["-t", "lawn/state", "-m", "closed"]);
    assert_eq!(next_message(&link).await.subscription, 1);
    link.stop().await;
}

/// 64 bytes as they come, from a seed that goes on (xorshift).
pub(crate) fn nonsense(seed: &mut u64) -> Vec<u8> {
    (0..64)
        .map(|_| {
            *seed ^= *seed << 13;
            *seed ^= *seed >> 7;
            *seed ^= *seed << 17;
            seed.to_le_bytes()[0]
        })
        .collect()
}
