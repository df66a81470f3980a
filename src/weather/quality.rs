//! Range and consistency checks of hourly weather.
//!
//! Own model throughout: the bounds are common practice for automatic stations
//! without a single source, set so that a real year passes (tests/data). What
//! cannot be is treated as missing, or held where it is off by what a sound
//! instrument shows; what is only doubtful is kept. All of it is told.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::finding::{Finding, FindingKind, Treatment};
use crate::agronomy::atmosphere::pressure_from_elevation_kpa;
use crate::agronomy::radiation::{MJ_PER_M2_H_PER_W_PER_M2, clear_sky};
use crate::agronomy::solar_time::SolarHours;
use crate::agronomy::weather_record::{GeoPosition, RawHour, Reading, WeatherVariable};

/// Air temperatures that are possible where grass grows [°C].
pub const AIR_TEMPERATURE_C: (f64, f64) = (-60.0, 60.0);
/// Relative humidity that a sound sensor shows [%]; above 100 it is held.
pub const RELATIVE_HUMIDITY_PCT: (f64, f64) = (0.0, 105.0);
/// Wind speed [m/s].
pub const WIND_M_PER_S: (f64, f64) = (0.0, 60.0);
/// Rain in an hour [mm].
pub const RAIN_MM: (f64, f64) = (0.0, 150.0);
/// Sunshine in an hour [h].
pub const SUNSHINE_H: (f64, f64) = (0.0, 1.0);
/// Mean global radiation of an hour [W/m²]: a sound pyranometer shows a little
/// below zero at night, which is held at zero; the upper bound is above the
/// solar constant of 1361 W/m².
pub const SOLAR_W_PER_M2: (f64, f64) = (-15.0, 1500.0);
/// Slack on radiation checks [W/m²]: the clock of a station may be some
/// minutes off, and an hour at sunrise is short.
pub const RADIATION_SLACK_W_PER_M2: f64 = 50.0;
/// Radiation over clear-sky radiation that is doubtful.
pub const DOUBTFUL_CLEAR_SKY_RATIO: f64 = 1.2;
/// How long one value may stand before it is doubtful [h]: air temperature,
/// humidity below 97 % and wind above zero 12 h, radiation above zero 4 h,
/// rain above zero 6 h.
pub const STANDING_H: [(WeatherVariable, usize); 5] = [
    (WeatherVariable::AirTemperature, 12),
    (WeatherVariable::RelativeHumidity, 12),
    (WeatherVariable::Wind, 12),
    (WeatherVariable::Solar, 4),
    (WeatherVariable::Rain, 6),
];
/// Pressure off that of the elevation that weather does not explain [kPa].
pub const PRESSURE_TOLERANCE_KPA: f64 = 6.0;
/// Relative humidity that is never above this is no per cent.
pub const LIKE_A_SHARE: f64 = 1.5;
/// Mean wind of a day or more that is doubtful [m/s]: a day-long storm.
pub const DOUBTFUL_MEAN_WIND_M_PER_S: f64 = 15.0;
/// Mean wind of a week or more that is doubtful [m/s]: the windiest coasts
/// where people live have about 8 the year round (from memory).
pub const DOUBTFUL_WEEKS_WIND_M_PER_S: f64 = 8.5;
/// Radiation that is never above this is not in W/m²: a clear noon has about
/// 900 W/m², which is 3.2 MJ/m² in an hour and 0.9 kW/m².
pub const LIKE_MEGAJOULES: f64 = 5.0;

const HOUR: TimeDelta = TimeDelta::hours(1);

/// Tells what is wrong or doubtful, and changes nothing.
#[must_use]
pub fn check(hours: &[RawHour], place: &GeoPosition) -> Vec<Finding> {
    screen(&mut hours.to_vec(), place)
}

