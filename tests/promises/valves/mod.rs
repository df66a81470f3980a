//! The valve supervisor, event by event: what a person reads in
//! `docs/valve-safety.md` and can try here.

mod bench;
mod metering;
mod power;

use std::sync::Arc;
use std::time::Duration;

use soakmist::valve::{
    Action, Actuation, Alarm, Begun, Command, CommandId, Device, DeviceId, Event, Feedback,
    FinishCause, JournalEntry, OpenOrder, OthersWhenFaulted, PumpDevice, Recovery, Refusal, RunId,
    Supervisor, UnfinishedRun,
};

use bench::{Bench, ECHO, practice_ground, seconds};

#[test]
fn nothing_opens_before_everything_is_confirmed_closed() {
    let mut bench = Bench::new(practice_ground());
    bench.deaf = vec![DeviceId::Zone(2)];
    bench.tell(Event::Start(Recovery::default()));
    bench.tell(Event::LinkUp);
    bench.wait(seconds(10));
    let run = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(run), Some(Refusal::NotReady));
    bench.wait(seconds(20));
    assert!(bench.has_alarm(Alarm::NotClosing(DeviceId::Zone(2))));
    // It is told on, and once it confirms all is well.
    bench.deaf.clear();
    bench.wait(seconds(61));
    assert!(bench.done.contains(&Action::Ready));
    assert!(!bench.has_alarm(Alarm::NotClosing(DeviceId::Zone(2))));
}

#[test]
fn a_start_without_a_broker_is_one_alarm() {
    let mut bench = Bench::new(practice_ground());
    bench.tell(Event::Start(Recovery::default()));
    bench.wait(seconds(3600));
    let alarms: Vec<_> = bench.supervisor.known().alarms.iter().collect();
    assert_eq!(alarms, [Alarm::LinkDown]);
}

#[test]
fn a_run_is_written_down_before_it_opens_and_closes_at_its_deadline() {
    let mut bench = Bench::started(practice_ground());
    let run = bench.order(1, seconds(90));
    bench.wait(seconds(200));
    let written = bench.place(|action| {
        matches!(action, Action::Journal(JournalEntry::Intent { opens: Some((r, _)), .. }) if *r == run)
    });
    let opened = bench.opened(DeviceId::Zone(1));
    let master = bench.opened(DeviceId::Master);
    assert!(written < opened && master < written && master.is_some());
    let finished = bench.finished(run).expect("it has ended");
    assert_eq!(finished.cause, FinishCause::Deadline);
    assert_eq!(finished.applied.least, seconds(90));
    assert_eq!(finished.applied.most, seconds(90));
}

#[test]
fn an_order_that_is_too_old_or_was_given_before_opens_nothing() {
    let mut bench = Bench::started(practice_ground());
    let order = OpenOrder {
        run: RunId(7),
        zone: 0,
        duration: seconds(60),
        issued: bench.now,
        valid_for: seconds(30),
    };
    bench.wait(seconds(30));
    bench.tell(Event::Open(order));
    assert_eq!(bench.refusal(RunId(7)), Some(Refusal::Late));
    let order = OpenOrder {
        issued: bench.now,
        ..order
    };
    bench.tell(Event::Open(order));
    bench.wait(seconds(300));
    bench.done.clear();
    let again = OpenOrder {
        issued: bench.now,
        ..order
    };
    bench.tell(Event::Open(again));
    assert_eq!(bench.refusal(RunId(7)), Some(Refusal::GivenBefore));
    assert_eq!(bench.opened(DeviceId::Zone(0)), None);
}

#[test]
fn an_order_that_waits_too_long_for_the_master_valve_opens_nothing() {
    let mut bench = Bench::started(practice_ground());
    bench.deaf = vec![DeviceId::Master];
    let run = bench.order(0, seconds(60));
    bench.wait(seconds(120));
    assert_eq!(bench.refusal(run), Some(Refusal::Late));
    assert_eq!(bench.opened(DeviceId::Zone(0)), None);
    assert!(bench.has_alarm(Alarm::NotOpening(DeviceId::Master)));
}

