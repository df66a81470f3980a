//! Brokers that refuse, contradict themselves or talk nonsense.

use std::time::Duration;

use soakmist::mqtt::{DownReason, SendError, Subscription};

use super::fake_broker::{FakeBroker, Packet};
use super::{
    ZONE, close, close_parcel, is_up, needed, next_message, nonsense, now, open, open_parcel,
    settings, start, until_down, until_up,
};

/// The library would connect again at once, for ever.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_hangs_up_is_not_called_in_a_tight_loop() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    drop(broker.accept().await);
    assert_eq!(until_down(&link).await, DownReason::Closed);
    drop(broker.accept().await);
    drop(broker.accept().await);
    // Pauses of 0.2, 0.4 and now 0.8 s at least.
    assert!(broker.nobody_connects_for(Duration::from_millis(700)).await);
    drop(broker.accept().await);
    link.stop().await;
}

/// To the library a refusal is an error like any other.
#[tokio::test(flavor = "multi_thread")]
async fn a_refused_password_is_told_and_tried_again_slowly() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.accept().await;
    connection.next().await;
    connection.connack(4).await;
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Refused(_)), "{reason}");
    assert!(reason.to_string().contains("user name or password"));
    assert!(broker.nobody_connects_for(Duration::from_secs(2)).await);
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_listening_is_told() {
    let port = FakeBroker::bind().await.port;
    let link = start(settings(port));
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::Unreachable(_)), "{reason}");
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_never_answers_the_greeting_is_given_up() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let _silent = broker.accept().await;
    let reason = until_down(&link).await;
    assert_eq!(reason, DownReason::TimedOut("the connection"));
    link.stop().await;
}

/// The library does nothing with a refused subscription.
#[tokio::test(flavor = "multi_thread")]
async fn a_refused_topic_of_a_valve_keeps_the_link_down() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.accept().await;
    connection.next().await;
    connection.connack(0).await;
    let Some(Packet::Subscribe { id, topics }) = connection.next().await else {
        panic!("no SUBSCRIBE");
    };
    assert_eq!(topics, ["bed/state", "lawn/state"]);
    connection.suback(id, &[1, 0x80]).await;
    let reason = until_down(&link).await;
    assert_eq!(reason, DownReason::TopicRefused("lawn/state".into()));
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_topic_of_a_sensor_is_told_and_done_without() {
    let broker = FakeBroker::bind().await;
    let mut settings = settings(broker.port);
    settings.subscriptions.push(Subscription {
        needed: false,
        ..needed("rain")
    });
    let link = start(settings);
    let mut connection = broker.accept().await;
    connection.next().await;
    connection.connack(0).await;
    let Some(Packet::Subscribe { id, .. }) = connection.next().await else {
        panic!("no SUBSCRIBE");
    };
    connection.suback(id, &[1, 0, 0x80]).await;
    until_up(&link).await;
    assert_eq!(link.status().refused_topics, ["rain"]);
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_subscription_that_is_never_answered_is_given_up() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.accept().await;
    connection.next().await;
    connection.connack(0).await;
    let reason = until_down(&link).await;
    assert_eq!(reason, DownReason::TimedOut("the answer to a subscription"));
    assert!(!is_up(&link));
    link.stop().await;
}

/// Many topics go in several SUBSCRIBE packets, each awaited: its number
/// could otherwise be that of a message on its way.
#[tokio::test(flavor = "multi_thread")]
async fn every_topic_is_granted_before_anything_is_published() {
    let broker = FakeBroker::bind().await;
    let mut settings = settings(broker.port);
    settings.subscriptions = (0..120).map(|n| needed(&format!("bed/{n}"))).collect();
    let link = start(settings);
    close(&link, "off");
    let mut connection = broker.accept().await;
    connection.next().await;
    connection.connack(0).await;
    let mut asked = 0;
    while asked < 120 {
        let Some(Packet::Subscribe { id, topics }) = connection.next().await else {
            panic!("something else than SUBSCRIBE after {asked} topics");
        };
        asked += topics.len();
        connection.suback(id, &vec![1; topics.len()]).await;
    }
    let command = connection.next_command().await;
    assert!(matches!(command, Some(Packet::Publish { .. })));
    link.stop().await;
}

/// With a kept session the library sends unacknowledged commands again after
/// a reconnection, however old; without one it forgets them without a word.
#[tokio::test(flavor = "multi_thread")]
async fn nothing_of_an_old_connection_is_replayed_on_a_new_one() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    close(&link, "off 1");
    open(&link, "on 1");
    // Not acknowledged.
    while !matches!(
        connection.next_command().await,
        Some(Packet::Publish { id: None, .. })
    ) {}
    drop(connection);
    assert_eq!(until_down(&link).await, DownReason::Closed);
    let late = link.open(
        ZONE,
        open_parcel("on 2"),
        now().after(Duration::from_secs(60)),
    );
    assert_eq!(late, Err(SendError::NotConnected));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    let first = connection.next_within(Duration::from_secs(1)).await;
    let Some(Packet::Publish {
        topic,
        payload,
        retain,
        id,
    }) = first
    else {
        panic!("our presence is not announced");
    };
    assert_eq!(
        (topic.as_str(), payload.as_str(), retain),
        ("harrowmere/presence", "online", true)
    );
    connection.puback(id.unwrap()).await;
    let nothing = connection.next_within(Duration::from_millis(600)).await;
    assert_eq!(nothing, None, "replayed");
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_closing_asked_for_while_the_broker_is_away_is_sent_when_it_is_back() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    close(&link, "off 1");
    close(&link, "off 2");
    let mut connection = broker.serve().await;
    let Some(Packet::Publish {
        payload, retain, ..
    }) = connection.next_command().await
    else {
        panic!("no command");
    };
    assert_eq!((payload.as_str(), retain), ("off 2", false));
    link.stop().await;
}

