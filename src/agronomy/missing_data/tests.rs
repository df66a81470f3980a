//! Each rule on a small series, and what is refused.

use chrono::{DateTime, TimeDelta, Utc};

use super::*;
use crate::agronomy::radiation::DaySun;
use crate::agronomy::weather_record::Reading;

/// An invented place in the shires; its solar noon is close to 12:00 UTC.
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

fn at(hour: i64) -> DateTime<Utc> {
    "2023-06-10T00:00:00Z"
        .parse::<DateTime<Utc>>()
        .expect("valid")
        + TimeDelta::hours(hour)
}

/// Hours with 10 °C at 4 and 22 °C at 16 o'clock, everything measured.
fn series(hours: i64) -> Vec<RawHour> {
    (0..hours)
        .map(|hour| {
            let from_warmest = f64::from(i32::try_from((hour % 24 - 16).abs()).expect("small"));
            RawHour {
                start: at(hour),
                air_temperature_c: measured(22.0 - from_warmest.min(12.0)),
                relative_humidity_pct: measured(70.0),
                wind_m_per_s: measured(3.0),
                wind_height_m: 10.0,
                solar_w_per_m2: measured(if (6..18).contains(&(hour % 24)) {
                    300.0
                } else {
                    0.0
                }),
                sunshine_h: None,
                rain_mm: measured(0.0),
                rain_probability: None,
                pressure_kpa: None,
            }
        })
        .collect()
}

fn notes(completed: &Completed) -> Vec<(WeatherVariable, EstimateRule, usize)> {
    completed
        .notes
        .iter()
        .map(|note| (note.variable, note.rule, note.hours))
        .collect()
}

#[track_caller]
fn assert_near(actual: f64, expected: f64) {
    assert!(
        (actual - expected).abs() < 1e-9,
        "{actual} is not {expected}"
    );
}

#[test]
fn complete_hours_stay_as_measured_without_a_note() -> Result<(), CompletionError> {
    let completed = complete(&series(48), &PLACE)?;
    assert_eq!(completed.hours.len(), 48);
    assert_eq!(notes(&completed), []);
    let hour = completed.hours[12];
    assert_eq!(hour.provenance.solar, Provenance::Measured);
    assert_near(hour.solar_mj_per_m2_h, 1.08);
    assert_near(hour.pressure_kpa, pressure_from_elevation_kpa(80.0));
    assert_near(hour.wind_2m_m_per_s, 3.0 * 4.87 / (678.0_f64 - 5.42).ln());
    Ok(())
}

#[test]
fn temperature_alone_gives_all_the_rest() -> Result<(), CompletionError> {
    let mut raw = series(48);
    for hour in &mut raw {
        hour.relative_humidity_pct = None;
        hour.wind_m_per_s = None;
        hour.solar_w_per_m2 = None;
        hour.rain_mm = None;
    }
    let completed = complete(&raw, &PLACE)?;
    assert_eq!(
        notes(&completed),
        [
            (
                WeatherVariable::RelativeHumidity,
                EstimateRule::DailyMinimum,
                48
            ),
            (WeatherVariable::Wind, EstimateRule::DefaultWind, 48),
            (WeatherVariable::Solar, EstimateRule::TemperatureRange, 48),
            (WeatherVariable::Rain, EstimateRule::NoRain, 48),
        ]
    );
    // FAO-56 eq. 48 and 50: dew point 10 °C; kRs √12 of Ra over the day.
    for hour in &completed.hours {
        assert_near(
            hour.actual_vapour_pressure_kpa,
            saturation_vapour_pressure_kpa(10.0),
        );
        assert_near(hour.wind_2m_m_per_s, 2.0);
        assert_eq!(hour.provenance.solar, Provenance::Estimated);
    }
    let solar: f64 = completed.hours[..24]
        .iter()
        .map(|hour| hour.solar_mj_per_m2_h)
        .sum();
    let day = DaySun::new(52.0_f64.to_radians(), 161);
    let expected = 0.16 * 12.0_f64.sqrt() * day.extraterrestrial_mj_per_m2_d();
    // The hours of the UTC day are not quite those of the solar day.
    assert!(
        (solar / expected - 1.0).abs() < 0.005,
        "{solar} for {expected}"
    );
    Ok(())
}

/// FAO-56 eq. 50: kRs 0.16 inland and 0.19 on a coast. The first was once taken
/// everywhere: 16 % too little sun, and so too little demand.
#[test]
fn on_a_coast_the_same_range_of_temperature_means_more_sun() -> Result<(), CompletionError> {
    let mut raw = series(48);
    for hour in &mut raw {
        hour.solar_w_per_m2 = None;
        hour.sunshine_h = None;
        // A small range, far from a clear sky.
        hour.air_temperature_c = hour.air_temperature_c.map(|reading| Reading {
            value: 15.0 + 0.2 * (reading.value - 15.0),
            ..reading
        });
    }
    let coast = GeoPosition {
        coast: true,
        ..PLACE
    };
    let (inland, coast) = (complete(&raw, &PLACE)?, complete(&raw, &coast)?);
    for (inland, coast) in inland.hours.iter().zip(&coast.hours) {
        let expected = inland.solar_mj_per_m2_h * 0.19 / 0.16;
        assert_near(coast.solar_mj_per_m2_h, expected);
    }
    let rules: Vec<_> = notes(&coast).iter().map(|note| note.1).collect();
    assert!(
        rules.contains(&EstimateRule::CoastalTemperatureRange),
        "{rules:?}"
    );
    Ok(())
}