/// Tells what is wrong or doubtful, puts the hours in order, leaves out the
/// later of two for the same hour, and treats what cannot be as missing.
pub fn screen(hours: &mut Vec<RawHour>, place: &GeoPosition) -> Vec<Finding> {
    let mut found = Found::default();
    put_in_order(hours, &mut found);
    note_gaps(hours, &mut found);
    hold_ranges(hours, &mut found);
    hold_radiation(hours, place, &mut found);
    note_standing_values(hours, &mut found);
    note_units(hours, place, &mut found);
    note_pressure(hours, place, &mut found);
    found.findings
}

/// Findings in the order of the checks, one for each kind.
#[derive(Default)]
struct Found {
    findings: Vec<Finding>,
    by_key: BTreeMap<(u8, Option<WeatherVariable>), usize>,
}

impl Found {
    /// Counts an hour towards the finding of this key.
    fn hour(
        &mut self,
        key: (u8, Option<WeatherVariable>),
        at: DateTime<Utc>,
        kind: FindingKind,
        treatment: Treatment,
    ) {
        if let Some(&index) = self.by_key.get(&key) {
            self.findings[index].hours += 1;
            return;
        }
        self.by_key.insert(key, self.findings.len());
        self.findings.push(Finding {
            kind,
            treatment,
            hours: 1,
            first: Some(at),
        });
    }
}

fn put_in_order(hours: &mut Vec<RawHour>, found: &mut Found) {
    let mut latest = DateTime::<Utc>::MIN_UTC;
    for hour in hours.iter() {
        if hour.start < latest {
            found.hour(
                (0, None),
                hour.start,
                FindingKind::Unordered,
                Treatment::Sorted,
            );
        }
        latest = latest.max(hour.start);
    }
    // Stable, so that of two rows for one hour the earlier one stays first.
    hours.sort_by_key(|hour| hour.start);
    hours.dedup_by(|later, earlier| {
        if later.start != earlier.start {
            return false;
        }
        let (key, kind) = if later == earlier {
            (1, FindingKind::Duplicate)
        } else {
            (2, FindingKind::ConflictingDuplicate)
        };
        found.hour((key, None), later.start, kind, Treatment::Dropped);
        true
    });
}

fn note_gaps(hours: &[RawHour], found: &mut Found) {
    for pair in hours.windows(2) {
        let missing = (pair[1].start - pair[0].start).num_hours() - 1;
        if missing > 0 {
            found.findings.push(Finding {
                kind: FindingKind::Gap,
                treatment: Treatment::Missing,
                hours: usize::try_from(missing).unwrap_or(usize::MAX),
                first: Some(pair[0].start + HOUR),
            });
        }
    }
}

fn hold_ranges(hours: &mut [RawHour], found: &mut Found) {
    type Check = (
        WeatherVariable,
        (f64, f64),
        fn(&mut RawHour) -> &mut Option<Reading>,
    );
    let checks: [Check; 5] = [
        (WeatherVariable::AirTemperature, AIR_TEMPERATURE_C, |hour| {
            &mut hour.air_temperature_c
        }),
        (
            WeatherVariable::RelativeHumidity,
            RELATIVE_HUMIDITY_PCT,
            |hour| &mut hour.relative_humidity_pct,
        ),
        (WeatherVariable::Wind, WIND_M_PER_S, |hour| {
            &mut hour.wind_m_per_s
        }),
        (WeatherVariable::Rain, RAIN_MM, |hour| &mut hour.rain_mm),
        (WeatherVariable::Sunshine, SUNSHINE_H, |hour| {
            &mut hour.sunshine_h
        }),
    ];
    for hour in hours {
        for (variable, (least, most), field) in checks {
            let start = hour.start;
            let reading = field(hour);
            if reading.is_some_and(|reading| !(least..=most).contains(&reading.value)) {
                *reading = None;
                let kind = FindingKind::Impossible {
                    variable,
                    least,
                    most,
                };
                found.hour((3, Some(variable)), start, kind, Treatment::Missing);
            }
        }
        if let Some(humidity) = hour
            .relative_humidity_pct
            .as_mut()
            .filter(|it| it.value > 100.0)
        {
            humidity.value = 100.0;
            let kind = FindingKind::HumidityAboveSaturation;
            found.hour((4, None), hour.start, kind, Treatment::Held);
        }
    }
}

