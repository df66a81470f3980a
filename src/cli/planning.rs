//! From a site file and a weather file on disk to what a plan needs.

use std::path::{Path, PathBuf};

use chrono::{DateTime, DurationRound as _, NaiveDate, TimeDelta, Utc};

use super::Failure;
use super::assumed::{TYPICAL_YEAR, with_warm_days};
use super::check::read_site_file;
use super::coverage::Coverage;
use super::output::{paragraph, wrapped};
use super::sources::{SourceArguments, Span};
use crate::agronomy::missing_data::{CompletionError, complete};
use crate::agronomy::weather_record::{GeoPosition, WeatherHour};
use crate::plan::first_soak;
use crate::plan::{self, PlanError};
use crate::report::{MergedWeather, SiteDoubt, WeatherSource};
use crate::site::local_time::{date_of, span_of_days, start_of_day};
use crate::site::{Code, Loaded, Site, load_bytes};
use crate::weather::csv::{CsvOptions, WeatherCsvError, read_file};
use crate::weather::quality;
use crate::weather::series::MergeRules;
use crate::weather::sources::SourceLine;
use crate::weather::whole::{Whole, known_to, whole};

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
    let read = read_site(path)?;
    anstream::eprint!("{}", read.remarks);
    Ok(read.site)
}

/// A site and what is doubtful in it. Nothing of it is told yet, because the
/// page of a plan tells it as well.
pub struct ReadSite {
    /// The site.
    pub site: Site,
    /// What is doubtful, for the reader of a plan.
    pub doubts: Vec<SiteDoubt>,
    /// The warnings of the file as standard error tells them.
    pub remarks: String,
}

/// As [`load_site`], but leaves it to the caller to tell the warnings.
///
/// # Errors
/// As [`load_site`].
pub fn read_site(path: &Path) -> Result<ReadSite, Failure> {
    let bytes = read_site_file(path)?;
    match load_bytes(&bytes, &path.display().to_string()) {
        Ok(loaded) => {
            let warnings = loaded.warnings.iter();
            let remarks = warnings
                .map(|warning| warning.render(true) + "\n")
                .collect();
            Ok(ReadSite {
                doubts: site_doubts(&loaded),
                site: loaded.site,
                remarks,
            })
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
        late: None,
    });
    let of_zones = plan::doubts::doubts(&loaded.site).into_iter();
    let of_zones = of_zones.map(|doubt| SiteDoubt {
        text: doubt.what,
        help: Some(doubt.help),
        grave: false,
        late: None,
    });
    of_file.chain(of_zones).collect()
}

/// Complete hours for a site, and where they came from.
pub struct SiteWeather {
    /// The hours.
    pub hours: Vec<WeatherHour>,
    /// For the head of a report.
    pub source: WeatherSource,
    /// What is doubtful or estimated, as standard error tells it.
    pub remarks: String,
}

/// Weather for a plan, and the span that it is for.
pub struct PlannedWeather {
    /// The hours.
    pub hours: Vec<WeatherHour>,
    /// For the head of a report.
    pub source: WeatherSource,
    /// First and last instant of the plan.
    pub span: (DateTime<Utc>, DateTime<Utc>),
    /// What is doubtful or estimated, as standard error tells it.
    pub remarks: String,
}

/// The days that are asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// First local day.
    pub from: Option<NaiveDate>,
    /// Number of local days.
    pub days: Option<u32>,
    /// Whether warm dry days stand in where no source tells the weather.
    pub assume_warm_dry: bool,
}

/// A plan on a forecast looks at least so far, whatever must stand in.
const LEAST_AHEAD: TimeDelta = TimeDelta::days(3);
/// Weather is merged from so long before a plan: the balance begins days before
/// a seeding and the soil is computed from a month before that.
const BEFORE: TimeDelta = TimeDelta::days(40);
/// And until so long after it, for the dates of emergence and first mowing.
const AFTER: TimeDelta = TimeDelta::days(60);

