//! `soakmist check`: everything wrong or doubtful in a site file at once.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use chrono::{Datelike as _, NaiveDate, TimeDelta, Utc};
use serde::Serialize;

use super::Failure;
use crate::agronomy::germination;
use crate::plan;
use crate::site::{
    Acts, DefaultUsed, Diagnostic, LARGEST_FILE, Loaded, Severity, Site, Zone, load_bytes,
};

mod text;
mod weather;

/// Version of the JSON that `check --format json` prints.
const SCHEMA: &str = "soakmist-check/1";

/// Arguments of `soakmist check`.
#[derive(Debug, clap::Args)]
pub struct CheckArguments {
    /// The site file (TOML)
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// For a person, or for a program
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// For a person, 80 columns
    Text,
    /// One JSON object
    Json,
}

/// The weather that the site names, as far as a plan of the usual length
/// needs it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
enum WeatherState {
    /// It is there and reaches over the plan.
    Enough,
    /// It cannot be used, or does not reach over the plan.
    Lacking,
    /// No file is named.
    NoneNamed,
}

/// What was found: the one source of text and JSON.
#[derive(Debug, Serialize)]
struct Report<'a> {
    schema: &'static str,
    file: &'a str,
    errors: usize,
    warnings: usize,
    /// Whether the weather that the file names is there and reaches over the
    /// usual plan.
    weather: WeatherState,
    diagnostics: &'a [Diagnostic],
    defaults: &'a [DefaultUsed],
}

/// Runs the command.
///
/// # Errors
/// [`Failure::AnswerIsNo`] when the file has errors, [`Failure::Io`] when it
/// cannot be read.
pub fn run(arguments: &CheckArguments) -> Result<(), Failure> {
    let bytes = read_site_file(&arguments.site)?;
    let file = arguments.site.display().to_string();
    let mut weather = WeatherState::NoneNamed;
    let (diagnostics, site) = match load_bytes(&bytes, &file) {
        Ok(Loaded { site, mut warnings }) => {
            let text = String::from_utf8_lossy(&bytes);
            warnings.extend(doubts(&site, &file, &text));
            let lacking = weather::lacking(&site, &arguments.site, &text);
            if !site.weather.is_empty() {
                weather = match lacking.is_empty() {
                    false => WeatherState::Lacking,
                    true => WeatherState::Enough,
                };
            }
            warnings.extend(lacking);
            (warnings, Some(site))
        }
        Err(faults) => (faults.items, None),
    };
    let count = |severity| {
        diagnostics
            .iter()
            .filter(|item| item.severity == severity)
            .count()
    };
    let report = Report {
        schema: SCHEMA,
        file: &file,
        errors: count(Severity::Error),
        warnings: count(Severity::Warning),
        weather,
        diagnostics: &diagnostics,
        defaults: site.as_ref().map_or(&[], |site| &site.defaults_used),
    };
    let mut out = anstream::stdout().lock();
    Failure::from_output(match arguments.format {
        Format::Json => json(&mut out, &report),
        Format::Text => text::write(&mut out, &report, site.as_ref()),
    })?;
    if report.errors > 0 {
        return Err(Failure::AnswerIsNo(String::new()));
    }
    Ok(())
}

/// The bytes of a site file, one more than it may have at most.
#[expect(
    clippy::disallowed_methods,
    reason = "the command line reads the file that the person names"
)]
pub(super) fn read_site_file(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let most = LARGEST_FILE as u64 + 1;
    File::open(path)
        .and_then(|file| file.take(most).read_to_end(&mut bytes))
        .map_err(|error| {
            Failure::Io(format!(
                "cannot read the site file {}: {error}",
                path.display()
            ))
        })?;
    Ok(bytes)
}

/// Doubts about a site that can be read but that its text alone does not
/// show: what soil and sprinkler make of each other, and what day it is.
fn doubts(site: &Site, file: &str, text: &str) -> Vec<Diagnostic> {
    let of_zones = plan::doubts::doubts(site).into_iter();
    let of_zones = of_zones.map(|doubt| (doubt.what, doubt.help));
    let of_today = untimely(site, today(site));
    of_zones
        .chain(of_today)
        .chain(of_valves(site))
        .map(|(what, help)| {
            let line = line_of_zone(site, &what, text);
            let mut diagnostic = Diagnostic::about_the_site(file, what, Some(help));
            if let Some((number, line)) = line {
                diagnostic = diagnostic.at_line(number, line);
            }
            diagnostic
        })
        .collect()
}

/// Whether a sowing without green lies in the past although no look back is
/// meant: with a file alone it may be, with loggers for as long as seed takes.
fn is_past(site: &Site, sown: NaiveDate, today: NaiveDate) -> bool {
    const LONGEST_TO_COME_UP: TimeDelta = TimeDelta::days(60);
    let weather = &site.weather;
    let looks_back = weather.file.is_some() && weather.services.is_empty();
    let has_records = weather.file.is_some() || !weather.loggers.is_empty();
    match (looks_back, has_records) {
        (true, _) => false,
        (false, true) => sown + LONGEST_TO_COME_UP < today,
        (false, false) => sown < today,
    }
}

