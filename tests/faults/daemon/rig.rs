//! A ground of three thirsty beds at a broker, and a daemon that waters it.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::Utc;
use soakmist::clock::{Clock, SystemClock};
use soakmist::simulator::{SimulatedSite, SimulatedValve, Simulator};
use soakmist::site::{Site, load};
use soakmist::valve::DeviceId;
use tempfile::TempDir;

use super::broker::Broker;
use super::process::Process;
use crate::beds::{DEVICE, Noon, weather};

/// No wait is longer: the test fails instead.
pub(crate) const PATIENCE: Duration = Duration::from_secs(45);
const LOOK: Duration = Duration::from_millis(10);

const BEDS: &str = r#"
name = "Harrowmere beds"
units = "si"
place = { latitude = 36.1, longitude = LONGITUDE, elevation = "270 m", time-zone = "ZONE" }
supply = { flow = "130 L/min" }
weather = { file = "weather.csv" }
limits = { wind = "none" }
daemon = { listen = "none" }

[mqtt]
host = "127.0.0.1"
port = PORT
client-id = "soakmist-beds"
base-topic = "beds/soakmist"

DEVICE
[all-zones]
soil = "loam"
area = "20 m2"
valve = { device = "bed-valve" }
sprinkler = { flow = "40 L/min" }
runs = { shortest = "5 s", longest = "LONGEST", soak-time = "SOAK" }
seeding = { at = "SOWN", mix = "perennial-ryegrass" }

[[zone]]
name = "east"

[[zone]]
name = "west"

[[zone]]
name = "long"
"#;

/// The beds as a site file: it is noon there, whenever the test runs, and
/// they were sown two days ago.
pub(crate) fn beds(port: u16, (longest, soak): (&str, &str)) -> String {
    let noon = Noon::at(Utc::now());
    BEDS.replace("DEVICE", DEVICE)
        .replace("LONGITUDE", &noon.longitude)
        .replace("ZONE", &noon.time_zone)
        .replace("PORT", &port.to_string())
        .replace("LONGEST", longest)
        .replace("SOAK", soak)
        .replace("SOWN", &noon.sown)
}

pub(crate) struct Rig {
    pub(crate) broker: Broker,
    folder: TempDir,
    pub(crate) valves: Simulator,
    pub(crate) daemon: Process,
    pub(crate) site: Site,
    clock: Arc<dyn Clock>,
}

impl Rig {
    /// Beds with runs of up to a minute.
    pub(crate) fn start() -> Self {
        Self::with(("1 min", "1 min"), &[])
    }

    pub(crate) fn with(runs: (&str, &str), more: &[&str]) -> Self {
        Self::at(Broker::real(), runs, more)
    }

    /// Beds with valves that stay open until they are told otherwise; less
    /// flow makes for runs as long as they may be.
    pub(crate) fn relays(device: &str, runs: (&str, &str), more: &[&str]) -> Self {
        let broker = Broker::real();
        let text = beds(broker.port(), runs).replace(DEVICE, device);
        let text = text.replace("40 L/min", "10 L/min");
        Self::of(broker, &text, more)
    }

    pub(crate) fn at(broker: Broker, runs: (&str, &str), more: &[&str]) -> Self {
        let port = broker.port();
        Self::through(broker, port, (runs, more))
    }

    /// The daemon reaches the broker by a port of its own, through a proxy.
    pub(crate) fn through(
        broker: impl Into<Broker>,
        daemon_port: u16,
        (runs, more): ((&str, &str), &[&str]),
    ) -> Self {
        Self::of(broker, &beds(daemon_port, runs), more)
    }

