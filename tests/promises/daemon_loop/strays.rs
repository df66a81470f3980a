//! A valve that was open when the daemon died, and that the site file does not
//! drive any more at the next start: told to close once, and named until a
//! person has looked.

use chrono::TimeDelta;
use soakmist::daemon::Request;
use soakmist::site::{Site, load};

use super::world::{World, text, utc, weather};
use crate::beds::DEVICE;

const SOWN: &str = "2026-08-22 16:00";

fn read(text: &str) -> Site {
    load(text, "beds.toml").unwrap().site
}

/// A site file without its first zone.
fn without_east(text: &str) -> String {
    let (before, zones) = text.split_once("[[zone]]").unwrap();
    let (_, others) = zones.split_once("[[zone]]").unwrap();
    format!("{before}[[zone]]{others}")
}

/// Beds that died while the first of them was being watered.
fn died_open(text: &str) -> World {
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::new(read(text), utc("2026-08-24T15:00:00Z"), weather);
    for _ in 0..10_000 {
        if world.is_open(0) {
            world.kill();
            return world;
        }
        world.run_for(TimeDelta::seconds(5));
    }
    panic!("it is never watered");
}

fn alarms(world: &World) -> Vec<String> {
    world.control.status().alarms
}

/// The number of the command in a closing of these beds.
fn number(payload: &str) -> u64 {
    let value: serde_json::Value = serde_json::from_str(payload).unwrap();
    assert_eq!(value["valve"], "close");
    value["id"].as_u64().unwrap()
}

#[test]
fn a_valve_of_a_zone_that_is_gone_is_closed_once_and_named_until_a_person_has_looked() {
    let mut world = died_open(&text(SOWN));
    let last = world.sent.iter().max().unwrap().0;
    let fewer = without_east(&text(SOWN));
    world.restart_as(read(&fewer));
    let [(topic, payload)] = world.strays.as_slice() else {
        panic!("{:?}", world.strays);
    };
    assert_eq!(topic, "beds/east/command");
    assert!(number(payload) > last, "a device may ignore older numbers");
    let named = alarms(&world);
    assert!(named[0].contains("the valve of east"), "{named:?}");
    assert!(named[0].contains("\"beds/east/command\""), "{named:?}");
    assert!(named[0].contains("look"), "{named:?}");
    // The connection comes and goes; others may use that topic by now.
    world.link(false);
    world.run_for(TimeDelta::seconds(5));
    world.link(true);
    world.run_for(TimeDelta::hours(2));
    assert_eq!(world.strays.len(), 1);
    assert!((0..2).any(|zone| world.open_s(zone) > 0.0), "others go on");
    // Nobody has looked: it is told again, once a start.
    world.kill();
    world.start();
    assert_eq!(world.strays.len(), 2);
    assert_eq!(alarms(&world), named);
    world.ask(Request::Acknowledge);
    assert_eq!(alarms(&world), [""; 0]);
    world.kill();
    world.start();
    assert_eq!(world.strays.len(), 2);
    assert_eq!(alarms(&world), [""; 0]);
}

#[test]
fn a_valve_that_is_driven_in_another_way_now_is_closed_in_the_old_one() {
    let mut world = died_open(&text(SOWN));
    let open = (0..3).filter(|zone| world.is_open(*zone));
    let names = open.map(|zone| world.site.zones[zone].name.clone());
    let expected: Vec<String> = names.map(|name| format!("beds/{name}/command")).collect();
    let moved = text(SOWN).replace("\"beds/{zone}/command\"", "\"board/{zone}/command\"");
    world.restart_as(read(&moved));
    let told = world.strays.iter();
    let topics: Vec<String> = told.map(|(topic, _)| topic.clone()).collect();
    assert_eq!(topics, expected);
    assert!(alarms(&world)[0].contains("the valve of east"));
    // Taken back before anybody looked: it is driven again, and all is well.
    world.restart_as(read(&text(SOWN)));
    assert_eq!(world.strays.len(), expected.len());
    assert_eq!(alarms(&world), [""; 0]);
}

#[test]
fn a_valve_that_is_still_driven_is_no_stray_under_whatever_name() {
    let mut world = died_open(&text(SOWN));
    world.kill();
    world.start();
    assert!(world.strays.is_empty());
    // On a relay board valves are known by their output.
    let device = DEVICE.replace("{zone}", "{channel}");
    let mut on_a_board = text(SOWN).replace(DEVICE, &device);
    for zone in ["east", "west", "long"] {
        let named = format!("name = \"{zone}\"");
        let valve = format!("{named}\nvalve = {{ channel = \"{zone}\" }}");
        on_a_board = on_a_board.replace(&named, &valve);
    }
    let mut world = died_open(&on_a_board);
    world.restart_as(read(
        &on_a_board.replace("name = \"east\"", "name = \"dawn\""),
    ));
    assert!(world.strays.is_empty(), "{:?}", world.strays);
    assert_eq!(alarms(&world), [""; 0]);
}

#[test]
fn a_master_valve_that_stood_open_is_looked_after_too() {
    let master = "[mqtt.master-valve]\ndevice = \"bed-valve\"\n\
                  command-topic = \"beds/main/command\"\nstate-topic = \"beds/main/state\"\n\n";
    let with = text(SOWN)
        .replace(
            "flow = \"45 L/min\"",
            "flow = \"45 L/min\", master-valve = true",
        )
        .replace("[all-zones]", &format!("{master}[all-zones]"));
    let other = with.replace("beds/main/", "beds/well/");
    let mut world = died_open(&with);
    world.restart_as(read(&other));
    let topics: Vec<&str> = world
        .strays
        .iter()
        .map(|(topic, _)| topic.as_str())
        .collect();
    assert_eq!(topics, ["beds/main/command"]);
    assert!(alarms(&world)[0].contains("the master valve was open"));
    // Closed and confirmed, it is none.
    let mut world = died_open(&with);
    world.start();
    while !world.all_closed() {
        world.run_for(TimeDelta::seconds(1));
    }
    world.run_for(TimeDelta::seconds(30));
    assert!(world.status_is_quiet(), "watering again already");
    world.restart_as(read(&other));
    assert!(world.strays.is_empty(), "{:?}", world.strays);
}
