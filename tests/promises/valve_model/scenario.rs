//! What is explored, and how much may go wrong in it.

use std::sync::Arc;
use std::time::Duration;

use soakmist::valve::Installation;

use super::physical::Fault;

/// A bug planted between the supervisor and the world, to see it found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Planted {
    None,
    /// Every report is believed, however old.
    BelieveStaleReports,
    /// A closing is sent once only.
    NeverRepeat,
    /// Commands go out before they are written down.
    PublishBeforeJournal,
    /// The restarted daemon does not know which runs were given.
    ForgetRuns,
    /// The restarted daemon does not know what was in progress.
    ForgetUnfinished,
    /// The master valve is never told to close.
    MasterStaysOpen,
    /// Devices are taken as closed at the start.
    TrustAtStart,
}

/// How much may go wrong in one history.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Budget {
    pub losses: u8,
    pub copies: u8,
    pub kills: u8,
    pub cuts: u8,
    pub disk_failures: u8,
    /// Openings by itself, missed pulses.
    pub device_faults: u8,
    pub user_closes: u8,
    pub shutdowns: u8,
}

/// What is explored.
#[derive(Debug, Clone)]
pub struct Scenario {
    pub name: &'static str,
    pub installation: Arc<Installation>,
    /// What is wrong with the valve of the first zone.
    pub fault: Fault,
    /// Orders: zone and length; the number of a run is its place here.
    pub orders: Vec<(usize, Duration)>,
    pub budget: Budget,
    /// History ends at this tick.
    pub horizon: u8,
    /// Whether a message may overtake the one before it.
    pub overtaking: bool,
    /// Devices whose messages may take up to a tick. With the others a message
    /// is delivered, lost or copied before anything else happens, which keeps
    /// the number of states in hand.
    pub slow: &'static [usize],
    pub planted: Planted,
}
