//! The loop as a task: hears everything, asks [`Control`], carries out what
//! it answers.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::{Notify, mpsc, oneshot, watch};
use tokio::task::AbortHandle;
use tokio::time::{Instant, sleep_until, timeout_at};

use super::manager::Manager;
use super::planner::Planner;
use super::stops::{Set, Stops};
use super::teller::Teller;
use super::topics::Topics;
use super::writer::Writer;
use super::{End, Listener, Word, diary};
use crate::clock::{Clock, Now};
use crate::daemon::assignment::Outcome;
use crate::daemon::control::{Action, Control, Event};
use crate::daemon::desk::{Desk, Effect, Turn};
use crate::daemon::handle::{Ask, Counter};
use crate::daemon::notice::Notice;
use crate::daemon::people::{Answer, Request, Ticket};
use crate::mqtt::{Arrival, Devices, Link, Message, Order, Reading};
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
/// What waits for the disk at the end is waited for so long, all in all.
const LAST_WRITE: Duration = Duration::from_secs(2);

/// The link's task has ended: nothing can be sent any more.
#[derive(Debug, thiserror::Error)]
#[error("the task of the link has failed")]
pub(super) struct LinkDied;

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
    /// Whether the last that was heard is that something was due.
    pub(super) has_ticked: bool,
    pub(super) unconfirmed: Option<Vec<DeviceId>>,
    pub(super) restart: Option<Box<Site>>,
    /// Why a site file that was read again is not in force.
    pub(super) kept: Option<String>,
    /// Whether it was told that entries are let go.
    pub(super) lets_go: bool,
    /// The site in force, for those who gather weather.
    pub(super) in_force: watch::Sender<Arc<Site>>,
    /// Tasks that must not end before the loop.
    pub(super) watched: Vec<(&'static str, AbortHandle)>,
    /// Whether the loop ends by a fault of ours.
    pub(super) has_failed: bool,
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
    ///
    /// # Errors
    /// [`LinkDied`]: valves must be told to close by another link.
    pub(super) async fn run(mut self) -> Result<End, LinkDied> {
        self.tell(Event::Start);
        self.manager.ready();
        while self.unconfirmed.is_none() {
            let heard = self.hear().await;
            self.take(heard);
            self.look_after_tasks()?;
            self.show(false);
            self.manager.alive();
        }
        self.finish_writing().await;
        self.show(true);
        Ok(End {
            unconfirmed: self.unconfirmed.unwrap_or_default(),
            failed: self.has_failed,
            restart: self.restart,
        })
    }

    /// Who else works for the loop must live as long as it does.
    fn look_after_tasks(&mut self) -> Result<(), LinkDied> {
        if !self.link.is_running() {
            return Err(LinkDied);
        }
        let mut watched = self.watched.iter();
        let dead = watched.find(|(_, task)| task.is_finished());
        if let Some((name, _)) = dead {
            self.fail(&format!("the task of the {name}"));
        }
        Ok(())
    }

    /// Something of ours has failed, and the loop has not: it closes
    /// everything and ends.
    fn fail(&mut self, what: &str) {
        if self.unconfirmed.is_none() && !self.has_failed {
            tracing::error!("{what} has failed: closing everything");
            self.has_failed = true;
            self.restart = None;
            self.manager.stopping();
            self.tell(Event::Valve(valve::Event::TaskDied));
        }
    }

    /// What is due comes before what is heard: messages without a pause would
    /// keep any timer from its turn. Then something else is heard, or waited
    /// for, even where it is still due.
    async fn hear(&mut self) -> Heard {
        let rest = self.rest();
        if rest.is_zero() && !self.has_ticked {
            self.has_ticked = true;
            return Heard::Time;
        }
        self.has_ticked = false;
        let wake = Instant::now() + rest.max(BREATH);
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
        (due.since(now) / self.speed.max(1)).min(LOOK)
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
                self.look_at_desk();
                self.tell(Event::Tick);
            }
        }
    }

    /// A write that has ended meanwhile, as while the computer slept, does not
    /// hang.
    fn look_at_desk(&mut self) {
        while let Some(outcome) = self.writer.done_by_now() {
            self.take_written(Some(outcome));
        }
        let (effects, turn) = self.desk.tick(self.clock.now().moment);
        self.carry_out(effects);
        self.turn(turn);
        if self.desk.trouble().is_some() && self.desk.let_go().is_any() && !self.lets_go {
            self.lets_go = true;
            tracing::error!(
                "more cannot be written than is kept: the oldest is let go, weather first"
            );
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

    fn take_written(&mut self, outcome: Option<Result<(), StoreError>>) {
        match outcome {
            Some(Ok(())) => self.written(true),
            Some(Err(error)) => {
                if self.desk.trouble().is_none() {
                    tracing::error!(%error, "a write to the state has failed");
                } else {
                    tracing::debug!(%error, "the journal was not written");
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
        self.fail("the thread of the journal");
    }

    fn written(&mut self, is_done: bool) {
        let (effects, turn) = self.desk.written(is_done, self.clock.now().moment);
        self.carry_out(effects);
        self.turn(turn);
    }

    fn turn(&mut self, turn: Option<Turn>) {
        match turn {
            Some(Turn::Failed) => {
                let cause = self.desk.trouble();
                let cause = cause.map(tracing::field::display);
                tracing::error!(cause, "the journal cannot be written: closing everything");
                self.tell(Event::Valve(valve::Event::JournalFailed));
            }
            Some(Turn::Recovered) => {
                tracing::info!("the journal can be written again");
                self.lets_go = false;
                self.tell_losses();
                self.tell(Event::Valve(valve::Event::JournalRecovered));
            }
            None => {}
        }
    }

    /// What the state will never hold.
    fn tell_losses(&self) {
        let gone = self.desk.let_go();
        if gone.is_any() {
            tracing::warn!(
                weather_probes_balances = gone.details,
                commands_alarms = gone.traces,
                water_records = gone.words,
                "entries were too many to be kept for the disk and are not in the state"
            );
        }
    }

    pub(super) fn tell(&mut self, event: Event) {
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
                } => {
                    let order = Order {
                        device,
                        id,
                        command,
                    };
                    if self.send(order) {
                        self.tell(Event::Valve(valve::Event::Sent(device, id)));
                    }
                }
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
            Action::CloseStray(device, parcel) => {
                if let Err(error) = self.link.close(device, parcel) {
                    tracing::debug!(%error, "a closing was not sent");
                }
            }
            Action::BeginAnew => {
                let site = Site::clone(&self.control.settings.site);
                self.begin_anew(
                    Box::new(site),
                    "the clock has become another: the state is read again",
                );
            }
            Action::Stopped { unconfirmed } => self.unconfirmed = Some(unconfirmed),
            // The desk turns these into effects of their own.
            Action::Write(_) | Action::Publish { .. } => {}
        }
    }

    /// Hands an order to the link; whether an opening is on its way.
    fn send(&self, order: Order) -> bool {
        self.last_command.fetch_max(order.id.0, Ordering::Relaxed);
        let is_open = matches!(order.command, Command::Open { .. });
        if is_open && self.control.settings.dry_run {
            tracing::error!(device = %order.device, "a dry run opens nothing");
            return false;
        }
        let now: Now = self.clock.now();
        // The supervisor repeats it or gives it up.
        let sent = self.devices.send(&self.link, order, now);
        if let Err(error) = &sent {
            tracing::debug!(device = %order.device, %error, "a command was not sent");
        }
        is_open && sent.is_ok()
    }

    /// Lets others see how everything stands, not too often.
    fn show(&mut self, at_once: bool) {
        let is_due = self.shown.is_none_or(|shown| shown.elapsed() >= SHOW);
        if !at_once && !is_due {
            return;
        }
        self.shown = Some(Instant::now());
        let mut status = self.control.status();
        status.alarms.extend(self.kept.clone());
        let status = Arc::new(status);
        self.manager.status(&status);
        if at_once || self.teller.is_due() {
            self.teller.tell(&status, &self.link);
        }
        self.counter.status.send_replace(status);
    }

    /// Waits for what is being written, as long as that makes sense.
    async fn finish_writing(&mut self) {
        let until = Instant::now() + LAST_WRITE;
        let effects = self.desk.last_try(self.clock.now().moment);
        self.carry_out(effects);
        let written = async {
            while !self.desk.is_clear() {
                match self.writer.done().await {
                    Some(outcome) => self.take_written(Some(outcome)),
                    None => return,
                }
            }
        };
        let written = timeout_at(until, written).await;
        let freed = timeout_at(until, self.writer.close()).await;
        if written.is_err() || freed.is_err() {
            let entries = self.desk.unwritten();
            tracing::warn!(entries, "not everything could be written down");
            self.tell_losses();
        }
    }
}
