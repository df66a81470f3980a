//! A user drives it with `mosquitto_sub` and `mosquitto_pub`: they are the
//! valves, and read what it tells.

use std::io::{BufRead, BufReader};
use std::process::Stdio;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use chrono::Utc;

use super::process::Process;
use super::rig::{PATIENCE, beds};
use crate::beds::{DEVICE, RELAY, weather};
use crate::link::mosquitto::{Mosquitto, client};

/// What was commanded on which topic.
type Heard = Arc<Mutex<Vec<(String, Instant)>>>;

/// Answers each command on the topic beside it, as a relay board would.
fn relays(broker: &Mosquitto) -> (std::process::Child, Heard) {
    let mut reader = broker.reader(&["-t", "beds/+/command", "-v"]);
    let lines = BufReader::new(reader.stdout.take().unwrap()).lines();
    let port = broker.port;
    let heard = Heard::default();
    let kept = Arc::clone(&heard);
    std::thread::spawn(move || {
        for line in lines.map_while(Result::ok) {
            let (topic, word) = line.split_once(' ').unwrap();
            let state = topic.replace("command", "state");
            kept.lock().unwrap().push((line.clone(), Instant::now()));
            let mut answer = client("mosquitto_pub", port, &["-t", &state, "-m", word]);
            // The broker may be gone at the end of the test.
            let _ = answer.stderr(Stdio::null()).status();
        }
    });
    (reader, heard)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_user_with_mosquitto_sub_and_pub_can_be_the_valves_and_read_everything() {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().unwrap();
    let text = beds(broker.port, ("30 s", "0 s")).replace(DEVICE, RELAY);
    std::fs::write(folder.path().join("site.toml"), text).unwrap();
    std::fs::write(folder.path().join("weather.csv"), weather(Utc::now())).unwrap();
    let (mut reader, heard) = relays(&broker);
    let when = |line: &str| {
        let heard = heard.lock().unwrap();
        let found = heard.iter().find(|(said, _)| said == line);
        found.map(|(_, at)| *at)
    };
    // mosquitto_sub must have subscribed.
    let begun = Instant::now();
    while when("beds/nobody/command HEARD?").is_none() {
        assert!(begun.elapsed() < PATIENCE, "nobody hears commands");
        let said = ["-t", "beds/nobody/command", "-m", "HEARD?"];
        assert!(
            client("mosquitto_pub", broker.port, &said)
                .status()
                .unwrap()
                .success()
        );
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let mut daemon = Process::start(folder.path(), &[]);
    let begun = Instant::now();
    while when("beds/east/command ON").is_none() {
        assert!(begun.elapsed() < PATIENCE, "{}", daemon.said());
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let opened = when("beds/east/command ON").unwrap();
    for zone in ["east", "west", "long"] {
        let closed = when(&format!("beds/{zone}/command OFF"));
        assert!(closed.is_some_and(|at| at < opened), "{zone}");
    }
    let zone = broker.read(&["-t", "beds/soakmist/zone/east", "-C", "2", "-W", "3"]);
    assert!(zone.contains(r#""valve":"open""#), "{zone}");
    let closed_again = || {
        let heard = heard.lock().unwrap();
        let mut after = heard.iter().filter(|(_, at)| *at > opened);
        let closed = after.find(|(line, _)| line == "beds/east/command OFF");
        closed.map(|(_, at)| *at - opened)
    };
    while closed_again().is_none() {
        assert!(opened.elapsed() < PATIENCE, "{}", daemon.said());
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let open_for = closed_again().unwrap();
    assert!(open_for < Duration::from_secs(31), "{open_for:?}");
    assert!(daemon.said().contains("a run begins"), "{}", daemon.said());
    let status = broker.read(&["-t", "beds/soakmist/status", "-C", "1", "-W", "2"]);
    assert!(status.contains(r#""phase":"running""#), "{status}");
    daemon.signal("TERM");
    assert_eq!(
        daemon.end(Duration::from_secs(20)).0,
        0,
        "{}",
        daemon.said()
    );
    let _ = reader.kill();
    let _ = reader.wait();
}
