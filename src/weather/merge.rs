//! One hourly series from all sources: per variable and hour the best source
//! wins, and every value keeps where it came from.
//!
//! Rules, in this order:
//!
//! 1. A past hour that was measured stays as it was when it is merged again, so
//!    that a plan can be made again later; a past hour that only a forecast had
//!    is replaced when a service tells what it was, and when a sensor's value
//!    arrives, and by nothing else.
//! 2. Sensors beat services, services beat the typical year; within a kind the
//!    source named first wins.
//! 3. Every source is screened by [`super::quality`] first; what it leaves out, a
//!    forecast that is too old, and sensors and services that disagree are told
//!    (see [`super::doubt`]).
//! 4. Nothing is filled here: the rules for gaps are in `agronomy::missing_data`.
//! 5. Rain of a typical year counts as none: it is nobody's forecast. (Own model.)
//! 6. A probability belongs to the rain of the same source. Rain that a service
//!    tells when its hour is over has fallen, as far as anybody knows without a
//!    gauge: its probability is 1. No rain to come is that certain. (Own model.)

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::doubt::{self, Doubt};
use super::finding::Finding;
use super::quality;
use super::series::{Gap, Mark, Series, SeriesHour, Source, SourceKind};
use super::variable::Variable;
use crate::agronomy::missing_data::UNSTATED_RAIN_PROBABILITY;
use crate::agronomy::solar_time::SolarHours;
use crate::agronomy::weather_record::{GeoPosition, Provenance, RawHour, Reading};

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
    /// The longest span that is merged: a longer one loses its end.
    pub const LONGEST_SPAN: TimeDelta = TimeDelta::days(400);
}

/// The most that rain to come is certain: only what has fallen has 1. Own choice.
const SUREST: f64 = 0.99;
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
    /// When the hours came.
    received: Option<DateTime<Utc>>,
    hours: BTreeMap<DateTime<Utc>, RawHour>,
}

/// A value that a source offers for an hour.
struct Offer {
    reading: Reading,
    rain_probability: Option<f64>,
    wind_height_m: f64,
    mark: Mark,
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
        .min(first + MergeRules::LONGEST_SPAN.num_hours());
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
        let (hours, findings) = screened(&source.hours, source.kind, place);
        doubts.extend(Doubt::of_screening(source, findings));
        let received = source.received;
        out.push(Indexed {
            source,
            received,
            hours,
        });
        if !source.earlier.is_empty() {
            out.push(Indexed {
                source,
                received: None,
                hours: screened(&source.earlier, source.kind, place).0,
            });
        }
    }
    // Stable: within a kind the order of the caller.
    out.sort_by_key(|indexed| indexed.source.kind);
    out
}

/// The hours of a source without what cannot be, and what was found.
fn screened(
    hours: &[RawHour],
    kind: SourceKind,
    place: &GeoPosition,
) -> (BTreeMap<DateTime<Utc>, RawHour>, Vec<Finding>) {
    let mut hours = hours.to_vec();
    let findings = quality::screen(&mut hours, place);
    let mut sun = SolarHours::new(place);
    let hours = hours.into_iter().map(|mut hour| {
        as_its_kind(&mut hour, kind, &mut sun);
        (hour.start, hour)
    });
    (hours.collect(), findings)
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
        hour: RawHour::empty(start, 2.0),
        marks: BTreeMap::new(),
    };
    for variable in Variable::ALL {
        // The probability comes with the rain.
        if variable == Variable::RainProbability {
            continue;
        }
        if let Some(offer) = best(start, variable, (sources, old)) {
            take(&mut merged, variable, offer);
        }
    }
    merged
}

/// The best value for a variable: a frozen one unless something better is
/// known by now, else that of the best source.
fn best(
    start: DateTime<Utc>,
    variable: Variable,
    (sources, old): (&[Indexed], Option<&SeriesHour>),
) -> Option<Offer> {
    let kept = old.and_then(|old| {
        Some(Offer {
            reading: variable.of(&old.hour)?,
            rain_probability: old.hour.rain_probability,
            wind_height_m: old.hour.wind_height_m,
            mark: old.marks.get(&variable)?.clone(),
        })
    });
    let fresh = sources.iter().find_map(|indexed| {
        let hour = indexed.hours.get(&start)?;
        let reading = variable.of(hour)?;
        Some(Offer {
            reading,
            rain_probability: hour.rain_probability,
            wind_height_m: hour.wind_height_m,
            mark: Mark {
                source: indexed.source.name.clone(),
                provenance: reading.provenance,
                received: indexed.received,
            },
        })
    });
    match (kept, fresh) {
        (Some(kept), Some(fresh)) if fresh.mark.is_better_than(&kept.mark, start) => Some(fresh),
        (Some(kept), _) => Some(kept),
        (None, fresh) => fresh,
    }
}

/// Sets a value in the merged hour.
fn take(merged: &mut SeriesHour, variable: Variable, offer: Offer) {
    let hour = &mut merged.hour;
    match variable {
        Variable::Wind => hour.wind_height_m = offer.wind_height_m,
        Variable::Rain => {
            hour.rain_probability = chance_of_rain(hour.start, &offer);
            if hour.rain_probability.is_some() {
                merged
                    .marks
                    .insert(Variable::RainProbability, offer.mark.clone());
            }
        }
        _ => {}
    }
    variable.set(hour, Some(offer.reading));
    merged.marks.insert(variable, offer.mark);
}

/// The probability of a rain: 1 where a service told it after the hour, and
/// less than that ahead of it.
fn chance_of_rain(start: DateTime<Utc>, offer: &Offer) -> Option<f64> {
    if offer.mark.provenance != Provenance::Forecast {
        return None;
    }
    if offer.mark.is_told_after(start) {
        return Some(1.0);
    }
    let chance = offer.rain_probability.unwrap_or(UNSTATED_RAIN_PROBABILITY);
    Some(chance.min(SUREST))
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
