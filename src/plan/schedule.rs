//! Needs become runs: every zone's next job in one queue, the most pressing
//! first, each placed in the calendar of the shared supply.
//!
//! A job is placed as late as its zone stays moist, so that water is given
//! when it is needed, and moves earlier where that time is shut or taken.
//! Because the queue is worked off by the last moment of each job, whatever
//! is pressing is placed before what can wait.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::bookings::{Ask, Bookings};
use super::course::{Bed, Course, Moment, instant};
use super::follow::Standing;
use super::shortfall::dry_seconds;
use super::side_by_side::side_by_side;
use super::soaker::{self, Soaked};
use super::timetable::{Constraint, PreSoakSummary, Run, Trigger};
use super::water::Watering;
use super::waterer::{Job, Waterer};
use super::window::{Closure, Openings, SiteClosures};
use super::{PlanError, Span};
use crate::agronomy::weather_record::WeatherHour;
use crate::balance::demand::{self, Days, HourDemand};
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::spin_up;
use crate::balance::stores::Stores;
use crate::site::local_time::date_of;
use crate::site::{Ground as Sowing, Site, Zone};

/// Added to a sum of flows so that rounding does not shut out the last.
const FLOW_MARGIN_L_PER_MIN: f64 = 1e-3;

/// Days of weather after the plan that are looked at for the dates of
/// emergence and first mowing.
const OUTLOOK_DAYS: i64 = 60;

/// Hours of zones that further plans may come to in all.
const FURTHER_ZONE_HOURS: usize = 300_000;

/// What planning needs of a site and its weather, worked out once.
#[derive(Debug, Clone)]
pub struct Prepared<'a> {
    site: &'a Site,
    span: Span,
    /// The hours of the plan.
    weather: &'a [WeatherHour],
    closures: SiteClosures,
    zones: Vec<PreparedZone<'a>>,
    /// Where the zones stand, when planning goes on; empty at its beginning.
    standings: Vec<Standing>,
    booked: Vec<(i64, Ask)>,
    /// Daily figures of the weather.
    pub days: Days,
}

