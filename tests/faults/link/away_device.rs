//! A device with a persistent session that is away when it is commanded.
//!
//! Under 3.1.1 nothing tells a broker that a message is too old. What keeps
//! an open command from waiting for such a device is its quality: brokers
//! queue messages of `QoS` 1 for it, and of `QoS` 0 only where they are told to.

use std::time::Duration;

use soakmist::mqtt::Version;

use super::mosquitto::Mosquitto;
use super::{ZONE, close_parcel, now, open_parcel, settings, start, until_up};

/// A device that asks for everything with `QoS` 1 and wants its session kept.
const DEVICE: [&str; 9] = [
    "-c", "-i", "valve-1", "-q", "1", "-t", "bed/set", "-t", "lawn/set",
];

async fn commands_after_absence(broker: &Mosquitto, version: Version) -> Vec<String> {
    // It comes once, so that the broker knows its session, and goes away.
    broker.read(&[&DEVICE[..], &["-W", "1"]].concat());
    let mut settings = settings(broker.port);
    settings.version = version;
    settings.times.command = Duration::from_secs(1);
    let link = start(settings);
    until_up(&link).await;
    let soon = now().after(Duration::from_secs(60));
    link.open(ZONE, open_parcel("on"), soon).unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    let lawn = soakmist::valve::DeviceId::Zone(1);
    let mut parcel = close_parcel("off");
    parcel.topic = "lawn/set".into();
    link.close(lawn, parcel).unwrap();
    tokio::time::sleep(Duration::from_millis(300)).await;
    link.stop().await;
    // It comes back when the open command is no longer valid.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let told = broker.read(&[&DEVICE[..], &["-W", "2"]].concat());
    told.lines().map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_open_command_does_not_wait_for_it_and_a_closing_does() {
    let broker = Mosquitto::start();
    let commands = commands_after_absence(&broker, Version::V311).await;
    assert_eq!(commands, ["off"]);
}

/// The one setting under which it does wait: then only what the payload says
/// (issued when, valid for how long) keeps the valve shut, and where the
/// device does not read it, its run time and the closing at its first report.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_told_to_queue_everything_brings_it_late() {
    let broker = that_queues_everything();
    let commands = commands_after_absence(&broker, Version::V311).await;
    assert_eq!(commands, ["on", "off"]);
}

/// Under version 5 the broker knows how long the command is valid. The device
/// may speak 3.1.1.
#[tokio::test(flavor = "multi_thread")]
async fn under_version_5_even_that_broker_drops_it() {
    let broker = that_queues_everything();
    let commands = commands_after_absence(&broker, Version::V5).await;
    assert_eq!(commands, ["off"]);
}

fn that_queues_everything() -> Mosquitto {
    Mosquitto::configured(|port, _| {
        format!("queue_qos0_messages true\nlistener {port} 127.0.0.1\nallow_anonymous true\n")
    })
}
