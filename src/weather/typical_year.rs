//! A typical year as climate for the hours that nothing else knows: EPW and TMY3
//! files.
//!
//! Both mark the END of the hour in local standard time. The year that a row
//! was taken from is ignored: a typical year is spliced from several. 29 February
//! takes the 28th. Rain is not read: it is nobody's forecast for that date.
//!
//! Sources of the formats: EnergyPlus *Auxiliary Programs*, "EnergyPlus Weather
//! File (EPW) Data Dictionary"; Wilcox & Marion 2008, *Users Manual for TMY3 Data
//! Sets*, NREL/TP-581-43156, table 1-1 to 1-4.

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};

use super::variable::Variable;
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use crate::units::conversion;

/// A typical year of hours in local standard time.
#[derive(Debug, Clone, PartialEq)]
pub struct TypicalYear {
    /// Name of the station.
    pub station: String,
    /// Latitude of the station [°].
    pub latitude_deg: f64,
    /// Longitude of the station [°].
    pub longitude_deg: f64,
    /// Elevation of the station [m].
    pub elevation_m: f64,
    /// Local standard time less UTC.
    offset: TimeDelta,
    /// 365 days of 24 hours.
    hours: Vec<Values>,
}

/// The values of an hour, in the order of [`READ`].
type Values = [Option<f64>; 5];

/// What is read.
const READ: [Variable; 5] = [
    Variable::AirTemperature,
    Variable::RelativeHumidity,
    Variable::Wind,
    Variable::Solar,
    Variable::Pressure,
];

const HOURS_A_YEAR: usize = 8760;
/// Height of the wind in both formats [m]: the stations are airports.
const WIND_HEIGHT_M: f64 = 10.0;
/// No line of either format comes near this [bytes].
const LONGEST_LINE: usize = 4096;
/// A leap year's rows, a header, and slack.
const MOST_LINES: usize = 9000;

/// Why a file is not a typical year.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TypicalYearError {
    /// Neither format.
    #[error(
        "line 1 begins neither like an EPW file (LOCATION,…) nor like a TMY3 file \
         (a station number, its name, state, …)"
    )]
    UnknownFormat,
    /// A line that is too short.
    #[error("line {line} has {found} fields, but at least {wanted} are needed")]
    Fields {
        /// Line, from 1.
        line: usize,
        /// Fields there.
        found: usize,
        /// Fields needed.
        wanted: usize,
    },
    /// A field that is not a number, or not one that can be.
    #[error("line {line}, field {field}: \"{text}\" is not {what}")]
    Field {
        /// Line, from 1.
        line: usize,
        /// Field, from 1.
        field: usize,
        /// The text, cut.
        text: String,
        /// What was expected.
        what: &'static str,
    },
    /// A column that TMY3 names in line 2 is not there.
    #[error("line 2 names no column \"{name}\"")]
    NoColumn {
        /// Its name.
        name: &'static str,
    },
    /// Not a whole year.
    #[error("the file has {hours} of the 8760 hours of a year; first missing: {first}")]
    NotAYear {
        /// Hours there.
        hours: usize,
        /// The first missing hour as month-day and hour.
        first: String,
    },
    /// Too long to be one.
    #[error("the file is longer than a year of hours")]
    TooLong,
}

/// A line cut into fields.
struct Line<'a> {
    number: usize,
    fields: Vec<&'a str>,
}

impl<'a> Line<'a> {
    fn new(number: usize, text: &'a str) -> Result<Self, TypicalYearError> {
        if text.len() > LONGEST_LINE {
            return Err(TypicalYearError::TooLong);
        }
        let fields = text
            .split(',')
            .map(|field| field.trim().trim_matches('"'))
            .collect();
        Ok(Self { number, fields })
    }

