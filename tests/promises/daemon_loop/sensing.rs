//! What sensors say over the broker reaches weather, plan, balance, status.

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::Provenance;
use soakmist::balance::probe::Correction;
use soakmist::daemon::sensors::SensorNews;
use soakmist::daemon::{Event, Notice, Told};
use soakmist::site::{Site, load};
use soakmist::valve::Alarm;

use super::world::{World, text, utc, weather};

pub(super) const SENSORS: &str = r#"
[[sensor]]
name = "station-air"
measures = "air-temperature"
topic = "station"
pointer = "/air"
unit = "C"
every = "10 min"

[[sensor]]
name = "probe"
measures = "soil-moisture"
topic = "station"
pointer = "/soil"
unit = "%"
every = "10 min"
zone = "west"

[all-zones]
"#;

fn sensed() -> Site {
    let text = text("2026-08-22 16:00").replace("[all-zones]", SENSORS);
    load(&text, "beds.toml").unwrap().site
}

fn world() -> World {
    let start = utc("2026-08-24T12:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    World::new(sensed(), start, weather)
}

fn say(world: &mut World, payload: &str) {
    let told = Told {
        topic: "station".into(),
        payload: payload.as_bytes().to_vec(),
        stored: false,
        received: world.now.moment,
    };
    world.tell(Event::Sensor(told));
}

/// A reading every ten minutes, that goes a little up and down.
fn report(world: &mut World, hours: i64, payload: impl Fn(f64) -> String) {
    for index in 0..hours * 6 {
        let wobble = if index % 2 == 0 { 0.1 } else { -0.1 };
        say(world, &payload(wobble));
        world.run_for(TimeDelta::minutes(10));
    }
}

fn opened_s(world: &World) -> f64 {
    (0..3).map(|zone| world.open_s(zone)).sum()
}

fn kept(world: &World, hour: DateTime<Utc>) -> (f64, Provenance) {
    let hours = world.store.as_ref().unwrap().weather("in-force", hour);
    let hours = hours.unwrap();
    let reading = hours[0].air_temperature_c.unwrap();
    (reading.value, reading.provenance)
}

#[test]
fn what_a_thermometer_measured_reaches_the_plan_and_the_state() {
    let air = |celsius: f64| move |wobble: f64| format!("{{\"air\":{:.1}}}", celsius + wobble);
    let (mut cool, mut hot) = (world(), world());
    report(&mut cool, 8, air(12.0));
    report(&mut hot, 8, air(42.0));
    let (cool_s, hot_s) = (opened_s(&cool), opened_s(&hot));
    assert!(hot_s > 1.1 * cool_s, "{hot_s} s and {cool_s} s");
    let (celsius, provenance) = kept(&hot, utc("2026-08-24T13:00:00Z"));
    assert!((celsius - 42.0).abs() < 1e-9);
    assert_eq!(provenance, Provenance::Measured);
    assert!(
        hot.control
            .status()
            .alarms
            .iter()
            .all(|alarm| !alarm.contains("station-air"))
    );
}

#[test]
fn a_silent_thermometer_is_named_until_it_speaks_again() {
    let mut world = world();
    report(&mut world, 1, |wobble| {
        format!("{{\"air\":{:.1}}}", 20.0 + wobble)
    });
    let is_named = |world: &World| {
        let alarms = world.control.status().alarms;
        let words = "sensor station-air (air temperature) has been silent since 2026-08-24 12:50";
        alarms.iter().any(|alarm| alarm.starts_with(words))
    };
    assert!(!is_named(&world));
    world.run_for(TimeDelta::minutes(40));
    assert!(is_named(&world), "{:?}", world.control.status().alarms);
    world.run_for(TimeDelta::hours(3));
    say(&mut world, r#"{"air":20.5}"#);
    assert!(!is_named(&world));
    world.run_for(TimeDelta::minutes(1));
    let news = world.told.iter().filter_map(|notice| match notice {
        Notice::Sensor(news) if news.sensor() == "station-air" => Some(news),
        _ => None,
    });
    let news: Vec<&SensorNews> = news.collect();
    assert!(
        matches!(
            news.as_slice(),
            [SensorNews::Wrong(_), SensorNews::Right { .. }]
        ),
        "told once each: {news:?}"
    );
}

#[test]
fn while_the_broker_is_away_it_alone_is_named_and_no_sensor() {
    let mut world = world();
    let say = |world: &mut World, hours| {
        report(world, hours, |wobble| {
            format!(
                "{{\"air\":{:.1},\"soil\":{:.1}}}",
                20.0 + wobble,
                30.0 + wobble
            )
        });
    };
    say(&mut world, 1);
    world.link(false);
    world.run_for(TimeDelta::hours(5));
    let alarms = world.control.status().alarms;
    assert_eq!(alarms.len(), 1, "{alarms:?}");
    assert!(alarms[0].contains("broker is not connected"), "{alarms:?}");
    world.link(true);
    // The next readings of both are not due yet.
    world.run_for(TimeDelta::minutes(25));
    assert_eq!(world.control.status().alarms, Vec::<String>::new());
    let told = |world: &World| {
        let told = world.told.iter();
        let is_of_interest =
            |notice: &&Notice| matches!(notice, Notice::Sensor(_) | Notice::Alarm(Alarm::LinkDown));
        told.filter(is_of_interest).count()
    };
    assert_eq!(told(&world), 1, "{:?}", world.told);
    // Who says nothing while it can be heard is silent, once.
    world.run_for(TimeDelta::hours(2));
    assert_eq!(told(&world), 3);
    world.link(false);
    world.run_for(TimeDelta::hours(1));
    world.link(true);
    world.run_for(TimeDelta::hours(1));
    let sensors = world.told.iter();
    let sensors = sensors.filter(|notice| matches!(notice, Notice::Sensor(_)));
    assert_eq!(sensors.count(), 2, "silence is told once");
}

#[test]
fn what_a_stuck_thermometer_measured_is_left_to_the_next_forecast() {
    let mut world = world();
    report(&mut world, 14, |_| r#"{"air":42.0}"#.to_owned());
    let first = utc("2026-08-24T12:00:00Z");
    assert_eq!(kept(&world, first).1, Provenance::Estimated);
    let forecast = world.told_now();
    world.tell(Event::Weather(forecast));
    let (celsius, provenance) = kept(&world, first);
    assert!(celsius < 40.0);
    assert_eq!(provenance, Provenance::Forecast);
}

#[test]
fn readings_that_change_their_mind_each_second_fill_no_log() {
    let mut world = world();
    for index in 0..600 {
        say(
            &mut world,
            if index % 2 == 0 {
                r#"{"air":"?"}"#
            } else {
                r#"{"air":20.1}"#
            },
        );
        world.run_for(TimeDelta::seconds(1));
    }
    let told = world.told.iter();
    let told = told.filter(|notice| matches!(notice, Notice::Sensor(_)));
    assert!(told.count() <= 62);
}

type Made = (usize, DateTime<Utc>, Correction);

fn corrections(world: &World) -> Vec<Made> {
    let told = world.told.iter().filter_map(|notice| match notice {
        Notice::Corrected {
            zone,
            at,
            correction,
            ..
        } => Some((*zone, *at, *correction)),
        _ => None,
    });
    told.collect()
}

fn soil(wobble: f64) -> String {
    format!("{{\"soil\":{:.1}}}", 14.0 + wobble)
}

#[test]
fn a_probe_corrects_the_balance_of_its_zone_at_the_next_plan_of_each_hour() {
    let mut world = world();
    report(&mut world, 1, soil);
    assert_eq!(corrections(&world), [], "the hour has just ended");
    world.run_for(TimeDelta::minutes(2));
    let first = corrections(&world);
    assert_eq!(first.len(), 1);
    assert_eq!(first[0].1, utc("2026-08-24T13:00:00Z"));
    report(&mut world, 59, soil);
    let told = corrections(&world);
    assert!(
        (59..=60).contains(&told.len()),
        "one an hour: {}",
        told.len()
    );
    assert!(told.windows(2).all(|two| two[0].1 < two[1].1));
    for (zone, _, correction) in &told {
        assert_eq!(*zone, 1);
        assert!((correction.probe - 0.14).abs() < 1e-3);
        assert!(correction.added_mm <= 0.0);
    }
    let (first, last) = (told[0].2, told[told.len() - 1].2);
    assert!(first.added_mm < -1.0, "{}", first.added_mm);
    let aim = last.probe;
    assert!((last.balance - aim).abs() < 0.5 * (first.balance - aim).abs());
}

#[test]
fn what_a_probe_said_is_in_the_state_and_no_restart_forgets_it() {
    let mut heard = world();
    let mut deaf = world();
    report(&mut heard, 6, soil);
    deaf.run_for(TimeDelta::hours(6));
    heard.run_for(TimeDelta::minutes(2));
    let store = heard.store.as_ref().unwrap();
    let kept = store.probes(utc("2026-08-24T12:00:00Z"), heard.now.utc);
    let kept = kept.unwrap();
    assert_eq!(kept.len(), 6);
    assert!(
        kept.iter()
            .all(|hour| hour.zone == 1 && hour.sensor == "probe")
    );

    let states = |world: &World| world.plan().zones.clone();
    let before = states(&heard);
    let told = corrections(&heard).len();
    heard.kill();
    heard.start();
    heard.run_for(TimeDelta::seconds(1));
    let after = heard.plan();
    // The last is told again by the new life, those before are not.
    assert_eq!(corrections(&heard).len(), told + 1);
    assert_eq!(after.corrections.len(), 6);
    assert_eq!(after.zones[1].kept, before[1].kept);
    // Without them more water would be thought to be there.
    let added: f64 = after
        .corrections
        .iter()
        .map(|c| c.correction.added_mm)
        .sum();
    assert!(added < -3.0, "{added}");
    assert_eq!(deaf.plan().corrections, []);
}
