//! Planning again on the way: from what is known of each zone, what was
//! really applied since, and the runs in progress, which are never torn.
//!
//! The plan reaches a day and a half ahead, or to the end of a deep soak that
//! has to begin before. Nothing of an earlier plan is kept: what it missed
//! shows in the water of the zones and becomes a need of now.

use chrono::{DateTime, TimeDelta, Utc};

use super::bookings::Ask;
use super::course::Course;
use super::follow::Standing;
use super::moment::{Bed, Moment};
use super::schedule::{Prepared, Scheduled};
use super::shortfall;
use super::timetable::{Cycle, Run, Shortfall, Stage};
use super::water::{Watering, hours};
use super::{PlanError, SOAK_DAYS, Span};
use crate::agronomy::weather_record::WeatherHour;
use crate::balance::demand::HourDemand;
use crate::balance::ground::Ground;
use crate::balance::probe::{self, Correction, ProbeReading};
use crate::balance::spin_up;
use crate::balance::stores::{Levels, Stores};
use crate::site::Site;

/// How far a rolling plan reaches.
pub const REACH: TimeDelta = TimeDelta::hours(36);

/// Water that a zone has got or is getting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// When it began.
    pub from: DateTime<Utc>,
    /// When it ended, or will end.
    pub to: DateTime<Utc>,
    /// How deep [mm net], where a person tells it; from the sprinklers
    /// without.
    pub depth_mm: Option<f64>,
}

/// What a rain gauge showed: all the rain of the zone in that time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RainGauge {
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub to: DateTime<Utc>,
    /// How much [mm].
    pub depth_mm: f64,
}

/// What a probe in the soil said of the hour before an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Probe {
    /// End of the hour: there the balance is corrected.
    pub at: DateTime<Utc>,
    /// What it said.
    pub reading: ProbeReading,
}

/// How a probe corrected the balance of a zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrected {
    /// Index of the zone.
    pub zone: usize,
    /// The [`Probe::at`] of the reading.
    pub at: DateTime<Utc>,
    /// What became of the levels.
    pub correction: Correction,
}

/// What is known of a zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneNow {
    /// An instant in the past, the same as now at the latest.
    pub at: DateTime<Utc>,
    /// Its water then; without, what the site file says of the soil.
    pub levels: Option<Levels>,
    /// What it has got since, by beginning. The last may still run.
    pub water: Vec<Water>,
    /// Readings of its rain gauge, by beginning, apart from each other.
    pub rain: Vec<RainGauge>,
    /// What its probe said since, by instant.
    pub probes: Vec<Probe>,
    /// Place of the last run in a split application.
    pub cycle: Option<Cycle>,
    /// No watering before this.
    pub held_until: Option<DateTime<Utc>>,
    /// Not to be planned: it has no valve, or one that cannot be used.
    pub is_left_out: bool,
}

impl ZoneNow {
    /// Of when its water is known, not of the future.
    fn known_at(&self, horizon: Horizon) -> DateTime<Utc> {
        self.at.min(horizon.now)
    }

    /// From when its demand is needed; none where its soil has to be computed
    /// from the weather before.
    fn demand_from(&self, horizon: Horizon) -> Option<DateTime<Utc>> {
        self.levels.as_ref()?;
        let gauges = self.rain.iter().map(|gauge| gauge.from);
        Some(gauges.fold(self.known_at(horizon), DateTime::min))
    }
}

/// The instants of a rolling plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Horizon {
    /// Now, a whole second.
    pub now: DateTime<Utc>,
    /// End of the plan.
    pub until: DateTime<Utc>,
    /// The levels are told of the first instant from here on at which a zone
    /// is not being watered.
    pub kept_at: DateTime<Utc>,
}

/// How a zone stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZoneState {
    /// Depletion of the managed layer [mm].
    pub depletion_mm: f64,
    /// What is allowed of it [mm].
    pub allowed_mm: f64,
    /// Depth of the managed layer [mm].
    pub layer_mm: f64,
    /// Stage.
    pub stage: Stage,
    /// Levels to begin with next time, and of when.
    pub kept: (DateTime<Utc>, Levels),
}

/// A rolling plan.
#[derive(Debug, Clone, PartialEq)]
pub struct RollingPlan {
    /// What it was made for.
    pub horizon: Horizon,
    /// Runs that begin from now on, by start and then zone.
    pub runs: Vec<Run>,
    /// What could not be met.
    pub shortfalls: Vec<Shortfall>,
    /// How each zone stands now.
    pub zones: Vec<ZoneState>,
    /// What probes have corrected since [`Horizon::kept_at`], by zone and
    /// instant.
    pub corrections: Vec<Corrected>,
}

