//! `soakmist weather`: the merged hourly series of a site for the next days,
//! with where every value came from.

use std::path::PathBuf;

use chrono::{DateTime, Days, TimeDelta, TimeZone, Timelike, Utc};
use chrono_tz::Tz;

use super::Failure;
use super::check::read_site_file;
use super::output::{emit, json};
use crate::site::{Loaded, Site, load_bytes};
use crate::weather::rain::RainTrust;

mod chart;
mod gather;
mod page;
mod report;

/// Arguments of `soakmist weather`.
#[derive(Debug, clap::Args)]
pub struct WeatherArguments {
    /// The site file (TOML)
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// A service to ask; may be given more than once, the most trusted first
    #[arg(long = "service", value_enum, value_name = "NAME")]
    services: Vec<ServiceName>,
    /// Whom the services may write to: your mail address or web page
    #[arg(long, env = "SOAKMIST_CONTACT", value_name = "ADDRESS")]
    contact: Option<String>,
    /// A weather file of the site's own sensors, instead of the site's
    #[arg(long, value_name = "FILE.csv")]
    weather: Option<PathBuf>,
    /// A typical year (EPW or TMY3) for hours that nothing else knows
    #[arg(long, value_name = "FILE")]
    typical_year: Option<PathBuf>,
    /// Days to show, today the first
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u8).range(1..=14))]
    days: u8,
    /// How far expected rain counts
    #[arg(long, value_parser = rain_trust, default_value = "cautious", value_name = "WORD")]
    rain: RainTrust,
    /// Every hour in a line of its own, instead of three
    #[arg(long)]
    hourly: bool,
    /// For a program: one JSON object
    #[arg(long)]
    json: bool,
    /// The present, for a look back (RFC 3339)
    #[arg(long, value_name = "TIME")]
    now: Option<DateTime<Utc>>,
    /// Where replies of services are kept
    #[arg(long, env = "SOAKMIST_CACHE", value_name = "FOLDER")]
    cache: Option<PathBuf>,
    /// Another server of a service, as NAME=URL
    #[arg(long = "service-url", value_parser = service_url, value_name = "NAME=URL")]
    service_urls: Vec<(ServiceName, String)>,
}

/// A public weather service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ServiceName {
    /// Global, with radiation
    OpenMeteo,
    /// Global, best in the north of Europe
    MetNorway,
    /// United States
    UsNws,
}

fn rain_trust(text: &str) -> Result<RainTrust, String> {
    RainTrust::from_word(text).ok_or_else(|| {
        let words = RainTrust::ALL.map(RainTrust::word).join(", ");
        format!("write one of {words}")
    })
}

fn service_url(text: &str) -> Result<(ServiceName, String), String> {
    let (name, url) = text.split_once('=').ok_or("write NAME=URL")?;
    let name = clap::ValueEnum::from_str(name, false)?;
    if !(url.starts_with("https://") || url.starts_with("http://")) {
        return Err("the URL must begin with https:// or http://".to_owned());
    }
    Ok((name, url.to_owned()))
}

/// The span that is shown.
#[derive(Debug, Clone, Copy)]
struct Span {
    now: DateTime<Utc>,
    /// The hour of now.
    from: DateTime<Utc>,
    to: DateTime<Utc>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] for a site or weather file with errors, [`Failure::Io`]
/// when nothing is known of the weather.
pub fn run(arguments: &WeatherArguments) -> Result<(), Failure> {
    let site = site(arguments)?;
    let now = arguments.now.unwrap_or_else(present);
    let from = hour_of(now);
    let to = end_of_days(from, (site.place.time_zone, arguments.days));
    let span = Span { now, from, to };
    let gathered = gather::gather(arguments, &site, span)?;
    let report = report::Report::new(&site, (gathered, arguments.rain), span)?;
    let text = if arguments.json {
        json(&report)?
    } else {
        page::page(&report, arguments.hourly)
    };
    emit(&text)
}

#[expect(
    clippy::disallowed_methods,
    reason = "the command line is where the clock is read"
)]
fn present() -> DateTime<Utc> {
    Utc::now()
}

fn hour_of(time: DateTime<Utc>) -> DateTime<Utc> {
    let into = i64::from(time.minute()) * 60 + i64::from(time.second());
    let whole = time - TimeDelta::seconds(into);
    whole - TimeDelta::nanoseconds(i64::from(time.nanosecond() % 1_000_000_000))
}

/// The local midnight that ends the last of so many days, today the first. Where
/// the clock skips midnight, the first hour after it.
fn end_of_days(from: DateTime<Utc>, span: (Tz, u8)) -> DateTime<Utc> {
    let (zone, days) = span;
    let day = from.with_timezone(&zone).date_naive() + Days::new(u64::from(days));
    (0..24)
        .filter_map(|hour| day.and_hms_opt(hour, 0, 0))
        .find_map(|local| zone.from_local_datetime(&local).earliest())
        .map_or(from + TimeDelta::days(i64::from(days)), |midnight| {
            midnight.to_utc()
        })
}

fn site(arguments: &WeatherArguments) -> Result<Site, Failure> {
    let bytes = read_site_file(&arguments.site)?;
    let file = arguments.site.display().to_string();
    match load_bytes(&bytes, &file) {
        Ok(Loaded { site, .. }) => Ok(site),
        Err(faults) => Err(Failure::Input(format!(
            "{file} has {} errors; soakmist check {file} tells them",
            faults.items.len()
        ))),
    }
}
