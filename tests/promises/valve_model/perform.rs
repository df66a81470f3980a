//! What the daemon does to journal and wires, and the promises about it.

use soakmist::valve::{
    Action, Command, CommandId, DeviceId, Event, Feedback, JournalEntry, Position,
};

use super::happening::Fate;
use super::physical::{Fault, moment, ticks};
use super::scenario::{Planted, Scenario};
use super::world::{Broken, World};

impl World {
    pub fn perform(
        &mut self,
        actions: &[Action],
        fate: Fate,
        scenario: &Scenario,
    ) -> Result<(), Broken> {
        let mut actions = actions.to_vec();
        if scenario.planted == Planted::PublishBeforeJournal {
            actions.sort_by_key(|action| !matches!(action, Action::Publish { .. }));
        }
        let mut disk_works = true;
        for (number, action) in actions.iter().enumerate() {
            if fate == Fate::KilledAfter(number) {
                self.die();
                return Ok(());
            }
            match action {
                Action::Journal(entry) if disk_works => {
                    let opens = matches!(
                        entry,
                        JournalEntry::Intent {
                            position: Position::Open,
                            ..
                        }
                    );
                    if fate == Fate::DiskFails && opens {
                        disk_works = false;
                    } else {
                        self.write(entry)?;
                    }
                }
                Action::Publish {
                    device,
                    id,
                    command,
                } => self.publish(*device, (*id, *command), disk_works, scenario)?,
                _ => {}
            }
        }
        if fate == Fate::KilledAfter(actions.len()) {
            self.die();
        }
        if !disk_works && let Some(daemon) = &mut self.daemon {
            let actions = daemon.step(Event::JournalFailed, moment(self.tick));
            self.perform(&actions, Fate::Lives, scenario)?;
        }
        Ok(())
    }

    fn die(&mut self) {
        self.daemon = None;
        self.cut_off();
    }

    /// Reports under way are lost, and a bound in ticks begins anew.
    pub fn cut_off(&mut self) {
        self.reports.iter_mut().for_each(|wire| wire.0.clear());
        self.overdue.iter_mut().for_each(|count| *count = 0);
        self.starting = 0;
    }

    fn publish(
        &mut self,
        device: DeviceId,
        message: (CommandId, Command),
        disk_works: bool,
        scenario: &Scenario,
    ) -> Result<(), Broken> {
        let index = self.index(device, scenario);
        let is_open = matches!(message.1, Command::Open { .. });
        if is_open && !disk_works {
            return Ok(());
        }
        if is_open {
            self.check_opening(device, message.0)?;
            self.opened_since_start = true;
        }
        let planted = scenario.planted;
        let is_swallowed = planted == Planted::MasterStaysOpen
            && device == DeviceId::Master
            && !is_open
            && self.opened_since_start;
        let is_dropped = planted == Planted::NeverRepeat
            && !is_open
            && !self.journal.closings_sent.insert(message.0);
        if self.link && !is_swallowed && !is_dropped {
            self.commands[index].0.push((self.tick, message));
        }
        Ok(())
    }

    /// Before the first opening since a start all is closed in truth; an
    /// opening is written down; no run is opened by two commands.
    fn check_opening(&self, device: DeviceId, id: CommandId) -> Result<(), Broken> {
        if !self.opened_since_start
            && let Some(open) = self
                .grounds
                .iter()
                .position(|g| g.is_sound() && g.open && !g.opens_alone())
        {
            return Err(format!(
                "{device} is opened while device {open} is open since before"
            ));
        }
        if !self.journal.has_intent(id) {
            return Err(format!(
                "{device} is opened by {id:?}, which is not written down"
            ));
        }
        Ok(())
    }

    fn write(&mut self, entry: &JournalEntry) -> Result<(), Broken> {
        self.journal.write(entry)?;
        if let JournalEntry::Finished(finished) = entry
            && let Some(run) = finished.run
            && let Some(command) = self.journal.close_account(run)
        {
            let ground = &self.grounds[finished.zone];
            if !ground.is_sound() || ground.opens_alone() {
                return Ok(());
            }
            let flowing = ground.flowing.filter(|flowing| flowing.command == command);
            let truth = flowing.map_or(0, |flowing| flowing.total);
            let (least, most) = (ticks(finished.applied.least), ticks(finished.applied.most));
            // Without an echo, closed by a loss of power just before it is
            // told to close looks like closed as told.
            let is_unseen =
                ground.fault == Fault::BootsClosed && ground.nature.feedback == Feedback::Position;
            let least = least.saturating_sub(u8::from(is_unseen));
            if ground.open || truth < least || truth > most {
                return Err(format!(
                    "{run:?} is written down as {least} to {most} ticks, in truth {truth}, open: {}",
                    ground.open
                ));
            }
        }
        Ok(())
    }
}