/// The end of a rolling plan that begins at `now`: 36 h ahead, or later when
/// the deep soak of a zone may have to begin within them.
#[must_use]
pub fn reach(site: &Site, now: DateTime<Utc>) -> DateTime<Utc> {
    let lead = now + TimeDelta::days(SOAK_DAYS);
    let soaks = site.zones.iter().filter(|zone| zone.pre_soak.wanted);
    let deadlines = soaks.map(|zone| zone.seeding.at - zone.pre_soak.rest);
    let last = deadlines
        .filter(|deadline| *deadline > now && *deadline <= lead)
        .max();
    last.map_or(now + REACH, |last| last.max(now + REACH))
}

/// Plans again from what is known of each zone of the site, in its order.
///
/// `weather` holds complete hours without a gap, from the earliest
/// [`ZoneNow::at`] (better from the seeding, for growth) to the end of the
/// plan.
///
/// # Errors
/// [`PlanError`]: weather that does not cover the plan, a soil that is none.
pub fn replan(
    site: &Site,
    weather: &[WeatherHour],
    zones: &[ZoneNow],
    horizon: Horizon,
) -> Result<RollingPlan, PlanError> {
    let span = span(weather, zones, horizon)?;
    let mut prepared = Prepared::of_demand_from(site, weather, &span, |zone| {
        zones[zone].demand_from(horizon)
    })?;
    for (index, now) in zones.iter().enumerate() {
        for gauge in &now.rain {
            prepared.change_demand(index, |ground, demand| believe(gauge, ground, demand));
        }
    }
    let mut standings = Vec::with_capacity(zones.len());
    let mut booked = Vec::new();
    let mut states = Vec::with_capacity(zones.len());
    let mut corrections = Vec::new();
    for (bed, now) in prepared.beds().zip(zones) {
        let mut catching_up = CatchingUp::begin(bed, now, horizon);
        catching_up.through(now);
        booked.extend(asks(&catching_up.watering, &now.water));
        states.push(catching_up.state());
        let zone = states.len() - 1;
        let told = |(at, _): &&(DateTime<Utc>, Correction)| *at > horizon.kept_at;
        let corrected = catching_up.corrections.iter().filter(told);
        corrections.extend(corrected.map(|&(at, correction)| Corrected {
            zone,
            at,
            correction,
        }));
        standings.push(Standing {
            at: catching_up.course.now().at,
            stores: catching_up.course.now().stores,
            since: catching_up.course.since(),
            last_end: catching_up.last_end,
            cycle: now.cycle,
            soaked: false,
            held_until: now.held_until.map(|until| until.timestamp()),
            is_left_out: now.is_left_out,
        });
    }
    prepared.go_on_from(standings, booked);
    let schedule = prepared.schedule();
    let shortfalls = shortfall::shortfalls(&schedule);
    let left_out = |zone: &Scheduled| zones[zone.waterer.index].is_left_out;
    let left_out: Vec<bool> = schedule.zones.iter().map(left_out).collect();
    Ok(RollingPlan {
        horizon,
        runs: schedule.runs,
        shortfalls: shortfalls
            .into_iter()
            .filter(|shortfall| !left_out[shortfall.zone])
            .collect(),
        zones: states,
        corrections,
    })
}

fn span(weather: &[WeatherHour], zones: &[ZoneNow], horizon: Horizon) -> Result<Span, PlanError> {
    let (from, to) = (horizon.now, horizon.until);
    let begin = zones.iter().map(|zone| zone.at).min();
    let begin = begin.map_or(from, |begin| begin.min(from));
    super::judge_weather(weather, begin, to)?;
    Ok(Span {
        begin,
        ..Span::exactly(from, to)
    })
}

/// Puts what a gauge showed in the place of the rain that the weather tells,
/// in the same hours; all of it into the last one where it tells of none. It
/// runs off as any rain does.
fn believe(gauge: &RainGauge, ground: &Ground, demand: &mut [HourDemand]) {
    let first = demand.partition_point(|hour| hour.start < gauge.from);
    let end = demand.partition_point(|hour| hour.start < gauge.to);
    let Some(inside) = demand.get_mut(first..end).filter(|hours| !hours.is_empty()) else {
        return;
    };
    let told: f64 = inside.iter().map(|hour| hour.rain_mm).sum();
    if told > 0.0 {
        for hour in inside {
            hour.set_rain(ground, hour.rain_mm * gauge.depth_mm / told);
        }
    } else if let Some(last) = inside.last_mut() {
        last.set_rain(ground, gauge.depth_mm);
    }
}

/// What the valve's water took of the supply.
fn asks(watering: &Watering, water: &[Water]) -> Vec<(i64, Ask)> {
    let by_valve = water.iter().filter(|water| water.depth_mm.is_none());
    by_valve
        .map(|water| {
            let length = (water.to - water.from).num_seconds();
            let ask = Ask {
                length,
                flow_l_per_min: watering.flow_l_per_min(),
                volume_l: watering.volume(length).l(),
            };
            (water.from.timestamp(), ask)
        })
        .collect()
}

