//! What could not be written, kept within a bound for a disk that takes none.
//!
//! When everything is closed hardly anything comes but weather. What a person
//! said, and water that was applied, goes last when there is too much.

use crate::store::Entry;
use crate::valve::{JournalEntry, Position};

/// Entries that are kept at most: months without water, or days of forecasts
/// that change.
const MOST_KEPT: usize = 10_000;

/// What was too much to be kept, and is not in the state.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LetGo {
    /// Of weather, probes and balances: most of it comes again.
    pub details: usize,
    /// Of commands, confirmations and alarms.
    pub traces: usize,
    /// Of water and of what people said.
    pub words: usize,
}

impl LetGo {
    /// Whether anything was.
    #[must_use]
    pub fn is_any(self) -> bool {
        self != Self::default()
    }
}

/// Entries to be written when that can be done, in their order.
#[derive(Debug, Default)]
pub(super) struct Unwritten {
    entries: Vec<Entry>,
    let_go: LetGo,
}

impl Unwritten {
    /// Keeps one more.
    pub(super) fn put(&mut self, entry: Entry) {
        if !never_was(&entry) {
            self.entries.push(entry);
            self.shed();
        }
    }

    /// Keeps what was to be written before all others.
    pub(super) fn put_first(&mut self, entries: Vec<Entry>) {
        let entries = entries.into_iter().filter(|entry| !never_was(entry));
        self.entries.splice(0..0, entries);
        self.shed();
    }

    /// Everything, to be written.
    pub(super) fn take(&mut self) -> Vec<Entry> {
        std::mem::take(&mut self.entries)
    }

    /// What was let go so far.
    pub(super) fn let_go(&self) -> LetGo {
        self.let_go
    }

    /// How many are kept.
    pub(super) fn len(&self) -> usize {
        self.entries.len()
    }

    /// Too much is kept: the oldest go, of what is least worth first.
    fn shed(&mut self) {
        for worth in [Worth::Detail, Worth::Trace, Worth::Word] {
            let mut excess = self.entries.len().saturating_sub(MOST_KEPT);
            if excess == 0 {
                return;
            }
            let before = self.entries.len();
            self.entries.retain(|entry| {
                let goes = excess > 0 && worth_of(entry) == worth;
                excess -= usize::from(goes);
                !goes
            });
            let gone = before - self.entries.len();
            match worth {
                Worth::Detail => self.let_go.details += gone,
                Worth::Trace => self.let_go.traces += gone,
                Worth::Word => self.let_go.words += gone,
            }
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Worth {
    /// It comes again, or can be done without.
    Detail,
    /// What valves did.
    Trace,
    /// Nobody could tell it again.
    Word,
}

fn worth_of(entry: &Entry) -> Worth {
    match entry {
        Entry::Weather { .. }
        | Entry::FrozenHour(..)
        | Entry::Probe(_)
        | Entry::Balance { .. }
        | Entry::Forget(_) => Worth::Detail,
        Entry::Valve(JournalEntry::Finished(_))
        | Entry::Record(_)
        | Entry::StraysSeen
        | Entry::ClockSet { .. } => Worth::Word,
        Entry::Valve(_) | Entry::Alarm(..) => Worth::Trace,
    }
}

/// Whether an entry holds what a person has said.
pub(super) fn is_word(entry: &Entry) -> bool {
    matches!(entry, Entry::Record(_) | Entry::StraysSeen)
}

/// An opening that could not be written was not sent either.
fn never_was(entry: &Entry) -> bool {
    matches!(
        entry,
        Entry::Valve(JournalEntry::Intent {
            position: Position::Open,
            ..
        })
    )
}
