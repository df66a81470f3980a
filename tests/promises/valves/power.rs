//! Devices that lose power and come back, their numbers forgotten.

use soakmist::valve::{
    Action, Alarm, Command, CommandId, DeviceId, Event, FinishCause, Position, Report,
};

use super::bench::{Bench, practice_ground, seconds};

const ZONE: DeviceId = DeviceId::Zone(0);

/// What a device says after its start: the number of no command of ours.
fn after_boot(position: Position) -> Event {
    let echo = Some(CommandId(0));
    Event::Report(ZONE, Report { position, echo })
}

fn closings(bench: &Bench) -> usize {
    let told = bench.done.iter();
    let is_closing = |action: &&Action| {
        matches!(action, Action::Publish { device, command: Command::Close, .. }
            if *device == ZONE)
    };
    told.filter(is_closing).count()
}

#[test]
fn a_valve_that_comes_back_open_is_closed_whatever_number_it_gives() {
    let mut bench = Bench::started(practice_ground());
    bench.wait(seconds(60));
    bench.tell(after_boot(Position::Open));
    assert_eq!(closings(&bench), 1);
    assert!(bench.has_alarm(Alarm::OpenedItself(ZONE)));
}

#[test]
fn so_soon_after_a_closing_it_is_closed_again_without_an_alarm() {
    let mut bench = Bench::started(practice_ground());
    bench.order(0, seconds(60));
    bench.wait(seconds(61));
    bench.done.clear();
    // It may be a late one; or the device has come back and says so once.
    bench.tell(after_boot(Position::Open));
    assert_eq!(closings(&bench), 1);
    assert!(!bench.has_alarm(Alarm::OpenedItself(ZONE)));
    // Its own number of the closing is proof.
    let command = bench.supervisor.known().last_command;
    let echo = Some(command);
    let position = Position::Open;
    bench.tell(Event::Report(ZONE, Report { position, echo }));
    assert!(bench.has_alarm(Alarm::OpenedItself(ZONE)));
}

#[test]
fn a_valve_that_comes_back_closed_ends_its_run_and_books_nothing_as_certain() {
    let mut bench = Bench::started(practice_ground());
    let run = bench.order(0, seconds(40));
    bench.wait(seconds(14));
    bench.tell(after_boot(Position::Closed));
    let finished = bench.finished(run).expect("it was ended");
    assert_eq!(finished.cause, FinishCause::ClosedItself);
    assert_eq!(finished.applied.least, seconds(0));
    assert_eq!(finished.applied.estimate, seconds(7));
    assert_eq!(finished.applied.most, seconds(14));
}

#[test]
fn while_such_a_report_may_be_a_late_one_the_run_goes_on_with_nothing_certain() {
    let mut bench = Bench::started(practice_ground());
    let run = bench.order(0, seconds(40));
    bench.wait(seconds(5));
    bench.tell(after_boot(Position::Closed));
    assert!(bench.finished(run).is_none());
    bench.wait(seconds(60));
    let finished = bench.finished(run).expect("its time is up");
    assert_eq!(finished.applied.least, seconds(0));
    assert_eq!(finished.applied.most, seconds(40));
}
