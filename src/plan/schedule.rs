//! Needs become runs: every zone's next job in one queue, the most pressing
//! first, each placed in the calendar of the shared supply.
//!
//! A job is placed as late as its zone stays moist, so that water is given
//! when it is needed, and moves earlier where that time is shut or taken.
//! Because the queue is worked off by the last moment of each job, whatever
//! is pressing is placed before what can wait.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use chrono::{DateTime, TimeDelta, Utc};

use super::bookings::{Ask, Bookings};
use super::course::{Bed, Course, Moment, instant};
use super::shortfall::dry_seconds;
use super::soaker::{self, Soaked};
use super::timetable::{Constraint, Cycle, PreSoakSummary, Run, Trigger};
use super::water::Watering;
use super::waterer::{Job, Waterer};
use super::window::{Closure, Openings, SiteClosures};
use super::{PlanError, Span};
use crate::agronomy::weather_record::WeatherHour;
use crate::balance::demand::{self, Days};
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::spin_up;
use crate::site::local_time::date_of;
use crate::site::{Ground as Sowing, Site, Zone};

/// Parts of the supply that are tried when the whole of it leaves seed dry.
const SUPPLY_PARTS: &[f64] = &[0.85, 0.7, 0.5];

/// Days of weather after the plan that are looked at for the dates of
/// emergence and first mowing.
const OUTLOOK_DAYS: i64 = 60;

/// What planning needs of a site and its weather, worked out once.
#[derive(Debug, Clone)]
pub struct Prepared<'a> {
    site: &'a Site,
    span: Span,
    /// The hours of the plan.
    weather: &'a [WeatherHour],
    closures: SiteClosures,
    zones: Vec<PreparedZone<'a>>,
    /// Water already given or being given: start [s] and what it takes.
    booked: Vec<(i64, Ask)>,
    /// Daily figures of the weather.
    pub days: Days,
}

/// What a plan on the way puts in the place of [`Prepared::of`].
pub(super) struct Parts<'a> {
    pub(super) zones: Vec<PreparedZone<'a>>,
    pub(super) booked: Vec<(i64, Ask)>,
    pub(super) days: Days,
}

#[derive(Debug, Clone)]
pub(super) struct PreparedZone<'a> {
    pub(super) bed: Bed<'a>,
    pub(super) course: Course,
    pub(super) weather_hours_used: usize,
    /// Where the zone is, if it is planned again on its way.
    pub(super) on_the_way: Option<OnTheWay>,
}

/// What a plan must know of a zone that it takes up on its way.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OnTheWay {
    /// End of the last run [s].
    pub(super) last_end: Option<i64>,
    /// The last run's place in a split application.
    pub(super) cycle: Option<Cycle>,
    /// No watering before this [s].
    pub(super) held_until: Option<i64>,
    /// Not to be planned.
    pub(super) is_left_out: bool,
}

/// A finished schedule: every zone at the end of the plan, and all runs.
pub struct Schedule<'a> {
    /// The zones, in the order of the site.
    pub zones: Vec<Scheduled<'a>>,
    /// All runs by start and zone.
    pub runs: Vec<Run>,
}

/// One zone of a finished schedule.
pub struct Scheduled<'a> {
    /// The zone at the end of the plan.
    pub waterer: Waterer<'a>,
    /// How its deep soak came out, where one fell into the plan.
    pub soak: Option<Soaked>,
    /// Hours of past weather from which the soil state was computed.
    pub weather_hours_used: usize,
    soak_openings: Openings,
    next: Next,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Next {
    Soak,
    FirstJob,
    Job(Job),
    Nothing,
}

impl<'a> Prepared<'a> {
    /// Prepares the zones of a site.
    ///
    /// # Errors
    /// [`PlanError::Soil`] when a soil cannot be resolved.
    pub fn of(site: &'a Site, weather: &'a [WeatherHour], span: &Span) -> Result<Self, PlanError> {
        let time_zone = site.place.time_zone;
        let oldest = span.begin - TimeDelta::days(spin_up::MEMORY_DAYS);
        let days = Days::of(
            between(weather, oldest, span.to + TimeDelta::days(OUTLOOK_DAYS)),
            time_zone,
        );
        let weather = between(weather, oldest, span.to);
        let zones: Result<_, _> = site
            .zones
            .iter()
            .map(|zone| {
                let ground = Ground::of(zone).map_err(|source| PlanError::Soil {
                    zone: zone.name.clone(),
                    source,
                })?;
                let season = Season::of(zone, time_zone, &days.mean_c);
                let demand = demand::hours(zone, &ground, &season, weather, &days, time_zone);
                let (stores, weather_hours_used) =
                    spin_up::stores_at(zone, &ground, &demand, span.begin);
                let bed = Bed {
                    zone,
                    ground,
                    season,
                    demand: demand.into(),
                };
                let begin = Moment::new(span.begin.timestamp(), stores);
                Ok(PreparedZone {
                    bed,
                    course: Course::new(begin, span.from.timestamp()),
                    weather_hours_used,
                    on_the_way: None,
                })
            })
            .collect();
        let parts = Parts {
            zones: zones?,
            booked: Vec::new(),
            days,
        };
        Ok(Self::from_parts(site, weather, span, parts))
    }

