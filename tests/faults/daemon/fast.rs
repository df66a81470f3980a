//! The program itself on a fast clock that its simulated valves share: weeks
//! in minutes, clocks that are set, summer time, valves that lie.
//!
//! What takes a moment here takes minutes there: at 720 times a message of
//! 20 ms travels for 14 s, and a dead program is away for minutes.

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::clock::Bearing;
use soakmist::simulator::{Fault, SimulatedValve};
use soakmist::store::{Opening, Store, Watering};
use soakmist::valve::{DeviceId, RunId};

use super::broker::Broker;
use super::kills::CLOSED_WITHIN;
use super::process::CLOCK;
use super::rig::Rig;
use crate::beds::{COUNTING, ground};
use crate::long::{Dice, asked};

const METER: &str = r#"
[mqtt.flow-meter]
topic = "beds/meter"
unit = "L/min"
interval = "5 s"
least = "1 L/min"
"#;

const SOWN: &str = "2026-08-22 16:00";
/// The longest run of the beds.
const LONGEST: Duration = Duration::from_secs(25 * 60);

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// The beds at a broker.
fn text(port: u16, sown: &str) -> String {
    let facts = format!(
        "weather = {{ file = \"weather.csv\", wind-height = \"2 m\" }}\n\
         daemon = {{ listen = \"none\" }}\n\n[mqtt]\nport = {port}"
    );
    let relay = COUNTING.replace("bed-valve", "bed-relay") + "\n[all-zones]\n";
    ground(sown)
        .replace("[mqtt]", &facts)
        .replace("[all-zones]\n", &relay)
}

fn rig(broker: Broker, sown: &str, (from, speed): (DateTime<Utc>, u32)) -> Rig {
    let text = text(broker.port(), sown);
    // A plain relay stays open until somebody closes it.
    let text = text.replace(
        "name = \"long\"",
        "name = \"long\"\nvalve = { device = \"bed-relay\" }",
    );
    Rig::fast(broker, &text, (from, speed))
}

