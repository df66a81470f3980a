//! What the control loop decides, in the order in which it may be carried
//! out: nothing opens before it is written down, and closings wait for
//! nothing.
//!
//! The disk may be slow: everything that waits for it is written together, so
//! that a thousand openings cost as few syncs as one. While a write is under
//! way closings are sent at once, ahead of it, and take an opening of the same
//! valve that still waits with them. When a write fails nothing opens, neither
//! what it held nor what waited behind it; what was to be written is kept,
//! within a bound, and tried again.

use std::collections::VecDeque;
use std::time::Duration;

use super::control::Action;
use crate::store::Entry;
use crate::valve::{Command, CommandId, DeviceId, JournalEntry, Moment, Position};

/// Entries that are kept for a disk that takes none. When everything is
/// closed hardly any come. When more than that wait for a write that does not
/// end, the journal counts as broken.
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
    /// What stands before its first entry to write is durable, or waits for
    /// the write that is under way.
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
                } => {
                    // A repetition of what was never sent says nothing new.
                    if !self.awaits(id) {
                        self.queue.push_back(Item::Open {
                            device,
                            id,
                            command,
                            since: now,
                        });
                    }
                }
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
                self.open_none();
                (!was_broken).then_some(Turn::Failed)
            }
        };
        self.proceed(now, &mut effects);
        (effects, turn)
    }

    /// Time has passed: tries again to write what could not be written.
    pub fn tick(&mut self, now: Moment) -> (Vec<Effect>, Option<Turn>) {
        let mut effects = Vec::new();
        if self.writing.is_some() && self.kept.is_none() && self.queue.len() > MOST_KEPT {
            self.kept = Some(Vec::new());
            self.open_none();
            return (effects, Some(Turn::Failed));
        }
        if self.writing.is_none() && self.retry_at.is_some_and(|at| now >= at) {
            self.retry_at = None;
            if let Some(kept) = &mut self.kept {
                let entries = std::mem::take(kept);
                self.writing = Some(entries.clone());
                effects.push(Effect::Write(entries));
            }
        }
        (effects, None)
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

    /// Forgets every opening that has not been sent.
    fn open_none(&mut self) {
        self.queue.retain(|item| !matches!(item, Item::Open { .. }));
    }

    /// Whether an opening with this number waits for the disk.
    fn awaits(&self, number: CommandId) -> bool {
        let is_it = |item: &Item| matches!(item, Item::Open { id, .. } if *id == number);
        self.queue.iter().any(is_it)
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

    /// Writes an entry together with all that wait. What stands between them
    /// stays where it is, and is done when they are durable.
    fn write(&mut self, first: Entry, effects: &mut Vec<Effect>) {
        let mut entries = vec![first];
        let mut others = VecDeque::new();
        for item in self.queue.drain(..) {
            match item {
                Item::Write(entry) => entries.push(entry),
                item => others.push_back(item),
            }
        }
        self.queue = others;
        if self.kept.is_some() {
            self.keep(entries);
            self.open_none();
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