    fn text(&self, index: usize) -> Result<&'a str, TypicalYearError> {
        self.fields
            .get(index)
            .copied()
            .ok_or(TypicalYearError::Fields {
                line: self.number,
                found: self.fields.len(),
                wanted: index + 1,
            })
    }

    fn wrong(&self, index: usize, what: &'static str) -> TypicalYearError {
        let text = self.fields.get(index).copied().unwrap_or("");
        TypicalYearError::Field {
            line: self.number,
            field: index + 1,
            text: super::services::shown(text),
            what,
        }
    }

    /// A number within bounds.
    fn number(&self, index: usize, bounds: (f64, f64)) -> Result<f64, TypicalYearError> {
        let number: f64 = self
            .text(index)?
            .parse()
            .map_err(|_| self.wrong(index, "a number"))?;
        if !(bounds.0..=bounds.1).contains(&number) {
            return Err(self.wrong(index, "a possible value"));
        }
        Ok(number)
    }

    fn whole(&self, index: usize, bounds: (u32, u32)) -> Result<u32, TypicalYearError> {
        let text = self.text(index)?;
        self.whole_of(index, text, bounds)
    }

    fn whole_of(
        &self,
        index: usize,
        text: &str,
        bounds: (u32, u32),
    ) -> Result<u32, TypicalYearError> {
        text.parse()
            .ok()
            .filter(|number| (bounds.0..=bounds.1).contains(number))
            .ok_or_else(|| self.wrong(index, "a date or an hour"))
    }

    /// A value with its unit; what cannot be is missing (both formats write 999,
    /// 9999 or −9900 for missing).
    fn value(
        &self,
        index: usize,
        column: (Variable, &str),
    ) -> Result<Option<f64>, TypicalYearError> {
        let (variable, unit) = column;
        let text = self.text(index)?;
        if text.is_empty() {
            return Ok(None);
        }
        let number: f64 = text.parse().map_err(|_| self.wrong(index, "a number"))?;
        let value = conversion(variable.quantity(), unit).map(|unit| unit.apply(number));
        Ok(value.and_then(|value| variable.plausible(value)))
    }
}

/// Reads an EPW or a TMY3 file, whichever it is.
///
/// # Errors
/// [`TypicalYearError`] with the line.
pub fn parse(bytes: &[u8]) -> Result<TypicalYear, TypicalYearError> {
    // Station names may be in an old encoding; the numbers are ASCII.
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line));
    let (number, first) = lines.next().ok_or(TypicalYearError::UnknownFormat)?;
    let first = Line::new(number, first)?;
    if first.fields[0]
        .trim_start_matches('\u{feff}')
        .eq_ignore_ascii_case("LOCATION")
    {
        epw(&first, lines)
    } else if first.fields.len() >= 7 && first.fields[0].parse::<u32>().is_ok() {
        tmy3(&first, lines)
    } else {
        Err(TypicalYearError::UnknownFormat)
    }
}

/// Where the head of a file puts the station.
struct Head {
    station: usize,
    latitude: usize,
    longitude: usize,
    offset: usize,
    elevation: usize,
}

fn year(first: &Line, at: &Head) -> Result<TypicalYear, TypicalYearError> {
    let offset_h = first.number(at.offset, (-14.0, 14.0))?;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "at most 14 hours in minutes"
    )]
    let offset = TimeDelta::minutes((offset_h * 60.0).round() as i64);
    Ok(TypicalYear {
        station: super::services::shown(first.text(at.station)?),
        latitude_deg: first.number(at.latitude, (-90.0, 90.0))?,
        longitude_deg: first.number(at.longitude, (-180.0, 180.0))?,
        elevation_m: first.number(at.elevation, (-500.0, 9000.0))?,
        offset,
        hours: Vec::new(),
    })
}

/// Eight lines of head, then `year,month,day,hour,minute,flags,values…`.
fn epw<'a>(
    first: &Line,
    lines: impl Iterator<Item = (usize, &'a str)>,
) -> Result<TypicalYear, TypicalYearError> {
    let at = Head {
        station: 1,
        latitude: 6,
        longitude: 7,
        offset: 8,
        elevation: 9,
    };
    let mut year = year(first, &at)?;
    let columns = [(6, "°C"), (8, "%"), (21, "m/s"), (13, "Wh/m2"), (9, "Pa")];
    let rows = lines.skip(7);
    year.hours = rows_of(rows, &columns, |line| {
        Ok((
            line.whole(1, (1, 12))?,
            line.whole(2, (1, 31))?,
            line.whole(3, (1, 24))?,
        ))
    })?;
    Ok(year)
}

