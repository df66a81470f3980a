//! The world around one control loop.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::RawHour;
use soakmist::clock::Now;
use soakmist::daemon::{
    Action, Answer, Control, Desk, Effect, Event, Memory, Notice, Request, Settings, Ticket, Turn,
};
use soakmist::mqtt::{Devices, Message, Order, Reading};
use soakmist::simulator::{Publication, SimulatedSite};
use soakmist::site::{Site, load};
use soakmist::store::{Ledger, Opening, Store, StoreError};
use soakmist::valve::{self, CommandId, DeviceId, Moment, RunId, Timing};
use tempfile::TempDir;

use crate::beds;
pub(super) use crate::beds::summer as weather;

/// The site file of the beds.
pub(super) fn text(sown: &str) -> String {
    beds::ground(sown)
}

pub(super) fn site(sown: &str) -> Site {
    load(&text(sown), "beds.toml").unwrap().site
}

pub(super) fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// A run as it was begun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Begun {
    pub(super) zone: usize,
    pub(super) at: DateTime<Utc>,
    pub(super) duration: TimeDelta,
    pub(super) run: RunId,
}

pub(super) struct World {
    folder: TempDir,
    pub(super) site: Arc<Site>,
    devices: Devices,
    topics: BTreeMap<String, usize>,
    pub(super) valves: SimulatedSite,
    pub(super) control: Control,
    desk: Desk,
    pub(super) store: Option<Store>,
    pub(super) now: Now,
    boot: String,
    weather: Vec<RawHour>,
    pub(super) begun: Vec<Begun>,
    pub(super) told: Vec<Notice>,
    pub(super) answers: Vec<Answer>,
    pub(super) stopped: Option<Vec<DeviceId>>,
    is_linked: bool,
    /// How long a report travels to the broker.
    delay: Duration,
    /// Reports on their way, and when they arrive.
    under_way: VecDeque<(Moment, Publication)>,
    /// Writes fail while it is set.
    pub(super) disk_is_full: bool,
}

impl World {
    pub(super) fn new(site: Site, now: DateTime<Utc>, weather: Vec<RawHour>) -> Self {
        let mqtt = site.mqtt.clone().unwrap();
        let now = Now {
            utc: now,
            moment: Moment::from_millis(50_000),
        };
        let devices = Devices::of(&site, &mqtt);
        let topics = devices.subscriptions().iter().enumerate();
        let topics = topics.map(|(index, topic)| (topic.topic.clone(), index));
        let valves = SimulatedSite::of(&site, &mqtt, now.moment);
        let folder = tempfile::tempdir().unwrap();
        let site = Arc::new(site);
        let mut world = Self {
            topics: topics.collect(),
            control: idle(&site, &devices, now),
            folder,
            site,
            devices,
            valves,
            desk: Desk::default(),
            store: None,
            now,
            boot: "boot-1".into(),
            weather,
            begun: Vec::new(),
            told: Vec::new(),
            answers: Vec::new(),
            stopped: None,
            is_linked: true,
            delay: Duration::ZERO,
            under_way: VecDeque::new(),
            disk_is_full: false,
        };
        world.start();
        world
    }

    /// A world whose valves take so long to tell what they have done, with
    /// bounds that fit them.
    pub(super) fn slow(site: Site, now: DateTime<Utc>, weather: Vec<RawHour>) -> Self {
        let mut world = Self::new(site, now, weather);
        world.kill();
        world.delay = Duration::from_secs(150);
        let usual = Timing::default();
        world.devices.set_timing(Timing {
            open_bound: Duration::from_secs(600),
            close_bound: Duration::from_secs(1200),
            most_delay: Duration::from_secs(100),
            repeat: Duration::from_secs(120),
            ..usual
        });
        world.start();
        world
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("state.sqlite")
    }

    /// Opens the state. Another test of this process may just be starting a
    /// program, which holds a copy of the lock until it is one.
    fn open(&self, opening: &Opening) -> Store {
        for _ in 0..10_000 {
            match Store::open(&self.path(), opening, self.now) {
                Err(StoreError::InUse { .. }) => std::thread::yield_now(),
                store => return store.unwrap(),
            }
        }
        panic!("the state stays in use");
    }

    /// Starts the daemon, as its tasks do.
    pub(super) fn start(&mut self) {
        let opening = Opening::in_boot(&self.boot);
        let mut store = self.open(&opening);
        let names: Vec<String> = self.site.zones.iter().map(|z| z.name.clone()).collect();
        let memory = Memory::read(&mut store, &names, self.now).unwrap();
        self.store = Some(store);
        self.desk = Desk::default();
        self.stopped = None;
        let settings = settings(&self.site, &self.devices);
        self.control = Control::new(settings, memory, self.now).unwrap();
        self.tell(Event::Start);
        self.tell(Event::Weather(self.weather.clone()));
        if self.is_linked {
            self.tell(Event::Valve(valve::Event::LinkUp));
        }
    }

    /// The process is gone between two instants.
    pub(super) fn kill(&mut self) {
        self.store = None;
    }

    pub(super) fn is_alive(&self) -> bool {
        self.store.is_some()
    }

    pub(super) fn link(&mut self, up: bool) {
        self.is_linked = up;
        self.tell(Event::Valve(if up {
            valve::Event::LinkUp
        } else {
            valve::Event::LinkDown
        }));
    }

    pub(super) fn ask(&mut self, request: Request) -> Answer {
        self.tell(Event::Ask(request, Ticket(1)));
        self.answers.pop().unwrap()
    }

