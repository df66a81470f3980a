//! When a zone may be watered: every closure of the site as spans of time,
//! each with the constraint that is its cause.
//!
//! Local time exists only here: rules, quiet windows and nights are turned
//! into instants once, both daylight-saving changes included.

use std::sync::Arc;

use chrono::{Datelike, NaiveDate, NaiveTime, TimeDelta};
use rayon::prelude::*;

use super::timetable::Constraint;
use crate::agronomy::sun::{self, SunDay};
use crate::agronomy::weather_record::WeatherHour;
use crate::site::local_time::{instant, next_day, start_of_day};
use crate::site::{DailyHours, DateParity, ExceptionEffect, QuietDays, Site, WateringRules, Zone};

/// Seconds of one hour.
pub const HOUR_S: i64 = 3600;

/// Local hour after which a morning run does not start (common practice, no
/// source: before wind and sun).
const LATEST_MORNING_H: i64 = 8;

/// A span in which the valve stays shut, in seconds of Unix time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Closure {
    /// First second.
    pub from: i64,
    /// First second no longer inside.
    pub to: i64,
    /// The cause.
    pub by: Constraint,
}

/// Closures of the whole site that do not differ between zones.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteClosures {
    /// The days that the plan touches.
    dates: Vec<NaiveDate>,
    /// First second of each of them.
    pub midnights: Arc<[i64]>,
    /// Wind and frost.
    weather: Vec<Closure>,
    /// Sunrise and sunset of the days.
    suns: Vec<Option<(i64, i64)>>,
    /// Nights.
    nights: Vec<Closure>,
    /// The latest hour of each morning for deep watering [s].
    pub mornings: Vec<i64>,
}

/// The closures of one zone: sorted, apart from each other.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Openings {
    closures: Vec<Closure>,
}

impl SiteClosures {
    /// Closures of a site over its weather, from `first` to `last` day. Without
    /// other threads: whoever opens valves must not wait for those that plan.
    #[must_use]
    pub fn of(site: &Site, weather: &[WeatherHour], first: NaiveDate, last: NaiveDate) -> Self {
        let dates = days(first, last);
        let suns = dates.iter().map(|&date| sun(site, date)).collect();
        Self::with_suns(site, weather, dates, suns)
    }

    /// The same, with the sun of each day worked out side by side: of many days
    /// it takes milliseconds.
    #[must_use]
    pub fn of_many_days(
        site: &Site,
        weather: &[WeatherHour],
        first: NaiveDate,
        last: NaiveDate,
    ) -> Self {
        let dates = days(first, last);
        let suns = dates.par_iter().map(|&date| sun(site, date)).collect();
        Self::with_suns(site, weather, dates, suns)
    }

    fn with_suns(
        site: &Site,
        weather: &[WeatherHour],
        dates: Vec<NaiveDate>,
        suns: Vec<Option<(i64, i64)>>,
    ) -> Self {
        let morning = |&date: &NaiveDate| {
            let hour = date.and_time(NaiveTime::MIN) + TimeDelta::hours(LATEST_MORNING_H);
            instant(site.place.time_zone, hour).timestamp()
        };
        let mornings = dates.iter().map(morning).collect();
        let midnight = |&date: &NaiveDate| start_of_day(site.place.time_zone, date).timestamp();
        Self {
            weather: weather_closures(site, weather),
            nights: nights(site, &suns),
            suns,
            mornings,
            midnights: dates.iter().map(midnight).collect(),
            dates,
        }
    }

    /// The same days and place under other limits and rules.
    #[must_use]
    pub fn under(&self, site: &Site, weather: &[WeatherHour]) -> Self {
        Self {
            weather: weather_closures(site, weather),
            nights: nights(site, &self.suns),
            ..self.clone()
        }
    }