/// Weather for a plan: from one file as it is, or merged from all the sources
/// that the site names. What is doubtful or estimated is left to the caller to tell.
///
/// # Errors
/// [`Failure::Input`] without any source, or for a file that cannot be used;
/// [`Failure::Io`] where a file cannot be read, or no source gives anything.
pub fn load_weather(
    site: &Site,
    site_path: &Path,
    sources: &SourceArguments,
    asked: Asked,
) -> Result<PlannedWeather, Failure> {
    // Warm dry days stand in for all hours, also where no source is named at all.
    let has_file = sources.weather.is_some() || site.weather.file.is_some();
    let needs_no_file = asked.assume_warm_dry && !has_file;
    let mut planned = match site.weather.is_merged() || needs_no_file {
        true => merged_weather(site, site_path, sources, asked)?,
        false => weather_of_file(site, site_path, sources, asked)?,
    };
    if asked.assume_warm_dry {
        let (from, to) = planned.span;
        let (hours, alarm) = with_warm_days(site, planned.hours, (from, to))?;
        planned.hours = hours;
        if let Some(alarm) = alarm {
            let told = paragraph("ALARM: ", &alarm);
            planned.remarks.insert_str(0, &told);
            let counted = between(&planned.hours, from, to);
            planned.source = planned.source.counted_again(counted);
            planned.source.alarms.push(alarm);
        }
    }
    Ok(planned)
}

/// Weather from one file as it is.
fn weather_of_file(
    site: &Site,
    site_path: &Path,
    sources: &SourceArguments,
    asked: Asked,
) -> Result<PlannedWeather, Failure> {
    let (weather, height_m) = (sources.weather.as_deref(), sources.wind_height);
    let SiteWeather {
        hours,
        source,
        remarks,
    } = load_weather_file(site, site_path, weather, height_m)?;
    let first = asked.from.unwrap_or_else(|| usual_start(site, &hours));
    let days = asked.days.unwrap_or(USUAL_DAYS);
    Ok(PlannedWeather {
        span: span(site, Some(first), days),
        hours,
        source,
        remarks,
    })
}

/// The merged series, complete, with the span that it can carry.
fn merged_weather(
    site: &Site,
    site_path: &Path,
    sources: &SourceArguments,
    asked: Asked,
) -> Result<PlannedWeather, Failure> {
    let now = sources.now();
    let (from, wanted_to) = live_span(site, asked, now);
    let merged = merged_span(site, (from, wanted_to), now);
    let gathered = sources.gather((&site.weather, site_path), &site.place, merged)?;
    let mut alarms = gathered.alarms();
    let nothing = |error: CompletionError| {
        let told: Vec<String> = alarms.iter().map(|alarm| format!("; {alarm}")).collect();
        let what = match error {
            CompletionError::Empty => "no source tells the weather".to_owned(),
            other => other.to_string(),
        };
        Failure::Io(format!(
            "no plan can be made: {what}{}; {TYPICAL_YEAR}",
            told.concat()
        ))
    };
    let (series, place) = (&gathered.assembled.series, &gathered.place);
    let known = match known_to(series, place, from) {
        // Nothing is known; warm dry days do for all of it.
        Err(CompletionError::Empty) if asked.assume_warm_dry => None,
        known => Some(known.map_err(nothing)?),
    };
    let to = match (asked.days, known) {
        (None, Some(known)) if !asked.assume_warm_dry => {
            let zone = site.place.time_zone;
            let reach = start_of_day(zone, date_of(zone, known));
            wanted_to.min(reach.max(from + LEAST_AHEAD))
        }
        _ => wanted_to,
    };
    let whole = match known {
        Some(_) => whole(series, place, (from, to)).map_err(nothing)?,
        None => Whole::nothing(from),
    };
    alarms.extend(whole.alarms);
    let told = alarms.iter().map(|alarm| paragraph("ALARM: ", alarm));
    let mut told: String = told.collect();
    let doubts = series.doubts.iter().map(ToString::to_string);
    let notes = whole.completed.notes.iter().map(ToString::to_string);
    let remarks: Vec<String> = doubts.chain(notes).collect();
    told += &in_words(site_path, &remarks);
    let hours = whole.completed.hours;
    let counted = WeatherSource::new(&names(&gathered.lines), between(&hours, from, to), remarks);
    let merged = MergedWeather {
        rain_rule: site.weather.rain.rule(),
    };
    Ok(PlannedWeather {
        hours,
        source: WeatherSource {
            alarms,
            merged: Some(merged),
            ..counted
        },
        span: (from, to),
        remarks: told,
    })
}

/// The span of hours that a plan looks at, as far as a series reaches.
fn merged_span(
    site: &Site,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
    now: DateTime<Utc>,
) -> Span {
    let sown = site.zones.iter().map(|zone| zone.seeding.at).min();
    let begin = sown.map_or(from, |sown| sown.min(from)) - BEFORE;
    let to = (to + AFTER).min((from + MergeRules::LONGEST_SPAN).max(to));
    Span {
        now,
        from: begin.max(to - MergeRules::LONGEST_SPAN),
        to,
    }
}

