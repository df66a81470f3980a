//! The options that say where the weather comes from; they override the
//! `[weather]` table of the site file.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use clap::builder::PossibleValuesParser;
use clap::builder::TypedValueParser as _;

use super::Failure;
use super::arguments::wind_height;
use crate::site::{Place, RainTrust, ServiceName, Site, WeatherFile, WeatherSetup};
use crate::weather::csv::CsvOptions;
use crate::weather::fetch::{FetchOptions, Fetcher};
use crate::weather::frozen::{self, Frozen};
use crate::weather::series::SeriesHour;
use crate::weather::sources::{Asking, Gathered, Wanted, gather};

/// Where the weather comes from.
#[derive(Debug, clap::Args)]
pub struct SourceArguments {
    /// Weather CSV of the site's own sensors, instead of the one that the site
    /// names
    #[arg(long, value_name = "FILE.csv")]
    pub weather: Option<PathBuf>,
    /// Height at which the wind of that file was measured [m]
    #[arg(long, value_name = "M", value_parser = wind_height)]
    pub wind_height: Option<f64>,
    /// A service to ask; may be given more than once, the most trusted first
    #[arg(long = "service", value_name = "NAME", value_parser = service_name())]
    services: Vec<ServiceName>,
    /// Whom the services may write to: your mail address or web page
    #[arg(long, env = "SOAKMIST_CONTACT", value_name = "ADDRESS")]
    contact: Option<String>,
    /// A typical year (EPW or TMY3) for hours that nothing else knows
    #[arg(long, value_name = "FILE")]
    typical_year: Option<PathBuf>,
    /// How far expected rain counts: never, cautious, expected, as-forecast
    #[arg(long, value_parser = rain_trust, value_name = "WORD")]
    rain: Option<RainTrust>,
    /// The present, for a look back (RFC 3339)
    #[arg(long, value_name = "TIME")]
    now: Option<DateTime<Utc>>,
    /// Where replies of services are kept
    #[arg(long, env = "SOAKMIST_CACHE", value_name = "FOLDER")]
    cache: Option<PathBuf>,
    /// State folder of the daemon of this site: what its sensors over MQTT
    /// measured counts too, and its services are not asked a second time
    #[arg(long, value_name = "DIR")]
    state: Option<PathBuf>,
    /// Another server of a service, as NAME=URL
    #[arg(long = "service-url", value_parser = service_url, value_name = "NAME=URL")]
    service_urls: Vec<(ServiceName, String)>,
}

fn service_name() -> impl clap::builder::TypedValueParser<Value = ServiceName> {
    PossibleValuesParser::new(ServiceName::ALL.map(ServiceName::word))
        .try_map(|word| ServiceName::from_word(&word).ok_or("no such service"))
}

fn rain_trust(text: &str) -> Result<RainTrust, String> {
    RainTrust::from_word(text).ok_or_else(|| {
        let words = RainTrust::ALL.map(RainTrust::word).join(", ");
        format!("write one of {words}")
    })
}

fn service_url(text: &str) -> Result<(ServiceName, String), String> {
    let (name, url) = text.split_once('=').ok_or("write NAME=URL")?;
    let name = ServiceName::from_word(name).ok_or("the name must be that of a service")?;
    if !(url.starts_with("https://") || url.starts_with("http://")) {
        return Err("the URL must begin with https:// or http://".to_owned());
    }
    Ok((name, url.to_owned()))
}

/// The span for which weather is gathered.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    /// The present.
    pub now: DateTime<Utc>,
    /// First hour.
    pub from: DateTime<Utc>,
    /// End of the last hour.
    pub to: DateTime<Utc>,
}

