//! Reads the files and asks the services.

use std::io::Read;
use std::path::{Path, PathBuf};

use super::{Failure, ServiceName, Span, WeatherArguments};
use crate::agronomy::weather_record::GeoPosition;
use crate::site::Site;
use crate::weather::assemble::{Assembled, assemble};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::fetch::{FetchOptions, Fetched, Fetcher, How};
use crate::weather::series::{MergeRules, Source, SourceKind};
use crate::weather::services::{Coordinates, MetNorway, OpenMeteo, UsNws, WeatherService};
use crate::weather::typical_year;

/// Days before the present that are merged too: what an hour of tonight needs of
/// yesterday (cloudiness, least temperature).
const DAYS_BEFORE: i64 = 2;
/// No weather file longer than this is read [bytes]: a TMY3 year has 2 MiB.
const LONGEST_YEAR: u64 = 16 * 1024 * 1024;

/// What became of a source, for people and programs.
#[derive(Debug, Clone, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct SourceLine {
    pub name: String,
    pub kind: SourceKind,
    pub hours: usize,
    pub first: Option<chrono::DateTime<chrono::Utc>>,
    pub last: Option<chrono::DateTime<chrono::Utc>>,
    pub received: Option<chrono::DateTime<chrono::Utc>>,
    pub how: Option<How>,
    /// Wind height of its values [m].
    pub wind_height_m: Option<f64>,
    pub notes: Vec<String>,
    pub trouble: Option<String>,
    pub credit: Option<String>,
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
}

/// All that was gathered.
pub(super) struct Gathered {
    pub assembled: Assembled,
    pub lines: Vec<SourceLine>,
    pub place: GeoPosition,
}

/// Reads and asks everything and merges it.
pub(super) fn gather(
    arguments: &WeatherArguments,
    site: &Site,
    span: Span,
) -> Result<Gathered, Failure> {
    let place = GeoPosition {
        latitude_deg: site.place.latitude_deg,
        longitude_deg: site.place.longitude_deg,
        elevation_m: site.place.elevation_m,
    };
    let mut sources = Vec::new();
    let mut lines = Vec::new();
    if let Some(source) = sensor(arguments, site)? {
        lines.push(SourceLine::of(&source));
        sources.push(source);
    }
    for (source, line) in services(arguments, &place, span)? {
        lines.push(line);
        sources.extend(source);
    }
    let rules = MergeRules {
        from: span.from - chrono::TimeDelta::days(DAYS_BEFORE),
        to: span.to,
        now: span.now,
        oldest_forecast: MergeRules::OLDEST_FORECAST,
    };
    if let Some(path) = &arguments.typical_year {
        let source = climate(path, &rules)?;
        lines.push(SourceLine::of(&source));
        sources.push(source);
    }
    if lines.is_empty() {
        return Err(Failure::Input(
            "nothing tells the weather: name a service with --service open-meteo, or a file \
             with --weather FILE.csv"
                .into(),
        ));
    }
    Ok(Gathered {
        assembled: assemble(sources, &[], &place, &rules),
        lines,
        place,
    })
}

/// The site's own file, or the one named instead.
fn sensor(arguments: &WeatherArguments, site: &Site) -> Result<Option<Source>, Failure> {
    let (path, wind_height_m) = match (&arguments.weather, &site.weather_file) {
        (Some(path), file) => (
            path.clone(),
            file.as_ref().map_or(10.0, |file| file.wind_height_m),
        ),
        (None, Some(file)) => {
            let folder = arguments
                .site
                .parent()
                .map_or_else(PathBuf::new, Path::to_owned);
            (folder.join(&file.path), file.wind_height_m)
        }
        (None, None) => return Ok(None),
    };
    let options = CsvOptions {
        time_zone: Some(site.place.time_zone),
        wind_height_m,
        ..CsvOptions::default()
    };
    let contents = read_file(&path, &options).map_err(|error| Failure::Input(error.to_string()))?;
    let name = path.file_name().map_or_else(
        || "weather file".to_owned(),
        |name| name.to_string_lossy().into_owned(),
    );
    Ok(Some(Source {
        name,
        kind: SourceKind::Sensor,
        received: None,
        hours: contents.hours,
    }))
}

