//! A logger's export as it is: CSV with columns named in the site file, each with
//! its unit, in whatever step the logger writes.
//!
//! Readings are gathered into hours: rain is summed, all else is averaged. An hour
//! with less than half of its readings has no mean; an hour with a reading missing
//! has no rain total, because what fell in it is not known.

use std::collections::BTreeMap;

use chrono::{
    DateTime, Datelike, FixedOffset, MappedLocalTime, NaiveDateTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

use super::variable::{Variable, empty_hour};
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
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

/// Why a logger's file cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ColumnError {
    /// The file is not CSV in UTF-8.
    #[error("line {line}: {reason}")]
    Csv {
        /// Line, from 1.
        line: u64,
        /// What is wrong.
        reason: String,
    },
    /// A column that is not there.
    #[error("there is no column \"{header}\"; the file has {found}")]
    NoColumn {
        /// The header that was looked for.
        header: String,
        /// The headers of the file.
        found: String,
    },
    /// A unit that is not known.
    #[error("column \"{header}\": \"{unit}\" is not a unit of {variable}; write {known}")]
    Unit {
        /// The column.
        header: String,
        /// The unit.
        unit: String,
        /// Of what.
        variable: &'static str,
        /// Units that are known.
        known: &'static str,
    },
    /// A field that is not a number.
    #[error("line {line}, column \"{header}\": \"{text}\" is not a number")]
    Number {
        /// Line, from 1.
        line: u64,
        /// The column.
        header: String,
        /// The text, cut.
        text: String,
    },
    /// A field that is not a time of the given form.
    #[error("line {line}: \"{text}\" is not a time {form}")]
    Time {
        /// Line, from 1.
        line: u64,
        /// The text, cut.
        text: String,
        /// The form.
        form: String,
    },
    /// A time that is not after the one before.
    #[error("line {line}: the time does not follow the line before; sort the file by time")]
    Order {
        /// Line, from 1.
        line: u64,
    },
    /// No rows.
    #[error("the file has no readings")]
    Empty,
    /// More rows than are read.
    #[error("the file has more than {MOST_ROWS} rows; cut it to the last years")]
    TooLong,
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

/// The logger's step: the most frequent distance of two lines, at most an hour;
/// the shortest of those if several are as frequent.
fn step(rows: &[Row]) -> Option<TimeDelta> {
    rows.first()?;
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    for pair in rows.windows(2) {
        *counts
            .entry((pair[1].stamp - pair[0].stamp).num_seconds())
            .or_default() += 1;
    }
    let most = counts.values().max().copied().unwrap_or(0);
    let seconds = counts
        .into_iter()
        .find(|(_, count)| *count == most)
        .map_or(3600, |(s, _)| s);
    Some(TimeDelta::seconds(seconds.clamp(1, 3600)))
}

/// The sum and the count of a variable in an hour.
#[derive(Default, Clone, Copy)]
struct Gathered {
    sum: f64,
    count: u32,
}

/// Gathers rows into hours.
fn gathered(rows: &[Row], plan: &ColumnPlan, step: TimeDelta) -> (Vec<RawHour>, usize) {
    let shift = match plan.time.marks {
        StampMarks::Start => TimeDelta::zero(),
        // A step that ends on the hour belongs to the hour before.
        StampMarks::End => step,
    };
    let mut implausible = 0;
    let mut hours: BTreeMap<i64, Vec<Gathered>> = BTreeMap::new();
    for row in rows {
        let hour = (row.stamp - shift).timestamp().div_euclid(3600);
        let sums = hours
            .entry(hour)
            .or_insert_with(|| vec![Gathered::default(); plan.columns.len()]);
        for ((sum, value), column) in sums.iter_mut().zip(&row.values).zip(&plan.columns) {
            match value.map(|value| column.variable.plausible(value)) {
                Some(Some(value)) => {
                    sum.sum += value;
                    sum.count += 1;
                }
                Some(None) => implausible += 1,
                None => {}
            }
        }
    }
    let wanted = u32::try_from(3600 / step.num_seconds().max(1))
        .unwrap_or(1)
        .max(1);
    let hours = hours
        .into_iter()
        .filter_map(|(hour, sums)| Some((DateTime::from_timestamp(hour * 3600, 0)?, sums)))
        .map(|(start, sums)| {
            let mut hour = empty_hour(start, plan.wind_height_m);
            for (sum, column) in sums.iter().zip(&plan.columns) {
                let value = sum.of(column.variable, wanted);
                let reading = value.map(|value| Reading {
                    value,
                    provenance: Provenance::Measured,
                });
                column.variable.set(&mut hour, reading);
            }
            hour
        })
        .collect();
    (hours, implausible)
}

impl Gathered {
    fn of(self, variable: Variable, wanted: u32) -> Option<f64> {
        match variable {
            Variable::Rain | Variable::Sunshine => (self.count >= wanted)
                .then_some(self.sum)
                .and_then(|sum| variable.plausible(sum)),
            _ => (self.count > 0 && 2 * self.count >= wanted)
                .then(|| self.sum / f64::from(self.count)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> ColumnPlan {
        let column = |header: &str, variable, unit: &str| Column {
            header: header.into(),
            variable,
            unit: unit.into(),
        };
        ColumnPlan {
            separator: b';',
            decimal_comma: true,
            time: TimeColumn {
                header: "Zeit".into(),
                form: Some("%d.%m.%Y %H:%M".into()),
                clock: Clock::Zone(chrono_tz::Europe::London),
                marks: StampMarks::End,
            },
            columns: vec![
                column("Temp", Variable::AirTemperature, "°F"),
                column("Regen", Variable::Rain, "in"),
            ],
            wind_height_m: 2.0,
        }
    }

    const EXPORT: &str = "Zeit;Temp;Regen;Akku\n\
        01.06.2026 13:30;50,0;0,1;12\n\
        01.06.2026 14:00;68,0;0,0;12\n\
        01.06.2026 14:30;68,0;---;12\n\
        01.06.2026 15:00;68,0;0,2;12\n";

    #[test]
    fn an_export_in_its_own_words_becomes_hours() -> Result<(), ColumnError> {
        let logged = parse(EXPORT.as_bytes(), &plan())?;
        assert_eq!(logged.step, TimeDelta::minutes(30));
        // 13:00 to 14:00 in British summer time begins at 12:00 UTC.
        assert_eq!(
            logged.hours[0].start,
            "2026-06-01T12:00:00Z".parse::<DateTime<Utc>>().unwrap()
        );
        let value = |reading: Option<Reading>| reading.map(|r| (r.value * 1e6).round() / 1e6);
        assert_eq!(value(logged.hours[0].air_temperature_c), Some(15.0));
        assert_eq!(value(logged.hours[0].rain_mm), Some(2.54));
        // A reading of the gauge is missing: what fell is not known.
        assert_eq!(value(logged.hours[1].rain_mm), None);
        assert_eq!(value(logged.hours[1].air_temperature_c), Some(20.0));
        Ok(())
    }

    #[test]
    fn the_doubled_hour_of_autumn_is_told_and_left_out() -> Result<(), ColumnError> {
        let text = "Zeit;Temp;Regen\n25.10.2026 00:30;50;0\n25.10.2026 01:30;50;0\n25.10.2026 02:30;50;0\n";
        let logged = parse(text.as_bytes(), &plan())?;
        assert_eq!(logged.ambiguous_lines, [3]);
        assert_eq!(logged.hours.len(), 2);
        Ok(())
    }

    #[test]
    fn faults_name_line_and_column_and_say_how_to_mend() {
        let told = |text: &str| parse(text.as_bytes(), &plan()).unwrap_err().to_string();
        assert_eq!(
            told(&EXPORT.replacen("68,0;0,0", "warm;0,0", 1)),
            "line 3, column \"Temp\": \"warm\" is not a number"
        );
        assert_eq!(
            told(&EXPORT.replace("Regen", "Rain")),
            "there is no column \"Regen\"; the file has Zeit, Temp, Rain, Akku"
        );
        assert_eq!(
            told(&EXPORT.replacen("01.06.2026 14:00", "2026-06-01 14:00", 1)),
            "line 3: \"2026-06-01 14:00\" is not a time of the form %d.%m.%Y %H:%M"
        );
        assert!(
            told(&EXPORT.replacen("14:30", "13:10", 1)).starts_with("line 4: the time does not")
        );
        assert_eq!(told("Zeit;Temp;Regen\n"), "the file has no readings");
        let mut beaufort = plan();
        beaufort.columns[0].unit = "m/s".into();
        assert_eq!(
            parse(EXPORT.as_bytes(), &beaufort).unwrap_err().to_string(),
            "column \"Temp\": \"m/s\" is not a unit of air temperature; write °C, °F or K"
        );
    }
}
