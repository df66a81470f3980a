//! Supervisor and store together, killed before and after every single write:
//! no run is given twice, none is lost, what is booked is what flowed.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::clock::Now;
use soakmist::store::{Entry, Ledger, Opening, Store, StoreError};
use soakmist::valve::{
    Action, Actuation, Command, CommandId, Device, DeviceId, Event, Feedback, Installation,
    MeterFlow, Moment, OpenOrder, OthersWhenFaulted, Phase, Position, Report, RunId, Supervisor,
    Timing, ZoneDevice,
};
use tempfile::TempDir;

/// A store that dies at a write.
struct Mortal {
    store: Store,
    writes_left: usize,
    /// Whether the last write still reaches the disk.
    completes: bool,
    dead: bool,
}

impl Ledger for Mortal {
    fn write(&mut self, entries: &[Entry], now: Now) -> Result<(), StoreError> {
        if self.writes_left == 0 {
            self.dead = true;
            if self.completes {
                self.store.write(entries, now)?;
            }
            return Err(StoreError::Full);
        }
        self.writes_left -= 1;
        self.store.write(entries, now)
    }
}

/// A valve, and the water it let through by run of its open command.
#[derive(Debug, Clone, Default)]
struct Valve {
    open_since: Option<u64>,
    command: CommandId,
    seconds: u64,
}

/// The garden in the ground; outlives every daemon.
struct Garden {
    valves: [Valve; 2],
    openings: BTreeMap<CommandId, usize>,
}

impl Garden {
    fn obey(&mut self, zone: usize, id: CommandId, command: Command, second: u64) -> Report {
        let valve = &mut self.valves[zone];
        valve.command = id;
        match command {
            Command::Open { .. } => {
                valve.open_since.get_or_insert(second);
                *self.openings.entry(id).or_default() += 1;
            }
            Command::Close => {
                if let Some(since) = valve.open_since.take() {
                    valve.seconds += second - since;
                }
            }
        }
        Report {
            position: if valve.open_since.is_some() {
                Position::Open
            } else {
                Position::Closed
            },
            echo: Some(id),
        }
    }
}

fn installation() -> Arc<Installation> {
    let zone = ZoneDevice {
        device: Device {
            actuation: Actuation::OnOff,
            feedback: Feedback::Echo,
        },
        flow: MeterFlow::from_ml_per_min(9000),
        rest: Duration::ZERO,
    };
    Arc::new(Installation {
        zones: vec![zone, zone],
        master: None,
        pump: None,
        supply: MeterFlow::from_ml_per_min(9000),
        meter: None,
        timing: Timing::default(),
        others: OthersWhenFaulted::Hold,
        longest_run: Duration::from_secs(600),
    })
}

fn now(second: u64) -> Now {
    let utc = DateTime::<Utc>::from_timestamp(1_715_000_000, 0).expect("a valid instant");
    Now {
        utc: utc + TimeDelta::seconds(i64::try_from(second).expect("a small number")),
        moment: Moment::from_millis(1000 * second),
    }
}

/// One life of the daemon.
struct Life<'a> {
    supervisor: Supervisor,
    ledger: Mortal,
    garden: &'a mut Garden,
    second: u64,
}

impl Life<'_> {
    /// Tells an event and does what follows; false once dead.
    fn tell(&mut self, event: Event) -> bool {
        let actions = self.supervisor.step(event, now(self.second).moment);
        let mut told = Vec::new();
        for action in actions {
            match action {
                Action::Journal(entry) => {
                    let entries = [Entry::Valve(entry)];
                    if self.ledger.write(&entries, now(self.second)).is_err() {
                        return false;
                    }
                }
                Action::Publish {
                    device: DeviceId::Zone(zone),
                    id,
                    command,
                } => {
                    let report = self.garden.obey(zone, id, command, self.second);
                    told.push(Event::Report(DeviceId::Zone(zone), report));
                }
                _ => {}
            }
        }
        told.into_iter().all(|event| self.tell(event))
    }

    /// Lives until the end of the day, or until killed; when that is.
    fn live(mut self, end: u64) -> (u64, Mortal) {
        let recovery = self.ledger.store.recovery(now(self.second));
        let recovery = recovery.expect("the state can be read");
        let mut alive = self.tell(Event::Start(recovery)) && self.tell(Event::LinkUp);
        while alive && self.second < end {
            self.second += 1;
            alive = self.tell(Event::Tick);
            // Every 100 s a run of 60 s, on one zone and then the other.
            let running = self.supervisor.known().phase == Phase::Running;
            if alive && running && self.second.is_multiple_of(100) {
                let run = self.ledger.store.last_run().expect("the state can be read");
                alive = self.tell(Event::Open(OpenOrder {
                    run: RunId(run.0 + 1),
                    zone: usize::from(self.second.is_multiple_of(200)),
                    duration: Duration::from_secs(60),
                    issued: now(self.second).moment,
                    valid_for: Duration::from_secs(10),
                }));
            }
        }
        (self.second, self.ledger)
    }
}

