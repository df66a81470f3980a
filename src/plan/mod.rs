//! From needs to a timetable, under every constraint of the site at once.
//!
//! [`make_timetable`] is a pure function: the same site, weather and span
//! give the same timetable. The order of work: [`window`] says when each
//! zone may be watered, [`course`] carries each zone's balance forward and
//! finds its next need, [`schedule`] places the needs in the calendar of the
//! supply ([`bookings`], [`packing`]) at one or several supplies ([`tried`]),
//! [`shortfall`] and [`mend`] tell what was not met. [`follow`] plans again and
//! again as time passes, [`rolling`] from what was really applied.

mod ahead;
pub mod bookings;
mod bounds;
pub mod course;
pub mod doubts;
pub mod follow;
mod hours;
pub mod mend;
pub mod milestones;
pub mod moment;
pub mod packing;
pub mod pre_soak;
pub mod rolling;
pub mod schedule;
pub mod shortfall;
pub mod soaker;
pub mod stand;
mod supplies;
pub mod timetable;
pub mod tried;
pub mod turf;
pub mod water;
pub mod waterer;
pub mod window;

use std::ops::Range;

use chrono::{DateTime, TimeDelta, Utc};

use crate::agronomy::soil_hydraulics::SoilError;
use crate::agronomy::weather_record::WeatherHour;
use crate::site::{Site, Zone};
use schedule::{Prepared, Schedule};
use timetable::{PlanNote, SeedDrySpell, Timetable, ZonePlan};

/// Days for a deep soak, before the rest that it ends with.
const SOAK_DAYS: i64 = 4;

/// Why no timetable can be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The span is empty.
    #[error("the plan would end at {to}, before it begins at {from}: ask for at least one day")]
    EmptySpan {
        /// Asked begin.
        from: DateTime<Utc>,
        /// Asked end.
        to: DateTime<Utc>,
    },
    /// The weather does not reach over the span.
    #[error(
        "the weather runs from {first} to {last}, the plan from {from} to {to}: \
         choose other days or a weather file that covers them"
    )]
    WeatherTooShort {
        /// Start of the weather.
        first: DateTime<Utc>,
        /// End of the weather.
        last: DateTime<Utc>,
        /// Asked begin.
        from: DateTime<Utc>,
        /// Asked end.
        to: DateTime<Utc>,
    },
    /// There is no weather at all.
    #[error("the weather has no hours: a plan needs at least temperatures")]
    NoWeather,
    /// The hours of the weather do not follow each other.
    #[error(
        "the weather has a gap after {after}: fill it or leave it to the completion of records"
    )]
    WeatherGap {
        /// Start of the hour before the gap.
        after: DateTime<Utc>,
    },
    /// A soil cannot be resolved.
    #[error("zone {zone}: {source}")]
    Soil {
        /// The zone.
        zone: String,
        /// What is wrong.
        source: SoilError,
    },
}

/// The span of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Where the balance begins: `from`, or earlier when a seeding lies
    /// before it and the weather reaches back.
    pub begin: DateTime<Utc>,
    /// First instant of the timetable.
    pub from: DateTime<Utc>,
    /// End of the timetable.
    pub to: DateTime<Utc>,
    /// How far is planned: `to`, or later where a deep soak that ends after it
    /// has to begin before.
    pub end: DateTime<Utc>,
}

impl Span {
    /// A span that is planned from its first instant to its last.
    #[must_use]
    pub fn exactly(from: DateTime<Utc>, to: DateTime<Utc>) -> Self {
        Self {
            begin: from,
            from,
            to,
            end: to,
        }
    }

    /// The seconds of which a record is kept.
    fn record(&self) -> Range<i64> {
        self.from.timestamp()..self.to.timestamp()
    }
}

