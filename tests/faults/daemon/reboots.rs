//! Valves that lose power for a moment, and come back open or closed, with a
//! number from before.

use std::time::{Duration, Instant};

use soakmist::clock::{Clock, SystemClock};
use soakmist::simulator::{Number, Reboot};
use soakmist::store::{Opening, Store};
use soakmist::valve::{DeviceId, FinishCause, Position};

use super::rig::{PATIENCE, Rig};
use crate::beds::COUNTING;

/// A report so soon after an opening or a closing could be a late one.
const MAY_BE_LATE: Duration = Duration::from_secs(11);

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_reboots_open_is_closed_and_told_whatever_number_it_gives() {
    // In a dry run nothing else opens it.
    let mut rig = Rig::relays(COUNTING, ("1 min", "1 min"), &["--dry-run"]);
    rig.until("ready", |rig| {
        rig.daemon.has_said("every valve is confirmed")
    })
    .await;
    let position = Position::Open;
    let reboot = |rig: &Rig, zone, number| {
        rig.valves
            .reboot(DeviceId::Zone(zone), Reboot { position, number });
    };
    reboot(&rig, 0, Number::Older);
    rig.until("closed", |rig| {
        rig.valve(0, |v| v.openings()) == 1 && !rig.is_open(0)
    })
    .await;
    tokio::time::sleep(MAY_BE_LATE).await;
    for (zone, number) in [(0, Number::Zero), (1, Number::Older)] {
        let before = rig.valve(zone, |valve| valve.openings());
        reboot(&rig, zone, number);
        rig.until("closed", |rig| {
            rig.valve(zone, |valve| valve.openings()) > before && !rig.is_open(zone)
        })
        .await;
    }
    for zone in 0..2 {
        assert!(rig.open_s(zone) < 2.0, "{}", rig.open_s(zone));
    }
    rig.until("told", |rig| {
        let told = rig
            .broker
            .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "2"]);
        told.contains("east: the valve opened without")
            && told.contains("west: the valve opened without")
    })
    .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_reboots_in_mid_run_is_booked_as_it_was_and_closed_in_time() {
    let mut rig = Rig::relays(COUNTING, ("30 s", "10 min"), &[]);
    let mut open_since = [None; 3];
    let mut cases = vec![
        (0, Position::Closed, Number::Zero),
        (1, Position::Closed, Number::Older),
        (2, Position::Open, Number::Older),
    ];
    let begun = Instant::now();
    while !cases.is_empty() {
        assert!(begun.elapsed() < 3 * PATIENCE, "not all watered");
        cases.retain(|&(zone, position, number)| {
            if rig.is_open(zone) {
                open_since[zone].get_or_insert(Instant::now());
            }
            let is_due = open_since[zone].is_some_and(|since| since.elapsed() > MAY_BE_LATE);
            if is_due {
                assert!(rig.is_open(zone), "the run is over already");
                rig.valves
                    .reboot(DeviceId::Zone(zone), Reboot { position, number });
            }
            !is_due
        });
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    rig.until("two runs over", |rig| {
        rig.daemon.said().matches("cause=ClosedItself").count() == 2
    })
    .await;
    rig.until("closed", |rig| !rig.is_open(2)).await;
    assert!(rig.late_s(2).abs() < 1.0, "{}", rig.late_s(2));
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    let path = rig.path().join("soakmist.sqlite");
    let now = SystemClock.now();
    let mut store = Store::open(&path, &Opening::in_boot("another"), now).unwrap();
    let names = ["east", "west", "long"].map(str::to_owned);
    store.use_zones(&names, now).unwrap();
    for water in store.waterings(chrono::DateTime::UNIX_EPOCH).unwrap() {
        let zone = water.zone.unwrap();
        let truth = rig.valve(zone, |valve| valve.longest());
        let slack = Duration::from_millis(500);
        assert!(
            water.applied.least <= truth + slack && truth <= water.applied.most + slack,
            "zone {zone}: open for {truth:?}, booked {:?}",
            water.applied
        );
        if zone < 2 {
            assert_eq!(water.cause, FinishCause::ClosedItself);
            assert_eq!(water.applied.least, Duration::ZERO);
            assert!(truth < Duration::from_secs(15), "zone {zone}: {truth:?}");
        }
    }
}
