//! Everything that can happen to a world.

use soakmist::valve::{Command, CommandId, Feedback, Phase};

use super::physical::Fault;
use super::scenario::Scenario;
use super::world::World;

/// One thing that can happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happening {
    Tick,
    DeliverCommand(usize),
    LoseCommand(usize),
    CopyCommand(usize),
    OvertakeCommand(usize),
    SlipCommand(usize),
    DeliverReport(usize),
    LoseReport(usize),
    CopyReport(usize),
    OvertakeReport(usize),
    OpenItself,
    /// Loses power; whether it knows an older number afterwards.
    Reboot(bool),
    Order(usize),
    UserClose(usize),
    Restart,
    Cut,
    Mend,
    DiskMended,
    Shutdown,
}

/// How the daemon fares while it does what follows from a happening.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    Lives,
    /// Killed after so many actions.
    KilledAfter(usize),
    /// The first journal entry of an opening cannot be written.
    DiskFails,
}

impl World {
    /// Everything that can happen next.
    pub fn happenings(&self, scenario: &Scenario) -> Vec<Happening> {
        let mut all = Vec::with_capacity(16);
        for index in (0..self.grounds.len()).filter(|index| !scenario.slow.contains(index)) {
            self.wire_happenings(index, scenario, &mut all);
            if !all.is_empty() {
                return all;
            }
        }
        for index in scenario.slow {
            self.wire_happenings(*index, scenario, &mut all);
        }
        let sent = self
            .commands
            .iter()
            .flat_map(|wire| wire.0.first().map(|m| m.0));
        let said = self
            .reports
            .iter()
            .flat_map(|wire| wire.0.first().map(|m| m.0));
        if sent.chain(said).all(|sent| sent == self.tick) && self.tick < scenario.horizon {
            all.push(Happening::Tick);
        }
        let budget = &self.budget;
        if budget.device_faults > 0 && scenario.fault == Fault::OpensItself && !self.grounds[0].open
        {
            all.push(Happening::OpenItself);
        }
        let first = &self.grounds[0];
        if budget.device_faults > 0 && first.boots() {
            all.push(Happening::Reboot(false));
            if first.nature.feedback == Feedback::Echo && first.stored != CommandId::default() {
                all.push(Happening::Reboot(true));
            }
        }
        let Some(daemon) = &self.daemon else {
            all.push(Happening::Restart);
            return all;
        };
        if !self.link {
            all.push(Happening::Mend);
        } else if budget.cuts > 0 {
            all.push(Happening::Cut);
        }
        if !daemon.known().journal_works {
            all.push(Happening::DiskMended);
        }
        if budget.shutdowns > 0 {
            all.push(Happening::Shutdown);
        }
        if daemon.known().phase == Phase::Running {
            all.extend((0..scenario.orders.len()).map(Happening::Order));
            let zones = daemon.known().fleet.zones.iter().enumerate();
            let wanted =
                zones.filter(|(_, state)| budget.user_closes > 0 && state.is_wanted_open());
            all.extend(wanted.map(|(zone, _)| Happening::UserClose(zone)));
        }
        all
    }

    fn wire_happenings(&self, index: usize, scenario: &Scenario, all: &mut Vec<Happening>) {
        let budget = &self.budget;
        let commands = &self.commands[index].0;
        if let Some((_, (_, command))) = commands.first() {
            all.push(Happening::DeliverCommand(index));
            if budget.losses > 0 {
                all.push(Happening::LoseCommand(index));
            }
            if budget.copies > 0 {
                all.push(Happening::CopyCommand(index));
            }
            let slips = self.grounds[index].fault == Fault::MissesPulse && budget.device_faults > 0;
            if slips && self.grounds[index].open && *command == Command::Close {
                all.push(Happening::SlipCommand(index));
            }
        }
        if scenario.overtaking && commands.len() > 1 {
            all.push(Happening::OvertakeCommand(index));
        }
        let reports = &self.reports[index].0;
        if !reports.is_empty() {
            all.push(Happening::DeliverReport(index));
            if budget.losses > 0 {
                all.push(Happening::LoseReport(index));
            }
            if budget.copies > 0 {
                all.push(Happening::CopyReport(index));
            }
        }
        if scenario.overtaking && reports.len() > 1 {
            all.push(Happening::OvertakeReport(index));
        }
    }

    /// The fates to be tried for a happening that made the daemon do `count`
    /// actions.
    pub fn fates(&self, count: usize, opens: bool) -> Vec<Fate> {
        let mut fates = Vec::new();
        if self.budget.kills > 0 {
            fates.extend((0..=count).map(Fate::KilledAfter));
        }
        if self.budget.disk_failures > 0 && opens {
            fates.push(Fate::DiskFails);
        }
        fates
    }
}
