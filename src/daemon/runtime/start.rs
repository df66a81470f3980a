//! From a site and a state folder to the parts of a daemon.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::Parts;
use crate::clock::{Clock, boot_id};
use crate::daemon::control::{Memory, Settings};
use crate::daemon::homie;
use crate::daemon::sensors::Sensors;
use crate::mqtt::{self, Devices, SettingsError, Subscription};
use crate::site::Site;
use crate::store::{Opening, Store, StoreError};
use crate::valve::{DeviceId, InstallationError};

/// An order may wait so long for master valve and pump.
const VALID_FOR: Duration = Duration::from_secs(120);

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
}

impl StartError {
    /// Whether the valves should be closed before giving up: the state cannot
    /// be used, and nobody else uses it.
    #[must_use]
    pub fn leaves_valves_alone(&self) -> bool {
        !matches!(self, Self::State(error) if !is_elsewhere(error))
    }
}

fn is_elsewhere(error: &StoreError) -> bool {
    matches!(error, StoreError::InUse { .. } | StoreError::Lock { .. })
}

/// A daemon to be started.
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
        Ok((devices, link))
    }

    /// Opens the state, or makes it, and reads what the daemon must know.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn recall(&self) -> Result<(Store, Memory), StoreError> {
        let now = self.clock.now();
        let mut store = Store::open(&self.state, &Opening::in_boot(&boot_id()), now)?;
        let memory = Memory::read(&mut store, &self.site, now)?;
        Ok((store, memory))
    }

    /// All parts, on this machine's terms.
    ///
    /// # Errors
    /// [`StartError`].
    pub fn parts(&self) -> Result<Parts, StartError> {
        let (devices, link) = self.reach()?;
        devices.installation(&self.site).check()?;
        let (store, memory) = self.recall()?;
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
