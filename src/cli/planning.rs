//! From a site file and a weather file on disk to what a plan needs.

use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::Failure;
use super::check::read_site_file;
use super::coverage::Coverage;
use super::output::paragraph;
use crate::agronomy::missing_data::complete;
use crate::agronomy::weather_record::{GeoPosition, WeatherHour};
use crate::plan::first_soak;
use crate::plan::{self, PlanError};
use crate::report::{SiteDoubt, WeatherSource};
use crate::site::local_time::{date_of, span_of_days};
use crate::site::{Code, Loaded, Place, Site, load_bytes};
use crate::weather::csv::{CsvOptions, WeatherCsvError, read_file};
use crate::weather::quality;

/// Without a start, a plan begins this long before the first seeding, so
/// that it shows the deep soak [d].
const LEAD_DAYS: i64 = 2;
/// Days of a plan, where no number is asked for.
pub const USUAL_DAYS: u32 = 28;
/// Remarks on the weather that are printed one by one.
const REMARKS_SHOWN: usize = 8;

/// A site whose text holds no error; its warnings go to standard error.
///
/// # Errors
/// [`Failure::Io`] when the file cannot be read; [`Failure::Input`] with all
/// diagnostics when it has errors.
pub fn load_site(path: &Path) -> Result<Site, Failure> {
    Ok(load_site_with_doubts(path)?.0)
}

/// As [`load_site`], with what is doubtful, for the reader of a plan.
///
/// # Errors
/// As [`load_site`].
pub fn load_site_with_doubts(path: &Path) -> Result<(Site, Vec<SiteDoubt>), Failure> {
    let bytes = read_site_file(path)?;
    match load_bytes(&bytes, &path.display().to_string()) {
        Ok(loaded) => {
            for warning in &loaded.warnings {
                anstream::eprintln!("{}", warning.render(true));
            }
            let doubts = site_doubts(&loaded);
            Ok((loaded.site, doubts))
        }
        Err(faults) => {
            anstream::eprintln!("{}", faults.render(true));
            let count = faults.items.len();
            Err(Failure::Input(format!(
                "{} has {count} error{}; nothing was planned",
                path.display(),
                if count == 1 { "" } else { "s" }
            )))
        }
    }
}

/// The warnings of the file, then what soil, sprinklers and supply show only
/// together.
fn site_doubts(loaded: &Loaded) -> Vec<SiteDoubt> {
    let of_file = loaded.warnings.iter().map(|warning| SiteDoubt {
        text: warning.message.clone(),
        help: warning.help.clone(),
        grave: warning.code == Code::WrongPlace,
    });
    let of_zones = plan::doubts::doubts(&loaded.site).into_iter();
    let of_zones = of_zones.map(|doubt| SiteDoubt {
        text: doubt.what,
        help: Some(doubt.help),
        grave: false,
    });
    of_file.chain(of_zones).collect()
}

/// Complete hours for a site, and where they came from.
pub struct SiteWeather {
    /// The hours.
    pub hours: Vec<WeatherHour>,
    /// For the head of a report.
    pub source: WeatherSource,
}

/// Weather from the file asked for, or from the one that the site names.
/// What is doubtful or estimated goes to standard error.
///
/// # Errors
/// [`Failure::Input`] without any file, or for one that cannot be used;
/// [`Failure::Io`] for one that cannot be read.
pub fn load_weather(
    site: &Site,
    site_path: &Path,
    asked: Option<&Path>,
    wind_height_m: Option<f64>,
) -> Result<SiteWeather, Failure> {
    let named = site.weather_file.as_ref();
    let path: PathBuf = match (asked, named) {
        (Some(path), _) => path.to_owned(),
        (None, Some(file)) => site_path.parent().unwrap_or(Path::new("")).join(&file.path),
        (None, None) => {
            return Err(Failure::Input(
                "no weather: give --weather FILE.csv, or name a file under [weather] in the site file; \
                 `soakmist weather` fetches one".into(),
            ));
        }
    };
    let named_height_m = named
        .filter(|_| asked.is_none())
        .map(|file| file.wind_height_m);
    let options = CsvOptions {
        time_zone: Some(site.place.time_zone),
        wind_height_m: wind_height_m
            .or(named_height_m)
            .unwrap_or(CsvOptions::default().wind_height_m),
        ..CsvOptions::default()
    };
    let mut contents = read_file(&path, &options).map_err(weather_failure)?;
    let place = position(&site.place);
    let mut findings = contents.findings;
    findings.extend(quality::screen(&mut contents.hours, &place));
    let findings = findings.iter();
    let mut remarks: Vec<String> = findings
        .map(|finding| finding.in_zone(site.place.time_zone))
        .collect();
    let completed = complete(&contents.hours, &place)
        .map_err(|error| Failure::Input(format!("{}: {error}", path.display())))?;
    remarks.extend(completed.notes.iter().map(ToString::to_string));
    tell(&path, &remarks);
    let mut source = WeatherSource::new(&path.display().to_string(), &completed.hours, remarks);
    source.stamps_taken_in = contents.stamps_taken_in;
    Ok(SiteWeather {
        hours: completed.hours,
        source,
    })
}

/// Why no plan can be made; of weather that is too short, what it covers.
#[must_use]
pub fn plan_failure(site: &Site, weather: &str, error: PlanError) -> Failure {
    let PlanError::WeatherTooShort {
        first,
        last,
        from,
        to,
    } = error
    else {
        return Failure::Input(error.to_string());
    };
    let coverage = Coverage {
        site,
        name: weather,
        weather: (first, last),
        plan: (from, to),
    };
    Failure::Input(format!("{}\n  {}", coverage.missing(), coverage.mend()))
}

/// First and last instant of a plan of whole local days.
#[must_use]
pub fn span(site: &Site, from: Option<NaiveDate>, days: u32) -> (DateTime<Utc>, DateTime<Utc>) {
    let first = from.unwrap_or_else(|| before_seeding(site));
    span_of_days(site.place.time_zone, first, days)
}

/// The day on which a plan begins that nobody gave a day: some days before the
/// first seeding, or earlier where its deep soak takes longer.
#[must_use]
pub fn usual_start(site: &Site, weather: &[WeatherHour]) -> NaiveDate {
    let first = before_seeding(site);
    first_soak(site, weather).map_or(first, |soak| first.min(date_of(site.place.time_zone, soak)))
}

fn before_seeding(site: &Site) -> NaiveDate {
    let sown = site.zones.iter().map(|zone| zone.seeding.at).min();
    let before = sown.unwrap_or_default() - TimeDelta::days(LEAD_DAYS);
    date_of(site.place.time_zone, before)
}

/// A place as sun and air need it.
#[must_use]
pub fn position(place: &Place) -> GeoPosition {
    GeoPosition {
        latitude_deg: place.latitude_deg,
        longitude_deg: place.longitude_deg,
        elevation_m: place.elevation_m,
    }
}

/// A weather file that cannot be used, by what is wrong with it.
fn weather_failure(error: WeatherCsvError) -> Failure {
    match error {
        WeatherCsvError::Unreadable { .. } => Failure::Io(error.to_string()),
        _ => Failure::Input(error.to_string()),
    }
}

fn tell(path: &Path, remarks: &[String]) {
    if remarks.is_empty() {
        return;
    }
    let mut page = format!("{}:\n", path.display());
    for remark in remarks.iter().take(REMARKS_SHOWN) {
        page += &paragraph("  - ", remark);
    }
    if remarks.len() > REMARKS_SHOWN {
        page += &format!("  - and {} more remarks\n", remarks.len() - REMARKS_SHOWN);
    }
    anstream::eprint!("{page}");
}
