//! Tasks beside the loop that end before it: each is noticed, and everything
//! is closed.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use soakmist::clock::{Clock, Now, SystemClock};
use soakmist::daemon::runtime::{
    Daemon, End, Gather, Gathering, Rhythm, Start, Word, gather_weather, state_file,
};
use soakmist::valve::DeviceId;
use tokio::sync::{Notify, mpsc, watch};
use tokio::task::{Id, JoinHandle, try_id};

use super::rig::Rig;

/// A clock at which each task that has looked before fails, but the loop.
#[derive(Default)]
struct FailingClock {
    fails: AtomicBool,
    seen: Mutex<BTreeSet<String>>,
    of_loop: Mutex<Option<Id>>,
}

impl Clock for FailingClock {
    fn now(&self) -> Now {
        if let Some(id) = try_id() {
            let fails = self.fails.load(Ordering::SeqCst);
            let mut seen = self.seen.lock().unwrap();
            let is_new = !fails && seen.insert(id.to_string());
            let is_known = is_new || seen.contains(&id.to_string());
            let is_loop = *self.of_loop.lock().unwrap() == Some(id);
            drop(seen);
            assert!(!(fails && is_known && !is_loop), "on purpose");
        }
        SystemClock.now()
    }
}

fn daemon(rig: &mut Rig, clock: Arc<FailingClock>) -> Daemon {
    rig.daemon.kill();
    let start = Start {
        site: Arc::new(rig.site.clone()),
        folder: rig.path().to_owned(),
        state: state_file(rig.path()),
        dry_run: false,
        clock: Arc::clone(&clock) as Arc<dyn Clock>,
    };
    let mut parts = start.parts().unwrap();
    parts.listener = Some(Box::new(move |_, _| {
        *clock.of_loop.lock().unwrap() = try_id();
    }));
    Daemon::new(parts).unwrap().0
}

async fn assert_failed_with_all_closed(rig: &Rig, daemon: JoinHandle<End>) {
    let end = tokio::time::timeout(Duration::from_secs(20), daemon).await;
    let end = end.unwrap().unwrap();
    assert!(end.failed);
    assert_eq!(end.unconfirmed, Vec::<DeviceId>::new());
    assert_eq!(rig.open_zones(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_link_whose_task_has_died_is_replaced_to_close_everything() {
    let mut rig = Rig::start();
    let clock = Arc::new(FailingClock::default());
    let daemon = daemon(&mut rig, Arc::clone(&clock));
    let daemon = tokio::spawn(daemon.run());
    rig.until("open", |rig| rig.open_zones() == 3).await;
    clock.fails.store(true, Ordering::SeqCst);
    assert_failed_with_all_closed(&rig, daemon).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_task_that_ends_before_the_loop_ends_it() {
    let mut rig = Rig::start();
    let mut daemon = daemon(&mut rig, Arc::default());
    let task = tokio::spawn(std::future::pending::<()>());
    daemon.watch("weather", task.abort_handle());
    let daemon = tokio::spawn(daemon.run());
    rig.until("open", |rig| rig.open_zones() > 0).await;
    task.abort();
    assert_failed_with_all_closed(&rig, daemon).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn weather_is_gathered_often_and_told_when_it_has_changed() {
    let asked = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&asked);
    // The third and the fourth time nothing comes.
    let gather: Gather = Arc::new(move |_| match count.fetch_add(1, Ordering::SeqCst) {
        2 | 3 => Err("no network".to_owned()),
        _ => Ok(Vec::new()),
    });
    let (word, mut words) = mpsc::channel(8);
    let again = Arc::new(Notify::new());
    let rhythm = Rhythm {
        pause: Duration::from_millis(100),
        pause_after_failure: Duration::from_millis(20),
        told_again: Duration::from_secs(60),
    };
    let usual = Rhythm::default();
    assert!(usual.pause <= Duration::from_secs(600));
    assert!(usual.pause_after_failure <= Duration::from_secs(120));
    let gathering = Gathering {
        again: Arc::clone(&again),
        frozen: watch::Sender::new(Arc::default()).subscribe(),
    };
    let task = gather_weather(gather, word, (gathering, rhythm));
    assert!(matches!(words.recv().await, Some(Word::Weather(_))));
    let begun = std::time::Instant::now();
    while asked.load(Ordering::SeqCst) < 6 {
        assert!(begun.elapsed() < Duration::from_secs(20));
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    assert!(words.try_recv().is_err(), "told without a change");
    // The loop has forgotten something: all of it is told.
    again.notify_one();
    assert!(matches!(words.recv().await, Some(Word::Weather(_))));
    task.abort();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_has_not_changed_is_not_told_on_mqtt_again() {
    let mut rig = Rig::start();
    rig.until("open", |rig| rig.open_zones() == 3).await;
    tokio::time::sleep(Duration::from_secs(2)).await;
    let told = rig.broker.read(&[
        "-t",
        "beds/soakmist/zone/+",
        "-t",
        "beds/soakmist/status",
        "-W",
        "6",
    ]);
    // What is retained is one message a topic.
    let count = told.lines().count();
    assert!((4..8).contains(&count), "{count}:\n{told}");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}
