//! The control loop carried out: tasks, threads, the broker, signals.
//!
//! [`Daemon::run`] owns the link to the broker and gives it to the task of
//! the loop. When that task fails (a fault of ours), the link is still there,
//! and [`LastResort`] closes every valve over it; when the link's own task has
//! failed, over a new one.
//!
//! | file | idea |
//! |---|---|
//! | `start` | from a site and a state to a daemon |
//! | `service`, `topics` | the loop as a task |
//! | `words` | what it does with what comes from outside |
//! | `writer`, `planner` | the journal and planning beside it |
//! | `weather`, `signals` | what comes from outside, as words |
//! | `stops` | what Homie controllers set |
//! | `teller`, `diary`, `manager` | MQTT, the log and systemd are told |
//! | `hasten` | a clock that runs faster, for the demonstration and tests |
//! | `last_resort` | closing without the loop |

mod diary;
#[cfg(feature = "demo")]
mod hasten;
mod last_resort;
mod manager;
mod planner;
mod service;
mod signals;
mod start;
mod stops;
mod teller;
mod topics;
mod weather;
mod words;
mod writer;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::{Notify, mpsc, watch};
use tokio::task::AbortHandle;

#[cfg(feature = "demo")]
pub use hasten::{hasten, timing};
pub use last_resort::LastResort;
pub use planner::Work;
pub use signals::Signals;
pub use start::{Start, StartError, settings, state_file};
pub use weather::{Gather, Gathering, Rhythm, gather_weather};

use super::control::{Control, Memory, Settings};
use super::desk::{Desk, WRITE_BOUND};
use super::handle::Handle;
use super::notice::Notice;
use crate::clock::{Clock, Now};
use crate::mqtt::{self, Devices, Link};
use crate::site::Site;
use crate::store::Ledger;
use crate::valve::{CommandId, DeviceId, Installation, InstallationError};
use crate::weather::frozen::Frozen;
use crate::weather::series::SeriesHour;
use manager::Manager;
use planner::Planner;
use service::{LinkDied, Service};
use stops::Stops;
use teller::Teller;
use topics::Topics;
use writer::Writer;

/// Words that wait for the loop at most.
const WORDS: usize = 8;

/// What the loop is told from outside, beside requests of people.
#[derive(Debug)]
pub enum Word {
    /// Close everything and end.
    Stop,
    /// Weather from any source.
    Weather(Vec<SeriesHour>),
    /// The site file was read again, is right, and a daemon can run by it.
    Site(Box<Site>),
    /// The same, and files that it names are others: everything begins anew.
    Anew(Box<Site>),
    /// It was read again, and the site in force stays, for this reason.
    Kept(String),
}

/// Hears every notice as it is told.
pub type Listener = Box<dyn Fn(&Notice, Now) + Send>;

/// What a daemon is made of.
pub struct Parts {
    /// For the control loop.
    pub settings: Settings,
    /// What the state says.
    pub memory: Memory,
    /// What is said to the valves and heard of them.
    pub devices: Devices,
    /// How to reach the broker.
    pub link: mqtt::Settings,
    /// Where to write.
    pub ledger: Box<dyn Ledger + Send>,
    /// The time of the site.
    pub clock: Arc<dyn Clock>,
    /// Seconds of the site in a real one.
    pub speed: u32,
    /// How plans are made.
    pub work: Work,
    /// Who else hears the diary.
    pub listener: Option<Listener>,
}

/// A daemon that has not begun.
pub struct Daemon {
    parts: Parts,
    control: Control,
    counter: super::handle::Counter,
    words: mpsc::Receiver<Word>,
    word: mpsc::Sender<Word>,
    again: Arc<Notify>,
    watched: Vec<(&'static str, AbortHandle)>,
    frozen: watch::Sender<Arc<Frozen>>,
    in_force: watch::Sender<Arc<Site>>,
    /// Names of zones of which nothing is told any more.
    gone: Vec<String>,
}

/// How a daemon came out.
#[derive(Debug)]
pub struct End {
    /// Devices that have not confirmed that they are closed.
    pub unconfirmed: Vec<DeviceId>,
    /// A fault of the program ended it.
    pub failed: bool,
    /// It is to be started anew with this site.
    pub restart: Option<Box<Site>>,
}

impl Daemon {
    /// A daemon, and how faces reach it.
    ///
    /// # Errors
    /// [`InstallationError`] when the valves cannot be supervised.
    pub fn new(mut parts: Parts) -> Result<(Self, Handle), InstallationError> {
        let mut memory = std::mem::take(&mut parts.memory);
        let gone = std::mem::take(&mut memory.gone);
        let control = Control::new(parts.settings.clone(), memory, parts.clock.now())?;
        let (handle, counter) = Handle::new(control.status());
        let (word, words) = mpsc::channel(WORDS);
        let frozen = watch::Sender::new(Arc::clone(control.frozen()));
        let in_force = watch::Sender::new(Arc::clone(&parts.settings.site));
        let daemon = Self {
            parts,
            control,
            counter,
            words,
            word,
            again: Arc::default(),
            watched: Vec::new(),
            frozen,
            in_force,
            gone,
        };
        Ok((daemon, handle))
    }

