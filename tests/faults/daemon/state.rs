//! The state: used twice, damaged, on a full disk. The site file: broken
//! while the daemon runs. The loop itself: failing.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rusqlite::Connection;
use soakmist::clock::SystemClock;
use soakmist::daemon::runtime::{Daemon, Start, Word, state_file};
use soakmist::valve::DeviceId;

use super::broker::Broker;
use super::process::Process;
use super::rig::Rig;
use crate::beds::RELAY;

#[tokio::test(flavor = "multi_thread")]
async fn a_second_daemon_on_the_same_state_refuses_and_disturbs_nothing() {
    let mut rig = Rig::start();
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    let mut second = Process::start(rig.path(), &[]);
    assert_eq!(second.end(Duration::from_secs(10)).0, 3);
    assert!(second.words().contains("in use by another soakmist"));
    assert_eq!(rig.open_zones(), 3, "the first was disturbed");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_state_is_refused_in_clear_words_with_valves_closed_and_data_kept() {
    let mut rig = Rig::start();
    rig.until("open", |rig| rig.open_zones() > 0).await;
    rig.daemon.kill();
    let path = state_file(rig.path());
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[100..middle].fill(0x5a);
    std::fs::write(&path, &bytes).unwrap();
    let _ = std::fs::remove_file(path.with_extension("sqlite-wal"));
    rig.restart();
    let (code, _) = rig.daemon.end(Duration::from_secs(20));
    assert_eq!(code, 3, "{}", rig.daemon.said());
    let said = rig.daemon.words();
    assert!(
        said.contains("is damaged") && said.contains("left as it is"),
        "{said}"
    );
    assert_eq!(rig.open_zones(), 0);
    assert_eq!(std::fs::read(&path).unwrap(), bytes);
}

#[tokio::test(flavor = "multi_thread")]
async fn valves_do_not_wait_for_a_state_that_is_long_to_read() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.daemon.kill();
    // Somebody else is at the file: it takes seconds until it can be opened.
    let other = Connection::open(state_file(rig.path())).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    rig.restart();
    rig.until_within(Duration::from_secs(3), "closed", |rig| {
        rig.open_zones() == 0
    })
    .await;
    assert!(!rig.daemon.has_said("soakmist begins"), "it has the state");
    let mut second = Process::start(rig.path(), &[]);
    assert_eq!(second.end(Duration::from_secs(2)).0, 3);
    assert!(second.words().contains("in use by another soakmist"));
    other.execute_batch("ROLLBACK").unwrap();
    // Numbers of commands go on from those: the valves obey.
    rig.until("watering again", |rig| rig.open_zones() > 0)
        .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_waits_for_no_state_that_is_long_to_read() {
    let mut rig = Rig::start();
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.daemon.kill();
    let other = Connection::open(state_file(rig.path())).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    rig.restart();
    rig.until("at it", |rig| {
        rig.daemon.has_said("the state takes a while")
    })
    .await;
    rig.daemon.signal("TERM");
    let (code, took) = rig.daemon.end(Duration::from_secs(10));
    assert_eq!(code, 0, "{}", rig.daemon.said());
    assert!(took < Duration::from_secs(3), "{took:?}");
    assert_eq!(rig.open_zones(), 0);
    assert!(!rig.daemon.has_said("soakmist begins"));
    other.execute_batch("ROLLBACK").unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_closes_everything_and_nothing_opens_while_it_lasts() {
    full_disk(Rig::with(("30 s", "0 s"), &[])).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_closes_relays_too() {
    full_disk(Rig::relays(RELAY, ("30 s", "0 s"), &[])).await;
}

async fn full_disk(mut rig: Rig) {
    rig.until("open", |rig| rig.open_zones() > 0).await;
    rig.daemon.kill();
    // No file may grow much beyond what the log is now: it soon runs full.
    let log = state_file(rig.path()).with_extension("sqlite-wal");
    let size = std::fs::metadata(log).unwrap().len() + 64 * 1024;
    rig.daemon = Process::limited(rig.path(), size);
    rig.until("told", |rig| {
        rig.daemon.has_said("the journal cannot be written")
    })
    .await;
    rig.until_within(Duration::from_secs(1), "closed", |rig| {
        rig.open_zones() == 0
    })
    .await;
    let before: f64 = (0..3).map(|zone| rig.open_s(zone)).sum();
    tokio::time::sleep(Duration::from_secs(8)).await;
    let after: f64 = (0..3).map(|zone| rig.open_s(zone)).sum();
    assert!((after - before).abs() < 1e-9, "opened without a journal");
    let told = rig
        .broker
        .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "5"]);
    assert!(told.contains("journal cannot be written"), "{told}");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    // There is room again.
    rig.restart();
    rig.until("watering again", |rig| rig.open_zones() > 0)
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_site_file_broken_on_reload_changes_nothing_and_is_diagnosed() {
    broken_on_reload(Broker::real()).await;
}

pub(super) async fn broken_on_reload(broker: Broker) {
    let mut rig = Rig::at(broker, ("1 min", "0 s"), &[]);
    let file = rig.path().join("site.toml");
    let good = std::fs::read_to_string(&file).unwrap();
    rig.until("open", |rig| rig.open_zones() > 0).await;
    std::fs::write(&file, good.replace("area = \"20 m2\"", "aera = \"20 m2\"")).unwrap();
    rig.daemon.signal("HUP");
    rig.until("kept", |rig| rig.daemon.has_said("the one in force stays"))
        .await;
    let said = rig.daemon.said();
    assert!(said.contains("aera") && said.contains("area"), "{said}");
    assert!(rig.open_zones() > 0, "a run was torn");
    // What does not touch the valves is taken over on the way.
    std::fs::write(&file, good.replace("\"loam\"", "\"clay loam\"")).unwrap();
    rig.daemon.signal("HUP");
    rig.until("in force", |rig| {
        rig.daemon.has_said("read again and is in force")
    })
    .await;
    assert!(rig.open_zones() > 0, "a run was torn");
    // Another flow is another ground: closed, and begun anew.
    let other = good.replace("flow = \"40 L/min\"", "flow = \"39 L/min\"");
    std::fs::write(&file, other).unwrap();
    rig.daemon.signal("HUP");
    rig.until("anew", |rig| {
        rig.daemon.said().matches("soakmist begins").count() == 2
    })
    .await;
    rig.until("watering", |rig| rig.open_zones() > 0).await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loop_that_fails_leaves_every_valve_confirmed_closed() {
    let mut rig = Rig::start();
    // The same daemon within the test, with a listener that fails.
    rig.daemon.kill();
    let start = Start {
        site: Arc::new(rig.site.clone()),
        folder: rig.path().to_owned(),
        state: state_file(rig.path()),
        dry_run: false,
        clock: Arc::new(SystemClock),
    };
    let fails = Arc::new(AtomicBool::new(false));
    let mut parts = start.parts().unwrap();
    let now = Arc::clone(&fails);
    parts.listener = Some(Box::new(move |_, _| {
        assert!(!now.load(Ordering::Relaxed), "on purpose");
    }));
    let (daemon, handle) = Daemon::new(parts).unwrap();
    let word = daemon.word();
    let daemon = tokio::spawn(daemon.run());
    rig.until("open", |rig| rig.open_zones() > 0).await;
    fails.store(true, Ordering::Relaxed);
    // It makes a new plan, and says so.
    word.send(Word::Weather(Vec::new())).await.unwrap();
    let end = tokio::time::timeout(Duration::from_secs(10), daemon).await;
    let end = end.unwrap().unwrap();
    assert!(end.failed);
    assert_eq!(end.unconfirmed, Vec::<DeviceId>::new());
    assert_eq!(rig.open_zones(), 0);
    assert!(!handle.is_served());
}
