//! One result of `soakmist et0`, and its CSV and JSON.

use std::collections::BTreeSet;
use std::io::{self, Write};

use chrono::{NaiveDate, TimeDelta};
use serde::Serialize;

use super::Step;
use crate::agronomy::daily::{WeatherDay, estimated_variables, whole_days};
use crate::agronomy::missing_data::{Completed, EstimateNote};
use crate::agronomy::radiation::clear_sky;
use crate::agronomy::reference_et::{EtMethod, daily_terms, hargreaves_samani_mm, hourly_terms};
use crate::agronomy::solar_time::SolarHours;
use crate::agronomy::weather_record::{GeoPosition, WeatherHour, WeatherVariable};
use crate::weather::{Finding, UtcOffsets};

/// What was asked for.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Settings {
    pub file: String,
    pub method: EtMethod,
    pub step: Step,
    pub place: GeoPosition,
    pub wind_height_m: f64,
}

/// A variable that was estimated, and in how many hours of the row.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct Estimated {
    pub variable: WeatherVariable,
    pub hours: usize,
}

/// One hour or one day. Radiation is in MJ/m² per row.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Row {
    /// End of the hour in the file's offset, or the date.
    pub time: String,
    pub et0_mm: f64,
    pub air_temp_c: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temp_min_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temp_max_c: Option<f64>,
    pub ea_kpa: f64,
    pub u2_m_s: f64,
    pub rs_mj_m2: f64,
    pub ra_mj_m2: f64,
    pub rso_mj_m2: f64,
    pub rs_rso: f64,
    pub rn_mj_m2: f64,
    pub g_mj_m2: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hargreaves_samani_mm: Option<f64>,
    pub estimated: Vec<Estimated>,
}

/// The whole result.
#[derive(Debug, Serialize)]
pub(super) struct Et0Report {
    schema: &'static str,
    version: u32,
    #[serde(flatten)]
    pub settings: Settings,
    pub total_mm: f64,
    pub findings: Vec<Finding>,
    pub notes: Vec<EstimateNote>,
    pub days_left_out: Vec<NaiveDate>,
    pub rows: Vec<Row>,
}

impl Et0Report {
    pub(super) fn new(
        settings: Settings,
        completed: Completed,
        offsets: &UtcOffsets,
        findings: Vec<Finding>,
    ) -> Self {
        let place = settings.place;
        let mut days_left_out = BTreeSet::new();
        let rows: Vec<Row> = match settings.step {
            Step::Hour => {
                let mut sun = SolarHours::new(&place);
                let row = |hour| hour_row(hour, &mut sun, &settings, offsets);
                completed.hours.iter().map(row).collect()
            }
            Step::Day => {
                let standard = offsets.standard();
                let days = whole_days(&completed.hours, &place, standard);
                let date = |hour: &WeatherHour| hour.start.with_timezone(&standard).date_naive();
                days_left_out.extend(completed.hours.first().map(date));
                days_left_out.extend(completed.hours.last().map(date));
                days_left_out.retain(|&date| days.iter().all(|day| day.date != date));
                days.iter().map(day_row).collect()
            }
        };
        Self {
            schema: "soakmist-et0",
            version: 1,
            total_mm: tidy(rows.iter().map(|row| row.et0_mm).sum()),
            settings,
            findings,
            notes: completed.notes,
            days_left_out: days_left_out.into_iter().collect(),
            rows,
        }
    }

    pub(super) fn write_json(&self, out: &mut impl Write) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut *out, self)?;
        writeln!(out)
    }

    pub(super) fn write_csv(&self, out: &mut impl Write) -> io::Result<()> {
        let columns: Vec<&Column> = COLUMNS
            .iter()
            .filter(|column| self.settings.step == Step::Day || !column.of_days)
            .collect();
        write!(out, "time")?;
        for column in &columns {
            write!(out, ",{}", column.name)?;
        }
        writeln!(out, ",estimated")?;
        for row in &self.rows {
            write!(out, "{}", row.time)?;
            for column in &columns {
                match (column.value)(row) {
                    Some(value) => write!(out, ",{value:.6}")?,
                    None => write!(out, ",")?,
                }
            }
            writeln!(out, ",{}", row.estimated_in_words(self.settings.step))?;
        }
        Ok(())
    }
}

struct Column {
    name: &'static str,
    value: fn(&Row) -> Option<f64>,
    of_days: bool,
}

const fn column(name: &'static str, value: fn(&Row) -> Option<f64>) -> Column {
    Column {
        name,
        value,
        of_days: false,
    }
}

