//! What `soakmist weather` tells: the one source of page and JSON.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, Utc};
use serde::Serialize;

use super::gather::{Gathered, SourceLine};
use super::{Failure, Span};
use crate::agronomy::atmosphere::saturation_vapour_pressure_kpa;
use crate::agronomy::missing_data::{EstimateNote, complete};
use crate::agronomy::radiation::MJ_PER_M2_H_PER_W_PER_M2;
use crate::agronomy::reference_et::{EtMethod, hourly_et0_mm};
use crate::agronomy::weather_record::{HourProvenance, WeatherHour};
use crate::site::Site;
use crate::units::UnitSystem;
use crate::weather::Variable;
use crate::weather::bias::Bias;
use crate::weather::doubt::Doubt;
use crate::weather::rain::{RainTrust, counted_mm};
use crate::weather::series::{Gap, Mark};

/// Version of the JSON.
const SCHEMA: &str = "soakmist-weather/1";

/// The whole report.
#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct Report {
    schema: &'static str,
    pub site: String,
    pub time_zone: String,
    pub now: DateTime<FixedOffset>,
    pub sources: Vec<SourceLine>,
    pub rain: RainRule,
    pub bias: BTreeMap<String, Bias>,
    pub doubts: Vec<DoubtLine>,
    pub gaps: Vec<Gap>,
    pub estimates: Vec<EstimateNote>,
    pub hours: Vec<HourLine>,
    #[serde(skip)]
    pub units: UnitSystem,
}

/// How far expected rain counts.
#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct RainRule {
    pub trust: RainTrust,
    pub rule: &'static str,
}

/// A doubt and its text.
#[derive(Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct DoubtLine {
    pub text: String,
    #[serde(flatten)]
    doubt: Doubt,
}

/// One complete hour.
#[derive(Debug, Clone, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct HourLine {
    /// Start, with the offset of the site.
    pub start: DateTime<FixedOffset>,
    pub air_temperature_c: f64,
    pub relative_humidity_pct: f64,
    #[serde(rename = "wind-2m-m-per-s")]
    pub wind_2m_m_per_s: f64,
    #[serde(rename = "solar-w-per-m2")]
    pub solar_w_per_m2: f64,
    pub rain_mm: f64,
    pub rain_probability: f64,
    pub rain_counted_mm: f64,
    #[serde(rename = "et0-mm")]
    pub et0_mm: f64,
    pub provenance: HourProvenance,
    /// Source, provenance and age of the values that were given, not estimated.
    pub given: BTreeMap<Variable, Mark>,
}

impl Report {
    /// Completes the series and tells it.
    pub(super) fn new(
        site: &Site,
        gathered: (Gathered, RainTrust),
        span: Span,
    ) -> Result<Self, Failure> {
        let (gathered, trust) = gathered;
        let Gathered {
            assembled,
            lines,
            place,
        } = gathered;
        let raw = assembled.series.raw();
        let completed = complete(&raw, &place).map_err(|error| nothing(&lines, &error))?;
        let mut given: BTreeMap<DateTime<Utc>, BTreeMap<Variable, Mark>> = assembled
            .series
            .hours
            .into_iter()
            .map(|hour| (hour.hour.start, hour.marks))
            .collect();
        let local = |time: DateTime<Utc>| time.with_timezone(&site.place.time_zone).fixed_offset();
        let hours: Vec<HourLine> = completed
            .hours
            .iter()
            .filter(|hour| hour.start >= span.from && hour.start < span.to)
            .map(|hour| {
                let marks = given.remove(&hour.start).unwrap_or_default();
                HourLine::new(hour, (local(hour.start), marks), trust)
            })
            .collect();
        let shown = |note: &&EstimateNote| note.last >= span.from;
        Ok(Self {
            schema: SCHEMA,
            site: site.name.clone(),
            time_zone: site.place.time_zone.name().to_owned(),
            now: local(span.now),
            sources: lines,
            rain: RainRule {
                trust,
                rule: trust.rule(),
            },
            bias: assembled.bias,
            doubts: assembled
                .series
                .doubts
                .into_iter()
                .map(DoubtLine::new)
                .collect(),
            gaps: assembled
                .series
                .gaps
                .into_iter()
                .filter(|gap| gap.to > span.from)
                .collect(),
            estimates: completed.notes.iter().filter(shown).cloned().collect(),
            hours,
            units: site.units,
        })
    }
}

impl DoubtLine {
    fn new(doubt: Doubt) -> Self {
        Self {
            text: doubt.to_string(),
            doubt,
        }
    }
}

impl HourLine {
    fn new(
        hour: &WeatherHour,
        known: (DateTime<FixedOffset>, BTreeMap<Variable, Mark>),
        trust: RainTrust,
    ) -> Self {
        let saturation_kpa = saturation_vapour_pressure_kpa(hour.air_temperature_c);
        Self {
            start: known.0,
            air_temperature_c: hour.air_temperature_c,
            relative_humidity_pct: 100.0 * hour.actual_vapour_pressure_kpa / saturation_kpa,
            wind_2m_m_per_s: hour.wind_2m_m_per_s,
            solar_w_per_m2: hour.solar_mj_per_m2_h / MJ_PER_M2_H_PER_W_PER_M2,
            rain_mm: hour.rain_mm,
            rain_probability: hour.rain_probability,
            rain_counted_mm: counted_mm(hour, trust),
            et0_mm: hourly_et0_mm(&hour.et_hour(), EtMethod::default()),
            provenance: hour.provenance,
            given: known.1,
        }
    }
}

/// Why there is no series, with what went wrong at every source.
fn nothing(lines: &[SourceLine], error: &dyn std::error::Error) -> Failure {
    let troubles: Vec<String> = lines
        .iter()
        .filter_map(|line| line.trouble.clone())
        .collect();
    if troubles.is_empty() {
        return Failure::Input(format!("no complete weather can be made: {error}"));
    }
    Failure::Io(format!(
        "no complete weather can be made: {error}; {}",
        troubles.join("; ")
    ))
}
