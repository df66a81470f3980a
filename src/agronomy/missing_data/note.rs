//! What was estimated: one note for each variable and rule.

use std::collections::BTreeMap;
use std::fmt;

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::agronomy::weather_record::WeatherVariable;

/// How a missing value was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EstimateRule {
    /// A straight line between the hours on either side.
    BetweenNeighbours,
    /// The same hour of a neighbouring day.
    NeighbouringDay,
    /// Radiation from sunshine (FAO-56, eq. 35).
    Sunshine,
    /// Radiation from the day's temperature range (FAO-56, eq. 50).
    TemperatureRange,
    /// The same on a coast.
    CoastalTemperatureRange,
    /// Dew point at the day's minimum temperature (FAO-56, eq. 48).
    DailyMinimum,
    /// Wind of 2 m/s at 2 m (FAO-56, chapter 3).
    DefaultWind,
    /// Missing rain counts as none.
    NoRain,
    /// Rs/Rso of 0.5 by night, for want of an afternoon.
    DefaultCloudiness,
}

impl EstimateRule {
    fn words(self) -> &'static str {
        match self {
            Self::BetweenNeighbours => "a line between the hours on either side",
            Self::NeighbouringDay => "the same hour of a neighbouring day",
            Self::Sunshine => "from sunshine (FAO-56 eq. 35)",
            Self::TemperatureRange => {
                "from the day's temperature range (FAO-56 eq. 50, inland: kRs 0.16)"
            }
            Self::CoastalTemperatureRange => {
                "from the day's temperature range (FAO-56 eq. 50, coast: kRs 0.19)"
            }
            Self::DailyMinimum => "dew point = day's minimum temperature (FAO-56 eq. 48)",
            Self::DefaultWind => "2 m/s at 2 m (FAO-56)",
            Self::NoRain => "counted as no rain",
            Self::DefaultCloudiness => "Rs/Rso of 0.5 at night, for want of an afternoon",
        }
    }
}

/// How often a rule stood in for a variable.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EstimateNote {
    /// What was missing.
    pub variable: WeatherVariable,
    /// What stood in for it.
    pub rule: EstimateRule,
    /// In how many hours.
    pub hours: usize,
    /// Start of the first of them.
    pub first: DateTime<Utc>,
    /// Start of the last of them.
    pub last: DateTime<Utc>,
}

impl fmt::Display for EstimateNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (name, hours, words) = (self.variable.name(), self.hours, self.rule.words());
        write!(f, "{name} missing in {hours} h: {words}")
    }
}

/// Counts the notes.
#[derive(Debug, Default)]
pub(super) struct Ledger(BTreeMap<(WeatherVariable, EstimateRule), EstimateNote>);

impl Ledger {
    pub(super) fn add(&mut self, variable: WeatherVariable, rule: EstimateRule, at: DateTime<Utc>) {
        let note = self.0.entry((variable, rule)).or_insert(EstimateNote {
            variable,
            rule,
            hours: 0,
            first: at,
            last: at,
        });
        note.hours += 1;
        note.first = note.first.min(at);
        note.last = note.last.max(at);
    }

    pub(super) fn into_notes(self) -> Vec<EstimateNote> {
        self.0.into_values().collect()
    }
}
