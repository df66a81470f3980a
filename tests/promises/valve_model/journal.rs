//! The durable journal of the model: what survives a kill.

use std::collections::BTreeSet;

use soakmist::valve::{
    Begun, CommandId, DeviceId, JournalEntry, Moment, Position, Recovery, RunId, UnfinishedRun,
};

use super::physical::ticks;

/// What survives.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Journal {
    pub last_command: CommandId,
    pub last_run: RunId,
    pub unfinished: Vec<Entry>,
    pub given: BTreeSet<RunId>,
    pub finished: BTreeSet<RunId>,
    /// Openings of master valve and pump.
    pub supply: BTreeSet<CommandId>,
    /// For a planted bug only: closings that were sent once.
    pub closings_sent: BTreeSet<CommandId>,
}

/// A run that is not finished.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Entry {
    pub run: RunId,
    pub zone: usize,
    pub command: CommandId,
    pub sent: Moment,
    pub planned: std::time::Duration,
    pub seen_open: Option<Moment>,
    pub closing: Option<Moment>,
}

impl Journal {
    pub fn write(&mut self, entry: &JournalEntry) -> Result<(), String> {
        match *entry {
            JournalEntry::Intent {
                id,
                device,
                opens,
                position,
                at,
            } => {
                self.last_command = self.last_command.max(id);
                match (opens, device) {
                    (Some((run, planned)), DeviceId::Zone(zone)) => {
                        if !self.given.insert(run) {
                            return Err(format!("{run:?} is given twice"));
                        }
                        self.last_run = self.last_run.max(run);
                        self.unfinished.push(Entry {
                            run,
                            zone,
                            command: id,
                            sent: at,
                            planned,
                            seen_open: None,
                            closing: None,
                        });
                    }
                    _ if position == Position::Open => {
                        // Only the latest can still be sent.
                        self.supply.clear();
                        self.supply.insert(id);
                    }
                    (_, DeviceId::Zone(zone)) => {
                        for run in self.unfinished.iter_mut().filter(|run| run.zone == zone) {
                            run.closing.get_or_insert(at);
                        }
                    }
                    _ => {}
                }
            }
            JournalEntry::Confirmed { id, at, .. } => {
                for run in &mut self.unfinished {
                    if run.command == id {
                        run.seen_open = Some(at);
                    }
                }
            }
            JournalEntry::Finished(finished) => {
                if let Some(run) = finished.run {
                    self.last_run = self.last_run.max(run);
                    if !self.finished.insert(run) {
                        return Err(format!("{run:?} is finished twice"));
                    }
                }
            }
            JournalEntry::Learned { .. } => {}
        }
        Ok(())
    }

    /// Forgets a finished run; the command that opened it.
    pub fn close_account(&mut self, run: RunId) -> Option<CommandId> {
        let place = self.unfinished.iter().position(|entry| entry.run == run)?;
        Some(self.unfinished.remove(place).command)
    }

    pub fn has_intent(&self, id: CommandId) -> bool {
        self.supply.contains(&id) || self.unfinished.iter().any(|run| run.command == id)
    }

    /// The tick at which a run should have ended, while it is unfinished.
    pub fn deadline(&self, command: CommandId) -> Option<u8> {
        let run = self.unfinished.iter().find(|run| run.command == command)?;
        let start = run.sent.since(Moment::from_millis(100_000));
        Some(ticks(start) + ticks(run.planned))
    }

    pub fn recovery(&self) -> Recovery {
        let unfinished = self.unfinished.iter().map(|entry| UnfinishedRun {
            run: entry.run,
            zone: entry.zone,
            command: entry.command,
            planned: entry.planned,
            begun: Begun::SameBoot {
                sent: entry.sent,
                seen_open: entry.seen_open,
                closing: entry.closing,
            },
        });
        Recovery {
            last_command: self.last_command,
            last_run: self.last_run,
            unfinished: unfinished.collect(),
            learned: Vec::new(),
        }
    }
}
