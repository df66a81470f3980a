//! What the control loop decides, in the order in which it may be carried
//! out: nothing opens before it is written down, and closings wait for
//! nothing.
//!
//! The disk may be slow: everything that waits for it is written together, so
//! that a thousand openings cost as few syncs as one. While a write is under
//! way closings are sent at once, ahead of it, and take an opening of the same
//! valve that still waits with them. The end of the loop waits for no write
//! either.
//!
//! When a write fails, or what is to be written has waited for the disk longer
//! than a bound, the journal counts as broken until everything is written.
//! Then nothing opens, neither what the write held nor what waited behind it;
//! a person is told that what they said is not written down; and what was to
//! be written is kept, within a bound, and tried again. A write that ends
//! late has come out as it says: it is not done twice.

use std::collections::VecDeque;
use std::time::Duration;

use super::control::Action;
use super::people::{Answer, Ticket};
use super::unwritten::{self, LetGo, Unwritten};
use crate::store::Entry;
use crate::valve::{Command, CommandId, DeviceId, Moment};

/// Things that wait for a write at most; more, and the journal counts as
/// broken.
const MOST_WAITING: usize = 10_000;
/// What is to be written waits for the disk no longer than this. A card that
/// tidies itself up takes seconds; the supervisor gives an opening that is not
/// confirmed up after ten, and would blame the valve (own choice).
pub const WRITE_BOUND: Duration = Duration::from_secs(10);
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
    Answer(Ticket, Answer, Footing),
}

/// What an answer stands on.
#[derive(Debug, Clone, Copy, Default)]
struct Footing {
    /// Something that is to be remembered was said.
    is_word: bool,
    /// A valve is to be opened.
    opens: bool,
}

/// The order of things.
pub struct Desk {
    /// What is to be written waits no longer.
    bound: Duration,
    /// What waits for the write that is under way. Empty without one, and
    /// while the journal is broken.
    queue: VecDeque<Item>,
    /// Since when the first entry of the queue waits.
    queued_since: Option<Moment>,
    writing: Option<Writing>,
    broken: Option<Broken>,
    /// What was let go the last time that the journal was broken.
    let_go: LetGo,
}

/// A write under way.
struct Writing {
    entries: Vec<Entry>,
    /// Since when the first of them has waited.
    since: Moment,
    /// It has not ended within the bound.
    is_late: bool,
}

/// The journal is broken.
struct Broken {
    trouble: Trouble,
    kept: Unwritten,
    /// When to try again; none while a write is under way.
    retry_at: Option<Moment>,
    /// Whether [`Turn::Failed`] was given.
    is_told: bool,
}

/// How a write came out, for the supervisor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// The journal failed with this write.
    Failed,
    /// It works again, and everything is written.
    Recovered,
}

/// What is the matter with the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Writes fail.
    #[error("the disk is full or broken")]
    Fails,
    /// A write does not end.
    #[error("the disk does not answer")]
    Hangs,
}

impl Default for Desk {
    fn default() -> Self {
        Self::new(WRITE_BOUND)
    }
}

impl Desk {
    /// With a bound on the time that anything waits to be written.
    #[must_use]
    pub fn new(bound: Duration) -> Self {
        Self {
            bound,
            queue: VecDeque::new(),
            queued_since: None,
            writing: None,
            broken: None,
            let_go: LetGo::default(),
        }
    }

    /// Takes what was decided at an instant.
    pub fn accept(&mut self, actions: Vec<Action>, now: Moment) -> Vec<Effect> {
        let mut effects = Vec::new();
        let mut footing = Footing::default();
        for action in actions {
            self.take(action, &mut footing, (now, &mut effects));
        }
        if self.queue.len() > MOST_WAITING {
            self.break_down(Trouble::Hangs);
        }
        self.proceed(now, &mut effects);
        effects
    }

