//! Hours and days of a real weather year against independent calculations;
//! what each column is and its tolerance: tests/data/README.md.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use soakmist::agronomy::atmosphere::{
    HumidityRange, TemperatureRange, pressure_from_elevation_kpa,
    vapour_pressure_from_extremes_kpa, vapour_pressure_from_humidity_kpa, wind_at_2m_m_per_s,
};
use soakmist::agronomy::daily::whole_days;
use soakmist::agronomy::et0_series::{MeasuredHours, hourly_et0_of_series};
use soakmist::agronomy::missing_data::{Completed, complete};
use soakmist::agronomy::radiation::{
    DaySun, MJ_PER_M2_H_PER_W_PER_M2, clear_sky, cloudiness_ratio,
};
use soakmist::agronomy::reference_et::{
    EtDay, EtHour, EtMethod, daily_et0_mm, daily_terms, hourly_et0_mm, hourly_terms,
};
use soakmist::agronomy::weather_record::{GeoPosition, RawHour, Reading};
use soakmist::weather::Treatment;
use soakmist::weather::csv::{CsvOptions, WeatherFileContents, parse};
use soakmist::weather::quality::screen;

use crate::near::{assert_near, assert_near_relative, rows};

/// Same formulas, hourly [mm/h and MJ m⁻² h⁻¹].
const SAME_FORMULAS_HOUR: f64 = 1e-5;
/// Hourly Ra and what follows from it [MJ m⁻² h⁻¹]: the vectors take FAO-56
/// eq. 31 with its printed 0.06667 h per degree of longitude from the centre
/// of the time zone, here 4.95°; we take 1/15. That moves the sun by 1.65e-5 h,
/// and Ra changes by at most 1.29 MJ m⁻² h⁻¹ an hour.
const ROUNDED_LONGITUDE_FACTOR: f64 = 2.2e-5;
/// Same formulas, daily [mm/d].
const SAME_FORMULAS_DAY: f64 = 1e-4;
/// Another package with constants rounded otherwise, as a share: the vectors'
/// own comparison found 0.04 % at most, so half a unit more.
const OTHER_PACKAGE_SHARE: f64 = 0.00045;
/// Days made of hours against days whose mean wind was rounded to 0.001 m/s:
/// half of that, at the 0.6 mm/d per m/s of a hot dry day.
const ROUNDED_WIND_DAY: f64 = 3e-4;

struct Row(HashMap<String, String>);

impl Row {
    fn number(&self, name: &str) -> f64 {
        self.0[name]
            .parse()
            .unwrap_or_else(|_| panic!("column {name} of {:?}", self.0))
    }

    fn day_of_year(&self) -> u32 {
        self.0["doy"].parse().expect("a whole number")
    }
}

