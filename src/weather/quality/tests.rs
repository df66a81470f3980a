//! Each check on a small series.

use chrono::{DateTime, TimeDelta, Utc};

use super::*;
use crate::agronomy::weather_record::Provenance;

const PLACE: GeoPosition = GeoPosition {
    latitude_deg: 52.0,
    longitude_deg: -1.0,
    elevation_m: 80.0,
    coast: false,
};

fn measured(value: f64) -> Option<Reading> {
    Some(Reading {
        value,
        provenance: Provenance::Measured,
    })
}

/// Hours of an invented June in which nothing is doubtful.
fn series(hours: i64) -> Vec<RawHour> {
    let first: DateTime<Utc> = "2023-06-10T00:00:00Z".parse().expect("valid");
    (0..hours)
        .map(|hour| {
            let wiggle = f64::from(i32::try_from(hour % 7).expect("small"));
            let is_day = (8..16).contains(&(hour % 24));
            RawHour {
                start: first + TimeDelta::hours(hour),
                air_temperature_c: measured(15.0 + wiggle),
                relative_humidity_pct: measured(60.0 + wiggle),
                wind_m_per_s: measured(2.0 + wiggle / 10.0),
                wind_height_m: 10.0,
                solar_w_per_m2: measured(if is_day { 300.0 + wiggle } else { 0.0 }),
                sunshine_h: None,
                rain_mm: measured(0.0),
                rain_probability: None,
                pressure_kpa: measured(100.4),
            }
        })
        .collect()
}

fn told(hours: &[RawHour]) -> Vec<(FindingKind, Treatment, usize)> {
    check(hours, &PLACE)
        .into_iter()
        .map(|finding| (finding.kind, finding.treatment, finding.hours))
        .collect()
}

#[test]
fn sound_hours_give_no_finding() {
    assert_eq!(told(&series(72)), []);
}

#[test]
fn impossible_values_become_missing_and_are_told() {
    let mut hours = series(24);
    hours[3].air_temperature_c = measured(-99.9);
    hours[4].relative_humidity_pct = measured(-1.0);
    hours[5].wind_m_per_s = measured(61.0);
    hours[6].rain_mm = measured(151.0);
    hours[7].solar_w_per_m2 = measured(-99.0);
    hours[8].relative_humidity_pct = measured(160.0);
    let impossible = |variable, (least, most)| FindingKind::Impossible {
        variable,
        least,
        most,
    };
    let humidity = impossible(WeatherVariable::RelativeHumidity, RELATIVE_HUMIDITY_PCT);
    assert_eq!(
        told(&hours),
        [
            (
                impossible(WeatherVariable::AirTemperature, AIR_TEMPERATURE_C),
                Treatment::Missing,
                1
            ),
            (humidity, Treatment::Missing, 2),
            (
                impossible(WeatherVariable::Wind, WIND_M_PER_S),
                Treatment::Missing,
                1
            ),
            (
                impossible(WeatherVariable::Rain, RAIN_MM),
                Treatment::Missing,
                1
            ),
            (
                impossible(WeatherVariable::Solar, SOLAR_W_PER_M2),
                Treatment::Missing,
                1
            ),
        ]
    );
    let findings = screen(&mut hours, &PLACE);
    assert_eq!(findings.len(), 5);
    assert_eq!(hours[3].air_temperature_c, None);
    assert_eq!(hours[4].relative_humidity_pct, None);
    assert_eq!(hours[7].solar_w_per_m2, None);
}

#[test]
fn what_a_sound_instrument_shows_is_held_and_told() {
    let mut hours = series(24);
    hours[2].relative_humidity_pct = measured(102.0);
    hours[2].solar_w_per_m2 = measured(-3.0);
    assert_eq!(
        told(&hours),
        [
            (FindingKind::HumidityAboveSaturation, Treatment::Held, 1),
            (FindingKind::RadiationBelowZero, Treatment::Held, 1),
        ]
    );
    screen(&mut hours, &PLACE);
    assert_eq!(hours[2].relative_humidity_pct, measured(100.0));
    assert_eq!(hours[2].solar_w_per_m2, measured(0.0));
}

