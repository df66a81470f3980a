//! From the rows of a logger to hours.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta};

use super::{ColumnPlan, Row, StampMarks};
use crate::agronomy::weather_record::{Provenance, RawHour, Reading};
use crate::weather::variable::Variable;

/// The logger's step: the most frequent distance of two lines, at most an hour;
/// the shortest of those if several are as frequent.
pub(super) fn step(rows: &[Row]) -> Option<TimeDelta> {
    rows.first()?;
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    for pair in rows.windows(2) {
        *counts
            .entry((pair[1].stamp - pair[0].stamp).num_seconds())
            .or_default() += 1;
    }
    let most = counts.values().max().copied().unwrap_or(0);
    let seconds = counts
        .into_iter()
        .find(|(_, count)| *count == most)
        .map_or(3600, |(s, _)| s);
    Some(TimeDelta::seconds(seconds.clamp(1, 3600)))
}

/// The sum and the count of a variable in an hour.
#[derive(Default, Clone, Copy)]
struct Gathered {
    sum: f64,
    count: u32,
}

/// Gathers rows into hours.
pub(super) fn gathered(rows: &[Row], plan: &ColumnPlan, step: TimeDelta) -> (Vec<RawHour>, usize) {
    let shift = match plan.time.marks {
        StampMarks::Start => TimeDelta::zero(),
        // A step that ends on the hour belongs to the hour before.
        StampMarks::End => step,
    };
    let mut implausible = 0;
    let mut hours: BTreeMap<i64, Vec<Gathered>> = BTreeMap::new();
    for row in rows {
        let hour = (row.stamp - shift).timestamp().div_euclid(3600);
        let sums = hours
            .entry(hour)
            .or_insert_with(|| vec![Gathered::default(); plan.columns.len()]);
        for ((sum, value), column) in sums.iter_mut().zip(&row.values).zip(&plan.columns) {
            match value.map(|value| column.variable.plausible(value)) {
                Some(Some(value)) => {
                    sum.sum += value;
                    sum.count += 1;
                }
                Some(None) => implausible += 1,
                None => {}
            }
        }
    }
    let wanted = u32::try_from(3600 / step.num_seconds().max(1))
        .unwrap_or(1)
        .max(1);
    let hours = hours
        .into_iter()
        .filter_map(|(hour, sums)| Some((DateTime::from_timestamp(hour * 3600, 0)?, sums)))
        .map(|(start, sums)| {
            let mut hour = RawHour::empty(start, plan.wind_height_m);
            for (sum, column) in sums.iter().zip(&plan.columns) {
                let value = sum.of(column.variable, wanted);
                let reading = value.map(|value| Reading {
                    value,
                    provenance: Provenance::Measured,
                });
                column.variable.set(&mut hour, reading);
            }
            hour
        })
        .collect();
    (hours, implausible)
}

impl Gathered {
    fn of(self, variable: Variable, wanted: u32) -> Option<f64> {
        match variable {
            Variable::Rain | Variable::Sunshine => (self.count >= wanted)
                .then_some(self.sum)
                .and_then(|sum| variable.plausible(sum)),
            _ => (self.count > 0 && 2 * self.count >= wanted)
                .then(|| self.sum / f64::from(self.count)),
        }
    }
}