/// Makes the timetable of a site from `from` to `to`.
///
/// `weather` holds complete hours without a gap; those before `from` give
/// the state of the soil, and where a seeding lies before `from` the plan
/// takes it that it was followed until then.
///
/// # Errors
/// [`PlanError`]: an empty span, weather that does not cover it, a soil that
/// is none.
pub fn make_timetable(
    site: &Site,
    weather: &[WeatherHour],
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<Timetable, PlanError> {
    let span = span(site, weather, from, to)?;
    let prepared = Prepared::of(site, weather, &span)?;
    let (schedule, tried) = prepared.schedule_in_haste();
    let mut shortfalls = shortfall::shortfalls(&schedule);
    let (hours, ()) = rayon::join(
        || schedule.balance_hours(),
        || mend::add_mends(&mut shortfalls, &prepared, &tried),
    );
    let notes = notes(&schedule, &span);
    let time_zone = site.place.time_zone;
    let zones = schedule
        .zones
        .into_iter()
        .zip(hours)
        .map(|(zone, hours)| {
            let pre_soak = zone.soak_summary();
            let soak_runs = zone.soak.as_ref().map_or(&[][..], |soaked| &soaked.runs);
            let soak_begins = soak_runs.first().map(|run| run.start);
            let waterer = zone.waterer;
            ZonePlan {
                name: waterer.bed.zone.name.clone(),
                emergence: waterer.bed.season.emergence.clone(),
                stages: stages(&hours),
                milestones: milestones::milestones(
                    waterer.bed,
                    soak_begins,
                    &prepared.days.mean_c,
                    time_zone,
                ),
                pre_soak,
                dry_daylight_hours: seed_dry_hours(&waterer.course, |spell| spell.daylight_s),
                dry_night_hours: seed_dry_hours(&waterer.course, |spell| {
                    spell.to - spell.from - spell.daylight_s
                }),
                dry_spells: seed_dry_spells(&waterer.course),
                seed_daylight_hours: water::hours(waterer.course.seed_daylight_s()),
                hours,
            }
        })
        .collect();
    Ok(Timetable {
        from,
        to,
        zones,
        runs: schedule.runs,
        shortfalls,
        notes,
    })
}

/// When the deep soak before the first seeding begins, if weather reaches
/// over it and any is needed: a plan of the season has to begin by then.
#[must_use]
pub fn first_soak(site: &Site, weather: &[WeatherHour]) -> Option<DateTime<Utc>> {
    let sown = site.zones.iter().map(|zone| zone.seeding.at).min()?;
    let begin = site.zones.iter().map(soak_begin).min()?;
    let span = span(site, weather, begin, sown).ok()?;
    let prepared = Prepared::of(site, weather, &span).ok()?;
    // The first plan that comes to mind will do: only its first day is asked.
    let schedule = prepared.schedule_with(site.supply.flow.l_per_min());
    schedule.runs.first().map(|run| run.start)
}

/// When the balance of a zone has to begin so that it is soaked in time.
fn soak_begin(zone: &Zone) -> DateTime<Utc> {
    zone.seeding.at - zone.pre_soak.rest - TimeDelta::days(SOAK_DAYS)
}

/// Hours of the dry spells of the seed stages, by what counts of each [s].
fn seed_dry_hours(course: &course::Course, counted_s: fn(&course::DrySpell) -> i64) -> f64 {
    let seed = course.dry.iter().filter(|spell| spell.seed_stage);
    water::hours(seed.map(counted_s).sum())
}

fn seed_dry_spells(course: &course::Course) -> Vec<SeedDrySpell> {
    let seed = course.dry.iter().filter(|spell| spell.seed_stage);
    seed.map(|spell| SeedDrySpell {
        from: course::instant(spell.from),
        to: course::instant(spell.to),
        daylight_hours: water::hours(spell.daylight_s),
        worst_ratio: spell.worst_ratio,
    })
    .collect()
}

/// The span of a plan of a site, begun early enough to know the soil.
///
/// # Errors
/// [`PlanError`]: an empty span, or weather that does not cover it.
pub fn span(
    site: &Site,
    weather: &[WeatherHour],
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<Span, PlanError> {
    let (first, last) = judge_weather(weather, from, to)?;
    let begin = site
        .zones
        .iter()
        .map(soak_begin)
        .filter(|&begin| begin < from)
        .min()
        .map_or(from, |begin| begin.max(first));
    let soaks = site.zones.iter().filter(|zone| zone.pre_soak.wanted);
    let begun = soaks.filter(|zone| soak_begin(zone) < to);
    let deadlines = begun.map(|zone| zone.seeding.at - zone.pre_soak.rest);
    let end = deadlines.filter(|&deadline| deadline <= last).max();
    Ok(Span {
        begin,
        from,
        to,
        end: end.map_or(to, |end| end.max(to)),
    })
}

/// Start and end of weather that covers a plan.
fn judge_weather(
    weather: &[WeatherHour],
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<(DateTime<Utc>, DateTime<Utc>), PlanError> {
    if to <= from {
        return Err(PlanError::EmptySpan { from, to });
    }
    let (Some(first), Some(last)) = (weather.first(), weather.last()) else {
        return Err(PlanError::NoWeather);
    };
    let hour = TimeDelta::hours(1);
    if let Some(pair) = weather
        .windows(2)
        .find(|pair| pair[1].start != pair[0].start + hour)
    {
        return Err(PlanError::WeatherGap {
            after: pair[0].start,
        });
    }
    let (first, last) = (first.start, last.start + hour);
    if first > from || last < to {
        return Err(PlanError::WeatherTooShort {
            first,
            last,
            from,
            to,
        });
    }
    Ok((first, last))
}

/// Instants at which a stage begins, from the hourly record.
fn stages(hours: &[timetable::BalanceHour]) -> Vec<(DateTime<Utc>, timetable::Stage)> {
    let mut stages: Vec<(DateTime<Utc>, timetable::Stage)> = Vec::new();
    for hour in hours {
        if stages.last().is_none_or(|&(_, stage)| stage != hour.stage) {
            stages.push((hour.start, hour.stage));
        }
    }
    stages
}

fn notes(schedule: &Schedule, span: &Span) -> Vec<PlanNote> {
    let mut notes = Vec::new();
    let mut note = |zone: Option<usize>, text: String| notes.push(PlanNote { zone, text });
    for (index, zone) in schedule.zones.iter().enumerate() {
        let waterer = &zone.waterer;
        let season = &waterer.bed.season;
        if waterer.bed.zone.pre_soak.wanted
            && zone.soak.is_none()
            && season.soak_deadline <= span.begin
        {
            note(
                Some(index),
                "the weather begins too late to plan the pre-soak; the plan takes it that the \
                 ground was as wet as the site file says"
                    .into(),
            );
        } else if season.sown < span.from {
            note(
                Some(index),
                "sown before the timetable begins; the plan takes it that it was followed until then".into(),
            );
        }
        if season.sown >= span.to {
            note(Some(index), "sown after the timetable ends".into());
        }
        if waterer.watering.shortest_ponds() {
            note(
                Some(index),
                "even the shortest run ponds for a while where the sprinklers give most: the soil \
                 takes in less than they bring"
                    .into(),
            );
        }
        if waterer.bed.zone.seeding.soil_state == crate::site::SoilState::FromWeather
            && zone.weather_hours_used == 0
        {
            note(
                Some(index),
                "no weather before the plan to compute the soil from: half of its available water \
                 is taken to be there"
                    .into(),
            );
        }
    }
    notes
}
