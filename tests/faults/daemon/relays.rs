//! Valves that stay open until they are told otherwise: here a closing that
//! comes late lets water through. When it came is judged by the valve.

use std::io::Write;
use std::time::{Duration, Instant};

use super::kills::CLOSED_WITHIN;
use super::rig::Rig;
use crate::beds::RELAY;
use crate::link::mosquitto::{client, lines_to};

/// How late a closing may reach a relay: a bound for a slow computer under
/// test. It takes some ms.
const LATE_S: f64 = 1.0;

/// Waits for a relay to open; which.
async fn open(rig: &Rig) -> usize {
    rig.until("a relay open", |rig| rig.open_zones() > 0).await;
    (0..3).find(|zone| rig.is_open(*zone)).unwrap()
}

/// Waits for it to close; it must not be late.
async fn is_closed_in_time(rig: &Rig, zone: usize) {
    rig.until("closed", |rig| !rig.is_open(zone)).await;
    let late_s = rig.late_s(zone);
    eprintln!("zone {zone}: closed {late_s:.3} s after its time");
    assert!(late_s < LATE_S, "zone {zone}: {late_s} s too long");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_relay_is_closed_at_its_deadline_or_as_soon_as_the_broker_is_back() {
    tokio::join!(back_before_the_deadline(), away_at_the_deadline());
}

async fn back_before_the_deadline() {
    let mut rig = Rig::relays(RELAY, ("30 s", "10 min"), &[]);
    let zone = open(&rig).await;
    rig.broker.kill();
    rig.broker.restart();
    is_closed_in_time(&rig, zone).await;
}

async fn away_at_the_deadline() {
    let mut rig = Rig::relays(RELAY, ("30 s", "10 min"), &[]);
    let zone = open(&rig).await;
    rig.broker.kill();
    tokio::time::sleep(Duration::from_secs(32)).await;
    // No software closes a relay that it cannot reach.
    assert!(rig.is_open(zone));
    rig.broker.restart();
    rig.until("connected", |rig| {
        rig.daemon.said().matches("the broker is connected").count() == 2
    })
    .await;
    // The relay has to come back as well, after a pause of its own, of up to 24 s.
    let presence = ["-t", "soakmist-simulator/presence", "-C", "1", "-W", "45"];
    let mut listener = client("mosquitto_sub", rig.broker.port(), &presence);
    let heard = tokio::task::spawn_blocking(move || listener.output());
    let heard = heard.await.unwrap().unwrap();
    assert_eq!(String::from_utf8_lossy(&heard.stdout), "online\n");
    rig.until_within(CLOSED_WITHIN, "closed", |rig| !rig.is_open(zone))
        .await;
}

/// Five messages a millisecond on a topic, for a while.
fn stream(port: u16, topic: &str, span: Duration) -> std::thread::JoinHandle<()> {
    let mut publisher = lines_to(port, topic);
    let mut stdin = publisher.stdin.take().unwrap();
    std::thread::spawn(move || {
        let begun = Instant::now();
        let mut sent = 0;
        while begun.elapsed() < span {
            while sent < 5 * begun.elapsed().as_millis() {
                sent += 1;
                stdin.write_all(b"neither ON nor OFF\n").unwrap();
            }
            std::thread::sleep(Duration::from_micros(200));
        }
        drop(stdin);
        let _ = publisher.wait();
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn five_thousand_messages_a_second_without_a_pause_delay_no_closing_of_a_relay() {
    let rig = Rig::relays(RELAY, ("30 s", "10 min"), &[]);
    let port = rig.broker.port();
    let zone = open(&rig).await;
    // On another topic: a stream on its own would drown what the relay says.
    let topic = format!("beds/{}/state", rig.site.zones[(zone + 1) % 3].name);
    let flood = stream(port, &topic, Duration::from_secs(40));
    is_closed_in_time(&rig, zone).await;
    assert!(!flood.is_finished(), "the stream has ended before");
    flood.join().unwrap();
}

/// When the daemon has booked the end of so many runs of a zone.
async fn ended(rig: &Rig, zone: usize, runs: usize) -> Instant {
    let name = format!("zone=\"{}\"", rig.site.zones[zone].name);
    rig.until("told as closed", |rig| {
        let said = rig.daemon.said();
        let ended = said.lines().filter(|line| line.contains("a run has ended"));
        ended.filter(|line| line.contains(&name)).count() >= runs
    })
    .await;
    Instant::now()
}

#[tokio::test(flavor = "multi_thread")]
async fn junk_without_a_pause_on_its_own_topic_hides_no_report_of_a_relay() {
    let rig = Rig::relays(RELAY, ("30 s", "10 min"), &[]);
    let port = rig.broker.port();
    let zone = open(&rig).await;
    let topic = format!("beds/{}/state", rig.site.zones[zone].name);
    let flood = stream(port, &topic, Duration::from_secs(40));
    is_closed_in_time(&rig, zone).await;
    let closed = Instant::now();
    let confirmed = ended(&rig, zone, 1).await - closed;
    eprintln!("zone {zone}: its report is taken after {confirmed:.3?}");
    assert!(!flood.is_finished(), "the stream has ended before");
    assert!(confirmed.as_secs_f64() < LATE_S, "{confirmed:?}");
    assert!(!rig.daemon.has_said("alarm"), "{}", rig.daemon.said());
    flood.join().unwrap();
}