#[test]
fn hours_agree_with_an_independent_calculation() {
    let rows = rows(include_str!("../data/et0_hourly.csv"));
    assert_eq!(rows.len(), 396);
    for row in rows.into_iter().map(Row) {
        let end: DateTime<Utc> = DateTime::parse_from_rfc3339(&row.0["time_end"])
            .expect("a stamp")
            .to_utc();
        let middle = end - TimeDelta::minutes(30);
        let utc_h = f64::from(middle.num_seconds_from_midnight()) / 3600.0;
        let sun = DaySun::new(row.number("lat_deg").to_radians(), row.day_of_year());
        let hour = sun.hour(sun.time_angle_rad(utc_h, row.number("lon_deg")));
        let ra = hour.extraterrestrial_mj_per_m2_h;
        assert_near(
            hour.sin_elevation.asin(),
            row.number("sun_elev_mid_rad"),
            SAME_FORMULAS_HOUR,
        );
        assert_near(ra, row.number("ra_mj_m2_h"), ROUNDED_LONGITUDE_FACTOR);
        assert_eq!(hour.is_daylight(), row.0["daylight"] == "1");
        assert_eq!(hour.is_low(), row.0["low_sun"] == "1");

        let solar = row.number("solar_w_m2") * MJ_PER_M2_H_PER_W_PER_M2;
        let rso = clear_sky(ra, row.number("elev_m"));
        assert_near(rso, row.number("rso_mj_m2_h"), ROUNDED_LONGITUDE_FACTOR);
        let ratio = if hour.is_low() {
            row.number("rs_rso_carry")
        } else {
            cloudiness_ratio(solar, rso).expect("the sun is up")
        };
        assert_near(ratio, row.number("rs_rso_used"), SAME_FORMULAS_HOUR);
        let temperature_c = row.number("air_temp_c");
        let inputs = EtHour {
            air_temperature_c: temperature_c,
            actual_vapour_pressure_kpa: vapour_pressure_from_humidity_kpa(
                temperature_c,
                row.number("rel_humidity_pct"),
            ),
            wind_2m_m_per_s: wind_at_2m_m_per_s(
                row.number("wind_speed_m_s"),
                row.number("wind_height_m"),
            ),
            solar_mj_per_m2_h: solar,
            rs_over_rso: ratio,
            pressure_kpa: pressure_from_elevation_kpa(row.number("elev_m")),
            daylight: hour.is_daylight(),
        };
        assert_near(
            inputs.actual_vapour_pressure_kpa,
            row.number("ea_kpa"),
            SAME_FORMULAS_HOUR,
        );
        assert_near(
            inputs.wind_2m_m_per_s,
            row.number("u2_m_s"),
            SAME_FORMULAS_HOUR,
        );
        let fao56 = hourly_terms(&inputs, EtMethod::Fao56);
        let rn = fao56.net_radiation_mj_per_m2;
        assert_near(rn, row.number("rn_mj_m2_h"), SAME_FORMULAS_HOUR);
        assert_near(
            fao56.soil_heat_flux_mj_per_m2,
            row.number("g_mj_m2_h"),
            SAME_FORMULAS_HOUR,
        );
        assert_near(
            fao56.et0_mm,
            row.number("et0_fao56_mm_h"),
            SAME_FORMULAS_HOUR,
        );
        let asce = hourly_terms(&inputs, EtMethod::Asce);
        assert_near(
            asce.et0_mm,
            row.number("et0_asce_carry_mm_h"),
            SAME_FORMULAS_HOUR,
        );
    }
}

#[test]
fn days_agree_with_an_independent_calculation_and_with_refet() {
    let rows = rows(include_str!("../data/et0_daily.csv"));
    assert_eq!(rows.len(), 120);
    for row in rows.into_iter().map(Row) {
        let sun = DaySun::new(row.number("lat_deg").to_radians(), row.day_of_year());
        let ra = sun.extraterrestrial_mj_per_m2_d();
        assert_near(ra, row.number("ra_mj_m2_d"), SAME_FORMULAS_DAY);
        let rso = clear_sky(ra, row.number("elev_m"));
        let solar = row.number("rs_mj_m2_d");
        let temperature = TemperatureRange {
            min_c: row.number("tmin_c"),
            max_c: row.number("tmax_c"),
        };
        let humidity = HumidityRange {
            min_pct: row.number("rh_min_pct"),
            max_pct: row.number("rh_max_pct"),
        };
        let floored = EtDay {
            temperature,
            actual_vapour_pressure_kpa: vapour_pressure_from_extremes_kpa(temperature, humidity),
            wind_2m_m_per_s: wind_at_2m_m_per_s(
                row.number("wind_speed_m_s"),
                row.number("wind_height_m"),
            ),
            solar_mj_per_m2_d: solar,
            rs_over_rso: cloudiness_ratio(solar, rso).expect("the sun is up"),
            pressure_kpa: pressure_from_elevation_kpa(row.number("elev_m")),
            soil_heat_flux_mj_per_m2_d: 0.0,
        };
        let day = daily_terms(&floored);
        let rn = day.net_radiation_mj_per_m2;
        assert_near(rn, row.number("rn_mj_m2_d"), SAME_FORMULAS_DAY);
        assert_near(day.et0_mm, row.number("et0_fao56_mm_d"), SAME_FORMULAS_DAY);
        let strict = EtDay {
            rs_over_rso: (solar / rso).min(1.0),
            ..floored
        };
        let strict = daily_terms(&strict).et0_mm;
        assert_near(
            strict,
            row.number("et0_fao56_nofloor_mm_d"),
            SAME_FORMULAS_DAY,
        );
        let refet = row.number("et0_asce_refet_mm_d");
        assert_near_relative(day.et0_mm, refet, OTHER_PACKAGE_SHARE);
    }
}

