//! The site as a Homie device at a real broker: complete when it says that it
//! is ready, lost when it is killed, stopped by a controller and never opened.

use std::time::Duration;

use super::broker::Broker;
use super::rig::{Rig, beds};
use crate::homie_rules::{Topics, broken_rules};

const BASE: &str = "homie/soakmist-beds";
/// A broker gives what it has stored within this.
const A_WHILE: Duration = Duration::from_millis(1500);

fn rig(broker: Broker, runs: (&str, &str)) -> Rig {
    let text = beds(broker.port(), runs);
    let with = "base-topic = \"beds/soakmist\"\nhomie = \"homie\"";
    let text = text.replace("base-topic = \"beds/soakmist\"", with);
    Rig::of(broker, &text, &[])
}

/// What the broker has stored of a topic.
fn stored(rig: &Rig, below: &str) -> String {
    let topic = format!("{BASE}/{below}");
    let arguments = ["-t", &topic, "-C", "1", "-W", "1", "--retained-only"];
    rig.broker.read(&arguments).trim().to_owned()
}

fn set(broker: &Broker, below: &str, payload: &str, more: &[&str]) {
    let topic = format!("{BASE}/{below}/set");
    let arguments = ["-q", "1", "-t", &topic, "-m", payload];
    broker.publish(&[&arguments, more].concat());
}

async fn is_ready(rig: &Rig) {
    rig.until("ready", |rig| stored(rig, "$state") == "ready")
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_is_complete_when_ready_lost_when_killed_and_disconnected_at_the_end() {
    let mut rig = rig(Broker::real(), ("1 min", "1 min"));
    is_ready(&rig).await;
    let told = rig
        .broker
        .read(&["-t", "homie/#", "-v", "-W", "2", "--retained-only"]);
    let pairs = told.lines().filter_map(|line| line.split_once(' '));
    let owned = pairs.map(|(topic, text)| (topic.to_owned(), text.to_owned()));
    let mut topics: Topics = owned.collect();
    // "MUST be send, even if it is just an empty string", and a broker stores
    // no empty message.
    topics.insert(format!("{BASE}/$extensions"), String::new());
    let broken = broken_rules("homie", "soakmist-beds", &topics);
    assert_eq!(broken, [] as [String; 0]);
    assert_eq!(topics[&format!("{BASE}/$nodes")], "site,east,west,long");
    let presence = ["-t", "beds/soakmist/presence", "-C", "1", "-W", "1"];
    assert_eq!(rig.broker.read(&presence), "", "no presence without a will");

    rig.daemon.kill();
    rig.until("lost", |rig| stored(rig, "$state") == "lost")
        .await;
    rig.restart();
    is_ready(&rig).await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    assert_eq!(stored(&rig, "$state"), "disconnected");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_controller_stops_a_zone_or_all_and_can_do_nothing_else() {
    let rig = rig(Broker::real(), ("5 min", "10 min"));
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    set(&rig.broker, "east/stop", "true", &[]);
    rig.until("east closed", |rig| !rig.is_open(0)).await;
    assert!(rig.is_open(1) && rig.is_open(2));
    rig.until("told", |rig| stored(rig, "east/stop") == "true")
        .await;
    assert_ne!(stored(&rig, "east/held-until"), "none");
    // However often it is said, it is done and written once.
    let before = rig.daemon.said().matches("stopped over MQTT").count();
    for _ in 0..20 {
        set(&rig.broker, "east/stop", "true", &[]);
    }
    tokio::time::sleep(A_WHILE).await;
    let after = rig.daemon.said().matches("stopped over MQTT").count();
    assert_eq!((before, after), (1, 1));

    // Nothing lets it water again, and nothing else is settable.
    set(&rig.broker, "east/stop", "false", &[]);
    set(&rig.broker, "east/valve", "open", &[]);
    tokio::time::sleep(A_WHILE).await;
    assert!(!rig.is_open(0));
    assert_eq!(stored(&rig, "east/stop"), "true");
    assert!(rig.daemon.has_said("only `true` can be set"));

    set(&rig.broker, "site/stop", "true", &[]);
    rig.until("all closed", |rig| rig.open_zones() == 0).await;
    rig.until("all told", |rig| stored(rig, "site/stop") == "true")
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stored_command_does_nothing_at_any_connection() {
    let broker = Broker::real();
    for topic in ["site/stop", "east/stop"] {
        set(&broker, topic, "true", &["-r"]);
    }
    let rig = rig(broker, ("5 min", "10 min"));
    rig.until("told of", |rig| {
        rig.daemon.has_said("a retained command is not obeyed")
    })
    .await;
    rig.until("watered all the same", |rig| rig.open_zones() == 3)
        .await;
    assert_eq!(stored(&rig, "east/stop"), "false");
    assert!(!rig.daemon.has_said("stopped over MQTT"));
}