/// A zone on its way from the last known levels to now.
struct CatchingUp<'b, 'z> {
    bed: &'b Bed<'z>,
    /// Those of its probe that were not reached yet.
    probes: &'b [Probe],
    corrections: Vec<(DateTime<Utc>, Correction)>,
    horizon: Horizon,
    watering: Watering,
    course: Course,
    last_end: Option<i64>,
    kept: Option<(i64, Levels)>,
    now: Option<Stores>,
}

impl<'b, 'z> CatchingUp<'b, 'z> {
    fn begin(bed: &'b Bed<'z>, zone: &'b ZoneNow, horizon: Horizon) -> Self {
        let at = zone.known_at(horizon);
        let first_probe = zone.probes.partition_point(|probe| probe.at <= at);
        let stores = match &zone.levels {
            Some(levels) => {
                let seeded = levels.seeded && bed.season.sown <= at;
                Stores::at_levels(&bed.ground, &Levels { seeded, ..*levels })
            }
            None => spin_up::stores_at(bed.zone, &bed.ground, &bed.demand, at).0,
        };
        let begin = Moment::new(at.timestamp(), stores);
        Self {
            bed,
            probes: &zone.probes[first_probe..],
            corrections: Vec::new(),
            horizon,
            watering: Watering::of(bed.zone, &bed.ground),
            course: Course::new(begin, 0..0),
            last_end: None,
            kept: None,
            now: None,
        }
    }

    fn through(&mut self, zone: &ZoneNow) {
        for water in zone.water.iter().filter(|water| water.to > zone.at) {
            self.dry_until(water.from.timestamp());
            self.take(water);
        }
        self.dry_until(self.horizon.now.timestamp());
        self.look(self.horizon.now.timestamp());
    }

    fn dry_until(&mut self, to: i64) {
        let now = self.horizon.now.timestamp();
        for look in [self.horizon.kept_at.timestamp(), now] {
            if look <= to {
                self.dry_past_probes(look);
                self.look(look);
            }
        }
        self.dry_past_probes(to);
    }

    /// What a probe said of the hour before an instant comes before whatever
    /// is done at it.
    fn dry_past_probes(&mut self, to: i64) {
        while let Some((probe, rest)) = self.probes.split_first()
            && probe.at.timestamp() <= to
        {
            self.course.advance(self.bed, probe.at.timestamp(), 0.0);
            let levels = self.course.now().stores.levels();
            let correction = probe::correct(&self.bed.ground, &levels, probe.reading);
            self.course.correct(correction.levels.strata_mm);
            self.corrections.push((probe.at, correction));
            self.probes = rest;
        }
        self.course.advance(self.bed, to, 0.0);
    }

    /// Notes the levels when they are due, and the stores of now.
    fn look(&mut self, at: i64) {
        let reached = self.course.now().at;
        if self.kept.is_none() && at >= self.horizon.kept_at.timestamp() {
            self.kept = Some((reached, self.course.now().stores.levels()));
        }
        if self.now.is_none() && at >= self.horizon.now.timestamp() {
            self.now = Some(self.course.now().stores);
        }
    }

    /// Water reaches the zone; what overlaps goes in after what came first.
    fn take(&mut self, water: &Water) {
        let from = water.from.timestamp().max(self.course.now().at);
        let to = water.to.timestamp().max(from + 1);
        let now = self.horizon.now.timestamp();
        let stage = self.bed.demand_at(from).stage;
        let depth_mm = water.depth_mm.unwrap_or_else(|| {
            let open_h = (water.to - water.from).as_seconds_f64() / 3600.0;
            self.watering.net_rate_mm_per_h(stage) * open_h
        });
        let rate = depth_mm / hours(to - from);
        self.course.begin_sums();
        if from < now && now < to {
            self.course.advance(self.bed, now, rate);
            self.now = Some(self.course.now().stores);
        }
        self.course.advance(self.bed, to, rate);
        self.last_end = Some(to);
        if self.horizon.kept_at.timestamp() <= to && to <= now {
            self.dry_past_probes(to);
            self.look(to);
        }
    }

    fn state(&self) -> ZoneState {
        let stores = self.now.unwrap_or(self.course.now().stores);
        let demand = self.bed.demand_at(self.horizon.now.timestamp());
        let (at, levels) = self
            .kept
            .unwrap_or((self.course.now().at, self.course.now().stores.levels()));
        ZoneState {
            depletion_mm: stores.depletion_mm(),
            allowed_mm: demand.depletion_share * stores.available_mm(&self.bed.ground),
            layer_mm: stores.layer_mm,
            stage: demand.stage,
            kept: (super::course::instant(at), levels),
        }
    }
}
