//! Valves that do not do what they are told.

use std::time::Duration;

use soakmist::simulator::Fault;
use soakmist::valve::DeviceId;

use super::broker::Broker;
use super::rig::Rig;

fn alarms(rig: &Rig) -> String {
    rig.broker
        .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "2"])
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deaf_valve_is_told_by_name_and_nothing_opens_until_it_hears() {
    deaf(Broker::real()).await;
}

pub(super) async fn deaf(broker: Broker) {
    let mut rig = Rig::at(broker, ("1 min", "1 min"), &[]);
    let deaf = DeviceId::Zone(0);
    rig.valves.with(|site| site.set_fault(deaf, Fault::Deaf));
    // Its bound is 20 s.
    rig.until("told", |rig| alarms(rig).contains("east: the valve"))
        .await;
    assert!((0..3).all(|zone| rig.open_s(zone) < 1e-9));
    rig.valves.with(|site| site.set_fault(deaf, Fault::None));
    rig.until("over", |rig| alarms(rig) == "[]\n").await;
    rig.until("watering", |rig| rig.open_zones() > 0).await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_does_not_close_ends_a_stop_with_4_and_an_alarm_that_stays() {
    stuck(Broker::real()).await;
}

pub(super) async fn stuck(broker: Broker) {
    let mut rig = Rig::at(broker, ("1 min", "1 min"), &[]);
    rig.until("open", |rig| rig.is_open(2)).await;
    rig.valves
        .with(|site| site.set_fault(DeviceId::Zone(2), Fault::Stuck));
    rig.daemon.signal("TERM");
    let (code, took) = rig.daemon.end(Duration::from_secs(25));
    assert_eq!(code, 4);
    assert!(took < Duration::from_secs(20), "{took:?}");
    assert!(rig.daemon.words().contains("the valve of long"));
    assert!(!rig.is_open(0) && !rig.is_open(1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_opens_by_itself_is_closed_and_told() {
    opens_itself(Broker::real()).await;
}

pub(super) async fn opens_itself(broker: Broker) {
    // In a dry run nothing else opens it.
    let mut rig = Rig::at(broker, ("1 min", "1 min"), &["--dry-run"]);
    rig.until("ready", |rig| {
        rig.daemon.has_said("every valve is confirmed")
    })
    .await;
    // A report so soon after a closing could be a late one.
    tokio::time::sleep(Duration::from_secs(11)).await;
    rig.valves.open_by_itself(DeviceId::Zone(1));
    rig.until("closed", |rig| !rig.is_open(1)).await;
    assert!(rig.open_s(1) < 2.0, "{}", rig.open_s(1));
    rig.until("told", |rig| {
        alarms(rig).contains("west: the valve opened without a command")
    })
    .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}