async fn until_time(rig: &Rig, instant: DateTime<Utc>) {
    while rig.now().utc < instant {
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
}

/// Starts it again; how long it takes until what was open is closed, and
/// whether anything was.
async fn restart(rig: &mut Rig) -> Option<Duration> {
    let mut open: Vec<usize> = (0..3).filter(|zone| rig.is_open(*zone)).collect();
    let was_any_open = !open.is_empty();
    let begun = Instant::now();
    rig.restart();
    while !open.is_empty() {
        open.retain(|zone| rig.is_open(*zone));
        let said = || rig.daemon.said();
        assert!(begun.elapsed() < CLOSED_WITHIN, "not closed:\n{}", said());
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    was_any_open.then(|| begun.elapsed())
}

/// Stops it; what its journal says was watered.
async fn stopped(rig: &mut Rig) -> Vec<Watering> {
    // One that has only begun to start does not hear yet.
    rig.until("ready", |rig| {
        rig.daemon.has_said("every valve is confirmed")
    })
    .await;
    rig.daemon.signal("TERM");
    let (code, _) = rig.daemon.end(Duration::from_secs(20));
    assert_eq!(code, 0, "{}", rig.daemon.said());
    let path = rig.path().join("soakmist.sqlite");
    let mut store = Store::open(&path, &Opening::in_boot("another"), rig.now()).unwrap();
    let names = ["east", "west", "long"].map(str::to_owned);
    store.use_zones(&names, rig.now()).unwrap();
    let recovery = store.recovery(rig.now()).unwrap();
    assert_eq!(recovery.unfinished, [], "a run was lost");
    store.waterings(DateTime::UNIX_EPOCH).unwrap()
}

/// The journal holds the truth of a zone between its bounds; least and most
/// [s].
fn judge(rig: &Rig, zone: usize, waterings: &[Watering]) -> (f64, f64) {
    let mine = waterings.iter().filter(|water| water.zone == Some(zone));
    let mine: Vec<&Watering> = mine.collect();
    let mut runs: Vec<RunId> = mine.iter().filter_map(|water| water.run).collect();
    runs.sort_unstable();
    let count = runs.len();
    runs.dedup();
    assert_eq!(runs.len(), count, "zone {zone}: a run was booked twice");
    let openings = usize::try_from(rig.valve(zone, SimulatedValve::openings)).unwrap();
    assert!(
        openings <= count,
        "zone {zone}: {openings} openings of {count} runs"
    );
    let (least, most) = mine.iter().fold((0.0, 0.0), |sum, water| {
        let applied = &water.applied;
        (
            sum.0 + applied.least.as_secs_f64(),
            sum.1 + applied.most.as_secs_f64(),
        )
    });
    let truth = rig.open_s(zone);
    let slack = 60.0 + 0.01 * truth;
    assert!(
        least <= truth + slack && truth <= most + slack,
        "zone {zone}: open for {truth} s, booked {least} to {most} s"
    );
    (least, most)
}

/// Kills at random instants; half of them while a valve is open, where it
/// hurts. How many of them were, and how long each closing took at the start
/// after it.
async fn killed(
    rig: &mut Rig,
    end: DateTime<Utc>,
    kills: u64,
    dice: &mut Dice,
) -> (u64, Vec<Duration>) {
    let (mut while_open, mut closings) = (0, Vec::new());
    for kill in 0..kills {
        let left_s = u64::try_from((end - rig.now().utc).num_seconds()).unwrap_or(0);
        let wait_s = dice.below(left_s / (kills - kill) * 2);
        let at = rig.now().utc + TimeDelta::seconds(i64::try_from(wait_s).unwrap());
        until_time(rig, at.min(end)).await;
        // Nobody waters at night.
        let patience = rig.now().utc + TimeDelta::hours(16);
        while kill % 2 == 0 && rig.open_zones() == 0 && rig.now().utc < patience.min(end) {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        tokio::time::sleep(Duration::from_millis(dice.below(60))).await;
        rig.daemon.kill();
        while_open += u64::from(rig.open_zones() > 0);
        tokio::time::sleep(Duration::from_millis(dice.below(150))).await;
        closings.extend(restart(rig).await);
    }
    (while_open, closings)
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_and_kills_at_random_instants_lose_nothing_and_give_nothing_twice() {
    let speed = u32::try_from(asked("SPEED", 720)).unwrap();
    let (kills, hours) = (asked("KILLS", 24), asked("HOURS", 13));
    let from = match hours {
        0..48 => utc("2026-08-23T11:00:00Z"),
        _ => utc("2026-08-20T12:00:00Z"),
    };
    let end = from + TimeDelta::hours(i64::try_from(hours).unwrap());
    let mut dice = Dice::fresh("fast kills");
    let mut calm = rig(Broker::real(), SOWN, (from, speed));
    let mut rig = rig(Broker::real(), SOWN, (from, speed));
    let (while_open, mut closings) = killed(&mut rig, end, kills, &mut dice).await;
    until_time(&rig, end).await;
    until_time(&calm, end).await;
    let (booked, calmly) = (stopped(&mut rig).await, stopped(&mut calm).await);
    closings.sort_unstable();
    eprintln!(
        "{kills} kills in {hours} h at {speed} times: {while_open} with a valve open, {} still at \
         the start, then closed after {:?} (median), {:?} at most",
        closings.len(),
        closings
            .get(closings.len() / 2)
            .copied()
            .unwrap_or_default(),
        closings.last().copied().unwrap_or_default()
    );
    for zone in 0..3 {
        judge(&calm, zone, &calmly);
        let (least, most) = judge(&rig, zone, &booked);
        eprintln!(
            "zone {zone}: {:.0} s open, {:.0} s undisturbed; booked {least:.0} to {most:.0} s",
            rig.open_s(zone),
            calm.open_s(zone)
        );
    }
    for zone in 0..3 {
        let (open_s, calm_s) = (rig.open_s(zone), calm.open_s(zone));
        // What a plain relay lets through while the program is dead is more.
        let is_near = (0.7..if zone == 2 { 2.0 } else { 1.3 }).contains(&(open_s / calm_s));
        assert!(
            is_near,
            "zone {zone}: {open_s} s with kills, {calm_s} s without"
        );
        if zone < 2 {
            let longest = rig.valve(zone, SimulatedValve::longest);
            assert!(longest <= LONGEST + Duration::from_secs(1), "{longest:?}");
        }
    }
    // Too few would show too little: seed is watered for minutes an hour.
    assert!(while_open >= kills / 12, "{while_open}");
    assert!(!closings.is_empty());
}

/// The clock of daemon and valves is set while a valve is open.
async fn set_while_open(step: TimeDelta) {
    let mut rig = rig(Broker::real(), SOWN, (utc("2026-08-24T13:00:00Z"), 120));
    // The relay of this bed stays open until it is told otherwise.
    let zone = 2;
    rig.until("the relay open", |rig| rig.is_open(zone)).await;
    set(&rig, step);
    rig.until("seen", |rig| rig.daemon.has_said("the clock was set"))
        .await;
    rig.until("closed", |rig| !rig.is_open(zone)).await;
    let (count, open_s) = (rig.valve(zone, SimulatedValve::openings), rig.open_s(zone));
    let asked_s: f64 = (0..3).flat_map(|zone| rig.asked_s(zone)).sum();
    assert!(
        open_s > 60.0 && open_s <= asked_s + 120.0,
        "{open_s} of {asked_s}"
    );
    assert_eq!(count, 1);
    // A quarter of an hour there.
    tokio::time::sleep(Duration::from_millis(7500)).await;
    let again = rig.valve(zone, SimulatedValve::openings);
    assert_eq!(again, 1, "given twice: {}", rig.daemon.said());
    let booked = stopped(&mut rig).await;
    for zone in 0..3 {
        judge(&rig, zone, &booked);
    }
}

/// The clock of daemon and valves is set.
fn set(rig: &Rig, step: TimeDelta) {
    let file = rig.path().join(CLOCK);
    Bearing::load(&file).unwrap().set(step).save(&file).unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_that_boots_ten_years_ahead_is_told_and_watering_goes_on_when_it_is_set() {
    let mut rig = rig(Broker::real(), SOWN, (utc("2026-08-24T13:00:00Z"), 360));
    rig.until("watered", |rig| {
        rig.daemon.has_said("a run has ended") && rig.open_zones() == 0
    })
    .await;
    let watered: f64 = (0..3).map(|zone| rig.open_s(zone)).sum();
    rig.daemon.kill();
    let ahead = TimeDelta::days(3650);
    set(&rig, ahead);
    rig.restart();
    let alarms = |rig: &Rig| {
        rig.broker
            .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "2"])
    };
    rig.until("told", |rig| alarms(rig).contains("the clock shows 2036"))
        .await;
    // A quarter of an hour there.
    tokio::time::sleep(Duration::from_millis(2500)).await;
    let open: f64 = (0..3).map(|zone| rig.open_s(zone)).sum();
    assert!((open - watered).abs() < 1e-9, "watered by a wrong clock");
    set(&rig, -ahead);
    rig.until("begun anew", |rig| {
        rig.daemon.said().matches("soakmist begins").count() == 2
    })
    .await;
    rig.until("all right", |rig| alarms(rig) == "[]\n").await;
    rig.until("watering", |rig| rig.open_zones() > 0).await;
    let booked = stopped(&mut rig).await;
    for zone in 0..3 {
        judge(&rig, zone, &booked);
    }
    let now = rig.now().utc;
    assert!(booked.iter().all(|water| water.ended <= now));
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_that_is_set_three_hours_on_neither_lengthens_nor_repeats_a_run() {
    set_while_open(TimeDelta::hours(3)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_that_is_set_three_hours_back_neither_lengthens_nor_repeats_a_run() {
    set_while_open(TimeDelta::hours(-3)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_over_both_changes_of_summer_time_tears_and_doubles_no_run() {
    // New York: 8 March and 1 November 2026, at 07:00 and 06:00 UTC.
    let speed = u32::try_from(asked("SPEED", 720)).unwrap();
    let changes = [
        ("2026-03-06 10:00", utc("2026-03-08T06:00:00Z")),
        ("2026-10-30 10:00", utc("2026-11-01T05:00:00Z")),
    ];
    let mut rigs = changes.map(|(sown, from)| {
        let end = from + TimeDelta::hours(13);
        (rig(Broker::real(), sown, (from, speed)), end)
    });
    for (rig, end) in &mut rigs {
        until_time(rig, *end).await;
        rig.until("all closed", |rig| rig.open_zones() == 0).await;
        let said = rig.daemon.said();
        for word in ["was missed", "was not carried out", "clock was set"] {
            assert!(!said.contains(word), "{word}: {said}");
        }
        let openings = (0..3).map(|zone| rig.valve(zone, SimulatedValve::openings));
        let openings = usize::try_from(openings.sum::<u32>()).unwrap();
        let begun = said.matches("a run begins").count();
        assert!(
            openings > 2 && openings.abs_diff(begun) <= 1,
            "{openings} of {begun}"
        );
        let booked = stopped(rig).await;
        for zone in 0..3 {
            judge(rig, zone, &booked);
        }
    }
}

fn metered(broker: Broker) -> Rig {
    let text = text(broker.port(), SOWN)
        .replace("\"bed-valve\" }", "\"bed-relay\" }")
        .replace(
            "\n[[device]]\nname = \"bed-valve\"",
            &format!("{METER}\n[[device]]\nname = \"bed-valve\""),
        );
    Rig::fast(broker, &text, (utc("2026-08-24T13:00:00Z"), 20))
}

fn alarms(rig: &Rig) -> String {
    rig.broker
        .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "2"])
}

/// A valve says that it is open and is shut.
pub(super) async fn says_open(broker: Broker) {
    let rig = metered(broker);
    let zones = [0, 1, 2].map(DeviceId::Zone);
    rig.valves
        .with(|site| zones.map(|zone| site.set_fault(zone, Fault::Lying)));
    rig.until("given away", |rig| {
        alarms(rig).contains("nothing flows although a valve is open")
    })
    .await;
    assert!((0..3).all(|zone| rig.open_s(zone) < 1e-9));
}

/// A valve says that it is closed, and water flows.
pub(super) async fn says_closed(broker: Broker) {
    let rig = metered(broker);
    rig.until("a valve open", |rig| rig.open_zones() > 0).await;
    let zone = (0..3).find(|zone| rig.is_open(*zone)).unwrap();
    rig.valves
        .with(|site| site.set_fault(DeviceId::Zone(zone), Fault::Lying));
    rig.until_within(Duration::from_secs(120), "given away", |rig| {
        alarms(rig).contains("water flows although everything is closed")
    })
    .await;
    assert!(rig.is_open(zone));
    let others = |rig: &Rig| {
        let others = (0..3).filter(|other| *other != zone);
        others.map(|other| rig.open_s(other)).sum::<f64>()
    };
    let before = others(&rig);
    tokio::time::sleep(Duration::from_secs(3)).await;
    assert!((others(&rig) - before).abs() < 1e-9, "others opened");
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_and_a_valve_that_says_open_while_it_is_shut_is_given_away_by_the_meter() {
    says_open(Broker::real()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn fast_clock_and_a_valve_that_says_closed_while_water_flows_is_given_away_by_the_meter() {
    says_closed(Broker::real()).await;
}
