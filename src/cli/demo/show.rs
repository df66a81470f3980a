//! The simulated ground, its broker, and the daemon on a fast clock.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::time::sleep;

use super::super::Failure;
use super::page::Page;
use crate::agronomy::weather_record::RawHour;
use crate::clock::{AcceleratedClock, Clock, Now};
use crate::daemon::runtime::{Daemon, Parts, Start, Word, hasten, timing};
use crate::simulator::{EmbeddedBroker, SimulatedSite, Simulator};
use crate::site::{Site, load};
use crate::store::{Entry, Ledger, StoreError};
use crate::valve::Moment;
use crate::weather::csv::{CsvOptions, parse};

const SITE: &str = include_str!("../../../config/harrowmere.toml");
const WEATHER: &str = include_str!("../../../config/harrowmere-weather.csv");
/// A day of misting: every zone is sown, nothing is up.
const FROM: &str = "2023-08-27T08:30:00Z";
/// The valves look at their clock so often, in real time.
const LOOK: Duration = Duration::from_millis(2);

/// Shows some days of the ground.
pub(super) fn run(days: u32, speed: u32) -> Result<(), Failure> {
    let io = |error: &dyn std::fmt::Display| Failure::Io(format!("no demonstration: {error}"));
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| io(&error))?;
    let folder = TempFolder::make().map_err(|error| io(&error))?;
    let shown = runtime.block_on(show(days, speed, &folder.0));
    runtime.shutdown_background();
    shown.map_err(|error| io(&error))?
}

/// The demonstration's site, at the broker on `port`.
fn site(port: u16) -> Result<Site, String> {
    let loaded = load(SITE, "harrowmere.toml").map_err(|faults| faults.render(false))?;
    let mut site = loaded.site;
    let mqtt = site.mqtt.as_mut().ok_or("the site has no broker")?;
    "127.0.0.1".clone_into(&mut mqtt.host);
    mqtt.port = port;
    if let Some(meter) = &mut mqtt.flow_meter {
        meter.interval = TimeDelta::seconds(60);
    }
    Ok(site)
}

async fn show(days: u32, speed: u32, folder: &Path) -> Result<Result<(), Failure>, String> {
    let broker = EmbeddedBroker::start().await;
    let broker = broker.map_err(|error| error.to_string())?;
    let site = Arc::new(site(broker.port())?);
    let mqtt = site.mqtt.clone().ok_or("the site has no broker")?;
    let from: DateTime<Utc> = FROM.parse().map_err(|error| format!("{error}"))?;
    let now = Now {
        utc: from,
        moment: Moment::from_millis(1),
    };
    let clock = Arc::new(AcceleratedClock::new(now, speed));
    let ground = SimulatedSite::of(&site, &mqtt, now.moment);
    let as_clock: Arc<dyn Clock> = Arc::clone(&clock) as Arc<dyn Clock>;
    let valves = Simulator::start(ground, broker.port(), Arc::clone(&as_clock), LOOK);
    let start = Start {
        site: Arc::clone(&site),
        folder: folder.to_owned(),
        state: folder.join("demo.sqlite"),
        dry_run: false,
        clock: as_clock,
    };
    let page = Arc::new(Page::new(Arc::clone(&site)));
    let parts = parts(&start, &clock, (speed, Arc::clone(&page)))?;
    let (daemon, handle) = Daemon::new(parts).map_err(|error| error.to_string())?;
    let word = daemon.word();
    anstream::println!(
        "{}: {} simulated valves, a pump, a meter,\n\
         and a broker of their own. A second here is {:.0} min there. Ctrl-C ends it.\n\n\
         Seed is down everywhere. \"0.39 of 0.60 mm lost\" tells how much water the layer\n\
         with the seed has lost, of what it may lose until it is watered. Messages to\n\
         valves take their time also here: up to {:.0} min there.",
        site.name,
        site.zones.len(),
        f64::from(speed) / 60.0,
        timing(speed).most_delay.as_secs_f64() / 60.0,
    );
    let daemon = tokio::spawn(daemon.run());
    let day = Duration::from_secs(86_400) / speed;
    let end = from + TimeDelta::days(i64::from(days));
    let over = async {
        while clock.now().utc < end {
            sleep(day / 500).await;
        }
    };
    tokio::select! {
        () = over => {}
        _ = tokio::signal::ctrl_c() => {}
    }
    let status = handle.status();
    // The daemon hears this, or it has ended.
    let _ = word.send(Word::Stop).await;
    let end = daemon.await.map_err(|error| error.to_string())?;
    anstream::println!(
        "{}\nStopped; {}.",
        valves.with(|truth| page.summary(truth, &status)),
        match end.unconfirmed.len() {
            0 => "every valve has confirmed that it is closed".to_owned(),
            open => format!("{open} valves have not confirmed that they are closed"),
        }
    );
    valves.stop().await;
    Ok(match end.unconfirmed.is_empty() {
        true => Ok(()),
        false => Err(Failure::NotClosed("valves were left open".to_owned())),
    })
}

/// The parts of a daemon whose clock runs ahead of its network: bounds are
/// longer, and time stands still while it plans and writes.
fn parts(
    start: &Start,
    clock: &Arc<AcceleratedClock>,
    (speed, page): (u32, Arc<Page>),
) -> Result<Parts, String> {
    let mut parts = start.parts().map_err(|error| error.to_string())?;
    // Known from the start: to wait for it would be over in no time there.
    parts.memory.weather = weather(&start.site)?;
    hasten(&mut parts, speed);
    parts.settings.believe_clock = true;
    let held = Arc::clone(clock);
    parts.work = Arc::new(move |assignment| {
        let _held = held.hold();
        assignment.carry_out()
    });
    parts.ledger = Box::new(Slow {
        ledger: parts.ledger,
        clock: Arc::clone(clock),
    });
    parts.listener = Some(Box::new(move |notice, now| page.hear(notice, now)));
    Ok(parts)
}

fn weather(site: &Site) -> Result<Vec<RawHour>, String> {
    let options = CsvOptions::of(site.place.time_zone);
    let weather = parse(WEATHER.as_bytes(), &options).map_err(|error| error.to_string())?;
    Ok(weather.hours)
}

/// A journal that holds the clock while it writes.
struct Slow {
    ledger: Box<dyn Ledger + Send>,
    clock: Arc<AcceleratedClock>,
}

impl Ledger for Slow {
    fn write(&mut self, entries: &[Entry], now: Now) -> Result<(), StoreError> {
        let _held = self.clock.hold();
        self.ledger.write(entries, now)
    }
}

/// A folder that goes with the value.
struct TempFolder(std::path::PathBuf);

impl TempFolder {
    fn make() -> std::io::Result<Self> {
        let name = format!("soakmist-demo-{}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&folder)?;
        Ok(Self(folder))
    }
}

impl Drop for TempFolder {
    fn drop(&mut self) {
        // What cannot be removed is in the system's own temporary folder.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
