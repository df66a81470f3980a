//! One hourly series from all sources: per variable and hour the best source
//! wins, and every value keeps where it came from.
//!
//! Rules, in this order:
//!
//! 1. A past hour that was measured stays as it was when it is merged again, so
//!    that a plan can be made again later; a past hour that only a forecast had
//!    is replaced once, when a sensor's value arrives.
//! 2. Sensors beat services, services beat the typical year; within a kind the
//!    source named first wins.
//! 3. A forecast that is too old, and radiation that the sky cannot give, are
//!    left out and told (see [`super::doubt`]).
//! 4. A gap of up to three hours in temperature, humidity, wind or pressure is
//!    bridged by a straight line and marked as estimated. Rain and radiation are
//!    never bridged: `missing_data` has FAO-56 rules for radiation, and rain that
//!    nobody saw is not made up.
//! 5. Rain of a typical year counts as none: it is nobody's forecast. (Own model.)

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};
use serde::{Deserialize, Serialize};

use super::doubt::{self, Doubt};
use super::variable::{Variable, empty_hour};
use crate::agronomy::radiation::{DaySun, HourSun};
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use crate::site::Place;

/// What kind of source, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// An instrument at or near the site, or its file.
    Sensor,
    /// A forecast or analysis service.
    Service,
    /// A typical year.
    TypicalYear,
}

/// Hours of one source.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What people call it.
    pub name: String,
    /// What kind it is.
    pub kind: SourceKind,
    /// When its hours came, for a service.
    pub received: Option<DateTime<Utc>>,
    /// The hours, in any order.
    pub hours: Vec<RawHour>,
}

/// Where a value of the series came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Mark {
    /// The source's name.
    pub source: String,
    /// How good it is.
    pub provenance: Provenance,
    /// When the source gave it, if that is known.
    pub received: Option<DateTime<Utc>>,
}

/// One hour of the series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct SeriesHour {
    /// The values; what is missing everywhere is missing here.
    pub hour: RawHour,
    /// Where each value that is there came from.
    pub marks: BTreeMap<Variable, Mark>,
}

/// Hours in which a variable is missing everywhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Gap {
    /// What is missing.
    pub variable: Variable,
    /// Start of the first hour without it.
    pub from: DateTime<Utc>,
    /// End of the last hour without it.
    pub to: DateTime<Utc>,
}

/// The merged series.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Series {
    /// Every hour of the span, in order.
    pub hours: Vec<SeriesHour>,
    /// What is missing.
    pub gaps: Vec<Gap>,
    /// What is doubtful.
    pub doubts: Vec<Doubt>,
}

/// The span and the rules of a merge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MergeRules {
    /// First hour.
    pub from: DateTime<Utc>,
    /// End of the last hour.
    pub to: DateTime<Utc>,
    /// The present.
    pub now: DateTime<Utc>,
    /// A forecast older than this is left out.
    pub oldest_forecast: TimeDelta,
}

impl MergeRules {
    /// A forecast of a day and a half ago still knows more than a typical year.
    /// Own model: weather services renew theirs every one to six hours.
    pub const OLDEST_FORECAST: TimeDelta = TimeDelta::hours(36);
}

/// The longest gap that is bridged by a straight line [h].
const LONGEST_BRIDGE_H: usize = 3;
/// The longest span that is merged [h].
const LONGEST_SPAN_H: i64 = 24 * 400;
/// Variables that change slowly enough to be bridged.
const BRIDGED: [Variable; 4] = [
    Variable::AirTemperature,
    Variable::RelativeHumidity,
    Variable::Wind,
    Variable::Pressure,
];
/// Variables whose gaps matter to a plan.
const NEEDED: [Variable; 5] = [
    Variable::AirTemperature,
    Variable::RelativeHumidity,
    Variable::Wind,
    Variable::Solar,
    Variable::Rain,
];

/// The sources of a merge with the hours indexed.
struct Indexed<'a> {
    source: &'a Source,
    hours: BTreeMap<DateTime<Utc>, RawHour>,
}

