//! The weather that the daemon knows, and what stands in where it knows none.
//!
//! A seedbed is never left dry because a source is silent. Hours that nobody
//! tells are, in this order: drawn between their neighbours (up to three
//! hours); the same hour of the last seven known days, without their rain;
//! and where nothing was ever known, a warm clear day. Rain that nobody
//! foretells is never counted.

use std::collections::BTreeMap;

use chrono::{DateTime, DurationRound, TimeDelta, Utc};

use crate::agronomy::missing_data::{self, CompletionError, LONGEST_INTERPOLATED_H};
use crate::agronomy::weather_record::{
    GeoPosition, Provenance, RawHour, Reading, WeatherHour, WeatherVariable,
};
use crate::weather::warm_day::warm_hour;
use crate::weather::whole::mean_hour;

/// Days before now that are kept: longer than a season from seed.
pub(super) const KEPT_DAYS: i64 = 150;
/// Days ahead that are kept.
const AHEAD_DAYS: i64 = 16;
/// Days that stand in for one that is not known.
const DONOR_DAYS: i64 = 7;
/// So far back may the first of them lie.
const DONOR_REACH_DAYS: i64 = 10;
/// What a sensor of the site can tell.
const SENSED: [WeatherVariable; 5] = [
    WeatherVariable::AirTemperature,
    WeatherVariable::RelativeHumidity,
    WeatherVariable::Wind,
    WeatherVariable::Solar,
    WeatherVariable::Rain,
];

/// Hours of weather as the sources gave them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WeatherBook {
    hours: BTreeMap<DateTime<Utc>, RawHour>,
}

/// What stands in for hours that no source tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// The last known days, without rain.
    LastDays,
    /// A warm clear day.
    WarmDay,
}

/// Complete hours for a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// The hours, without a gap.
    pub hours: Vec<WeatherHour>,
    /// The first hour from now on that no source tells, and what stands in.
    pub stands_in: Option<(DateTime<Utc>, Basis)>,
}

impl WeatherBook {
    /// Takes hours in, variable by variable: later news replace earlier, but
    /// a forecast never replaces what was measured, and an hour in which a
    /// variable is missing leaves it as it was. Those that are news, as they
    /// are known now.
    pub fn take(&mut self, hours: &[RawHour], now: DateTime<Utc>) -> Vec<RawHour> {
        let oldest = now - TimeDelta::days(KEPT_DAYS);
        let latest = now + TimeDelta::days(AHEAD_DAYS);
        let mut news = Vec::new();
        for hour in hours {
            if hour.start < oldest || hour.start > latest || hour.start != floor(hour.start) {
                continue;
            }
            let known = self.hours.get(&hour.start);
            let laid = known.map_or(*hour, |known| laid_over(known, hour));
            if known != Some(&laid) {
                self.hours.insert(hour.start, laid);
                news.push(laid);
            }
        }
        self.hours = self.hours.split_off(&oldest);
        news
    }

    /// Takes the word of a sensor back: of these hours the readings that are
    /// in force count as estimates, until any source tells them. Those that
    /// have changed, as they are known now.
    pub fn doubt(&mut self, hours: &[RawHour]) -> Vec<RawHour> {
        let mut news = Vec::new();
        for hour in hours {
            let Some(known) = self.hours.get_mut(&hour.start) else {
                continue;
            };
            let before = *known;
            for variable in SENSED {
                let doubted = variable.of(hour);
                if doubted.is_some() && variable.of(known) == doubted {
                    let value = doubted.map(|reading| reading.value);
                    variable.set(known, value.map(Reading::estimated));
                }
            }
            if *known != before {
                news.push(*known);
            }
        }
        news
    }

    /// Complete hours from `from` to `to` for a plan that is made `now`.
    ///
    /// # Errors
    /// [`CompletionError`], which stands for a fault of ours: every gap is
    /// filled before.
    pub fn outlook(
        &self,
        place: &GeoPosition,
        (from, to): (DateTime<Utc>, DateTime<Utc>),
        now: DateTime<Utc>,
    ) -> Result<Outlook, CompletionError> {
        let hour = TimeDelta::hours(1);
        let mut raw = Vec::new();
        let mut stands_in = None;
        let mut at = floor(from);
        while at < to {
            if let Some(known) = self.hours.get(&at) {
                raw.push(*known);
            } else if raw.is_empty() || !self.is_short_gap(at, to) {
                let (stand_in, basis) = self.stand_in(at, place);
                if at + hour > now && stands_in.is_none() {
                    stands_in = Some((at, basis));
                }
                raw.push(stand_in);
            }
            at += hour;
        }
        let completed = missing_data::complete(&raw, place)?;
        Ok(Outlook {
            hours: completed.hours,
            stands_in,
        })
    }