const fn column_of_days(name: &'static str, value: fn(&Row) -> Option<f64>) -> Column {
    Column {
        name,
        value,
        of_days: true,
    }
}

const COLUMNS: [Column; 13] = [
    column("et0_mm", |row| Some(row.et0_mm)),
    column("air_temp_c", |row| Some(row.air_temp_c)),
    column_of_days("temp_min_c", |row| row.temp_min_c),
    column_of_days("temp_max_c", |row| row.temp_max_c),
    column("ea_kpa", |row| Some(row.ea_kpa)),
    column("u2_m_s", |row| Some(row.u2_m_s)),
    column("rs_mj_m2", |row| Some(row.rs_mj_m2)),
    column("ra_mj_m2", |row| Some(row.ra_mj_m2)),
    column("rso_mj_m2", |row| Some(row.rso_mj_m2)),
    column("rs_rso", |row| Some(row.rs_rso)),
    column("rn_mj_m2", |row| Some(row.rn_mj_m2)),
    column("g_mj_m2", |row| Some(row.g_mj_m2)),
    column_of_days("hargreaves_samani_mm", |row| row.hargreaves_samani_mm),
];

impl Row {
    fn estimated_in_words(&self, step: Step) -> String {
        let words: Vec<String> = self
            .estimated
            .iter()
            .map(|Estimated { variable, hours }| {
                let name = variable.name().replace(' ', "-");
                if step == Step::Day {
                    format!("{name}:{hours}")
                } else {
                    name
                }
            })
            .collect();
        words.join(" ")
    }
}

/// Six decimals are all that is written, and no zero has a sign.
fn tidy(value: f64) -> f64 {
    (value * 1e6).round() / 1e6 + 0.0
}

fn hour_row(
    hour: &WeatherHour,
    sun: &mut SolarHours,
    settings: &Settings,
    offsets: &UtcOffsets,
) -> Row {
    let place = &settings.place;
    let terms = hourly_terms(&hour.et_hour(), settings.method);
    let ra = sun.hour(hour.start).extraterrestrial_mj_per_m2_h;
    let end = hour.start + TimeDelta::hours(1);
    Row {
        time: end
            .with_timezone(&offsets.at(end))
            .format("%Y-%m-%dT%H:%M:%S%:z")
            .to_string(),
        et0_mm: tidy(terms.et0_mm),
        air_temp_c: tidy(hour.air_temperature_c),
        temp_min_c: None,
        temp_max_c: None,
        ea_kpa: tidy(hour.actual_vapour_pressure_kpa),
        u2_m_s: tidy(hour.wind_2m_m_per_s),
        rs_mj_m2: tidy(hour.solar_mj_per_m2_h),
        ra_mj_m2: tidy(ra),
        rso_mj_m2: tidy(clear_sky(ra, place.elevation_m)),
        rs_rso: tidy(hour.rs_over_rso),
        rn_mj_m2: tidy(terms.net_radiation_mj_per_m2),
        g_mj_m2: tidy(terms.soil_heat_flux_mj_per_m2),
        hargreaves_samani_mm: None,
        estimated: estimated_variables(hour)
            .map(|variable| Estimated { variable, hours: 1 })
            .collect(),
    }
}

fn day_row(day: &WeatherDay) -> Row {
    let terms = daily_terms(&day.inputs);
    let temperature = day.inputs.temperature;
    Row {
        time: day.date.to_string(),
        et0_mm: tidy(terms.et0_mm),
        air_temp_c: tidy(temperature.mean_c()),
        temp_min_c: Some(tidy(temperature.min_c)),
        temp_max_c: Some(tidy(temperature.max_c)),
        ea_kpa: tidy(day.inputs.actual_vapour_pressure_kpa),
        u2_m_s: tidy(day.inputs.wind_2m_m_per_s),
        rs_mj_m2: tidy(day.inputs.solar_mj_per_m2_d),
        ra_mj_m2: tidy(day.extraterrestrial_mj_per_m2_d),
        rso_mj_m2: tidy(day.clear_sky_mj_per_m2_d),
        rs_rso: tidy(day.inputs.rs_over_rso),
        rn_mj_m2: tidy(terms.net_radiation_mj_per_m2),
        g_mj_m2: tidy(terms.soil_heat_flux_mj_per_m2),
        hargreaves_samani_mm: Some(tidy(hargreaves_samani_mm(
            temperature,
            day.extraterrestrial_mj_per_m2_d,
        ))),
        estimated: day
            .estimated
            .iter()
            .map(|&(variable, hours)| Estimated { variable, hours })
            .collect(),
    }
}
