//! The valves: a pure state machine that opens nothing it could not close.
//!
//! [`Supervisor`] takes an [`Event`] and the time and answers with
//! [`Action`]s; it reads no clock and touches no wire, so every order of
//! events, losses and deaths can be tried. What it promises, each with its
//! bound, stands in `docs/valve-safety.md`.
//!
//! | file | idea |
//! |---|---|
//! | `state` | the states of one device and the one transition function |
//! | `opening`, `closing`, `lease` | what happens within them; what was applied |
//! | `supply` | master valve and pump around the zones |
//! | `interlock` | whether an order may be carried out |
//! | `flow_watch`, `metering` | leak, burst, low flow, dry supply, learned flow |
//! | `supervisor` | all devices together |

mod alarm;
mod closing;
mod command;
mod config;
mod device;
mod fleet;
mod flow_watch;
mod interlock;
mod lease;
mod metering;
mod moment;
mod opening;
mod state;
mod supervisor;
mod supply;
mod timing;

pub use alarm::{Alarm, AlarmSet, Severity};
pub use closing::Closing;
pub use command::{
    Action, Applied, Begun, Command, CommandId, Event, FinishCause, FinishedRun, JournalEntry,
    OpenOrder, Position, Recovery, Refusal, Report, RunId, UnfinishedRun,
};
pub use config::{Installation, InstallationError, OthersWhenFaulted};
pub use device::{Actuation, Device, DeviceId, Feedback, MeterFlow, PumpDevice, ZoneDevice};
pub use fleet::Fleet;
pub use flow_watch::{FlowWatch, Meter};
pub use lease::Lease;
pub use moment::Moment;
pub use state::ValveState;
pub use supervisor::{Knowledge, Link, Phase, Supervisor};
pub use timing::Timing;