#[test]
fn sunshine_comes_before_temperature_range() -> Result<(), CompletionError> {
    let mut raw = series(24);
    for hour in &mut raw {
        hour.solar_w_per_m2 = None;
        hour.sunshine_h = measured(1.0);
    }
    let completed = complete(&raw, &PLACE)?;
    assert_eq!(
        notes(&completed),
        [(WeatherVariable::Solar, EstimateRule::Sunshine, 24)]
    );
    let day = DaySun::new(52.0_f64.to_radians(), 161);
    let noon = day.hour(day.time_angle_rad(12.5, -1.0));
    // Full sunshine, FAO-56 eq. 35: three quarters of Ra.
    let expected = 0.75 * noon.extraterrestrial_mj_per_m2_h;
    assert_near(completed.hours[12].solar_mj_per_m2_h, expected);
    Ok(())
}

#[test]
fn three_missing_hours_lie_on_a_line_and_four_come_from_another_day() -> Result<(), CompletionError>
{
    let mut raw = series(96);
    raw.drain(34..38);
    raw.drain(9..12);
    let completed = complete(&raw, &PLACE)?;
    assert_eq!(completed.hours.len(), 96);
    let whole = complete(&series(96), &PLACE)?;
    for index in 9..12 {
        let (made, true_one) = (completed.hours[index], whole.hours[index]);
        assert_near(made.air_temperature_c, true_one.air_temperature_c);
        assert_eq!(made.provenance.air_temperature, Provenance::Estimated);
    }
    let lent = (completed.hours[36], whole.hours[12]);
    assert_near(lent.0.air_temperature_c, lent.1.air_temperature_c);
    assert_near(lent.0.solar_mj_per_m2_h, lent.1.solar_mj_per_m2_h);
    assert_eq!(lent.0.provenance.rain, Provenance::Estimated);
    let told = notes(&completed);
    assert!(told.contains(&(WeatherVariable::Wind, EstimateRule::BetweenNeighbours, 3)));
    assert!(told.contains(&(
        WeatherVariable::AirTemperature,
        EstimateRule::NeighbouringDay,
        4
    )));
    assert!(told.contains(&(WeatherVariable::Rain, EstimateRule::NoRain, 7)));
    Ok(())
}

#[test]
fn six_days_can_be_filled_from_both_sides_and_one_hour_more_cannot() {
    let mut raw = series(24 * 14);
    raw.drain(24 * 4..24 * 10);
    assert!(complete(&raw, &PLACE).is_ok());
    let mut raw = series(24 * 14);
    raw.drain(24 * 4..24 * 10 + 1);
    let gap = CompletionError::GapTooLong {
        from: at(24 * 4),
        hours: 145,
    };
    assert_eq!(complete(&raw, &PLACE), Err(gap));
}

#[test]
fn rows_without_temperature_are_a_gap_too() {
    let mut raw = series(24 * 9);
    for hour in &mut raw[24 * 2..24 * 8 + 2] {
        hour.air_temperature_c = None;
    }
    let gap = CompletionError::GapTooLong {
        from: at(24 * 2),
        hours: 24 * 6 + 2,
    };
    assert_eq!(complete(&raw, &PLACE), Err(gap));
    for hour in &mut raw {
        hour.air_temperature_c = None;
    }
    let gap = CompletionError::GapTooLong {
        from: at(0),
        hours: 24 * 9,
    };
    assert_eq!(complete(&raw, &PLACE), Err(gap));
}

#[test]
fn what_is_not_a_series_is_refused() {
    assert_eq!(complete(&[], &PLACE), Err(CompletionError::Empty));
    let mut raw = series(5);
    raw.swap(1, 3);
    assert_eq!(
        complete(&raw, &PLACE),
        Err(CompletionError::OutOfOrder { at: at(2) })
    );
    let mut raw = series(5);
    raw[3].start += TimeDelta::minutes(20);
    let at = raw[3].start;
    assert_eq!(
        complete(&raw, &PLACE),
        Err(CompletionError::OffTheHour { at })
    );
}

#[test]
fn one_hour_at_night_is_enough_and_says_what_it_took() -> Result<(), CompletionError> {
    let completed = complete(&series(1), &PLACE)?;
    let note = (WeatherVariable::Solar, EstimateRule::DefaultCloudiness, 1);
    assert_eq!(notes(&completed), [note]);
    assert_near(completed.hours[0].rs_over_rso, DEFAULT_CLOUDINESS_RATIO);
    Ok(())
}

#[test]
fn polar_night_has_no_clear_sky_and_still_gives_finite_hours() -> Result<(), CompletionError> {
    let place = GeoPosition {
        latitude_deg: 80.0,
        ..PLACE
    };
    let mut raw = series(48);
    for hour in &mut raw {
        hour.start += TimeDelta::days(190);
        hour.solar_w_per_m2 = None;
    }
    let completed = complete(&raw, &place)?;
    for hour in &completed.hours {
        assert!(!hour.daylight && hour.rs_over_rso.is_finite());
        assert_near(hour.solar_mj_per_m2_h, 0.0);
    }
    Ok(())
}
