//! A series is worked as its hours are one by one.

use chrono::TimeDelta;
use proptest::prelude::*;

use super::*;
use crate::agronomy::missing_data::complete;
use crate::agronomy::reference_et::hourly_et0_mm;
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};

fn measured(value: f64) -> Option<Reading> {
    Some(Reading {
        value,
        provenance: Provenance::Measured,
    })
}

/// ET0 by the way of the rest of the program.
fn one_by_one(hours: &MeasuredHours<'_>, place: &GeoPosition, method: EtMethod) -> Vec<f64> {
    let raw: Vec<RawHour> = (0_i32..)
        .zip(hours.air_temperature_c)
        .enumerate()
        .map(|(index, (hour, &temperature))| RawHour {
            start: hours.start + TimeDelta::hours(i64::from(hour)),
            air_temperature_c: measured(temperature),
            relative_humidity_pct: measured(hours.relative_humidity_pct[index]),
            wind_m_per_s: measured(hours.wind_m_per_s[index]),
            wind_height_m: hours.wind_height_m,
            solar_w_per_m2: measured(hours.solar_w_per_m2[index]),
            sunshine_h: None,
            rain_mm: measured(0.0),
            rain_probability: None,
            pressure_kpa: None,
        })
        .collect();
    let completed = complete(&raw, place).expect("complete hours");
    completed
        .hours
        .iter()
        .map(|hour| hourly_et0_mm(&hour.et_hour(), method))
        .collect()
}

proptest! {
    #[test]
    fn a_series_gives_what_its_hours_give(
        start_h in 450_000_i64..480_000,
        rows in prop::collection::vec((-20.0..45.0, 5.0..100.0, 0.0..15.0, 0.0..1000.0), 1..200),
        latitude_deg in -89.0..89.0_f64,
        longitude_deg in -180.0..180.0_f64,
        is_asce in any::<bool>(),
    ) {
        let column = |get: fn(&(f64, f64, f64, f64)) -> f64| rows.iter().map(get).collect::<Vec<_>>();
        let (temperature, humidity) = (column(|row| row.0), column(|row| row.1));
        let (wind, solar) = (column(|row| row.2), column(|row| row.3));
        let hours = MeasuredHours {
            start: DateTime::UNIX_EPOCH + TimeDelta::hours(start_h),
            air_temperature_c: &temperature,
            relative_humidity_pct: &humidity,
            wind_m_per_s: &wind,
            wind_height_m: 10.0,
            solar_w_per_m2: &solar,
        };
        let place = GeoPosition { latitude_deg, longitude_deg, elevation_m: 100.0, coast: false };
        let method = if is_asce { EtMethod::Asce } else { EtMethod::Fao56 };
        let at_once = hourly_et0_of_series(&hours, &place, method).expect("equal lengths");
        for (at_once, alone) in at_once.iter().zip(one_by_one(&hours, &place, method)) {
            prop_assert!((at_once - alone).abs() < 1e-9, "{at_once} for {alone}");
        }
    }
}

#[test]
fn slices_of_unequal_length_are_refused() {
    let hours = MeasuredHours {
        start: DateTime::UNIX_EPOCH,
        air_temperature_c: &[20.0, 21.0],
        relative_humidity_pct: &[50.0],
        wind_m_per_s: &[1.0, 1.0],
        wind_height_m: 2.0,
        solar_w_per_m2: &[0.0, 0.0],
    };
    let place = GeoPosition {
        latitude_deg: 0.0,
        longitude_deg: 0.0,
        elevation_m: 0.0,
        coast: false,
    };
    let outcome = hourly_et0_of_series(&hours, &place, EtMethod::Fao56);
    assert_eq!(outcome, Err(SeriesError::UnequalLengths));
}