fn climate(path: &Path, rules: &MergeRules) -> Result<Source, Failure> {
    let mut bytes = Vec::new();
    #[expect(
        clippy::disallowed_methods,
        reason = "the command line reads the file it is given"
    )]
    std::fs::File::open(path)
        .and_then(|file| file.take(LONGEST_YEAR).read_to_end(&mut bytes))
        .map_err(|error| Failure::Io(format!("cannot read {}: {error}", path.display())))?;
    let year = typical_year::parse(&bytes)
        .map_err(|error| Failure::Input(format!("{}: {error}", path.display())))?;
    Ok(Source {
        name: format!("typical year of {}", year.station),
        kind: SourceKind::TypicalYear,
        received: None,
        hours: year.between(rules.from, rules.to),
    })
}

/// Asks every service. One that fails costs its own hours only.
fn services(
    arguments: &WeatherArguments,
    place: &GeoPosition,
    span: Span,
) -> Result<Vec<(Option<Source>, SourceLine)>, Failure> {
    if arguments.services.is_empty() {
        return Ok(Vec::new());
    }
    let folder = arguments.cache.clone().unwrap_or_else(usual_cache);
    let fetcher = Fetcher::new(FetchOptions::new(arguments.contact.clone(), folder))
        .map_err(|error| Failure::Input(error.to_string()))?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Io(format!("cannot start: {error}")))?;
    let place = Coordinates::new(place.latitude_deg, place.longitude_deg, place.elevation_m);
    let ask = |name: &ServiceName| {
        let service = service(arguments, *name);
        let fetched = runtime.block_on(fetcher.fetch(service.as_ref(), &place, span.now));
        match fetched {
            Ok(fetched) => told(service.as_ref(), fetched),
            Err(error) => {
                let nothing = Source {
                    name: service.name().to_owned(),
                    kind: SourceKind::Service,
                    received: None,
                    hours: Vec::new(),
                };
                let trouble = Some(error.to_string());
                (
                    None,
                    SourceLine {
                        trouble,
                        ..SourceLine::of(&nothing)
                    },
                )
            }
        }
    };
    Ok(arguments.services.iter().map(ask).collect())
}

fn told(service: &dyn WeatherService, fetched: Fetched) -> (Option<Source>, SourceLine) {
    let source = Source {
        name: service.name().to_owned(),
        kind: SourceKind::Service,
        received: Some(fetched.received),
        hours: fetched.reply.hours,
    };
    let line = SourceLine {
        how: Some(fetched.how),
        notes: fetched
            .reply
            .notes
            .iter()
            .map(ToString::to_string)
            .collect(),
        trouble: fetched.trouble,
        credit: Some(service.credit().to_owned()),
        ..SourceLine::of(&source)
    };
    (Some(source), line)
}

fn service(arguments: &WeatherArguments, name: ServiceName) -> Box<dyn WeatherService> {
    let other = arguments.service_urls.iter().find(|(of, _)| *of == name);
    let url = |public: &'static str| other.map_or(public, |(_, url)| url.as_str());
    match name {
        ServiceName::OpenMeteo => Box::new(OpenMeteo::at(url(OpenMeteo::PUBLIC))),
        ServiceName::MetNorway => Box::new(MetNorway::at(url(MetNorway::PUBLIC))),
        ServiceName::UsNws => Box::new(UsNws::at(url(UsNws::PUBLIC))),
    }
}

/// `$XDG_CACHE_HOME/soakmist`, or `~/.cache/soakmist` (XDG Base Directory
/// Specification 0.8).
fn usual_cache() -> PathBuf {
    let base = std::env::var_os("XDG_CACHE_HOME")
        .filter(|folder| !folder.is_empty())
        .map_or_else(
            || {
                std::env::var_os("HOME")
                    .map_or_else(std::env::temp_dir, PathBuf::from)
                    .join(".cache")
            },
            PathBuf::from,
        );
    base.join("soakmist").join("weather")
}