const GREENSBORO: GeoPosition = GeoPosition {
    latitude_deg: 36.1,
    longitude_deg: -79.95,
    elevation_m: 273.0,
    coast: false,
};

fn real_year() -> (WeatherFileContents, Completed) {
    let text = include_bytes!("../data/greensboro_tmy3_hourly.csv");
    let mut contents = parse(text, &CsvOptions::default()).expect("the file is sound");
    let findings = screen(&mut contents.hours, &GREENSBORO);
    // A cold spell in January stands at -9.4 °C for 16 h, and is kept.
    assert!(
        findings
            .iter()
            .all(|finding| finding.treatment == Treatment::Kept),
        "{findings:?}"
    );
    let completed = complete(&contents.hours, &GREENSBORO).expect("no gaps");
    assert_eq!(completed.notes, []);
    (contents, completed)
}

#[test]
fn the_real_year_adds_up_hour_by_hour() {
    let (_, completed) = real_year();
    assert_eq!(completed.hours.len(), 8760);
    let total = |method| -> f64 {
        completed
            .hours
            .iter()
            .map(|hour| hourly_et0_mm(&hour.et_hour(), method))
            .sum()
    };
    // Sums of the vectors' columns over all hours; Rs/Rso at or above 0.3.
    assert_near(total(EtMethod::Fao56), 1075.93, 0.005);
    assert_near(total(EtMethod::Asce), 1120.37, 0.005);
}

#[test]
fn the_real_year_adds_up_day_by_day() {
    let (contents, completed) = real_year();
    let days = whole_days(&completed.hours, &GREENSBORO, contents.offsets.standard());
    assert_eq!(days.len(), 365);
    let total: f64 = days.iter().map(|day| daily_et0_mm(&day.inputs)).sum();
    // With Rs/Rso at or above 0.3; without that floor it would be 1151.01.
    assert_near(total, 1149.75, 0.005);
    for row in rows(include_str!("../data/et0_daily.csv")) {
        let day = days
            .iter()
            .find(|day| day.date.to_string() == row["date"])
            .expect("the day");
        let expected = Row(row).number("et0_fao56_mm_d");
        assert_near(daily_et0_mm(&day.inputs), expected, ROUNDED_WIND_DAY);
    }
}

#[test]
fn night_hours_of_the_real_year_carry_the_afternoon() {
    let (_, completed) = real_year();
    for row in rows(include_str!("../data/et0_hourly.csv")) {
        let end = DateTime::parse_from_rfc3339(&row["time_end"])
            .expect("a stamp")
            .to_utc();
        let start = end - TimeDelta::hours(1);
        let index = completed
            .hours
            .binary_search_by_key(&start, |hour| hour.start);
        let hour = completed.hours[index.expect("the hour")];
        let row = Row(row);
        // The carried ratio is printed with 4 decimals.
        assert_near(hour.rs_over_rso, row.number("rs_rso_used"), 0.000_06);
        let et0 = hourly_et0_mm(&hour.et_hour(), EtMethod::Fao56);
        assert_near(et0, row.number("et0_fao56_mm_h"), SAME_FORMULAS_HOUR);
    }
}

#[test]
fn the_real_year_worked_at_once_adds_up_alike() {
    let (contents, _) = real_year();
    let column = |value: fn(&RawHour) -> Option<Reading>| -> Vec<f64> {
        let value = |hour| value(hour).expect("nothing is missing").value;
        contents.hours.iter().map(value).collect()
    };
    let series = MeasuredHours {
        start: contents.hours[0].start,
        air_temperature_c: &column(|hour| hour.air_temperature_c),
        relative_humidity_pct: &column(|hour| hour.relative_humidity_pct),
        wind_m_per_s: &column(|hour| hour.wind_m_per_s),
        wind_height_m: 10.0,
        solar_w_per_m2: &column(|hour| hour.solar_w_per_m2),
    };
    let total = |method| -> f64 {
        hourly_et0_of_series(&series, &GREENSBORO, method)
            .expect("equal lengths")
            .iter()
            .sum()
    };
    assert_near(total(EtMethod::Fao56), 1075.93, 0.005);
    assert_near(total(EtMethod::Asce), 1120.37, 0.005);
}
