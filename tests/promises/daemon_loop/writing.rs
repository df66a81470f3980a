//! The order of writing and sending on a disk that is slow: what waits is
//! written together, nothing opens before it is durable, and closings wait
//! for nothing.

use std::time::Duration;

use chrono::{DateTime, TimeDelta};
use soakmist::daemon::{Action, Answer, Desk, Effect, LetGo, Request, Ticket, Turn};
use soakmist::store::{Entry, Record, RecordKind};
use soakmist::valve::{Command, CommandId, DeviceId, JournalEntry, Moment, Position, RunId};

use super::world::{World, site, utc, weather};

const RUN_TIME: Duration = Duration::from_secs(90);
const VALID_FOR: Duration = Duration::from_secs(120);

fn at(second: u64) -> Moment {
    Moment::from_millis(1000 * second)
}

fn intent(number: u64, position: Position, now: Moment) -> Action {
    let opens = (position == Position::Open).then_some((RunId(number), RUN_TIME));
    Action::Write(Entry::Valve(JournalEntry::Intent {
        id: CommandId(number),
        device: device(number),
        opens,
        position,
        at: now,
    }))
}

fn device(number: u64) -> DeviceId {
    DeviceId::Zone(usize::try_from(number).unwrap())
}

/// An opening as the supervisor decides it: first the journal, then the valve.
fn opening(number: u64, now: Moment) -> [Action; 2] {
    let open = Action::Publish {
        device: device(number),
        id: CommandId(number),
        command: Command::Open {
            run_time: RUN_TIME,
            valid_for: VALID_FOR,
        },
    };
    [intent(number, Position::Open, now), open]
}

/// A closing: first the valve.
fn closing(number: u64, of: u64, now: Moment) -> [Action; 2] {
    let close = Action::Publish {
        device: device(of),
        id: CommandId(number),
        command: Command::Close,
    };
    [close, intent(number, Position::Closed, now)]
}

fn openings(numbers: std::ops::Range<u64>, now: Moment) -> Vec<Action> {
    numbers.flat_map(|number| opening(number, now)).collect()
}

/// The sizes of the writes, the devices that are opened, those that are closed.
fn sorted(effects: &[Effect]) -> (Vec<usize>, Vec<DeviceId>, Vec<DeviceId>) {
    let mut found = (Vec::new(), Vec::new(), Vec::new());
    for effect in effects {
        match effect {
            Effect::Write(entries) => found.0.push(entries.len()),
            Effect::Send {
                device,
                command: Command::Close,
                ..
            } => found.2.push(*device),
            Effect::Send { device, .. } => found.1.push(*device),
            Effect::Do(_) => {}
        }
    }
    found
}

fn devices(numbers: std::ops::Range<u64>) -> Vec<DeviceId> {
    numbers.map(device).collect()
}

#[test]
fn a_thousand_openings_due_at_once_are_written_together_before_any_is_sent() {
    let mut desk = Desk::default();
    let effects = desk.accept(openings(0..1000, at(1)), at(1));
    assert_eq!(sorted(&effects), (vec![1000], vec![], vec![]));
    let (effects, turn) = desk.written(true, at(2));
    assert_eq!(sorted(&effects), (vec![], devices(0..1000), vec![]));
    assert_eq!(turn, None);
    assert!(desk.is_clear());
}

#[test]
fn what_comes_while_the_disk_works_is_the_next_write_and_waits_for_that() {
    let mut desk = Desk::default();
    let first = desk.accept(openings(0..1, at(1)), at(1));
    assert_eq!(sorted(&first).0, [1]);
    for number in 1..500 {
        let effects = desk.accept(openings(number..number + 1, at(1)), at(1));
        assert_eq!(sorted(&effects), (vec![], vec![], vec![]), "{number}");
    }
    let (effects, _) = desk.written(true, at(2));
    assert_eq!(sorted(&effects), (vec![499], devices(0..1), vec![]));
    let (effects, _) = desk.written(true, at(3));
    assert_eq!(sorted(&effects), (vec![], devices(1..500), vec![]));
}