#[test]
fn open_valves_never_draw_more_than_the_supply() {
    let mut bench = Bench::started(practice_ground());
    // 20 + 25 L/min fit into 50; 30 more do not.
    let first = bench.order(0, seconds(60));
    let second = bench.order(1, seconds(600));
    let third = bench.order(2, seconds(60));
    assert_eq!(bench.refusal(third), Some(Refusal::Supply));
    bench.wait(seconds(61));
    assert!(bench.finished(first).is_some() && bench.finished(second).is_none());
    // 25 + 30 still do not; with 25 closed but unconfirmed neither.
    let fourth = bench.order(2, seconds(60));
    assert_eq!(bench.refusal(fourth), Some(Refusal::Supply));
    bench.deaf = vec![DeviceId::Zone(1)];
    bench.tell(Event::Close(1));
    let fifth = bench.order(2, seconds(60));
    assert_eq!(bench.refusal(fifth), Some(Refusal::Supply));
}

#[test]
fn a_zone_rests_between_two_runs() {
    let mut bench = Bench::started(practice_ground());
    bench.order(0, seconds(60));
    bench.wait(seconds(119));
    let early = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(early), Some(Refusal::Resting));
    bench.wait(seconds(1));
    let late = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(late), None);
}

#[test]
fn the_pump_has_its_time_before_a_zone_opens() {
    let mut installation = practice_ground();
    installation.pump = Some(PumpDevice {
        device: ECHO,
        start_delay: seconds(8),
    });
    let mut bench = Bench::started(installation);
    let run = bench.order(0, seconds(60));
    assert!(bench.opened(DeviceId::Master) < bench.opened(DeviceId::Pump));
    bench.wait(seconds(7));
    assert_eq!(bench.opened(DeviceId::Zone(0)), None);
    bench.wait(seconds(1));
    assert!(bench.opened(DeviceId::Zone(0)).is_some());
    bench.wait(seconds(60));
    assert!(bench.finished(run).is_some());
    assert!(bench.supervisor.known().fleet.all_closed());
}

#[test]
fn a_valve_that_does_not_close_closes_everything_else_too() {
    let mut bench = Bench::started(practice_ground());
    let deaf = bench.order(0, seconds(60));
    let other = bench.order(1, seconds(600));
    bench.deaf = vec![DeviceId::Zone(0)];
    bench.wait(seconds(80));
    assert!(bench.has_alarm(Alarm::NotClosing(DeviceId::Zone(0))));
    let other = bench.finished(other).expect("it was ended");
    assert_eq!(other.cause, FinishCause::Escalated);
    assert_eq!(other.applied.estimate, seconds(80));
    let fleet = &bench.supervisor.known().fleet;
    assert!(
        fleet
            .get(DeviceId::Master)
            .is_some_and(|master| master.is_closed())
    );
    let held = bench.order(1, seconds(60));
    assert_eq!(bench.refusal(held), Some(Refusal::Alarm));
    // The water of the deaf valve is booked when it confirms at last.
    bench.deaf.clear();
    bench.wait(seconds(120));
    let deaf = bench.finished(deaf).expect("it has confirmed");
    assert_eq!(deaf.applied.least, seconds(60));
    assert!(deaf.applied.most > seconds(80));
}

