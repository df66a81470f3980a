//! A clock that is wrong when the daemon starts: years ahead, as with an
//! empty battery, or in 1970. What people said and what the ground got
//! outlives it.

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::daemon::{Answer, Notice, Request};
use soakmist::simulator::Fault;
use soakmist::store::RecordKind;
use soakmist::valve::DeviceId;

use super::world::{World, site, utc, weather};

/// The zone of `match_day`.
const HELD: usize = 2;

/// A ground that has been watered for eight hours and is held in part, killed
/// while nothing runs.
fn match_day() -> World {
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let start = utc("2026-08-24T12:00:00Z");
    let mut world = World::new(site("2026-08-22 16:00"), start, weather);
    world.run_for(TimeDelta::hours(8));
    world.ask(Request::Record {
        zone: None,
        what: RecordKind::Rain { depth_mm: 3.0 },
        note: String::new(),
    });
    world.ask(Request::Hold {
        zone: Some("long".into()),
        seconds: 24 * 3600,
        note: "match day".into(),
    });
    for _ in 0..200 {
        if world.status_is_quiet() {
            break;
        }
        world.run_for(TimeDelta::seconds(30));
    }
    assert!(world.status_is_quiet());
    world.kill();
    // Only the state knows what the weather was.
    world.weather.clear();
    world
}

/// The machine boots, and its clock shows this.
fn boot(world: &mut World, shown: DateTime<Utc>) {
    world.boot += "+";
    world.now.utc = shown;
    world.start();
}

fn depletions(world: &World) -> Vec<f64> {
    let zones = world.plan().zones;
    zones.iter().map(|zone| zone.depletion_mm).collect()
}

/// What the state holds of weather, water and records.
fn kept(world: &World) -> (usize, usize, usize) {
    let store = world.store.as_ref().unwrap();
    let since = DateTime::UNIX_EPOCH;
    (
        store.weather("in-force", since).unwrap().len(),
        store.waterings(since).unwrap().len(),
        store.records(since).unwrap().len(),
    )
}

/// A ground whose clock was wrong stands as one whose clock was not.
fn assert_like(world: &World, sound: &World) {
    let status = world.control.status();
    assert_eq!(status.clock_problem, None);
    assert_eq!(status.alarms, Vec::<String>::new());
    let held = |world: &World| world.control.status().zones[HELD].held_until;
    assert!(held(sound).is_some());
    assert_eq!(held(world), held(sound), "the hold is gone");
    assert_eq!(kept(world), kept(sound), "something is gone");
    for (zone, (got, wanted)) in depletions(world).iter().zip(depletions(sound)).enumerate() {
        assert!(
            (got - wanted).abs() < 1e-6,
            "zone {zone}: depletion {got} mm, {wanted} mm without a wrong clock"
        );
    }
}

/// Two grounds: one boots by a wrong clock, which is set after a while; the
/// other is down for that long.
fn mended(shown: &str, after: TimeDelta) -> (World, World) {
    let mut worlds = [match_day(), match_day()];
    let right = worlds[0].now.utc + after;
    boot(&mut worlds[0], utc(shown));
    let opened: f64 = (0..3).map(|zone| worlds[0].open_s(zone)).sum();
    worlds[0].run_for(after);
    let now: f64 = (0..3).map(|zone| worlds[0].open_s(zone)).sum();
    assert!((now - opened).abs() < 1e-9, "watered by a wrong clock");
    let alarms = worlds[0].control.status().alarms;
    assert!(alarms.iter().any(|alarm| alarm.contains("the clock shows")));
    worlds[0].now.utc = right;
    worlds[0].run_for(TimeDelta::seconds(2));
    assert_eq!(worlds[0].anew, 1, "the state was not read again");
    worlds[1].run_for(after + TimeDelta::seconds(2));
    boot(&mut worlds[1], right + TimeDelta::seconds(2));
    for world in &mut worlds {
        // The first plan does not come at once.
        world.run_for(TimeDelta::seconds(20));
    }
    let [world, sound] = worlds;
    (world, sound)
}

