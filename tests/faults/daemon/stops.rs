//! Stops: everything is closed and confirmed, at once.

use std::time::Duration;

use super::broker::Broker;
use super::rig::Rig;
use crate::beds::RELAY;

#[tokio::test(flavor = "multi_thread")]
async fn term_while_three_valves_are_open_closes_them_within_5_s() {
    term(Broker::real()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn term_while_three_relays_are_open_closes_them_within_5_s() {
    let rig = Rig::relays(RELAY, ("1 min", "1 min"), &[]);
    rig.until("three relays open", |rig| rig.open_zones() == 3)
        .await;
    // A report of closed before this could be from before the opening.
    tokio::time::sleep(Duration::from_secs(11)).await;
    term_at(rig).await;
}

pub(super) async fn term(broker: Broker) {
    term_at(Rig::at(broker, ("1 min", "1 min"), &[])).await;
}

async fn term_at(mut rig: Rig) {
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.daemon.signal("TERM");
    rig.until_within(Duration::from_secs(1), "closed", |rig| {
        rig.open_zones() == 0
    })
    .await;
    let (code, took) = rig.daemon.end(Duration::from_secs(10));
    assert_eq!(code, 0, "{}", rig.daemon.said());
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert_eq!(rig.open_zones(), 0);
    let told = rig
        .broker
        .read(&["-t", "beds/soakmist/presence", "-C", "1", "-W", "2"]);
    assert_eq!(told, "offline\n");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dry_run_says_what_it_would_water_and_opens_nothing() {
    let mut rig = Rig::with(("1 min", "1 min"), &["--dry-run"]);
    rig.until("a run on paper", |rig| rig.daemon.has_said("a run begins"))
        .await;
    tokio::time::sleep(Duration::from_secs(2)).await;
    assert!((0..3).all(|zone| rig.open_s(zone) < 1e-9));
    rig.daemon.signal("INT");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_that_no_valve_confirms_ends_with_4_and_names_them() {
    let mut rig = Rig::start();
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.broker.kill();
    rig.daemon.signal("TERM");
    let (code, took) = rig.daemon.end(Duration::from_secs(25));
    assert_eq!(code, 4);
    assert!(took < Duration::from_secs(20), "{took:?}");
    assert!(rig.daemon.words().contains("the valve of east"));
}
