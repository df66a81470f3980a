//! Planning that goes on: the balance carried along what was observed and
//! given, and a new plan from there whenever one is asked for.
//!
//! Runs that have begun are kept: a zone is planned from the end of a run in
//! progress, and what has been given counts in the day's most water.

use chrono::{DateTime, TimeDelta, Utc};

use super::bookings::Ask;
use super::course::Course;
use super::moment::{Bed, Moment};
use super::schedule::Prepared;
use super::stand::Since;
use super::timetable::{Cycle, Run, Trigger};
use super::water::Watering;
use super::{PlanError, Span};
use crate::agronomy::weather_record::WeatherHour;
use crate::balance::stores::Stores;
use crate::site::Site;

/// Runs that began longer ago than this are of no more concern to a plan.
const LOOK_BACK: TimeDelta = TimeDelta::hours(36);

/// Where a zone stands when planning goes on from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// The instant, later than the plan's where a run is still on [s].
    pub at: i64,
    /// Its water.
    pub stores: Stores,
    /// Sums since the last run.
    pub since: Since,
    /// End of the last run [s].
    pub last_end: Option<i64>,
    /// The last run's position in a split application.
    pub cycle: Option<Cycle>,
    /// Whether the deep soak has been given or begun.
    pub soaked: bool,
    /// No watering before this [s].
    pub held_until: Option<i64>,
    /// Not to be planned.
    pub is_left_out: bool,
}

/// A site whose balance is carried along as time passes.
#[derive(Debug, Clone)]
pub struct Following<'a> {
    site: &'a Site,
    at: DateTime<Utc>,
    zones: Vec<(Stores, Since)>,
    given: Vec<Run>,
}

impl<'a> Following<'a> {
    /// Begins at an instant, with the soil as the site file states it or as
    /// the weather before computes it.
    ///
    /// # Errors
    /// [`PlanError::Soil`] when a soil cannot be resolved.
    pub fn begin(
        site: &'a Site,
        weather: &[WeatherHour],
        at: DateTime<Utc>,
    ) -> Result<Self, PlanError> {
        let prepared = Prepared::of(site, weather, &Span::exactly(at, at + TimeDelta::hours(1)))?;
        Ok(Self {
            site,
            at,
            zones: prepared
                .stores()
                .map(|stores| (stores, Since::default()))
                .collect(),
            given: Vec::new(),
        })
    }

    /// Runs that were given or are bound to be given, by start.
    #[must_use]
    pub fn given(&self) -> &[Run] {
        &self.given
    }

    /// Takes runs as given: they are not planned again, whatever comes.
    pub fn give(&mut self, runs: impl IntoIterator<Item = Run>) {
        self.given.extend(runs);
        self.given.sort_by_key(|run| (run.start, run.zone));
    }

    /// Carries the balance to `now` and plans from there to `to`.
    ///
    /// `weather` is what was observed before `now` and what is forecast
    /// after; it must reach back to the instant of the last call.
    ///
    /// # Errors
    /// [`PlanError::Soil`] when a soil cannot be resolved.
    pub fn go_on(
        &mut self,
        weather: &[WeatherHour],
        now: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<Run>, PlanError> {
        let span = Span::exactly(now, to);
        let mut prepared = Prepared::of_demand_from(self.site, weather, &span, |_| Some(self.at))?;
        let mut standings = Vec::with_capacity(self.zones.len());
        for (index, bed) in prepared.beds().enumerate() {
            let begin = self.zones[index];
            let course = self.carried(index, bed, begin, now);
            self.zones[index] = (course.now().stores, course.since());
            standings.push(self.standing(index, bed, course));
        }
        self.at = now;
        prepared.go_on_from(standings, self.booked(now));
        Ok(prepared.schedule().runs)
    }

    /// A zone carried from the last instant to `now`.
    fn carried(
        &self,
        zone: usize,
        bed: &Bed,
        (stores, since): (Stores, Since),
        now: DateTime<Utc>,
    ) -> Course {
        let (from, now) = (self.at.timestamp(), now.timestamp());
        let mut course = Course::new(Moment::new(from, stores), 0..0).after(since);
        let watering = Watering::of(bed.zone, &bed.ground);
        for run in self.given.iter().filter(|run| run.zone == zone) {
            let (start, end) = (run.start.timestamp(), run.end().timestamp());
            if end <= from || start >= now {
                continue;
            }
            if start >= from {
                course.advance(bed, start, 0.0);
                course.begin_sums();
            }
            course.advance(bed, end.min(now), watering.net_rate_mm_per_h(run.stage));
        }
        course.advance(bed, now, 0.0);
        course
    }

    /// Where a zone stands: a run in progress is carried to its end.
    fn standing(&self, zone: usize, bed: &Bed, mut course: Course) -> Standing {
        let now = course.now().at;
        let begun = |run: &&Run| run.zone == zone && run.start.timestamp() < now;
        let last = self.given.iter().rev().find(begun);
        if let Some(run) = last.filter(|run| run.end().timestamp() > now) {
            let watering = Watering::of(bed.zone, &bed.ground);
            let rate = watering.net_rate_mm_per_h(run.stage);
            course.advance(bed, run.end().timestamp(), rate);
        }
        // Later cycles of a split application are due once soaked in; what was
        // split long ago is over.
        let split_until = |run: &Run| {
            (run.end() + bed.zone.runs.soak_time + TimeDelta::hours(1)).timestamp() > now
        };
        let soak = |run: &Run| run.zone == zone && run.reason.trigger == Trigger::PreSoak;
        Standing {
            at: course.now().at,
            stores: course.now().stores,
            since: course.since(),
            last_end: last.map(|run| run.end().timestamp()),
            cycle: last
                .filter(|run| run.reason.trigger != Trigger::PreSoak && split_until(run))
                .and_then(|run| run.reason.cycle),
            soaked: self.given.iter().any(soak),
            held_until: None,
            is_left_out: false,
        }
    }

    /// What of the supply is spoken for.
    fn booked(&self, now: DateTime<Utc>) -> Vec<(i64, Ask)> {
        self.given
            .iter()
            .filter(|run| run.end() > now - LOOK_BACK)
            .map(|run| {
                let ask = Ask {
                    length: run.duration.num_seconds(),
                    flow_l_per_min: self.site.zones[run.zone].sprinkler.flow.l_per_min(),
                    volume_l: run.volume.l(),
                };
                (run.start.timestamp(), ask)
            })
            .collect()
    }
}