/// Acknowledgements out of order end in a state of the library in which it
/// sends nothing any more, over all reconnections.
#[tokio::test(flavor = "multi_thread")]
async fn acknowledgements_missing_or_out_of_order_do_not_wedge_the_link() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    // The first is never acknowledged, all later ones are: number 1 is in use
    // when it comes round again.
    let mut seen = 0;
    while seen < 250 {
        close(&link, "off");
        match connection.next_within(Duration::from_millis(300)).await {
            Some(Packet::Publish { id: Some(id), .. }) => {
                seen += 1;
                if id != 2 {
                    connection.puback(id).await;
                }
            }
            Some(Packet::Ping) => connection.pong().await,
            _ => break,
        }
    }
    assert!((90..250).contains(&seen), "{seen} messages came through");
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::TimedOut(_)), "{reason}");
    let mut connection = broker.serve().await;
    until_up(&link).await;
    close(&link, "off again");
    let mut payloads = Vec::new();
    while payloads.last().is_none_or(|last| last != "off again") {
        let Some(Packet::Publish { payload, id, .. }) = connection.next_command().await else {
            panic!("wedged");
        };
        connection.puback(id.unwrap()).await;
        payloads.push(payload);
    }
    assert!(payloads.len() <= 2, "replayed: {payloads:?}");
    link.stop().await;
}

/// The library keeps a message that is too large and tries it again on every
/// connection.
#[tokio::test(flavor = "multi_thread")]
async fn a_message_too_large_to_send_is_refused_and_the_link_stays_up() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    let large = link.close(ZONE, close_parcel(&" ".repeat(300_000)));
    assert!(matches!(large, Err(SendError::TooLarge { .. })));
    // As large as is let through.
    close(&link, &" ".repeat(128 * 1024));
    let Some(Packet::Publish { payload, .. }) = connection.next_command().await else {
        panic!("no command");
    };
    assert_eq!(payload.len(), 128 * 1024);
    link.stop().await;
}

/// A retained message above the limit ends every connection at the
/// subscription.
#[tokio::test(flavor = "multi_thread")]
async fn a_message_too_large_to_take_in_is_named_and_the_broker_not_hammered() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    connection
        .publish("bed/state", &vec![b'x'; 1_100_000])
        .await;
    let reason = until_down(&link).await;
    assert_eq!(reason, DownReason::TooLarge);
    assert!(reason.to_string().contains("retained"));
    assert!(broker.nobody_connects_for(Duration::from_secs(2)).await);
    link.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_large_message_that_no_valve_sends_is_dropped_and_the_link_stays_up() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    connection.publish("bed/state", &vec![b'x'; 900_000]).await;
    connection.publish("bed/state", b"closed").await;
    assert_eq!(next_message(&link).await.payload, b"closed");
    assert_eq!(link.status().counters.oversize, 1);
    link.stop().await;
}

/// Bytes as they come, from a fixed seed.
#[tokio::test(flavor = "multi_thread")]
async fn nonsense_from_the_broker_ends_a_connection_and_nothing_else() {
    let broker = FakeBroker::bind().await;
    let mut settings = settings(broker.port);
    settings.times.pause = Duration::from_millis(1);
    settings.times.pause_most = Duration::from_millis(2);
    let link = start(settings);
    let mut seed = 0x9e37_79b9_7f4a_7c15_u64;
    for round in 0..300 {
        let before_granted = round % 3 == 0;
        let mut connection = if before_granted {
            broker.accept().await
        } else {
            broker.serve().await
        };
        let bytes = nonsense(&mut seed);
        connection.send(&bytes).await;
    }
    assert!(link.is_running());
    let _connection = broker.serve().await;
    until_up(&link).await;
    link.stop().await;
}

/// Polled once more after its DISCONNECT the library would connect again,
/// and the last will would be sent when that connection is dropped.
#[tokio::test(flavor = "multi_thread")]
async fn a_stop_says_good_bye_and_does_not_come_back() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let mut connection = broker.serve().await;
    until_up(&link).await;
    connection.next().await;
    close(&link, "off");
    let stop = tokio::spawn(link.stop());
    let Some(Packet::Publish { payload, .. }) = connection.next_command().await else {
        panic!("the last closing is not sent");
    };
    assert_eq!(payload, "off");
    let Some(Packet::Publish {
        payload, retain, ..
    }) = connection.next().await
    else {
        panic!("no farewell");
    };
    assert_eq!((payload.as_str(), retain), ("offline", true));
    assert_eq!(connection.next().await, Some(Packet::Disconnect));
    assert_eq!(connection.next().await, None);
    stop.await.unwrap();
    assert!(broker.nobody_connects_for(Duration::from_millis(600)).await);
}
