//! What is doubtful in the weather: told, never mended in silence.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;

use super::finding::{Finding, FindingKind, Treatment};
use super::series::{Source, SourceKind};
use super::variable::Variable;
use crate::agronomy::atmosphere::wind_at_2m_m_per_s;
use crate::agronomy::weather_record::RawHour;

/// Something doubtful.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "doubt")]
pub enum Doubt {
    /// A forecast that is too old to be used.
    TooOld {
        /// Which source.
        source: String,
        /// When it came.
        received: DateTime<Utc>,
    },
    /// Something in the values of a source.
    Finding {
        /// Which source.
        source: String,
        /// What.
        finding: Finding,
    },
    /// A sensor and a service that tell different weather.
    Disagreement {
        /// Of what.
        variable: Variable,
        /// The sensor.
        sensor: String,
        /// The service.
        service: String,
        /// Hours that both have, in the last week.
        hours: usize,
        /// Sensor less service, mean; for rain the difference of the totals.
        difference: f64,
        /// More than this is told.
        bound: f64,
    },
}

impl Doubt {
    /// What the screening of a source found and a person should know. Gaps of a
    /// source are no doubt: another source may fill them. Of a service only what was
    /// left out counts, because its values are often held for many hours.
    pub(super) fn of_screening(
        source: &Source,
        findings: Vec<Finding>,
    ) -> impl Iterator<Item = Self> {
        let kind = source.kind;
        let name = source.name.clone();
        findings
            .into_iter()
            .filter(move |finding| match kind {
                SourceKind::Sensor => finding.kind != FindingKind::Gap,
                SourceKind::Service => {
                    finding.kind != FindingKind::Gap && finding.treatment == Treatment::Missing
                }
                SourceKind::TypicalYear => false,
            })
            .map(move |finding| Self::Finding {
                source: name.clone(),
                finding,
            })
    }
}

impl std::fmt::Display for Doubt {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooOld { source, received } => write!(
                f,
                "{source}: its forecast of {} is too old and is not used",
                received.format("%Y-%m-%d %H:%M UTC")
            ),
            Self::Finding { source, finding } => write!(f, "{source}: {finding}"),
            Self::Disagreement {
                variable,
                sensor,
                service,
                hours,
                difference,
                bound,
            } => {
                let (name, unit) = (variable.name(), variable.unit());
                let what = if *variable == Variable::Rain {
                    "in all"
                } else {
                    "on average"
                };
                let sign = if *difference < 0.0 { "below" } else { "above" };
                write!(
                    f,
                    "{name}: {sensor} is {:.1} {unit} {what} {sign} {service} over {hours} hours \
                     (more than {bound:.1} {unit} is told); check the sensor's place and shelter",
                    difference.abs()
                )
            }
        }
    }
}

/// How far back sensors and services are compared.
const COMPARED: TimeDelta = TimeDelta::days(7);
/// Fewer common hours than this say nothing.
const FEWEST_HOURS: usize = 24;
/// Mean differences beyond which it is told (own bounds: about twice what a
/// good sensor in another microclimate shows).
const BOUNDS: [(Variable, f64); 4] = [
    (Variable::AirTemperature, 3.0),
    (Variable::RelativeHumidity, 15.0),
    (Variable::Wind, 2.0),
    (Variable::Solar, 80.0),
];
/// Least difference of rain totals that is told [mm]; or half the larger total.
const RAIN_BOUND_MM: f64 = 10.0;

/// Where the first sensor and the first service that have a variable differ
/// beyond a bound over the past week.
#[must_use]
pub fn disagreements(sources: &[Source], now: DateTime<Utc>) -> Vec<Doubt> {
    let first_with = |kind: SourceKind, variable: Variable| {
        sources.iter().find(|source| {
            source.kind == kind && source.hours.iter().any(|hour| variable.of(hour).is_some())
        })
    };
    let mut out = Vec::new();
    for (variable, bound) in BOUNDS.into_iter().chain([(Variable::Rain, RAIN_BOUND_MM)]) {
        let (Some(sensor), Some(service)) = (
            first_with(SourceKind::Sensor, variable),
            first_with(SourceKind::Service, variable),
        ) else {
            continue;
        };
        let pairs = pairs(sensor, service, (variable, now));
        if pairs.len() < FEWEST_HOURS {
            continue;
        }
        let (mine, theirs) = pairs
            .iter()
            .fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
        let (difference, bound) = if variable == Variable::Rain {
            (mine - theirs, bound.max(0.5 * f64::max(mine, theirs)))
        } else {
            #[expect(clippy::cast_precision_loss, reason = "at most a week of hours")]
            let count = pairs.len() as f64;
            ((mine - theirs) / count, bound)
        };
        if difference.abs() > bound {
            out.push(Doubt::Disagreement {
                variable,
                sensor: sensor.name.clone(),
                service: service.name.clone(),
                hours: pairs.len(),
                difference,
                bound,
            });
        }
    }
    out
}

/// A variable's value in an hour in a form that two sources can be compared in:
/// wind at 2 m, anything else as it is.
#[must_use]
pub(super) fn comparable(variable: Variable, hour: &RawHour) -> Option<f64> {
    let value = variable.of(hour)?.value;
    Some(match variable {
        Variable::Wind => wind_at_2m_m_per_s(value, hour.wind_height_m),
        _ => value,
    })
}

fn pairs(sensor: &Source, service: &Source, what: (Variable, DateTime<Utc>)) -> Vec<(f64, f64)> {
    let (variable, now) = what;
    let recent = |hour: &&RawHour| hour.start >= now - COMPARED && hour.start < now;
    let theirs: BTreeMap<_, _> = service
        .hours
        .iter()
        .filter(recent)
        .filter_map(|hour| Some((hour.start, comparable(variable, hour)?)))
        .collect();
    sensor
        .hours
        .iter()
        .filter(recent)
        .filter_map(|hour| Some((comparable(variable, hour)?, *theirs.get(&hour.start)?)))
        .collect()
}
