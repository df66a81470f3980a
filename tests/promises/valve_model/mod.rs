//! The valve supervisor against a model of valves, wires, journal and kills:
//! every interleaving up to a stated depth, with the promises of
//! `docs/valve-safety.md` checked in every state, on what the devices do and
//! not on what they say.
//!
//! One tick is one second. A message is delivered, or lost, within one tick of
//! its sending. `cargo test --test promises valve_model -- --nocapture` prints
//! the number of states; `SOAKMIST_MODEL_DEEPER=2` looks two ticks further.

mod check;
mod fingerprint;
mod happening;
mod journal;
mod perform;
mod physical;
mod scenario;
mod world;

use std::sync::Arc;
use std::time::{Duration, Instant};

use soakmist::valve::{
    Actuation, Device, Feedback, Installation, Meter, MeterFlow, OthersWhenFaulted, Timing,
    ZoneDevice,
};

use check::explore;
use physical::{Fault, TICK};
use scenario::{Budget, Planted, Scenario};

const ECHO: Device = Device {
    actuation: Actuation::OnOff,
    feedback: Feedback::Echo,
};

const CLOSES_ITSELF: Device = Device {
    actuation: Actuation::SelfClosing,
    feedback: Feedback::Echo,
};

/// Two zones of 10 L/min behind a master valve; a supply for one of them.
fn installation(device: Device) -> Installation {
    let flow = MeterFlow::from_ml_per_min(10_000);
    let zone = ZoneDevice {
        device,
        flow,
        rest: TICK,
    };
    Installation {
        zones: vec![zone, zone],
        master: Some(device),
        pump: None,
        supply: flow,
        meter: None,
        timing: Timing {
            repeat: TICK,
            repeat_most: TICK * 2,
            open_bound: TICK * 2,
            close_bound: TICK * 4,
            most_delay: TICK,
            link_grace: TICK * 2,
            stop_bound: TICK * 6,
        },
        others: OthersWhenFaulted::Hold,
        longest_run: TICK * 10,
    }
}

fn scenario(name: &'static str, device: Device) -> Scenario {
    Scenario {
        name,
        installation: Arc::new(installation(device)),
        fault: Fault::None,
        orders: vec![(0, TICK * 2), (1, TICK * 2)],
        budget: Budget::default(),
        horizon: 10,
        overtaking: false,
        slow: &[0],
        planted: Planted::None,
    }
}

#[expect(clippy::disallowed_methods, reason = "tells how long the search took")]
fn keeps_its_promises(scenario: &Scenario) {
    let deeper = std::env::var("SOAKMIST_MODEL_DEEPER").ok();
    let deeper: u8 = deeper.and_then(|ticks| ticks.parse().ok()).unwrap_or(0);
    let scenario = &Scenario {
        horizon: scenario.horizon + deeper,
        ..scenario.clone()
    };
    let started = Instant::now();
    let outcome = explore(scenario);
    println!(
        "{}: {} states, {} transitions, to tick {}, {:.1} s",
        scenario.name,
        outcome.states,
        outcome.transitions,
        scenario.horizon,
        started.elapsed().as_secs_f64()
    );
    assert!(
        outcome.broken.is_none(),
        "{}",
        outcome.broken.unwrap_or_default()
    );
}

#[test]
fn losses_copies_and_overtaking() {
    for (slow, horizon) in [([0].as_slice(), 6), ([0, 2].as_slice(), 5)] {
        let mut scenario = scenario("losses, copies, overtaking", ECHO);
        scenario.budget.losses = 1;
        scenario.budget.copies = 1;
        scenario.overtaking = true;
        scenario.slow = slow;
        scenario.horizon = horizon;
        keeps_its_promises(&scenario);
    }
}

#[test]
fn every_device_slow() {
    let mut scenario = scenario("all slow, a loss", ECHO);
    scenario.budget.losses = 1;
    scenario.slow = &[0, 1, 2];
    scenario.horizon = 6;
    keeps_its_promises(&scenario);
}

#[test]
fn a_kill_between_any_two_actions() {
    for slow in [[0].as_slice(), [2].as_slice()] {
        let mut scenario = scenario("a kill and a loss", ECHO);
        scenario.budget.kills = 1;
        scenario.budget.losses = 1;
        scenario.slow = slow;
        scenario.horizon = 8;
        keeps_its_promises(&scenario);
    }
}

#[test]
fn a_second_kill_between_any_two_actions() {
    let mut scenario = scenario("two kills", ECHO);
    scenario.budget.kills = 2;
    scenario.slow = &[0];
    scenario.horizon = 6;
    keeps_its_promises(&scenario);
}

#[test]
fn the_connection_drops() {
    let mut scenario = scenario("two cuts and a loss", ECHO);
    scenario.budget.cuts = 2;
    scenario.budget.losses = 1;
    scenario.horizon = 7;
    keeps_its_promises(&scenario);
}

const PLAIN: Device = Device {
    actuation: Actuation::OnOff,
    feedback: Feedback::Position,
};

#[test]
fn a_plain_relay_without_an_echo() {
    let mut scenario = scenario("plain relay, a loss and a copy", PLAIN);
    scenario.budget.losses = 1;
    scenario.budget.copies = 1;
    scenario.horizon = 11;
    keeps_its_promises(&scenario);
}

#[test]
fn a_plain_relay_and_a_kill() {
    let mut scenario = scenario("plain relay, a kill", PLAIN);
    scenario.budget.kills = 1;
    scenario.horizon = 11;
    keeps_its_promises(&scenario);
}

#[test]
fn a_valve_that_closes_itself() {
    let mut scenario = scenario("self-closing, a copy and a kill", CLOSES_ITSELF);
    scenario.budget.copies = 1;
    scenario.budget.kills = 1;
    scenario.horizon = 8;
    keeps_its_promises(&scenario);
}

