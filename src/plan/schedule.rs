//! Needs become runs: every zone's next job in one queue, the most pressing
//! first, each placed in the calendar of the shared supply.
//!
//! A job is placed as late as its zone stays moist, so that water is given
//! when it is needed, and moves earlier where that time is shut or taken.
//! Because the queue is worked off by the last moment of each job, whatever
//! is pressing is placed before what can wait.

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock};

use chrono::{DateTime, TimeDelta, Utc};
use rayon::prelude::*;

use super::bookings::{Ask, Bookings};
use super::course::{Course, instant};
use super::follow::Standing;
use super::moment::{Bed, Moment};
use super::packing::{self, Wanted};
use super::shortfall::DrySeconds;
use super::soaker::{self, Soaked};
use super::timetable::{BalanceHour, Constraint, PreSoakSummary, Run, Trigger};
use super::water::Watering;
use super::waterer::{Job, Waterer};
use super::window::{Closure, HOUR_S, Openings, SiteClosures};
use super::{PlanError, Span};
use crate::agronomy::weather_record::WeatherHour;
use crate::balance::demand::{self, Days, HourDemand};
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::spin_up;
use crate::balance::stores::Stores;
use crate::site::local_time::date_of;
use crate::site::{Ground as Sowing, Site, Zone};

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
    // Nothing that fills these two may use rayon: a thread that waits may take
    // up another plan, which would wait for this very cell.
    /// Its course at the beginning, with the dry way to the deep soak: the
    /// same in every plan that is tried.
    lead: OnceLock<Course>,
    /// When it may be watered, and when soaked: the same with every supply.
    openings: OnceLock<(Openings, Openings)>,
}

/// A finished schedule: every zone at the end of the plan, and all runs.
pub struct Schedule<'a> {
    /// The zones, in the order of the site.
    pub zones: Vec<Scheduled<'a>>,
    /// All runs by start and zone.
    pub runs: Vec<Run>,
    /// The jobs that were placed, in the order of their placing: what the
    /// packing had to do, so that it can be judged by itself.
    pub placed: Vec<Placed>,
}

/// A job and where it went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Index of the zone.
    pub zone: usize,
    /// The job.
    pub job: Job,
    /// Start of its run [s].
    pub start: i64,
    /// Length of its run [s].
    pub length: i64,
}

/// One zone of a finished schedule.
pub struct Scheduled<'a> {
    /// The zone at the end of the plan.
    pub waterer: Waterer<'a>,
    /// How its deep soak came out, where one fell into the plan.
    pub soak: Option<Soaked>,
    /// Hours of past weather from which the soil state was computed.
    pub weather_hours_used: usize,
    soak_openings: &'a Openings,
    next: Next,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Next {
    Soak,
    FirstJob,
    Job(Job),
    Nothing,
}

/// Where a job goes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    start: i64,
    trigger: Trigger,
}

impl PreparedZone<'_> {
    /// The course of one of so many zones at the beginning of a plan.
    fn lead(&self, span: &Span, soaks: bool, zones: usize) -> &Course {
        self.lead.get_or_init(|| {
            let now = Moment::new(span.begin.timestamp(), self.stores);
            let mut course = Course::new(now, span.record()).one_of(zones);
            if soaks {
                let deadline = self.bed.season.soak_deadline;
                course.dry_ahead(&self.bed, deadline.timestamp());
            }
            course
        })
    }
}

impl<'a> Prepared<'a> {
    /// Prepares the zones of a site, whose soil is as the site file states it
    /// or as the weather before the plan computes it.
    ///
    /// # Errors
    /// [`PlanError::Soil`] when a soil cannot be resolved.
    pub fn of(site: &'a Site, weather: &'a [WeatherHour], span: &Span) -> Result<Self, PlanError> {
        Self::of_demand_from(site, weather, span, |_| None)
    }

