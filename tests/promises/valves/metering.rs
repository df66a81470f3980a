//! What the flow meter shows and what follows.

use soakmist::valve::{
    Action, Alarm, Command, DeviceId, Event, FinishCause, JournalEntry, Meter, Recovery, Refusal,
};

use super::bench::{Bench, litres, practice_ground, seconds};

fn metered() -> Bench {
    let mut installation = practice_ground();
    installation.master = None;
    installation.meter = Some(Meter::new(seconds(1), litres(0.5)));
    Bench::started(installation)
}

#[test]
fn flow_with_everything_closed_is_a_leak_and_holds_all_until_it_stops() {
    let mut bench = metered();
    bench.read_meter(litres(3.0), seconds(40));
    assert!(bench.has_alarm(Alarm::Leak));
    let run = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(run), Some(Refusal::Alarm));
    bench.read_meter(litres(0.0), seconds(40));
    assert!(!bench.has_alarm(Alarm::Leak));
}

#[test]
fn a_burst_closes_and_keeps_the_zone_shut_until_a_person_has_looked() {
    let mut bench = metered();
    let run = bench.order(0, seconds(600));
    bench.read_meter(litres(45.0), seconds(30));
    assert!(bench.has_alarm(Alarm::Burst(0)));
    assert_eq!(
        bench.finished(run).map(|f| f.cause),
        Some(FinishCause::Escalated)
    );
    bench.read_meter(litres(0.0), seconds(120));
    let again = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(again), Some(Refusal::Alarm));
    let other = bench.order(1, seconds(60));
    assert_eq!(bench.refusal(other), None);
    bench.tell(Event::Acknowledge(Alarm::Burst(0)));
    let mended = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(mended), None);
}

#[test]
fn a_dry_supply_stops_and_low_flow_only_warns() {
    let mut bench = metered();
    let low = bench.order(0, seconds(600));
    bench.read_meter(litres(8.0), seconds(30));
    assert!(bench.has_alarm(Alarm::LowFlow(0)) && bench.finished(low).is_none());
    bench.read_meter(litres(20.0), seconds(20));
    assert!(!bench.has_alarm(Alarm::LowFlow(0)));
    bench.read_meter(litres(0.0), seconds(20));
    assert!(bench.has_alarm(Alarm::DrySupply) && bench.finished(low).is_some());
}

#[test]
fn a_silent_meter_is_named() {
    let mut bench = metered();
    bench.order(0, seconds(600));
    bench.wait(seconds(20));
    assert!(bench.has_alarm(Alarm::MeterSilent));
    bench.tell(Event::Flow(litres(20.0)));
    assert!(!bench.has_alarm(Alarm::MeterSilent));
}

#[test]
fn the_flow_of_a_zone_is_learned_within_bounds() {
    let mut bench = metered();
    let run = bench.order(0, seconds(120));
    bench.read_meter(litres(24.0), seconds(121));
    assert!(bench.finished(run).is_some());
    assert_eq!(bench.supervisor.known().flows.expected(0), litres(24.0));
    let learned = JournalEntry::Learned {
        zone: 0,
        flow: litres(24.0),
    };
    assert!(bench.done.contains(&Action::Journal(learned)));
    // What flows more than expected counts against the supply: 24 + 25 fit
    // into 50, and a zone whose flow creeps up further would not.
    assert_eq!(bench.supervisor.known().flows.most(0), litres(24.0));
}

#[test]
fn a_leak_that_stands_closes_all_again_with_pauses_growing_to_an_hour() {
    let mut bench = metered();
    let closings = |bench: &Bench| {
        let is_closing = |action: &&Action| {
            matches!(action, Action::Publish { device, command: Command::Close, .. }
                if *device == DeviceId::Zone(0))
        };
        bench.done.iter().filter(is_closing).count()
    };
    bench.read_meter(litres(3.0), seconds(50));
    assert_eq!(closings(&bench), 1);
    // 1, 3, 7, 15, 31 and 63 min after that.
    bench.read_meter(litres(3.0), seconds(7200 - 50));
    assert_eq!(closings(&bench), 7);
    bench.read_meter(litres(3.0), seconds(22 * 3600));
    assert!(
        (28..=29).contains(&closings(&bench)),
        "{}",
        closings(&bench)
    );
    assert!(bench.has_alarm(Alarm::Leak));
    // A new leak is answered at once.
    bench.read_meter(litres(0.0), seconds(40));
    bench.done.clear();
    bench.read_meter(litres(3.0), seconds(50));
    assert_eq!(closings(&bench), 1);
}

/// Zone 2 was learned to draw 37.5 of the 50 L/min, and is given 25.
fn with_a_meter_that_reads_high(supply: f64) -> Bench {
    let mut installation = practice_ground();
    installation.master = None;
    installation.supply = litres(supply);
    installation.meter = Some(Meter::new(seconds(1), litres(0.5)));
    let mut bench = Bench::new(installation);
    bench.tell(Event::Start(Recovery {
        learned: vec![(1, litres(37.5))],
        ..Recovery::default()
    }));
    bench.tell(Event::LinkUp);
    bench.wait(seconds(10));
    bench
}

#[test]
fn a_zone_that_is_learned_to_draw_more_than_the_supply_is_watered_alone() {
    let mut bench = with_a_meter_that_reads_high(30.0);
    let alone = bench.order(1, seconds(60));
    assert_eq!(bench.refusal(alone), None);
}

#[test]
fn a_zone_that_the_meter_keeps_shut_for_an_hour_is_an_alarm() {
    let mut bench = with_a_meter_that_reads_high(50.0);
    let beside = |bench: &mut Bench| {
        // 20 + 25 would fit, 20 + 37.5 do not.
        bench.order(0, seconds(60));
        let run = bench.order(1, seconds(60));
        assert_eq!(bench.refusal(run), Some(Refusal::Supply));
        bench.wait(seconds(1200));
    };
    for _ in 0..3 {
        beside(&mut bench);
        assert!(!bench.has_alarm(Alarm::NotFed(1)));
    }
    beside(&mut bench);
    assert!(bench.has_alarm(Alarm::NotFed(1)));
    let alone = bench.order(1, seconds(60));
    assert_eq!(bench.refusal(alone), None);
    assert!(!bench.has_alarm(Alarm::NotFed(1)));
}
