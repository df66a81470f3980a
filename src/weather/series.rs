//! The one hourly series: what it is made of and what it holds. The rules by
//! which it is made are those of [`merge`].

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::doubt::Doubt;
pub use super::merge::{MergeRules, merge};
use super::variable::Variable;
use crate::agronomy::weather_record::{Provenance, RawHour};

/// What kind of source, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// An instrument at or near the site, or its file.
    Sensor,
    /// A forecast or analysis service.
    Service,
    /// A typical year.
    TypicalYear,
}

/// Hours of one source.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What people call it.
    pub name: String,
    /// What kind it is.
    pub kind: SourceKind,
    /// When its hours came, for a service.
    pub received: Option<DateTime<Utc>>,
    /// The hours, in any order.
    pub hours: Vec<RawHour>,
    /// What a service said before of hours that its last reply may no longer hold.
    pub earlier: Vec<RawHour>,
}

/// Where a value of the series came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Mark {
    /// The source's name.
    pub source: String,
    /// How good it is.
    pub provenance: Provenance,
    /// When the source gave it, if that is known.
    pub received: Option<DateTime<Utc>>,
}

impl Mark {
    /// Whether the source gave the value when the hour was over.
    pub(super) fn is_told_after(&self, start: DateTime<Utc>) -> bool {
        self.received
            .is_some_and(|received| received >= start + TimeDelta::hours(1))
    }

    /// Whether it is better known of a past hour than what was kept. What is
    /// known as well stays as it was.
    pub(super) fn is_better_than(&self, kept: &Self, start: DateTime<Utc>) -> bool {
        self.weight(start) > kept.weight(start)
    }

    /// How well a past hour is known: forecast, told after, measured.
    fn weight(&self, start: DateTime<Utc>) -> u8 {
        match self.provenance {
            Provenance::Measured => 2,
            _ if self.is_told_after(start) => 1,
            _ => 0,
        }
    }
}

/// One hour of the series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct SeriesHour {
    /// The values; what is missing everywhere is missing here.
    pub hour: RawHour,
    /// Where each value that is there came from.
    pub marks: BTreeMap<Variable, Mark>,
}

impl SeriesHour {
    /// An hour as one source told it.
    #[must_use]
    pub fn told(hour: RawHour, source: &str, received: Option<DateTime<Utc>>) -> Self {
        let there = Variable::ALL.into_iter();
        let marks = there.filter_map(|variable| {
            let mark = Mark {
                source: source.to_owned(),
                provenance: variable.of(&hour)?.provenance,
                received,
            };
            Some((variable, mark))
        });
        Self {
            marks: marks.collect(),
            hour,
        }
    }
}

/// Hours in which a variable is missing everywhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Gap {
    /// What is missing.
    pub variable: Variable,
    /// Start of the first hour without it.
    pub from: DateTime<Utc>,
    /// End of the last hour without it.
    pub to: DateTime<Utc>,
}

/// The merged series.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Series {
    /// Every hour of the span, in order.
    pub hours: Vec<SeriesHour>,
    /// What is missing.
    pub gaps: Vec<Gap>,
    /// What is doubtful.
    pub doubts: Vec<Doubt>,
}

impl Series {
    /// The hours that are over, to be kept and given to the next merge.
    #[must_use]
    pub fn past(&self, now: DateTime<Utc>) -> Vec<SeriesHour> {
        let over = |hour: &&SeriesHour| hour.hour.start + TimeDelta::hours(1) <= now;
        self.hours.iter().filter(over).cloned().collect()
    }

    /// The values alone, without hours of which nothing is known.
    #[must_use]
    pub fn raw(&self) -> Vec<RawHour> {
        self.hours
            .iter()
            .filter(|hour| !hour.marks.is_empty())
            .map(|hour| hour.hour)
            .collect()
    }
}