    /// Puts together what was prepared otherwise.
    #[must_use]
    pub(super) fn from_parts(
        site: &'a Site,
        weather: &'a [WeatherHour],
        span: &Span,
        parts: Parts<'a>,
    ) -> Self {
        let time_zone = site.place.time_zone;
        let (first, last) = (date_of(time_zone, span.begin), date_of(time_zone, span.to));
        let weather = between(weather, span.begin, span.to);
        Self {
            site,
            span: *span,
            closures: SiteClosures::of(site, weather, first, last),
            weather,
            zones: parts.zones,
            booked: parts.booked,
            days: parts.days,
        }
    }

    /// The same zones, weather and days under other rules, limits, supply or
    /// bounds of runs: `site` must not differ in anything else.
    #[must_use]
    pub fn under<'s>(&self, site: &'s Site) -> Prepared<'s>
    where
        'a: 's,
    {
        let zones = self
            .zones
            .iter()
            .zip(&site.zones)
            .map(|(prepared, zone)| PreparedZone {
                bed: Bed {
                    zone,
                    ground: prepared.bed.ground.clone(),
                    season: prepared.bed.season.clone(),
                    demand: prepared.bed.demand.clone(),
                },
                course: prepared.course.clone(),
                weather_hours_used: prepared.weather_hours_used,
                on_the_way: prepared.on_the_way.clone(),
            });
        Prepared {
            site,
            span: self.span,
            weather: self.weather,
            closures: self.closures.under(site, self.weather),
            zones: zones.collect(),
            booked: self.booked.clone(),
            days: self.days.clone(),
        }
    }

    /// The span that is planned.
    #[must_use]
    pub fn span(&self) -> &Span {
        &self.span
    }

    /// The site that is planned.
    #[must_use]
    pub fn site(&self) -> &'a Site {
        self.site
    }

    /// The schedule with the site's whole supply or, where that leaves
    /// anything too dry, with the part of it that leaves the least.
    ///
    /// Placing jobs one by one can come out worse with more supply than with
    /// less (the anomaly of list scheduling, Graham 1969, SIAM J. Appl. Math.
    /// 17:416–429): a long run that just fits beside another can be in the
    /// way of a pressing one. Trying one zone after another, and where zones
    /// wait for each other smaller supplies too, takes that away.
    #[must_use]
    pub fn schedule(&self) -> Schedule<'_> {
        let whole = self.site.supply.flow.l_per_min();
        let best = self.schedule_with(whole);
        if dry_seconds(&best) == 0 {
            return best;
        }
        let largest = self
            .site
            .zones
            .iter()
            .map(|zone| zone.sprinkler.flow.l_per_min())
            .fold(0.0, f64::max);
        let parts = if best.lacks_shared_water() {
            SUPPLY_PARTS
        } else {
            &[]
        };
        parts
            .iter()
            .map(|part| part * whole)
            .filter(|&flow| flow > largest)
            .chain([largest])
            .map(|flow| self.schedule_with(flow))
            .fold(best, |best, other| {
                if dry_seconds(&other) < dry_seconds(&best) {
                    other
                } else {
                    best
                }
            })
    }

    /// The schedule with a given flow [L/min].
    #[must_use]
    pub fn schedule_with(&self, flow_l_per_min: f64) -> Schedule<'_> {
        let mut zones: Vec<Scheduled> = self
            .zones
            .iter()
            .enumerate()
            .map(|(index, zone)| self.start(index, zone))
            .collect();
        let mut bookings = Bookings::of(self.site, flow_l_per_min);
        for (start, ask) in &self.booked {
            bookings.book(*start, ask);
        }
        let mut runs = Vec::new();
        let until = self.span.to.timestamp();
        let mut queue: BinaryHeap<Reverse<(i64, usize)>> = zones
            .iter()
            .enumerate()
            .filter_map(|(index, zone)| zone.due().map(|due| Reverse((due, index))))
            .collect();
        while let Some(Reverse((_, index))) = queue.pop() {
            let zone = &mut zones[index];
            zone.work(&mut bookings, &mut runs, until);
            if let Some(due) = zone.due() {
                queue.push(Reverse((due, index)));
            }
        }
        for zone in &mut zones {
            zone.waterer.course.advance(zone.waterer.bed, until, 0.0);
            zone.waterer.course.finish();
        }
        runs.sort_by_key(|run: &Run| (run.start, run.zone));
        runs.retain(|run| run.start >= self.span.from);
        Schedule { zones, runs }
    }

    fn start<'p>(&'p self, index: usize, prepared: &'p PreparedZone<'a>) -> Scheduled<'p> {
        let zone = prepared.bed.zone;
        let span = &self.span;
        let deadline = prepared.bed.season.soak_deadline;
        let begin = instant(prepared.course.now.at);
        let soaks = zone.pre_soak.wanted && deadline > begin && deadline <= span.to;
        let by_night = zone.seeding.ground == Sowing::Bare;
        let way = prepared.on_the_way.as_ref();
        let mut waterer = Waterer {
            index,
            course: prepared.course.clone(),
            bed: &prepared.bed,
            watering: Watering::of(zone, &prepared.bed.ground),
            openings: self.openings(zone, way, false),
            mornings: &self.closures.mornings,
            late: Vec::new(),
            last_end: way.and_then(|way| way.last_end),
        };
        let next = match way {
            Some(way) if way.is_left_out => Next::Nothing,
            _ if soaks => Next::Soak,
            Some(way) => {
                let job = waterer.resumed_job(way.cycle, span.to.timestamp());
                job.map_or(Next::Nothing, Next::Job)
            }
            None => Next::FirstJob,
        };
        Scheduled {
            waterer,
            soak: None,
            weather_hours_used: prepared.weather_hours_used,
            soak_openings: self.openings(zone, way, by_night),
            next,
        }
    }

    fn openings(&self, zone: &Zone, way: Option<&OnTheWay>, by_night: bool) -> Openings {
        let openings = self.closures.openings(self.site, zone, by_night);
        match way.and_then(|way| way.held_until) {
            Some(to) => openings.without(Closure {
                from: self.span.begin.timestamp(),
                to,
                by: Constraint::Hold,
            }),
            None => openings,
        }
    }
}

