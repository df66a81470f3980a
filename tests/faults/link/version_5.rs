//! The same link under MQTT 5: what the library does differently there.

use std::time::{Duration, Instant};

use soakmist::mqtt::{DownReason, Login, Secret, Settings, Version};

use super::fake_broker::FakeBroker;
use super::mosquitto::Mosquitto;
use super::proxy::Proxy;
use super::{
    close, is_subscribed_again, next_message, nonsense, open, settings, start, until_down, until_up,
};

fn five(port: u16) -> Settings {
    Settings {
        version: Version::V5,
        ..settings(port)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn commands_reports_and_presence_are_the_same() {
    let broker = Mosquitto::start();
    broker.publish(&["-r", "-t", "lawn/state", "-m", "open"]);
    let link = start(five(broker.port));
    until_up(&link).await;
    assert!(next_message(&link).await.stored);
    broker.publish(&["-t", "bed/state", "-m", "closed"]);
    let message = next_message(&link).await;
    assert!(!message.stored && message.payload == b"closed");
    let reader = broker.reader(&["-t", "bed/set", "-C", "2", "-W", "10"]);
    tokio::time::sleep(Duration::from_millis(300)).await;
    open(&link, "on");
    tokio::time::sleep(Duration::from_millis(100)).await;
    close(&link, "off");
    let output = tokio::task::spawn_blocking(|| reader.wait_with_output().unwrap());
    let output = output.await.unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), "on\noff\n");
    let presence = || broker.read(&["-t", "harrowmere/presence", "-C", "1", "-W", "5"]);
    assert_eq!(presence(), "online\n");
    link.stop().await;
    assert_eq!(presence(), "offline\n");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_was_restarted_is_subscribed_again() {
    is_subscribed_again(five).await;
}

/// Here the library waits for ever for what it cannot write, and pings every
/// 5 s at most.
#[tokio::test(flavor = "multi_thread")]
async fn a_dead_connection_is_found_out_within_its_bound() {
    let broker = Mosquitto::start();
    let proxy = Proxy::to(broker.port).await;
    let link = start(five(proxy.port));
    until_up(&link).await;
    proxy.hold();
    let begun = Instant::now();
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::TimedOut(_)), "{reason}");
    let bound = Duration::from_millis(5000 + 500 + 500);
    assert!(begun.elapsed() < bound, "{:?}", begun.elapsed());
    until_up(&link).await;
    link.stop().await;
}

/// The library takes on what the broker prescribes, and would ping so late
/// that a dead connection is believed for a minute.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_prescribes_fewer_pings_is_refused() {
    let broker = FakeBroker::bind().await;
    let link = start(five(broker.port));
    let mut connection = broker.accept().await;
    assert_eq!(connection.raw().await.unwrap().0, 0x10);
    // CONNACK with Server Keep Alive (19) of 60 s (MQTT 5, 3.2.2.3.14).
    connection.send(&[0x20, 6, 0, 0, 3, 19, 0, 60]).await;
    let reason = until_down(&link).await;
    assert!(reason.to_string().contains("fewer pings"), "{reason}");
    link.stop().await;
}

/// The broker says why it ends a connection.
#[tokio::test(flavor = "multi_thread")]
async fn a_stolen_client_id_is_named_at_once() {
    let broker = FakeBroker::bind().await;
    let link = start(five(broker.port));
    let mut connection = broker.accept().await;
    assert_eq!(connection.raw().await.unwrap().0, 0x10);
    connection.send(&[0x20, 3, 0, 0, 0]).await;
    let (kind, subscribe) = connection.raw().await.unwrap();
    assert_eq!(kind, 0x82);
    let id = [subscribe[0], subscribe[1]];
    connection.send(&[0x90, 5, id[0], id[1], 0, 1, 1]).await;
    until_up(&link).await;
    // DISCONNECT, Session taken over (0x8E; MQTT 5, 3.14.2.1).
    connection.send(&[0xe0, 2, 0x8e, 0]).await;
    assert_eq!(until_down(&link).await, DownReason::ClosedAgain);
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_is_named() {
    let broker = Mosquitto::configured(|port, folder| {
        let file = folder.join("none");
        std::fs::write(&file, "").unwrap();
        let file = file.display();
        format!("listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {file}\n")
    });
    let mut wrong = five(broker.port);
    wrong.login = Some(Login {
        user: "ground".into(),
        password: Secret::new("poplar".into()),
    });
    let link = start(wrong);
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Refused(_)), "{reason}");
    link.stop().await;
}

/// Bytes as they come, from a fixed seed, half of them behind a good answer.
#[tokio::test(flavor = "multi_thread")]
async fn nonsense_from_the_broker_ends_a_connection_and_nothing_else() {
    let broker = FakeBroker::bind().await;
    let mut settings = five(broker.port);
    settings.times.pause = Duration::from_millis(1);
    settings.times.pause_most = Duration::from_millis(2);
    let link = start(settings);
    let mut seed = 0x2545_f491_4f6c_dd1d_u64;
    for round in 0..300 {
        let mut connection = broker.accept().await;
        let mut bytes = nonsense(&mut seed);
        if round % 2 == 0 {
            bytes.splice(0..0, [0x20, 3, 0, 0, 0]);
        }
        connection.send(&bytes).await;
    }
    assert!(link.is_running());
    let mosquitto = Mosquitto::start();
    let mended = start(five(mosquitto.port));
    until_up(&mended).await;
    mended.stop().await;
    link.stop().await;
}