/// The hours of a span, of hours in order.
fn between(hours: &[WeatherHour], from: DateTime<Utc>, to: DateTime<Utc>) -> &[WeatherHour] {
    let first = hours.partition_point(|hour| hour.start < from);
    let end = hours.partition_point(|hour| hour.start < to);
    &hours[first..end.max(first)]
}

/// The sources that gave anything.
fn names(lines: &[SourceLine]) -> String {
    let gave = lines.iter().filter(|line| line.hours > 0);
    let names: Vec<&str> = gave.map(|line| line.name.as_str()).collect();
    match names.is_empty() {
        true => "no source".to_owned(),
        false => names.join(", "),
    }
}

/// The span of a plan on a forecast. Without a first day it begins as a plan on
/// a file does, but not in the past.
fn live_span(site: &Site, asked: Asked, now: DateTime<Utc>) -> (DateTime<Utc>, DateTime<Utc>) {
    let days = asked.days.unwrap_or(USUAL_DAYS);
    let (from, to) = span(site, asked.from, days);
    let this_hour = now.duration_trunc(TimeDelta::hours(1)).unwrap_or(now);
    if asked.from.is_some() || from >= this_hour {
        return (from, to);
    }
    let today = date_of(site.place.time_zone, now);
    let (_, to) = span_of_days(site.place.time_zone, today, days);
    (this_hour, to)
}

/// Weather from the file asked for, or from the one that the site names.
/// What is doubtful or estimated is left to the caller to tell.
///
/// # Errors
/// [`Failure::Input`] without any file, or for one that cannot be used;
/// [`Failure::Io`] for one that cannot be read.
pub fn load_weather_file(
    site: &Site,
    site_path: &Path,
    asked: Option<&Path>,
    wind_height_m: Option<f64>,
) -> Result<SiteWeather, Failure> {
    let named = site.weather.file.as_ref();
    let path: PathBuf = match (asked, named) {
        (Some(path), _) => path.to_owned(),
        (None, Some(file)) => site_path.parent().unwrap_or(Path::new("")).join(&file.path),
        (None, None) => {
            return Err(Failure::Input(
                "no weather: give --weather FILE.csv, or name a file or a service under [weather] in \
                 the site file; for a first look, --assume-warm-dry plans on warm dry days"
                    .into(),
            ));
        }
    };
    let named_height_m = named
        .filter(|_| asked.is_none())
        .map(|file| file.wind_height_m);
    let mut options = CsvOptions::of(site.place.time_zone);
    if let Some(height_m) = wind_height_m.or(named_height_m) {
        options.wind_height_m = height_m;
    }
    let mut contents = read_file(&path, &options).map_err(weather_failure)?;
    let place = GeoPosition::from(&site.place);
    let mut findings = contents.findings;
    findings.extend(quality::screen(&mut contents.hours, &place));
    let findings = findings.iter();
    let mut remarks: Vec<String> = findings
        .map(|finding| finding.in_zone(site.place.time_zone))
        .collect();
    let completed = complete(&contents.hours, &place).map_err(|error| {
        anstream::eprint!("{}", in_words(&path, &remarks));
        Failure::Input(format!("{}: {error}", path.display()))
    })?;
    remarks.extend(completed.notes.iter().map(ToString::to_string));
    let told = in_words(&path, &remarks);
    let mut source = WeatherSource::new(&path.display().to_string(), &completed.hours, remarks);
    source.stamps_taken_in = contents.stamps_taken_in;
    Ok(SiteWeather {
        hours: completed.hours,
        source,
        remarks: told,
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

/// A weather file that cannot be used, by what is wrong with it.
fn weather_failure(error: WeatherCsvError) -> Failure {
    match error {
        WeatherCsvError::Unreadable { .. } => Failure::Io(error.to_string()),
        _ => Failure::Input(error.to_string()),
    }
}

fn in_words(path: &Path, remarks: &[String]) -> String {
    if remarks.is_empty() {
        return String::new();
    }
    let mut page = wrapped(&format!("{}:", path.display()));
    for remark in remarks.iter().take(REMARKS_SHOWN) {
        page += &paragraph("  - ", remark);
    }
    if remarks.len() > REMARKS_SHOWN {
        page += &format!("  - and {} more remarks\n", remarks.len() - REMARKS_SHOWN);
    }
    page
}
