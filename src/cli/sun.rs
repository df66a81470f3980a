//! `soakmist sun`.

use std::io::{self, Write};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use clap::ValueEnum;
use serde::Serialize;

use super::{Failure, arguments};
use crate::agronomy::sun::{SunDay, sun_day};

/// Arguments of `soakmist sun`.
#[derive(Debug, clap::Args)]
#[command(
    override_usage = "soakmist sun --latitude <DEG> --longitude <DEG> --date <DATE>\n                    \
                      --time-zone <ZONE> [OPTIONS]"
)]
pub struct SunArguments {
    /// Latitude in degrees, north positive
    #[arg(long, value_name = "DEG", allow_negative_numbers = true,
          value_parser = arguments::latitude)]
    latitude: f64,
    /// Longitude in degrees, east positive
    #[arg(long, value_name = "DEG", allow_negative_numbers = true,
          value_parser = arguments::longitude)]
    longitude: f64,
    /// Date in the time zone of the place, such as 2024-06-21
    #[arg(long, value_name = "DATE", value_parser = super::timetable::date)]
    date: NaiveDate,
    /// Time zone of the place, such as Europe/London
    #[arg(long, value_name = "ZONE", value_parser = arguments::time_zone)]
    time_zone: Tz,
    /// What to print
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// Lines for people
    Text,
    /// One object, times in RFC 3339
    Json,
}

#[derive(Serialize)]
struct SunReport {
    schema: &'static str,
    version: u32,
    latitude_deg: f64,
    longitude_deg: f64,
    date: NaiveDate,
    time_zone: Tz,
    case: &'static str,
    sunrise: Option<String>,
    solar_noon: String,
    sunset: Option<String>,
    day_length_s: Option<i64>,
}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(arguments: &SunArguments) -> Result<(), Failure> {
    let SunArguments {
        latitude,
        longitude,
        date,
        time_zone,
        ..
    } = *arguments;
    let day = sun_day(latitude, longitude, date, time_zone)
        .map_err(|error| Failure::Input(error.to_string()))?;
    let mut out = io::stdout().lock();
    Failure::from_output(match arguments.format {
        Format::Text => write_text(arguments, &day, &mut out),
        Format::Json => write_json(arguments, &day, &mut out),
    })
}

fn day_length(day: &SunDay) -> Option<TimeDelta> {
    match day {
        SunDay::RiseAndSet {
            sunrise, sunset, ..
        } => Some(*sunset - *sunrise),
        SunDay::PolarDay { .. } => Some(TimeDelta::hours(24)),
        SunDay::PolarNight { .. } => Some(TimeDelta::zero()),
        SunDay::RiseOnly { .. } | SunDay::SetOnly { .. } => None,
    }
}

fn write_json(arguments: &SunArguments, day: &SunDay, out: &mut impl Write) -> io::Result<()> {
    let stamp = |at: DateTime<Utc>| {
        at.with_timezone(&arguments.time_zone)
            .format("%Y-%m-%dT%H:%M:%S%:z")
            .to_string()
    };
    let report = SunReport {
        schema: "soakmist-sun",
        version: 1,
        latitude_deg: arguments.latitude,
        longitude_deg: arguments.longitude,
        date: arguments.date,
        time_zone: arguments.time_zone,
        case: match day {
            SunDay::RiseAndSet { .. } => "rise-and-set",
            SunDay::RiseOnly { .. } => "rise-only",
            SunDay::SetOnly { .. } => "set-only",
            SunDay::PolarDay { .. } => "polar-day",
            SunDay::PolarNight { .. } => "polar-night",
        },
        sunrise: day.sunrise().map(stamp),
        solar_noon: stamp(day.noon()),
        sunset: day.sunset().map(stamp),
        day_length_s: day_length(day).map(|length| length.num_seconds()),
    };
    serde_json::to_writer_pretty(&mut *out, &report)?;
    writeln!(out)
}

fn write_text(arguments: &SunArguments, day: &SunDay, out: &mut impl Write) -> io::Result<()> {
    let place = arguments::place_in_words(arguments.latitude, arguments.longitude);
    writeln!(
        out,
        "Sun at {place} on {} ({})",
        arguments.date, arguments.time_zone
    )?;
    let time = |at: Option<DateTime<Utc>>, none: &str| match at {
        None => none.to_owned(),
        Some(at) => {
            let local = at.with_timezone(&arguments.time_zone);
            let date = local.date_naive();
            let other = if date == arguments.date {
                String::new()
            } else {
                format!(" on {date}")
            };
            format!("{}{other}", local.format("%H:%M:%S %Z"))
        }
    };
    let (rise, set) = match day {
        SunDay::PolarDay { .. } => ("none, the sun stays up", "none, the sun stays up"),
        SunDay::PolarNight { .. } => ("none, the sun stays down", "none, the sun stays down"),
        _ => (
            "none in the 12 h before noon",
            "none in the 12 h after noon",
        ),
    };
    writeln!(out, "sunrise     {}", time(day.sunrise(), rise))?;
    writeln!(out, "solar noon  {}", time(Some(day.noon()), ""))?;
    writeln!(out, "sunset      {}", time(day.sunset(), set))?;
    if let Some(length) = day_length(day) {
        let (hours, minutes) = (length.num_hours(), length.num_minutes() % 60);
        writeln!(out, "day length  {hours} h {minutes:02} min")?;
    }
    Ok(())
}
