//! A logger's export as it is: CSV with columns named in the site file, each with
//! its unit, in whatever step the logger writes.
//!
//! Readings are gathered into hours: rain is summed, all else is averaged. An hour
//! with less than half of its readings has no mean; an hour with a reading missing
//! has no rain total, because what fell in it is not known.

mod error;
mod hours;

use chrono::{
    DateTime, Datelike, FixedOffset, MappedLocalTime, NaiveDateTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

pub use self::error::ColumnError;
use self::hours::{gathered, step};
use super::variable::Variable;
use crate::agronomy::weather_record::RawHour;
use crate::units::{Linear, conversion, known_units};

/// How a logger's file is to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnPlan {
    /// Between the fields.
    pub separator: u8,
    /// Whether numbers have a decimal comma.
    pub decimal_comma: bool,
    /// The column of the time.
    pub time: TimeColumn,
    /// The other columns.
    pub columns: Vec<Column>,
    /// Height of the wind [m].
    pub wind_height_m: f64,
}

/// The column of the time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeColumn {
    /// Its header.
    pub header: String,
    /// Its form in the words of `strftime`; none for RFC 3339 with an offset.
    pub form: Option<String>,
    /// What clock it is, where the form has no offset.
    pub clock: Clock,
    /// Which end of its step the stamp marks.
    pub marks: StampMarks,
}

/// The clock of a logger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    /// A fixed offset from UTC, as loggers without summer time have.
    Fixed(FixedOffset),
    /// Local time with summer time: stamps of the doubled hour in autumn cannot
    /// be told apart and are refused.
    Zone(Tz),
}

/// Which end of its step a stamp marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StampMarks {
    /// The step begins at the stamp.
    Start,
    /// The step ends at the stamp.
    End,
}

/// A column with a variable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its header.
    pub header: String,
    /// What it is.
    pub variable: Variable,
    /// In which unit.
    pub unit: String,
}

/// What a logger's file holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Logged {
    /// The hours, in order.
    pub hours: Vec<RawHour>,
    /// The logger's step.
    pub step: TimeDelta,
    /// Lines whose local time happens twice or never; they are left out.
    pub ambiguous_lines: Vec<usize>,
    /// Values that cannot be on Earth; they are left out.
    pub implausible: usize,
}

/// Years in which a logger can have been. Beyond them arithmetic would have to
/// mind the end of the calendar.
const CALENDAR: std::ops::RangeInclusive<i32> = 1900..=2999;
/// Two years of minutes.
pub const MOST_ROWS: usize = 1_100_000;
/// How loggers write that there is no reading.
const MISSING: [&str; 9] = ["", "-", "--", "---", "NA", "N/A", "NaN", "null", "None"];

/// The readings of one line.
struct Row {
    stamp: DateTime<Utc>,
    values: Vec<Option<f64>>,
}

/// A plan whose headers were found and whose units are known.
struct Bound<'a> {
    plan: &'a ColumnPlan,
    time: usize,
    columns: Vec<(usize, Linear)>,
}

/// Reads a logger's file by its plan.
///
/// # Errors
/// [`ColumnError`] with line and column.
pub fn parse(bytes: &[u8], plan: &ColumnPlan) -> Result<Logged, ColumnError> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(plan.separator)
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(bytes);
    let headers = reader.headers().map_err(|error| csv_error(&error))?.clone();
    let bound = bind(plan, &headers)?;
    let mut rows: Vec<Row> = Vec::new();
    let mut ambiguous_lines = Vec::new();
    let mut record = csv::StringRecord::new();
    while reader
        .read_record(&mut record)
        .map_err(|error| csv_error(&error))?
    {
        let line = record.position().map_or(0, csv::Position::line);
        if record.iter().all(str::is_empty) {
            continue;
        }
        if rows.len() >= MOST_ROWS {
            return Err(ColumnError::TooLong);
        }
        let Some(stamp) = bound.stamp(&record, line)? else {
            if ambiguous_lines.len() < 1000 {
                ambiguous_lines.push(usize::try_from(line).unwrap_or(usize::MAX));
            }
            continue;
        };
        if rows.last().is_some_and(|last| last.stamp >= stamp) {
            return Err(ColumnError::Order { line });
        }
        rows.push(Row {
            stamp,
            values: bound.values(&record, line)?,
        });
    }
    let step = step(&rows).ok_or(ColumnError::Empty)?;
    let (hours, implausible) = gathered(&rows, plan, step);
    Ok(Logged {
        hours,
        step,
        ambiguous_lines,
        implausible,
    })
}

