//! The world around one control loop.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::RawHour;
use soakmist::clock::Now;
use soakmist::daemon::{
    Action, Answer, Assignment, Control, Desk, Effect, Event, Memory, Notice, Request, Settings,
    Ticket, Turn, assignment_of,
};
use soakmist::mqtt::{Devices, Message, Order, Reading};
use soakmist::plan::rolling::RollingPlan;
use soakmist::simulator::{Publication, SimulatedSite};
use soakmist::site::{Site, load};
use soakmist::store::{Entry, Ledger, Opening, Store, StoreError};
use soakmist::valve::{self, CommandId, DeviceId, JournalEntry, Moment, RunId, Timing};
use soakmist::weather::series::SeriesHour;
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
    pub(super) boot: String,
    pub(super) weather: Vec<RawHour>,
    pub(super) begun: Vec<Begun>,
    pub(super) told: Vec<Notice>,
    /// Transactions, and what was written in them.
    pub(super) written: (u32, BTreeMap<&'static str, u32>),
    /// Numbers of commands as they were sent.
    pub(super) sent: Vec<CommandId>,
    pub(super) answers: Vec<Answer>,
    /// Closings of valves that the site does not have: topic and payload.
    pub(super) strays: Vec<(String, String)>,
    pub(super) stopped: Option<Vec<DeviceId>>,
    is_to_begin_anew: bool,
    /// Times that the loop asked to begin anew.
    pub(super) anew: u32,
    is_linked: bool,
    /// The kinds of entry of each write.
    pub(super) writes: Vec<Vec<&'static str>>,
    /// How long a report travels to the broker.
    delay: Duration,
    /// How long a planning takes.
    pub(super) planning_takes: Duration,
    /// The planning under way, when it ends, and the latest that waits.
    planning: Option<(Moment, Box<Assignment>)>,
    planned_next: Option<Box<Assignment>>,
    /// Reports on their way, and when they arrive.
    under_way: VecDeque<(Moment, Publication)>,
    /// Writes fail while it is set.
    pub(super) disk_is_full: bool,
    /// Writes do not end while it is set; then [`World::disk_answers`].
    pub(super) disk_hangs: bool,
    hanging: Option<Vec<Entry>>,
    /// The process is gone after so many writes more, before it does anything
    /// else.
    pub(super) dies_after: Option<u32>,
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
            written: (0, BTreeMap::new()),
            sent: Vec::new(),
            answers: Vec::new(),
            strays: Vec::new(),
            stopped: None,
            is_to_begin_anew: false,
            anew: 0,
            is_linked: true,
            writes: Vec::new(),
            delay: Duration::ZERO,
            planning_takes: Duration::ZERO,
            planning: None,
            planned_next: None,
            under_way: VecDeque::new(),
            disk_is_full: false,
            disk_hangs: false,
            hanging: None,
            dies_after: None,
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

    pub(super) fn path(&self) -> PathBuf {
        self.folder.path().join("state.sqlite")
    }

    /// Opens the state. Another test of this process may just be starting a
    /// program, which holds a copy of the lock until it is one.
    fn open(&self, opening: &Opening) -> Store {
        for _ in 0..2_000_000 {
            match Store::open(&self.path(), opening, self.now) {
                Err(StoreError::InUse { .. }) => std::thread::yield_now(),
                store => return store.unwrap(),
            }
        }
        panic!("the state stays in use");
    }

    /// The state as whoever starts next finds it.
    pub(super) fn open_state(&self) -> Store {
        self.open(&Opening::in_boot(&self.boot))
    }

    /// The daemon is gone, and starts with another site file.
    pub(super) fn restart_as(&mut self, site: Site) {
        self.kill();
        let mqtt = site.mqtt.clone().unwrap();
        self.devices = Devices::of(&site, &mqtt);
        let topics = self.devices.subscriptions().iter().enumerate();
        self.topics = topics.map(|(index, t)| (t.topic.clone(), index)).collect();
        self.valves = SimulatedSite::of(&site, &mqtt, self.now.moment);
        self.site = Arc::new(site);
        self.start();
    }

    /// Starts the daemon, as its tasks do.
    pub(super) fn start(&mut self) {
        let opening = Opening::in_boot(&self.boot);
        let mut store = self.open(&opening);
        let memory = Memory::read(&mut store, &self.site, self.now).unwrap();
        self.store = Some(store);
        self.desk = Desk::default();
        self.stopped = None;
        let settings = settings(&self.site, &self.devices);
        self.control = Control::new(settings, memory, self.now).unwrap();
        self.tell(Event::Start);
        self.tell(Event::Weather(self.told_now()));
        if self.is_linked {
            self.tell(Event::Valve(valve::Event::LinkUp));
        }
    }

    /// The weather of this world as a service would tell it now.
    pub(super) fn told_now(&self) -> Vec<SeriesHour> {
        let hours = self.weather.iter();
        let told = |hour: &RawHour| SeriesHour::told(*hour, "the forecast", Some(self.now.utc));
        hours.map(told).collect()
    }

    /// The process is gone between two instants.
    pub(super) fn kill(&mut self) {
        self.store = None;
    }

    /// The plan of a past moment, from the state alone.
    pub(super) fn plan_of(&self, at: DateTime<Utc>) -> RollingPlan {
        let store = self.store.as_ref().unwrap();
        let memory = Memory::as_of(store, self.site.zones.len(), at).unwrap();
        let settings = settings(&self.site, &self.devices);
        let assignment = assignment_of(settings, memory, at).unwrap();
        assignment.carry_out().plan.unwrap()
    }

    /// The plan that would be made now.
    pub(super) fn plan(&self) -> RollingPlan {
        self.control.assignment().carry_out().plan.unwrap()
    }

    /// The process is gone, and so is everything that it wrote.
    pub(super) fn lose_state(&mut self) {
        self.kill();
        for suffix in ["", "-wal", "-shm"] {
            let path = self.path();
            let file = format!("{}{suffix}", path.display());
            let _ = std::fs::remove_file(file);
        }
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

    /// The same, and the answer may come later.
    pub(super) fn ask_for(&mut self, request: Request) {
        self.tell(Event::Ask(request, Ticket(1)));
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
                Effect::Write(entries) if self.disk_hangs => self.hanging = Some(entries),
                Effect::Write(entries) => {
                    self.writes.push(entries.iter().map(kind).collect());
                    self.written.0 += 1;
                    for entry in &entries {
                        *self.written.1.entry(kind(entry)).or_default() += 1;
                    }
                    let store = self.store.as_mut().unwrap();
                    let done = !self.disk_is_full && store.write(&entries, self.now).is_ok();
                    self.dies_after = self.dies_after.map(|left| left.saturating_sub(1));
                    if self.dies_after == Some(0) {
                        self.dies_after = None;
                        self.kill();
                        return;
                    }
                    let (effects, turn) = self.desk.written(done, self.now.moment);
                    self.carry_out(effects);
                    self.turn(turn);
                }
                Effect::Send {
                    device,
                    id,
                    command,
                } => self.send(device, id, command),
                Effect::Do(Action::Plan(assignment)) => self.plan_by_and_by(assignment),
                Effect::Do(Action::Answer(_, answer)) => self.answers.push(answer),
                Effect::Do(Action::Tell(notice)) => self.note(notice),
                Effect::Do(Action::CloseStray(_, parcel)) => {
                    let payload = String::from_utf8(parcel.payload).unwrap();
                    self.strays.push((parcel.topic, payload));
                }
                Effect::Do(Action::Stopped { unconfirmed }) => self.stopped = Some(unconfirmed),
                Effect::Do(Action::BeginAnew) => {
                    self.anew += 1;
                    self.is_to_begin_anew = true;
                    self.tell(Event::Valve(valve::Event::Shutdown));
                }
                Effect::Do(action) => panic!("not for the outside: {action:?}"),
            }
        }
    }

    /// The disk hangs no more: the write under way comes out at last.
    pub(super) fn disk_answers(&mut self, is_done: bool) {
        self.disk_hangs = false;
        let entries = self.hanging.take().unwrap();
        let store = self.store.as_mut().unwrap();
        let is_done = is_done && store.write(&entries, self.now).is_ok();
        let (effects, turn) = self.desk.written(is_done, self.now.moment);
        self.carry_out(effects);
        self.turn(turn);
    }

    /// One at a time, and the latest of those that wait, as the planner of the
    /// program does it.
    fn plan_by_and_by(&mut self, assignment: Box<Assignment>) {
        if self.planning_takes.is_zero() {
            self.tell(Event::Planned(Box::new(assignment.carry_out())));
        } else if self.planning.is_some() {
            self.planned_next = Some(assignment);
        } else {
            let done = self.now.moment.after(self.planning_takes);
            self.planning = Some((done, assignment));
        }
    }

    fn look_at_planner(&mut self) {
        let is_done = |planning: &mut (Moment, Box<Assignment>)| planning.0 <= self.now.moment;
        if let Some((_, assignment)) = self.planning.take_if(is_done) {
            if let Some(next) = self.planned_next.take() {
                self.plan_by_and_by(next);
            }
            self.tell(Event::Planned(Box::new(assignment.carry_out())));
        }
    }

    fn turn(&mut self, turn: Option<Turn>) {
        match turn {
            Some(Turn::Failed) => self.tell(Event::Valve(valve::Event::JournalFailed)),
            Some(Turn::Recovered) => self.tell(Event::Valve(valve::Event::JournalRecovered)),
            None => {}
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
        self.sent.push(id);
        let order = Order {
            device,
            id,
            command,
        };
        let parcel = self.devices.parcel(order, self.now.utc).unwrap();
        if matches!(command, valve::Command::Open { .. }) {
            self.tell(Event::Valve(valve::Event::Sent(device, id)));
        }
        let payload = String::from_utf8(parcel.payload).unwrap();
        let told = self.valves.hear(&parcel.topic, &payload, self.now);
        self.hear(told);
    }

    pub(super) fn hear(&mut self, told: Vec<Publication>) {
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
            let planned = self.planning.as_ref().map(|(done, _)| *done);
            let next = next.min(planned.unwrap_or(end));
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
            let (effects, turn) = self.desk.tick(self.now.moment);
            self.carry_out(effects);
            self.turn(turn);
            self.tell(Event::Tick);
            self.look_at_planner();
        }
        if self.is_to_begin_anew && self.stopped.is_some() {
            self.is_to_begin_anew = false;
            self.kill();
            self.start();
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

    /// No run is in progress and no plan under way.
    pub(super) fn status_is_quiet(&self) -> bool {
        let zones = self.control.status().zones;
        zones
            .iter()
            .all(|zone| zone.open_until.is_none() && zone.valve == "closed")
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

/// An entry in one word.
fn kind(entry: &Entry) -> &'static str {
    match entry {
        Entry::Valve(JournalEntry::Intent { .. }) => "intent",
        Entry::Valve(JournalEntry::Confirmed { .. }) => "confirmed",
        Entry::Valve(JournalEntry::Finished(_)) => "finished",
        Entry::Valve(JournalEntry::Learned { .. }) => "learned",
        Entry::Alarm(..) => "alarm",
        Entry::Record(_) => "record",
        Entry::Weather { .. } => "weather",
        Entry::FrozenHour(..) => "frozen",
        Entry::Probe(_) => "probe",
        Entry::Balance { .. } => "balance",
        Entry::StraysSeen => "strays",
        Entry::Forget(_) => "forget",
        Entry::ClockSet { .. } => "clock",
    }
}

fn settings(site: &Arc<Site>, devices: &Devices) -> Settings {
    soakmist::daemon::runtime::settings(site, devices, false)
}

fn idle(site: &Arc<Site>, devices: &Devices, now: Now) -> Control {
    Control::new(settings(site, devices), Memory::default(), now).unwrap()
}
