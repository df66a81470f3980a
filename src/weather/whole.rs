//! From the series to hours that a plan can stand on: complete, without a gap,
//! as far as it has to look, and with what stands in for what nobody tells.
//!
//! Rules, in this order: what the series has; gaps filled by
//! `agronomy::missing_data`; a gap too long to fill ends the past (before it) or
//! the known future (behind it); and beyond what is known, for at most
//! [`LONGEST_STAND_IN`], the mean of the same hour of the seven nearest known
//! days, without rain (own model: weather persists, and seed must not wait for
//! rain that nobody foretold). Each is told.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::series::Series;
use super::variable::Variable;
use crate::agronomy::atmosphere::wind_factor_to_2m;
use crate::agronomy::missing_data::{Completed, CompletionError, complete};
use crate::agronomy::weather_record::{GeoPosition, RawHour, Reading};

/// Hours that nobody knows are stood in for over at most this span.
pub const LONGEST_STAND_IN: TimeDelta = TimeDelta::days(7);
/// Days whose mean stands in.
const DONOR_DAYS: i64 = 7;
/// Gaps that are cut away at most; each cut makes the series shorter.
const MOST_CUTS: usize = 50;
/// What known days lend to an hour that nobody knows: not their rain.
const STANDING_IN: [Variable; 5] = [
    Variable::AirTemperature,
    Variable::RelativeHumidity,
    Variable::Wind,
    Variable::Solar,
    Variable::Sunshine,
];

/// Complete hours and what is to be known about them.
#[derive(Debug, Clone, PartialEq)]
pub struct Whole {
    /// The hours and what was estimated in them.
    pub completed: Completed,
    /// Start of the first hour that a source knows.
    pub known_from: DateTime<Utc>,
    /// End of the last hour that a source knows, in one piece with the first.
    pub known_to: DateTime<Utc>,
    /// What was cut away or stood in for, a sentence each.
    pub alarms: Vec<String>,
}

impl Whole {
    /// No hours, where none are known around an instant.
    #[must_use]
    pub fn nothing(at: DateTime<Utc>) -> Self {
        Self {
            completed: Completed {
                hours: Vec::new(),
                notes: Vec::new(),
            },
            known_from: at,
            known_to: at,
            alarms: Vec::new(),
        }
    }
}

/// Hours of a series that are in one piece around an instant.
struct Known {
    hours: Vec<RawHour>,
    alarms: Vec<String>,
}

/// The end of what a series knows in one piece with `from`.
///
/// # Errors
/// [`CompletionError`] where nothing is known.
pub fn known_to(
    series: &Series,
    place: &GeoPosition,
    from: DateTime<Utc>,
) -> Result<DateTime<Utc>, CompletionError> {
    let known = known(series, place, from)?;
    let last = known.hours.last().ok_or(CompletionError::Empty)?;
    Ok(last.start + TimeDelta::hours(1))
}