impl SourceArguments {
    /// The present, or the one that is asked for.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.now.unwrap_or_else(present)
    }

    /// Whether a present was asked for.
    #[must_use]
    pub fn looks_back(&self) -> bool {
        self.now.is_some()
    }

    /// What the site names, overridden by what is asked for.
    #[must_use]
    pub fn setup(&self, site: &Site) -> WeatherSetup {
        let mut setup = site.weather.clone();
        if let Some(path) = &self.weather {
            let usual_m = CsvOptions::default().wind_height_m;
            setup.file = Some(WeatherFile {
                path: from_here(path),
                wind_height_m: self.wind_height.unwrap_or(usual_m),
            });
        } else if let (Some(height_m), Some(file)) = (self.wind_height, &mut setup.file) {
            file.wind_height_m = height_m;
        }
        if !self.services.is_empty() {
            setup.services.clone_from(&self.services);
        }
        if self.contact.is_some() {
            setup.contact.clone_from(&self.contact);
        }
        if let Some(path) = &self.typical_year {
            setup.typical_year = Some(from_here(path));
        }
        setup.rain = self.rain.unwrap_or(setup.rain);
        setup
    }

    /// Reads the files and asks the services of a setup. Nobody is asked for
    /// days that are over.
    ///
    /// # Errors
    /// [`Failure::Input`] for a file or a contact that cannot be used.
    pub fn gather(
        &self,
        (setup, site_file): (&WeatherSetup, &Path),
        place: &Place,
        span: Span,
    ) -> Result<Gathered, Failure> {
        let wanted = Wanted {
            setup,
            folder: site_file.parent().unwrap_or(Path::new("")),
            place,
            now: span.now,
            from: span.from,
            to: span.to,
        };
        let asks = !setup.services.is_empty() && span.to > span.now;
        let asking = asks.then(|| self.asking(setup)).transpose()?;
        let gathered = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::Io(format!("cannot start: {error}")))?
            .block_on(gather(&wanted, asking.as_ref(), &self.frozen(span)?));
        match gathered.file_trouble() {
            Some(trouble) => Err(Failure::Input(trouble.to_owned())),
            None => Ok(gathered),
        }
    }

    /// Whether a daemon was named, whose weather counts.
    #[must_use]
    pub fn has_state(&self) -> bool {
        self.state.is_some()
    }

    /// What a daemon kept of the hours that are over, where one is named.
    fn frozen(&self, span: Span) -> Result<Vec<SeriesHour>, Failure> {
        let Some(folder) = &self.state else {
            return Ok(Vec::new());
        };
        let since = span.now - Frozen::REACH;
        let kept = kept_by_daemon(folder, since, span.now);
        let kept = kept.map_err(|error| Failure::Input(format!("--state: {error}")))?;
        // Hours that this version cannot read are as if they had never been kept.
        Ok(frozen::from_json(kept).0)
    }

    fn asking(&self, setup: &WeatherSetup) -> Result<Asking, Failure> {
        let of_daemon = || self.state.as_deref().map(weather_cache);
        let folder = self.cache.clone().or_else(of_daemon).or_else(usual_cache);
        let folder = folder.ok_or_else(|| {
            let what = "no place for the replies of services: give --cache FOLDER, or set HOME";
            Failure::Input(what.to_owned())
        })?;
        let fetcher = Fetcher::new(FetchOptions::new(setup.contact.clone(), folder))
            .map_err(|error| Failure::Input(error.to_string()))?;
        Ok(Asking {
            fetcher,
            servers: self.service_urls.iter().cloned().collect(),
        })
    }
}

/// The hours that a daemon wrote into its state folder.
#[cfg(feature = "daemon")]
fn kept_by_daemon(
    folder: &Path,
    since: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Vec<serde_json::Value>, crate::store::StoreError> {
    let file = crate::daemon::runtime::state_file(folder);
    crate::store::Store::frozen_hours_beside(&file, since, now)
}

#[cfg(not(feature = "daemon"))]
fn kept_by_daemon(
    _folder: &Path,
    _since: DateTime<Utc>,
    _now: DateTime<Utc>,
) -> Result<Vec<serde_json::Value>, &'static str> {
    Err("this soakmist was built without the daemon, and cannot read what one keeps")
}

/// A path of the command line, so that it is not taken as relative to the
/// site file.
fn from_here(path: &Path) -> String {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    path.to_string_lossy().into_owned()
}

/// The time of this computer.
#[expect(
    clippy::disallowed_methods,
    reason = "the command line is where the clock is read"
)]
pub fn present() -> DateTime<Utc> {
    Utc::now()
}

/// Where a daemon with this state folder keeps the replies of services.
#[must_use]
pub fn weather_cache(state: &Path) -> PathBuf {
    state.join("weather")
}

/// `$XDG_CACHE_HOME/soakmist/weather`, or below `~/.cache` (XDG Base Directory
/// Specification 0.8). None without a home: in a folder that everybody shares
/// others could leave weather.
fn usual_cache() -> Option<PathBuf> {
    let named = |name| std::env::var_os(name).filter(|folder| !folder.is_empty());
    let base = match named("XDG_CACHE_HOME") {
        Some(base) => PathBuf::from(base),
        None => PathBuf::from(named("HOME")?).join(".cache"),
    };
    Some(base.join("soakmist").join("weather"))
}
