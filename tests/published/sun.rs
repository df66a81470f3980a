//! Sunrise, solar noon and sunset against NREL SPA (pvlib), 40 places and
//! dates; tolerances: tests/data/README.md.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use soakmist::agronomy::sun::{SunDay, SunError, sun_day};

use crate::near::rows;

const NOON_TOLERANCE: TimeDelta = TimeDelta::seconds(30);

fn tolerance(latitude_deg: f64) -> TimeDelta {
    match latitude_deg.abs() {
        latitude if latitude < 60.0 => TimeDelta::seconds(60),
        latitude if latitude <= 66.0 => TimeDelta::minutes(3),
        _ => TimeDelta::minutes(5),
    }
}

#[track_caller]
fn assert_time(actual: Option<DateTime<Utc>>, expected: &str, tolerance: TimeDelta, what: &str) {
    if expected.is_empty() {
        assert_eq!(actual, None, "{what}");
        return;
    }
    let expected = DateTime::parse_from_rfc3339(expected)
        .expect("a time")
        .to_utc();
    let actual = actual.unwrap_or_else(|| panic!("{what}: none, but {expected}"));
    assert!(
        (actual - expected).abs() <= tolerance,
        "{what}: {actual} is not {expected}"
    );
}

#[test]
fn rise_noon_and_set_agree_with_nrel_spa() -> Result<(), SunError> {
    let rows = rows(include_str!("../data/sun.csv"));
    assert_eq!(rows.len(), 40);
    for row in rows {
        let latitude: f64 = row["lat_deg"].parse().expect("a latitude");
        let longitude: f64 = row["lon_deg"].parse().expect("a longitude");
        let date: NaiveDate = row["local_date"].parse().expect("a date");
        let zone = row["tz"].parse().expect("a time zone");
        let what = format!("{} {date}", row["place"]);
        let day = sun_day(latitude, longitude, date, zone)?;
        let allowed = tolerance(latitude);
        assert_time(
            Some(day.noon()),
            &row["solar_noon_utc"],
            NOON_TOLERANCE,
            &what,
        );
        assert_time(day.sunrise(), &row["sunrise_utc"], allowed, &what);
        assert_time(day.sunset(), &row["sunset_utc"], allowed, &what);
        let case = match day {
            SunDay::RiseAndSet { .. } => "normal",
            SunDay::RiseOnly { .. } | SunDay::SetOnly { .. } => "edge",
            SunDay::PolarDay { .. } => "polar_day",
            SunDay::PolarNight { .. } => "polar_night",
        };
        assert_eq!(case, row["case"], "{what}");
    }
    Ok(())
}

#[test]
fn a_date_that_a_zone_skipped_has_no_noon() {
    // Samoa went from 29 to 31 December 2011 (tz database, Pacific/Apia).
    let date = NaiveDate::from_ymd_opt(2011, 12, 30).expect("a date");
    let zone = chrono_tz::Pacific::Apia;
    let answer = sun_day(-13.83, -171.77, date, zone);
    assert!(matches!(answer, Err(SunError::NoNoon { .. })), "{answer:?}");
}

#[test]
fn a_place_off_the_earth_is_refused() {
    let date = NaiveDate::from_ymd_opt(2024, 6, 21).expect("a date");
    let zone = chrono_tz::Europe::London;
    assert_eq!(
        sun_day(91.0, 0.0, date, zone),
        Err(SunError::Latitude(91.0))
    );
    assert_eq!(
        sun_day(0.0, 200.0, date, zone),
        Err(SunError::Longitude(200.0))
    );
    assert!(matches!(
        sun_day(f64::NAN, 0.0, date, zone),
        Err(SunError::Latitude(_))
    ));
}
