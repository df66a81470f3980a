//! The whole: daemon, journal, wires, devices, and how they change.

use std::hash::{Hash, Hasher};
use std::sync::Arc;
use std::time::Duration;

use soakmist::valve::{
    Action, Alarm, Command, CommandId, DeviceId, Event, MeterFlow, OpenOrder, Phase, Position,
    Report, RunId, Supervisor, ValveState,
};

use super::fingerprint::Quick;
use super::happening::{Fate, Happening};
use super::journal::Journal;
use super::physical::{Fault, Ground, Wire, moment};
use super::scenario::{Budget, Planted, Scenario};

/// A state of the whole.
#[derive(Debug, Clone)]
pub struct World {
    pub tick: u8,
    pub daemon: Option<Supervisor>,
    pub journal: Journal,
    pub link: bool,
    pub grounds: Vec<Ground>,
    pub commands: Vec<Wire<(CommandId, Command)>>,
    pub reports: Vec<Wire<Report>>,
    pub budget: Budget,
    /// Ticks for which each device was open beyond what it should be, while
    /// the daemon lived and had a connection.
    pub overdue: Vec<u8>,
    /// Ticks since the start with nothing opened yet, likewise.
    pub starting: u8,
    /// Whether something was opened since the start.
    pub opened_since_start: bool,
}

/// A broken promise.
pub type Broken = String;

impl World {
    pub fn new(scenario: &Scenario) -> Self {
        let devices: Vec<_> = scenario.installation.devices().collect();
        let grounds = devices.iter().map(|(id, nature)| {
            let fault = if *id == DeviceId::Zone(0) {
                scenario.fault
            } else {
                Fault::None
            };
            Ground::new(*nature, fault)
        });
        Self {
            tick: 0,
            daemon: None,
            journal: Journal::default(),
            link: true,
            grounds: grounds.collect(),
            commands: devices.iter().map(|_| Wire::default()).collect(),
            reports: devices.iter().map(|_| Wire::default()).collect(),
            budget: scenario.budget,
            overdue: vec![0; devices.len()],
            starting: 0,
            opened_since_start: false,
        }
    }

    pub fn fingerprint(&self) -> u64 {
        let mut hasher = Quick::default();
        self.daemon
            .as_ref()
            .map(Supervisor::known)
            .hash(&mut hasher);
        self.journal.hash(&mut hasher);
        self.link.hash(&mut hasher);
        self.grounds.hash(&mut hasher);
        self.commands.hash(&mut hasher);
        self.reports.hash(&mut hasher);
        self.budget.hash(&mut hasher);
        (&self.overdue, self.starting, self.opened_since_start).hash(&mut hasher);
        self.tick.hash(&mut hasher);
        hasher.finish()
    }

    /// What comes of a happening, and what the daemon did.
    pub fn after(
        &self,
        happening: Happening,
        fate: Fate,
        scenario: &Scenario,
    ) -> Result<(Self, Vec<Action>), Broken> {
        let mut next = self.clone();
        if let Fate::KilledAfter(_) = fate {
            next.budget.kills -= 1;
        }
        if fate == Fate::DiskFails {
            next.budget.disk_failures -= 1;
        }
        let mut done: Vec<Action> = Vec::new();
        let mut fate = fate;
        for event in next.events(happening, scenario) {
            let Some(daemon) = &mut next.daemon else {
                break;
            };
            let actions = daemon.step(event, moment(next.tick));
            next.perform(&actions, fate, scenario)?;
            if let Fate::KilledAfter(left) = &mut fate {
                *left = left.wrapping_sub(actions.len());
            }
            done.extend(actions);
        }
        for (overdue, ground) in next.overdue.iter_mut().zip(&next.grounds) {
            if !ground.open {
                *overdue = 0;
            }
        }
        if happening == Happening::Tick {
            next.count_overdue();
        }
        Ok((next, done))
    }

    /// Moves devices and wires; what the daemon hears of it.
    fn events(&mut self, happening: Happening, scenario: &Scenario) -> Vec<Event> {
        match happening {
            Happening::Tick => self.pass_time(scenario),
            Happening::DeliverCommand(index) => self.command(index, 0, true, false),
            Happening::CopyCommand(index) => self.command(index, 0, false, false),
            Happening::OvertakeCommand(index) => self.command(index, 1, true, false),
            Happening::SlipCommand(index) => {
                self.budget.device_faults -= 1;
                self.command(index, 0, true, true)
            }
            Happening::LoseCommand(index) => {
                self.budget.losses -= 1;
                self.commands[index].0.remove(0);
                vec![]
            }
            Happening::DeliverReport(index) => self.report(index, 0, true, scenario),
            Happening::CopyReport(index) => self.report(index, 0, false, scenario),
            Happening::OvertakeReport(index) => self.report(index, 1, true, scenario),
            Happening::LoseReport(index) => {
                self.budget.losses -= 1;
                self.reports[index].0.remove(0);
                vec![]
            }
            Happening::OpenItself => {
                self.budget.device_faults -= 1;
                let report = self.grounds[0].open_itself();
                self.say(0, Some(report));
                vec![]
            }
            Happening::Reboot(knows_number) => {
                self.budget.device_faults -= 1;
                let report = self.grounds[0].reboot(knows_number, self.tick);
                self.say(0, Some(report));
                vec![]
            }
            Happening::Order(index) => vec![Event::Open(self.order(index, scenario))],
            Happening::UserClose(zone) => {
                self.budget.user_closes -= 1;
                vec![Event::Close(zone)]
            }
            Happening::Restart => self.restart(scenario),
            Happening::Cut => {
                self.budget.cuts -= 1;
                self.link = false;
                self.cut_off();
                vec![Event::LinkDown]
            }
            Happening::Mend => {
                self.link = true;
                vec![Event::LinkUp]
            }
            Happening::DiskMended => vec![Event::JournalRecovered],
            Happening::Shutdown => {
                self.budget.shutdowns -= 1;
                vec![Event::Shutdown]
            }
        }
    }