#[test]
fn a_closing_overtakes_a_write_and_takes_the_waiting_opening_with_it() {
    let mut desk = Desk::default();
    desk.accept(openings(0..3, at(1)), at(1));
    desk.accept(openings(3..5, at(1)), at(1));
    let now = at(2);
    let closings = [closing(10, 1, now), closing(11, 4, now)];
    let effects = desk.accept(closings.into_iter().flatten().collect(), now);
    assert_eq!(
        sorted(&effects),
        (vec![], vec![], vec![device(1), device(4)])
    );
    let (effects, _) = desk.written(true, at(3));
    let sent = vec![device(0), device(2)];
    assert_eq!(sorted(&effects), (vec![4], sent, vec![]));
    let (effects, _) = desk.written(true, at(4));
    assert_eq!(sorted(&effects), (vec![], vec![device(3)], vec![]));
}

#[test]
fn when_a_write_fails_nothing_of_it_opens_nor_what_waited_behind_it() {
    let mut desk = Desk::default();
    desk.accept(openings(0..1000, at(1)), at(1));
    desk.accept(openings(1000..1100, at(1)), at(1));
    let (effects, turn) = desk.written(false, at(2));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Failed));
    // Then everything is closed, at once; that is kept for the disk.
    let closings = (0..3).flat_map(|zone| closing(2000 + zone, zone, at(2)));
    let effects = desk.accept(closings.collect(), at(2));
    assert_eq!(sorted(&effects), (vec![], vec![], devices(0..3)));
    let (effects, _) = desk.tick(at(60));
    assert_eq!(sorted(&effects).0, [3], "the closings, and no opening");
    let (effects, turn) = desk.written(true, at(61));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Recovered));
}

#[test]
fn an_opening_that_waited_for_the_disk_opens_for_what_is_left_or_not_at_all() {
    let mut desk = Desk::default();
    desk.accept(openings(0..2, at(100)), at(100));
    desk.accept(openings(2..4, at(130)), at(130));
    let (effects, _) = desk.written(true, at(160));
    let left = |effects: &[Effect]| -> Vec<u64> {
        let sent = effects.iter().filter_map(|effect| match effect {
            Effect::Send {
                command: Command::Open { run_time, .. },
                ..
            } => Some(run_time.as_secs()),
            _ => None,
        });
        sent.collect()
    };
    assert_eq!(left(&effects), [30, 30]);
    let (effects, _) = desk.written(true, at(221));
    assert!(left(&effects).is_empty(), "their 90 s were over by then");
}

#[test]
fn a_person_is_answered_when_what_they_asked_for_is_on_the_disk() {
    let answer = |ticket| Action::Answer(Ticket(ticket), Answer::Done(String::new()));
    let is_answer = |effect: &Effect| matches!(effect, Effect::Do(Action::Answer(..)));
    let mut desk = Desk::default();
    let mut actions = openings(0..2, at(1));
    actions.push(answer(1));
    actions.extend(opening(2, at(1)));
    actions.push(answer(2));
    let effects = desk.accept(actions, at(1));
    assert_eq!(effects.iter().filter(|effect| is_answer(effect)).count(), 0);
    let (effects, _) = desk.written(true, at(2));
    assert_eq!(effects.iter().filter(|effect| is_answer(effect)).count(), 2);
    assert_eq!(sorted(&effects).1, devices(0..3));
}

#[test]
fn a_disk_that_never_gets_done_closes_everything_and_fills_no_memory() {
    let mut desk = Desk::default();
    desk.accept(openings(0..1, at(1)), at(1));
    desk.accept(openings(1..4000, at(2)), at(2));
    // Repetitions of what waits add nothing.
    for _ in 0..3 {
        let repeated = openings(1..4000, at(3)).into_iter();
        let repeated = repeated.filter(|action| matches!(action, Action::Publish { .. }));
        desk.accept(repeated.collect(), at(3));
    }
    assert_eq!(desk.tick(at(3)).1, None, "that much may wait");
    desk.accept(openings(4000..6000, at(3)), at(3));
    assert_eq!(desk.next_due(), Some(Moment::default()), "at once");
    let (effects, turn) = desk.tick(at(4));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Failed));
    assert_eq!(desk.tick(at(5)).1, None, "it is said once");
    // At last it does. No opening of before is sent, nor written: it never was.
    let (effects, turn) = desk.written(true, at(6));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Recovered));
}

