//! Warm dry days in place of weather that nobody knows: for a look at a plan
//! weeks ahead, when a person asks for it.

use chrono::{DateTime, DurationRound as _, TimeDelta, Utc};

use super::Failure;
use crate::agronomy::missing_data::complete;
use crate::agronomy::weather_record::{GeoPosition, RawHour, WeatherHour};
use crate::site::Site;
use crate::units::in_units;
use crate::weather::warm_day::{WARM_DAY_C, warm_hour};

/// Farther from the plan known weather is not bridged to.
const LONGEST_BRIDGE: TimeDelta = TimeDelta::days(60);
/// Days before a plan of which nothing is known: the balance begins in them.
const LEAD: TimeDelta = TimeDelta::days(10);
/// And after it, for the dates of emergence and first mowing.
const TAIL: TimeDelta = TimeDelta::days(60);
/// What a typical year is and where it is had.
pub const TYPICAL_YEAR: &str = "for days that no forecast reaches, name a typical year under [weather] as \
    `typical-year = \"FILE.epw\"`: an EPW or TMY3 file holds the hours of an average year at a place, and \
    national weather and energy agencies give it away (docs/weather.md)";

/// The known hours with warm dry days around them over the whole span, and
/// what is to be told of it; nothing where the known hours reach.
///
/// # Errors
/// [`Failure::Input`] when the hours that stand in cannot be made.
pub fn with_warm_days(
    site: &Site,
    known: Vec<WeatherHour>,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
) -> Result<(Vec<WeatherHour>, Option<String>), Failure> {
    let hour = TimeDelta::hours(1);
    let reach = known.first().zip(known.last());
    let reach = reach.map(|(first, last)| (first.start, last.start + hour));
    let near = reach.filter(|(first, end)| *first <= to && *end + LONGEST_BRIDGE >= from);
    let floor = |at: DateTime<Utc>| at.duration_trunc(hour).unwrap_or(at);
    let begin = floor(from - LEAD);
    let (first, end) = near.unwrap_or((begin, begin));
    let is_missing = |at: DateTime<Utc>| (at < first || at >= end) && at + hour > from && at < to;
    let missing: Vec<DateTime<Utc>> = hours(floor(from), to)
        .filter(|at| is_missing(*at))
        .collect();
    let Some(since) = missing.first() else {
        return Ok((known, None));
    };
    let place = GeoPosition::from(&site.place);
    let warm = |from, to| {
        let raw: Vec<RawHour> = hours(from, to).map(|at| warm_hour(at, &place)).collect();
        match raw.is_empty() {
            true => Ok(Vec::new()),
            false => complete(&raw, &place)
                .map(|completed| completed.hours)
                .map_err(|error| Failure::Input(error.to_string())),
        }
    };
    let mut all = match first > from {
        true => warm(begin, first)?,
        false => Vec::new(),
    };
    all.extend(known.into_iter().filter(|_| near.is_some()));
    all.extend(warm(end, floor(to + TAIL))?);
    let (mean_c, half_range_c) = WARM_DAY_C;
    let told = format!(
        "for orientation only: nobody knows the weather of {} of the plan's {} h, the first from {} on; \
         warm dry days ({} to {} °C, no rain) stand in, as --assume-warm-dry asks; plan again when a \
         forecast reaches these days",
        missing.len(),
        (to - from).num_hours(),
        since
            .with_timezone(&site.place.time_zone)
            .format("%Y-%m-%d %H:%M"),
        mean_c - half_range_c,
        mean_c + half_range_c,
    );
    Ok((all, Some(in_units(&told, site.units))))
}

/// The starts of the hours of a span.
fn hours(from: DateTime<Utc>, to: DateTime<Utc>) -> impl Iterator<Item = DateTime<Utc>> {
    let next = |at: &DateTime<Utc>| Some(*at + TimeDelta::hours(1));
    std::iter::successors(Some(from), next).take_while(move |at| *at < to)
}