/// Merges the sources into one series.
///
/// - `frozen`: hours of an earlier merge, see [`Series::past`]; may be empty
///
/// Spans of more than 400 days are cut.
#[must_use]
pub fn merge(
    sources: &[Source],
    frozen: &[SeriesHour],
    place: &Place,
    rules: &MergeRules,
) -> Series {
    let mut doubts = Vec::new();
    let indexed = indexed(sources, (place, rules), &mut doubts);
    let frozen: BTreeMap<_, _> = frozen.iter().map(|hour| (hour.hour.start, hour)).collect();
    let first = rules.from.timestamp().div_euclid(3600);
    let end = rules
        .to
        .timestamp()
        .div_euclid(3600)
        .min(first + LONGEST_SPAN_H);
    let mut hours: Vec<SeriesHour> = (first..end)
        .filter_map(|hour| DateTime::from_timestamp(hour * 3600, 0))
        .map(|start| {
            let old = frozen.get(&start).copied().filter(|_| start < rules.now);
            merged_hour(start, &indexed, old)
        })
        .collect();
    for variable in BRIDGED {
        bridge(&mut hours, variable);
    }
    let gaps = NEEDED
        .iter()
        .flat_map(|variable| gaps(&hours, *variable))
        .collect();
    doubts.extend(doubt::disagreements(sources, rules.now));
    Series {
        hours,
        gaps,
        doubts,
    }
}

impl Series {
    /// The hours that are over, to be kept and given to the next merge.
    #[must_use]
    pub fn past(&self, now: DateTime<Utc>) -> Vec<SeriesHour> {
        let over = |hour: &&SeriesHour| hour.hour.start + TimeDelta::hours(1) <= now;
        self.hours.iter().filter(over).cloned().collect()
    }

    /// The values alone.
    #[must_use]
    pub fn raw(&self) -> Vec<RawHour> {
        self.hours.iter().map(|hour| hour.hour).collect()
    }
}

/// The usable hours of the usable sources, best source first.
fn indexed<'a>(
    sources: &'a [Source],
    context: (&Place, &MergeRules),
    doubts: &mut Vec<Doubt>,
) -> Vec<Indexed<'a>> {
    let (place, rules) = context;
    let mut out = Vec::new();
    for source in sources {
        if let Some(received) = source.received
            && source.kind == SourceKind::Service
            && rules.now - received > rules.oldest_forecast
        {
            doubts.push(Doubt::TooOld {
                source: source.name.clone(),
                received,
            });
            continue;
        }
        let mut hours: BTreeMap<DateTime<Utc>, RawHour> = BTreeMap::new();
        let mut too_bright = Vec::new();
        for hour in &source.hours {
            let mut hour = *hour;
            let sun = sun_of(hour.start, place);
            if doubt::too_bright(&hour, &sun, place.elevation_m) {
                too_bright.push(hour.start);
                hour.solar_w_per_m2 = None;
            }
            as_its_kind(&mut hour, source.kind, &sun);
            hours.insert(hour.start, hour);
        }
        doubts.extend(Doubt::of_radiation(&source.name, &too_bright));
        out.push(Indexed { source, hours });
    }
    // Stable: within a kind the order of the caller.
    out.sort_by_key(|indexed| indexed.source.kind);
    out
}

/// The sun of the hour that starts at `start`.
pub(super) fn sun_of(start: DateTime<Utc>, place: &Place) -> HourSun {
    let middle = start + TimeDelta::minutes(30);
    // The day of the year is that of the sun at the place, not that of UTC.
    let solar_offset = TimeDelta::seconds(whole(place.longitude_deg * 240.0));
    let day = DaySun::new(
        place.latitude_deg.to_radians(),
        (middle + solar_offset).ordinal(),
    );
    let utc_h = f64::from(middle.num_seconds_from_midnight()) / 3600.0;
    day.hour(day.time_angle_rad(utc_h, place.longitude_deg))
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "at most half a day in seconds"
)]
fn whole(seconds: f64) -> i64 {
    seconds.round() as i64
}

/// Gives the values of a source the provenance of its kind, turns the clear
/// share of the sky into hours of sunshine, and takes the rain out of a typical year.
fn as_its_kind(hour: &mut RawHour, kind: SourceKind, sun: &HourSun) {
    if kind == SourceKind::Sensor {
        return;
    }
    let provenance = match kind {
        SourceKind::TypicalYear => Provenance::Climate,
        _ => Provenance::Forecast,
    };
    for variable in Variable::ALL {
        if let Some(reading) = variable.of(hour)
            && reading.provenance != Provenance::Estimated
        {
            variable.set(
                hour,
                Some(Reading {
                    provenance,
                    ..reading
                }),
            );
        }
    }
    if let Some(share) = hour.sunshine_h
        && share.provenance == Provenance::Estimated
    {
        hour.sunshine_h = Some(Reading {
            value: share.value * sun.sunlit_h,
            ..share
        });
    }
    if kind == SourceKind::TypicalYear {
        hour.rain_mm = Some(Reading {
            value: 0.0,
            provenance,
        });
        hour.rain_probability = None;
    }
}

