//! From what a site names to one series: files are read, services asked, and
//! everything is merged.
//!
//! [`gather`] is the one way there, for the command line and for a daemon alike.
//! A source that fails costs its own hours and is told ([`Gathered::alarms`]); it
//! never ends the gathering. What stands in where nothing is known is in
//! [`super::whole`].
//!
//! A daemon calls it once an hour and
//!
//! 1. gives it the hours that it froze before ([`super::frozen`], kept by the store);
//! 2. takes the series as the weather of its plan;
//! 3. freezes the hours that are over, so that the plan can be made again later.
//!
//! Nothing is asked that the terms of a service do not allow ([`super::politeness`]),
//! however often it is called.

mod files;

pub use files::logger_hours;

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;

use super::assemble::{Assembled, assemble};
use super::fetch::{Fetched, Fetcher, How};
use super::series::{MergeRules, SeriesHour, Source, SourceKind};
use super::services::{Coordinates, MetNorway, OpenMeteo, UsNws, WeatherService};
use crate::agronomy::weather_record::{GeoPosition, Provenance, RawHour};
use crate::site::{Place, ServiceName, WeatherSetup};

/// What is wanted of the sources.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// The sources.
    pub setup: &'a WeatherSetup,
    /// The folder that paths are relative to: that of the site file.
    pub folder: &'a Path,
    /// Where the site is.
    pub place: &'a Place,
    /// The present.
    pub now: DateTime<Utc>,
    /// First hour.
    pub from: DateTime<Utc>,
    /// End of the last hour.
    pub to: DateTime<Utc>,
}

/// How services are asked.
#[derive(Debug)]
pub struct Asking {
    /// Asks and keeps what they say.
    pub fetcher: Fetcher,
    /// Other servers than the public ones, for own servers and for tests.
    pub servers: BTreeMap<ServiceName, String>,
}

/// What became of a source, for people and programs.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct SourceLine {
    /// What people call it.
    pub name: String,
    /// What kind it is.
    pub kind: SourceKind,
    /// How many hours it gave.
    pub hours: usize,
    /// Start of the first.
    pub first: Option<DateTime<Utc>>,
    /// Start of the last.
    pub last: Option<DateTime<Utc>>,
    /// When they came, for a service.
    pub received: Option<DateTime<Utc>>,
    /// How they came, for a service.
    pub how: Option<How>,
    /// Wind height of its values [m].
    pub wind_height_m: Option<f64>,
    /// What is to be known about them.
    pub notes: Vec<String>,
    /// What went wrong.
    pub trouble: Option<String>,
    /// Whom to credit.
    pub credit: Option<String>,
}

/// All that was gathered.
#[derive(Debug, Clone, PartialEq)]
pub struct Gathered {
    /// The series and how forecasts were corrected.
    pub assembled: Assembled,
    /// The sources, in the order of trust within a kind.
    pub lines: Vec<SourceLine>,
    /// Where it is.
    pub place: GeoPosition,
    /// When it was gathered.
    pub now: DateTime<Utc>,
}

impl SourceLine {
    fn of(source: &Source) -> Self {
        Self {
            name: source.name.clone(),
            kind: source.kind,
            hours: source.hours.len(),
            first: source.hours.iter().map(|hour| hour.start).min(),
            last: source.hours.iter().map(|hour| hour.start).max(),
            received: source.received,
            how: None,
            wind_height_m: source.hours.first().map(|hour| hour.wind_height_m),
            notes: Vec::new(),
            trouble: None,
            credit: None,
        }
    }

    fn troubled(name: &str, kind: SourceKind, trouble: String) -> Self {
        let nothing = Source {
            name: name.to_owned(),
            kind,
            received: None,
            hours: Vec::new(),
            earlier: Vec::new(),
        };
        Self {
            trouble: Some(trouble),
            ..Self::of(&nothing)
        }
    }
}

/// A source, if it gave anything, and what became of it.
type Told = (Option<Source>, SourceLine);

/// Reads the files and asks the services of a site, and merges what they give.
///
/// - `asking`: none where nobody may be asked; then no connection is opened
/// - `frozen`: hours of an earlier series that were kept; may be empty
///
/// Blocks while it reads files, which are small; waits at most the time limit of
/// the fetcher for each service.
pub async fn gather(
    wanted: &Wanted<'_>,
    asking: Option<&Asking>,
    frozen: &[SeriesHour],
) -> Gathered {
    let rules = MergeRules {
        from: wanted.from,
        to: wanted.to,
        now: wanted.now,
        oldest_forecast: MergeRules::OLDEST_FORECAST,
    };
    let mut told = files::sensors(wanted);
    if let Some(asking) = asking {
        for name in &wanted.setup.services {
            told.push(ask(wanted, asking, *name).await);
        }
    }
    told.extend(files::typical_year(wanted));
    told.extend(remembered(frozen, &told));
    let (sources, lines): (Vec<_>, Vec<_>) = told.into_iter().unzip();
    let place = GeoPosition::from(wanted.place);
    let sources = sources.into_iter().flatten().collect();
    Gathered {
        assembled: assemble(sources, frozen, &place, &rules),
        lines,
        place,
        now: wanted.now,
    }
}

