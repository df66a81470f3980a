//! The broker dies, the network hangs or is cut, the topics are full of junk.

use std::io::Write;
use std::time::{Duration, Instant};

use soakmist::simulator::SimulatedValve;

use super::rig::Rig;
use crate::link::mosquitto::{Mosquitto, lines_to};
use crate::link::proxy::Proxy;
use crate::long::asked;

/// The longest run of these tests, and how late a valve that closes itself
/// may be looked at.
const LONGEST_S: f64 = 30.0;
const SLACK_S: f64 = 1.0;
/// A broker that is away for longer is an alarm.
const GRACE: Duration = Duration::from_secs(30);

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_dies_and_comes_back_leaves_no_valve_open() {
    let mut rig = Rig::with(("30 s", "10 min"), &[]);
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.broker.kill();
    // They were told for how long: the broker is not needed.
    rig.until("closed by themselves", |rig| rig.open_zones() == 0)
        .await;
    rig.broker.restart();
    rig.until("booked", |rig| {
        rig.daemon.said().matches("a run has ended").count() == 3
    })
    .await;
    assert!((0..3).all(|zone| rig.open_s(zone) < LONGEST_S + SLACK_S));
    // What it tells is told anew to a broker that has forgotten everything.
    let told = rig
        .broker
        .read(&["-t", "beds/soakmist/status", "-C", "1", "-W", "5"]);
    assert!(told.contains(r#""phase":"running""#), "{told}");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_network_that_hangs_and_breaks_again_and_again_leaves_no_valve_open() {
    let broker = Mosquitto::start();
    let proxy = Proxy::to(broker.port).await;
    let port = proxy.port;
    let mut rig = Rig::through(broker, port, (("30 s", "10 min"), &[]));
    rig.until("a valve open", |rig| rig.open_zones() > 0).await;
    let cut = Duration::from_secs(asked("CUT_S", 20));
    let begun = Instant::now();
    let mut hangs = true;
    while begun.elapsed() < cut / 2 {
        match hangs {
            true => proxy.hold(),
            false => proxy.cut(),
        }
        hangs = !hangs;
        tokio::time::sleep(Duration::from_millis(2500)).await;
    }
    proxy.release();
    // Then it is gone altogether.
    proxy.shut();
    tokio::time::sleep(cut.saturating_sub(begun.elapsed())).await;
    assert_eq!(
        rig.daemon
            .said()
            .matches("broker is not connected, valves")
            .count(),
        usize::from(cut > 2 * GRACE)
    );
    proxy.open();
    let back = Instant::now();
    rig.until("closed", |rig| rig.open_zones() == 0).await;
    for zone in 0..3 {
        // Two runs at most have begun: one before, one between two hangs.
        let open_s = rig.open_s(zone);
        assert!(open_s < 2.0 * (LONGEST_S + SLACK_S), "{open_s}");
    }
    // The pause between two tries grows to 90 s.
    rig.until_within(Duration::from_secs(120), "in touch again", |rig| {
        let told = rig
            .broker
            .read(&["-t", "beds/soakmist/presence", "-C", "1", "-W", "2"]);
        told == "online\n"
    })
    .await;
    eprintln!(
        "network cut for {cut:?}: in touch again {:.1} s after it is back, valves open for {:?} s",
        back.elapsed().as_secs_f64(),
        [0, 1, 2].map(|zone| rig.open_s(zone).round())
    );
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(20)).0, 0);
}

/// Writes `each` lines a second to a topic for a while.
fn junk(port: u16, topic: &str, seconds: u32, each: u32) -> std::thread::JoinHandle<()> {
    let mut publisher = lines_to(port, topic);
    let mut stdin = publisher.stdin.take().unwrap();
    std::thread::spawn(move || {
        let begun = Instant::now();
        for tenth in 0..seconds * 10 {
            for n in 0..each / 10 {
                let line =
                    format!("{{\"valve\":\"\u{7}{n}\",\"id\":-{tenth},\"x\":[[[1e999]]]}}\n");
                stdin.write_all(line.as_bytes()).unwrap();
            }
            let next = Duration::from_millis(u64::from(tenth + 1) * 100);
            std::thread::sleep(next.saturating_sub(begun.elapsed()));
        }
        drop(stdin);
        let _ = publisher.wait();
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn ten_thousand_junk_messages_a_second_neither_fill_memory_nor_delay_a_closing() {
    let mut rig = Rig::with(("30 s", "0 s"), &[]);
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    let before_kib = rig.daemon.memory_kib();
    let port = rig.broker.port();
    let topics = ["beds/east/state", "beds/west/state"];
    let seconds = asked("JUNK_S", 25);
    let length = u32::try_from(seconds).unwrap();
    let floods = topics.map(|topic| junk(port, topic, length, 5000));
    let begun = Instant::now();
    let mut most_kib = before_kib;
    // The stop comes while the flood goes on.
    while begun.elapsed() < Duration::from_secs(seconds).mul_f64(0.8) {
        tokio::time::sleep(Duration::from_millis(200)).await;
        most_kib = most_kib.max(rig.daemon.memory_kib());
    }
    let grown_kib = most_kib - before_kib;
    assert!(grown_kib < 30 * 1024, "{grown_kib} KiB more");
    let open = rig.open_zones();
    let handed_on = rig.broker.read(&[
        "-t",
        "$SYS/broker/publish/messages/sent",
        "-C",
        "1",
        "-W",
        "2",
    ]);
    rig.daemon.signal("TERM");
    let (code, took) = rig.daemon.end(Duration::from_secs(15));
    assert_eq!(code, 0, "{}", rig.daemon.said());
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert_eq!(rig.open_zones(), 0);
    let sum = |of: fn(&SimulatedValve) -> u32| (0..3).map(|zone| rig.valve(zone, of)).sum::<u32>();
    let late = sum(SimulatedValve::late_commands);
    let longest = (0..3).map(|zone| rig.valve(zone, SimulatedValve::longest));
    let longest = longest.max().unwrap();
    assert_eq!(late, 0);
    assert!(longest < Duration::from_secs(31), "{longest:?}");
    eprintln!(
        "10,000 junk messages a second for {seconds} s: {:.1} MiB more at most, {} openings, \
         {late} late commands, longest {longest:.1?}; TERM with {open} open took {took:.1?}; the \
         broker handed on {} so far",
        f64::from(u32::try_from(grown_kib).unwrap()) / 1024.0,
        sum(SimulatedValve::openings),
        handed_on.trim(),
    );
    for flood in floods {
        flood.join().unwrap();
    }
}
