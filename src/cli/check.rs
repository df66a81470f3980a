//! `soakmist check`: everything wrong or doubtful in a site file at once.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::Serialize;

use super::coverage::Coverage;
use super::planning::USUAL_DAYS;
use super::{Failure, planning};
use crate::agronomy::germination;
use crate::plan;
use crate::site::{
    Acts, DefaultUsed, Diagnostic, LARGEST_FILE, Loaded, Severity, Site, Zone, load_bytes,
};
use crate::weather::csv::{CsvOptions, read_file};
use crate::weather::sources::{self, Wanted};

mod text;

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
            let lacking = weather_lacking(&site, &arguments.site);
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

/// Whether weather of the past is there, so that a past sowing is meant.
fn has_records(site: &Site) -> bool {
    site.weather.file.is_some() || !site.weather.loggers.is_empty()
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
    let mut found = Vec::new();
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
            None if sown < today && !has_records(site) => found.push((
                format!("zone {name}: it was sown on {sown}, which is in the past"),
                "check the year; what is up already has its day in `emerged`".to_owned(),
            )),
            _ => {}
        }
    }
    found
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

/// Why the weather that the site names is not enough for a plan of the usual
/// length. How far a forecast reaches is known when it is asked for.
fn weather_lacking(site: &Site, file: &Path) -> Vec<Diagnostic> {
    let mut troubles = weather_file_troubles(site, file);
    if troubles.is_empty() && !site.weather.is_merged() {
        troubles.extend(uncovered(site, file));
    }
    let name = file.display().to_string();
    troubles
        .into_iter()
        .map(|(what, help)| Diagnostic::about_the_site(&name, what, Some(help)))
        .collect()
}

/// Days of the usual plan that the site's one file does not reach.
fn uncovered(site: &Site, file: &Path) -> Option<(String, String)> {
    let weather = site.weather.file.as_ref()?;
    let path = file.parent().unwrap_or(Path::new("")).join(&weather.path);
    let options = CsvOptions::of(site.place.time_zone);
    let contents = read_file(&path, &options).ok()?;
    let starts = || contents.hours.iter().map(|hour| hour.start);
    let name = path.display().to_string();
    let coverage = Coverage {
        site,
        name: &name,
        weather: (starts().min()?, starts().max()? + TimeDelta::hours(1)),
        plan: planning::span(site, None, USUAL_DAYS),
    };
    (!coverage.is_whole()).then(|| (coverage.missing(), coverage.mend()))
}

/// What is wrong with the weather files that a site names, and how to mend it.
fn weather_file_troubles(site: &Site, file: &Path) -> Vec<(String, String)> {
    let folder = file.parent().unwrap_or(Path::new(""));
    let setup = &site.weather;
    let own = setup.file.iter().map(|file| &file.path);
    let loggers = setup.loggers.iter().map(|logger| &logger.path);
    let named: Vec<PathBuf> = own
        .chain(loggers)
        .chain(&setup.typical_year)
        .map(|path| folder.join(path))
        .collect();
    let missing: Vec<&PathBuf> = named.iter().filter(|path| !path.is_file()).collect();
    let mut troubles: Vec<(String, String)> = missing
        .iter()
        .map(|path| {
            (
                format!("there is no weather file {}", path.display()),
                "check [weather] file (relative to the site file), or give --weather".to_owned(),
            )
        })
        .collect();
    let never = DateTime::<Utc>::default();
    let wanted = Wanted {
        setup,
        folder,
        place: &site.place,
        now: never,
        from: never,
        to: never,
    };
    let is_told = |trouble: &String| {
        missing
            .iter()
            .any(|path| trouble.contains(&path.display().to_string()))
    };
    let unreadable = sources::file_troubles(&wanted);
    troubles.extend(
        unreadable
            .into_iter()
            .filter(|trouble| !is_told(trouble))
            .map(|trouble| {
                (
                    trouble,
                    "mend the file, or how [weather] says it is to be read".to_owned(),
                )
            }),
    );
    troubles
}

fn json(out: &mut impl Write, report: &Report) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, report)?;
    writeln!(out)
}
