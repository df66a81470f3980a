//! The supervisor: an event and the time in, actions out.

use std::sync::Arc;
use std::time::Duration;

use super::alarm::{Alarm, AlarmSet};
use super::command::{
    Action, Applied, CommandId, Event, FinishCause, FinishedRun, JournalEntry, OpenOrder, Recovery,
    Refusal, RunId,
};
use super::config::{Installation, InstallationError, OthersWhenFaulted};
use super::device::DeviceId;
use super::fleet::{Fleet, unfinished_of};
use super::flow_watch::FlowWatch;
use super::interlock::Interlock;
use super::lease::Lease;
use super::moment::Moment;
use super::state::{Context, Input, ValveState};

/// Command numbers that may have been used without being written down, by
/// closings while the journal could not be written.
const UNWRITTEN_COMMANDS: u64 = 1000;

/// How far the daemon is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// Not started.
    New,
    /// Everything is being closed.
    Starting,
    /// Orders are welcome.
    Running,
    /// Everything is being closed for good.
    Stopping {
        /// Since when.
        since: Moment,
    },
    /// Nothing more will come.
    Stopped,
}

/// The connection to the broker.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Link {
    /// Connected and subscribed.
    Up,
    /// Away.
    Down {
        /// Since when.
        since: Moment,
    },
}

/// Everything that the supervisor knows. Readable as a whole, for status
/// pages and for the model checker.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Knowledge {
    /// How far the daemon is.
    pub phase: Phase,
    /// The connection.
    pub link: Link,
    /// Whether the journal can be written.
    pub journal_works: bool,
    /// Every device.
    pub fleet: Fleet,
    /// Every alarm that stands.
    pub alarms: AlarmSet,
    /// The watch over the flow meter.
    pub flows: FlowWatch,
    /// Highest command number given.
    pub last_command: CommandId,
    /// Highest run number accepted.
    pub last_run: RunId,
}

/// The supervisor of all valves of a site.
///
/// It reads no clock and does nothing itself: the daemon tells it what
/// happened and when, and carries out what it answers, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supervisor {
    pub(super) installation: Arc<Installation>,
    pub(super) known: Knowledge,
    pub(super) now: Moment,
}

impl Supervisor {
    /// A supervisor that has not started.
    ///
    /// # Errors
    /// [`InstallationError`] when its bounds cannot be kept there.
    pub fn new(installation: Arc<Installation>) -> Result<Self, InstallationError> {
        installation.check()?;
        let given = installation.zones.iter().map(|zone| zone.flow).collect();
        let since = Moment::default();
        let known = Knowledge {
            phase: Phase::New,
            link: Link::Down { since },
            journal_works: true,
            fleet: Fleet::default(),
            alarms: AlarmSet::default(),
            flows: FlowWatch::new(given),
            last_command: CommandId::default(),
            last_run: RunId::default(),
        };
        Ok(Self {
            installation,
            known,
            now: since,
        })
    }

    /// What it knows.
    #[must_use]
    pub fn known(&self) -> &Knowledge {
        &self.known
    }

    /// Takes an event at an instant and answers what is to be done, in that
    /// order. An instant before the last one counts as the last one.
    #[must_use]
    pub fn step(&mut self, event: Event, now: Moment) -> Vec<Action> {
        let mut actions = Vec::new();
        let is_start = matches!(event, Event::Start(_));
        if self.known.phase == Phase::Stopped || is_start != (self.known.phase == Phase::New) {
            return actions;
        }
        self.now = self.now.max(now);
        let faulted = self.take(event, &mut actions);
        if faulted {
            self.close_all(FinishCause::Escalated, &mut actions);
        }
        self.settle(&mut actions);
        self.observe_flow(&mut actions);
        self.advance_phase(&mut actions);
        actions
    }

