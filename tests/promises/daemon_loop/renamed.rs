//! A zone that gets another name in the site file keeps its history where
//! the file says what it was called before.

use chrono::{DateTime, TimeDelta};
use soakmist::daemon::{Memory, Request};
use soakmist::site::load;
use soakmist::store::{Entry, Ledger, RecordKind};
use soakmist::valve::{JournalEntry, MeterFlow};

use super::world::{World, text, utc, weather};

const SOWN: &str = "2026-08-22 16:00";

/// A week on the beds, with a record and a learned flow of the first.
fn a_week() -> World {
    let site = load(&text(SOWN), "beds.toml").unwrap().site;
    let start = utc("2026-08-21T12:00:00Z");
    let mut world = World::new(site, start, weather(utc("2026-08-10T04:00:00Z"), 40));
    world.run_for(TimeDelta::days(6));
    world.ask(Request::Record {
        zone: Some("east".into()),
        what: RecordKind::Emerged,
        note: String::new(),
    });
    let flow = MeterFlow::from_ml_per_min(19_300);
    let learned = Entry::Valve(JournalEntry::Learned { zone: 0, flow });
    let now = world.now;
    world
        .store
        .as_mut()
        .unwrap()
        .write(&[learned], now)
        .unwrap();
    world.run_for(TimeDelta::days(1));
    while !world.all_closed() {
        world.run_for(TimeDelta::minutes(1));
    }
    world.run_for(TimeDelta::minutes(5));
    world
}

/// What is known of the first bed, once a plan was made.
fn picture(world: &mut World) -> (Option<f64>, String, usize, usize, u32) {
    world.run_for(TimeDelta::minutes(1));
    let status = world.control.status();
    let zone = &status.zones[0];
    let store = world.store.as_ref().unwrap();
    let waterings = store.waterings(DateTime::UNIX_EPOCH).unwrap();
    let records = store.records(DateTime::UNIX_EPOCH).unwrap();
    let learned = store.recovery(world.now).unwrap().learned;
    (
        zone.depletion_mm,
        format!("{:?} {:?}", zone.stage, zone.last_water),
        waterings.iter().filter(|w| w.zone == Some(0)).count(),
        records.iter().filter(|r| r.zone == Some(0)).count(),
        learned.first().map_or(0, |(_, flow)| flow.ml_per_min()),
    )
}

fn renamed(lines: &str) -> String {
    text(SOWN).replace("name = \"east\"", lines)
}

fn after(file: &str) -> (Option<f64>, String, usize, usize, u32) {
    let mut world = a_week();
    world.restart_as(load(file, "beds.toml").unwrap().site);
    picture(&mut world)
}

#[test]
fn a_renamed_zone_keeps_its_history_where_the_file_says_so() {
    let same = after(&text(SOWN));
    assert!(same.2 > 5 && same.3 == 1 && same.4 == 19_300, "{same:?}");
    let named = renamed("name = \"sunrise\"\nformerly = [\"dawn\", \"east\"]");
    assert_eq!(after(&named), same);
    // Without the word it is another zone, as the page says.
    let other = after(&renamed("name = \"sunrise\""));
    assert_eq!((other.2, other.3, other.4), (0, 0, 0));
    assert_ne!(other.0, same.0);
}

#[test]
fn the_word_may_come_later_and_a_second_name_takes_everything_along() {
    let mut straight = a_week();
    straight.restart_as(load(&text(SOWN), "beds.toml").unwrap().site);
    straight.run_for(TimeDelta::hours(2));
    let (_, _, waterings, records, flow) = picture(&mut straight);

    let mut world = a_week();
    // First forgotten: for two hours it is a zone without a past.
    for (lines, span) in [
        ("name = \"sunrise\"", TimeDelta::hours(2)),
        (
            "name = \"dawn\"\nformerly = [\"sunrise\", \"east\"]",
            TimeDelta::zero(),
        ),
        ("name = \"morning\"\nformerly = \"dawn\"", TimeDelta::zero()),
    ] {
        world.restart_as(load(&renamed(lines), "beds.toml").unwrap().site);
        world.run_for(span);
    }
    let found = picture(&mut world);
    assert!(found.2 >= waterings, "{} of {waterings} waterings", found.2);
    assert_eq!((found.3, found.4), (records, flow));
    // And back: the file may go on naming what it was called in between.
    let back = "name = \"east\"\nformerly = [\"morning\", \"dawn\", \"sunrise\"]";
    world.restart_as(load(&renamed(back), "beds.toml").unwrap().site);
    let again = picture(&mut world);
    assert_eq!((again.2, again.3, again.4), (found.2, found.3, found.4));
}

#[test]
fn a_dry_run_sees_the_history_of_a_former_name_and_moves_none_of_it() {
    let same = after(&text(SOWN));
    let mut world = a_week();
    world.kill();
    let named = "name = \"sunrise\"\nformerly = [\"dawn\", \"east\"]";
    let site = load(&renamed(named), "beds.toml").unwrap().site;
    let mut store = world.open_state();
    let memory = Memory::look(&mut store, &site, world.now).unwrap();
    let mine = |zone: Option<usize>| zone == Some(0);
    assert!(memory.waterings.iter().filter(|w| mine(w.zone)).count() > 5);
    assert_eq!(memory.records.iter().filter(|r| mine(r.zone)).count(), 1);
    assert_eq!(memory.recovery.learned.len(), 1);
    assert!(memory.levels[0].is_some());
    drop(store);
    // The site file as it was finds everything in its place.
    world.restart_as(load(&text(SOWN), "beds.toml").unwrap().site);
    assert_eq!(picture(&mut world), same);
    let store = world.store.as_ref().unwrap();
    assert_eq!(
        store
            .gone_names(&["east", "west", "long"].map(String::from))
            .unwrap(),
        [""; 0]
    );
}