fn merged_hour(start: DateTime<Utc>, sources: &[Indexed], old: Option<&SeriesHour>) -> SeriesHour {
    let mut merged = SeriesHour {
        hour: empty_hour(start, 2.0),
        marks: BTreeMap::new(),
    };
    for variable in Variable::ALL {
        // The probability belongs to the rain, see below.
        if variable != Variable::RainProbability {
            take_best(&mut merged, variable, (sources, old));
        }
    }
    let measured = merged
        .hour
        .rain_mm
        .is_some_and(|rain| rain.provenance == Provenance::Measured);
    if !measured {
        take_best(&mut merged, Variable::RainProbability, (sources, old));
    }
    merged
}

/// Takes a variable from the best source that has it.
fn take_best(merged: &mut SeriesHour, variable: Variable, from: (&[Indexed], Option<&SeriesHour>)) {
    let (sources, old) = from;
    let start = merged.hour.start;
    let kept = old.and_then(|old| {
        let mark = old.marks.get(&variable)?;
        Some((
            variable.of(&old.hour)?,
            old.hour.wind_height_m,
            mark.clone(),
        ))
    });
    let is_measured = |mark: &Mark| mark.provenance == Provenance::Measured;
    let fresh = sources.iter().find_map(|indexed| {
        let hour = indexed.hours.get(&start)?;
        let reading = variable.of(hour)?;
        let mark = Mark {
            source: indexed.source.name.clone(),
            provenance: reading.provenance,
            received: indexed.source.received,
        };
        Some((reading, hour.wind_height_m, mark))
    });
    let best = match (kept, fresh) {
        (Some(kept), Some(fresh)) if !is_measured(&kept.2) && is_measured(&fresh.2) => Some(fresh),
        (Some(kept), _) => Some(kept),
        (None, fresh) => fresh,
    };
    if let Some((reading, wind_height_m, mark)) = best {
        if variable == Variable::Wind {
            merged.hour.wind_height_m = wind_height_m;
        }
        variable.set(&mut merged.hour, Some(reading));
        merged.marks.insert(variable, mark);
    }
}

/// Bridges short gaps between two values with a straight line.
fn bridge(hours: &mut [SeriesHour], variable: Variable) {
    let there: Vec<usize> = (0..hours.len())
        .filter(|index| variable.of(&hours[*index].hour).is_some())
        .collect();
    for pair in there.windows(2) {
        let [from, to] = *pair else { continue };
        if (2..=LONGEST_BRIDGE_H + 1).contains(&(to - from)) {
            lay(&mut hours[from..=to], variable);
        }
    }
}

/// Lays a straight line between the first and the last hour of a span.
fn lay(span: &mut [SeriesHour], variable: Variable) {
    let whole = span.len() - 1;
    let [first, between @ .., last] = span else {
        return;
    };
    let height_m = first.hour.wind_height_m;
    // Winds of two heights have no line between them.
    let one_height = (height_m - last.hour.wind_height_m).abs() < 0.01;
    let (Some(before), Some(after)) = (variable.of(&first.hour), variable.of(&last.hour)) else {
        return;
    };
    if variable == Variable::Wind && !one_height {
        return;
    }
    for (index, hour) in between.iter_mut().enumerate() {
        let value = before.value + (after.value - before.value) * part(index + 1, whole);
        let provenance = Provenance::Estimated;
        variable.set(&mut hour.hour, Some(Reading { value, provenance }));
        if variable == Variable::Wind {
            hour.hour.wind_height_m = height_m;
        }
        let mark = Mark {
            source: "bridged".to_owned(),
            provenance,
            received: None,
        };
        hour.marks.insert(variable, mark);
    }
}

#[expect(clippy::cast_precision_loss, reason = "at most a few hours")]
fn part(of: usize, whole: usize) -> f64 {
    of as f64 / whole as f64
}

/// The spans in which a variable is missing. Sunshine stands in for radiation.
fn gaps(hours: &[SeriesHour], variable: Variable) -> Vec<Gap> {
    let mut out: Vec<Gap> = Vec::new();
    for hour in hours.iter().map(|hour| &hour.hour) {
        let there = variable.of(hour).is_some()
            || (variable == Variable::Solar && hour.sunshine_h.is_some());
        if there {
            continue;
        }
        let to = hour.start + TimeDelta::hours(1);
        match out.last_mut() {
            Some(gap) if gap.to == hour.start => gap.to = to,
            _ => out.push(Gap {
                variable,
                from: hour.start,
                to,
            }),
        }
    }
    out
}
