//! Clocks that step, clocks that are wrong, summer time, lost connections.

use chrono::TimeDelta;
use soakmist::daemon::{Notice, Request};
use soakmist::store::{Entry, Ledger};

use super::world::{World, site, utc, weather};

fn world(start: &str) -> World {
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    World::new(site("2026-08-22 16:00"), utc(start), weather)
}

fn total_s(world: &World) -> f64 {
    (0..3).map(|zone| world.open_s(zone)).sum()
}

#[test]
fn a_clock_of_1970_waits_with_closed_valves_for_the_right_time() {
    let mut world = world("1970-01-01T00:00:10Z");
    world.run_for(TimeDelta::hours(5));
    assert!(total_s(&world).abs() < 1e-9);
    assert!(world.control.status().clock_problem.is_some());
    assert_eq!(world.control.status().phase, "running");
    world.now.utc = utc("2026-08-24T17:00:00Z");
    world.run_for(TimeDelta::hours(5));
    assert!(world.control.status().clock_problem.is_none());
    assert!(total_s(&world) > 0.0);
}

#[test]
fn a_clock_before_the_state_waits_after_a_restart() {
    let mut world = world("2026-08-24T15:00:00Z");
    world.run_for(TimeDelta::hours(8));
    world.kill();
    world.set_clock(TimeDelta::days(-200));
    world.start();
    let before = total_s(&world);
    world.run_for(TimeDelta::hours(3));
    assert!((total_s(&world) - before).abs() < 1e-9);
    assert!(world.control.status().clock_problem.is_some());
}

#[test]
fn a_clock_that_steps_three_hours_neither_lengthens_nor_repeats_a_run() {
    for step in [TimeDelta::hours(3), TimeDelta::hours(-3)] {
        let mut world = world("2026-08-24T13:00:00Z");
        for _ in 0..1000 {
            if !world.all_closed() {
                break;
            }
            world.run_for(TimeDelta::seconds(20));
        }
        let open: Vec<usize> = (0..3).filter(|zone| world.is_open(*zone)).collect();
        assert!(!open.is_empty());
        let ends = world.begun.last().unwrap().at + world.begun.last().unwrap().duration;
        let left = ends - world.now.utc;
        let zone = world.begun.last().unwrap().zone;
        world.set_clock(step);
        world.run_for(left - TimeDelta::seconds(10));
        assert!(world.is_open(zone), "{step}: closed early");
        world.run_for(TimeDelta::seconds(15));
        assert!(!world.is_open(zone), "{step}: open too long");
        let count = world.begun.len();
        world.run_for(TimeDelta::minutes(25));
        let again = world.begun[count..].iter().filter(|run| run.zone == zone);
        assert_eq!(again.count(), 0, "{step}: given twice");
        let is_set = |notice: &Notice| matches!(notice, Notice::ClockSet(_));
        assert!(world.told.iter().any(is_set));
        world.run_for(TimeDelta::hours(20));
        let planned: f64 = world
            .begun
            .iter()
            .map(|run| run.duration.as_seconds_f64())
            .sum();
        assert!((total_s(&world) - planned).abs() < 30.0 * 60.0);
    }
}

#[test]
fn both_changes_of_summer_time_pass_without_a_torn_or_doubled_run() {
    // New York: 8 March and 1 November 2026, at 07:00 and 06:00 UTC.
    for (sown, start) in [
        ("2026-03-06 10:00", "2026-03-05T12:00:00Z"),
        ("2026-10-30 10:00", "2026-10-29T12:00:00Z"),
    ] {
        let start = utc(start);
        let weather = weather(start - TimeDelta::days(10), 30);
        let mut world = World::new(site(sown), start, weather);
        world.run_for(TimeDelta::days(6));
        world.run_for(TimeDelta::hours(1));
        let planned: f64 = world
            .begun
            .iter()
            .map(|run| run.duration.as_seconds_f64())
            .sum();
        assert!(world.begun.len() > 10);
        assert!((total_s(&world) - planned).abs() < 0.005 * planned + 2.0);
        let missed = |notice: &&Notice| matches!(notice, Notice::Missed { .. });
        assert_eq!(world.told.iter().filter(missed).count(), 0);
    }
}

#[test]
fn a_lost_connection_misses_runs_and_the_zone_is_watered_for_it_afterwards() {
    let mut world = world("2026-08-24T15:00:00Z");
    world.run_for(TimeDelta::hours(1));
    world.link(false);
    world.run_for(TimeDelta::minutes(40));
    let before = total_s(&world);
    world.run_for(TimeDelta::hours(2));
    assert!((total_s(&world) - before).abs() < 1e-9);
    world.link(true);
    world.run_for(TimeDelta::minutes(30));
    assert!(total_s(&world) > before);
}

#[test]
fn starts_in_one_second_without_a_state_use_no_command_number_again() {
    let mut world = world("2026-08-24T15:00:00Z");
    world.run_for(TimeDelta::minutes(1));
    for _ in 0..20 {
        // The valve is open when everything is lost, and opens late.
        let zone = "east".into();
        world.ask(Request::Water {
            zone,
            seconds: 300,
            anyway: false,
        });
        world.run_for(TimeDelta::milliseconds(200));
        assert!(world.is_open(0));
        let last = world.sent.iter().max().copied().unwrap();
        world.sent.clear();
        world.lose_state();
        world.now.utc += TimeDelta::milliseconds(10);
        world.start();
        let first = world.sent.iter().min().copied().unwrap();
        assert!(first > last, "{first:?} after {last:?}");
        world.run_for(TimeDelta::milliseconds(600));
        // It ignores numbers below the last that it heard, and confirms none.
        assert_eq!(world.control.status().phase, "running");
    }
}

#[test]
fn old_details_are_forgotten_day_by_day_while_it_runs() {
    let mut world = world("2026-08-24T15:00:00Z");
    let old = |world: &mut World, days: i64| {
        let at = world.now.utc - TimeDelta::days(days);
        let hour = weather(at, 1).remove(0);
        let entry = Entry::Weather {
            source: "elsewhere".into(),
            seen: hour.start,
            hour,
        };
        let store = world.store.as_mut().unwrap();
        store.write(&[entry], world.now).unwrap();
    };
    let kept = |world: &World| {
        let since = world.now.utc - TimeDelta::days(1000);
        let store = world.store.as_ref().unwrap();
        store.weather("elsewhere", since).unwrap().len()
    };
    old(&mut world, 401);
    old(&mut world, 399);
    assert_eq!(kept(&world), 2);
    world.run_for(TimeDelta::hours(2));
    assert_eq!(kept(&world), 1, "what is older than 400 days");
    world.run_for(TimeDelta::days(2));
    assert_eq!(kept(&world), 0, "what has become so");
    // By a clock that was set a year ahead by mistake nothing is old at once.
    old(&mut world, 100);
    world.set_clock(TimeDelta::days(365));
    world.run_for(TimeDelta::minutes(30));
    assert_eq!(kept(&world), 1);
    world.set_clock(TimeDelta::days(-365));
    world.run_for(TimeDelta::days(2));
    assert_eq!(kept(&world), 1);
}