/// The files as a kill leaves them, at a new place.
fn as_a_kill_leaves_it(path: &Path, name: &str) -> PathBuf {
    let next = path.with_file_name(name);
    fs::copy(path, &next).expect("the state");
    let log = |path: &Path| PathBuf::from(format!("{}-wal", path.display()));
    if log(path).exists() {
        fs::copy(log(path), log(&next)).expect("its log");
    }
    next
}

fn open(path: &Path, second: u64) -> Store {
    let mut store = Store::open(path, &Opening::in_boot("may"), now(second)).expect("sound");
    let names = ["front-lawn".to_owned(), "side-strip".to_owned()];
    store.use_zones(&names, now(second)).expect("zones");
    store
}

const END: u64 = 690;

/// A day with a kill at a write, and a restart 7 s later. Whether the kill
/// came before the end of the day.
fn a_day(kill_at: usize, completes: bool) -> bool {
    let folder = TempDir::new().expect("a folder");
    let mut garden = Garden {
        valves: Default::default(),
        openings: BTreeMap::new(),
    };
    let path = folder.path().join("first.db");
    let mut life = |path: &Path, second: u64, writes_left: usize| {
        let ledger = Mortal {
            store: open(path, second),
            writes_left,
            completes,
            dead: false,
        };
        let life = Life {
            supervisor: Supervisor::new(installation()).expect("sound"),
            ledger,
            garden: &mut garden,
            second,
        };
        life.live(END)
    };
    let (killed_at, ledger) = life(&path, 1, kill_at);
    let was_killed = ledger.dead;
    let second_path = as_a_kill_leaves_it(&path, "second.db");
    drop(ledger);
    let (_, ledger) = life(&second_path, killed_at + 7, usize::MAX);

    let waterings = ledger
        .store
        .waterings(DateTime::UNIX_EPOCH)
        .expect("readable");
    let what = format!("killed at write {kill_at}, completed: {completes}");
    let unfinished = ledger
        .store
        .recovery(now(END))
        .expect("readable")
        .unfinished;
    assert!(unfinished.is_empty(), "{what}: {unfinished:?}");
    assert!(
        garden.openings.values().all(|times| *times == 1),
        "{what}: given twice"
    );
    for (zone, valve) in garden.valves.iter().enumerate() {
        assert_eq!(
            valve.open_since, None,
            "{what}: zone {zone} is open at the end"
        );
        let of_zone = || waterings.iter().filter(|w| w.zone == Some(zone));
        let least: u64 = of_zone().map(|w| w.applied.least.as_secs()).sum();
        let most: u64 = of_zone().map(|w| w.applied.most.as_secs()).sum();
        let truth = valve.seconds;
        assert!(
            least <= truth && truth <= most,
            "{what}: {least} {truth} {most}"
        );
        assert!(
            most - truth <= 7 + 60,
            "{what}: {most} booked at most, {truth} flowed"
        );
    }
    was_killed
}

#[test]
fn killed_before_and_after_every_write_nothing_is_lost_or_given_twice() {
    for completes in [false, true] {
        let days = (0..)
            .take_while(|kill_at| a_day(*kill_at, completes))
            .count();
        println!("{days} writes a day, killed at each, completed: {completes}");
        assert!(days > 20);
    }
}
