//! Plans of past moments are made again from the state alone, byte for byte;
//! what a service says of the past by then changes nothing.

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::{GeoPosition, RawHour};
use soakmist::daemon::{Event, Request, Told};
use soakmist::site::load;
use soakmist::store::RecordKind;
use soakmist::weather::series::{MergeRules, SeriesHour, Source, SourceKind, merge};

use super::sensing::SENSORS;
use super::world::{World, text, utc, weather};

fn start() -> DateTime<Utc> {
    utc("2026-08-24T12:00:00Z")
}

fn world() -> World {
    let text = text("2026-08-22 16:00").replace("[all-zones]", SENSORS);
    let site = load(&text, "beds.toml").unwrap().site;
    let mut world = World::new(site, start(), weather(utc("2026-08-10T04:00:00Z"), 40));
    // From here on the service speaks, and what it says is another each hour.
    world.weather = Vec::new();
    world
}

/// What the service says at an hour: of the past and of the days to come, and
/// never twice the same.
fn service(world: &World, hour: u32) -> Source {
    let mood = f64::from(hour * 7 % 11) / 3.0;
    let mut hours = weather(utc("2026-08-10T04:00:00Z"), 40);
    let now = world.now.utc;
    hours.retain(|hour| (hour.start - now).abs() < TimeDelta::days(5));
    for hour in &mut hours {
        for reading in [&mut hour.air_temperature_c, &mut hour.solar_w_per_m2] {
            let reading = reading.as_mut().unwrap();
            reading.value *= 1.0 - mood / 10.0;
        }
        hour.rain_probability = Some(0.3);
    }
    Source {
        name: "open-meteo".to_owned(),
        kind: SourceKind::Service,
        received: Some(now),
        hours,
        earlier: Vec::new(),
    }
}

/// Gathers as the running daemon does.
fn gather(world: &mut World, hour: u32) {
    let place = GeoPosition::from(&world.site.place);
    let now = world.now.utc;
    let rules = MergeRules {
        from: now - TimeDelta::days(6),
        to: now + TimeDelta::days(6),
        now,
        oldest_forecast: MergeRules::OLDEST_FORECAST,
    };
    let frozen = world.control.frozen().hours();
    let mut hours = merge(&[service(world, hour)], &frozen, &place, &rules).hours;
    hours.retain(|hour| !hour.marks.is_empty());
    world.tell(Event::Weather(hours));
}

/// A station that measures the air, but not in every fifth hour.
fn measure(world: &mut World, hour: u32) {
    for step in 0..6 {
        let payload = format!(
            "{{\"air\":{:.1},\"soil\":{:.1}}}",
            21.0 + f64::from(hour % 9) + f64::from(step) / 10.0,
            19.0 + f64::from(step % 2) / 10.0
        );
        if hour % 5 != 4 {
            world.tell(Event::Sensor(Told {
                topic: "station".into(),
                payload: payload.into_bytes(),
                stored: false,
                received: world.now.moment,
            }));
        }
        world.run_for(TimeDelta::minutes(10));
    }
}

/// A plan to the last bit: floats are written so that they can be read back.
fn bytes(world: &mut World) -> Option<(DateTime<Utc>, String)> {
    // Not the very second of a plan of its own, whose balance would be another.
    world.run_for(TimeDelta::seconds(2));
    let is_quiet = world.all_closed() && world.status_is_quiet();
    let plan = world.plan();
    is_quiet.then(|| (plan.horizon.now, format!("{plan:?}")))
}

/// Shows where two plans part.
fn assert_same(again: &str, plan: &str, at: DateTime<Utc>) {
    let same = again.bytes().zip(plan.bytes()).take_while(|(a, b)| a == b);
    let from = same.count().saturating_sub(300);
    let part = |text: &str| text.chars().skip(from).take(700).collect::<String>();
    assert!(
        again == plan,
        "the plan of {at}: {}\n\n{}",
        part(again),
        part(plan)
    );
}

