//! What a service gets wrong at this place, hour of day by hour of day, learned
//! from the site's own sensors over the last two weeks.
//!
//! Temperature and humidity are corrected by a difference, wind (at 2 m) and
//! radiation by a ratio. Each hour of the day learns from itself and its two
//! neighbours; the median stands against single bad hours; with few days the
//! correction is drawn towards none; and it is bounded, so that a broken sensor
//! cannot turn a forecast upside down. Rain is never corrected: two weeks hold too
//! few showers to learn from. Own model.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use serde::Serialize;

use super::doubt::comparable;
use super::variable::Variable;
use crate::agronomy::weather_record::{RawHour, Reading};

/// How far back it learns.
pub const LEARNED_OVER: TimeDelta = TimeDelta::days(14);
/// Fewer pairs than this for an hour of the day teach nothing: three hours of
/// the day on four days.
const FEWEST_PAIRS: usize = 12;
/// Pairs at which half of the median is believed.
const HALF_BELIEVED_PAIRS: f64 = 9.0;

/// How a variable is corrected and how far at most.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Rule {
    /// Sensor less service, within ± the bound.
    Difference(f64),
    /// Sensor over service, within the bounds; a pair counts only where the
    /// service's value is above the floor.
    Ratio { least: f64, most: f64, floor: f64 },
}

const RULES: [(Variable, Rule); 4] = [
    (Variable::AirTemperature, Rule::Difference(4.0)),
    (Variable::RelativeHumidity, Rule::Difference(15.0)),
    // A garden between houses has a third of the wind of the open field.
    (
        Variable::Wind,
        Rule::Ratio {
            least: 0.3,
            most: 1.5,
            floor: 0.5,
        },
    ),
    (
        Variable::Solar,
        Rule::Ratio {
            least: 0.7,
            most: 1.2,
            floor: 50.0,
        },
    ),
];

/// The correction of a variable at an hour of the day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Correction {
    /// Added to the value, in the unit of the variable.
    pub add: f64,
    /// The value is multiplied by this first.
    pub times: f64,
    /// Pairs of hours it was learned from.
    pub pairs: usize,
    /// Whether the bound held it back.
    pub bounded: bool,
}

/// The corrections of a service: by variable and hour of the day in UTC.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[serde(transparent)]
pub struct Bias {
    corrections: BTreeMap<Variable, BTreeMap<u32, Correction>>,
}

impl Bias {
    /// Learns from hours that both have in the two weeks before `now`.
    #[must_use]
    pub fn learn(sensor: &[RawHour], service: &[RawHour], now: DateTime<Utc>) -> Self {
        let recent = |hour: &&RawHour| hour.start >= now - LEARNED_OVER && hour.start < now;
        let theirs: BTreeMap<_, _> = service
            .iter()
            .filter(recent)
            .map(|hour| (hour.start, hour))
            .collect();
        let mut corrections: BTreeMap<Variable, BTreeMap<u32, Correction>> = BTreeMap::new();
        for (variable, rule) in RULES {
            let mut pairs: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
            for hour in sensor.iter().filter(recent) {
                let pair = theirs.get(&hour.start).and_then(|their| {
                    rule.compare(comparable(variable, hour)?, comparable(variable, their)?)
                });
                if let Some(pair) = pair {
                    pairs.entry(hour.start.hour()).or_default().push(pair);
                }
            }
            for of_day in 0..24 {
                if let Some(correction) = rule.correction(around(&pairs, of_day)) {
                    corrections
                        .entry(variable)
                        .or_default()
                        .insert(of_day, correction);
                }
            }
        }
        Self { corrections }
    }

    /// Whether nothing was learned.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.corrections.is_empty()
    }

    /// What was learned of a variable, by hour of the day in UTC.
    #[must_use]
    pub fn of(&self, variable: Variable) -> Option<&BTreeMap<u32, Correction>> {
        self.corrections.get(&variable)
    }

    /// The variables of which something was learned.
    pub fn variables(&self) -> impl Iterator<Item = Variable> + '_ {
        self.corrections.keys().copied()
    }

    /// Corrects the hours of the service. A correction never leads beyond what
    /// can be on Earth: humidity stays within 100 %.
    pub fn apply(&self, hours: &mut [RawHour]) {
        for (variable, by_hour) in &self.corrections {
            for hour in hours.iter_mut() {
                if let Some(reading) = variable.of(hour)
                    && let Some(correction) = by_hour.get(&hour.start.hour())
                {
                    let mut value = reading.value * correction.times + correction.add;
                    if *variable == Variable::RelativeHumidity {
                        value = value.clamp(0.0, 100.0);
                    }
                    let value = variable.plausible(value).unwrap_or(reading.value);
                    variable.set(hour, Some(Reading { value, ..reading }));
                }
            }
        }
    }
}

/// The pairs of an hour of the day and of its two neighbours.
fn around(pairs: &BTreeMap<u32, Vec<f64>>, of_day: u32) -> Vec<f64> {
    [(of_day + 23) % 24, of_day, (of_day + 1) % 24]
        .iter()
        .filter_map(|hour| pairs.get(hour))
        .flatten()
        .copied()
        .collect()
}

impl Rule {
    /// The difference or the ratio of one pair.
    fn compare(self, sensor: f64, service: f64) -> Option<f64> {
        match self {
            Self::Difference(_) => Some(sensor - service),
            Self::Ratio { floor, .. } => (service > floor).then(|| sensor / service),
        }
    }

    fn correction(self, mut pairs: Vec<f64>) -> Option<Correction> {
        if pairs.len() < FEWEST_PAIRS {
            return None;
        }
        pairs.sort_by(f64::total_cmp);
        let middle = f64::midpoint(pairs[(pairs.len() - 1) / 2], pairs[pairs.len() / 2]);
        #[expect(clippy::cast_precision_loss, reason = "at most two weeks of hours")]
        let belief = pairs.len() as f64 / (pairs.len() as f64 + HALF_BELIEVED_PAIRS);
        Some(match self {
            Self::Difference(bound) => {
                let full = middle * belief;
                let add = full.clamp(-bound, bound);
                let bounded = (add - full).abs() > 0.0;
                Correction {
                    add,
                    times: 1.0,
                    pairs: pairs.len(),
                    bounded,
                }
            }
            Self::Ratio { least, most, .. } => {
                let full = 1.0 + (middle - 1.0) * belief;
                let times = full.clamp(least, most);
                let bounded = (times - full).abs() > 0.0;
                Correction {
                    add: 0.0,
                    times,
                    pairs: pairs.len(),
                    bounded,
                }
            }
        })
    }
}