/// Sensors that only the frozen hours know, since they report over a broker:
/// services learn from them and are compared with them like with any other.
fn remembered(frozen: &[SeriesHour], told: &[Told]) -> Vec<Told> {
    let mut sensors: BTreeMap<&str, Vec<RawHour>> = BTreeMap::new();
    for hour in frozen {
        for (&variable, mark) in &hour.marks {
            let is_told = told.iter().any(|(_, line)| line.name == mark.source);
            if mark.provenance != Provenance::Measured || is_told {
                continue;
            }
            let (start, height_m) = (hour.hour.start, hour.hour.wind_height_m);
            let hours = sensors.entry(&mark.source).or_default();
            if hours.last().is_none_or(|last| last.start != start) {
                hours.push(RawHour::empty(start, height_m));
            }
            if let Some(last) = hours.last_mut() {
                variable.set(last, variable.of(&hour.hour));
            }
        }
    }
    let of = |(name, hours): (&str, Vec<RawHour>)| {
        let source = Source {
            name: name.to_owned(),
            kind: SourceKind::Sensor,
            received: None,
            hours,
            earlier: Vec::new(),
        };
        let line = SourceLine::of(&source);
        (Some(source), line)
    };
    sensors.into_iter().map(of).collect()
}

/// What is wrong with the files that a site names, in words; nobody is asked.
#[must_use]
pub fn file_troubles(wanted: &Wanted<'_>) -> Vec<String> {
    let mut told = files::sensors(wanted);
    told.extend(files::typical_year(wanted));
    told.into_iter()
        .filter_map(|(_, line)| line.trouble)
        .collect()
}

/// Asks a service. One that fails costs its own hours only.
async fn ask(wanted: &Wanted<'_>, asking: &Asking, name: ServiceName) -> Told {
    let server = asking.servers.get(&name).map(String::as_str);
    let service = service(name, server);
    let place = wanted.place;
    let place = Coordinates::new(place.latitude_deg, place.longitude_deg, place.elevation_m);
    let fetched = asking
        .fetcher
        .fetch(service.as_ref(), &place, wanted.now)
        .await;
    match fetched {
        Ok(fetched) => told(service.as_ref(), fetched),
        Err(error) => {
            let trouble = error.to_string();
            let line = SourceLine::troubled(service.name(), SourceKind::Service, trouble);
            (None, line)
        }
    }
}

fn told(service: &dyn WeatherService, fetched: Fetched) -> Told {
    let notes = fetched.reply.notes.iter().map(ToString::to_string);
    let notes = notes.collect();
    let source = Source {
        name: service.name().to_owned(),
        kind: SourceKind::Service,
        received: Some(fetched.received),
        hours: fetched.reply.hours,
        earlier: fetched.earlier,
    };
    let line = SourceLine {
        how: Some(fetched.how),
        notes,
        trouble: fetched.trouble,
        credit: Some(service.credit().to_owned()),
        ..SourceLine::of(&source)
    };
    (Some(source), line)
}

/// A service by name, at its public server or another one.
#[must_use]
pub fn service(name: ServiceName, server: Option<&str>) -> Box<dyn WeatherService> {
    match name {
        ServiceName::OpenMeteo => Box::new(OpenMeteo::at(server.unwrap_or(OpenMeteo::PUBLIC))),
        ServiceName::MetNorway => Box::new(MetNorway::at(server.unwrap_or(MetNorway::PUBLIC))),
        ServiceName::UsNws => Box::new(UsNws::at(server.unwrap_or(UsNws::PUBLIC))),
    }
}

/// Hours ahead in which a typical year in place of a forecast is told.
const TOLD_AHEAD: TimeDelta = TimeDelta::hours(48);

impl Gathered {
    /// What a person must know before trusting a plan on it: sources that gave
    /// nothing or something old, and what stands in for them.
    #[must_use]
    pub fn alarms(&self) -> Vec<String> {
        let of_line = |line| alarm(line, self.now);
        let mut alarms: Vec<String> = self.lines.iter().filter_map(of_line).collect();
        alarms.extend(self.climate_ahead());
        alarms
    }

    /// The first file that could not be read, in words.
    #[must_use]
    pub fn file_trouble(&self) -> Option<&str> {
        self.lines
            .iter()
            .filter(|line| line.kind != SourceKind::Service)
            .find_map(|line| line.trouble.as_deref())
    }

    /// Whether services were asked and a typical year serves in their place.
    fn climate_ahead(&self) -> Option<String> {
        let is_service = |line: &SourceLine| line.kind == SourceKind::Service;
        if !self.lines.iter().any(is_service) {
            return None;
        }
        let ahead = self.assembled.series.hours.iter().filter(|hour| {
            let start = hour.hour.start;
            start >= self.now && start < self.now + TOLD_AHEAD
        });
        let of_climate = ahead.filter(|hour| {
            hour.hour
                .air_temperature_c
                .is_some_and(|reading| reading.provenance == Provenance::Climate)
        });
        let hours = of_climate.count();
        (hours > 0).then(|| {
            let ahead = TOLD_AHEAD.num_hours();
            format!("a typical year, without rain, stands in for {hours} of the next {ahead} h")
        })
    }
}

/// What of a source must be told.
fn alarm(line: &SourceLine, now: DateTime<Utc>) -> Option<String> {
    let trouble = line.trouble.as_ref()?;
    let named = if trouble.starts_with(&line.name) {
        trouble.clone()
    } else {
        format!("{}: {trouble}", line.name)
    };
    Some(match line.received {
        Some(received) => {
            let time = received.format("%Y-%m-%d %H:%M UTC");
            let used = if now - received > MergeRules::OLDEST_FORECAST {
                "is too old and is not used"
            } else {
                "stands in"
            };
            format!("{named}; its reply of {time} {used}")
        }
        None => format!("{named}; it gives nothing to this plan"),
    })
}