/// Three days with a person about; the plans of its quiet moments.
fn three_days(world: &mut World) -> Vec<(DateTime<Utc>, String)> {
    let mut plans = Vec::new();
    for hour in 0..72 {
        gather(world, hour);
        measure(world, hour);
        if hour == 20 {
            world.ask(Request::Record {
                zone: Some("east".to_owned()),
                what: RecordKind::HandWatered { depth_mm: 2.5 },
                note: String::new(),
            });
        }
        plans.extend(bytes(world));
        world.run_for(TimeDelta::seconds(2));
    }
    plans
}

#[test]
fn the_plan_of_a_past_moment_is_made_again_from_the_state_byte_for_byte() {
    let mut world = world();
    let plans = three_days(&mut world);
    assert!(plans.len() > 40, "{} quiet moments", plans.len());
    // Days later the service tells another past, and the daemon was restarted.
    for hour in 100..130 {
        gather(&mut world, hour);
        world.run_for(TimeDelta::hours(1));
    }
    world.kill();
    world.start();
    world.run_for(TimeDelta::hours(2));
    let mut distinct: Vec<&str> = Vec::new();
    for (at, plan) in &plans {
        let again = format!("{:?}", world.plan_of(*at));
        assert_same(&again, plan, *at);
        distinct.push(plan);
    }
    distinct.dedup();
    assert!(distinct.len() > 40, "plans differ from hour to hour");
}

#[test]
fn a_restart_gives_the_same_plan() {
    let mut world = world();
    for hour in 0..60 {
        gather(&mut world, hour);
        measure(&mut world, hour);
        if hour % 7 != 3 {
            continue;
        }
        let Some((_, before)) = bytes(&mut world) else {
            continue;
        };
        world.kill();
        world.start();
        let after = format!("{:?}", world.plan());
        assert_same(&after, &before, world.now.utc);
    }
}

#[test]
fn an_hour_that_is_over_stays_as_it_was_observed_whatever_is_said_later() {
    let mut world = world();
    three_days(&mut world);
    let day = (
        start() + TimeDelta::hours(2),
        start() + TimeDelta::hours(26),
    );
    let kept = |world: &World| -> Vec<SeriesHour> {
        let hours = world.control.frozen().hours().into_iter();
        let hours = hours.filter(|hour| (day.0..day.1).contains(&hour.hour.start));
        hours.collect()
    };
    let before = kept(&world);
    assert_eq!(before.len(), 24);
    let source = |hour: &SeriesHour| {
        let marks = hour.marks.values().map(|mark| mark.source.clone());
        marks.collect::<Vec<_>>()
    };
    assert!(source(&before[0]).contains(&"station-air".to_owned()));
    assert!(source(&before[0]).contains(&"open-meteo".to_owned()));
    for hour in 100..140 {
        gather(&mut world, hour);
        world.run_for(TimeDelta::minutes(30));
    }
    assert_eq!(kept(&world), before);
    // So after a restart, which reads them back.
    world.kill();
    world.start();
    assert_eq!(kept(&world), before);
    // And the plan stands on them.
    let store = world.store.as_ref().unwrap();
    let in_force: Vec<RawHour> = store.weather("in-force", day.0).unwrap();
    for (frozen, laid) in before.iter().zip(&in_force) {
        assert_eq!(frozen.hour.air_temperature_c, laid.air_temperature_c);
        assert_eq!(frozen.hour.wind_m_per_s, laid.wind_m_per_s);
    }
}

#[test]
fn an_hour_that_is_over_is_written_once_and_with_everything_else_of_its_hour() {
    let mut world = world();
    gather(&mut world, 0);
    measure(&mut world, 0);
    gather(&mut world, 1);
    // The hour is over, whatever its runs did to the ticks.
    world.run_for(TimeDelta::minutes(2));
    let before = world.writes.len();
    measure(&mut world, 1);
    gather(&mut world, 2);
    let frozen: Vec<usize> = world.writes[before..]
        .iter()
        .map(|entries| entries.iter().filter(|name| **name == "frozen").count())
        .filter(|count| *count > 0)
        .collect();
    // What the station measured, and then what the service adds to it.
    assert_eq!(frozen, [1, 1], "{:?}", &world.writes[before..]);
}
