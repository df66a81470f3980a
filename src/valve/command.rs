//! The supervisor's words: what comes in, what goes out.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::alarm::Alarm;
use super::device::{DeviceId, MeterFlow};
use super::moment::Moment;

/// Number of a command. Rises over the whole life of an installation, across
/// restarts; repeats of one command keep its number.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct CommandId(pub u64);

/// Number of a run. Rises over the whole life of an installation; a number
/// that was used never opens a valve again.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct RunId(pub u64);

/// An order to water a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct OpenOrder {
    /// The run.
    pub run: RunId,
    /// Index of the zone.
    pub zone: usize,
    /// How long the valve stays open.
    pub duration: Duration,
    /// When the order was given.
    pub issued: Moment,
    /// How long it may wait; after that it opens nothing.
    pub valid_for: Duration,
}

impl OpenOrder {
    /// The instant from which the order opens nothing.
    #[must_use]
    pub fn expires(&self) -> Moment {
        self.issued.after(self.valid_for)
    }
}

/// A command on its way to a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Command {
    /// Open; repeats carry what is left of both times.
    Open {
        /// A self-closing device closes after this.
        run_time: Duration,
        /// Not to be sent, and not to be obeyed, later than this from now.
        valid_for: Duration,
    },
    /// Close. Never expires.
    Close,
}

/// Where a device says it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Position {
    /// Water can pass; the pump runs.
    Open,
    /// Shut; the pump stands.
    Closed,
}

/// A report of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Report {
    /// Where it says it is.
    pub position: Position,
    /// The last command that it carried out, where it tells.
    pub echo: Option<CommandId>,
}

/// What the supervisor is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The daemon has started. Comes first and once.
    Start(Recovery),
    /// Time has passed.
    Tick,
    /// An open command has gone out, after it was written down.
    Sent(DeviceId, CommandId),
    /// A device reports. Values that the broker had stored are no reports.
    Report(DeviceId, Report),
    /// The broker is connected and our topics are subscribed.
    LinkUp,
    /// The connection is gone.
    LinkDown,
    /// The flow meter of the whole site was read.
    Flow(MeterFlow),
    /// Water a zone.
    Open(OpenOrder),
    /// Close a zone before its time.
    Close(usize),
    /// Close every zone.
    CloseAll,
    /// A person has looked after an alarm that waits for one.
    Acknowledge(Alarm),
    /// A journal entry could not be written; opens after it were not sent.
    JournalFailed,
    /// The journal can be written again.
    JournalRecovered,
    /// Stop: close all, confirm, end.
    Shutdown,
    /// A task of the daemon died: the same, and the daemon ends in failure.
    TaskDied,
}

/// What the journal says when the daemon starts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Recovery {
    /// Highest command number that was ever journalled.
    pub last_command: CommandId,
    /// Highest run number that was ever journalled, begun or finished.
    pub last_run: RunId,
    /// Runs that were begun and never finished.
    pub unfinished: Vec<UnfinishedRun>,
    /// Learned flow by zone.
    pub learned: Vec<(usize, MeterFlow)>,
}

/// A run that was in progress when the daemon died.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnfinishedRun {
    /// The run.
    pub run: RunId,
    /// Index of the zone.
    pub zone: usize,
    /// The command that opened it.
    pub command: CommandId,
    /// Its length as planned.
    pub planned: Duration,
    /// When it was begun.
    pub begun: Begun,
}

/// When an unfinished run was begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begun {
    /// The machine has not been restarted since: the instants still hold.
    SameBoot {
        /// Open command first sent.
        sent: Moment,
        /// Open first reported.
        seen_open: Option<Moment>,
        /// A closing was first sent, as far as is written down.
        closing: Option<Moment>,
    },
    /// The machine has been restarted; so long ago by the wall clock.
    Earlier(Duration),
}