fn csv_error(error: &csv::Error) -> ColumnError {
    ColumnError::Csv {
        line: error.position().map_or(1, csv::Position::line),
        reason: super::services::shown(&error.to_string()),
    }
}

/// Finds the headers and the units of a plan.
fn bind<'a>(plan: &'a ColumnPlan, headers: &csv::StringRecord) -> Result<Bound<'a>, ColumnError> {
    let find = |wanted: &str| {
        headers
            .iter()
            .position(|header| header.trim_start_matches('\u{feff}') == wanted)
            .ok_or_else(|| ColumnError::NoColumn {
                header: wanted.to_owned(),
                found: super::services::shown(&headers.iter().collect::<Vec<_>>().join(", ")),
            })
    };
    let mut columns = Vec::new();
    for column in &plan.columns {
        let quantity = column.variable.quantity();
        let unit = conversion(quantity, &column.unit).ok_or_else(|| ColumnError::Unit {
            header: column.header.clone(),
            unit: column.unit.clone(),
            variable: column.variable.name(),
            known: known_units(quantity),
        })?;
        columns.push((find(&column.header)?, unit));
    }
    Ok(Bound {
        plan,
        time: find(&plan.time.header)?,
        columns,
    })
}

impl Bound<'_> {
    /// The time of a line; none where its local time happens twice or never.
    fn stamp(
        &self,
        record: &csv::StringRecord,
        line: u64,
    ) -> Result<Option<DateTime<Utc>>, ColumnError> {
        let text = record.get(self.time).unwrap_or("");
        let time = &self.plan.time;
        let wrong = |form: &str| ColumnError::Time {
            line,
            text: super::services::shown(text),
            form: format!("of the form {form}"),
        };
        let Some(form) = &time.form else {
            return DateTime::parse_from_rfc3339(text)
                .map(|stamp| Some(stamp.with_timezone(&Utc)))
                .map_err(|_| wrong("2026-06-01T14:00:00+01:00"));
        };
        if let Ok(stamp) = DateTime::parse_from_str(text, form)
            && CALENDAR.contains(&stamp.year())
        {
            return Ok(Some(stamp.with_timezone(&Utc)));
        }
        let local = NaiveDateTime::parse_from_str(text, form).map_err(|_| wrong(form))?;
        if !CALENDAR.contains(&local.year()) {
            return Err(wrong(form));
        }
        let mapped = match time.clock {
            Clock::Fixed(offset) => offset
                .from_local_datetime(&local)
                .map(|stamp| stamp.with_timezone(&Utc)),
            Clock::Zone(zone) => zone
                .from_local_datetime(&local)
                .map(|stamp| stamp.with_timezone(&Utc)),
        };
        match mapped {
            MappedLocalTime::Single(stamp) => Ok(Some(stamp)),
            MappedLocalTime::Ambiguous(..) | MappedLocalTime::None => Ok(None),
        }
    }

    fn values(
        &self,
        record: &csv::StringRecord,
        line: u64,
    ) -> Result<Vec<Option<f64>>, ColumnError> {
        let mut values = Vec::with_capacity(self.columns.len());
        for ((index, unit), column) in self.columns.iter().zip(&self.plan.columns) {
            let text = record.get(*index).unwrap_or("");
            if MISSING
                .iter()
                .any(|missing| missing.eq_ignore_ascii_case(text))
            {
                values.push(None);
                continue;
            }
            let plain = if self.plan.decimal_comma {
                text.replace(',', ".")
            } else {
                text.to_owned()
            };
            let number: f64 = plain.parse().map_err(|_| ColumnError::Number {
                line,
                header: column.header.clone(),
                text: super::services::shown(text),
            })?;
            let share = if column.variable == Variable::RainProbability {
                0.01
            } else {
                1.0
            };
            values.push(Some(unit.apply(number) * share));
        }
        Ok(values)
    }
}

#[cfg(test)]
mod tests;