    /// For those who tell it something from outside.
    #[must_use]
    pub fn word(&self) -> mpsc::Sender<Word> {
        self.word.clone()
    }

    /// For those who gather weather for it.
    #[must_use]
    pub fn gathering(&self) -> Gathering {
        Gathering {
            again: Arc::clone(&self.again),
            frozen: self.frozen.subscribe(),
        }
    }

    /// The site in force: what is read anew is not until the loop says so.
    #[must_use]
    pub fn site(&self) -> watch::Receiver<Arc<Site>> {
        self.in_force.subscribe()
    }

    /// Has the loop look after a task that must not end before it: when it
    /// does, everything is closed and the daemon has failed.
    pub fn watch(&mut self, name: &'static str, task: AbortHandle) {
        self.watched.push((name, task));
    }

    /// Runs until everything is closed for good, on the runtime of the
    /// caller.
    pub async fn run(self) -> End {
        let Self {
            parts,
            control,
            counter,
            words,
            word: _word,
            again,
            watched,
            frozen,
            in_force,
            gone,
        } = self;
        let site = Arc::clone(&parts.settings.site);
        let teller = Teller::new(site.mqtt.as_ref(), gone);
        let resort = (
            Arc::clone(&site),
            Arc::clone(&parts.settings.installation),
            Arc::clone(&parts.clock),
        );
        let last_command = Arc::new(AtomicU64::new(0));
        let topics = Topics::of(&site, &parts.link.subscriptions);
        let stops = Stops::of(&site, &parts.link.subscriptions);
        let reach = parts.link.clone();
        let link = Arc::new(Link::start(parts.link, Arc::clone(&parts.clock)));
        let service = Service {
            topics,
            stops,
            control,
            devices: parts.devices,
            link: Arc::clone(&link),
            writer: Writer::start(parts.ledger, Arc::clone(&parts.clock)),
            clock: parts.clock,
            speed: parts.speed,
            desk: Desk::new(WRITE_BOUND * parts.speed.max(1)),
            planner: Planner::new(parts.work),
            counter,
            words,
            teller,
            manager: Manager::new(),
            listener: parts.listener,
            weather_again: again,
            frozen,
            last_command: Arc::clone(&last_command),
            tickets: BTreeMap::new(),
            next_ticket: 1,
            shown: None,
            has_ticked: false,
            unconfirmed: None,
            restart: None,
            kept: None,
            lets_go: false,
            in_force,
            watched,
            has_failed: false,
        };
        let ended = tokio::spawn(service.run()).await;
        // The loop was the other holder of the link.
        let link = Arc::into_inner(link);
        let what = match ended {
            Ok(Ok(ended)) => {
                if let Some(link) = link {
                    link.stop().await;
                }
                return ended;
            }
            Ok(Err(LinkDied)) => LinkDied.to_string(),
            Err(error) => format!("the control loop has failed: {error}"),
        };
        tracing::error!("{what}: closing everything");
        let link = match link.filter(Link::is_running) {
            Some(link) => link,
            None => Link::start(reach, Arc::clone(&resort.2)),
        };
        let above = CommandId(last_command.load(Ordering::Relaxed));
        let unconfirmed = close_after_failure(resort, above, &link).await;
        link.stop().await;
        End {
            unconfirmed,
            failed: true,
            restart: None,
        }
    }
}

async fn close_after_failure(
    (site, installation, clock): (Arc<Site>, Arc<Installation>, Arc<dyn Clock>),
    above: CommandId,
    link: &Link,
) -> Vec<DeviceId> {
    let Some(mqtt) = &site.mqtt else {
        return Vec::new();
    };
    let resort = LastResort {
        site: &site,
        mqtt,
        installation,
        above,
        clock,
    };
    resort.close(link).await
}
