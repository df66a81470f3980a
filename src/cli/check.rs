//! `soakmist check`: everything wrong or doubtful in a site file at once.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use chrono::TimeDelta;
use serde::Serialize;

use super::coverage::Coverage;
use super::planning::USUAL_DAYS;
use super::{Failure, planning};
use crate::plan;
use crate::site::{DefaultUsed, Diagnostic, LARGEST_FILE, Loaded, Severity, Site, load_bytes};
use crate::weather::csv::{CsvOptions, read_file};

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
            if site.weather_file.is_some() {
                weather = match lacking {
                    Some(_) => WeatherState::Lacking,
                    None => WeatherState::Enough,
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
/// length.
fn weather_lacking(site: &Site, file: &Path) -> Option<Diagnostic> {
    let weather = site.weather_file.as_ref()?;
    let path = file.parent().unwrap_or(Path::new("")).join(&weather.path);
    let told = |what: String, help: &str| {
        let file = file.display().to_string();
        Some(Diagnostic::about_the_site(
            &file,
            what,
            Some(help.to_owned()),
        ))
    };
    if !path.is_file() {
        let what = format!("there is no weather file {}", path.display());
        let help = "check [weather] file (relative to the site file), or give --weather";
        return told(what, help);
    }
    let options = CsvOptions {
        time_zone: Some(site.place.time_zone),
        ..CsvOptions::default()
    };
    let contents = match read_file(&path, &options) {
        Ok(contents) => contents,
        Err(error) => return told(error.to_string(), "mend the file, or give --weather"),
    };
    let starts = || contents.hours.iter().map(|hour| hour.start);
    let name = path.display().to_string();
    let coverage = Coverage {
        site,
        name: &name,
        weather: (starts().min()?, starts().max()? + TimeDelta::hours(1)),
        plan: planning::span(site, None, USUAL_DAYS),
    };
    match coverage.is_whole() {
        true => None,
        false => told(coverage.missing(), &coverage.mend()),
    }
}

fn json(out: &mut impl Write, report: &Report) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, report)?;
    writeln!(out)
}
