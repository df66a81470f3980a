//! The first week of young grass, in which misting tapers off: whether the
//! layer that is watered then, deeper by the day, keeps what it must.
//!
//! It is judged for the plan on the exact ground alone: people who set timers
//! change them then as well, and no practice says how.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;

use super::tally::hours;
use super::trial::{Bed, HOUR_S, Plot, Quarter, Watered};
use crate::column::ColumnError;

/// Length of the judged span, from when the slowest species is up.
const SPAN: TimeDelta = TimeDelta::days(7);

/// How moist the first week had it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Taper {
    /// Begin: the slowest species is up.
    pub from: DateTime<Utc>,
    /// End: a week later, or the end of the backtest.
    pub to: DateTime<Utc>,
    /// Depth of the managed layer in the last hour [mm].
    pub layer_mm: f64,
    /// Daylight hours judged.
    pub daylight_h: f64,
    /// Those with the mean of the managed layer below what the allowed
    /// depletion of the hour leaves, in the driest quarter.
    pub dry_driest_h: f64,
    /// The same at the mean of the zone, by which young grass is watered.
    pub dry_mean_h: f64,
}

impl Taper {
    /// The week after all is up; none where the backtest ends before.
    ///
    /// # Errors
    /// [`ColumnError`] from the column.
    pub fn of(plot: &Plot, bed: &Bed, runs: &[Watered]) -> Result<Option<Self>, ColumnError> {
        let from = plot.season.all_up.max(plot.from);
        let to = (plot.season.all_up + SPAN).min(plot.to);
        let Some(last) = plot.hours_to(to).last().filter(|_| from < to) else {
            return Ok(None);
        };
        let dry_h = |quarter| -> Result<f64, ColumnError> {
            let mut column = bed.column.clone();
            let mut watering = plot.watering(bed, (runs, quarter));
            let mut dry_s = 0;
            for hour in plot.hours_to(to) {
                let judged = hour.daylight && hour.start >= from;
                let threshold = bed.soil.threshold(hour.depletion_share);
                plot.water_hour(&mut column, hour, &mut watering, |look| {
                    let content = look.column.mean_water_content(0.0, hour.layer_mm);
                    if judged && content < threshold {
                        dry_s += look.to - look.from;
                    }
                })?;
            }
            Ok(hours(dry_s))
        };
        let daylight = plot.hours_to(to).filter(|hour| hour.daylight);
        let daylight = daylight.filter(|hour| hour.start >= from);
        Ok(Some(Self {
            from,
            to,
            layer_mm: last.layer_mm,
            daylight_h: hours(daylight.map(|_| HOUR_S).sum()),
            dry_driest_h: dry_h(Quarter::Driest)?,
            dry_mean_h: dry_h(Quarter::Mean)?,
        }))
    }
}
