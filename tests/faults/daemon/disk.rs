//! A disk that takes nothing, and one that does not answer.

use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use soakmist::clock::{Now, SystemClock};
use soakmist::daemon::runtime::{Daemon, Start, Word, state_file};
use soakmist::store::{Entry, Ledger, Store, StoreError};
use soakmist::valve::DeviceId;

use super::broker::Broker;
use super::process::Process;

use super::rig::{Rig, beds};
use crate::link::mosquitto::free_port;

/// What a person says, with the program itself.
fn soakmist(port: u16, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .args(words)
        .env("SOAKMIST_DAEMON", format!("http://127.0.0.1:{port}"))
        .output()
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_person_says_on_a_full_disk_is_not_called_done() {
    let broker = Broker::real();
    let port = free_port();
    let listen = format!("listen = \"127.0.0.1:{port}\"");
    let text = beds(broker.port(), ("30 s", "0 s")).replace("listen = \"none\"", &listen);
    let mut rig = Rig::of(broker, &text, &[]);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    let done = soakmist(port, &["record", "rain", "0mm"]);
    assert_eq!(done.status.code(), Some(0), "{done:?}");
    rig.daemon.kill();
    let log = state_file(rig.path()).with_extension("sqlite-wal");
    let size = std::fs::metadata(log).unwrap().len() + 64 * 1024;
    rig.daemon = Process::limited(rig.path(), size);
    rig.until("told", |rig| {
        rig.daemon.has_said("the journal cannot be written")
    })
    .await;
    for words in [
        ["record", "rain", "4mm"].as_slice(),
        &["hold", "24h", "match day"],
        &["stop", "east"],
    ] {
        let output = soakmist(port, words);
        let text = String::from_utf8_lossy(&output.stderr);
        // The last words of a program are wrapped.
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(output.status.code(), Some(1), "{words:?}: {text}");
        assert!(text.contains("cannot be written down"), "{words:?}: {text}");
    }
    rig.daemon.kill();
    // What was called done is there, and nothing else.
    let state = Store::reader(&state_file(rig.path())).unwrap();
    let sql = "SELECT count(*), max(what LIKE '%rain%') FROM record";
    let kept = state.query_row(sql, [], |row| {
        Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?))
    });
    assert_eq!(kept.unwrap(), (1, 1));
}

/// A disk whose writes end when it is let go.
struct Hanging {
    ledger: Box<dyn Ledger + Send>,
    hangs: Arc<AtomicBool>,
}

impl Ledger for Hanging {
    fn write(&mut self, entries: &[Entry], now: Now) -> Result<(), StoreError> {
        while self.hangs.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(10));
        }
        self.ledger.write(entries, now)
    }
}

/// Beds watered within this process, on such a disk.
fn on_a_hanging_disk(
    runs: (&str, &str),
) -> (Rig, Daemon, soakmist::daemon::Handle, Arc<AtomicBool>) {
    let mut rig = Rig::with(runs, &[]);
    rig.daemon.kill();
    let start = Start {
        site: Arc::new(rig.site.clone()),
        folder: rig.path().to_owned(),
        state: state_file(rig.path()),
        dry_run: false,
        clock: Arc::new(SystemClock),
    };
    let mut parts = start.parts().unwrap();
    let hangs = Arc::new(AtomicBool::new(false));
    parts.ledger = Box::new(Hanging {
        ledger: parts.ledger,
        hangs: Arc::clone(&hangs),
    });
    let (daemon, handle) = Daemon::new(parts).unwrap();
    (rig, daemon, handle, hangs)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_hangs_closes_everything_and_is_named_until_it_answers() {
    let (rig, daemon, handle, hangs) = on_a_hanging_disk(("30 s", "0 s"));
    let word = daemon.word();
    let daemon = tokio::spawn(daemon.run());
    rig.until("open", |rig| rig.open_zones() > 0).await;
    hangs.store(true, Ordering::SeqCst);
    let is_named = || {
        let alarms = &handle.status().alarms;
        alarms.iter().any(|alarm| alarm.contains("the journal"))
    };
    // A run ends, and cannot be written down.
    rig.until("named", |_| is_named()).await;
    let alarms = &handle.status().alarms;
    assert_eq!(alarms.len(), 1, "no valve is blamed: {alarms:?}");
    rig.until("closed", |rig| rig.open_zones() == 0).await;
    hangs.store(false, Ordering::SeqCst);
    rig.until("over", |_| handle.status().alarms.is_empty())
        .await;
    rig.until("watering again", |rig| rig.open_zones() > 0)
        .await;
    word.send(Word::Stop).await.unwrap();
    let end = daemon.await.unwrap();
    assert_eq!(end.unconfirmed, Vec::<DeviceId>::new());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_waits_for_no_disk_that_hangs() {
    let (rig, daemon, _handle, hangs) = on_a_hanging_disk(("1 min", "1 min"));
    let word = daemon.word();
    let daemon = tokio::spawn(daemon.run());
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    hangs.store(true, Ordering::SeqCst);
    let begun = Instant::now();
    word.send(Word::Stop).await.unwrap();
    let end = tokio::time::timeout(Duration::from_secs(20), daemon).await;
    let took = begun.elapsed();
    hangs.store(false, Ordering::SeqCst);
    let end = end.expect("it ends").unwrap();
    assert_eq!(end.unconfirmed, Vec::<DeviceId>::new());
    assert!(!end.failed);
    assert!(took < Duration::from_secs(5), "{took:?}");
    assert_eq!(rig.open_zones(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_beginning_is_not_begun_while_the_disk_hangs() {
    let (rig, daemon, handle, hangs) = on_a_hanging_disk(("30 s", "0 s"));
    let word = daemon.word();
    let in_force = daemon.site();
    let daemon = tokio::spawn(daemon.run());
    rig.until("open", |rig| rig.open_zones() > 0).await;
    hangs.store(true, Ordering::SeqCst);
    let says = |words: &str| {
        let alarms = &handle.status().alarms;
        alarms.iter().any(|alarm| alarm.contains(words))
    };
    rig.until("named", |_| says("the journal")).await;
    let mut other = rig.site.clone();
    other.zones.pop();
    let other = Box::new(other);
    word.send(Word::Site(other.clone())).await.unwrap();
    rig.until("told", |_| says("The one in force stays")).await;
    word.send(Word::Anew(other.clone())).await.unwrap();
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert!(!daemon.is_finished());
    assert_eq!(in_force.borrow().zones.len(), 3);
    hangs.store(false, Ordering::SeqCst);
    rig.until("over", |_| !says("the journal")).await;
    // Then it is.
    word.send(Word::Site(other)).await.unwrap();
    let end = tokio::time::timeout(Duration::from_secs(20), daemon).await;
    let end = end.expect("it ends").unwrap();
    assert_eq!(end.unconfirmed, Vec::<DeviceId>::new());
    assert_eq!(end.restart.unwrap().zones.len(), 2);
}
