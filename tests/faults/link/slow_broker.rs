//! Brokers and networks that stop answering, or send too much.

use std::time::{Duration, Instant};

use soakmist::mqtt::DownReason;

use super::fake_broker::{FakeBroker, Packet, publish_packet};
use super::{ZONE, close, close_parcel, next_message, open, settings, start, until_down, until_up};

/// The library blocks whoever publishes while it is not polled or cannot
/// write.
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_stops_reading_blocks_nobody_and_is_left() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let _deaf = broker.serve().await;
    until_up(&link).await;
    let begun = Instant::now();
    let large = " ".repeat(100_000);
    for zone in 0..200 {
        let device = soakmist::valve::DeviceId::Zone(zone);
        link.close(device, close_parcel(&large)).unwrap();
    }
    assert!(begun.elapsed() < Duration::from_secs(1));
    let reason = until_down(&link).await;
    assert!(matches!(reason, DownReason::TimedOut(_)), "{reason}");
    link.stop().await;
}

/// Keep-alive 1 s and 0.5 s for the answer: a dead link is known within 1.5 s
/// (and never later than with the promised `most_delay`).
#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_stops_answering_is_found_out_within_the_bound() {
    let broker = FakeBroker::bind().await;
    let settings = settings(broker.port);
    let bound = settings.times.most_delay();
    let link = start(settings);
    let _silent = broker.serve().await;
    until_up(&link).await;
    let begun = Instant::now();
    let reason = until_down(&link).await;
    assert_eq!(reason, DownReason::TimedOut("the answer to a ping"));
    let took = begun.elapsed();
    assert!(took < bound + Duration::from_millis(400), "{took:?}");
    link.stop().await;
}

/// What waits when the library cannot write must not leave later.
#[tokio::test(flavor = "multi_thread")]
async fn an_open_command_behind_a_stalled_write_is_never_sent() {
    let broker = FakeBroker::bind().await;
    let link = start(settings(broker.port));
    let stalled = broker.serve().await;
    until_up(&link).await;
    let large = " ".repeat(120_000);
    for zone in 1..200 {
        let device = soakmist::valve::DeviceId::Zone(zone);
        link.close(device, close_parcel(&large)).unwrap();
    }
    open(&link, "on");
    until_down(&link).await;
    drop(stalled);
    let mut connection = broker.serve().await;
    until_up(&link).await;
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(2) {
        match connection.next_within(Duration::from_millis(500)).await {
            Some(Packet::Publish { payload, id, .. }) => {
                assert_ne!(payload, "on");
                if let Some(id) = id {
                    connection.puback(id).await;
                }
            }
            Some(Packet::Ping) => connection.pong().await,
            _ => {}
        }
    }
    assert!(link.status().counters.expired >= 1);
    link.stop().await;
}

/// While much comes in, the library hands out what it has read before it
/// looks at what is to be sent.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_flood_neither_fills_the_memory_nor_delays_a_closing() {
    let broker = FakeBroker::bind().await;
    let mut settings = settings(broker.port);
    settings.times.pong = Duration::from_secs(5);
    let link = start(settings);
    let mut connection = broker.serve().await;
    until_up(&link).await;
    // 200,000 messages of junk, as fast as they are taken, of which some are
    // on a topic that nobody asked for.
    let mut junk = Vec::new();
    for n in 0..20 {
        let topic = if n % 5 == 0 { "elsewhere" } else { "bed/state" };
        junk.extend(publish_packet(topic, &[b'j'; 100]));
    }
    let (mut sent, mut delay) = (0_u64, None);
    let mut asked = None;
    while sent < 200_000 || delay.is_none() {
        connection.send(&junk).await;
        sent += 20;
        if sent == 100_000 {
            asked = Some(Instant::now());
            link.close(ZONE, close_parcel("off")).unwrap();
        }
        while let Some(packet) = connection.next_within(Duration::from_micros(50)).await {
            match packet {
                Packet::Publish { payload, .. } if payload == "off" => {
                    delay = asked.map(|asked| asked.elapsed());
                }
                Packet::Ping => connection.pong().await,
                _ => {}
            }
        }
        assert!(sent < 5_000_000, "the closing does not come");
    }
    let delay = delay.unwrap();
    assert!(delay < Duration::from_secs(1), "the closing took {delay:?}");
    connection.publish("lawn/state", b"closed").await;
    while next_message(&link).await.payload != b"closed" {}
    let counters = link.status().counters;
    assert!(counters.crowded_out > 0 && counters.unasked > 0);
    // Nothing but the few that are kept per topic has got past the counters.
    link.stop().await;
}

/// The broker closes the older of two connections with one client id, and
/// the two chase each other away.
#[tokio::test(flavor = "multi_thread")]
async fn being_thrown_out_again_and_again_names_the_likely_cause() {
    let broker = FakeBroker::bind().await;
    let mut settings = settings(broker.port);
    settings.times.pause_most = Duration::from_millis(300);
    let link = start(settings);
    for _ in 0..2 {
        let mut connection = broker.serve().await;
        connection.next().await;
        drop(connection);
    }
    let mut connection = broker.serve().await;
    connection.next().await;
    drop(connection);
    let reason = loop {
        match until_down(&link).await {
            DownReason::Closed => {}
            other => break other,
        }
    };
    assert_eq!(reason, DownReason::ClosedAgain);
    assert!(reason.to_string().contains("client id"));
    close(&link, "off");
    link.stop().await;
}