    /// The same, with the demand of a zone (by index) only from an instant on.
    /// Its soil is not worked out then: it has to be told where it stands
    /// ([`Prepared::go_on_from`]).
    pub(super) fn of_demand_from(
        site: &'a Site,
        weather: &'a [WeatherHour],
        span: &Span,
        demand_from: impl Fn(usize) -> Option<DateTime<Utc>> + Sync,
    ) -> Result<Self, PlanError> {
        let time_zone = site.place.time_zone;
        let oldest = span.begin - TimeDelta::days(spin_up::MEMORY_DAYS);
        // Emergence is judged by the temperatures since the seeding.
        let seedings = site.zones.iter().map(|zone| zone.seeding.at);
        let first_day = seedings
            .min()
            .map_or(oldest, |seeding| oldest.min(seeding - TimeDelta::days(1)));
        let days = Days::of(
            between(weather, first_day, span.end + TimeDelta::days(OUTLOOK_DAYS)),
            time_zone,
        );
        let weather = between(weather, oldest, span.end);
        let prepare = |(index, zone): (usize, &'a Zone)| {
            let ground = Ground::of(zone).map_err(|source| PlanError::Soil {
                zone: zone.name.clone(),
                source,
            })?;
            let season = Season::of(zone, time_zone, &days.mean_c);
            let demand_from = demand_from(index);
            let skipped = demand_from.map_or(0, |at| hours_over_by(weather, at));
            let demand = demand::hours(zone, &ground, &season, weather, skipped, &days, site);
            let (stores, weather_hours_used) = match demand_from {
                Some(_) => (Stores::uniform(&ground, 0.0), 0),
                None => spin_up::stores_at(zone, &ground, &demand, span.begin),
            };
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
                lead: OnceLock::new(),
                openings: OnceLock::new(),
            })
        };
        let (first, last) = (date_of(time_zone, span.begin), date_of(time_zone, span.end));
        let planned = between(weather, span.begin, span.end);
        let (zones, closures) = rayon::join(
            || {
                site.zones
                    .par_iter()
                    .enumerate()
                    .map(prepare)
                    .collect::<Vec<_>>()
            },
            || SiteClosures::of_many_days(site, planned, first, last),
        );
        Ok(Self {
            site,
            span: *span,
            closures,
            weather: planned,
            zones: zones.into_iter().collect::<Result<_, _>>()?,
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
                stores: prepared.stores,
                weather_hours_used: prepared.weather_hours_used,
                lead: prepared.lead.clone(),
                openings: OnceLock::new(),
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
    pub fn change_demand(&mut self, zone: usize, change: impl FnOnce(&Ground, &mut [HourDemand])) {
        let PreparedZone { bed, lead, .. } = &mut self.zones[zone];
        change(&bed.ground, Arc::make_mut(&mut bed.demand));
        *lead = OnceLock::new();
    }

    /// The water of every zone at the beginning.
    pub fn stores(&self) -> impl Iterator<Item = Stores> {
        self.zones.iter().map(|zone| zone.stores)
    }

    /// Lets the plan go on from where each zone stands, beside runs that
    /// have the supply already.
    ///
    /// # Panics
    /// When it is not one standing to a zone.
    pub fn go_on_from(&mut self, standings: Vec<Standing>, booked: Vec<(i64, Ask)>) {
        assert_eq!(standings.len(), self.zones.len(), "one standing to a zone");
        self.standings = standings;
        self.booked = booked;
        for zone in &mut self.zones {
            zone.openings = OnceLock::new();
        }
    }

    /// How many further plans may be tried, for a better one and for what
    /// would mend it: fewer the larger the site and the longer the span, so
    /// that a plan of hundreds of zones does not take minutes.
    #[must_use]
    pub fn further_plans(&self) -> usize {
        let hours = self.weather.len().max(1) * self.zones.len().max(1);
        (FURTHER_ZONE_HOURS / hours).max(1)
    }

    /// The schedule with a given flow [L/min].
    #[must_use]
    pub fn schedule_with(&self, flow_l_per_min: f64) -> Schedule<'_> {
        self.schedule_while(flow_l_per_min, |_, _| true)
            .expect("nothing gives it up")
    }

    /// The schedule with a given flow [L/min], or none once it does not `go_on`
    /// by where the zones are and what is too dry so far ([`DrySeconds`]): asked
    /// whenever that is more than before.
    pub(super) fn schedule_while(
        &self,
        flow_l_per_min: f64,
        go_on: impl Fn(&[Scheduled], DrySeconds) -> bool,
    ) -> Option<Schedule<'_>> {
        let mut zones: Vec<Scheduled> = self
            .zones
            .iter()
            .enumerate()
            .map(|(index, zone)| self.start(index, zone))
            .collect();
        let mut bookings = Bookings::of(self.site, &self.closures, flow_l_per_min);
        for (start, ask) in &self.booked {
            bookings.book(*start, ask);
        }
        let (mut runs, mut placed) = (Vec::new(), Vec::new());
        let until = self.span.end.timestamp();
        let mut queue: BTreeSet<(i64, usize)> = zones
            .iter()
            .enumerate()
            .filter_map(|(index, zone)| zone.due().map(|due| (due, index)))
            .collect();
        let mut dry_s = (0, 0);
        while let Some((_, index)) = queue.pop_first() {
            let dry_before_s = zones[index].waterer.course.dry_s;
            let place = zones[index].next_job().and_then(|job| {
                let morning = zones[index].place_in_the_morning(&job, &bookings);
                morning.or_else(|| {
                    let following = queue.iter().filter_map(|&(_, other)| zones[other].wanted());
                    zones[index].place(&job, following, &bookings, until)
                })
            });
            let zone = &mut zones[index];
            placed.extend(zone.work(place, &mut bookings, &mut runs, until));
            if let Some(due) = zone.due() {
                queue.insert((due, index));
            }
            let zone_dry_s = zone.waterer.course.dry_s;
            if zone_dry_s != dry_before_s {
                dry_s.0 += zone_dry_s.0 - dry_before_s.0;
                dry_s.1 += zone_dry_s.1 - dry_before_s.1;
                if !go_on(&zones, dry_s) {
                    return None;
                }
            }
        }
        for zone in &mut zones {
            zone.waterer.course.advance(zone.waterer.bed, until, 0.0);
        }
        runs.sort_by_key(|run: &Run| (run.start, run.zone));
        runs.retain(|run| (self.span.from..self.span.to).contains(&run.start));
        Some(Schedule {
            zones,
            runs,
            placed,
        })
    }

    fn start<'p>(&'p self, index: usize, prepared: &'p PreparedZone<'a>) -> Scheduled<'p> {
        let zone = prepared.bed.zone;
        let span = &self.span;
        let deadline = prepared.bed.season.soak_deadline;
        let standing = self.standings.get(index);
        let begin = standing.map_or(span.begin.timestamp(), |standing| standing.at);
        let soaks = zone.pre_soak.wanted
            && deadline > instant(begin)
            && deadline <= span.end
            && standing.is_none_or(|standing| !standing.soaked);
        let course = match standing {
            Some(standing) => {
                let now = Moment::new(standing.at, standing.stores);
                Course::new(now, span.record())
                    .one_of(self.zones.len())
                    .after(standing.since)
            }
            None => prepared.lead(span, soaks, self.zones.len()).clone(),
        };
        let (openings, soak_openings) = prepared.openings.get_or_init(|| {
            let openings = self.openings(zone, standing, false);
            let of_soak = match zone.seeding.ground {
                Sowing::Bare => self.openings(zone, standing, true),
                Sowing::Turf { .. } => openings.clone(),
            };
            (openings, of_soak)
        });
        let mut waterer = Waterer {
            index,
            course,
            bed: &prepared.bed,
            watering: Watering::of(zone, &prepared.bed.ground).within(self.site.rules.most_per_day),
            openings,
            mornings: &self.closures.mornings,
            late: Vec::new(),
            last_end: standing.and_then(|standing| standing.last_end),
        };
        let next = match standing {
            Some(standing) if standing.is_left_out => Next::Nothing,
            _ if soaks => Next::Soak,
            Some(standing) => waterer
                .resumed_job(standing.cycle, span.end.timestamp())
                .map_or(Next::Nothing, Next::Job),
            None => Next::FirstJob,
        };
        Scheduled {
            waterer,
            soak: None,
            weather_hours_used: prepared.weather_hours_used,
            soak_openings,
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

impl Schedule<'_> {
    /// The balance of every hour, by zone.
    #[must_use]
    pub fn balance_hours(&self) -> Vec<Vec<BalanceHour>> {
        let zones = self.zones.par_iter().map(|zone| &zone.waterer);
        let hours = zones.map(|waterer| waterer.course.balance_hours(waterer.bed));
        hours.collect()
    }
}

