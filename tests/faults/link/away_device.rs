//! A device with a persistent session that is away when it is commanded.
//!
//! Under 3.1.1 nothing tells a broker that a message is too old. What keeps
//! an open command from waiting for such a device is its quality: brokers
//! queue messages of `QoS` 1 for it, and of `QoS` 0 only where they are told to.

use std::time::Duration;

use super::mosquitto::Mosquitto;
use super::{ZONE, close_parcel, now, open_parcel, settings, start, until_up};

/// A device that asks for everything with `QoS` 1 and wants its session kept.
const DEVICE: [&str; 9] = [
    "-c", "-i", "valve-1", "-q", "1", "-t", "bed/set", "-t", "lawn/set",
];

async fn commands_after_absence(broker: &Mosquitto) -> Vec<String> {
    // It comes once, so that the broker knows its session, and goes away.
    broker.read(&[&DEVICE[..], &["-W", "1"]].concat());
    let link = start(settings(broker.port));
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
    // It comes back.
    let told = broker.read(&[&DEVICE[..], &["-W", "2"]].concat());
    told.lines().map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_open_command_does_not_wait_for_it_and_a_closing_does() {
    let broker = Mosquitto::start();
    assert_eq!(commands_after_absence(&broker).await, ["off"]);
}

/// The one setting under which it does wait: then only what the payload says
/// (issued when, valid for how long) keeps the valve shut, and where the
/// device does not read it, its run time and the closing at its first report.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_told_to_queue_everything_brings_it_late() {
    let broker = Mosquitto::configured(|port, _| {
        format!("queue_qos0_messages true\nlistener {port} 127.0.0.1\nallow_anonymous true\n")
    });
    assert_eq!(commands_after_absence(&broker).await, ["on", "off"]);
}
