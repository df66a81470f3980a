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
//! 3. Every source is screened by [`super::quality`] first; what it leaves out, a
//!    forecast that is too old, and sensors and services that disagree are told
//!    (see [`super::doubt`]).
//! 4. Nothing is filled here: the rules for gaps are in `agronomy::missing_data`.
//! 5. Rain of a typical year counts as none: it is nobody's forecast. (Own model.)

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::doubt::{self, Doubt};
use super::quality;
use super::rain::UNSTATED_PROBABILITY;
use super::variable::{Variable, empty_hour};
use crate::agronomy::solar_time::SolarHours;
use crate::agronomy::weather_record::{GeoPosition, Provenance, RawHour, Reading};

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

/// The longest span that is merged [h].
const LONGEST_SPAN_H: i64 = 24 * 400;
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
    place: &GeoPosition,
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
    let hours: Vec<SeriesHour> = (first..end)
        .filter_map(|hour| DateTime::from_timestamp(hour * 3600, 0))
        .map(|start| {
            let old = frozen.get(&start).copied().filter(|_| start < rules.now);
            merged_hour(start, &indexed, old)
        })
        .collect();
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

    /// The values alone, without hours of which nothing is known.
    #[must_use]
    pub fn raw(&self) -> Vec<RawHour> {
        self.hours
            .iter()
            .filter(|hour| !hour.marks.is_empty())
            .map(|hour| hour.hour)
            .collect()
    }
}

/// The usable hours of the usable sources, best source first.
fn indexed<'a>(
    sources: &'a [Source],
    context: (&GeoPosition, &MergeRules),
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
        let mut hours = source.hours.clone();
        let findings = quality::screen(&mut hours, place);
        doubts.extend(Doubt::of_screening(source, findings));
        let mut sun = SolarHours::new(place);
        let hours = hours
            .into_iter()
            .map(|mut hour| {
                as_its_kind(&mut hour, source.kind, &mut sun);
                (hour.start, hour)
            })
            .collect();
        out.push(Indexed { source, hours });
    }
    // Stable: within a kind the order of the caller.
    out.sort_by_key(|indexed| indexed.source.kind);
    out
}

/// Gives the values of a source the provenance of its kind, turns the clear
/// share of the sky into hours of sunshine, and takes the rain out of a typical year.
fn as_its_kind(hour: &mut RawHour, kind: SourceKind, sun: &mut SolarHours) {
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
            value: share.value * sun.hour(hour.start).sunlit_h,
            ..share
        });
    }
    if hour.rain_mm.is_some() && hour.rain_probability.is_none() {
        hour.rain_probability = Some(UNSTATED_PROBABILITY);
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
