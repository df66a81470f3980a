//! From a site and a state folder to the parts of a daemon. Valves that an
//! earlier life has left open do not wait for a state that is long to read.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::task::{JoinError, spawn_blocking};
use tokio::time::timeout;

use super::{LastResort, Parts};
use crate::clock::{Clock, boot_id};
use crate::daemon::control::{Memory, Settings};
use crate::daemon::homie;
use crate::daemon::sensors::Sensors;
use crate::mqtt::{self, Devices, Link, SettingsError, Subscription};
use crate::site::Site;
use crate::store::{Lock, Opening, Store, StoreError};
use crate::valve::{CommandId, DeviceId, Installation, InstallationError};

/// An order may wait so long for master valve and pump.
const VALID_FOR: Duration = Duration::from_secs(120);

/// A state that is read so soon is not worth a connection of its own.
const SOON: Duration = Duration::from_millis(100);

/// Why a daemon does not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The site file has no broker.
    #[error(
        "the site file has no [mqtt] table: say which broker and which valves (docs/site-file.md)"
    )]
    NoBroker,
    /// No zone has a valve.
    #[error("no zone of the site file has a valve: give at least one zone `valve`")]
    NoValves,
    /// Password or certificate.
    #[error(transparent)]
    Broker(#[from] SettingsError),
    /// The valves cannot be supervised.
    #[error(transparent)]
    Valves(#[from] InstallationError),
    /// The state.
    #[error(transparent)]
    State(#[from] StoreError),
    /// The process is ending.
    #[error("the state was not read: {0}")]
    NotRead(String),
    /// A stop came first.
    #[error("stopped before it began")]
    Stopped,
}

impl StartError {
    /// Whether valves are left as they are before giving up: they cannot be
    /// reached, or another daemon may be at them.
    #[must_use]
    pub fn leaves_valves_alone(&self) -> bool {
        match self {
            Self::NoBroker | Self::NoValves | Self::Broker(_) => true,
            Self::Valves(_) | Self::NotRead(_) | Self::Stopped => false,
            Self::State(error) => is_elsewhere(error),
        }
    }
}

fn is_elsewhere(error: &StoreError) -> bool {
    matches!(error, StoreError::InUse { .. } | StoreError::Lock { .. })
}

/// A daemon to be started.
#[derive(Clone)]
pub struct Start {
    /// The site.
    pub site: Arc<Site>,
    /// Where its file lies: other files are named from there.
    pub folder: PathBuf,
    /// The state file.
    pub state: PathBuf,
    /// Everything but opening valves.
    pub dry_run: bool,
    /// The time.
    pub clock: Arc<dyn Clock>,
}

impl Start {
    /// How the daemon reaches its valves.
    ///
    /// # Errors
    /// [`StartError`] when the site or its files do not tell.
    pub fn reach(&self) -> Result<(Devices, mqtt::Settings), StartError> {
        let mqtt = self.site.mqtt.as_ref().ok_or(StartError::NoBroker)?;
        let devices = Devices::of(&self.site, mqtt);
        let zones = 0..self.site.zones.len();
        if !zones.clone().any(|z| devices.is_driven(DeviceId::Zone(z))) {
            return Err(StartError::NoValves);
        }
        let variable = |name: &str| std::env::var(name).ok();
        let folder = self.folder.as_path();
        let topics = topics(&self.site, &devices);
        let link = mqtt::Settings::of(mqtt, &topics, folder, variable)?;
        let legible = devices.legible();
        Ok((devices, mqtt::Settings { legible, ..link }))
    }

    /// Tries whether a daemon could start, as far as the state has no say.
    ///
    /// # Errors
    /// [`StartError`].
    pub fn check(&self) -> Result<(), StartError> {
        let (devices, _) = self.reach()?;
        Ok(devices.installation(&self.site).check()?)
    }

    /// Opens the state, or makes it, and reads what the daemon must know.
    fn recall(&self, lock: Lock) -> Result<(Store, Memory), StoreError> {
        let now = self.clock.now();
        let mut store = Store::open_locked(lock, &Opening::in_boot(&boot_id()), now)?;
        let memory = match self.dry_run {
            true => Memory::look(&mut store, &self.site, now)?,
            false => Memory::read(&mut store, &self.site, now)?,
        };
        Ok((store, memory))
    }

    /// All parts, on this machine's terms.
    ///
    /// # Errors
    /// [`StartError`].
    pub fn parts(&self) -> Result<Parts, StartError> {
        self.reach()?;
        // It says whether another daemon is at the valves.
        self.parts_of(Lock::take(&self.state)?)
    }

    /// The same; while a long state is read, everything is told to close, as
    /// soon as the broker answers. Whoever has the state has the valves: the
    /// right to it comes before the first command. `stopped` ends when nothing
    /// is to begin any more.
    ///
    /// # Errors
    /// [`StartError`].
    pub async fn parts_while_closing(
        &self,
        stopped: impl Future<Output = ()>,
    ) -> Result<Parts, StartError> {
        self.reach()?;
        let lock = Lock::take(&self.state)?;
        let start = self.clone();
        let mut reading = spawn_blocking(move || start.parts_of(lock));
        if let Ok(parts) = timeout(SOON, &mut reading).await {
            return read(parts);
        }
        tracing::info!("the state takes a while: every valve is being told to close meanwhile");
        let (resort, settings) = self.last_resort(CommandId(0))?;
        let link = Link::start(settings, Arc::clone(&self.clock));
        let work = std::pin::pin!(async {
            tokio::select! {
                parts = reading => read(parts),
                () = stopped => Err(StartError::Stopped),
            }
        });
        let (parts, closed) = resort.close_during(&link, work).await;
        link.stop().await;
        let mut parts = parts?;
        closed.note(&mut parts.memory.recovery);
        Ok(parts)
    }

    /// What closes every valve from nothing, with numbers above `above`, and
    /// how to reach the broker for it.
    ///
    /// # Errors
    /// [`StartError`] when the site or its files do not tell.
    pub fn last_resort(
        &self,
        above: CommandId,
    ) -> Result<(LastResort<'_>, mqtt::Settings), StartError> {
        let (devices, settings) = self.reach()?;
        let resort = LastResort {
            site: &self.site,
            mqtt: self.site.mqtt.as_ref().ok_or(StartError::NoBroker)?,
            installation: Arc::new(closable(devices.installation(&self.site))),
            above,
            clock: Arc::clone(&self.clock),
        };
        Ok((resort, settings))
    }

    fn parts_of(&self, lock: Lock) -> Result<Parts, StartError> {
        let (devices, link) = self.reach()?;
        let (store, memory) = self.recall(lock)?;
        devices.installation(&self.site).check()?;
        Ok(Parts {
            settings: settings(&self.site, &devices, self.dry_run),
            memory,
            devices,
            link,
            ledger: Box::new(store),
            clock: Arc::clone(&self.clock),
            speed: 1,
            work: Arc::new(|assignment| assignment.carry_out()),
            listener: None,
        })
    }
}

/// A thread that has failed is a fault of ours: it is not hidden.
fn read(parts: Result<Result<Parts, StartError>, JoinError>) -> Result<Parts, StartError> {
    match parts {
        Ok(parts) => parts,
        Err(error) => match error.try_into_panic() {
            Ok(panic) => std::panic::resume_unwind(panic),
            Err(error) => Err(StartError::NotRead(error.to_string())),
        },
    }
}

/// Valves whose zone draws too much could never be opened; closed they can be.
fn closable(mut installation: Installation) -> Installation {
    for zone in &installation.zones {
        if zone.flow > installation.supply {
            installation.supply = zone.flow;
        }
    }
    installation
}

/// The topics of the valves, in their own order, then those that only sensors
/// have, then those of stops.
fn topics(site: &Site, devices: &Devices) -> Vec<Subscription> {
    let mut topics = devices.subscriptions().to_vec();
    for sensors in Sensors::of(site).subscriptions() {
        if topics.iter().all(|known| known.topic != sensors.topic) {
            topics.push(sensors);
        }
    }
    let homie = site.mqtt.as_ref().and_then(|mqtt| mqtt.homie.as_ref());
    let stops = homie.map(|homie| homie::stops(homie, site));
    topics.extend(stops.into_iter().flatten().map(|(topic, _)| Subscription {
        topic,
        needed: false,
    }));
    topics
}

/// What the control loop must know of a site.
#[must_use]
pub fn settings(site: &Arc<Site>, devices: &Devices, dry_run: bool) -> Settings {
    let zones = 0..site.zones.len();
    Settings {
        site: Arc::clone(site),
        installation: Arc::new(devices.installation(site)),
        driven: zones
            .map(|zone| devices.is_driven(DeviceId::Zone(zone)))
            .collect(),
        dry_run,
        believe_clock: false,
        valid_for: VALID_FOR,
    }
}

/// The state file in its folder.
#[must_use]
pub fn state_file(folder: &Path) -> PathBuf {
    folder.join("soakmist.sqlite")
}
