//! Collects values into hours, in order, each hour once and bounded.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::{MAX_HOURS, Note, ReplyError, SERVICE_WIND_HEIGHT_M};
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use crate::weather::variable::Variable;

/// Seconds in an hour.
pub(super) const HOUR_S: i64 = 3600;

/// Hours in the making.
#[derive(Debug, Default)]
pub(super) struct HourBins {
    hours: BTreeMap<i64, RawHour>,
    implausible: BTreeMap<Variable, usize>,
    bad_times: usize,
    unknown_units: Vec<(Variable, String)>,
    too_many: bool,
}

impl HourBins {
    /// Sets a variable of the hour that starts at `hour` (hours since the
    /// epoch), unless the value cannot be.
    pub(super) fn set(&mut self, hour: i64, variable: Variable, value: f64) {
        let Some(value) = variable.plausible(value) else {
            *self.implausible.entry(variable).or_default() += 1;
            return;
        };
        if !self.hours.contains_key(&hour) && self.hours.len() >= MAX_HOURS {
            self.too_many = true;
            return;
        }
        let Some(start) = hour_start(hour) else {
            self.bad_times += 1;
            return;
        };
        let record = self
            .hours
            .entry(hour)
            .or_insert_with(|| RawHour::empty(start, SERVICE_WIND_HEIGHT_M));
        // Cloud cover is not sunshine: what is made of it is an estimate.
        let provenance = match variable {
            Variable::Sunshine => Provenance::Estimated,
            _ => Provenance::Forecast,
        };
        variable.set(record, Some(Reading { value, provenance }));
    }

    /// Notes an entry whose time cannot be used.
    pub(super) fn bad_time(&mut self) {
        self.bad_times += 1;
    }

    /// Notes a column that is left out for its unit.
    pub(super) fn unknown_unit(&mut self, variable: Variable, unit: &str) {
        self.unknown_units.push((variable, super::shown(unit)));
    }

    /// The hours in order and the notes.
    ///
    /// # Errors
    /// [`ReplyError::NoHours`] if there is none.
    pub(super) fn finish(self) -> Result<(Vec<RawHour>, Vec<Note>), ReplyError> {
        if self.hours.is_empty() {
            return Err(ReplyError::NoHours);
        }
        let mut notes: Vec<Note> = self
            .unknown_units
            .into_iter()
            .map(|(variable, unit)| Note::UnknownUnit { variable, unit })
            .collect();
        notes.extend(
            self.implausible
                .into_iter()
                .map(|(variable, count)| Note::Implausible { variable, count }),
        );
        if self.bad_times > 0 {
            notes.push(Note::BadTimes {
                count: self.bad_times,
            });
        }
        if self.too_many {
            notes.push(Note::TooManyHours);
        }
        Ok((self.hours.into_values().collect(), notes))
    }
}

/// The moment an hour since the epoch starts; `None` outside years 1 to 9999.
pub(super) fn hour_start(hour: i64) -> Option<DateTime<Utc>> {
    let seconds = hour.checked_mul(HOUR_S)?;
    // 0001-01-01 and 9999-12-31 in seconds since the epoch.
    (-62_135_596_800..=253_402_214_400)
        .contains(&seconds)
        .then_some(())?;
    DateTime::from_timestamp(seconds, 0)
}