#[test]
fn a_boot_years_ahead_changes_nothing_once_network_time_has_come() {
    let (mut world, mut sound) = mended("2036-01-01T00:00:10Z", TimeDelta::minutes(20));
    assert_like(&world, &sound);
    for world in [&mut world, &mut sound] {
        let right = world.now.utc;
        world.kill();
        boot(world, right);
        world.run_for(TimeDelta::seconds(20));
    }
    assert_like(&world, &sound);
    let before = world.open_s(0);
    world.run_for(TimeDelta::hours(22));
    assert!(world.open_s(0) > before, "it does not water");
    // Nor does a shadow of the other time lie on what was watered since.
    let last = world.control.status().zones[0].last_water.unwrap();
    assert!(last < world.now.utc && last > world.now.utc - TimeDelta::hours(22));
}

#[test]
fn a_boot_in_1970_keeps_weather_and_hold() {
    let (mut world, sound) = mended("1970-01-01T00:00:10Z", TimeDelta::minutes(20));
    assert_like(&world, &sound);
    let before = world.open_s(0);
    world.run_for(TimeDelta::hours(22));
    assert!(world.open_s(0) > before, "it does not water");
}

#[test]
fn days_lived_years_ahead_are_dated_right_when_the_clock_is_set() {
    let mut world = match_day();
    let right = world.now.utc + TimeDelta::days(3);
    boot(&mut world, utc("2036-01-01T00:00:10Z"));
    let weather_before = kept(&world).0;
    // Nobody sets it within the hour: perhaps it is right.
    world.run_for(TimeDelta::minutes(70));
    assert_eq!(world.control.status().clock_problem, None);
    world.kill();
    let later = world.now.utc;
    boot(&mut world, later);
    world.run_for(TimeDelta::days(3) - TimeDelta::minutes(70));
    let held = world.ask(Request::Hold {
        zone: Some("long".into()),
        seconds: 24 * 3600,
        note: String::new(),
    });
    assert!(matches!(held, Answer::Done(_)));
    let watered = world.open_s(0);
    assert!(watered > 0.0);
    world.now.utc = right;
    for _ in 0..200 {
        if world.anew >= 2 {
            break;
        }
        world.run_for(TimeDelta::seconds(30));
    }
    world.run_for(TimeDelta::minutes(1));
    let status = world.control.status();
    assert_eq!(status.clock_problem, None);
    assert!(kept(&world).0 >= weather_before, "weather is gone");
    let store = world.store.as_ref().unwrap();
    let waterings = store.waterings(DateTime::UNIX_EPOCH).unwrap();
    assert!(waterings.iter().all(|water| water.ended <= world.now.utc));
    let new = waterings
        .iter()
        .filter(|water| water.ended > right - TimeDelta::days(3));
    assert!(new.count() > 3, "water of those days is not of those days");
    // The hold that a person gave lasts a day, and not ten years.
    let held = status.zones[HELD].held_until.unwrap();
    assert!(
        held > right && held <= right + TimeDelta::hours(24),
        "{held}"
    );
    world.run_for(TimeDelta::hours(40));
    assert!(world.open_s(0) > watered, "it does not water");
    assert!(
        world
            .begun
            .iter()
            .any(|run| run.zone == HELD && run.at > held)
    );
}