#[test]
fn others_are_watered_beside_a_faulted_valve_where_the_site_says_so() {
    let mut installation = practice_ground();
    installation.others = OthersWhenFaulted::Water;
    let mut bench = Bench::new(installation);
    bench.deaf = vec![DeviceId::Zone(0)];
    bench.tell(Event::Start(Recovery::default()));
    bench.tell(Event::LinkUp);
    bench.wait(seconds(20));
    assert!(bench.done.contains(&Action::Ready));
    // 20 L/min may flow there: 25 fit beside it, then 30 do not.
    let fits = bench.order(1, seconds(60));
    assert_eq!(bench.refusal(fits), None);
    bench.wait(seconds(120));
    assert!(bench.finished(fits).is_some());
    let burst = bench.order(2, seconds(60));
    assert_eq!(bench.refusal(burst), None, "20 + 30 is just the supply");
}

#[test]
fn a_plain_relay_is_not_believed_while_the_report_may_be_old() {
    let plain = Device {
        feedback: Feedback::Position,
        ..ECHO
    };
    let mut installation = practice_ground();
    for zone in &mut installation.zones {
        zone.device = plain;
    }
    installation.master = None;
    let mut bench = Bench::started_slowly(installation);
    let run = bench.order(0, seconds(6));
    bench.wait(seconds(6));
    // Two travel times of 5 s after the open command have not passed.
    assert!(bench.finished(run).is_none());
    bench.wait(seconds(8));
    let finished = bench.finished(run).expect("asked again, it has confirmed");
    assert_eq!(finished.applied.least, seconds(6));
}

#[test]
fn a_device_that_says_nothing_is_closed_three_times() {
    let mut installation = practice_ground();
    installation.zones[0].device.feedback = Feedback::Silent;
    let mut bench = Bench::started(installation);
    let run = bench.order(0, seconds(60));
    bench.wait(seconds(80));
    let closings = bench.done.iter().filter(|action| {
        matches!(
            action,
            Action::Publish {
                device: DeviceId::Zone(0),
                command: Command::Close,
                ..
            }
        )
    });
    assert_eq!(closings.count(), 3);
    assert!(bench.finished(run).is_some());
}

#[test]
fn a_device_that_says_nothing_counts_as_open_from_the_sending() {
    let mut installation = practice_ground();
    installation.zones[0].device.feedback = Feedback::Silent;
    installation.master = None;
    let opening = |bench: &Bench| {
        bench.done.iter().find_map(|action| match action {
            Action::Publish {
                id,
                command: Command::Open { .. },
                ..
            } => Some(*id),
            _ => None,
        })
    };
    // Four seconds pass before the disk has it and the command goes out.
    let mut bench = Bench::started(installation.clone());
    bench.slow_disk = true;
    let run = bench.order(0, seconds(60));
    bench.wait(seconds(4));
    let sent = opening(&bench).expect("it was ordered");
    bench.tell(Event::Sent(DeviceId::Zone(0), sent));
    bench.wait(seconds(80));
    let applied = bench.finished(run).expect("it has ended").applied;
    assert_eq!(applied.least, seconds(56));
    // A command that never goes out has watered nothing for certain.
    let mut bench = Bench::started(installation);
    bench.slow_disk = true;
    let run = bench.order(0, seconds(60));
    bench.wait(seconds(4));
    bench.tell(Event::JournalFailed);
    bench.wait(seconds(80));
    let finished = bench.finished(run).expect("it has ended");
    assert_eq!(finished.applied.least, Duration::ZERO);
    assert_eq!(finished.cause, FinishCause::JournalFailed);
    assert!(!bench.has_alarm(Alarm::NotOpening(DeviceId::Zone(0))));
}

#[test]
fn a_self_closing_device_is_told_its_run_time() {
    let mut installation = practice_ground();
    installation.zones[0].device.actuation = Actuation::SelfClosing;
    let mut bench = Bench::started(installation);
    bench.order(0, seconds(75));
    let opened = bench.opened(DeviceId::Zone(0)).expect("it was opened");
    let Action::Publish { command, .. } = bench.done[opened] else {
        panic!("an opening is a publish");
    };
    assert_eq!(
        command,
        Command::Open {
            run_time: seconds(75),
            valid_for: seconds(30)
        }
    );
}

