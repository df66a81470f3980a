//! Measured hours from the sensors.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use super::watch::Watch;
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use crate::site::Measures;

/// Height of the wind where nobody measures it; without meaning there [m].
const NO_WIND_HEIGHT_M: f64 = 2.0;

/// The hours that were measured whole. Of two sensors for one variable the
/// first in the site file counts.
pub(super) fn measured_hours(watches: &[Watch], now: DateTime<Utc>) -> Vec<RawHour> {
    let hours: BTreeSet<DateTime<Utc>> = watches.iter().flat_map(Watch::known_hours).collect();
    let is_over = |hour: &DateTime<Utc>| *hour + TimeDelta::hours(1) <= now;
    let hours = hours.into_iter().filter(is_over);
    hours.filter_map(|hour| one_hour(watches, hour)).collect()
}

fn one_hour(watches: &[Watch], start: DateTime<Utc>) -> Option<RawHour> {
    let mut hour = RawHour {
        start,
        air_temperature_c: None,
        relative_humidity_pct: None,
        wind_m_per_s: None,
        wind_height_m: NO_WIND_HEIGHT_M,
        solar_w_per_m2: None,
        sunshine_h: None,
        rain_mm: None,
        rain_probability: None,
        pressure_kpa: None,
    };
    let mut is_known = false;
    for watch in watches {
        let (place, value) = match watch.sensor.measures {
            Measures::AirTemperature => (&mut hour.air_temperature_c, watch.mean(start)),
            Measures::RelativeHumidity => {
                let value = watch.mean(start).map(|pct| pct.clamp(0.0, 100.0));
                (&mut hour.relative_humidity_pct, value)
            }
            Measures::Wind { height_m } => {
                let value = watch.mean(start);
                if hour.wind_m_per_s.is_none() && value.is_some() {
                    hour.wind_height_m = height_m;
                }
                (&mut hour.wind_m_per_s, value)
            }
            Measures::Solar => {
                let value = watch.mean(start).map(|solar| solar.max(0.0));
                (&mut hour.solar_w_per_m2, value)
            }
            Measures::RainTotal | Measures::RainAmount => (&mut hour.rain_mm, watch.rain_mm(start)),
            Measures::SoilMoisture { .. } => continue,
        };
        if place.is_none() {
            *place = value.map(|value| Reading {
                value,
                provenance: Provenance::Measured,
            });
            is_known |= place.is_some();
        }
    }
    if hour.rain_mm.is_some() {
        hour.rain_probability = Some(1.0);
    }
    is_known.then_some(hour)
}
