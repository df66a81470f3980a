//! Measured hours from the sensors.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};

use super::watch::Watch;
use crate::agronomy::weather_record::{Provenance, RawHour, Reading, WeatherVariable};
use crate::site::Measures;
use crate::store::ProbeHour;
use crate::weather::series::{Mark, SeriesHour};

/// Height of the wind where nobody measures it; without meaning there [m].
const NO_WIND_HEIGHT_M: f64 = 2.0;

/// The hours that were measured whole. Of two sensors for one variable the
/// first in the site file counts.
pub(super) fn measured_hours(watches: &[Watch], now: DateTime<Utc>) -> Vec<SeriesHour> {
    let hours: BTreeSet<DateTime<Utc>> = watches.iter().flat_map(Watch::known_hours).collect();
    let is_over = |hour: &DateTime<Utc>| *hour + TimeDelta::hours(1) <= now;
    let hours = hours.into_iter().filter(is_over);
    hours.filter_map(|hour| one_hour(watches, hour)).collect()
}

fn one_hour(watches: &[Watch], start: DateTime<Utc>) -> Option<SeriesHour> {
    let mut hour = RawHour::empty(start, NO_WIND_HEIGHT_M);
    let mut marks = BTreeMap::new();
    for watch in watches {
        let Some((variable, value)) = measured(watch, start) else {
            continue;
        };
        if variable.of(&hour).is_some() {
            continue;
        }
        if let Measures::Wind { height_m } = watch.sensor.measures {
            hour.wind_height_m = height_m;
        }
        let provenance = Provenance::Measured;
        variable.set(&mut hour, Some(Reading { value, provenance }));
        let mark = Mark {
            source: watch.sensor.name.clone(),
            provenance,
            received: Some(start + TimeDelta::hours(1)),
        };
        if variable == WeatherVariable::Rain {
            hour.rain_probability = Some(1.0);
            marks.insert(WeatherVariable::RainProbability, mark.clone());
        }
        marks.insert(variable, mark);
    }
    (!marks.is_empty()).then_some(SeriesHour { hour, marks })
}

/// What a sensor tells of the weather of an hour.
fn measured(watch: &Watch, start: DateTime<Utc>) -> Option<(WeatherVariable, f64)> {
    let (variable, value) = match watch.sensor.measures {
        Measures::AirTemperature => (WeatherVariable::AirTemperature, watch.mean(start)),
        Measures::RelativeHumidity => {
            let value = watch.mean(start).map(|pct| pct.clamp(0.0, 100.0));
            (WeatherVariable::RelativeHumidity, value)
        }
        Measures::Wind { .. } => (WeatherVariable::Wind, watch.mean(start)),
        Measures::Solar => {
            let value = watch.mean(start).map(|solar| solar.max(0.0));
            (WeatherVariable::Solar, value)
        }
        Measures::RainTotal | Measures::RainAmount => (WeatherVariable::Rain, watch.rain_mm(start)),
        Measures::SoilMoisture { .. } => return None,
    };
    Some((variable, value?))
}

/// What the probes in the soil said, of each zone the first of the site file
/// that said anything of the hour.
pub(super) fn probe_hours(watches: &[Watch], now: DateTime<Utc>) -> Vec<ProbeHour> {
    let mut hours: BTreeMap<(DateTime<Utc>, usize), ProbeHour> = BTreeMap::new();
    for watch in watches {
        let Measures::SoilMoisture { zone, weight } = watch.sensor.measures else {
            continue;
        };
        let is_over = |hour: &DateTime<Utc>| *hour + TimeDelta::hours(1) <= now;
        for start in watch.known_hours().filter(is_over) {
            let Some(content_pct) = watch.mean(start) else {
                continue;
            };
            hours.entry((start, zone)).or_insert_with(|| ProbeHour {
                zone,
                start,
                seen: start,
                sensor: watch.sensor.name.clone(),
                content: content_pct / 100.0,
                weight,
            });
        }
    }
    hours.into_values().collect()
}