    fn take(
        &mut self,
        action: Action,
        footing: &mut Footing,
        (now, effects): (Moment, &mut Vec<Effect>),
    ) {
        match action {
            Action::Write(entry) => {
                footing.is_word |= unwritten::is_word(&entry);
                self.queued_since.get_or_insert(now);
                self.queue.push_back(Item::Write(entry));
            }
            Action::Publish {
                device,
                id,
                command: command @ Command::Open { .. },
            } => {
                footing.opens = true;
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
                let is_of_it =
                    |item: &Item| matches!(item, Item::Open { device: d, .. } if *d == device);
                self.queue.retain(|item| !is_of_it(item));
                effects.push(Effect::Send {
                    device,
                    id,
                    command,
                });
            }
            Action::Answer(ticket, answer) => {
                self.queue.push_back(Item::Answer(ticket, answer, *footing));
            }
            action => effects.push(Effect::Do(action)),
        }
    }

    /// The write that was asked for has succeeded, or not.
    pub fn written(&mut self, is_done: bool, now: Moment) -> (Vec<Effect>, Option<Turn>) {
        let mut effects = Vec::new();
        let Some(writing) = self.writing.take() else {
            return (effects, None);
        };
        let turn = if is_done {
            self.mend(now, &mut effects)
        } else {
            let broken = self.break_down(Trouble::Fails);
            broken.kept.put_first(writing.entries);
            broken.retry_at = Some(now.after(RETRY));
            broken.news()
        };
        self.proceed(now, &mut effects);
        (effects, turn)
    }

    /// Time has passed: notices a write that does not end, and tries again to
    /// write what could not be written.
    pub fn tick(&mut self, now: Moment) -> (Vec<Effect>, Option<Turn>) {
        let mut effects = Vec::new();
        let bound = self.bound;
        let hanging = self.writing.as_mut().filter(|writing| !writing.is_late);
        if let Some(writing) = hanging
            && now >= writing.since.after(bound)
        {
            writing.is_late = true;
            self.break_down(Trouble::Hangs);
            self.proceed(now, &mut effects);
        }
        let is_due = |broken: &Broken| {
            !broken.is_told || broken.retry_at.is_some_and(|retry_at| now >= retry_at)
        };
        let turn = match self.broken.as_ref().is_some_and(is_due) {
            true => self.mend(now, &mut effects),
            false => None,
        };
        (effects, turn)
    }

    /// When [`Desk::tick`] is due.
    #[must_use]
    pub fn next_due(&self) -> Option<Moment> {
        let broken = self.broken.as_ref();
        let untold = broken.filter(|broken| !broken.is_told);
        let untold = untold.map(|_| Moment::default());
        let retry = broken.and_then(|broken| broken.retry_at);
        let writing = self.writing.as_ref().filter(|writing| !writing.is_late);
        let late = writing.map(|writing| writing.since.after(self.bound));
        [untold, retry, late].into_iter().flatten().min()
    }

    /// The end: tries once more what could not be written, and waits for
    /// nothing.
    pub fn last_try(&mut self, now: Moment) -> Vec<Effect> {
        if let Some(broken) = &mut self.broken {
            broken.retry_at = broken.retry_at.map(|_| now);
        }
        self.tick(now).0
    }