#[test]
fn radiation_is_judged_by_the_sun() {
    let mut hours = series(24);
    hours[1].solar_w_per_m2 = measured(200.0);
    hours[6].solar_w_per_m2 = measured(1100.0);
    hours[12].solar_w_per_m2 = measured(1130.0);
    assert_eq!(
        told(&hours),
        [
            (FindingKind::RadiationAtNight, Treatment::Missing, 1),
            (
                FindingKind::RadiationAboveExtraterrestrial,
                Treatment::Missing,
                1
            ),
            (FindingKind::RadiationAboveClearSky, Treatment::Kept, 1),
        ]
    );
}

#[test]
fn a_stuck_sensor_is_told_and_kept() {
    let mut hours = series(48);
    for hour in &mut hours[10..22] {
        hour.air_temperature_c = measured(17.3);
    }
    for hour in &mut hours[20..40] {
        hour.wind_m_per_s = measured(0.0);
        hour.relative_humidity_pct = measured(100.0);
    }
    let variable = WeatherVariable::AirTemperature;
    let kind = FindingKind::Stuck {
        variable,
        value: 17.3,
    };
    assert_eq!(told(&hours), [(kind, Treatment::Kept, 12)]);
}

#[test]
fn order_duplicates_and_gaps_are_told() {
    let mut hours = series(48);
    hours.remove(30);
    let mut other = hours[5];
    hours.insert(6, other);
    other.air_temperature_c = measured(1.0);
    hours.insert(7, other);
    hours.swap(20, 21);
    assert_eq!(
        told(&hours),
        [
            (FindingKind::Unordered, Treatment::Sorted, 1),
            (FindingKind::Duplicate, Treatment::Dropped, 1),
            (FindingKind::ConflictingDuplicate, Treatment::Dropped, 1),
            (FindingKind::Gap, Treatment::Missing, 1),
        ]
    );
    screen(&mut hours, &PLACE);
    assert_eq!(hours.len(), 47);
    assert!(hours.is_sorted_by_key(|hour| hour.start));
    assert_eq!(hours[5].air_temperature_c, measured(20.0));
}

#[test]
fn pressure_taken_to_sea_level_is_told() {
    let place = GeoPosition {
        elevation_m: 1500.0,
        coast: false,
        ..PLACE
    };
    let findings = check(&series(24), &place);
    let [finding] = &findings[..] else {
        panic!("{findings:?}")
    };
    assert!(matches!(
        finding.kind,
        FindingKind::PressureOffElevation { .. }
    ));
}

#[test]
fn values_in_another_unit_are_doubted_and_kept() {
    let in_unit = |change: fn(&mut RawHour)| {
        let mut hours = series(200);
        hours.iter_mut().for_each(change);
        let before = hours.clone();
        let found: Vec<String> = screen(&mut hours, &PLACE)
            .into_iter()
            .filter(|finding| matches!(finding.kind, FindingKind::LooksLike { .. }))
            .map(|finding| finding.to_string())
            .collect();
        assert_eq!(hours, before, "a doubt repairs nothing");
        found.join("; ")
    };
    assert_eq!(in_unit(|_| ()), "");
    let share = in_unit(|hour| hour.relative_humidity_pct = measured(0.66));
    assert!(share.contains("looks like a share of 1"), "{share}");
    // 2.0 to 2.6 m/s in km/h are 7.2 to 9.4: a mean that a windy coast has; 4 m/s are 14.4 km/h.
    let wind = in_unit(|hour| {
        hour.wind_m_per_s = hour.wind_m_per_s.map(|it| Reading {
            value: it.value * 2.0 * 3.6,
            ..it
        })
    });
    assert!(wind.contains("looks like km/h"), "{wind}");
    let solar = in_unit(|hour| {
        hour.solar_w_per_m2 = hour.solar_w_per_m2.map(|it| Reading {
            value: it.value * 0.0036,
            ..it
        })
    });
    assert!(solar.contains("looks like MJ/m²"), "{solar}");
}