/// What is to be done, strictly in the order of the list.
///
/// When a [`Action::Journal`] cannot be carried out, open commands later in
/// the list are not sent, closings are, and [`Event::JournalFailed`] is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// Write durably before going on.
    Journal(JournalEntry),
    /// Send to a device, never retained. An open command is not sent when it
    /// has waited longer than it is valid for.
    Publish {
        /// To which device.
        device: DeviceId,
        /// Its number.
        id: CommandId,
        /// What.
        command: Command,
    },
    /// An alarm begins.
    Raise(Alarm),
    /// An alarm is over.
    Clear(Alarm),
    /// An order is not carried out; no valve was opened for it.
    Refused {
        /// The order's run.
        run: RunId,
        /// Why.
        refusal: Refusal,
    },
    /// Everything at the start is confirmed closed; orders are welcome.
    Ready,
    /// The end: nothing more will come.
    Stopped {
        /// Devices that have not confirmed that they are closed.
        unconfirmed: Vec<DeviceId>,
    },
}

/// A line of the durable journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum JournalEntry {
    /// A command is about to be sent (open), or has just been (close).
    Intent {
        /// Its number.
        id: CommandId,
        /// To which device.
        device: DeviceId,
        /// The run it opens, with its planned length; none for a closing and
        /// for master valve and pump.
        opens: Option<(RunId, Duration)>,
        /// Which way.
        position: Position,
        /// When.
        at: Moment,
    },
    /// A device has confirmed a command.
    Confirmed {
        /// Its number.
        id: CommandId,
        /// Which device.
        device: DeviceId,
        /// Where it says it is.
        position: Position,
        /// When.
        at: Moment,
    },
    /// Water has been applied.
    Finished(FinishedRun),
    /// What the meter taught about a zone.
    Learned {
        /// Index of the zone.
        zone: usize,
        /// Flow while it is open alone.
        flow: MeterFlow,
    },
}

/// How a run came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FinishedRun {
    /// The run; none when the valve opened without an order.
    pub run: Option<RunId>,
    /// Index of the zone.
    pub zone: usize,
    /// How long the valve was open.
    pub applied: Applied,
    /// Why it ended.
    pub cause: FinishCause,
    /// When the end was confirmed.
    pub at: Moment,
}

/// The time for which a valve was open. What lies between the bounds is the
/// travel time of commands and reports, or the time of a dead daemon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Applied {
    /// At least so long, as far as is certain.
    pub least: Duration,
    /// The likeliest, which the water balance takes.
    pub estimate: Duration,
    /// At most so long.
    pub most: Duration,
}

/// Why a valve was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum FinishCause {
    /// Its time was up.
    Deadline,
    /// A person or the plan asked.
    Asked,
    /// It reported closed before its time.
    ClosedItself,
    /// It did not confirm that it opened.
    NotConfirmedOpen,
    /// It opened without a command.
    OpenedItself,
    /// Master valve or pump failed.
    SupplyLost,
    /// Another device did not close, or the flow was wrong.
    Escalated,
    /// The connection went while it was opening.
    LinkLost,
    /// The journal cannot be written.
    JournalFailed,
    /// The daemon stopped.
    Shutdown,
    /// The daemon started, and found it begun.
    Restart,
}

/// Why an order is not carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
pub enum Refusal {
    /// Not everything has been confirmed closed since the start.
    #[error("not every valve has confirmed that it is closed since the start")]
    NotReady,
    /// The daemon is stopping.
    #[error("the daemon is stopping")]
    Stopping,
    /// No such zone.
    #[error("there is no such zone")]
    UnknownZone,
    /// The order is older than it is valid for.
    #[error("the order came too late")]
    Late,
    /// The run number was used before.
    #[error("the run was given before")]
    GivenBefore,
    /// Zero, or longer than the longest run.
    #[error("the run time is zero or longer than the longest run of the site")]
    RunTime,
    /// The valve is not closed.
    #[error("its valve is not closed: it is being watered, or still closing")]
    Busy,
    /// The zone rests after its last run.
    #[error("it rests after its last run, for `soak-time` as the site file says")]
    Resting,
    /// The supply cannot feed it beside what is open.
    #[error("the supply cannot feed it beside what is open")]
    Supply,
    /// The broker is away.
    #[error("the broker is not connected")]
    LinkDown,
    /// An alarm forbids it.
    #[error("an alarm forbids opening")]
    Alarm,
    /// The journal cannot be written.
    #[error("the journal cannot be written")]
    Journal,
    /// Ended before the valve was opened.
    #[error("ended before the valve was opened")]
    Ended,
}
