//! `soakmist weather`: the merged hourly series of a site for the next days,
//! with where every value came from.

use std::path::PathBuf;

use chrono::{DateTime, Days, TimeDelta, TimeZone, Timelike, Utc};
use chrono_tz::Tz;

use super::Failure;
use super::check::read_site_file;
use super::output::{emit, json, paragraph};
use super::sources::{SourceArguments, Span};
use crate::site::{Loaded, Site, WeatherSetup, load_bytes};
use crate::weather::sources::Gathered;

mod chart;
mod page;
mod report;

/// Arguments of `soakmist weather`.
#[derive(Debug, clap::Args)]
pub struct WeatherArguments {
    /// The site file (TOML)
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// Days to show, today the first
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u8).range(1..=14))]
    days: u8,
    /// Every hour in a line of its own, instead of three
    #[arg(long)]
    hourly: bool,
    /// For a program: one JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    sources: SourceArguments,
}

/// Days before the present that are merged too: what an hour of tonight needs of
/// yesterday (cloudiness, least temperature).
const DAYS_BEFORE: i64 = 2;

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`] for a site or weather file with errors, [`Failure::Io`]
/// when nothing is known of the weather.
pub fn run(arguments: &WeatherArguments) -> Result<(), Failure> {
    let site = site(arguments)?;
    let setup = arguments.sources.setup(&site);
    if setup.is_empty() && !arguments.sources.has_state() {
        return Err(Failure::Input(
            "nothing tells the weather: name a service with --service open-meteo, a file with \
             --weather FILE.csv, or a source under [weather] in the site file"
                .into(),
        ));
    }
    let days = (site.place.time_zone, arguments.days);
    let mut span = span_from(arguments.sources.now(), days);
    let gather = |span| {
        let named = (&setup, arguments.site.as_path());
        let sources = &arguments.sources;
        sources.gather(named, &site.place, with_days_before(span))
    };
    let mut gathered = gather(span)?;
    if let Some(end) = arguments.ended(&setup, &gathered, span) {
        span = span_from(end - TimeDelta::days(i64::from(arguments.days)), days);
        gathered = gather(span)?;
        let told = format!(
            "the weather of this site ends at {}: these are its last days; --now shows others, a \
             service under [weather] tells those to come",
            end.format("%Y-%m-%d %H:%M UTC")
        );
        eprint!("{}", paragraph("soakmist: ", &told));
    } else if let Some(begin) = arguments.ahead(&setup, &gathered, span) {
        span = span_from(begin, days);
        gathered = gather(span)?;
        let told = format!(
            "the weather of this site begins at {}: these are its first days; --now shows others, a \
             service under [weather] tells those before",
            begin.format("%Y-%m-%d %H:%M UTC")
        );
        eprint!("{}", paragraph("soakmist: ", &told));
    }
    if !site.sensors.is_empty() && !arguments.sources.has_state() {
        let told = "the sensors of this site report to its daemon: --state DIR, with the state \
                    folder of soakmist run, shows what they measured";
        eprint!("{}", paragraph("soakmist: ", told));
    }
    let report = report::Report::new(&site, (gathered, setup.rain), span)?;
    let text = if arguments.json {
        json(&report)?
    } else {
        page::page(&report, arguments.hourly)
    };
    emit(&text)
}

impl WeatherArguments {
    /// The end of what a site knows that has files alone, where it lies in the
    /// past and nobody asked for a present.
    fn ended(
        &self,
        setup: &WeatherSetup,
        gathered: &Gathered,
        span: Span,
    ) -> Option<DateTime<Utc>> {
        let last = gathered.lines.iter().filter_map(|line| line.last).max()?;
        let is_over = last < span.from && self.knows_files_alone(setup);
        is_over.then_some(last + TimeDelta::hours(1))
    }

    /// The begin of what a site knows that has files alone, where it lies beyond
    /// the days to show and nobody asked for a present.
    fn ahead(
        &self,
        setup: &WeatherSetup,
        gathered: &Gathered,
        span: Span,
    ) -> Option<DateTime<Utc>> {
        let first = gathered.lines.iter().filter_map(|line| line.first).min()?;
        (first >= span.to && self.knows_files_alone(setup)).then_some(first)
    }

    /// Whether nothing but files tells of the weather, and nobody asked for a
    /// present.
    fn knows_files_alone(&self, setup: &WeatherSetup) -> bool {
        let has_more = !setup.services.is_empty() || setup.typical_year.is_some();
        !has_more && !self.sources.looks_back()
    }
}

/// From the hour of `now` to the end of the days.
fn span_from(now: DateTime<Utc>, days: (Tz, u8)) -> Span {
    let from = hour_of(now);
    let to = end_of_days(from, days);
    Span { now, from, to }
}

fn with_days_before(span: Span) -> Span {
    Span {
        from: span.from - TimeDelta::days(DAYS_BEFORE),
        ..span
    }
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
