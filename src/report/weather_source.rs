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
    /// What a person must know before trusting the plan, a sentence each:
    /// sources that gave nothing, and what stands in for them.
    pub alarms: Vec<String>,
    /// What is to be known where sources were merged; none for one file.
    pub merged: Option<MergedWeather>,
}

/// What is to be known about weather from more than one source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MergedWeather {
    /// How far expected rain counts.
    pub rain_rule: &'static str,
}

impl WeatherSource {
    /// What a person must know before trusting the plan.
    pub fn alarms(&self) -> impl Iterator<Item = &str> {
        self.alarms.iter().map(String::as_str)
    }

    /// Counts the provenance of a series of hours of one file.
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
            alarms: Vec::new(),
            merged: None,
        }
    }

    /// The same with the hours and their provenance counted of another series.
    #[must_use]
    pub fn counted_again(self, hours: &[WeatherHour]) -> Self {
        let counted = Self::new(&self.name, hours, Vec::new());
        Self {
            hours: counted.hours,
            variables: counted.variables,
            ..self
        }
    }
}
