//! One opening of one device, and how long it let water through.

use std::time::Duration;

use super::command::{Applied, Begun, CommandId, RunId, UnfinishedRun};
use super::device::{Actuation, Device};
use super::moment::Moment;
use super::timing::Timing;

/// One opening of one device, from the first sending of its command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Lease {
    /// The run; none for master valve and pump, and for a valve that opened
    /// without an order.
    pub run: Option<RunId>,
    /// The command that opened it.
    pub command: CommandId,
    /// When that was first sent.
    pub sent: Moment,
    /// When an open command was last sent.
    pub last_sent: Moment,
    /// When it was first seen open.
    pub seen_open: Option<Moment>,
    /// It must not be open from here on. Counted from the first sending, so
    /// that a slow report never makes a run longer.
    pub deadline: Moment,
    /// It said that it is closed, by the number of a command from before this
    /// opening: it lost power since, and nobody knows when.
    pub in_doubt: bool,
    /// What is left of a run that was in progress when the daemon died.
    pub recovered: Option<Recovered>,
}

/// What a restarted daemon knows of a run that it has not watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Recovered {
    /// Time since the run was begun, before the machine restarted.
    pub earlier: Duration,
    /// How long it was probably open until now.
    pub likely: Duration,
}

impl Lease {
    /// An opening that begins now.
    pub(super) fn new(run: Option<RunId>, command: CommandId, now: Moment) -> Self {
        Self {
            run,
            command,
            sent: now,
            last_sent: now,
            seen_open: None,
            deadline: now,
            in_doubt: false,
            recovered: None,
        }
    }

    /// The opening of a run that was in progress when the daemon died.
    ///
    /// It was probably open until a closing that is written down, until its
    /// deadline, or until now. Nothing of that is certain: a closing may have
    /// been sent and the daemon killed before it was written down.
    pub(super) fn recovered(run: &UnfinishedRun, now: Moment) -> Self {
        let fresh = Self::new(Some(run.run), run.command, now);
        match run.begun {
            Begun::SameBoot {
                sent,
                seen_open,
                closing,
            } => {
                let deadline = sent.after(run.planned);
                let until = closing.unwrap_or(now).min(deadline).min(now);
                Self {
                    sent: sent.min(now),
                    deadline,
                    recovered: Some(Recovered {
                        earlier: Duration::ZERO,
                        likely: until.since(seen_open.unwrap_or(sent)),
                    }),
                    ..fresh
                }
            }
            Begun::Earlier(ago) => Self {
                recovered: Some(Recovered {
                    earlier: ago,
                    likely: ago.min(run.planned),
                }),
                ..fresh
            },
        }
    }

    /// The same, open for a time that nobody knows.
    pub(super) fn doubted(self) -> Self {
        Self {
            in_doubt: true,
            ..self
        }
    }

    /// From when a report of closed without an echo must be of after the open
    /// command: that may travel as long as the report.
    pub(super) fn heed_from(&self, timing: &Timing) -> Moment {
        self.last_sent.after(timing.most_delay * 2)
    }

    /// How long the device was open, when it certainly still was at
    /// `held_until` (if it was ever) and certainly was no more at `confirmed`.
    ///
    /// A self-closing device counts the run time from the arrival of an open
    /// command, so it closes no earlier than at the deadline and no later
    /// than one travel time after it.
    pub(super) fn applied(
        &self,
        (held_until, confirmed): (Moment, Moment),
        device: Device,
        timing: &Timing,
    ) -> Applied {
        let closes_itself = device.actuation == Actuation::SelfClosing && self.run.is_some();
        let end = self.deadline.after(timing.most_delay);
        if let Some(recovered) = self.recovered {
            let is_same_boot = recovered.earlier.is_zero();
            let closed_by = if closes_itself && is_same_boot {
                confirmed.min(end)
            } else {
                confirmed
            };
            let most = recovered.earlier.saturating_add(closed_by.since(self.sent));
            return Applied {
                least: Duration::ZERO,
                estimate: recovered.likely.min(most),
                most,
            };
        }
        let (held_until, closed_by) = if closes_itself {
            (held_until.min(self.deadline), confirmed.min(end))
        } else {
            (held_until, confirmed)
        };
        let most = closed_by.since(self.sent);
        let seen = self.seen_open.filter(|_| !self.in_doubt);
        let seen = seen.map(|seen| held_until.since(seen));
        let least = seen.unwrap_or_default().min(most);
        Applied {
            least,
            estimate: least.saturating_add(most) / 2,
            most,
        }
    }
}
