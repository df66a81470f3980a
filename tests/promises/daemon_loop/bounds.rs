//! What the loop keeps of the past reaches back to the last levels of each
//! zone, and those follow the time whatever happens to the zone. The counts
//! that come of it are tested where they are kept (`field`, `outlook`).

use chrono::TimeDelta;
use soakmist::daemon::{Event, Request};
use soakmist::simulator::Fault;
use soakmist::store::RecordKind;
use soakmist::valve::DeviceId;
use soakmist::weather::frozen::Frozen;
use soakmist::weather::series::SeriesHour;

use super::world::{World, site, utc, weather};

/// Two days in which the past may still be corrected, six hours between two
/// levels, an hour between two plans, and a run.
const REACH: TimeDelta = TimeDelta::hours(48 + 6 + 1 + 1);

#[test]
fn levels_follow_the_time_in_zones_that_are_watered_held_or_faulted() {
    let start = utc("2026-08-24T12:00:00Z");
    let hours = weather(utc("2026-08-10T04:00:00Z"), 60);
    let mut world = World::new(site("2026-08-22 16:00"), start, hours);
    world.run_for(TimeDelta::hours(12));
    for day in 0..10 {
        match day {
            1 => {
                let hold = Request::Hold {
                    zone: Some("long".to_owned()),
                    seconds: 20 * 24 * 3600,
                    note: String::new(),
                };
                world.ask(hold);
            }
            5 => world.valves.set_fault(DeviceId::Zone(1), Fault::Deaf),
            _ => {}
        }
        for _ in 0..4 {
            world.ask(Request::Record {
                zone: None,
                what: RecordKind::Rain { depth_mm: 0.5 },
                note: String::new(),
            });
            world.run_for(TimeDelta::hours(6));
            world.tell(Event::Weather(world.told_now()));
        }
        if world.now.utc - start < REACH + TimeDelta::hours(12) {
            continue;
        }
        let store = world.store.as_ref().unwrap();
        for zone in 0..3 {
            let (at, _) = store.latest_balance(zone).unwrap().unwrap();
            let age = world.now.utc - at;
            assert!(age <= REACH, "day {day}, zone {zone}: {age}");
        }
    }
}

#[test]
fn of_the_hours_that_are_over_a_bounded_number_is_kept() {
    let start = utc("2026-01-01T00:00:00Z");
    let most = usize::try_from(Frozen::REACH.num_hours()).unwrap();
    let mut frozen = Frozen::default();
    for day in 0..120 {
        let now = start + TimeDelta::days(day);
        let told = weather(now - TimeDelta::days(1), 1).into_iter();
        let told = told.map(|hour| SeriesHour::told(hour, "the forecast", Some(now)));
        frozen.take(&told.collect::<Vec<_>>(), now);
        assert!(frozen.hours().len() <= most);
    }
    assert!(frozen.hours().len() > most - 24);
}