impl Scheduled<'_> {
    /// Last moment of the next thing to do [s].
    fn due(&self) -> Option<i64> {
        match self.next {
            Next::Soak => Some(self.waterer.bed.season.soak_deadline.timestamp()),
            Next::FirstJob => Some(self.waterer.bed.season.sown.timestamp()),
            Next::Job(job) => Some(self.waterer.wanted(&job).due()),
            Next::Nothing => None,
        }
    }

    fn next_job(&self) -> Option<Job> {
        match self.next {
            Next::Job(job) => Some(job),
            _ => None,
        }
    }

    /// The next job as it is placed.
    fn wanted(&self) -> Option<Wanted<'_>> {
        self.next_job().map(|job| self.waterer.wanted(&job))
    }

    fn work(
        &mut self,
        place: Option<Place>,
        bookings: &mut Bookings,
        runs: &mut Vec<Run>,
        until: i64,
    ) -> Option<Placed> {
        let mut placed = None;
        self.next = match (self.next, place) {
            (Next::Soak, _) => {
                let soaked = soaker::soak(&mut self.waterer, self.soak_openings, bookings);
                runs.extend(soaked.runs.iter().cloned());
                self.soak = Some(soaked);
                Next::FirstJob
            }
            (Next::FirstJob, _) => self
                .waterer
                .first_job(until)
                .map_or(Next::Nothing, Next::Job),
            (Next::Job(job), Some(place)) => {
                let job = Job {
                    trigger: place.trigger,
                    ..job
                };
                let (run, next) = self.waterer.give(&job, place.start, bookings, until);
                placed = run.as_ref().map(|run| Placed {
                    zone: self.waterer.index,
                    job,
                    start: place.start,
                    length: run.duration.num_seconds(),
                });
                runs.extend(run);
                next.map_or(Next::Nothing, Next::Job)
            }
            (Next::Job(job), None) => {
                self.waterer.note_delay(&job, until, bookings);
                Next::Nothing
            }
            (Next::Nothing, _) => Next::Nothing,
        };
        placed
    }

    /// Where a job of the zone goes that waits for the morning.
    fn place_in_the_morning(&mut self, job: &Job, bookings: &Bookings) -> Option<Place> {
        let start = self.waterer.place_in_the_morning(job, bookings)?;
        Some(Place {
            start,
            trigger: Trigger::EarlyMorning,
        })
    }

    /// Where any other job of the zone goes beside those that follow.
    fn place<'w>(
        &'w self,
        job: &Job,
        following: impl Iterator<Item = Wanted<'w>>,
        bookings: &'w Bookings,
        until: i64,
    ) -> Option<Place> {
        let wanted = self.waterer.wanted(job);
        let start = packing::place(wanted, following, bookings, until)?;
        Some(Place {
            start,
            trigger: job.trigger,
        })
    }

    /// Summary of the deep soak.
    #[must_use]
    pub fn soak_summary(&self) -> Option<PreSoakSummary> {
        self.soak.as_ref().map(|soaked| soaked.summary.clone())
    }
}

/// How many hours are over by an instant; `weather` is in order.
fn hours_over_by(weather: &[WeatherHour], at: DateTime<Utc>) -> usize {
    let hour = TimeDelta::seconds(HOUR_S);
    weather.partition_point(|known| known.start + hour <= at)
}

/// The hours that start within a span; `weather` is in order.
fn between(weather: &[WeatherHour], from: DateTime<Utc>, to: DateTime<Utc>) -> &[WeatherHour] {
    let first = weather.partition_point(|hour| hour.start < from);
    let last = weather.partition_point(|hour| hour.start < to);
    &weather[first..last.max(first)]
}
