//! Lays hours on a grid without gaps and fills what is short enough to fill.
//!
//! Own model throughout: FAO-56 has rules for a missing variable, not for a
//! missing hour.

use chrono::TimeDelta;

use super::CompletionError;
use super::note::{EstimateRule, Ledger};
use crate::agronomy::atmosphere::wind_factor_to_2m;
use crate::agronomy::weather_record::{RawHour, Reading, WeatherVariable};

/// Longest run of missing hours that is drawn straight between its ends [h].
pub const LONGEST_INTERPOLATED_H: usize = 3;
/// How many days before or after may lend an hour.
pub const NEIGHBOURING_DAYS: usize = 3;
/// Longest run of hours without air temperature that days on both sides can
/// fill [h].
pub const LONGEST_GAP_H: i64 = 144;

const HOUR: TimeDelta = TimeDelta::hours(1);
const DAY_H: usize = 24;

/// The variables that are drawn or lent, and where they stand in the record.
const FIELDS: [(WeatherVariable, Field); 4] = [
    (WeatherVariable::AirTemperature, |hour| {
        &mut hour.air_temperature_c
    }),
    (WeatherVariable::RelativeHumidity, |hour| {
        &mut hour.relative_humidity_pct
    }),
    (WeatherVariable::Wind, |hour| &mut hour.wind_m_per_s),
    (WeatherVariable::Solar, |hour| &mut hour.solar_w_per_m2),
];

type Field = fn(&mut RawHour) -> &mut Option<Reading>;

/// Hours without gaps, each with an air temperature, wind taken to 2 m.
pub(super) fn fill(raw: &[RawHour], ledger: &mut Ledger) -> Result<Vec<RawHour>, CompletionError> {
    let mut grid = Grid::lay(raw)?;
    for (variable, field) in FIELDS {
        grid.draw_short_gaps(variable, field, ledger);
    }
    grid.lend_from_neighbouring_days(ledger)?;
    Ok(grid.hours)
}

struct Grid {
    hours: Vec<RawHour>,
    /// Whether nothing at all is known of the hour.
    absent: Vec<bool>,
}

impl Grid {
    fn lay(raw: &[RawHour]) -> Result<Self, CompletionError> {
        let first = raw.first().ok_or(CompletionError::Empty)?;
        let mut hours: Vec<RawHour> = Vec::with_capacity(raw.len());
        let mut absent = Vec::with_capacity(raw.len());
        let (mut height_m, mut factor) =
            (first.wind_height_m, wind_factor_to_2m(first.wind_height_m));
        let mut next = first.start;
        for hour in raw {
            let late = hour.start - next;
            if late < TimeDelta::zero() {
                return Err(CompletionError::OutOfOrder { at: hour.start });
            }
            if late
                .num_nanoseconds()
                .is_none_or(|ns| ns % 3_600_000_000_000 != 0)
            {
                return Err(CompletionError::OffTheHour { at: hour.start });
            }
            if late.num_hours() > LONGEST_GAP_H {
                return Err(CompletionError::GapTooLong {
                    from: next,
                    hours: late.num_hours(),
                });
            }
            while next < hour.start {
                hours.push(RawHour::empty(next, 2.0));
                absent.push(true);
                next += HOUR;
            }
            if hour.wind_height_m.to_bits() != height_m.to_bits() {
                (height_m, factor) = (hour.wind_height_m, wind_factor_to_2m(hour.wind_height_m));
            }
            let mut at_2m = *hour;
            at_2m.wind_height_m = 2.0;
            if let Some(wind) = &mut at_2m.wind_m_per_s {
                wind.value *= factor;
            }
            hours.push(at_2m);
            absent.push(false);
            next += HOUR;
        }
        Ok(Self { hours, absent })
    }

    fn draw_short_gaps(&mut self, variable: WeatherVariable, field: Field, ledger: &mut Ledger) {
        let mut known: Option<(usize, f64)> = None;
        for index in 0..self.hours.len() {
            let Some(here) = *field(&mut self.hours[index]) else {
                continue;
            };
            if let Some((before, from)) = known {
                let steps = index - before;
                if (2..=LONGEST_INTERPOLATED_H + 1).contains(&steps) {
                    for step in 1..steps {
                        let share = step_share(step, steps);
                        self.set_drawn(
                            before + step,
                            (variable, field),
                            from + (here.value - from) * share,
                            ledger,
                        );
                    }
                }
            }
            known = Some((index, here.value));
        }
    }

    fn set_drawn(
        &mut self,
        index: usize,
        (variable, field): (WeatherVariable, Field),
        value: f64,
        ledger: &mut Ledger,
    ) {
        let hour = &mut self.hours[index];
        // Sunshine of the hour itself tells more of its radiation than a line.
        if variable == WeatherVariable::Solar && hour.sunshine_h.is_some() {
            return;
        }
        *field(hour) = Some(Reading::estimated(value));
        ledger.add(variable, EstimateRule::BetweenNeighbours, hour.start);
    }

    fn lend_from_neighbouring_days(&mut self, ledger: &mut Ledger) -> Result<(), CompletionError> {
        let missing: Vec<usize> = (0..self.hours.len())
            .filter(|&index| self.hours[index].air_temperature_c.is_none())
            .collect();
        // Found first and lent after, so that nothing lent is lent again.
        let lenders: Vec<Option<usize>> = missing
            .iter()
            .map(|&index| self.lender_for(index))
            .collect();
        for (&index, lender) in missing.iter().zip(lenders) {
            match lender {
                Some(lender) => self.lend(lender, index, ledger),
                None => return Err(self.gap_around(index, &missing)),
            }
        }
        Ok(())
    }

    /// The nearest day with this hour; of two as near, the earlier one.
    fn lender_for(&self, index: usize) -> Option<usize> {
        (1..=NEIGHBOURING_DAYS)
            .flat_map(|days| {
                [
                    index.checked_sub(days * DAY_H),
                    index.checked_add(days * DAY_H),
                ]
            })
            .flatten()
            .find(|&other| {
                self.hours
                    .get(other)
                    .is_some_and(|hour| hour.air_temperature_c.is_some())
            })
    }

    fn lend(&mut self, lender: usize, index: usize, ledger: &mut Ledger) {
        let mut lent = self.hours[lender];
        let start = self.hours[index].start;
        let fields = if self.absent[index] {
            &FIELDS[..]
        } else {
            &FIELDS[..1]
        };
        for (variable, field) in fields {
            let own = field(&mut self.hours[index]);
            let Some(reading) = field(&mut lent).filter(|_| own.is_none()) else {
                continue;
            };
            *own = Some(Reading::estimated(reading.value));
            ledger.add(*variable, EstimateRule::NeighbouringDay, start);
        }
        if self.absent[index] {
            self.hours[index].sunshine_h = lent.sunshine_h;
        }
    }

    fn gap_around(&self, index: usize, missing: &[usize]) -> CompletionError {
        let is_missing = |other: usize| missing.binary_search(&other).is_ok();
        let mut from = index;
        while from > 0 && is_missing(from - 1) {
            from -= 1;
        }
        let mut to = index + 1;
        while is_missing(to) {
            to += 1;
        }
        CompletionError::GapTooLong {
            from: self.hours[from].start,
            hours: i64::try_from(to - from).unwrap_or(i64::MAX),
        }
    }
}

/// How far along a gap of `steps` hours the hour `step` lies.
fn step_share(step: usize, steps: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "at most four hours")]
    let share = step as f64 / steps as f64;
    share
}