    /// The openings of a zone; `by_night` leaves the nights open, for the
    /// deep soak of bare ground, where no leaf can stay wet.
    #[must_use]
    pub fn openings(&self, site: &Site, zone: &Zone, by_night: bool) -> Openings {
        let mut spans = self.weather.clone();
        if !by_night {
            spans.extend(&self.nights);
        }
        rule_closures(site, zone, &self.dates, &mut spans);
        quiet_closures(site, zone, &self.dates, &mut spans);
        Openings::new(spans)
    }
}

impl Openings {
    /// Openings between closures that may overlap; where they do, the
    /// first of [`Constraint`]'s order is named.
    #[must_use]
    pub fn new(spans: Vec<Closure>) -> Self {
        let mut edges: Vec<(i64, Constraint, i32)> = Vec::with_capacity(spans.len() * 2);
        for span in spans.iter().filter(|span| span.to > span.from) {
            edges.push((span.from, span.by, 1));
            edges.push((span.to, span.by, -1));
        }
        edges.sort_unstable();
        let mut open: std::collections::BTreeMap<Constraint, i32> =
            std::collections::BTreeMap::new();
        let mut closures: Vec<Closure> = Vec::new();
        for (index, &(at, by, change)) in edges.iter().enumerate() {
            let count = open.entry(by).or_insert(0);
            *count += change;
            if *count == 0 {
                open.remove(&by);
            }
            let until = edges.get(index + 1).map_or(at, |next| next.0);
            let Some((&by, _)) = open.first_key_value() else {
                continue;
            };
            match closures.last_mut() {
                Some(last) if last.to == at && last.by == by => last.to = until,
                _ if until > at => closures.push(Closure {
                    from: at,
                    to: until,
                    by,
                }),
                _ => {}
            }
        }
        Self { closures }
    }

    /// The same openings with one more closure.
    #[must_use]
    pub fn without(mut self, closure: Closure) -> Self {
        self.closures.push(closure);
        Self::new(self.closures)
    }

    /// All closures, in order.
    #[must_use]
    pub fn closures(&self) -> &[Closure] {
        &self.closures
    }

    /// The first closure that a run would touch.
    #[must_use]
    pub fn in_the_way(&self, start: i64, length: i64) -> Option<&Closure> {
        let index = self.closures.partition_point(|closure| closure.to <= start);
        self.closures
            .get(index)
            .filter(|closure| closure.from < start + length.max(1))
    }

    /// The stretches without a closure from an instant on: start and length,
    /// in order, the last without end.
    pub fn stretches(&self, from: i64) -> impl Iterator<Item = (i64, i64)> {
        let index = self.closures.partition_point(|closure| closure.to <= from);
        let ahead = &self.closures[index..];
        let starts = std::iter::once(from).chain(ahead.iter().map(|closure| closure.to));
        let ends = ahead.iter().map(|closure| closure.from);
        let ends = ends.chain(std::iter::once(i64::MAX));
        starts
            .zip(ends)
            .map(|(start, end)| (start, end.saturating_sub(start)))
            .filter(|&(_, length)| length > 0)
    }

    /// The earliest start from `start` on for a run of `length`.
    #[must_use]
    pub fn earliest(&self, start: i64, length: i64) -> i64 {
        let mut start = start;
        while let Some(closure) = self.in_the_way(start, length) {
            start = closure.to;
        }
        start
    }

    /// The latest start at or before `start` for a run of `length`.
    #[must_use]
    pub fn latest(&self, start: i64, length: i64) -> i64 {
        let mut start = start;
        while let Some(closure) = self.in_the_way(start, length) {
            start = closure.from - length.max(1);
        }
        start
    }
}

fn weather_closures(site: &Site, weather: &[WeatherHour]) -> Vec<Closure> {
    let mut closures: Vec<Closure> = Vec::new();
    for hour in weather {
        let windy = site
            .wind_limit
            .is_some_and(|limit| hour.wind_2m_m_per_s > limit.m_per_s());
        let by = if hour.air_temperature_c < site.frost_limit_c {
            Constraint::Frost
        } else if windy {
            Constraint::Wind
        } else {
            continue;
        };
        let from = hour.start.timestamp();
        match closures.last_mut() {
            Some(last) if last.to == from && last.by == by => last.to += HOUR_S,
            _ => closures.push(Closure {
                from,
                to: from + HOUR_S,
                by,
            }),
        }
    }
    closures
}

