//! A season watered as the daemon waters it: planned again every hour, with
//! the past as it was and the future as it was foreseen.
//!
//! A plan made an hour later is not the same plan: the forecast has changed
//! and the balance has seen what was observed. So every hour is planned; the
//! time is saved by looking only a day or two ahead.

use chrono::{DateTime, TimeDelta, Utc};

use super::forecast::{ForecastError, known_at};
use super::noise::Noise;
use crate::agronomy::weather_record::WeatherHour;
use crate::plan::follow::Following;
use crate::plan::timetable::{Run, Trigger};
use crate::plan::{PlanError, Span};
use crate::site::Site;
use crate::site::local_time::{date_of, next_day, start_of_day};

/// A plan looks ahead at least so far, and then to the end of the local day.
const AHEAD: TimeDelta = TimeDelta::hours(24);
/// A deep soak is looked for so far ahead: it may take days.
const SOAK_AHEAD: TimeDelta = TimeDelta::days(4);
/// Weather before the earliest sowing that a plan is given; the layer grows
/// by temperature only after it.
const BEFORE_SOWING: TimeDelta = TimeDelta::days(1);

/// The runs of a season from `span.begin` to `span.to`.
///
/// # Errors
/// [`PlanError`] when no plan can be made.
pub fn water(
    site: &Site,
    truth: &[WeatherHour],
    span: &Span,
    (error, noise): (&ForecastError, Noise),
) -> Result<Vec<Run>, PlanError> {
    let before = &truth[..index_of(truth, span.begin)];
    let reached = &truth[..(before.len() + 1).min(truth.len())];
    let mut following = Following::begin(site, reached, span.begin)?;
    let first_sown = site.zones.iter().map(|zone| zone.seeding.at).min();
    let oldest = first_sown.map_or(span.begin, |sown| (sown - BEFORE_SOWING).min(span.begin));
    let hour = TimeDelta::hours(1);
    let end = truth.last().map_or(span.to, |last| last.start + hour);
    let mut now = span.begin;
    while now < span.to {
        let to = horizon(site, now).min(end);
        let from = oldest.max(now - TimeDelta::days(30)).min(now - hour);
        let seen = &truth[index_of(truth, from)..index_of(truth, to)];
        let known = known_at(seen, now, error, noise);
        let planned = following.go_on(&known, now, to)?;
        let begun = begun_by(&planned, now + hour);
        following.give(begun);
        now += hour;
    }
    Ok(following.given().to_vec())
}

/// What of a plan is bound to happen once the next hour is over: the runs
/// that begin in it and, with the first cycle of a deep soak, all the others.
fn begun_by(planned: &[Run], until: DateTime<Utc>) -> Vec<Run> {
    let soaking = |run: &Run| {
        run.reason.trigger == Trigger::PreSoak
            && planned.iter().any(|other| {
                other.zone == run.zone
                    && other.reason.trigger == Trigger::PreSoak
                    && other.start < until
            })
    };
    planned
        .iter()
        .filter(|run| run.start < until || soaking(run))
        .cloned()
        .collect()
}

/// How far a plan made at `now` looks.
fn horizon(site: &Site, now: DateTime<Utc>) -> DateTime<Utc> {
    let soaks = site
        .zones
        .iter()
        .map(|zone| zone.seeding.at - zone.pre_soak.rest)
        .filter(|&deadline| deadline > now && deadline <= now + SOAK_AHEAD)
        .max();
    let reach = soaks.unwrap_or(now).max(now + AHEAD);
    let time_zone = site.place.time_zone;
    start_of_day(time_zone, next_day(date_of(time_zone, reach)))
}

/// Index of the first hour that starts at or after an instant.
fn index_of(weather: &[WeatherHour], at: DateTime<Utc>) -> usize {
    weather.partition_point(|hour| hour.start < at)
}