fn hold_radiation(hours: &mut [RawHour], place: &GeoPosition, found: &mut Found) {
    let mut sun = SolarHours::new(place);
    for hour in hours {
        let Some(reading) = hour.solar_w_per_m2 else {
            continue;
        };
        let ra = sun.hour(hour.start).extraterrestrial_mj_per_m2_h;
        let Some((key, kind, treatment)) = judge_radiation(reading.value, ra, place.elevation_m)
        else {
            continue;
        };
        match treatment {
            Treatment::Held => {
                hour.solar_w_per_m2 = Some(Reading {
                    value: 0.0,
                    ..reading
                })
            }
            Treatment::Missing => hour.solar_w_per_m2 = None,
            _ => {}
        }
        found.hour((key, None), hour.start, kind, treatment);
    }
}

/// Judges radiation [W/m²] against Ra of its hour [MJ m⁻² h⁻¹].
fn judge_radiation(
    solar_w_per_m2: f64,
    extraterrestrial_mj_per_m2_h: f64,
    elevation_m: f64,
) -> Option<(u8, FindingKind, Treatment)> {
    let top = extraterrestrial_mj_per_m2_h / MJ_PER_M2_H_PER_W_PER_M2;
    let (least, most) = SOLAR_W_PER_M2;
    if !(least..=most).contains(&solar_w_per_m2) {
        let variable = WeatherVariable::Solar;
        let kind = FindingKind::Impossible {
            variable,
            least,
            most,
        };
        return Some((5, kind, Treatment::Missing));
    }
    if solar_w_per_m2 < 0.0 {
        return Some((6, FindingKind::RadiationBelowZero, Treatment::Held));
    }
    if solar_w_per_m2 > top + RADIATION_SLACK_W_PER_M2 {
        return Some(if top > 0.0 {
            (
                7,
                FindingKind::RadiationAboveExtraterrestrial,
                Treatment::Missing,
            )
        } else {
            (8, FindingKind::RadiationAtNight, Treatment::Missing)
        });
    }
    let doubtful = DOUBTFUL_CLEAR_SKY_RATIO * clear_sky(top, elevation_m);
    (solar_w_per_m2 > doubtful + RADIATION_SLACK_W_PER_M2).then_some((
        9,
        FindingKind::RadiationAboveClearSky,
        Treatment::Kept,
    ))
}

fn value_that_may_stand(variable: WeatherVariable, hour: &RawHour) -> Option<f64> {
    let reading = match variable {
        WeatherVariable::AirTemperature => hour.air_temperature_c,
        WeatherVariable::RelativeHumidity => {
            hour.relative_humidity_pct.filter(|it| it.value < 97.0)
        }
        WeatherVariable::Wind => hour.wind_m_per_s.filter(|it| it.value > 0.0),
        WeatherVariable::Solar => hour.solar_w_per_m2.filter(|it| it.value > 0.0),
        WeatherVariable::Rain => hour.rain_mm.filter(|it| it.value > 0.0),
        WeatherVariable::Sunshine
        | WeatherVariable::RainProbability
        | WeatherVariable::Pressure => None,
    };
    reading.map(|reading| reading.value)
}

fn note_standing_values(hours: &[RawHour], found: &mut Found) {
    for (variable, longest) in STANDING_H {
        let stands = |a: &RawHour, b: &RawHour| {
            let value = value_that_may_stand(variable, a);
            value.map(f64::to_bits) == value_that_may_stand(variable, b).map(f64::to_bits)
        };
        for run in hours.chunk_by(stands) {
            let Some(value) = value_that_may_stand(variable, &run[0]) else {
                continue;
            };
            if run.len() >= longest {
                found.findings.push(Finding {
                    kind: FindingKind::Stuck { variable, value },
                    treatment: Treatment::Kept,
                    hours: run.len(),
                    first: Some(run[0].start),
                });
            }
        }
    }
}