fn rain(number: u16) -> Record {
    Record {
        zone: None,
        kind: RecordKind::Rain {
            depth_mm: f64::from(number),
        },
        at: utc("2026-08-24T15:00:00Z"),
        note: String::new(),
    }
}

/// A person has recorded rain.
fn recorded(number: u16) -> [Action; 2] {
    let answer = Answer::Done("the whole site: recorded".to_owned());
    [
        Action::Write(Entry::Record(rain(number))),
        Action::Answer(Ticket(number.into()), answer),
    ]
}

/// What people are told: done, or why not.
fn told(effects: &[Effect]) -> Vec<Result<&str, &str>> {
    let told = effects.iter().filter_map(|effect| match effect {
        Effect::Do(Action::Answer(_, Answer::Done(text))) => Some(Ok(text.as_str())),
        Effect::Do(Action::Answer(_, Answer::Refused(text))) => Some(Err(text.as_str())),
        _ => None,
    });
    told.collect()
}

fn written(effects: &[Effect]) -> Vec<Entry> {
    let writes = effects.iter().filter_map(|effect| match effect {
        Effect::Write(entries) => Some(entries.clone()),
        _ => None,
    });
    writes.flatten().collect()
}

#[test]
fn nobody_is_told_that_something_is_done_which_could_not_be_written() {
    let mut desk = Desk::default();
    let mut effects = desk.accept(recorded(1).into(), at(1));
    effects.extend(desk.accept(recorded(2).into(), at(1)));
    assert_eq!(told(&effects), []);
    // Both the one whose write fails and the one that waits behind it.
    let (effects, turn) = desk.written(false, at(2));
    assert_eq!(turn, Some(Turn::Failed));
    let words = told(&effects);
    assert_eq!(words.len(), 2);
    for word in words {
        let text = word.unwrap_err();
        assert!(text.starts_with("the whole site: recorded. "), "{text}");
        assert!(text.contains("cannot be written down"), "{text}");
        assert!(text.contains("the disk is full or broken"), "{text}");
        assert!(text.contains("forgotten if soakmist ends"), "{text}");
    }
    // While it lasts, and while it is tried again.
    assert!(told(&desk.accept(recorded(3).into(), at(3)))[0].is_err());
    let (effects, _) = desk.tick(at(7));
    assert_eq!(written(&effects).len(), 3);
    assert!(told(&desk.accept(recorded(4).into(), at(7)))[0].is_err());
    // What asks for nothing to be kept is answered all the same.
    let answer = Answer::Done("no alarm waits for a person".to_owned());
    let effects = desk.accept(vec![Action::Answer(Ticket(9), answer)], at(7));
    assert!(told(&effects)[0].is_ok());
    // All of it is written in the end, once and in its order.
    let (effects, turn) = desk.written(true, at(8));
    assert_eq!(turn, None, "the fourth is still to be written");
    assert_eq!(written(&effects), [Entry::Record(rain(4))]);
    assert_eq!(desk.written(true, at(8)).1, Some(Turn::Recovered));
    let effects = desk.accept(recorded(5).into(), at(9));
    assert_eq!(written(&effects).len(), 1);
    assert_eq!(
        told(&desk.written(true, at(9)).0),
        [Ok("the whole site: recorded")]
    );
}

#[test]
fn a_person_who_waters_by_hand_is_told_when_the_disk_lets_nothing_open() {
    let mut desk = Desk::default();
    let mut actions = Vec::from(opening(1, at(1)));
    actions.push(Action::Answer(
        Ticket(1),
        Answer::Done("square: watering".into()),
    ));
    assert_eq!(told(&desk.accept(actions, at(1))), []);
    let (effects, _) = desk.written(false, at(2));
    let text = told(&effects)[0].unwrap_err();
    assert!(text.starts_with("nothing is opened"), "{text}");
    assert_eq!(sorted(&effects).1, []);
}