    fn pass_time(&mut self, scenario: &Scenario) -> Vec<Event> {
        self.tick += 1;
        for index in 0..self.grounds.len() {
            if self.grounds[index]
                .lease_end
                .is_some_and(|end| self.tick >= end)
            {
                self.grounds[index].shut(self.tick);
                let report = self.grounds[index].says();
                self.say(index, Some(report));
            }
        }
        let mut events = vec![Event::Tick];
        if scenario.installation.meter.is_some() && self.link {
            events.push(Event::Flow(self.flow(scenario)));
        }
        events
    }

    /// What the meter before everything shows.
    fn flow(&self, scenario: &Scenario) -> MeterFlow {
        let master = scenario.installation.master.map(|_| self.grounds.last());
        if master.flatten().is_some_and(|master| !master.open) {
            return MeterFlow::default();
        }
        let zones = scenario.installation.zones.iter().zip(&self.grounds);
        zones
            .filter(|(_, ground)| ground.open)
            .fold(MeterFlow::default(), |sum, (zone, _)| sum.plus(zone.flow))
    }

    fn command(&mut self, index: usize, place: usize, once: bool, slips: bool) -> Vec<Event> {
        let (_, (id, command)) = self.commands[index].0[place];
        if once {
            self.commands[index].0.remove(place);
        } else {
            self.budget.copies -= 1;
        }
        let report = self.grounds[index].obey(id, command, self.tick, slips);
        self.say(index, report);
        vec![]
    }

    fn report(
        &mut self,
        index: usize,
        place: usize,
        once: bool,
        scenario: &Scenario,
    ) -> Vec<Event> {
        let (_, mut report) = self.reports[index].0[place];
        if once {
            self.reports[index].0.remove(place);
        } else {
            self.budget.copies -= 1;
        }
        if scenario.planted == Planted::BelieveStaleReports {
            report.echo = report.echo.map(|_| CommandId(u64::MAX));
        }
        vec![Event::Report(self.id(index, scenario), report)]
    }

    fn say(&mut self, index: usize, report: Option<Report>) {
        if let Some(report) = report
            && self.link
            && self.daemon.is_some()
        {
            self.reports[index].0.push((self.tick, report));
        }
    }

    fn order(&self, index: usize, scenario: &Scenario) -> OpenOrder {
        let (zone, duration) = scenario.orders[index];
        OpenOrder {
            run: RunId(index as u64 + 1),
            zone,
            duration,
            issued: moment(self.tick),
            valid_for: Duration::from_secs(2),
        }
    }

    fn restart(&mut self, scenario: &Scenario) -> Vec<Event> {
        let daemon = Supervisor::new(Arc::clone(&scenario.installation));
        self.daemon = Some(daemon.expect("the scenario's installation is sound"));
        self.opened_since_start = false;
        self.starting = 0;
        let mut recovery = self.journal.recovery();
        match scenario.planted {
            Planted::ForgetRuns => recovery.last_run = RunId(0),
            Planted::ForgetUnfinished => recovery.unfinished.clear(),
            _ => {}
        }
        let mut events = vec![Event::Start(recovery)];
        if self.link {
            events.push(Event::LinkUp);
        }
        if scenario.planted == Planted::TrustAtStart {
            let closed = Report {
                position: Position::Closed,
                echo: Some(CommandId(u64::MAX)),
            };
            let devices = scenario.installation.devices();
            events.extend(devices.map(|(id, _)| Event::Report(id, closed)));
        }
        events
    }

    pub fn id(&self, index: usize, scenario: &Scenario) -> DeviceId {
        let mut devices = scenario.installation.devices();
        devices.nth(index).expect("one ground for each device").0
    }

    pub fn index(&self, id: DeviceId, scenario: &Scenario) -> usize {
        let mut devices = scenario.installation.devices();
        let found = devices.position(|(device, _)| device == id);
        found.expect("one ground for each device")
    }

    fn count_overdue(&mut self) {
        let Some(daemon) = self.daemon.as_ref().filter(|_| self.link) else {
            return;
        };
        let known = daemon.known();
        if known.phase == Phase::Starting {
            self.starting += 1;
        }
        for (index, (id, state)) in known.fleet.iter().enumerate() {
            let ground = &self.grounds[index];
            let is_to_close = matches!(
                state,
                ValveState::Closing { .. } | ValveState::Faulted { .. }
            );
            let deadline = ground
                .flowing
                .filter(|_| id != DeviceId::Master)
                .and_then(|flowing| self.journal.deadline(flowing.command));
            let is_late = deadline.is_some_and(|deadline| self.tick >= deadline);
            let is_unnoticed = ground.fault == Fault::BootsOpen && state.is_closed();
            if ground.open && (is_to_close || is_late || is_unnoticed) {
                self.overdue[index] = self.overdue[index].saturating_add(1);
            } else {
                self.overdue[index] = 0;
            }
        }
    }

    pub fn has_alarm(&self, alarm: Alarm) -> bool {
        let known = self.daemon.as_ref().map(Supervisor::known);
        known.is_some_and(|known| known.alarms.contains(alarm))
    }
}
