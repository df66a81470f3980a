//! A fortnight from seed: what is applied is what was planned, and no kill
//! loses water or gives any twice.

use chrono::TimeDelta;
use soakmist::daemon::Notice;

use super::world::{World, site, utc, weather};

const SOWN: &str = "2026-08-22 16:00";

fn world() -> World {
    let start = utc("2026-08-20T12:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    World::new(site(SOWN), start, weather)
}

#[test]
fn what_is_applied_in_a_fortnight_is_what_was_planned() {
    let mut world = world();
    world.run_for(TimeDelta::days(14));
    // Let what still runs end.
    world.run_for(TimeDelta::hours(1));
    let told = &world.told;
    assert!(
        !told.iter().any(|notice| matches!(
            notice,
            Notice::Missed { .. } | Notice::NotPlanned(_) | Notice::Alarm(_)
        )),
        "{told:?}"
    );
    for zone in 0..3 {
        let runs = world.begun.iter().filter(|run| run.zone == zone);
        let planned_s: f64 = runs.map(|run| run.duration.as_seconds_f64()).sum();
        let open_s = world.open_s(zone);
        // The valve of the simulation closes itself on the second.
        assert!(
            (open_s - planned_s).abs() < 1.0 + 0.005 * planned_s,
            "zone {zone}: {open_s} s of {planned_s} s"
        );
        let (least, estimate, most) = world.booked_s(zone);
        assert!(least <= open_s + 1.0 && open_s <= most + 1.0);
        assert!(
            (estimate - open_s).abs() < 0.02 * open_s,
            "{estimate} {open_s}"
        );
    }
    let first_weeks = world.begun.iter().filter(|run| run.zone == 0).count();
    assert!(first_weeks > 25, "{first_weeks} runs are too few for seed");
}

#[test]
fn runs_wait_for_valves_that_are_slow_to_confirm_and_none_is_refused() {
    let start = utc("2026-08-20T12:00:00Z");
    let weather = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::slow(site(SOWN), start, weather);
    world.run_for(TimeDelta::days(5));
    let is_refused = |notice: &&Notice| {
        matches!(
            notice,
            Notice::Refused { .. } | Notice::Missed { .. } | Notice::Alarm(_)
        )
    };
    let refused: Vec<&Notice> = world.told.iter().filter(is_refused).collect();
    assert!(refused.is_empty(), "{refused:?}");
    let is_wait = |notice: &&Notice| matches!(notice, Notice::Waits { .. });
    let waits = world.told.iter().filter(is_wait).count();
    let runs = world.begun.len();
    assert!(
        runs > 20 && (1..=runs).contains(&waits),
        "{waits} of {runs}"
    );
}

#[test]
fn the_seed_layer_stays_moist_by_the_plan_s_own_balance() {
    let mut world = world();
    let mut worst: f64 = 0.0;
    world.run_until(utc("2026-08-22T22:00:00Z"));
    for _ in 0..24 * 5 {
        world.run_for(TimeDelta::hours(1));
        for zone in world.control.status().zones {
            let ratio = zone.depletion_mm.unwrap() / zone.allowed_mm.unwrap();
            worst = worst.max(ratio);
        }
    }
    assert!(worst < 1.3, "depletion reached {worst} of what is allowed");
}

/// xorshift64*, Vigna 2016, ACM Trans. Math. Softw. 42(4): its constants.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % most
    }
}

#[test]
fn two_hundred_kills_in_a_fortnight_lose_nothing_and_give_nothing_twice() {
    let mut undisturbed = world();
    undisturbed.run_for(TimeDelta::days(14));
    let mut world = world();
    let mut dice = Dice(20_260_822);
    let end = world.now.utc + TimeDelta::days(14);
    let mut kills_while_open = 0;
    for kill in 0..200 {
        let left_s = (end - world.now.utc).num_seconds() / (201 - kill);
        // Half of the kills fall into a run, where it hurts.
        let wait = dice.below(u64::try_from(left_s.max(1)).unwrap() * 2);
        world.run_for(TimeDelta::seconds(i64::try_from(wait).unwrap()));
        if kill % 2 == 0 {
            for _ in 0..600 {
                if !world.all_closed() {
                    break;
                }
                world.run_for(TimeDelta::seconds(60));
            }
            world.run_for(TimeDelta::milliseconds(
                i64::try_from(dice.below(60_000)).unwrap(),
            ));
        }
        kills_while_open += i32::from(!world.all_closed());
        world.kill();
        let away = TimeDelta::seconds(i64::try_from(dice.below(90)).unwrap());
        world.run_for(away);
        let before = world.begun.len();
        world.start();
        world.run_for(TimeDelta::seconds(25));
        // What is open now was opened by this life and by none before it.
        let is_of_now = |zone| world.begun[before..].iter().any(|run| run.zone == zone);
        for zone in (0..3).filter(|zone| world.is_open(*zone)) {
            assert!(
                is_of_now(zone),
                "zone {zone} is open since before kill {kill}"
            );
        }
        assert!(world.all_closed() || world.control.status().phase == "running");
    }
    assert!(kills_while_open > 30, "{kills_while_open}");
    if world.now.utc < end {
        world.run_until(end);
    }
    // A run that still goes on is not booked yet.
    for _ in 0..60 * 60 {
        if world.all_closed() {
            break;
        }
        world.run_for(TimeDelta::seconds(1));
    }
    let mut runs: Vec<u64> = world.begun.iter().map(|begun| begun.run.0).collect();
    let count = runs.len();
    runs.sort_unstable();
    runs.dedup();
    assert_eq!(runs.len(), count, "a run number was used twice");
    for zone in 0..3 {
        let (open_s, calm_s) = (world.open_s(zone), undisturbed.open_s(zone));
        let (least, _, most) = world.booked_s(zone);
        assert!(
            least <= open_s + 1.0 && open_s <= most + 1.0,
            "zone {zone}: {open_s} s, booked as {least} to {most}"
        );
        assert!(
            (open_s / calm_s - 1.0).abs() < 0.15,
            "zone {zone}: {open_s} s with kills, {calm_s} s without"
        );
    }
}

#[test]
fn plannings_that_take_longer_than_they_are_waited_for_still_come_into_force() {
    let hours = weather(utc("2026-08-10T04:00:00Z"), 40);
    let mut world = World::new(site("2026-08-22 16:00"), utc("2026-08-24T12:00:00Z"), hours);
    world.run_for(TimeDelta::hours(1));
    // A computer that is far too busy, or slept in the middle of a planning.
    world.planning_takes = std::time::Duration::from_secs(90);
    world.run_for(TimeDelta::hours(5));
    goes_on_for_a_day(&mut world);
    // It is soon itself again.
    world.planning_takes = std::time::Duration::from_secs(1);
    goes_on_for_a_day(&mut world);
}

/// More than ten runs begin within the next day.
fn goes_on_for_a_day(world: &mut World) {
    let runs = world.begun.len();
    world.run_for(TimeDelta::hours(24));
    assert!(
        world.begun.len() > runs + 10,
        "{runs} and {}",
        world.begun.len()
    );
}
