//! The link against mosquitto, driven as a user would.

use std::time::Duration;

use soakmist::mqtt::{DownReason, Parcel, Quality, Version};

use super::mosquitto::Mosquitto;
use super::proxy::Proxy;
use super::{
    close, is_subscribed_again, is_up, next_message, open, settings, start, until_down, until_up,
};

#[tokio::test(flavor = "multi_thread")]
async fn a_report_comes_in_and_a_command_goes_out() {
    let broker = Mosquitto::start();
    let link = start(settings(broker.port));
    until_up(&link).await;
    broker.publish(&["-t", "bed/state", "-m", "closed"]);
    let message = next_message(&link).await;
    assert_eq!(
        (message.subscription, message.payload.as_slice()),
        (0, b"closed".as_slice())
    );
    assert!(!message.stored);
    let reader = broker.reader(&["-t", "bed/set", "-C", "2", "-W", "10"]);
    tokio::time::sleep(Duration::from_millis(300)).await;
    open(&link, "on");
    tokio::time::sleep(Duration::from_millis(100)).await;
    close(&link, "off");
    let output = tokio::task::spawn_blocking(|| reader.wait_with_output().unwrap());
    let output = output.await.unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), "on\noff\n");
    link.stop().await;
}

/// A stored report is from an unknown past; a restarting valve would obey a
/// stored command.
#[tokio::test(flavor = "multi_thread")]
async fn stored_reports_are_marked_and_commands_are_never_stored() {
    let broker = Mosquitto::start();
    broker.publish(&["-r", "-t", "bed/state", "-m", "open"]);
    let link = start(settings(broker.port));
    let message = next_message(&link).await;
    assert!(message.stored);
    let parcel = Parcel {
        topic: "bed/set".into(),
        payload: b"off".to_vec(),
        quality: Quality::AtLeastOnce,
        retain: true,
    };
    link.close(super::ZONE, parcel).unwrap();
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(broker.read(&["-t", "bed/set", "-C", "1", "-W", "1"]), "");
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn presence_says_online_and_offline_and_the_broker_says_it_when_we_vanish() {
    let broker = Mosquitto::start();
    let proxy = Proxy::to(broker.port).await;
    let mut settings = settings(proxy.port);
    settings.times.pause = Duration::from_secs(2);
    let link = start(settings);
    let presence = || broker.read(&["-t", "harrowmere/presence", "-C", "1", "-W", "5"]);
    until_up(&link).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(presence(), "online\n");
    proxy.cut();
    until_down(&link).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(presence(), "offline\n");
    until_up(&link).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(presence(), "online\n");
    link.stop().await;
    assert_eq!(presence(), "offline\n");
}

/// Closed with an acknowledgement unread, a connection is reset, and the
/// broker takes a farewell for a loss: now and then, so it is tried often.
#[tokio::test(flavor = "multi_thread")]
async fn a_farewell_is_never_taken_for_a_loss() {
    let broker = Mosquitto::start();
    for version in [Version::V311, Version::V5] {
        for _ in 0..15 {
            let mut settings = settings(broker.port);
            settings.version = version;
            settings.presence.lost = "lost".into();
            let link = start(settings);
            until_up(&link).await;
            link.stop().await;
            let told = broker.read(&["-t", "harrowmere/presence", "-C", "1", "-W", "5"]);
            assert_eq!(told, "offline\n");
        }
    }
}

/// The library subscribes to nothing again by itself: after a restart of the
/// broker nothing would come in, and no error would say so.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_was_restarted_is_subscribed_again() {
    is_subscribed_again(settings).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_network_that_is_cut_and_mended_ends_with_the_link_up() {
    let broker = Mosquitto::start();
    let proxy = Proxy::to(broker.port).await;
    let link = start(settings(proxy.port));
    for _ in 0..3 {
        until_up(&link).await;
        proxy.cut();
        until_down(&link).await;
    }
    until_up(&link).await;
    assert_eq!(link.status().counters.connections, 4);
    link.stop().await;
}

/// Bytes of ours may be on their way while the network hangs, among them an
/// open command. We find the connection dead and make a new one under the
/// same client id; when the network lets the old bytes go, the broker has
/// ended the old connection and reads them no more.
#[tokio::test(flavor = "multi_thread")]
async fn an_open_command_held_up_in_the_network_does_not_arrive_late() {
    let broker = Mosquitto::start();
    let proxy = Proxy::to(broker.port).await;
    let link = start(settings(proxy.port));
    until_up(&link).await;
    let reader = broker.reader(&["-t", "bed/set", "-W", "6"]);
    tokio::time::sleep(Duration::from_millis(300)).await;
    proxy.hold();
    open(&link, "on");
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::TimedOut(_)), "{reason}");
    until_up(&link).await;
    assert_eq!(proxy.connections(), 2);
    close(&link, "off");
    tokio::time::sleep(Duration::from_millis(300)).await;
    proxy.release();
    let output = tokio::task::spawn_blocking(|| reader.wait_with_output().unwrap());
    let output = output.await.unwrap();
    assert_eq!(String::from_utf8(output.stdout).unwrap(), "off\n");
    assert!(is_up(&link));
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_clients_with_one_id_are_found_out() {
    let broker = Mosquitto::start();
    let mut settings = settings(broker.port);
    settings.times.pause_most = Duration::from_millis(400);
    let one = start(settings.clone());
    until_up(&one).await;
    let other = start(settings);
    let found = async {
        loop {
            if until_down(&one).await == DownReason::ClosedAgain {
                return;
            }
        }
    };
    tokio::time::timeout(super::PATIENCE, found)
        .await
        .expect("not found out");
    other.stop().await;
    one.stop().await;
}