/// Columns in another unit than their heading says. The values are kept: that
/// they are wrong is likely, not certain.
fn note_units(hours: &[RawHour], place: &GeoPosition, found: &mut Found) {
    const DAY_H: usize = 24;
    let mut like = |variable, readings: &[f64], seen: String, unit| {
        found.findings.push(Finding {
            kind: FindingKind::LooksLike {
                variable,
                seen,
                unit,
            },
            treatment: Treatment::Kept,
            hours: readings.len(),
            first: hours.first().map(|hour| hour.start),
        });
    };
    let values = |of: fn(&RawHour) -> Option<Reading>| -> Vec<f64> {
        let readings = hours.iter().filter_map(of);
        readings.map(|reading| reading.value).collect()
    };
    let most = |values: &[f64]| values.iter().copied().fold(f64::MIN, f64::max);

    let humidity = values(|hour| hour.relative_humidity_pct);
    if humidity.len() >= DAY_H && most(&humidity) <= LIKE_A_SHARE {
        let seen = format!("never above {}", most(&humidity));
        let unit = "a share of 1, and per cent (0 to 100) are wanted";
        like(WeatherVariable::RelativeHumidity, &humidity, seen, unit);
    }
    let wind = values(|hour| hour.wind_m_per_s);
    let mean = mean_of(&wind);
    let doubtful = match wind.len() {
        0..DAY_H => f64::INFINITY,
        hours if hours < 7 * DAY_H => DOUBTFUL_MEAN_WIND_M_PER_S,
        _ => DOUBTFUL_WEEKS_WIND_M_PER_S,
    };
    if mean > doubtful {
        let seen = format!("{mean:.1} on the mean");
        let unit = "km/h, mph or knots, and m/s are wanted";
        like(WeatherVariable::Wind, &wind, seen, unit);
    }
    let solar = values(|hour| hour.solar_w_per_m2);
    if solar.len() >= DAY_H
        && (0.0..=LIKE_MEGAJOULES).contains(&most(&solar))
        && strong_sun(hours, place)
    {
        let seen = format!("never above {}", most(&solar));
        let unit = "MJ/m² or kW/m², and W/m² are wanted";
        like(WeatherVariable::Solar, &solar, seen, unit);
    }
}

/// Whether the sun of some hour with radiation would be strong without air:
/// more than 400 W/m², of which even the darkest day lets through 20.
fn strong_sun(hours: &[RawHour], place: &GeoPosition) -> bool {
    const STRONG_W_PER_M2: f64 = 400.0;
    let mut sun = SolarHours::new(place);
    hours
        .iter()
        .filter(|hour| hour.solar_w_per_m2.is_some())
        .any(|hour| {
            let ra = sun.hour(hour.start).extraterrestrial_mj_per_m2_h;
            ra / MJ_PER_M2_H_PER_W_PER_M2 > STRONG_W_PER_M2
        })
}

/// Mean of the values; 0 of none.
fn mean_of(values: &[f64]) -> f64 {
    let (sum, count) = values
        .iter()
        .fold((0.0, 0_u32), |(sum, count), value| (sum + value, count + 1));
    if count == 0 {
        return 0.0;
    }
    sum / f64::from(count)
}

fn note_pressure(hours: &[RawHour], place: &GeoPosition, found: &mut Found) {
    let readings = hours.iter().filter_map(|hour| hour.pressure_kpa);
    let readings: Vec<f64> = readings.map(|reading| reading.value).collect();
    if readings.is_empty() {
        return;
    }
    let mean_kpa = mean_of(&readings);
    let expected_kpa = pressure_from_elevation_kpa(place.elevation_m);
    if (mean_kpa - expected_kpa).abs() > PRESSURE_TOLERANCE_KPA {
        found.findings.push(Finding {
            kind: FindingKind::PressureOffElevation {
                mean_kpa,
                expected_kpa,
            },
            treatment: Treatment::Ignored,
            hours: 0,
            first: None,
        });
    }
}

#[cfg(test)]
mod tests;
