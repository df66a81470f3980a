//! Where the weather of a plan came from, for the reader of the plan.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use crate::agronomy::weather_record::{Provenance, WeatherHour};

/// Where the weather of a plan came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeatherSource {
    /// What people call it, such as the name of the file.
    pub name: String,
    /// Number of hours used.
    pub hours: usize,
    /// Remarks on the data (gaps, values out of range, …), a sentence each.
    pub remarks: Vec<String>,
    /// The time zone in which stamps without an offset were taken, if any.
    pub stamps_taken_in: Option<Tz>,
    /// Per variable, how many hours came from where.
    pub variables: Vec<(&'static str, BTreeMap<Provenance, usize>)>,
}

impl WeatherSource {
    /// Counts the provenance of a series of hours.
    #[must_use]
    pub fn new(name: &str, hours: &[WeatherHour], remarks: Vec<String>) -> Self {
        type Pick = fn(&WeatherHour) -> Provenance;
        let picks: [(&'static str, Pick); 5] = [
            ("air temperature", |hour| hour.provenance.air_temperature),
            ("humidity", |hour| hour.provenance.humidity),
            ("wind", |hour| hour.provenance.wind),
            ("solar radiation", |hour| hour.provenance.solar),
            ("rain", |hour| hour.provenance.rain),
        ];
        let variables = picks.map(|(variable, pick)| {
            let mut counts = BTreeMap::new();
            for hour in hours {
                *counts.entry(pick(hour)).or_insert(0) += 1;
            }
            (variable, counts)
        });
        Self {
            name: name.to_string(),
            hours: hours.len(),
            remarks,
            stamps_taken_in: None,
            variables: variables.into(),
        }
    }
}
