//! `soakmist et0`.

mod report;
mod text;

use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use chrono::Offset as _;
use chrono_tz::Tz;
use clap::ValueEnum;

use super::output::wrapped;
use super::{Failure, arguments, planning};
use crate::agronomy::missing_data::{EstimateNote, complete};
use crate::agronomy::reference_et::EtMethod;
use crate::agronomy::weather_record::{GeoPosition, RawHour};
use crate::site::{self, Logger, Site};
use crate::weather::Finding;
use crate::weather::csv::{CsvOptions, WeatherCsvError, read_file};
use crate::weather::offsets::UtcOffsets;
use crate::weather::quality;
use crate::weather::sources::logger_hours;
use report::{Et0Report, Settings};

/// How many findings are told one by one.
const MOST_TOLD: usize = 20;

/// Arguments of `soakmist et0`.
#[derive(Debug, clap::Args)]
pub struct Et0Arguments {
    /// Hourly weather: CSV with the columns time (end of the hour) and
    /// air_temp_c, and any of rel_humidity_pct, wind_speed_m_s, solar_w_m2,
    /// sunshine_h, precip_mm, pressure_kpa; or a logger's export that the site
    /// file names
    file: PathBuf,
    /// A site file that tells the place, instead of the four numbers, and the
    /// columns of its loggers
    #[arg(long, value_name = "SITE.toml")]
    site: Option<PathBuf>,
    /// Latitude in degrees, north positive
    #[arg(long, value_name = "DEG", allow_negative_numbers = true,
          required_unless_present = "site", value_parser = arguments::latitude)]
    latitude: Option<f64>,
    /// Longitude in degrees, east positive
    #[arg(long, value_name = "DEG", allow_negative_numbers = true,
          required_unless_present = "site", value_parser = arguments::longitude)]
    longitude: Option<f64>,
    /// Elevation in metres above sea level
    #[arg(long, value_name = "M", allow_negative_numbers = true,
          required_unless_present = "site", value_parser = arguments::elevation)]
    elevation: Option<f64>,
    /// On a coast: more sun for the same range of temperature, where the file
    /// has no radiation
    #[arg(long)]
    coast: bool,
    /// Height in metres at which the wind was measured [default: 10, or what
    /// the site file says]
    #[arg(long, value_name = "M", value_parser = arguments::wind_height)]
    wind_height: Option<f64>,
    /// Time zone of stamps that have no offset, such as Europe/London
    #[arg(long, value_name = "ZONE", value_parser = arguments::time_zone)]
    time_zone: Option<Tz>,
    /// Hours, or whole days of standard time
    #[arg(long, value_enum, default_value_t = Step::Day)]
    step: Step,
    /// Which equation (the two are the same for a day)
    #[arg(long, value_enum, default_value_t = Method::Fao56)]
    method: Method,
    /// What to print
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// The step of the result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, serde::Serialize)]
#[serde(rename_all = "lowercase")]
enum Step {
    /// One value an hour
    Hour,
    /// One value a day
    Day,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Method {
    /// FAO Irrigation and Drainage Paper 56
    Fao56,
    /// ASCE-EWRI 2005, short reference
    Asce,
}

impl From<Method> for EtMethod {
    fn from(method: Method) -> Self {
        match method {
            Method::Fao56 => Self::Fao56,
            Method::Asce => Self::Asce,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// A table for people
    Text,
    /// Comma-separated, with every intermediate value
    Csv,
    /// One object with inputs, rows and findings
    Json,
}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(arguments: &Et0Arguments) -> Result<(), Failure> {
    let site = arguments.site.as_deref().map(planning::load_site);
    let site = site.transpose()?;
    let logger = site.as_ref().and_then(|site| logger(arguments, site));
    let Place {
        position,
        time_zone,
        wind_height_m,
    } = place(arguments, (site.as_ref(), logger.as_ref()))?;
    let options = CsvOptions {
        time_zone,
        wind_height_m,
        ..CsvOptions::default()
    };
    let settings = Settings {
        file: arguments.file.display().to_string(),
        method: arguments.method.into(),
        step: arguments.step,
        place: position,
        wind_height_m,
    };
    let contents = match (&site, &logger) {
        (Some(site), Some(logger)) => read_logger(&arguments.file, logger, &site.place)?,
        _ => read_own(&arguments.file, &options)?,
    };
    let report = calculate(contents, settings)?;
    tell(&report.settings.file, &report.findings, &report.notes);
    for date in &report.days_left_out {
        warn(
            &report.settings.file,
            &format!("{date} is not a whole day and is left out"),
        );
    }
    let mut out = BufWriter::new(io::stdout().lock());
    let written = match arguments.format {
        Format::Text => text::write(&report, &mut out),
        Format::Csv => report.write_csv(&mut out),
        Format::Json => report.write_json(&mut out),
    };
    Failure::from_output(written.and_then(|()| out.flush()))
}

/// Where the weather is from.
struct Place {
    position: GeoPosition,
    time_zone: Option<Tz>,
    wind_height_m: f64,
}

/// The place from the numbers given and, for those not given, the site file.
fn place(
    arguments: &Et0Arguments,
    (site, logger): (Option<&Site>, Option<&Logger>),
) -> Result<Place, Failure> {
    let of_site = site.map(|site| GeoPosition::from(&site.place));
    let number = |given: Option<f64>, of: fn(&GeoPosition) -> f64| {
        given.or(of_site.as_ref().map(of)).ok_or_else(|| {
            Failure::Input(
                "give --latitude, --longitude and --elevation, or --site SITE.toml".into(),
            )
        })
    };
    let of_file = site.and_then(|site| site.weather.file.as_ref());
    let of_file = of_file.map(|file| file.wind_height_m);
    let named_height_m = logger.map(|logger| logger.wind_height_m).or(of_file);
    Ok(Place {
        position: GeoPosition {
            latitude_deg: number(arguments.latitude, |place| place.latitude_deg)?,
            longitude_deg: number(arguments.longitude, |place| place.longitude_deg)?,
            elevation_m: number(arguments.elevation, |place| place.elevation_m)?,
            coast: arguments.coast || of_site.is_some_and(|place| place.coast),
        },
        time_zone: arguments
            .time_zone
            .or(site.map(|site| site.place.time_zone)),
        wind_height_m: arguments
            .wind_height
            .or(named_height_m)
            .unwrap_or(CsvOptions::default().wind_height_m),
    })
}

/// The logger of the site whose export the file is, with the wind height that
/// is asked for.
fn logger(arguments: &Et0Arguments, site: &Site) -> Option<Logger> {
    let folder = arguments.site.as_deref()?.parent().unwrap_or(Path::new(""));
    let file = arguments.file.canonicalize().ok()?;
    let is_it = |logger: &&Logger| {
        let named = folder.join(&logger.path).canonicalize();
        named.is_ok_and(|named| named == file)
    };
    let mut logger = site.weather.loggers.iter().find(is_it)?.clone();
    logger.wind_height_m = arguments.wind_height.unwrap_or(logger.wind_height_m);
    Some(logger)
}

/// What a file holds.
struct Contents {
    hours: Vec<RawHour>,
    offsets: UtcOffsets,
    findings: Vec<Finding>,
}

fn read_own(file: &Path, options: &CsvOptions) -> Result<Contents, Failure> {
    let contents = read_file(file, options).map_err(|error| match error {
        WeatherCsvError::Unreadable { .. } => Failure::Io(error.to_string()),
        _ => Failure::Input(error.to_string()),
    })?;
    Ok(Contents {
        hours: contents.hours,
        offsets: contents.offsets,
        findings: contents.findings,
    })
}

/// A logger's export; what was left out of it is told.
fn read_logger(file: &Path, logger: &Logger, place: &site::Place) -> Result<Contents, Failure> {
    let (hours, notes) = logger_hours(file, logger, place).map_err(Failure::Input)?;
    for note in notes {
        warn(&file.display().to_string(), &note);
    }
    let local = |hour: &RawHour| {
        let start = hour.start.with_timezone(&place.time_zone);
        (hour.start, start.offset().fix())
    };
    Ok(Contents {
        offsets: UtcOffsets::from_stamps(hours.iter().map(local).collect()),
        hours,
        findings: Vec::new(),
    })
}

fn calculate(mut contents: Contents, settings: Settings) -> Result<Et0Report, Failure> {
    let mut findings = contents.findings;
    findings.extend(quality::screen(&mut contents.hours, &settings.place));
    let completed = complete(&contents.hours, &settings.place).map_err(|error| {
        tell(&settings.file, &findings, &[]);
        Failure::Input(format!("{}: {error}", settings.file))
    })?;
    let report = Et0Report::new(settings, completed, &contents.offsets, findings);
    if report.rows.is_empty() {
        let file = &report.settings.file;
        return Err(Failure::Input(format!(
            "{file}: holds no whole day; take --step hour"
        )));
    }
    Ok(report)
}

/// Findings and notes go to standard error, so that a pipe stays clean.
fn tell(file: &str, findings: &[Finding], notes: &[EstimateNote]) {
    for finding in findings.iter().take(MOST_TOLD) {
        warn(file, &finding.to_string());
    }
    if findings.len() > MOST_TOLD {
        let more = findings.len() - MOST_TOLD;
        warn(
            file,
            &format!("and {more} more findings; --format json has them all"),
        );
    }
    for note in notes {
        warn(file, &note.to_string());
    }
}

/// One remark on standard error, in lines of a terminal.
fn warn(file: &str, what: &str) {
    eprint!("{}", wrapped(&format!("soakmist: {file}: {what}")));
}
