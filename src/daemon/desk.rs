//! What the control loop decides, in the order in which it may be carried
//! out: nothing opens before it is written down, and closings wait for
//! nothing.
//!
//! The disk may be slow: while a write is under way closings are sent at
//! once, ahead of it, and take an opening of the same valve that still waits
//! with them. When a write fails nothing opens; what was to be written is
//! kept, within a bound, and tried again.

use std::collections::VecDeque;
use std::time::Duration;

use super::control::Action;
use crate::store::Entry;
use crate::valve::{Command, CommandId, DeviceId, JournalEntry, Moment, Position};

/// Entries that are kept for a disk that takes none. When everything is
/// closed hardly any come.
const MOST_KEPT: usize = 10_000;
/// Pause between two tries.
const RETRY: Duration = Duration::from_secs(5);

/// What is to be done now.
#[derive(Debug)]
pub enum Effect {
    /// Write these as one, durably, and tell [`Desk::written`].
    Write(Vec<Entry>),
    /// Send a command.
    Send {
        /// To which device.
        device: DeviceId,
        /// Its number.
        id: CommandId,
        /// What.
        command: Command,
    },
    /// Anything else.
    Do(Action),
}

enum Item {
    Write(Entry),
    Open {
        device: DeviceId,
        id: CommandId,
        command: Command,
        since: Moment,
    },
    Do(Action),
}

/// The order of things.
#[derive(Default)]
pub struct Desk {
    queue: VecDeque<Item>,
    /// What is being written.
    writing: Option<Vec<Entry>>,
    /// What could not be written; some means that the journal is broken.
    kept: Option<Vec<Entry>>,
    retry_at: Option<Moment>,
}

/// How a write came out, for the supervisor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// The journal failed with this write.
    Failed,
    /// It works again.
    Recovered,
}

impl Desk {
    /// Takes what was decided at an instant.
    pub fn accept(&mut self, actions: Vec<Action>, now: Moment) -> Vec<Effect> {
        let mut effects = Vec::new();
        for action in actions {
            match action {
                Action::Write(entry) => self.queue.push_back(Item::Write(entry)),
                Action::Publish {
                    device,
                    id,
                    command: command @ Command::Open { .. },
                } => self.queue.push_back(Item::Open {
                    device,
                    id,
                    command,
                    since: now,
                }),
                Action::Publish {
                    device,
                    id,
                    command,
                } => {
                    self.queue.retain(
                        |item| !matches!(item, Item::Open { device: d, .. } if *d == device),
                    );
                    effects.push(Effect::Send {
                        device,
                        id,
                        command,
                    });
                }
                action @ (Action::Answer(..) | Action::Stopped { .. }) => {
                    self.queue.push_back(Item::Do(action));
                }
                action @ (Action::Plan(_) | Action::Tell(_)) => effects.push(Effect::Do(action)),
            }
        }
        self.proceed(now, &mut effects);
        effects
    }

    /// The write that was asked for has succeeded, or not.
    pub fn written(&mut self, is_done: bool, now: Moment) -> (Vec<Effect>, Option<Turn>) {
        let entries = self.writing.take().unwrap_or_default();
        let mut effects = Vec::new();
        let was_broken = self.kept.is_some();
        let turn = match (is_done, was_broken) {
            (true, false) => None,
            (true, true) => {
                self.kept = None;
                self.retry_at = None;
                Some(Turn::Recovered)
            }
            (false, _) => {
                self.keep(entries);
                self.retry_at = Some(now.after(RETRY));
                self.queue.retain(|item| !matches!(item, Item::Open { .. }));
                (!was_broken).then_some(Turn::Failed)
            }
        };
        self.proceed(now, &mut effects);
        (effects, turn)
    }

    /// Time has passed: tries again to write what could not be written.
    pub fn tick(&mut self, now: Moment) -> Vec<Effect> {
        let mut effects = Vec::new();
        if self.writing.is_none() && self.retry_at.is_some_and(|at| now >= at) {
            self.retry_at = None;
            if let Some(kept) = &mut self.kept {
                let entries = std::mem::take(kept);
                self.writing = Some(entries.clone());
                effects.push(Effect::Write(entries));
            }
        }
        effects
    }

    /// When [`Desk::tick`] is due.
    #[must_use]
    pub fn next_due(&self) -> Option<Moment> {
        self.retry_at
    }

    /// Whether everything is written and sent.
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.queue.is_empty() && self.writing.is_none()
    }

    /// Whether the outcome of a write is awaited.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        self.writing.is_some()
    }

    /// Whether the last write succeeded, or there was none.
    #[must_use]
    pub fn is_writing_well(&self) -> bool {
        self.kept.is_none()
    }

    fn keep(&mut self, entries: Vec<Entry>) {
        // An opening that could not be written was not sent either.
        let never_was = |entry: &Entry| {
            matches!(
                entry,
                Entry::Valve(JournalEntry::Intent {
                    position: Position::Open,
                    ..
                })
            )
        };
        let kept = self.kept.get_or_insert_default();
        kept.extend(entries.into_iter().filter(|entry| !never_was(entry)));
        kept.truncate(MOST_KEPT);
    }

    fn proceed(&mut self, now: Moment, effects: &mut Vec<Effect>) {
        while self.writing.is_none() {
            match self.queue.pop_front() {
                None => return,
                Some(Item::Do(action)) => effects.push(Effect::Do(action)),
                Some(Item::Open {
                    device,
                    id,
                    command,
                    since,
                }) => {
                    if let Some(command) = after_waiting(command, now.since(since)) {
                        effects.push(Effect::Send {
                            device,
                            id,
                            command,
                        });
                    }
                }
                Some(Item::Write(entry)) => self.write(entry, effects),
            }
        }
    }

    /// Writes an entry together with those that follow it at once.
    fn write(&mut self, first: Entry, effects: &mut Vec<Effect>) {
        let mut entries = vec![first];
        while let Some(Item::Write(_)) = self.queue.front() {
            if let Some(Item::Write(entry)) = self.queue.pop_front() {
                entries.push(entry);
            }
        }
        if self.kept.is_some() {
            self.keep(entries);
            return;
        }
        self.writing = Some(entries.clone());
        effects.push(Effect::Write(entries));
    }
}

/// An open command that has waited: what is left of it, if anything.
fn after_waiting(command: Command, waited: Duration) -> Option<Command> {
    let Command::Open {
        run_time,
        valid_for,
    } = command
    else {
        return Some(command);
    };
    let left = |span: Duration| span.checked_sub(waited).filter(|left| !left.is_zero());
    Some(Command::Open {
        run_time: left(run_time)?,
        valid_for: left(valid_for)?,
    })
}
