//! Weather for the running daemon, from every source that its site names.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::TimeDelta;
use tokio::sync::watch;

use super::sources::present;
use crate::agronomy::weather_record::GeoPosition;
use crate::daemon::runtime::Gather;
use crate::site::{Site, WeatherFile};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::doubt::Doubt;
use crate::weather::fetch::{FetchOptions, Fetcher};
use crate::weather::frozen::Frozen;
use crate::weather::quality;
use crate::weather::series::SeriesHour;
use crate::weather::sources::{Asking, Gathered, Wanted, gather};

/// Weather is gathered from so long ago, for the state of the soil.
const BACK: TimeDelta = Frozen::REACH;
/// And so far ahead; a plan reaches less far.
const AHEAD: TimeDelta = TimeDelta::days(7);

/// Weather as the site in force says; files of the site lie in the first
/// folder, replies of services are kept in the second. Sources that fail are
/// told in the log; the others serve.
pub fn weather_of(site: watch::Receiver<Arc<Site>>, (folder, cache): (PathBuf, PathBuf)) -> Gather {
    let told = Mutex::new(Told::default());
    Arc::new(move |frozen| {
        let site = Arc::clone(&site.borrow());
        match &site.weather.file {
            _ if site.weather.is_merged() => from_sources((&site, &folder, &cache), frozen, &told),
            Some(file) => from_file(&site, file, &folder),
            None => Err("the site file names no weather: give [weather] file or services".into()),
        }
    })
}

fn from_sources(
    (site, folder, cache): (&Site, &Path, &Path),
    frozen: &Frozen,
    told: &Mutex<Told>,
) -> Result<Vec<SeriesHour>, String> {
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
        .block_on(gather(&wanted, asking.as_ref(), &frozen.hours()));
    let mut told = told.lock().unwrap_or_else(PoisonError::into_inner);
    let turn = told.turn(worth_telling(&gathered));
    for what in turn.begun {
        tracing::warn!(what, "weather");
    }
    for what in turn.over {
        tracing::info!(what, "the weather is as it should be again");
    }
    let mut hours = gathered.assembled.series.hours;
    hours.retain(|hour| !hour.marks.is_empty());
    match hours.is_empty() {
        true => Err("no source of the site gave any weather".into()),
        false => Ok(hours),
    }
}

/// Sources that fail, and sensors that differ from a service by much.
fn worth_telling(gathered: &Gathered) -> Vec<String> {
    let doubts = gathered.assembled.series.doubts.iter();
    let differ = doubts.filter(|doubt| matches!(doubt, Doubt::Disagreement { .. }));
    let mut told = gathered.alarms();
    told.extend(differ.map(ToString::to_string));
    told
}

/// What was told of the weather and is still so: by its words without their
/// numbers, which change from hour to hour.
#[derive(Debug, Default)]
struct Told(BTreeMap<String, String>);

/// What is to be told.
#[derive(Debug, PartialEq, Eq)]
struct Turn {
    begun: Vec<String>,
    over: Vec<String>,
}

impl Told {
    fn turn(&mut self, now: Vec<String>) -> Turn {
        let without_numbers = |text: &String| text.replace(|c: char| c.is_ascii_digit(), "");
        let now = now.into_iter().map(|text| (without_numbers(&text), text));
        let now: BTreeMap<String, String> = now.collect();
        let before = std::mem::replace(&mut self.0, now);
        let only = |these: &BTreeMap<String, String>, others: &BTreeMap<String, String>| {
            let these = these.iter().filter(|(key, _)| !others.contains_key(*key));
            these.map(|(_, text)| text.clone()).collect()
        };
        Turn {
            begun: only(&self.0, &before),
            over: only(&before, &self.0),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_told_when_it_begins_and_when_it_is_over_whatever_its_numbers() {
        let mut told = Told::default();
        let failed = |hour: u32| format!("open-meteo: no connection; its reply of {hour}:00");
        let begun = told.turn(vec![failed(7)]);
        assert_eq!((begun.begun, begun.over), (vec![failed(7)], vec![]));
        let still = told.turn(vec![failed(8)]);
        assert_eq!((still.begun, still.over), (vec![], vec![]));
        let over = told.turn(vec![]);
        assert_eq!((over.begun, over.over), (vec![], vec![failed(8)]));
    }
}