/// The days from `first` to `last`, at least one.
fn days(first: NaiveDate, last: NaiveDate) -> Vec<NaiveDate> {
    let mut dates = vec![first];
    let mut date = first;
    while date < last {
        date = next_day(date);
        dates.push(date);
    }
    dates
}

/// Sunrise and sunset of a day; none on days without both.
fn sun(site: &Site, date: NaiveDate) -> Option<(i64, i64)> {
    let (place, time_zone) = (&site.place, site.place.time_zone);
    match sun::sun_day(place.latitude_deg, place.longitude_deg, date, time_zone) {
        Ok(SunDay::RiseAndSet {
            sunrise, sunset, ..
        }) => Some((sunrise.timestamp(), sunset.timestamp())),
        _ => None,
    }
}

/// From before one sunset to before the next sunrise. Days on which the sun
/// does not rise or does not set have no night to keep dry for.
fn nights(site: &Site, suns: &[Option<(i64, i64)>]) -> Vec<Closure> {
    let dry = site.night.dry_before_sunset.num_seconds();
    let early = site.night.start_before_sunrise.num_seconds();
    let mut nights = Vec::with_capacity(suns.len());
    if let Some((sunrise, _)) = suns.first().copied().flatten() {
        // The end of the night before the first day.
        nights.push(Closure {
            from: sunrise - 12 * HOUR_S,
            to: sunrise - early,
            by: Constraint::Night,
        });
    }
    for (index, sun) in suns.iter().enumerate() {
        let Some((_, sunset)) = *sun else { continue };
        let next_sunrise = suns
            .get(index + 1)
            .copied()
            .flatten()
            .map_or(sunset + 8 * HOUR_S, |next| next.0);
        nights.push(Closure {
            from: sunset - dry,
            to: next_sunrise - early,
            by: Constraint::Night,
        });
    }
    nights
}

fn is_for(zones: &[String], zone: &Zone) -> bool {
    zones.is_empty() || zones.contains(&zone.name)
}

/// What the rules say of one local day. Hours that pass midnight are its early
/// and its late hours: who may water on odd dates may not on the even morning
/// after.
enum DayRule<'a> {
    Open,
    Hours(&'a [DailyHours]),
    Closed(Constraint),
}

fn day_rule<'a>(rules: &'a WateringRules, zone: &Zone, date: NaiveDate) -> DayRule<'a> {
    let in_force = || {
        rules.exceptions.iter().filter(|exception| {
            exception.from <= date && date <= exception.to && is_for(&exception.zones, zone)
        })
    };
    if in_force().any(|exception| exception.effect == ExceptionEffect::Ban) {
        return DayRule::Closed(Constraint::Ban);
    }
    for exception in in_force() {
        if let ExceptionEffect::Permit { hours } = &exception.effect {
            return if hours.is_empty() {
                DayRule::Open
            } else {
                DayRule::Hours(hours)
            };
        }
    }
    let parity_allows = match rules.dates {
        DateParity::Any => true,
        DateParity::Odd => !date.day().is_multiple_of(2),
        DateParity::Even => date.day().is_multiple_of(2),
    };
    if !parity_allows || !(rules.weekdays.is_empty() || rules.weekdays.contains(&date.weekday())) {
        return DayRule::Closed(Constraint::WateringRules);
    }
    if rules.hours.is_empty() {
        DayRule::Open
    } else {
        DayRule::Hours(&rules.hours)
    }
}