    /// Whether an hour lies in a gap that can be drawn across.
    fn is_short_gap(&self, at: DateTime<Utc>, to: DateTime<Utc>) -> bool {
        let before = self.hours.range(..at).next_back();
        let after = self.hours.range(at..to).next();
        match (before, after) {
            (Some((before, _)), Some((after, _))) => {
                let missing = (*after - *before).num_hours() - 1;
                usize::try_from(missing).is_ok_and(|missing| missing <= LONGEST_INTERPOLATED_H)
            }
            _ => false,
        }
    }

    fn stand_in(&self, at: DateTime<Utc>, place: &GeoPosition) -> (RawHour, Basis) {
        let donors: Vec<&RawHour> = self.donors(at).collect();
        if donors.is_empty() {
            return (warm_hour(at, place), Basis::WarmDay);
        }
        (mean_hour(at, &donors), Basis::LastDays)
    }

    /// The same hour of the last known days before `at`.
    fn donors(&self, at: DateTime<Utc>) -> impl Iterator<Item = &RawHour> {
        // An hour far ahead looks back from the last one that is known.
        let last = self.hours.range(..at).next_back().map(|(start, _)| *start);
        let gap_days = last.map_or(0, |last| (at - last).num_days());
        let first = gap_days.max(1);
        let days = if first <= DONOR_REACH_DAYS {
            first..first + DONOR_DAYS
        } else {
            0..0
        };
        days.filter_map(move |day| self.hours.get(&(at - TimeDelta::days(day))))
            .filter(|hour| hour.air_temperature_c.is_some())
    }
}

/// An hour with what is newly told of it.
fn laid_over(known: &RawHour, new: &RawHour) -> RawHour {
    let is_measured = |reading: Reading| reading.provenance == Provenance::Measured;
    let is_better = |known: Option<Reading>, new: Option<Reading>| match (known, new) {
        (_, None) => false,
        (Some(known), Some(new)) => is_measured(new) || !is_measured(known),
        (None, Some(_)) => true,
    };
    let better = |known, new| if is_better(known, new) { new } else { known };
    let (is_new_wind, is_new_rain) = (
        is_better(known.wind_m_per_s, new.wind_m_per_s),
        is_better(known.rain_mm, new.rain_mm),
    );
    let (wind, rain) = (
        if is_new_wind { new } else { known },
        if is_new_rain { new } else { known },
    );
    RawHour {
        start: known.start,
        air_temperature_c: better(known.air_temperature_c, new.air_temperature_c),
        relative_humidity_pct: better(known.relative_humidity_pct, new.relative_humidity_pct),
        wind_m_per_s: wind.wind_m_per_s,
        wind_height_m: wind.wind_height_m,
        solar_w_per_m2: better(known.solar_w_per_m2, new.solar_w_per_m2),
        sunshine_h: better(known.sunshine_h, new.sunshine_h),
        rain_mm: rain.rain_mm,
        rain_probability: rain.rain_probability,
        pressure_kpa: better(known.pressure_kpa, new.pressure_kpa),
    }
}

/// The start of the hour in which an instant lies.
#[must_use]
pub fn floor(at: DateTime<Utc>) -> DateTime<Utc> {
    at.duration_trunc(TimeDelta::hours(1)).unwrap_or(at)
}

