//! The past as it was observed, kept so that a plan can be made again later.
//!
//! [`Frozen`] takes in what every gathering tells of hours that are over;
//! `store` keeps them as JSON ([`to_json`], [`from_json`]). Merging them again
//! with whatever the sources say by then gives back the same hours: see the
//! first rule of [`super::series::merge`], which is also the rule here.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::series::SeriesHour;
use super::variable::Variable;
use crate::agronomy::weather_record::RawHour;

/// The hours that are over.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Frozen {
    hours: BTreeMap<DateTime<Utc>, SeriesHour>,
}

impl Frozen {
    /// So long ago an hour is merged again at most: nothing that is older
    /// changes any more.
    pub const REACH: TimeDelta = TimeDelta::days(45);

    /// Those that were kept before.
    #[must_use]
    pub fn of(kept: Vec<SeriesHour>) -> Self {
        let hours = kept.into_iter().map(|hour| (hour.hour.start, hour));
        Self {
            hours: hours.collect(),
        }
    }

    /// The hours, in order.
    #[must_use]
    pub fn hours(&self) -> Vec<SeriesHour> {
        self.hours.values().cloned().collect()
    }

    /// Whether an hour is kept here: it is over, and not too long ago.
    #[must_use]
    pub fn reaches(start: DateTime<Utc>, now: DateTime<Utc>) -> bool {
        start + TimeDelta::hours(1) <= now && start > now - Self::REACH
    }

    /// Takes in what is better known by now of hours that are over; those that
    /// have changed, as they are known now.
    pub fn take(&mut self, told: &[SeriesHour], now: DateTime<Utc>) -> Vec<SeriesHour> {
        let mut news = Vec::new();
        for told in told {
            let start = told.hour.start;
            if !Self::reaches(start, now) || told.marks.is_empty() {
                continue;
            }
            let known = self.hours.get(&start);
            let better = known.map_or_else(|| told.clone(), |known| better(known, told));
            if known != Some(&better) {
                news.push(better.clone());
                self.hours.insert(start, better);
            }
        }
        self.hours = self.hours.split_off(&(now - Self::REACH));
        news
    }

    /// A sensor takes its word back: whatever a source tells of these readings
    /// is better. The hours that have changed.
    pub fn doubt(&mut self, readings: &[RawHour]) -> Vec<SeriesHour> {
        let mut news = Vec::new();
        for doubted in readings {
            let Some(known) = self.hours.get_mut(&doubted.start) else {
                continue;
            };
            let before = known.clone();
            for variable in Variable::ALL {
                let reading = variable.of(doubted);
                if reading.is_some() && variable.of(&known.hour) == reading {
                    forget(known, variable);
                }
            }
            if *known != before {
                news.push(known.clone());
            }
        }
        news
    }
}

/// An hour with what is better known of it by now.
fn better(kept: &SeriesHour, told: &SeriesHour) -> SeriesHour {
    let start = kept.hour.start;
    let mut hour = kept.clone();
    for (&variable, mark) in &told.marks {
        let kept = kept.marks.get(&variable);
        // The probability comes with the rain.
        if variable == Variable::RainProbability
            || kept.is_some_and(|kept| !mark.is_better_than(kept, start))
        {
            continue;
        }
        if variable == Variable::Wind {
            hour.hour.wind_height_m = told.hour.wind_height_m;
        }
        if variable == Variable::Rain {
            take_over(&mut hour, told, Variable::RainProbability);
        }
        take_over(&mut hour, told, variable);
    }
    hour
}

fn take_over(hour: &mut SeriesHour, told: &SeriesHour, variable: Variable) {
    forget(hour, variable);
    variable.set(&mut hour.hour, variable.of(&told.hour));
    if let Some(mark) = told.marks.get(&variable) {
        hour.marks.insert(variable, mark.clone());
    }
}

fn forget(hour: &mut SeriesHour, variable: Variable) {
    variable.set(&mut hour.hour, None);
    hour.marks.remove(&variable);
}

/// An hour as it is kept.
///
/// # Errors
/// Where a value is not a number; the screening leaves none such.
pub fn to_json(hour: &SeriesHour) -> Result<serde_json::Value, serde_json::Error> {
    serde_json::to_value(hour)
}

/// Hours that were kept; those that cannot be read are counted, not used.
#[must_use]
pub fn from_json(kept: Vec<serde_json::Value>) -> (Vec<SeriesHour>, usize) {
    let all = kept.len();
    let hours: Vec<SeriesHour> = kept
        .into_iter()
        .filter_map(|hour| serde_json::from_value(hour).ok())
        .collect();
    let lost = all - hours.len();
    (hours, lost)
}
