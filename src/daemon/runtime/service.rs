//! The loop as a task: hears everything, asks [`Control`], carries out what
//! it answers.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::time::{Instant, sleep_until, timeout};

use super::manager::Manager;
use super::planner::Planner;
use super::stops::{Set, Stops};
use super::teller::Teller;
use super::writer::Writer;
use super::{Listener, Word, diary};
use crate::clock::{Clock, Now};
use crate::daemon::assignment::Outcome;
use crate::daemon::control::{Action, Control, Event};
use crate::daemon::desk::{Desk, Effect, Turn};
use crate::daemon::handle::{Ask, Counter};
use crate::daemon::notice::Notice;
use crate::daemon::people::{Answer, Request, Ticket};
use crate::daemon::senses::Told;
use crate::daemon::sensors::Sensors;
use crate::mqtt::{Arrival, Devices, Link, Message, Order, Reading, Subscription};
use crate::site::Site;
use crate::store::StoreError;
use crate::valve::{self, Command, DeviceId};
use crate::weather::frozen::Frozen;

/// The loop looks at its clocks at least so often, so that a computer that
/// slept finds out at once.
const LOOK: Duration = Duration::from_secs(1);
/// And not more often than this: timers are no finer.
const BREATH: Duration = Duration::from_millis(1);
/// Pause between two looks of others at how everything stands.
const SHOW: Duration = Duration::from_millis(200);
/// What waits for the disk at the end is waited for so long.
const LAST_WRITE: Duration = Duration::from_secs(2);

/// How the loop came out.
#[derive(Debug)]
pub(super) struct Ended {
    /// Devices that have not confirmed that they are closed.
    pub(super) unconfirmed: Vec<DeviceId>,
    /// The site to start anew with.
    pub(super) restart: Option<Box<Site>>,
}

/// The topics that are read, by subscription.
pub(super) struct Topics {
    names: Vec<String>,
    /// Whether sensors read it.
    are_sensed: Vec<bool>,
}

impl Topics {
    pub(super) fn of(site: &Site, subscriptions: &[Subscription]) -> Self {
        let sensed = Sensors::of(site).subscriptions();
        let is_sensed = |topic: &String| sensed.iter().any(|s| s.topic == *topic);
        let names = subscriptions.iter().map(|s| s.topic.clone());
        let names: Vec<String> = names.collect();
        Self {
            are_sensed: names.iter().map(is_sensed).collect(),
            names,
        }
    }

    fn name(&self, message: &Message) -> &str {
        let name = self.names.get(message.subscription);
        name.map_or("", String::as_str)
    }

    /// What a message tells the sensors, if they read its topic.
    fn sensed(&self, message: &Message) -> Option<Told> {
        let is_sensed = self.are_sensed.get(message.subscription);
        is_sensed.copied().unwrap_or(false).then(|| Told {
            topic: self.name(message).to_owned(),
            payload: message.payload.clone(),
            stored: message.stored,
            received: message.received,
        })
    }
}

/// Everything that the loop works with.
pub(super) struct Service {
    pub(super) topics: Topics,
    pub(super) stops: Stops,
    pub(super) control: Control,
    pub(super) devices: Devices,
    pub(super) link: Arc<Link>,
    pub(super) clock: Arc<dyn Clock>,
    /// Seconds of the site in a real one.
    pub(super) speed: u32,
    pub(super) desk: Desk,
    pub(super) writer: Writer,
    pub(super) planner: Planner,
    pub(super) counter: Counter,
    pub(super) words: mpsc::Receiver<Word>,
    pub(super) teller: Teller,
    pub(super) manager: Manager,
    pub(super) listener: Option<Listener>,
    pub(super) weather_again: Arc<Notify>,
    /// For the next gathering.
    pub(super) frozen: watch::Sender<Arc<Frozen>>,
    /// The highest number of a command, for those who must go on without us.
    pub(super) last_command: Arc<AtomicU64>,
    pub(super) tickets: BTreeMap<Ticket, oneshot::Sender<Answer>>,
    pub(super) next_ticket: u64,
    pub(super) shown: Option<Instant>,
    pub(super) unconfirmed: Option<Vec<DeviceId>>,
    pub(super) restart: Option<Box<Site>>,
}

/// What the loop hears.
enum Heard {
    Link(Arrival),
    Written(Option<Result<(), StoreError>>),
    Planned(Outcome),
    Ask(Option<Ask>),
    Word(Option<Word>),
    Time,
}

impl Service {
    /// Runs until everything is closed for good.
    pub(super) async fn run(mut self) -> Ended {
        self.tell(Event::Start);
        self.manager.ready();
        while self.unconfirmed.is_none() {
            let heard = self.hear().await;
            self.take(heard);
            self.show(false);
            self.manager.alive();
        }
        self.finish_writing().await;
        self.show(true);
        Ended {
            unconfirmed: self.unconfirmed.unwrap_or_default(),
            restart: self.restart,
        }
    }