/// What stands in for missing weather, in words.
#[must_use]
pub fn in_words(from: DateTime<Utc>, basis: Basis) -> String {
    let what = match basis {
        Basis::LastDays => "the last known days without their rain",
        Basis::WarmDay => "a warm clear day",
    };
    format!(
        "no weather is known from {} on: the plan takes {what} in its place",
        from.format("%Y-%m-%d %H:%M UTC")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::warm_day::dry_hour;

    const PLACE: GeoPosition = GeoPosition {
        latitude_deg: 36.1,
        longitude_deg: -79.9,
        elevation_m: 270.0,
        coast: false,
    };

    fn noon() -> DateTime<Utc> {
        "2023-08-22T12:00:00Z".parse().unwrap()
    }

    fn told(start: DateTime<Utc>, temperature_c: f64, provenance: Provenance) -> RawHour {
        let reading = |value| Some(Reading { value, provenance });
        RawHour {
            air_temperature_c: reading(temperature_c),
            rain_mm: reading(5.0),
            ..dry_hour(start)
        }
    }

    #[test]
    fn without_any_weather_a_warm_clear_day_stands_in_and_says_so() {
        let to = noon() + TimeDelta::hours(36);
        let outlook = WeatherBook::default()
            .outlook(&PLACE, (noon(), to), noon())
            .unwrap();
        assert_eq!(outlook.hours.len(), 36);
        assert_eq!(outlook.stands_in, Some((noon(), Basis::WarmDay)));
        assert!(outlook.hours.iter().all(|hour| hour.rain_mm.abs() < 1e-12));
        let warmest = outlook.hours.iter().map(|hour| hour.air_temperature_c);
        assert!(warmest.fold(0.0, f64::max) > 28.0);
    }

    #[test]
    fn stale_weather_becomes_the_last_days_without_their_rain() {
        let mut book = WeatherBook::default();
        let hours: Vec<RawHour> = (0..72)
            .map(|h| {
                told(
                    noon() - TimeDelta::hours(72 - h),
                    18.0,
                    Provenance::Forecast,
                )
            })
            .collect();
        book.take(&hours, noon());
        let from = noon() - TimeDelta::hours(24);
        let to = noon() + TimeDelta::hours(60);
        let outlook = book.outlook(&PLACE, (from, to), noon()).unwrap();
        assert_eq!(outlook.hours.len(), 84);
        assert_eq!(outlook.stands_in, Some((noon(), Basis::LastDays)));
        for hour in &outlook.hours {
            assert!((hour.air_temperature_c - 18.0).abs() < 1e-9);
            let rain_mm = if hour.start < noon() { 5.0 } else { 0.0 };
            assert!((hour.rain_mm - rain_mm).abs() < 1e-9);
        }
    }

    #[test]
    fn winds_of_two_heights_stand_in_as_the_wind_of_one() {
        // FAO-56, eq. 47: 3.2 m/s at 10 m are 2.4 m/s at 2 m (Example 14).
        let wind = |start, value, height_m| RawHour {
            wind_m_per_s: Some(Reading {
                value,
                provenance: Provenance::Measured,
            }),
            wind_height_m: height_m,
            ..told(start, 18.0, Provenance::Measured)
        };
        for heights in [[2.0, 10.0], [10.0, 2.0]] {
            let mut book = WeatherBook::default();
            let hours: Vec<RawHour> = (0..48)
                .map(|h| {
                    let height_m = heights[usize::from(h >= 24)];
                    let speed = if height_m > 5.0 { 3.2 } else { 2.4 };
                    wind(noon() - TimeDelta::hours(48 - h), speed, height_m)
                })
                .collect();
            book.take(&hours, noon());
            let to = noon() + TimeDelta::hours(24);
            let outlook = book.outlook(&PLACE, (noon(), to), noon()).unwrap();
            for hour in &outlook.hours {
                let wind = hour.wind_2m_m_per_s;
                assert!((wind - 2.4).abs() < 0.05, "{wind} of {heights:?}");
            }
        }
    }

    #[test]
    fn a_forecast_does_not_replace_what_was_measured() {
        let mut book = WeatherBook::default();
        book.take(&[told(noon(), 20.0, Provenance::Measured)], noon());
        book.take(&[told(noon(), 30.0, Provenance::Forecast)], noon());
        let reading = book.hours[&noon()].air_temperature_c.unwrap();
        assert!((reading.value - 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_forecast_replaces_what_a_sensor_has_taken_back() {
        let mut book = WeatherBook::default();
        let stuck = told(noon(), 20.0, Provenance::Measured);
        book.take(&[stuck], noon());
        assert_eq!(book.doubt(&[stuck]).len(), 1);
        assert_eq!(book.doubt(&[stuck]).len(), 0, "once is enough");
        book.take(&[told(noon(), 30.0, Provenance::Forecast)], noon());
        let reading = book.hours[&noon()].air_temperature_c.unwrap();
        assert!((reading.value - 30.0).abs() < 1e-9);
    }

    #[test]
    fn what_one_sensor_measured_leaves_the_rest_of_the_forecast() {
        let mut book = WeatherBook::default();
        let mut forecast = told(noon(), 30.0, Provenance::Forecast);
        forecast.rain_probability = Some(0.4);
        book.take(&[forecast], noon());
        let gauge = RawHour {
            rain_mm: told(noon(), 0.0, Provenance::Measured).rain_mm,
            rain_probability: Some(1.0),
            ..dry_hour(noon())
        };
        book.take(&[gauge], noon());
        book.take(&[forecast], noon());
        let known = book.hours[&noon()];
        assert_eq!(known.air_temperature_c, forecast.air_temperature_c);
        assert_eq!(known.rain_mm, gauge.rain_mm);
        assert_eq!(known.rain_probability, Some(1.0));
    }

    #[test]
    fn hours_of_absurd_times_are_not_kept() {
        let mut book = WeatherBook::default();
        let far = noon() + TimeDelta::days(400);
        let odd = noon() + TimeDelta::minutes(10);
        let old = noon() - TimeDelta::days(400);
        for at in [far, odd, old] {
            book.take(&[told(at, 20.0, Provenance::Forecast)], noon());
        }
        assert!(book.hours.is_empty());
    }

    #[test]
    fn a_forecast_each_hour_for_a_year_leaves_a_bounded_number_of_hours() {
        let mut book = WeatherBook::default();
        let most = usize::try_from((KEPT_DAYS + AHEAD_DAYS) * 24 + 1).unwrap();
        for day in 0..365 {
            let now = noon() + TimeDelta::days(day);
            let hours: Vec<RawHour> = (0..20 * 24)
                .map(|h| told(now + TimeDelta::hours(h), 18.0, Provenance::Forecast))
                .collect();
            book.take(&hours, now);
            assert!(book.hours.len() <= most, "{} hours", book.hours.len());
        }
        assert_eq!(book.hours.len(), most);
    }
}