#[test]
fn of_too_much_that_cannot_be_written_what_people_said_goes_last() {
    let mut desk = Desk::default();
    desk.accept(recorded(0).into(), at(1));
    desk.written(false, at(1));
    for number in 0..12_000 {
        desk.accept(closing(number, 1, at(2)).into(), at(2));
    }
    desk.accept(recorded(1).into(), at(2));
    let (effects, _) = desk.tick(at(60));
    let entries = written(&effects);
    assert_eq!(entries.len(), 10_000);
    assert_eq!(entries.first(), Some(&Entry::Record(rain(0))));
    assert_eq!(entries.last(), Some(&Entry::Record(rain(1))));
    // What went is counted, also afterwards.
    let gone = LetGo {
        traces: 2_002,
        ..LetGo::default()
    };
    assert_eq!((desk.let_go(), desk.unwritten()), (gone, 10_000));
    desk.written(true, at(61));
    assert_eq!((desk.let_go(), desk.unwritten()), (gone, 0));
}

#[test]
fn a_write_that_does_not_end_has_failed_and_when_it_ends_late_is_not_done_twice() {
    for is_done in [true, false] {
        let mut desk = Desk::default();
        let mut actions = Vec::from(recorded(1));
        actions.extend(opening(1, at(1)));
        desk.accept(actions, at(1));
        desk.accept(recorded(2).into(), at(5));
        assert_eq!(desk.next_due(), Some(at(11)));
        let (effects, turn) = desk.tick(at(10));
        assert!((effects.is_empty(), turn) == (true, None));
        let (effects, turn) = desk.tick(at(11));
        assert_eq!(turn, Some(Turn::Failed));
        let words = told(&effects);
        assert_eq!(words.len(), 2);
        for word in words {
            assert!(word.unwrap_err().contains("the disk does not answer"));
        }
        // One write at a time, however long it takes; nothing to do till then.
        assert!(desk.accept(closing(9, 1, at(12)).into(), at(12)).len() == 1);
        assert_eq!(desk.next_due(), None);
        assert!(desk.tick(at(600)).0.is_empty());
        let (mut effects, mut turn) = desk.written(is_done, at(601));
        let mut expected = vec![Entry::Record(rain(2))];
        if !is_done {
            assert_eq!(written(&effects), []);
            (effects, turn) = desk.tick(at(606));
            // Without the opening, which was not sent.
            expected.insert(0, Entry::Record(rain(1)));
        }
        let [_, closing] = closing(9, 1, at(12));
        let Action::Write(closing) = closing else {
            panic!("a closing is written down");
        };
        expected.push(closing);
        assert_eq!(written(&effects), expected);
        assert_eq!(sorted(&effects).1, [], "its time is over");
        assert_eq!(turn, None);
        assert_eq!(desk.written(true, at(610)).1, Some(Turn::Recovered));
    }
}

#[test]
fn what_waits_behind_a_slow_write_has_waited_from_its_own_beginning() {
    let mut desk = Desk::default();
    desk.accept(openings(0..1, at(1)), at(1));
    desk.accept(openings(1..2, at(2)), at(2));
    // The first write ends just in time, the second begins with old things.
    desk.written(true, at(10));
    assert_eq!(desk.next_due(), Some(at(12)));
    assert_eq!(desk.tick(at(12)).1, Some(Turn::Failed));
}

#[test]
fn the_end_of_the_loop_waits_for_no_write() {
    let mut desk = Desk::default();
    desk.accept(recorded(1).into(), at(1));
    let stopped = Action::Stopped {
        unconfirmed: Vec::new(),
    };
    let effects = desk.accept(vec![stopped], at(2));
    assert!(matches!(effects[..], [Effect::Do(Action::Stopped { .. })]));
    assert!(
        !desk.is_clear(),
        "what is being written is waited for apart"
    );
}

