//! From sources to the series that a plan takes: services are corrected by
//! what the site's sensors have taught, then everything is merged.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::bias::Bias;
use super::series::{MergeRules, Series, SeriesHour, Source, SourceKind, merge};
use crate::agronomy::weather_record::{GeoPosition, RawHour};

/// A series and how its forecasts were corrected.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembled {
    /// The series.
    pub series: Series,
    /// The correction of each service that has one, by its name.
    pub bias: BTreeMap<String, Bias>,
}

/// Corrects the forecasts to come and merges the sources, best first.
///
/// Every service learns from all sensors together; the sensor named first
/// counts where two have an hour. Hours that are over are not corrected: there
/// the sensor itself speaks.
#[must_use]
pub fn assemble(
    mut sources: Vec<Source>,
    frozen: &[SeriesHour],
    place: &GeoPosition,
    rules: &MergeRules,
) -> Assembled {
    let sensed = sensed(&sources, rules.now);
    let mut bias = BTreeMap::new();
    for source in sources
        .iter_mut()
        .filter(|source| source.kind == SourceKind::Service)
    {
        let learned = Bias::learn(&sensed, &source.hours, rules.now);
        if learned.is_empty() {
            continue;
        }
        let (over, mut to_come): (Vec<RawHour>, Vec<RawHour>) =
            source.hours.iter().partition(|hour| hour.start < rules.now);
        learned.apply(&mut to_come);
        source.hours = over.into_iter().chain(to_come).collect();
        bias.insert(source.name.clone(), learned);
    }
    Assembled {
        series: merge(&sources, frozen, place, rules),
        bias,
    }
}

/// The hours of all sensors, each variable from the first that has it.
fn sensed(sources: &[Source], now: DateTime<Utc>) -> Vec<RawHour> {
    let mut hours: BTreeMap<DateTime<Utc>, RawHour> = BTreeMap::new();
    for source in sources
        .iter()
        .filter(|source| source.kind == SourceKind::Sensor)
    {
        for hour in source.hours.iter().filter(|hour| hour.start < now) {
            let known = hours.entry(hour.start).or_insert(*hour);
            for variable in super::Variable::ALL {
                if variable.of(known).is_none() {
                    if variable == super::Variable::Wind {
                        known.wind_height_m = hour.wind_height_m;
                    }
                    variable.set(known, variable.of(hour));
                }
            }
        }
    }
    hours.into_values().collect()
}