/// Complete hours for a plan from `from` to `to`; those known before and after
/// it are kept.
///
/// # Errors
/// [`CompletionError`] where nothing is known.
pub fn whole(
    series: &Series,
    place: &GeoPosition,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Whole, CompletionError> {
    let Known {
        mut hours,
        mut alarms,
    } = known(series, place, from)?;
    let (Some(first), Some(last)) = (hours.first(), hours.last()) else {
        return Err(CompletionError::Empty);
    };
    let hour = TimeDelta::hours(1);
    let (known_from, known_to) = (first.start, last.start + hour);
    let known: BTreeMap<DateTime<Utc>, RawHour> =
        hours.iter().map(|hour| (hour.start, *hour)).collect();
    let earliest = from.max(known_from - TimeDelta::days(1));
    let before = hours_between(earliest, known_from).map(|at| stand_in(&known, at));
    let latest = to.min(known_to + LONGEST_STAND_IN);
    let after = hours_between(known_to, latest).map(|at| stand_in(&known, at));
    let (before, after): (Vec<_>, Vec<_>) = (before.collect(), after.collect());
    if !after.is_empty() {
        alarms.push(told(known_to, after.len()));
    }
    if !before.is_empty() {
        alarms.push(told(earliest, before.len()));
    }
    hours.splice(0..0, before);
    hours.extend(after);
    Ok(Whole {
        completed: complete(&hours, place)?,
        known_from,
        known_to,
        alarms,
    })
}

fn told(from: DateTime<Utc>, hours: usize) -> String {
    let from = from.format("%Y-%m-%d %H:%M UTC");
    format!(
        "no source tells the weather of {hours} h from {from} on: the mean of the nearest known \
         days, without rain, stands in"
    )
}

/// Drops what lies beyond gaps that cannot be filled, seen from `from`.
fn known(
    series: &Series,
    place: &GeoPosition,
    from: DateTime<Utc>,
) -> Result<Known, CompletionError> {
    let mut hours = series.raw();
    let mut alarms = Vec::new();
    let warm = |hour: &RawHour| hour.air_temperature_c.is_some();
    for _ in 0..MOST_CUTS {
        // Without a temperature nothing can be said of an hour at either end.
        hours.truncate(hours.iter().rposition(warm).map_or(0, |last| last + 1));
        hours.drain(..hours.iter().position(warm).unwrap_or(hours.len()));
        match complete(&hours, place) {
            Ok(_) => return Ok(Known { hours, alarms }),
            Err(CompletionError::GapTooLong {
                from: gap,
                hours: missing,
            }) => {
                let until = gap + TimeDelta::hours(missing);
                if gap > from {
                    hours.retain(|hour| hour.start < gap);
                } else {
                    hours.retain(|hour| hour.start >= until);
                }
                alarms.push(format!(
                    "no air temperature is known for {missing} h from {}: what lies beyond is \
                     left out",
                    gap.format("%Y-%m-%d %H:%M UTC")
                ));
            }
            Err(error) => return Err(error),
        }
    }
    Err(CompletionError::Empty)
}

/// The whole hours from `from` up to `to`.
fn hours_between(from: DateTime<Utc>, to: DateTime<Utc>) -> impl Iterator<Item = DateTime<Utc>> {
    let first = from.timestamp().div_euclid(3600);
    let end = to.timestamp().div_euclid(3600);
    (first..end).filter_map(|hour| DateTime::from_timestamp(hour * 3600, 0))
}

/// The mean of the same hour of the nearest known days, without rain.
fn stand_in(known: &BTreeMap<DateTime<Utc>, RawHour>, at: DateTime<Utc>) -> RawHour {
    let reach = (LONGEST_STAND_IN + TimeDelta::days(DONOR_DAYS)).num_days();
    let donors: Vec<&RawHour> = (1..=reach)
        .flat_map(|days| [at - TimeDelta::days(days), at + TimeDelta::days(days)])
        .filter_map(|start| known.get(&start))
        .take(usize::try_from(DONOR_DAYS).unwrap_or(7))
        .collect();
    mean_hour(at, &donors)
}

/// The mean of known hours in place of one that nobody knows, without their
/// rain. Winds of different heights are brought to that of the first (FAO-56,
/// eq. 47).
#[must_use]
pub fn mean_hour(at: DateTime<Utc>, donors: &[&RawHour]) -> RawHour {
    let height_m = donors.first().map_or(2.0, |hour| hour.wind_height_m);
    let mut hour = RawHour::empty(at, height_m);
    for variable in STANDING_IN {
        let values: Vec<f64> = donors
            .iter()
            .filter_map(|donor| Some(variable.of(donor)?.value * factor(variable, donor, height_m)))
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "at most seven days")]
        let count = values.len() as f64;
        let mean = (!values.is_empty()).then(|| values.iter().sum::<f64>() / count);
        variable.set(&mut hour, mean.map(Reading::estimated));
    }
    hour.rain_mm = Some(Reading::estimated(0.0));
    hour
}

/// What brings a value to a height: only wind depends on it.
fn factor(variable: Variable, of: &RawHour, height_m: f64) -> f64 {
    let is_there = (of.wind_height_m - height_m).abs() < 0.01;
    if variable != Variable::Wind || is_there {
        return 1.0;
    }
    wind_factor_to_2m(of.wind_height_m) / wind_factor_to_2m(height_m)
}