    pub(super) fn tell(&mut self, event: Event) {
        let actions = self.control.step(event, self.now);
        let effects = self.desk.accept(actions, self.now.moment);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            if !self.is_alive() {
                return;
            }
            match effect {
                Effect::Write(entries) => {
                    let store = self.store.as_mut().unwrap();
                    let done = !self.disk_is_full && store.write(&entries, self.now).is_ok();
                    let (effects, turn) = self.desk.written(done, self.now.moment);
                    self.carry_out(effects);
                    match turn {
                        Some(Turn::Failed) => {
                            self.tell(Event::Valve(valve::Event::JournalFailed));
                        }
                        Some(Turn::Recovered) => {
                            self.tell(Event::Valve(valve::Event::JournalRecovered));
                        }
                        None => {}
                    }
                }
                Effect::Send {
                    device,
                    id,
                    command,
                } => self.send(device, id, command),
                Effect::Do(Action::Plan(assignment)) => {
                    self.tell(Event::Planned(Box::new(assignment.carry_out())));
                }
                Effect::Do(Action::Answer(_, answer)) => self.answers.push(answer),
                Effect::Do(Action::Tell(notice)) => self.note(notice),
                Effect::Do(Action::Stopped { unconfirmed }) => self.stopped = Some(unconfirmed),
                Effect::Do(action) => panic!("not for the outside: {action:?}"),
            }
        }
    }

    fn note(&mut self, notice: Notice) {
        if let Notice::Begins {
            run: Some(run),
            zone,
            duration,
            ..
        } = &notice
        {
            self.begun.push(Begun {
                zone: *zone,
                at: self.now.utc,
                duration: *duration,
                run: *run,
            });
        }
        if std::env::var_os("TELL").is_some() {
            eprintln!("{} {notice:?}", self.now.utc);
        }
        self.told.push(notice);
    }

    fn send(&mut self, device: DeviceId, id: CommandId, command: valve::Command) {
        if !self.is_linked {
            return;
        }
        let order = Order {
            device,
            id,
            command,
        };
        let parcel = self.devices.parcel(order, self.now.utc).unwrap();
        let payload = String::from_utf8(parcel.payload).unwrap();
        let told = self.valves.hear(&parcel.topic, &payload, self.now);
        self.hear(told);
    }

    fn hear(&mut self, told: Vec<Publication>) {
        let arrives = self.now.moment.after(self.delay);
        self.under_way
            .extend(told.into_iter().map(|told| (arrives, told)));
        while let Some((arrives, _)) = self.under_way.front() {
            if *arrives > self.now.moment {
                return;
            }
            let Some((_, publication)) = self.under_way.pop_front() else {
                return;
            };
            if !self.is_linked || !self.is_alive() {
                continue;
            }
            let Some(&subscription) = self.topics.get(&publication.topic) else {
                continue;
            };
            let message = Message {
                subscription,
                payload: publication.payload.into_bytes(),
                stored: false,
                received: self.now.moment,
            };
            for reading in self.devices.read(&message, self.now.moment) {
                if let Reading::Report(device, report) = reading {
                    self.tell(Event::Valve(valve::Event::Report(device, report)));
                }
            }
        }
    }

    /// Time passes, in the steps in which the loop asks for it.
    pub(super) fn run_for(&mut self, span: TimeDelta) {
        let end = self.now.moment.after(span.to_std().unwrap());
        while self.now.moment < end {
            let next = match self.is_alive() {
                true => self.control.next_due(),
                false => end,
            };
            let arrives = self.under_way.front().map(|(arrives, _)| *arrives);
            let next = next.min(arrives.unwrap_or(end));
            let next = next.min(self.desk.next_due().unwrap_or(end)).min(end);
            let step = next.since(self.now.moment).max(Duration::from_millis(200));
            self.pass(step);
        }
    }

    pub(super) fn run_until(&mut self, instant: DateTime<Utc>) {
        self.run_for(instant - self.now.utc);
    }

    fn pass(&mut self, step: Duration) {
        self.now.moment = self.now.moment.after(step);
        self.now.utc += TimeDelta::from_std(step).unwrap();
        let told = self.valves.advance(self.now);
        self.hear(told);
        if self.is_alive() {
            let effects = self.desk.tick(self.now.moment);
            self.carry_out(effects);
            self.tell(Event::Tick);
        }
    }

    /// Somebody sets the wall clock.
    pub(super) fn set_clock(&mut self, step: TimeDelta) {
        self.now.utc += step;
    }

    /// How long a valve was open in truth [s].
    pub(super) fn open_s(&self, zone: usize) -> f64 {
        let valve = self.valves.valve(DeviceId::Zone(zone)).unwrap();
        valve.open_for(self.now.moment).as_secs_f64()
    }

    pub(super) fn is_open(&self, zone: usize) -> bool {
        self.valves.valve(DeviceId::Zone(zone)).unwrap().is_open()
    }

    pub(super) fn all_closed(&self) -> bool {
        (0..self.site.zones.len()).all(|zone| !self.is_open(zone))
    }

    /// Seconds that the journal has booked for a zone: least, estimate, most.
    pub(super) fn booked_s(&self, zone: usize) -> (f64, f64, f64) {
        let store = self.store.as_ref().unwrap();
        let waterings = store.waterings(DateTime::UNIX_EPOCH).unwrap();
        let mine = waterings.iter().filter(|w| w.zone == Some(zone));
        mine.fold((0.0, 0.0, 0.0), |sum, w| {
            (
                sum.0 + w.applied.least.as_secs_f64(),
                sum.1 + w.applied.estimate.as_secs_f64(),
                sum.2 + w.applied.most.as_secs_f64(),
            )
        })
    }
}

fn settings(site: &Arc<Site>, devices: &Devices) -> Settings {
    soakmist::daemon::runtime::settings(site, devices, false)
}

fn idle(site: &Arc<Site>, devices: &Devices, now: Now) -> Control {
    Control::new(settings(site, devices), Memory::default(), now).unwrap()
}