#[test]
fn a_latching_valve_that_misses_a_pulse() {
    let latching = Device {
        actuation: Actuation::Latching,
        feedback: Feedback::Echo,
    };
    let mut scenario = scenario("latching", latching);
    scenario.fault = Fault::MissesPulse;
    scenario.budget.device_faults = 1;
    scenario.horizon = 12;
    keeps_its_promises(&scenario);
}

#[test]
fn a_deaf_valve_alarms_and_closes_the_master_valve() {
    let mut scenario = scenario("deaf valve", ECHO);
    scenario.fault = Fault::Deaf;
    scenario.budget.losses = 1;
    scenario.horizon = 14;
    keeps_its_promises(&scenario);
    scenario.name = "deaf valve, a kill";
    scenario.budget.losses = 0;
    scenario.budget.kills = 1;
    scenario.horizon = 12;
    keeps_its_promises(&scenario);
}

#[test]
fn a_lying_valve_is_found_by_the_meter() {
    let mut scenario = scenario("lying valve", ECHO);
    let mut installation = installation(ECHO);
    installation.master = None;
    installation.meter = Some(Meter {
        settle: Duration::ZERO,
        persist: TICK,
        ..Meter::new(TICK, MeterFlow::from_ml_per_min(500))
    });
    scenario.installation = Arc::new(installation);
    scenario.fault = Fault::Lying;
    scenario.budget.losses = 1;
    scenario.horizon = 14;
    keeps_its_promises(&scenario);
}

#[test]
fn a_valve_that_opens_itself() {
    let mut scenario = scenario("opens itself", ECHO);
    scenario.fault = Fault::OpensItself;
    scenario.budget.device_faults = 1;
    scenario.budget.losses = 1;
    scenario.horizon = 8;
    keeps_its_promises(&scenario);
}

#[test]
fn a_valve_that_loses_power_and_comes_back_open() {
    for (name, device, (times, kills)) in [
        ("boots open", ECHO, (1, 0)),
        ("boots open twice", ECHO, (2, 0)),
        ("boots open, a kill", ECHO, (1, 1)),
        ("plain relay boots open", PLAIN, (1, 0)),
        ("plain relay boots open, a kill", PLAIN, (1, 1)),
        (
            "self-closing, boots open, countdown gone",
            CLOSES_ITSELF,
            (1, 0),
        ),
        ("self-closing, boots open, a kill", CLOSES_ITSELF, (1, 1)),
    ] {
        let mut scenario = scenario(name, device);
        scenario.fault = Fault::BootsOpen;
        scenario.budget.device_faults = times;
        scenario.budget.kills = kills;
        scenario.horizon = 10 - 2 * kills;
        keeps_its_promises(&scenario);
    }
}

#[test]
fn a_valve_that_loses_power_and_comes_back_closed() {
    for (name, device, (times, kills)) in [
        ("boots closed", ECHO, (1, 0)),
        ("boots closed twice", ECHO, (2, 0)),
        ("boots closed, a kill", ECHO, (1, 1)),
        ("plain relay boots closed", PLAIN, (1, 0)),
        ("self-closing, boots closed", CLOSES_ITSELF, (1, 0)),
        ("self-closing, boots closed, a kill", CLOSES_ITSELF, (1, 1)),
    ] {
        let mut scenario = scenario(name, device);
        scenario.fault = Fault::BootsClosed;
        scenario.orders = vec![(0, TICK * 4), (1, TICK * 2)];
        scenario.budget.device_faults = times;
        scenario.budget.kills = kills;
        scenario.horizon = 10 - 2 * kills;
        keeps_its_promises(&scenario);
    }
}

#[test]
fn a_full_disk_opens_nothing() {
    let mut scenario = scenario("full disk, a kill", ECHO);
    scenario.budget.disk_failures = 1;
    scenario.budget.kills = 1;
    scenario.horizon = 7;
    keeps_its_promises(&scenario);
}

#[test]
fn people_close_and_stop() {
    let mut scenario = scenario("close and stop", ECHO);
    scenario.budget.user_closes = 1;
    scenario.budget.shutdowns = 1;
    scenario.budget.losses = 1;
    scenario.horizon = 8;
    keeps_its_promises(&scenario);
}

/// The checker is worth nothing unless it finds bugs: each of these is planted
/// between the supervisor and the world.
#[test]
fn the_checker_finds_planted_bugs() {
    let planted = [
        (
            Planted::BelieveStaleReports,
            Budget {
                losses: 1,
                copies: 1,
                ..Budget::default()
            },
            "truth",
        ),
        (
            Planted::NeverRepeat,
            Budget {
                losses: 1,
                ..Budget::default()
            },
            "ticks too long",
        ),
        (
            Planted::PublishBeforeJournal,
            Budget::default(),
            "not written down",
        ),
        (
            Planted::ForgetRuns,
            Budget {
                kills: 1,
                ..Budget::default()
            },
            "given twice",
        ),
        (
            Planted::ForgetUnfinished,
            Budget {
                kills: 1,
                ..Budget::default()
            },
            "has no end",
        ),
        (Planted::MasterStaysOpen, Budget::default(), "too long"),
        (
            Planted::TrustAtStart,
            Budget {
                kills: 1,
                ..Budget::default()
            },
            "in truth",
        ),
    ];
    for (bug, budget, symptom) in planted {
        let mut scenario = scenario("planted", ECHO);
        scenario.planted = bug;
        scenario.budget = budget;
        let outcome = explore(&scenario);
        let broken = outcome.broken.unwrap_or_default();
        println!("{bug:?}: {}", broken.lines().next().unwrap_or("not found"));
        assert!(broken.contains(symptom), "{bug:?} gave: {broken}");
    }
}