    /// Whether everything is written and sent, as far as it can be.
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.queue.is_empty() && self.writing.is_none()
    }

    /// Whether the outcome of a write is awaited.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        self.writing.is_some()
    }

    /// What is the matter with the journal, if anything.
    #[must_use]
    pub fn trouble(&self) -> Option<Trouble> {
        self.broken.as_ref().map(|broken| broken.trouble)
    }

    /// What of the present trouble, or of the last one, was too much to be
    /// kept.
    #[must_use]
    pub fn let_go(&self) -> LetGo {
        let broken = self.broken.as_ref();
        broken.map_or(self.let_go, |broken| broken.kept.let_go())
    }

    /// Entries that could not be written so far.
    #[must_use]
    pub fn unwritten(&self) -> usize {
        let writing = self.writing.as_ref().map_or(0, |w| w.entries.len());
        writing + self.broken.as_ref().map_or(0, |broken| broken.kept.len())
    }

    /// The journal fails: what waits for it waits no longer.
    fn break_down(&mut self, trouble: Trouble) -> &mut Broken {
        let broken = self.broken.get_or_insert_with(|| Broken {
            trouble,
            kept: Unwritten::default(),
            retry_at: None,
            is_told: false,
        });
        broken.trouble = trouble;
        broken
    }

    /// Writes what was kept, as soon as the disk is free; when there is
    /// nothing left the journal works again.
    fn mend(&mut self, now: Moment, effects: &mut Vec<Effect>) -> Option<Turn> {
        let broken = self.broken.as_mut()?;
        let is_free = self.writing.is_none();
        if let Some(turn) = broken.news() {
            broken.retry_at = is_free.then_some(now);
            return Some(turn);
        }
        if !is_free {
            return None;
        }
        broken.retry_at = None;
        let entries = broken.kept.take();
        if entries.is_empty() {
            self.let_go = broken.kept.let_go();
            self.broken = None;
            return Some(Turn::Recovered);
        }
        self.begin_to_write(entries, now, effects);
        None
    }

    /// Whether an opening with this number waits for the disk.
    fn awaits(&self, number: CommandId) -> bool {
        let is_it = |item: &Item| matches!(item, Item::Open { id, .. } if *id == number);
        self.queue.iter().any(is_it)
    }

    fn proceed(&mut self, now: Moment, effects: &mut Vec<Effect>) {
        if let Some(broken) = &mut self.broken {
            broken.empty(&mut self.queue, effects);
            self.queued_since = None;
            return;
        }
        while self.writing.is_none() {
            match self.queue.pop_front() {
                None => return,
                Some(Item::Answer(ticket, answer, _)) => {
                    effects.push(Effect::Do(Action::Answer(ticket, answer)));
                }
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
                Some(Item::Write(entry)) => self.write(entry, now, effects),
            }
        }
    }

    /// Writes an entry together with all that wait. What stands between them
    /// stays where it is, and is done when they are durable.
    fn write(&mut self, first: Entry, now: Moment, effects: &mut Vec<Effect>) {
        let mut entries = vec![first];
        let mut others = VecDeque::new();
        for item in self.queue.drain(..) {
            match item {
                Item::Write(entry) => entries.push(entry),
                item => others.push_back(item),
            }
        }
        self.queue = others;
        let since = self.queued_since.take().unwrap_or(now);
        self.begin_to_write(entries, since, effects);
    }

    fn begin_to_write(&mut self, entries: Vec<Entry>, since: Moment, effects: &mut Vec<Effect>) {
        self.writing = Some(Writing {
            entries: entries.clone(),
            since,
            is_late: false,
        });
        effects.push(Effect::Write(entries));
    }
}

impl Broken {
    /// That it has failed, once.
    fn news(&mut self) -> Option<Turn> {
        let is_news = !std::mem::replace(&mut self.is_told, true);
        is_news.then_some(Turn::Failed)
    }

    /// Nothing waits for a journal that is broken: entries are kept, openings
    /// are forgotten, people are told.
    fn empty(&mut self, queue: &mut VecDeque<Item>, effects: &mut Vec<Effect>) {
        for item in queue.drain(..) {
            match item {
                Item::Write(entry) => self.kept.put(entry),
                Item::Open { .. } => {}
                Item::Answer(ticket, answer, footing) => {
                    let answer = not_kept(answer, footing, self.trouble);
                    effects.push(Effect::Do(Action::Answer(ticket, answer)));
                }
            }
        }
    }
}

/// The answer to a person when what it stands on cannot be written.
fn not_kept(answer: Answer, footing: Footing, trouble: Trouble) -> Answer {
    match answer {
        Answer::Done(_) if footing.opens => Answer::Refused(format!(
            "nothing is opened: the journal cannot be written, {trouble}"
        )),
        Answer::Done(text) if footing.is_word => Answer::Refused(format!(
            "{text}. This holds for now, but it cannot be written down: {trouble}. It is tried \
             again, and forgotten if soakmist ends before that succeeds"
        )),
        answer => answer,
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
