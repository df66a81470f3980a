//! `soakmist check`: everything wrong or doubtful in a site file at once.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;

use super::coverage::Coverage;
use super::planning::USUAL_DAYS;
use super::{Failure, planning};
use crate::plan;
use crate::site::{DefaultUsed, Diagnostic, LARGEST_FILE, Loaded, Severity, Site, load_bytes};
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
            warnings.extend(doubts(&site, &file));
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
/// show: what soil and sprinkler make of each other.
fn doubts(site: &Site, file: &str) -> Vec<Diagnostic> {
    plan::doubts::doubts(site)
        .into_iter()
        .map(|doubt| Diagnostic::about_the_site(file, doubt.what, Some(doubt.help)))
        .collect()
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