impl Schedule<'_> {
    /// Whether any zone had to wait for others' share of the supply, or for
    /// the next day's water.
    fn lacks_shared_water(&self) -> bool {
        let shared = [Constraint::Supply, Constraint::DailyMost];
        self.zones
            .iter()
            .flat_map(|zone| &zone.waterer.late)
            .any(|late| shared.contains(&late.by))
    }
}

impl Scheduled<'_> {
    /// Last moment of the next thing to do [s].
    fn due(&self) -> Option<i64> {
        match self.next {
            Next::Soak => Some(self.waterer.bed.season.soak_deadline.timestamp()),
            Next::FirstJob => Some(self.waterer.bed.season.sown.timestamp()),
            Next::Job(job) => Some(job.latest),
            Next::Nothing => None,
        }
    }

    fn work(&mut self, bookings: &mut Bookings, runs: &mut Vec<Run>, until: i64) {
        self.next = match self.next {
            Next::Soak => {
                let soaked = soaker::soak(&mut self.waterer, &self.soak_openings, bookings);
                runs.extend(soaked.runs.iter().cloned());
                self.soak = Some(soaked);
                Next::FirstJob
            }
            Next::FirstJob => self
                .waterer
                .first_job(until)
                .map_or(Next::Nothing, Next::Job),
            Next::Job(mut job) => match self.place(&mut job, bookings, until) {
                Some(start) => {
                    let (run, next) = self.waterer.give(&job, start, bookings, until);
                    runs.push(run);
                    next.map_or(Next::Nothing, Next::Job)
                }
                None => {
                    self.waterer.note_delay(&job, until, bookings);
                    Next::Nothing
                }
            },
            Next::Nothing => Next::Nothing,
        };
    }

    fn place(&self, job: &mut Job, bookings: &Bookings, until: i64) -> Option<i64> {
        if let Some(start) = self.waterer.place_in_the_morning(job, bookings) {
            job.trigger = Trigger::EarlyMorning;
            return Some(start);
        }
        self.waterer.place(job, bookings, until)
    }

    /// Summary of the deep soak.
    #[must_use]
    pub fn soak_summary(&self) -> Option<PreSoakSummary> {
        self.soak.as_ref().map(|soaked| soaked.summary.clone())
    }
}

/// The hours that start within a span; `weather` is in order.
fn between(weather: &[WeatherHour], from: DateTime<Utc>, to: DateTime<Utc>) -> &[WeatherHour] {
    let first = weather.partition_point(|hour| hour.start < from);
    let last = weather.partition_point(|hour| hour.start < to);
    &weather[first..last.max(first)]
}