    async fn hear(&mut self) -> Heard {
        let wake = Instant::now() + self.rest();
        tokio::select! {
            arrival = self.link.next() => Heard::Link(arrival),
            done = self.writer.done() => Heard::Written(done),
            outcome = self.planner.done() => Heard::Planned(outcome),
            ask = self.counter.asks.recv(), if !self.counter.asks.is_closed() => Heard::Ask(ask),
            word = self.words.recv(), if !self.words.is_closed() => Heard::Word(word),
            () = sleep_until(wake) => Heard::Time,
        }
    }

    /// Real time until something is due.
    fn rest(&self) -> Duration {
        let now = self.clock.now().moment;
        let due = self.control.next_due();
        let due = self.desk.next_due().map_or(due, |desk| desk.min(due));
        (due.since(now) / self.speed.max(1)).clamp(BREATH, LOOK)
    }

    fn take(&mut self, heard: Heard) {
        match heard {
            Heard::Link(arrival) => self.take_arrival(arrival),
            Heard::Written(outcome) => self.take_written(outcome),
            Heard::Planned(outcome) => self.tell(Event::Planned(Box::new(outcome))),
            Heard::Ask(Some((request, to))) => self.ask(request, Some(to)),
            Heard::Word(Some(word)) => self.take_word(word),
            // Nobody is left who could ask: the loop goes on.
            Heard::Ask(None) | Heard::Word(None) => {}
            Heard::Time => {
                let (effects, turn) = self.desk.tick(self.clock.now().moment);
                if turn.is_some() {
                    tracing::error!("the journal does not get done: closing everything");
                }
                self.carry_out(effects);
                self.turn(turn);
                self.tell(Event::Tick);
            }
        }
    }

    /// Asks the loop; without `to` the answer is for nobody.
    fn ask(&mut self, request: Request, to: Option<oneshot::Sender<Answer>>) {
        let ticket = Ticket(self.next_ticket);
        self.next_ticket += 1;
        if let Some(to) = to {
            self.tickets.insert(ticket, to);
        }
        self.shown = None;
        self.tell(Event::Ask(request, ticket));
    }

    fn take_arrival(&mut self, arrival: Arrival) {
        match arrival {
            Arrival::Up => {
                self.teller.forget();
                self.tell(Event::Valve(valve::Event::LinkUp));
            }
            Arrival::Down(_) => self.tell(Event::Valve(valve::Event::LinkDown)),
            Arrival::Message(message) => self.take_message(&message),
        }
    }

    fn take_message(&mut self, message: &Message) {
        match self.stops.take(message) {
            // However often it is said, it is written down once.
            Some(Set::Ask(stop)) if self.control.is_done(&stop) => return,
            Some(Set::Ask(stop)) => {
                tracing::info!(topic = self.topics.name(message), "stopped over MQTT");
                return self.ask(stop, None);
            }
            Some(Set::Again(topic)) => return self.teller.again(&topic),
            None => {}
        }
        if let Some(told) = self.topics.sensed(message) {
            self.tell(Event::Sensor(told));
        }
        for reading in self.devices.read(message, self.clock.now().moment) {
            match reading {
                Reading::Report(id, report) => {
                    self.tell(Event::Valve(valve::Event::Report(id, report)));
                }
                Reading::Flow(flow) => self.tell(Event::Valve(valve::Event::Flow(flow))),
                Reading::Unclear { text } => {
                    let topic = self.topics.name(message);
                    tracing::warn!(topic, text, "a message cannot be read");
                }
            }
        }
    }

    fn take_word(&mut self, word: Word) {
        match word {
            Word::Stop => self.stop(),
            Word::Weather(hours) => self.tell(Event::Weather(hours)),
            Word::Site(site) if self.is_same_ground(&site) => {
                tracing::info!("the site file was read again and is in force");
                self.tell(Event::NewSite(Arc::new(*site)));
                self.weather_again.notify_one();
            }
            Word::Site(site) => {
                tracing::info!("zones, valves, topics or broker have changed: starting anew");
                self.restart = Some(site);
                self.stop();
            }
        }
    }

    fn stop(&mut self) {
        self.manager.stopping();
        self.tell(Event::Valve(valve::Event::Shutdown));
    }

    /// Whether a site has the same zones, valves, topics and broker.
    fn is_same_ground(&self, site: &Site) -> bool {
        let present = &self.control.settings.site;
        let valves = |site: &Site| {
            let zones = site.zones.iter();
            let zones = zones.map(|zone| {
                let names = (zone.name.clone(), zone.formerly.clone());
                (names, zone.valve.clone())
            });
            zones.collect::<Vec<_>>()
        };
        let installation = site.mqtt.as_ref().map(|mqtt| {
            let mut devices = Devices::of(site, mqtt);
            devices.set_timing(self.control.settings.installation.timing);
            devices.installation(site)
        });
        present.mqtt == site.mqtt
            && present.place == site.place
            && valves(present) == valves(site)
            && Sensors::of(present).subscriptions() == Sensors::of(site).subscriptions()
            && installation.is_some_and(|new| new == *self.control.settings.installation)
    }