#[test]
fn a_disk_that_hangs_is_blamed_and_not_the_valve() {
    for is_done in [true, false] {
        let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
        let sown = site("2026-08-22 16:00");
        let mut world = World::new(sown, utc("2026-08-24T15:00:00Z"), weather);
        while world.all_closed() {
            world.run_for(TimeDelta::seconds(20));
        }
        world.disk_hangs = true;
        world.ask_for(Request::Hold {
            zone: None,
            seconds: 120,
            note: "match".to_owned(),
        });
        assert!(world.all_closed(), "a closing waits for no disk");
        let before: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
        world.run_for(TimeDelta::seconds(11));
        let Some(Answer::Refused(why)) = world.answers.pop() else {
            panic!("told that it is done, or not told");
        };
        assert!(why.contains("no watering before"), "{why}");
        assert!(
            why.contains("cannot be written down: the disk does not answer"),
            "{why}"
        );
        let alarms = world.control.status().alarms;
        assert!(alarms.iter().any(|alarm| alarm.contains("the journal")));
        world.run_for(TimeDelta::hours(3));
        let alarms = world.control.status().alarms;
        assert_eq!(alarms.len(), 1, "{alarms:?}");
        let after: f64 = (0..3).map(|zone| world.open_s(zone)).sum();
        assert!((after - before).abs() < 1e-9, "opened without a journal");
        world.disk_answers(is_done);
        world.run_for(TimeDelta::hours(3));
        assert_eq!(world.control.status().alarms, [""; 0]);
        assert!((0..3).map(|zone| world.open_s(zone)).sum::<f64>() > after);
        let store = world.store.as_ref().unwrap();
        let records = store.records(DateTime::UNIX_EPOCH).unwrap();
        let holds = records.iter().filter(|record| record.note == "match");
        assert_eq!(holds.count(), 1);
        for zone in (0..3).filter(|zone| !world.is_open(*zone)) {
            let (open_s, (least, _, most)) = (world.open_s(zone), world.booked_s(zone));
            let is_true = least <= open_s + 1.0 && open_s <= most + 1.0;
            assert!(is_true, "zone {zone}: {open_s} s, {least} to {most}");
        }
    }
}

#[test]
fn a_word_on_a_full_disk_is_kept_in_memory_and_written_when_there_is_room() {
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let sown = site("2026-08-22 16:00");
    let mut world = World::new(sown, utc("2026-08-24T15:00:00Z"), weather);
    world.run_for(TimeDelta::minutes(5));
    world.disk_is_full = true;
    let hold = Request::Hold {
        zone: None,
        seconds: 86_400,
        note: "match".to_owned(),
    };
    let Answer::Refused(why) = world.ask(hold) else {
        panic!("told that it is done");
    };
    assert!(why.contains("the disk is full"), "{why}");
    let held = |world: &World| world.control.status().zones[0].held_until.is_some();
    assert!(held(&world), "it holds for now");
    world.run_for(TimeDelta::hours(1));
    world.disk_is_full = false;
    world.run_for(TimeDelta::seconds(10));
    world.kill();
    world.start();
    assert!(held(&world), "it was written when there was room");
}

#[test]
fn a_kill_between_a_write_and_what_waits_for_it_loses_no_water() {
    let mut kills = 0;
    for writes in 1..=16 {
        let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
        let mut world = World::new(
            site("2026-08-22 16:00"),
            utc("2026-08-24T15:00:00Z"),
            weather,
        );
        world.dies_after = Some(writes);
        world.run_for(TimeDelta::hours(3));
        kills += u32::from(!world.is_alive());
        world.start();
        for span in [TimeDelta::seconds(20), TimeDelta::hours(3)] {
            world.run_for(span);
            for zone in (0..3).filter(|zone| !world.is_open(*zone)) {
                let (open_s, (least, _, most)) = (world.open_s(zone), world.booked_s(zone));
                let is_true = least <= open_s + 1.0 && open_s <= most + 1.0;
                assert!(
                    is_true,
                    "write {writes}, zone {zone}: {open_s} s, {least} to {most}"
                );
            }
        }
    }
    assert!(kills > 12, "{kills} kills show nothing");
}