/// A valve that nobody drives, or that stays open if the computer dies with no
/// master valve to shut the water off; told once, of the first zone with one.
fn of_valves(site: &Site) -> Option<(String, String)> {
    let stays_open = |acts: Acts| matches!(acts, Acts::OnOff | Acts::Latching);
    let acts = |zone: &Zone| zone.valve.as_ref().map(|valve| valve.acts);
    if site.mqtt.is_none() {
        let zone = site.zones.iter().find(|zone| zone.valve.is_some())?;
        return Some((
            format!(
                "zone {}: it has a valve, but there is no [mqtt], so `soakmist run` cannot drive it",
                zone.name
            ),
            "add [mqtt] with the host of the broker; a timetable needs neither".to_owned(),
        ));
    }
    let zone = site
        .zones
        .iter()
        .find(|zone| acts(zone).is_some_and(stays_open))?;
    (!site.supply.master_valve).then(|| {
        (
            format!(
                "zone {}: its valve stays open until it is told to close, also when this computer or \
                 the network fails, and there is no master valve to shut the water off",
                zone.name
            ),
            "use valves that close by themselves, let the relay board count down, or add a master \
             valve"
                .to_owned(),
        )
    })
}

#[expect(
    clippy::disallowed_methods,
    reason = "what is in the past is known by the clock alone"
)]
fn today(site: &Site) -> NaiveDate {
    Utc::now().with_timezone(&site.place.time_zone).date_naive()
}

/// A sowing in the past that nobody saw come up and that no file has weather
/// for, and green seen in the future or sooner than seed comes up.
fn untimely(site: &Site, today: NaiveDate) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = in_midwinter(site).into_iter().collect();
    for zone in &site.zones {
        let sown = zone.seeding.at.with_timezone(&site.place.time_zone);
        let (name, sown) = (&zone.name, sown.date_naive());
        match zone.seeding.emerged {
            Some(emerged) if emerged > today => found.push((
                format!("zone {name}: it came up on {emerged}, which is in the future"),
                "write `emerged` on the day on which you see it".to_owned(),
            )),
            Some(emerged) => {
                let days = (emerged - sown).num_days();
                found.extend(too_soon(zone, days).map(|what| {
                    let help = "is it weeds that are green? `emerged` is the day of the grass";
                    (format!("zone {name}: {what}"), help.to_owned())
                }));
            }
            None if is_past(site, sown, today) => found.push((
                format!("zone {name}: it was sown on {sown}, which is in the past"),
                "check the year; what is up already has its day in `emerged`".to_owned(),
            )),
            _ => {}
        }
    }
    found
}

/// Seed that is sown in the coldest weeks of a place with a winter; told once,
/// as mostly all is sown together.
fn in_midwinter(site: &Site) -> Option<(String, String)> {
    // Own choice: nearer to the equator winters are mild.
    const WINTERS_FROM_DEG: f64 = 35.0;
    let latitude = site.place.latitude_deg;
    let months = match latitude > 0.0 {
        true => [12, 1, 2],
        false => [6, 7, 8],
    };
    let zone_time = site.place.time_zone;
    let sown = |zone: &Zone| zone.seeding.at.with_timezone(&zone_time).date_naive();
    let mut zones = site.zones.iter();
    let zone = zones
        .find(|zone| zone.seeding.emerged.is_none() && months.contains(&sown(zone).month()))?;
    (latitude.abs() >= WINTERS_FROM_DEG).then(|| {
        (
            format!(
                "zone {}: it is sown on {}, in winter there: in cold ground seed lies for weeks without \
                 coming up, and frost kills what does",
                zone.name,
                sown(zone)
            ),
            "sow when the soil is warm enough for the seed (docs/method.md says when for each species); \
             where winters are mild nothing needs to be done"
                .to_owned(),
        )
    })
}

/// Green that is seen sooner than half the shortest published time.
fn too_soon(zone: &Zone, days: i64) -> Option<String> {
    let species = zone.seeding.mix.iter();
    let soonest = species.map(|part| germination::facts(part.species).first_day);
    let soonest = soonest.min()?;
    (days < i64::from(soonest.div_ceil(2))).then(|| {
        format!(
            "it came up {} after sowing, but the seed needs {soonest} days in warm soil",
            counted_days(days)
        )
    })
}

fn counted_days(days: i64) -> String {
    match days {
        1 => "1 day".to_owned(),
        more => format!("{more} days"),
    }
}

/// The line on which the zone is named that a doubt is about.
fn line_of_zone<'t>(site: &Site, what: &str, text: &'t str) -> Option<(usize, &'t str)> {
    let rest = what.strip_prefix("zone ")?;
    let is_about = |name: &str| {
        rest.strip_prefix(name)
            .is_some_and(|rest| rest.starts_with(": "))
    };
    let zone = site.zones.iter().find(|zone| is_about(&zone.name))?;
    let quoted = format!("\"{}\"", zone.name);
    let mut lines = text.lines().enumerate();
    let (index, line) = lines.find(|(_, line)| {
        let key = line.trim_start().strip_prefix("name");
        key.is_some_and(|rest| rest.trim_start().starts_with('=') && rest.contains(&quoted))
    })?;
    Some((index + 1, line))
}

fn json(out: &mut impl Write, report: &Report) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, report)?;
    writeln!(out)
}
