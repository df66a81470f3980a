//! Weather for the running daemon, from every source that its site names.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::TimeDelta;

use super::sources::present;
use crate::agronomy::weather_record::{GeoPosition, RawHour};
use crate::daemon::runtime::Gather;
use crate::site::{Site, WeatherFile};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::fetch::{FetchOptions, Fetcher};
use crate::weather::quality;
use crate::weather::sources::{Asking, Wanted, gather};

/// Weather is gathered from so long ago, for the state of the soil.
const BACK: TimeDelta = TimeDelta::days(45);
/// And so far ahead; a plan reaches less far.
const AHEAD: TimeDelta = TimeDelta::days(7);

/// Weather as the site in force says; files of the site lie in the first
/// folder, replies of services are kept in the second. Sources that fail are
/// told in the log; the others serve.
pub fn weather_of(site: Arc<Mutex<Arc<Site>>>, (folder, cache): (PathBuf, PathBuf)) -> Gather {
    let told = Mutex::new(Vec::new());
    Arc::new(move || {
        let site = Arc::clone(&site.lock().unwrap_or_else(PoisonError::into_inner));
        match &site.weather.file {
            _ if site.weather.is_merged() => from_sources(&site, (&folder, &cache), &told),
            Some(file) => from_file(&site, file, &folder),
            None => Err("the site file names no weather: give [weather] file or services".into()),
        }
    })
}

fn from_sources(
    site: &Site,
    (folder, cache): (&Path, &Path),
    told: &Mutex<Vec<String>>,
) -> Result<Vec<RawHour>, String> {
    let now = present();
    let setup = &site.weather;
    let wanted = Wanted {
        setup,
        folder,
        place: &site.place,
        now,
        from: now - BACK,
        to: now + AHEAD,
    };
    let asking = match setup.services.is_empty() {
        true => None,
        false => {
            let options = FetchOptions::new(setup.contact.clone(), cache.to_owned());
            let fetcher = Fetcher::new(options).map_err(|error| error.to_string())?;
            let servers = BTreeMap::new();
            Some(Asking { fetcher, servers })
        }
    };
    let gathered = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| error.to_string())?
        .block_on(gather(&wanted, asking.as_ref(), &[]));
    tell(gathered.alarms(), told);
    let hours = gathered.assembled.series.raw();
    match hours.is_empty() {
        true => Err("no source of the site gave any weather".into()),
        false => Ok(hours),
    }
}

/// Logs what was not told at the last gathering.
fn tell(alarms: Vec<String>, told: &Mutex<Vec<String>>) {
    let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
    for alarm in alarms.iter().filter(|alarm| !told.contains(alarm)) {
        tracing::warn!(alarm, "weather");
    }
    *told = alarms;
}

/// The site's one file, whole: it may hold a forecast of its own.
fn from_file(site: &Site, file: &WeatherFile, folder: &Path) -> Result<Vec<RawHour>, String> {
    let options = CsvOptions {
        wind_height_m: file.wind_height_m,
        ..CsvOptions::of(site.place.time_zone)
    };
    let contents = read_file(&folder.join(&file.path), &options);
    let mut contents = contents.map_err(|error| error.to_string())?;
    for finding in quality::screen(&mut contents.hours, &GeoPosition::from(&site.place)) {
        tracing::debug!(%finding, "doubtful weather");
    }
    Ok(contents.hours)
}