    fn take_written(&mut self, outcome: Option<Result<(), StoreError>>) {
        match outcome {
            Some(Ok(())) => self.written(true),
            Some(Err(error)) => {
                tracing::debug!(%error, "the journal was not written");
                if self.desk.is_writing_well() {
                    tracing::error!(%error, "the journal cannot be written: closing everything");
                }
                self.written(false);
            }
            None => self.writer_died(),
        }
    }

    fn writer_died(&mut self) {
        if self.desk.is_writing() {
            self.written(false);
        }
        if self.unconfirmed.is_none() && !self.control.is_stopping {
            tracing::error!("the thread of the journal has failed: closing everything");
            self.manager.stopping();
            self.tell(Event::Valve(valve::Event::TaskDied));
        }
    }

    fn written(&mut self, is_done: bool) {
        let (effects, turn) = self.desk.written(is_done, self.clock.now().moment);
        self.carry_out(effects);
        self.turn(turn);
    }

    fn turn(&mut self, turn: Option<Turn>) {
        match turn {
            Some(Turn::Failed) => self.tell(Event::Valve(valve::Event::JournalFailed)),
            Some(Turn::Recovered) => {
                tracing::info!("the journal can be written again");
                self.tell(Event::Valve(valve::Event::JournalRecovered));
            }
            None => {}
        }
    }

    fn tell(&mut self, event: Event) {
        let now = self.clock.now();
        let actions = self.control.step(event, now);
        let frozen = self.control.frozen();
        if !Arc::ptr_eq(&self.frozen.borrow(), frozen) {
            self.frozen.send_replace(Arc::clone(frozen));
        }
        let effects = self.desk.accept(actions, now.moment);
        self.carry_out(effects);
    }

    fn carry_out(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Write(entries) => {
                    if !self.writer.write(entries) {
                        self.written(false);
                    }
                }
                Effect::Send {
                    device,
                    id,
                    command,
                } => self.send(Order {
                    device,
                    id,
                    command,
                }),
                Effect::Do(action) => self.act(action),
            }
        }
    }

    fn act(&mut self, action: Action) {
        match action {
            Action::Plan(assignment) => self.planner.take(assignment),
            Action::Answer(ticket, answer) => {
                if let Some(to) = self.tickets.remove(&ticket) {
                    // Whoever asked may have gone.
                    let _ = to.send(answer);
                }
            }
            Action::Tell(notice) => {
                diary::write(&notice, self.control.site());
                if matches!(notice, Notice::ClockRight | Notice::ClockSet(_)) {
                    // Hours far from the wrong time were not kept.
                    self.weather_again.notify_one();
                }
                if let Some(listener) = &self.listener {
                    listener(&notice, self.clock.now());
                }
            }
            Action::Stopped { unconfirmed } => self.unconfirmed = Some(unconfirmed),
            // The desk turns these into effects of their own.
            Action::Write(_) | Action::Publish { .. } => {}
        }
    }

    fn send(&self, order: Order) {
        self.last_command.fetch_max(order.id.0, Ordering::Relaxed);
        let is_open = matches!(order.command, Command::Open { .. });
        if is_open && self.control.settings.dry_run {
            tracing::error!(device = %order.device, "a dry run opens nothing");
            return;
        }
        let now: Now = self.clock.now();
        // The supervisor repeats it or gives it up.
        if let Err(error) = self.devices.send(&self.link, order, now) {
            tracing::debug!(device = %order.device, %error, "a command was not sent");
        }
    }

    /// Lets others see how everything stands, not too often.
    fn show(&mut self, at_once: bool) {
        let is_due = self.shown.is_none_or(|shown| shown.elapsed() >= SHOW);
        if !at_once && !is_due {
            return;
        }
        self.shown = Some(Instant::now());
        let status = Arc::new(self.control.status());
        self.manager.status(&in_a_line(&status));
        if at_once || self.teller.is_due() {
            self.teller.tell(&status, &self.link);
        }
        self.counter.status.send_replace(status);
    }

    /// Waits for what is being written, as long as that makes sense.
    async fn finish_writing(&mut self) {
        let written = async {
            while !self.desk.is_clear() {
                match self.writer.done().await {
                    Some(outcome) => self.take_written(Some(outcome)),
                    None => return,
                }
            }
        };
        let written = timeout(LAST_WRITE, written).await;
        let freed = timeout(LAST_WRITE, self.writer.close()).await;
        if written.is_err() || freed.is_err() {
            tracing::warn!("not everything could be written down");
        }
    }
}

fn in_a_line(status: &crate::daemon::status::Status) -> String {
    let open = status.zones.iter().filter(|zone| zone.valve == "open");
    let open: Vec<&str> = open.map(|zone| zone.name.as_str()).collect();
    let valves = match open.as_slice() {
        [] => "all closed".to_owned(),
        open => format!("open: {}", open.join(", ")),
    };
    match status.alarms.len() {
        0 => format!("{}, {valves}", status.phase),
        alarms => format!("{}, {valves}, {alarms} alarms", status.phase),
    }
}