#[derive(Debug, Clone)]
struct PreparedZone<'a> {
    bed: Bed<'a>,
    stores: Stores,
    weather_hours_used: usize,
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
        // Emergence is judged by the temperatures since the seeding.
        let seedings = site.zones.iter().map(|zone| zone.seeding.at);
        let first_day = seedings
            .min()
            .map_or(oldest, |seeding| oldest.min(seeding - TimeDelta::days(1)));
        let days = Days::of(
            between(weather, first_day, span.to + TimeDelta::days(OUTLOOK_DAYS)),
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
                Ok(PreparedZone {
                    bed,
                    stores,
                    weather_hours_used,
                })
            })
            .collect();
        let (first, last) = (date_of(time_zone, span.begin), date_of(time_zone, span.to));
        let weather = between(weather, span.begin, span.to);
        Ok(Self {
            site,
            span: *span,
            closures: SiteClosures::of(site, weather, first, last),
            weather,
            zones: zones?,
            standings: Vec::new(),
            booked: Vec::new(),
            days,
        })
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
                ..*prepared
            });
        Prepared {
            site,
            span: self.span,
            weather: self.weather,
            closures: self.closures.under(site, self.weather),
            zones: zones.collect(),
            standings: self.standings.clone(),
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

    /// The zones as they are prepared, in the order of the site.
    pub fn beds(&self) -> impl Iterator<Item = &Bed<'a>> {
        self.zones.iter().map(|zone| &zone.bed)
    }

    /// Changes the demand of a zone, for what is known better of it than the
    /// weather tells.
    pub fn change_demand(&mut self, zone: usize, change: impl FnOnce(&mut [HourDemand])) {
        change(Arc::make_mut(&mut self.zones[zone].bed.demand));
    }

    /// The water of every zone at the beginning.
    pub fn stores(&self) -> impl Iterator<Item = Stores> {
        self.zones.iter().map(|zone| zone.stores)
    }

    /// Lets the plan go on from where each zone stands, beside runs that
    /// have the supply already.
    pub fn go_on_from(&mut self, standings: Vec<Standing>, booked: Vec<(i64, Ask)>) {
        self.standings = standings;
        self.booked = booked;
    }

    /// The schedule with the site's whole supply or, where that leaves
    /// anything too dry, with the smaller supply that leaves the least.
    ///
    /// Placing jobs one by one can come out worse with more supply than with
    /// less (the anomaly of list scheduling, Graham 1969, SIAM J. Appl. Math.
    /// 17:416–429): a long run that just fits beside another can be in the
    /// way of a pressing one. So smaller supplies are tried as well, and they
    /// depend on the zones alone: a greater supply tries all that a smaller
    /// one does.
    #[must_use]
    pub fn schedule(&self) -> Schedule<'_> {
        let whole = self.site.supply.flow.l_per_min();
        let best = self.schedule_with(whole);
        if dry_seconds(&best) == 0 {
            return best;
        }
        let smaller: Vec<f64> = self
            .supplies_to_try()
            .into_iter()
            .filter(|&flow| flow < whole)
            .take(self.further_plans())
            .collect();
        side_by_side(&smaller, |&flow| self.schedule_with(flow))
            .into_iter()
            .fold(best, |best, other| {
                if dry_seconds(&other) < dry_seconds(&best) {
                    other
                } else {
                    best
                }
            })
    }

    /// How many further plans may be tried, for a better one and for what
    /// would mend it: fewer the larger the site and the longer the span, so
    /// that a plan of hundreds of zones does not take minutes.
    #[must_use]
    pub fn further_plans(&self) -> usize {
        let hours = self.weather.len().max(1) * self.zones.len().max(1);
        (FURTHER_ZONE_HOURS / hours).max(1)
    }

    /// Flows that carry the largest zone alone, the two largest, the four
    /// largest and so on [L/min].
    fn supplies_to_try(&self) -> Vec<f64> {
        let mut flows: Vec<f64> = self
            .site
            .zones
            .iter()
            .map(|zone| zone.sprinkler.flow.l_per_min())
            .collect();
        flows.sort_by(|a, b| b.total_cmp(a));
        let counts = std::iter::successors(Some(1), |count| Some(count * 2));
        counts
            .take_while(|&count| count <= flows.len())
            .map(|count| flows[..count].iter().sum::<f64>() + FLOW_MARGIN_L_PER_MIN)
            .collect()
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
        let standing = self.standings.get(index);
        let (begin, stores) = standing
            .map_or((span.begin.timestamp(), prepared.stores), |standing| {
                (standing.at, standing.stores)
            });
        let soaks = zone.pre_soak.wanted
            && deadline > instant(begin)
            && deadline <= span.to
            && standing.is_none_or(|standing| !standing.soaked);
        let mut course = Course::new(Moment::new(begin, stores), span.from.timestamp());
        course.since = standing.map_or_else(Default::default, |standing| standing.since);
        let mut waterer = Waterer {
            index,
            course,
            bed: &prepared.bed,
            watering: Watering::of(zone, &prepared.bed.ground),
            openings: self.openings(zone, standing, false),
            mornings: &self.closures.mornings,
            late: Vec::new(),
            last_end: standing.and_then(|standing| standing.last_end),
        };
        let next = match standing {
            Some(standing) if standing.is_left_out => Next::Nothing,
            _ if soaks => Next::Soak,
            Some(standing) => waterer
                .resumed_job(standing.cycle, span.to.timestamp())
                .map_or(Next::Nothing, Next::Job),
            None => Next::FirstJob,
        };
        let by_night = zone.seeding.ground == Sowing::Bare;
        Scheduled {
            waterer,
            soak: None,
            weather_hours_used: prepared.weather_hours_used,
            soak_openings: self.openings(zone, standing, by_night),
            next,
        }
    }

    fn openings(&self, zone: &Zone, standing: Option<&Standing>, by_night: bool) -> Openings {
        let openings = self.closures.openings(self.site, zone, by_night);
        match standing.and_then(|standing| standing.held_until) {
            Some(to) => openings.without(Closure {
                from: self.span.begin.timestamp(),
                to,
                by: Constraint::Hold,
            }),
            None => openings,
        }
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