#[test]
fn the_run_in_progress_at_a_kill_is_closed_and_booked_once() {
    let mut bench = Bench::new(practice_ground());
    let begun = UnfinishedRun {
        run: RunId(41),
        zone: 1,
        command: CommandId(900),
        planned: seconds(300),
        begun: Begun::SameBoot {
            sent: bench.now.before(seconds(120)),
            seen_open: Some(bench.now.before(seconds(119))),
            closing: None,
        },
    };
    bench.tell(Event::Start(Recovery {
        last_command: CommandId(900),
        last_run: RunId(41),
        unfinished: vec![begun],
        learned: vec![],
    }));
    bench.wait(seconds(3));
    bench.tell(Event::LinkUp);
    let finished = bench.finished(RunId(41)).expect("closed and confirmed");
    assert_eq!(finished.cause, FinishCause::Restart);
    assert_eq!(finished.applied.estimate, seconds(119));
    assert_eq!(finished.applied.most, seconds(123));
    bench.wait(seconds(3600));
    assert_eq!(
        bench.opened(DeviceId::Zone(1)),
        None,
        "it is not given again"
    );
}

#[test]
fn a_wrong_clock_that_runs_backwards_lengthens_no_run() {
    let mut bench = Bench::started(practice_ground());
    let run = bench.order(0, seconds(60));
    let sent = bench.now;
    bench.wait(seconds(30));
    bench.now = bench.now.before(seconds(25));
    bench.tell(Event::Tick);
    bench.now = sent.after(seconds(60));
    bench.tell(Event::Tick);
    assert!(bench.finished(run).is_some());
}

#[test]
fn a_stop_with_open_valves_ends_confirmed_and_a_second_one_changes_nothing() {
    let mut bench = Bench::started(practice_ground());
    let run = bench.order(0, seconds(600));
    bench.tell(Event::Shutdown);
    bench.tell(Event::Shutdown);
    let unconfirmed = vec![];
    assert!(bench.done.contains(&Action::Stopped { unconfirmed }));
    assert_eq!(
        bench.finished(run).map(|f| f.cause),
        Some(FinishCause::Shutdown)
    );
    let late = bench.order(0, seconds(60));
    assert_eq!(bench.refusal(late), None, "nothing is answered any more");
    assert!(bench.supervisor.known().fleet.all_closed());
}

#[test]
fn a_stop_that_cannot_be_confirmed_says_what_may_be_open() {
    let mut bench = Bench::started(practice_ground());
    bench.order(0, seconds(600));
    bench.deaf = vec![DeviceId::Zone(0)];
    bench.tell(Event::TaskDied);
    bench.wait(seconds(15));
    let unconfirmed = vec![DeviceId::Zone(0)];
    assert!(bench.done.contains(&Action::Stopped { unconfirmed }));
}

#[test]
fn a_tick_before_it_is_due_changes_nothing() {
    let mut bench = Bench::started(practice_ground());
    bench.order(0, seconds(90));
    bench.deaf = vec![DeviceId::Zone(0)];
    for _ in 0..2000 {
        let due = bench.supervisor.next_due();
        bench.now = bench.now.after(Duration::from_millis(250));
        if due.is_none_or(|due| due > bench.now) {
            let before = bench.supervisor.known().clone();
            let actions = bench.supervisor.step(Event::Tick, bench.now);
            assert!(actions.is_empty());
            assert_eq!(bench.supervisor.known(), &before);
        } else {
            bench.tell(Event::Tick);
        }
    }
}

#[test]
fn a_bound_that_cannot_be_kept_is_refused_at_once() {
    let mut installation = practice_ground();
    installation.timing.close_bound = seconds(8);
    let error = Supervisor::new(Arc::new(installation)).expect_err("too short for a report");
    assert_eq!(
        error.to_string(),
        "the valve of zone 1 cannot confirm within the closing bound: make the bound at least 10s"
    );
}
