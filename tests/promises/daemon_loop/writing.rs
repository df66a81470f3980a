//! The order of writing and sending on a disk that is slow: what waits is
//! written together, nothing opens before it is durable, and closings wait
//! for nothing.

use std::time::Duration;

use chrono::TimeDelta;
use soakmist::daemon::{Action, Answer, Desk, Effect, Ticket, Turn};
use soakmist::store::Entry;
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
    desk.accept(openings(1..6000, at(2)), at(2));
    // Repetitions of what waits add nothing.
    for _ in 0..3 {
        let repeated = openings(1..6000, at(3)).into_iter();
        let repeated = repeated.filter(|action| matches!(action, Action::Publish { .. }));
        desk.accept(repeated.collect(), at(3));
    }
    let (effects, turn) = desk.tick(at(4));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Failed));
    assert_eq!(desk.tick(at(5)).1, None, "it is said once");
    // At last it does: what was written late opens nothing.
    let (effects, turn) = desk.written(true, at(6));
    assert_eq!(sorted(&effects), (vec![5999], vec![], vec![]));
    assert_eq!(turn, Some(Turn::Recovered));
    let (effects, _) = desk.written(true, at(7));
    assert_eq!(sorted(&effects), (vec![], vec![], vec![]));
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