fn rule_closures(site: &Site, zone: &Zone, dates: &[NaiveDate], spans: &mut Vec<Closure>) {
    let time_zone = site.place.time_zone;
    for &date in dates {
        let day_start = start_of_day(time_zone, date).timestamp();
        let day_end = start_of_day(time_zone, next_day(date)).timestamp();
        match day_rule(&site.rules, zone, date) {
            DayRule::Open => {}
            DayRule::Closed(by) => spans.push(Closure {
                from: day_start,
                to: day_end,
                by,
            }),
            DayRule::Hours(hours) => {
                let mut open: Vec<(i64, i64)> = Vec::new();
                for hours in hours {
                    let from = instant(time_zone, date.and_time(hours.from)).timestamp();
                    let to = instant(time_zone, date.and_time(hours.to)).timestamp();
                    if hours.to > hours.from {
                        open.push((from, to));
                    } else {
                        open.extend([(day_start, to), (from, day_end)]);
                    }
                }
                open.sort_unstable();
                let mut closed_from = day_start;
                for (from, to) in open {
                    spans.push(Closure {
                        from: closed_from,
                        to: from,
                        by: Constraint::WateringRules,
                    });
                    closed_from = closed_from.max(to);
                }
                spans.push(Closure {
                    from: closed_from,
                    to: day_end,
                    by: Constraint::WateringRules,
                });
            }
        }
    }
}

fn quiet_closures(site: &Site, zone: &Zone, dates: &[NaiveDate], spans: &mut Vec<Closure>) {
    let time_zone = site.place.time_zone;
    for window in site
        .quiet_windows
        .iter()
        .filter(|window| is_for(&window.zones, zone))
    {
        // One of the evening before may reach into the first day, and one of
        // the day after may have to be dry before the last is over.
        let before = dates.first().and_then(|first| first.pred_opt());
        let after = dates.last().and_then(|last| last.succ_opt());
        for date in before.into_iter().chain(dates.iter().copied()).chain(after) {
            let applies = match &window.days {
                QuietDays::Weekly(days) => days.is_empty() || days.contains(&date.weekday()),
                QuietDays::Dates(days) => days.contains(&date),
            };
            if !applies {
                continue;
            }
            let end_date = if window.hours.to > window.hours.from {
                date
            } else {
                next_day(date)
            };
            let from = instant(time_zone, date.and_time(window.hours.from)) - window.dry_before;
            let to = instant(time_zone, end_date.and_time(window.hours.to));
            spans.push(Closure {
                from: from.timestamp(),
                to: to.timestamp(),
                by: Constraint::QuietWindow,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn closed(from: i64, to: i64, by: Constraint) -> Closure {
        Closure { from, to, by }
    }

    #[test]
    fn overlapping_closures_become_one_sequence_with_the_graver_cause_named() {
        let openings = Openings::new(vec![
            closed(0, 100, Constraint::Night),
            closed(50, 150, Constraint::WateringRules),
            closed(150, 160, Constraint::WateringRules),
            closed(300, 300, Constraint::Ban),
        ]);
        assert_eq!(
            openings.closures(),
            [
                closed(0, 50, Constraint::Night),
                closed(50, 160, Constraint::WateringRules)
            ]
        );
    }

    #[test]
    fn stretches_are_what_closures_leave() {
        let openings = Openings::new(vec![
            closed(100, 200, Constraint::Wind),
            closed(200, 230, Constraint::Night),
            closed(300, 400, Constraint::Night),
        ]);
        let from = |at| openings.stretches(at).take(2).collect::<Vec<_>>();
        assert_eq!(from(90), [(90, 10), (230, 70)]);
        assert_eq!(from(150)[0], (230, 70));
        assert_eq!(from(500)[0].0, 500);
    }

    #[test]
    fn a_run_fits_between_closures_or_moves_out_of_their_way() {
        let openings = Openings::new(vec![
            closed(100, 200, Constraint::Wind),
            closed(230, 400, Constraint::Night),
        ]);
        assert_eq!(openings.earliest(90, 10), 90);
        assert_eq!(openings.earliest(90, 11), 200);
        assert_eq!(openings.earliest(150, 31), 400);
        assert_eq!(openings.latest(150, 30), 70);
        assert_eq!(openings.latest(225, 30), 200);
        assert_eq!(
            openings.in_the_way(95, 10).map(|closure| closure.by),
            Some(Constraint::Wind)
        );
    }
}
