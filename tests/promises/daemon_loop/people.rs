//! What people ask is done, and the plan goes on from it.

use chrono::TimeDelta;
use soakmist::daemon::{Answer, Notice, Request};
use soakmist::site::load;
use soakmist::store::RecordKind;

use super::world::{World, site, text, utc, weather};

/// Two days after sowing, around noon.
fn world() -> World {
    let start = utc("2026-08-24T15:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::new(site("2026-08-22 16:00"), start, weather);
    world.run_for(TimeDelta::hours(2));
    world
}

fn until_open(world: &mut World) -> usize {
    for _ in 0..600 {
        if let Some(zone) = (0..3).find(|zone| world.is_open(*zone)) {
            return zone;
        }
        world.run_for(TimeDelta::seconds(20));
    }
    panic!("nothing opens");
}

fn name(world: &World, zone: usize) -> String {
    world.site.zones[zone].name.clone()
}

fn is_done(answer: &Answer) -> bool {
    matches!(answer, Answer::Done(_))
}

#[test]
fn a_stop_closes_and_nothing_opens_there_for_an_hour() {
    let mut world = world();
    let zone = until_open(&mut world);
    let stop = Request::Stop {
        zone: Some(name(&world, zone)),
    };
    assert!(is_done(&world.ask(stop)));
    assert!(!world.is_open(zone));
    let before = world.open_s(zone);
    world.run_for(TimeDelta::minutes(59));
    assert!((world.open_s(zone) - before).abs() < 1e-9);
    world.run_for(TimeDelta::hours(6));
    assert!(world.open_s(zone) > before);
}

#[test]
fn a_hold_outlives_a_restart_and_resume_ends_it() {
    let mut world = world();
    let hold = Request::Hold {
        zone: None,
        seconds: 24 * 3600,
        note: "match day".into(),
    };
    assert!(is_done(&world.ask(hold)));
    assert!(world.all_closed());
    let before: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    world.run_for(TimeDelta::hours(1));
    world.kill();
    world.start();
    world.run_for(TimeDelta::hours(3));
    let after: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    assert!((before - after).abs() < 1e-9);
    assert!(is_done(&world.ask(Request::Resume { zone: None })));
    until_open(&mut world);
}

#[test]
fn of_two_holds_the_later_end_counts_and_the_answer_says_so() {
    let mut world = world();
    let hold = |hours: u32| Request::Hold {
        zone: None,
        seconds: hours * 3600,
        note: "match day".into(),
    };
    assert!(is_done(&world.ask(hold(24))));
    let end = utc("2026-08-25T17:00:00Z");
    let requests = [
        Request::Stop { zone: None },
        Request::Stop {
            zone: Some("east".into()),
        },
        hold(2),
    ];
    for request in requests {
        let Answer::Done(text) = world.ask(request) else {
            panic!("refused");
        };
        // 13:00 in New York.
        assert!(text.contains("Tue 25 Aug 13:00"), "{text}");
    }
    world.kill();
    world.start();
    let zones = world.control.status().zones;
    assert!(zones.iter().all(|zone| {
        zone.held_until
            .is_some_and(|until| (until - end).abs() < TimeDelta::minutes(1))
    }));
    let before: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    world.run_for(TimeDelta::hours(20));
    let after: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    assert!((before - after).abs() < 1e-9);
}

#[test]
fn water_now_opens_at_once_and_closes_by_itself() {
    let mut world = world();
    world.ask(Request::Hold {
        zone: None,
        seconds: 7200,
        note: "match day".into(),
    });
    world.run_for(TimeDelta::hours(1));
    let before = world.open_s(1);
    let water = |anyway| Request::Water {
        zone: "west".into(),
        seconds: 300,
        anyway,
    };
    let Answer::Refused(why) = world.ask(water(false)) else {
        panic!("watered in a hold");
    };
    assert!(
        why.contains("before") && why.contains("(match day)"),
        "{why}"
    );
    assert!(why.contains("--anyway") && !world.is_open(1), "{why}");
    let Answer::Done(told) = world.ask(water(true)) else {
        panic!("not watered anyway");
    };
    assert!(told.contains("though nothing is to water"), "{told}");
    assert!(world.is_open(1));
    assert!(!is_done(&world.ask(water(true))), "it is open already");
    world.run_for(TimeDelta::minutes(10));
    assert!((world.open_s(1) - before - 300.0).abs() < 1.0);
}

#[test]
fn what_cannot_be_is_refused_in_words() {
    let mut world = world();
    let far_too_long = Request::Water {
        zone: "west".into(),
        seconds: 7200,
        anyway: true,
    };
    let nobody = Request::Stop {
        zone: Some("weest".into()),
    };
    let flood = Request::Record {
        zone: None,
        what: RecordKind::Rain { depth_mm: 1e9 },
        note: String::new(),
    };
    for request in [far_too_long, nobody, flood] {
        let Answer::Refused(why) = world.ask(request) else {
            panic!("accepted");
        };
        assert!(!why.is_empty());
    }
}

/// The answer to watering `east` for a minute, in a site with more tables.
fn water_with(tables: &str, anyway: bool) -> Answer {
    let start = utc("2026-08-24T15:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let text = text("2026-08-22 16:00") + tables;
    let site = load(&text, "beds.toml").unwrap().site;
    let mut world = World::new(site, start, weather);
    let water = Request::Water {
        zone: "east".into(),
        seconds: 60,
        anyway,
    };
    for _ in 0..120 {
        world.run_for(TimeDelta::minutes(1));
        let answer = world.ask(water.clone());
        // What the valves forbid for now is no matter here.
        let is_passing = |why: &String| {
            let passing = ["since the start", "not closed", "rests", "supply cannot"];
            passing.iter().any(|passing| why.contains(passing))
        };
        match &answer {
            Answer::Refused(why) if is_passing(why) => {}
            _ => return answer,
        }
    }
    panic!("the valves are never free");
}

#[test]
fn a_person_is_told_what_speaks_against_watering_now() {
    assert!(is_done(&water_with("", false)));
    let ban = "[[rules.exception]]\nname = \"drought\"\nfrom = 2026-08-01\n\
               to = 2026-08-30\neffect = \"ban\"\n";
    let people = "[[quiet]]\nname = \"match\"\ndates = [\"2026-08-24\"]\nhours = \"09:00-18:00\"\n";
    for (tables, why) in [
        (ban, "watering is banned"),
        (people, "people are on the grass"),
        (
            "[rules]\nmost-per-day = \"1 L\"\n",
            "the most for a day is 1 L, of which",
        ),
        ("[rules]\nhours = [\"03:00-04:00\"]\n", "the watering rules"),
    ] {
        let Answer::Refused(told) = water_with(tables, false) else {
            panic!("watered: {why}");
        };
        assert!(told.contains(why), "{told}");
        let Answer::Done(told) = water_with(tables, true) else {
            panic!("not watered anyway: {why}");
        };
        assert!(told.contains(why), "{told}");
    }
}

#[test]
fn what_rests_and_what_is_too_long_says_until_when_and_how_long() {
    let mut world = world();
    let zone = until_open(&mut world);
    while !world.all_closed() {
        world.run_for(TimeDelta::seconds(20));
    }
    let water = |seconds| Request::Water {
        zone: name(&world, zone),
        seconds,
        anyway: true,
    };
    let (resting, too_long) = (water(60), water(100_000));
    let Answer::Refused(told) = world.ask(resting) else {
        panic!("did not rest");
    };
    assert!(told.contains("ask again from Mon 24 Aug"), "{told}");
    let Answer::Refused(told) = world.ask(too_long) else {
        panic!("opened for a day");
    };
    assert!(told.contains("longest run of the site, "), "{told}");
}

#[test]
fn nothing_is_up_on_the_day_of_sowing() {
    let start = utc("2026-08-22T22:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::new(site("2026-08-22 16:00"), start, weather);
    world.run_for(TimeDelta::minutes(10));
    for what in [RecordKind::Emerged, RecordKind::AllUp] {
        let Answer::Refused(why) = world.ask(Request::Record {
            zone: Some("east".into()),
            what,
            note: String::new(),
        }) else {
            panic!("taken in");
        };
        assert!(why.contains("sown on Sat 22 Aug"), "{why}");
    }
}

#[test]
fn a_slip_is_taken_back_and_stays_so_over_a_restart() {
    let mut world = world();
    let missing = |world: &World| world.control.status().zones[0].depletion_mm.unwrap();
    let record = |what| Request::Record {
        zone: Some("east".into()),
        what,
        note: String::new(),
    };
    // Nothing is added, but all is planned again.
    world.ask(record(RecordKind::HandWatered { depth_mm: 0.0 }));
    world.run_for(TimeDelta::seconds(5));
    let before = missing(&world);
    world.ask(record(RecordKind::HandWatered { depth_mm: 127.0 }));
    world.run_for(TimeDelta::seconds(5));
    assert!(missing(&world) < 0.5 * before, "{}", missing(&world));
    let back = Request::TakeBack { zone: None };
    let Answer::Done(told) = world.ask(back.clone()) else {
        panic!("not taken back");
    };
    assert!(
        told.contains("east: 127.0 mm watered by hand of Mon 24 Aug"),
        "{told}"
    );
    world.run_for(TimeDelta::seconds(5));
    assert!(
        (missing(&world) - before).abs() < 0.02,
        "{}",
        missing(&world)
    );
    world.kill();
    world.start();
    world.run_for(TimeDelta::minutes(2));
    assert!(
        (missing(&world) - before).abs() < 0.1,
        "{}",
        missing(&world)
    );
    assert!(is_done(&world.ask(back.clone())));
    assert!(!is_done(&world.ask(back)), "there is no third");
}

#[test]
fn water_from_a_can_puts_off_the_next_run() {
    let mut world = world();
    let next = |world: &World| {
        let status = world.control.status();
        status
            .runs
            .iter()
            .find(|run| run.zone == "east")
            .unwrap()
            .start
    };
    let before = next(&world);
    let record = Request::Record {
        zone: Some("east".into()),
        what: RecordKind::HandWatered { depth_mm: 4.0 },
        note: "with a can".into(),
    };
    assert!(is_done(&world.ask(record)));
    world.run_for(TimeDelta::seconds(5));
    assert!(next(&world) > before);
}

#[test]
fn recorded_emergence_moves_the_stage() {
    let mut world = world();
    let stage = |world: &World| world.control.status().zones[0].stage.clone().unwrap();
    assert_eq!(stage(&world), "germination");
    for (what, then) in [
        (RecordKind::Emerged, "emergence"),
        (RecordKind::AllUp, "establishment"),
    ] {
        world.ask(Request::Record {
            zone: Some("east".into()),
            what,
            note: String::new(),
        });
        world.run_for(TimeDelta::seconds(5));
        assert_eq!(stage(&world), then);
    }
}

#[test]
fn a_full_disk_closes_everything_and_watering_goes_on_when_there_is_room() {
    let mut world = world();
    let zone = until_open(&mut world);
    world.disk_is_full = true;
    world.run_for(TimeDelta::minutes(40));
    assert!(world.all_closed());
    let before: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    world.run_for(TimeDelta::hours(2));
    let after: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
    assert!((after - before).abs() < 1e-9, "opened without a journal");
    world.disk_is_full = false;
    world.run_for(TimeDelta::hours(2));
    assert!((0..3).map(|zone| world.open_s(zone)).sum::<f64>() > after);
    // What was not written then was written later; a run is when it is over.
    while !world.all_closed() {
        world.run_for(TimeDelta::minutes(1));
    }
    let (_, _, most) = world.booked_s(zone);
    assert!(most + 1.0 >= world.open_s(zone));
}

#[test]
fn without_any_weather_the_seed_is_watered_and_people_are_told() {
    let start = utc("2026-08-24T15:00:00Z");
    let mut world = World::new(site("2026-08-22 16:00"), start, Vec::new());
    world.run_for(TimeDelta::days(2));
    assert!((0..3).all(|zone| world.open_s(zone) > 600.0));
    let is_stale = |notice: &Notice| matches!(notice, Notice::WeatherStale(..));
    assert!(world.told.iter().any(is_stale));
    assert!(world.control.status().weather_problem.is_some());
}

#[test]
fn a_run_that_waits_for_the_pump_has_no_end_yet_and_then_one_that_stays() {
    let text = text("2026-08-22 16:00").replace(
        "L/min\" }\n\n[mqtt]",
        "L/min\", pump-start-delay = \"60 s\" }\n\n[mqtt]",
    );
    let pump = r#"
[mqtt.pump]
device = "bed-valve"
command-topic = "beds/pump/command"
state-topic = "beds/pump/state"

[[device]]"#;
    let text = text.replacen("\n[[device]]", pump, 1);
    let site = load(&text, "beds.toml").unwrap().site;
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::new(site, utc("2026-08-24T09:00:00Z"), weather);
    // The first run is due at once.
    let mut told = std::collections::BTreeMap::new();
    for _ in 0..180 {
        world.run_for(TimeDelta::seconds(1));
        let zone = world.control.status().zones.swap_remove(0);
        told.entry(zone.valve)
            .or_insert_with(std::collections::BTreeSet::new)
            .insert(zone.open_until);
    }
    let waiting = told.remove("waiting").expect("a wait for the pump");
    assert_eq!(waiting.into_iter().collect::<Vec<_>>(), [None]);
    let open = told.remove("open").unwrap();
    assert_eq!(open.len(), 1, "{open:?}");
    let ends = open.into_iter().next().flatten().unwrap();
    world.run_until(ends - TimeDelta::seconds(2));
    assert!(world.is_open(0));
    world.run_until(ends + TimeDelta::seconds(2));
    assert!(!world.is_open(0));
}
