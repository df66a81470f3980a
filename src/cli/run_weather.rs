//! Weather for the running daemon, from every source that its site names.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::TimeDelta;

use super::sources::{present, usual_cache};
use crate::agronomy::weather_record::GeoPosition;
use crate::daemon::runtime::Gather;
use crate::site::{Site, WeatherFile};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::fetch::{FetchOptions, Fetcher};
use crate::weather::frozen::Frozen;
use crate::weather::quality;
use crate::weather::series::SeriesHour;
use crate::weather::sources::{Asking, Wanted, gather};

/// Weather is gathered from so long ago, for the state of the soil.
const BACK: TimeDelta = Frozen::REACH;
/// And so far ahead; a plan reaches less far.
const AHEAD: TimeDelta = TimeDelta::days(7);

/// Weather as the site in force says. Sources that fail are told in the log;
/// the others serve.
pub fn weather_of(site: Arc<Mutex<Arc<Site>>>, folder: PathBuf) -> Gather {
    Arc::new(move |frozen| {
        let site = Arc::clone(&site.lock().unwrap_or_else(PoisonError::into_inner));
        match &site.weather.file {
            _ if site.weather.is_merged() => from_sources(&site, &folder, frozen),
            Some(file) => from_file(&site, file, &folder),
            None => Err("the site file names no weather: give [weather] file or services".into()),
        }
    })
}

fn from_sources(site: &Site, folder: &Path, frozen: &Frozen) -> Result<Vec<SeriesHour>, String> {
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
            let options = FetchOptions::new(setup.contact.clone(), usual_cache());
            let fetcher = Fetcher::new(options).map_err(|error| error.to_string())?;
            let servers = BTreeMap::new();
            Some(Asking { fetcher, servers })
        }
    };
    let gathered = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| error.to_string())?
        .block_on(gather(&wanted, asking.as_ref(), &frozen.hours()));
    for alarm in gathered.alarms() {
        tracing::warn!(alarm, "weather");
    }
    let mut hours = gathered.assembled.series.hours;
    hours.retain(|hour| !hour.marks.is_empty());
    match hours.is_empty() {
        true => Err("no source of the site gave any weather".into()),
        false => Ok(hours),
    }
}

/// The site's one file, whole: it may hold a forecast of its own.
fn from_file(site: &Site, file: &WeatherFile, folder: &Path) -> Result<Vec<SeriesHour>, String> {
    let options = CsvOptions {
        wind_height_m: file.wind_height_m,
        ..CsvOptions::of(site.place.time_zone)
    };
    let contents = read_file(&folder.join(&file.path), &options);
    let mut contents = contents.map_err(|error| error.to_string())?;
    for finding in quality::screen(&mut contents.hours, &GeoPosition::from(&site.place)) {
        tracing::debug!(%finding, "doubtful weather");
    }
    let told = contents.hours.into_iter();
    Ok(told
        .map(|hour| SeriesHour::told(hour, &file.path, None))
        .collect())
}