    /// Takes one event; whether a device became faulted by it.
    fn take(&mut self, event: Event, actions: &mut Vec<Action>) -> bool {
        match event {
            Event::Start(recovery) => self.start(&recovery, actions),
            Event::Tick => return self.tick(actions),
            Event::Report(id, report) => {
                return self.apply(id, Input::Report(report), actions);
            }
            Event::Sent(id, command) => return self.apply(id, Input::Sent(command), actions),
            Event::LinkUp => return self.link_up(actions),
            Event::LinkDown => self.link_down(actions),
            Event::Flow(flow) => self.read_flow(flow, actions),
            Event::Open(order) => self.order(&order, actions),
            Event::Close(zone) => {
                let asked = Input::Close(FinishCause::Asked);
                return self.apply(DeviceId::Zone(zone), asked, actions);
            }
            Event::CloseAll => self.close_all(FinishCause::Asked, actions),
            Event::Acknowledge(alarm) if alarm.waits_for_a_person() => {
                self.known.alarms.clear(alarm, actions);
            }
            Event::Acknowledge(_) => {}
            Event::JournalFailed => {
                self.known.journal_works = false;
                self.known.alarms.raise(Alarm::Journal, actions);
                self.close_all(FinishCause::JournalFailed, actions);
            }
            Event::JournalRecovered => {
                self.known.journal_works = true;
                self.known.alarms.clear(Alarm::Journal, actions);
            }
            Event::Shutdown | Event::TaskDied => self.stop(actions),
        }
        false
    }

    fn start(&mut self, recovery: &Recovery, actions: &mut Vec<Action>) {
        self.known.phase = Phase::Starting;
        self.known.link = Link::Down { since: self.now };
        self.known.last_command = CommandId(recovery.last_command.0 + UNWRITTEN_COMMANDS);
        self.known.last_run = recovery.last_run;
        for (zone, flow) in &recovery.learned {
            self.known.flows.recover(*zone, *flow);
        }
        self.finish_forgotten(recovery, actions);
        let installation = Arc::clone(&self.installation);
        for (id, _) in installation.devices() {
            let lease = unfinished_of(recovery, id).map(|run| Lease::recovered(run, self.now));
            let mut ctx = self.context(id, actions);
            let state = ValveState::at_start(lease, &mut ctx);
            self.known.fleet.put(id, state);
        }
    }

    /// Runs that a later one of their zone followed, their end unwritten since
    /// the journal failed: they ended, and nobody knows when.
    fn finish_forgotten(&self, recovery: &Recovery, actions: &mut Vec<Action>) {
        for run in &recovery.unfinished {
            let last = unfinished_of(recovery, DeviceId::Zone(run.zone));
            let is_in_progress = run.zone < self.installation.zones.len()
                && last.is_some_and(|last| last.run == run.run);
            if is_in_progress {
                continue;
            }
            actions.push(Action::Journal(JournalEntry::Finished(FinishedRun {
                run: Some(run.run),
                zone: run.zone,
                applied: Applied {
                    least: Duration::ZERO,
                    estimate: run.planned,
                    most: run.planned,
                },
                cause: FinishCause::Restart,
                at: self.now,
            })));
        }
    }

    fn stop(&mut self, actions: &mut Vec<Action>) {
        if matches!(self.known.phase, Phase::Stopping { .. }) {
            return;
        }
        self.known.phase = Phase::Stopping { since: self.now };
        self.close_all(FinishCause::Shutdown, actions);
    }

    fn tick(&mut self, actions: &mut Vec<Action>) -> bool {
        let timing = &self.installation.timing;
        if let Link::Down { since } = self.known.link
            && self.now >= since.after(timing.link_grace)
        {
            self.known.alarms.raise(Alarm::LinkDown, actions);
        }
        if let Some(meter) = &self.installation.meter
            && self.known.flows.is_silent(meter, self.now)
        {
            self.known.alarms.raise(Alarm::MeterSilent, actions);
        }
        self.apply_all(Input::Tick, actions)
    }

    fn link_up(&mut self, actions: &mut Vec<Action>) -> bool {
        self.known.link = Link::Up;
        self.known.alarms.clear(Alarm::LinkDown, actions);
        self.apply_all(Input::LinkUp, actions)
    }

    fn link_down(&mut self, actions: &mut Vec<Action>) {
        if self.known.link == Link::Up {
            self.known.link = Link::Down { since: self.now };
            self.apply_all(Input::LinkDown, actions);
        }
    }

    fn order(&mut self, order: &OpenOrder, actions: &mut Vec<Action>) {
        match self.admit(order) {
            Ok(()) => {
                self.known.last_run = order.run;
                self.known.flows.admitted(order.zone);
                let alarm = Alarm::NotFed(order.zone);
                self.known.alarms.clear(alarm, actions);
                self.apply(DeviceId::Zone(order.zone), Input::Wait(*order), actions);
            }
            Err(refusal) => {
                let is_learned =
                    refusal == Refusal::Supply && self.interlock().would_fit_as_given(order.zone);
                if is_learned && self.known.flows.refused(order.zone, self.now) {
                    let alarm = Alarm::NotFed(order.zone);
                    self.known.alarms.raise(alarm, actions);
                }
                actions.push(Action::Refused {
                    run: order.run,
                    refusal,
                });
            }
        }
    }