#[test]
fn killed_years_ahead_it_says_so_afterwards_and_a_person_can_say_that_the_clock_is_right() {
    let mut world = match_day();
    let right = world.now.utc + TimeDelta::minutes(30);
    boot(&mut world, utc("2036-01-01T00:00:10Z"));
    let weather_before = kept(&world).0;
    world.run_for(TimeDelta::minutes(20));
    world.kill();
    boot(&mut world, right);
    world.run_for(TimeDelta::minutes(5));
    let alarms = world.control.status().alarms;
    assert!(
        alarms.len() == 1 && alarms[0].contains("last written at 2036"),
        "{alarms:?}"
    );
    let answer = world.ask(Request::Acknowledge);
    assert_eq!(answer, Answer::Done("1 acknowledged".into()));
    world.run_for(TimeDelta::seconds(30));
    assert_eq!(world.control.status().alarms, Vec::<String>::new());
    assert_eq!(kept(&world).0, weather_before);
    assert!(world.control.status().zones[HELD].held_until.is_some());
    let before = world.open_s(0);
    world.run_for(TimeDelta::hours(22));
    assert!(world.open_s(0) > before, "it does not water");
    // That was said once and for all.
    let now = world.now.utc;
    world.kill();
    boot(&mut world, now);
    assert_eq!(world.control.status().clock_problem, None);
}

/// The clock is set while something keeps the loop from beginning anew; what
/// is told of that, and how often it is logged.
fn waiting(hinder: impl Fn(&mut World), words: &str) -> World {
    let mut world = match_day();
    let right = world.now.utc + TimeDelta::minutes(20);
    boot(&mut world, utc("2036-01-01T00:00:10Z"));
    world.run_for(TimeDelta::minutes(10));
    hinder(&mut world);
    world.run_for(TimeDelta::minutes(10));
    world.told.clear();
    world.now.utc = right;
    world.run_for(TimeDelta::hours(2));
    assert_eq!(world.anew, 0);
    let alarms = world.control.status().alarms;
    let said = alarms
        .iter()
        .filter(|alarm| alarm.contains("the clock has become another"));
    let said: Vec<&String> = said.collect();
    assert!(said.len() == 1 && said[0].contains(words), "{alarms:?}");
    let logged = world.told.iter().filter(|notice| match notice {
        Notice::AnewWaits(what) => what == said[0],
        _ => false,
    });
    assert_eq!(logged.count(), 1, "{:?}", world.told);
    world
}

/// It goes on by itself, and says nothing more of it.
fn goes_on(mut world: World) {
    world.run_for(TimeDelta::minutes(5));
    assert!(world.anew >= 1, "the state was not read again");
    let alarms = world.control.status().alarms;
    assert_eq!(alarms, Vec::<String>::new());
    let before = world.open_s(0);
    world.run_for(TimeDelta::hours(22));
    assert!(world.open_s(0) > before, "it does not water");
}

#[test]
fn a_clock_that_is_set_while_the_broker_is_away_is_told_to_wait_for_it() {
    let mut world = waiting(|world| world.link(false), "waits for the broker");
    world.link(true);
    goes_on(world);
}

#[test]
fn a_clock_that_is_set_while_a_valve_is_faulted_is_told_to_wait_for_it() {
    let deaf = DeviceId::Zone(1);
    let mut world = waiting(
        |world| {
            world.valves.set_fault(deaf, Fault::Stuck);
            let told = world.valves.open_by_itself(deaf, world.now);
            world.hear(told);
        },
        "waits for west to confirm being closed",
    );
    world.valves.set_fault(deaf, Fault::None);
    goes_on(world);
}

#[test]
fn a_clock_that_is_set_while_a_run_is_in_progress_is_told_to_wait_for_its_end() {
    let mut world = match_day();
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    world.weather = weather;
    let right = world.now.utc;
    boot(&mut world, right);
    while world.all_closed() {
        world.run_for(TimeDelta::seconds(30));
    }
    world.set_clock(TimeDelta::hours(3));
    world.run_for(TimeDelta::seconds(2));
    assert!(!world.all_closed(), "no run is torn");
    let alarms = world.control.status().alarms;
    let says = |words: &str| alarms.iter().any(|alarm| alarm.contains(words));
    assert!(says("the end of the run in progress"), "{alarms:?}");
    world.run_for(TimeDelta::minutes(60));
    assert_eq!(world.anew, 1);
    assert_eq!(world.control.status().alarms, Vec::<String>::new());
}