/// A line about the station, a line of column names, then `MM/DD/YYYY,HH:MM,values…`.
fn tmy3<'a>(
    first: &Line,
    mut lines: impl Iterator<Item = (usize, &'a str)>,
) -> Result<TypicalYear, TypicalYearError> {
    let at = Head {
        station: 1,
        latitude: 4,
        longitude: 5,
        offset: 3,
        elevation: 6,
    };
    let mut year = year(first, &at)?;
    let (number, names) = lines.next().ok_or(TypicalYearError::UnknownFormat)?;
    let names = Line::new(number, names)?;
    let column = |name: &'static str| {
        names
            .fields
            .iter()
            .position(|field| field.eq_ignore_ascii_case(name))
            .ok_or(TypicalYearError::NoColumn { name })
    };
    let columns = [
        (column("Dry-bulb (C)")?, "°C"),
        (column("RHum (%)")?, "%"),
        (column("Wspd (m/s)")?, "m/s"),
        (column("GHI (W/m^2)")?, "W/m2"),
        (column("Pressure (mbar)")?, "mbar"),
    ];
    year.hours = rows_of(lines, &columns, |line| {
        let mut date = line.text(0)?.split('/');
        let month = line.whole_of(0, date.next().unwrap_or(""), (1, 12))?;
        let day = line.whole_of(0, date.next().unwrap_or(""), (1, 31))?;
        let hour = line.text(1)?.split(':').next().unwrap_or("");
        Ok((month, day, line.whole_of(1, hour, (1, 24))?))
    })?;
    Ok(year)
}

/// Reads rows into their places in the year; every hour must be there.
fn rows_of<'a>(
    lines: impl Iterator<Item = (usize, &'a str)>,
    columns: &[(usize, &str); 5],
    stamp: impl Fn(&Line) -> Result<(u32, u32, u32), TypicalYearError>,
) -> Result<Vec<Values>, TypicalYearError> {
    let mut hours: Vec<Option<Values>> = vec![None; HOURS_A_YEAR];
    for (number, text) in lines {
        if number > MOST_LINES {
            return Err(TypicalYearError::TooLong);
        }
        if text.trim().is_empty() {
            continue;
        }
        let line = Line::new(number, text)?;
        let (month, day, hour_end) = stamp(&line)?;
        let mut values = Values::default();
        for ((value, variable), (index, unit)) in values.iter_mut().zip(READ).zip(columns) {
            *value = line.value(*index, (variable, unit))?;
        }
        if (month, day) == (2, 29) {
            continue;
        }
        let place = place_in_year(month, day, hour_end - 1)
            .ok_or_else(|| line.wrong(0, "a date of the calendar"))?;
        hours[place] = Some(values);
    }
    let there = hours.iter().flatten().count();
    hours
        .iter()
        .copied()
        .collect::<Option<Vec<Values>>>()
        .ok_or_else(|| {
            let first = hours.iter().position(Option::is_none).unwrap_or_default();
            let day = chrono::NaiveDate::from_yo_opt(2023, 1)
                .map(|day| day + chrono::Days::new(first as u64 / 24));
            let day = day
                .map(|day| day.format("%m-%d").to_string())
                .unwrap_or_default();
            TypicalYearError::NotAYear {
                hours: there,
                first: format!("{day}, hour {}", first % 24 + 1),
            }
        })
}

/// Place of an hour in a year of 365 days; 29 February has that of the 28th.
fn place_in_year(month: u32, day: u32, hour: u32) -> Option<usize> {
    let day = if (month, day) == (2, 29) { 28 } else { day };
    // Any year of 365 days.
    let ordinal = chrono::NaiveDate::from_ymd_opt(2023, month, day)?.ordinal0();
    Some(ordinal as usize * 24 + hour as usize)
}

impl TypicalYear {
    /// The hours from `from` to before `to`, as climate. At most 400 days.
    #[must_use]
    pub fn between(&self, from: DateTime<Utc>, to: DateTime<Utc>) -> Vec<RawHour> {
        let first = from.timestamp().div_euclid(3600);
        let last = to.timestamp().div_euclid(3600).min(first + 400 * 24);
        (first..last)
            .filter_map(|hour| DateTime::from_timestamp(hour * 3600, 0))
            .filter_map(|start| self.hour(start))
            .collect()
    }

    fn hour(&self, start: DateTime<Utc>) -> Option<RawHour> {
        // Half-hour zones: the hour that holds the middle.
        let local = (start + self.offset + TimeDelta::minutes(30)).naive_utc();
        let place = place_in_year(local.month(), local.day(), local.hour())?;
        let values = self.hours.get(place)?;
        let mut hour = RawHour::empty(start, WIND_HEIGHT_M);
        for (value, variable) in values.iter().zip(READ) {
            let reading = value.map(|value| Reading {
                value,
                provenance: Provenance::Climate,
            });
            variable.set(&mut hour, reading);
        }
        Some(hour)
    }
}

#[cfg(test)]
mod tests;