    /// Judges an order as if it were given now.
    ///
    /// # Errors
    /// [`Refusal`]: why it would not be carried out.
    pub fn admit(&self, order: &OpenOrder) -> Result<(), Refusal> {
        match self.known.phase {
            Phase::Running => {}
            Phase::Stopping { .. } | Phase::Stopped => return Err(Refusal::Stopping),
            Phase::New | Phase::Starting => return Err(Refusal::NotReady),
        }
        if self.known.link != Link::Up {
            return Err(Refusal::LinkDown);
        }
        if !self.known.journal_works {
            return Err(Refusal::Journal);
        }
        self.interlock().admit(order)
    }

    fn interlock(&self) -> Interlock<'_> {
        Interlock {
            installation: &self.installation,
            fleet: &self.known.fleet,
            flows: &self.known.flows,
            alarms: &self.known.alarms,
            last_run: self.known.last_run,
            now: self.now,
        }
    }

    pub(super) fn close_all(&mut self, cause: FinishCause, actions: &mut Vec<Action>) {
        self.apply_all(Input::Close(cause), actions);
    }

    pub(super) fn apply_all(&mut self, input: Input, actions: &mut Vec<Action>) -> bool {
        let installation = Arc::clone(&self.installation);
        let mut faulted = false;
        for (id, _) in installation.devices() {
            faulted |= self.apply(id, input, actions);
        }
        faulted
    }

    /// Moves one device; whether it became faulted.
    pub(super) fn apply(&mut self, id: DeviceId, input: Input, actions: &mut Vec<Action>) -> bool {
        let Some(state) = self.known.fleet.get(id).copied() else {
            return false;
        };
        let mut ctx = self.context(id, actions);
        let next = state.step(input, &mut ctx);
        let faulted = ctx.faulted;
        self.known.fleet.put(id, next);
        faulted
    }

    fn context<'a>(&'a mut self, id: DeviceId, actions: &'a mut Vec<Action>) -> Context<'a> {
        let (device, rest) = self.installation.device(id);
        Context {
            now: self.now,
            id,
            device,
            rest,
            timing: &self.installation.timing,
            link_up: self.known.link == Link::Up,
            last_command: &mut self.known.last_command,
            alarms: &mut self.known.alarms,
            actions,
            faulted: false,
        }
    }

    fn advance_phase(&mut self, actions: &mut Vec<Action>) {
        let fleet = &self.known.fleet;
        let is_closing = |state: &ValveState| matches!(state, ValveState::Closing { .. });
        match self.known.phase {
            Phase::Starting => {
                let is_ready = match self.installation.others {
                    OthersWhenFaulted::Hold => fleet.all_closed(),
                    OthersWhenFaulted::Water => !fleet.iter().any(|(_, state)| is_closing(state)),
                };
                if is_ready {
                    self.known.phase = Phase::Running;
                    actions.push(Action::Ready);
                }
            }
            Phase::Stopping { since } => {
                let gives_up = self.now >= since.after(self.installation.timing.stop_bound);
                if fleet.all_closed() || gives_up {
                    let open = fleet.iter().filter(|(_, state)| !state.is_closed());
                    let unconfirmed = open.map(|(id, _)| id).collect();
                    self.known.phase = Phase::Stopped;
                    actions.push(Action::Stopped { unconfirmed });
                }
            }
            Phase::New | Phase::Running | Phase::Stopped => {}
        }
    }

    /// The instant at which the next [`Event::Tick`] is due, if any: one told
    /// earlier changes nothing.
    #[must_use]
    pub fn next_due(&self) -> Option<Moment> {
        let known = &self.known;
        let timing = &self.installation.timing;
        let link_up = known.link == Link::Up;
        let devices = known.fleet.iter();
        let device = devices
            .filter_map(|(_, state)| state.due(link_up, timing))
            .min();
        let grace = match known.link {
            Link::Down { since } if !known.alarms.contains(Alarm::LinkDown) => {
                Some(since.after(timing.link_grace))
            }
            _ => None,
        };
        let stop = match known.phase {
            Phase::Stopping { since } => Some(since.after(timing.stop_bound)),
            _ => None,
        };
        let silent = match &self.installation.meter {
            Some(meter) if !known.alarms.contains(Alarm::MeterSilent) => {
                known.flows.silent_at(meter)
            }
            _ => None,
        };
        [device, grace, stop, silent, self.pump_ready_at()]
            .into_iter()
            .flatten()
            .min()
    }
}