    /// Beds by a site file of the test's own.
    pub(crate) fn of(broker: impl Into<Broker>, text: &str, more: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("weather.csv"), weather(Utc::now())).unwrap();
        Self::begin(broker.into(), (folder, Arc::new(SystemClock)), text, more)
    }

    /// Beds on a fast clock, which the daemon and its valves share.
    #[cfg(feature = "demo")]
    pub(crate) fn fast(
        broker: Broker,
        text: &str,
        (from, speed): (chrono::DateTime<Utc>, u32),
    ) -> Self {
        use soakmist::clock::{Bearing, SharedClock};
        let folder = tempfile::tempdir().unwrap();
        let hours = crate::beds::summer(from - chrono::TimeDelta::days(12), 40);
        std::fs::write(folder.path().join("weather.csv"), crate::beds::csv(&hours)).unwrap();
        let file = folder.path().join(super::process::CLOCK);
        Bearing::from_now(from, speed).save(&file).unwrap();
        let clock = Arc::new(SharedClock::of(&file).unwrap());
        Self::begin(broker, (folder, clock), text, &[])
    }

    fn begin(
        broker: Broker,
        (folder, clock): (TempDir, Arc<dyn Clock>),
        text: &str,
        more: &[&str],
    ) -> Self {
        std::fs::write(folder.path().join("site.toml"), text).unwrap();
        let site = load(text, "site.toml").unwrap().site;
        let mqtt = site.mqtt.clone().unwrap();
        let simulated = SimulatedSite::of(&site, &mqtt, clock.now().moment);
        let valves = Simulator::start(simulated, broker.port(), Arc::clone(&clock), LOOK);
        let daemon = Process::start(folder.path(), more);
        Self {
            broker,
            folder,
            valves,
            daemon,
            site,
            clock,
        }
    }

    /// The time of the ground.
    pub(crate) fn now(&self) -> soakmist::clock::Now {
        self.clock.now()
    }

    pub(crate) fn restart(&mut self) {
        self.daemon = Process::start(self.folder.path(), &[]);
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Goes on until something holds, or fails.
    pub(crate) async fn until(&self, what: &str, holds: impl Fn(&Self) -> bool) {
        self.until_within(PATIENCE, what, holds).await;
    }

    pub(crate) async fn until_within(
        &self,
        bound: Duration,
        what: &str,
        holds: impl Fn(&Self) -> bool,
    ) {
        let begun = Instant::now();
        while !holds(self) {
            assert!(
                begun.elapsed() < bound,
                "not {what}:\n{}",
                self.daemon.said()
            );
            tokio::time::sleep(LOOK).await;
        }
    }

    pub(crate) fn is_open(&self, zone: usize) -> bool {
        self.valves
            .with(|site| site.valve(DeviceId::Zone(zone)).unwrap().is_open())
    }

    pub(crate) fn open_zones(&self) -> usize {
        (0..3).filter(|zone| self.is_open(*zone)).count()
    }

    /// Looks at the valve of a zone.
    pub(crate) fn valve<T>(&self, zone: usize, look: impl FnOnce(&SimulatedValve) -> T) -> T {
        self.valves
            .with(|site| look(site.valve(DeviceId::Zone(zone)).unwrap()))
    }

    /// The lengths of the runs of a zone, as the log says [s].
    pub(crate) fn asked_s(&self, zone: usize) -> Vec<f64> {
        let name = format!("zone=\"{}\"", self.site.zones[zone].name);
        let said = self.daemon.said();
        let begun = said.lines().filter(|line| line.contains("a run begins"));
        let mine = begun.filter(|line| line.contains(&name));
        let seconds = mine.filter_map(|line| {
            let (_, after) = line.split_once("seconds=")?;
            after.split(' ').next()?.parse().ok()
        });
        seconds.collect()
    }

    /// By how much the longest opening of a valve, of those that are over, was
    /// longer than the longest run of its zone [s].
    pub(crate) fn late_s(&self, zone: usize) -> f64 {
        let asked = self.asked_s(zone).into_iter().fold(0.0, f64::max);
        self.valve(zone, |valve| valve.longest().as_secs_f64()) - asked
    }

    /// How long a valve was open in its life [s].
    pub(crate) fn open_s(&self, zone: usize) -> f64 {
        let now = self.now().moment;
        self.valves.with(|site| {
            let valve = site.valve(DeviceId::Zone(zone)).unwrap();
            valve.open_for(now).as_secs_f64()
        })
    }
}
