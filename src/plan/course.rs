//! One zone on its way through the plan: its stores carried forward in time,
//! with the hourly record, the dry spells and the look ahead to its next need.

use std::ops::Range;

use chrono::{DateTime, TimeDelta, Utc};

use super::ahead::Ahead;
use super::moment::{Bed, Moment, Step};
use super::timetable::{BalanceHour, Stage};
use super::turf::{self, Watched};
use crate::balance::demand::HourDemand;
use crate::balance::stores::Stores;
use crate::balance::strata;

/// Starts fall on whole minutes where nothing else decides [s].
const START_GRID_S: i64 = 60;
/// Seed that has just been sown is still dry; its layer counts as too dry
/// only from this long after sowing (common practice, no source).
const GRACE_S: i64 = 3600;
/// When seed gets too dry after its need is looked for so far ahead [s].
const DRY_AHEAD_S: i64 = 12 * 3600;
/// Depletion counts as above the allowed one from this excess [mm].
const DRY_SLACK_MM: f64 = 1e-6;

/// Water balance sums since the last run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Since {
    /// Evaporation and transpiration [mm].
    pub demand_mm: f64,
    /// Rain [mm].
    pub rain_mm: f64,
}

/// A spell in which the managed layer was drier than allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrySpell {
    /// Start [s].
    pub from: i64,
    /// End [s].
    pub to: i64,
    /// Seconds of it by daylight.
    pub daylight_s: i64,
    /// Highest depletion over allowed depletion.
    pub worst_ratio: f64,
    /// Whether it was the seed layer, not the root zone.
    pub seed_stage: bool,
}

impl DrySpell {
    /// Seconds of it that count: of seed those by daylight.
    #[must_use]
    pub fn counted_s(&self) -> i64 {
        if self.seed_stage {
            self.daylight_s
        } else {
            self.to - self.from
        }
    }
}

/// A zone carried through the plan.
#[derive(Debug, Clone)]
pub struct Course {
    /// Where it is now.
    pub now: Moment,
    /// Sums since the last run.
    pub since: Since,
    /// Whether a record is kept of its hours: only what is shown needs one.
    pub keeps_hours: bool,
    /// Finished hours.
    pub hours: Vec<BalanceHour>,
    /// Dry spells so far.
    pub dry: Vec<DrySpell>,
    /// Seconds so far that count as too dry: of seed those by daylight, and of
    /// the root zone all. In this order: seed cannot wait.
    pub dry_s: (i64, i64),
    /// Seconds of daylight in the seed stages so far.
    pub seed_daylight_s: i64,
    record: Range<i64>,
    open_hour: Option<BalanceHour>,
    ahead: Ahead,
}

impl Course {
    /// A course that begins at a moment; what is not within `record` leaves
    /// none.
    #[must_use]
    pub fn new(now: Moment, record: Range<i64>) -> Self {
        Self {
            now,
            since: Since::default(),
            keeps_hours: false,
            hours: Vec::new(),
            dry: Vec::new(),
            dry_s: (0, 0),
            seed_daylight_s: 0,
            record,
            open_hour: None,
            ahead: Ahead::one_of(1),
        }
    }

    /// The same as one of so many zones of a plan, which share the memory for
    /// what lies ahead.
    #[must_use]
    pub fn one_of(self, zones: usize) -> Self {
        Self {
            ahead: Ahead::one_of(zones),
            ..self
        }
    }

    /// Carries the zone forward to `to`, with irrigation reaching the layer
    /// at a rate [mm/h].
    pub fn advance(&mut self, bed: &Bed, to: i64, water_mm_per_h: f64) {
        let to = to.min(bed.end());
        while self.now.at < to {
            let from = self.now.at;
            let step = self.go(bed, to, water_mm_per_h);
            let (flows, demand) = (&step.flows, self.now.demand_before(bed));
            self.since.demand_mm += flows.evaporation_mm + flows.transpiration_mm;
            self.since.rain_mm += demand.rain_mm * step.hours;
            if self.record.contains(&from) {
                if self.keeps_hours {
                    self.record(bed, &step, water_mm_per_h * step.hours);
                }
                self.watch(bed, demand, from);
            }
        }
    }

    fn go(&mut self, bed: &Bed, to: i64, water_mm_per_h: f64) -> Step {
        if water_mm_per_h <= 0.0
            && let Some(step) = self.ahead.go(&mut self.now, to)
        {
            return step;
        }
        self.ahead.forget();
        self.now.step(bed, to, water_mm_per_h)
    }

    /// Puts other depletions [mm] into the strata, for what is known better of
    /// them than the balance tells.
    pub fn correct(&mut self, strata_mm: [f64; strata::COUNT]) {
        self.now.stores.strata_mm = strata_mm;
        self.ahead.forget();
    }

    /// Ends the record: the hour in progress is kept as it stands.
    pub fn finish(&mut self) {
        self.hours.extend(self.open_hour.take());
    }

    fn record(&mut self, bed: &Bed, step: &Step, water_mm: f64) {
        let (demand, hours, flows) = (self.now.demand_before(bed), step.hours, &step.flows);
        if self.open_hour.is_none_or(|open| open.start != demand.start) {
            self.hours.extend(self.open_hour.take());
        }
        let stores = &self.now.stores;
        let depletion_mm = stores.depletion_mm();
        let available_mm = stores.available_mm(&bed.ground);
        let hour = self.open_hour.get_or_insert_with(|| empty_hour(demand));
        hour.et0_mm += demand.et0_mm_per_h * hours;
        hour.evaporation_mm += flows.evaporation_mm;
        hour.transpiration_mm += flows.transpiration_mm;
        hour.rain_mm += demand.rain_mm * hours;
        hour.all_rain_mm += demand.all_rain_mm * hours;
        hour.runoff_mm += demand.rain_runoff_mm * hours;
        hour.irrigation_mm += water_mm;
        hour.restored_mm += flows.restored_mm;
        hour.drainage_mm += flows.drainage_mm;
        hour.depletion_mm = depletion_mm;
        hour.worst_depletion_mm = hour.worst_depletion_mm.max(depletion_mm);
        // Nothing can be too dry before the seed is down.
        let allowed = if demand.stage < Stage::Germination {
            0.0
        } else {
            demand.depletion_share
        };
        hour.allowed_mm = allowed * available_mm;
        hour.total_available_mm = available_mm;
        hour.layer_mm = stores.layer_mm;
    }

    /// Notes whether the layer, or the soil of standing turf, is too dry in the
    /// step that began at `from`.
    fn watch(&mut self, bed: &Bed, demand: &HourDemand, from: i64) {
        if from < watched_from(bed) {
            return;
        }
        let (to, seconds) = (self.now.at, self.now.at - from);
        let is_seed = demand.stage <= Stage::Emergence;
        let daylight_s = if demand.daylight { seconds } else { 0 };
        if is_seed {
            self.seed_daylight_s += daylight_s;
        }
        let stores = &self.now.stores;
        let allowed_mm = demand.depletion_share * stores.available_mm(&bed.ground);
        let layer = too_dry(stores.depletion_mm(), allowed_mm);
        let turf = turf::stands_on(bed)
            .then(|| turf::allowed_mm(bed, demand, stores))
            .and_then(|allowed_mm| too_dry(stores.total_depletion_mm(), allowed_mm));
        let (seed, roots) = match (is_seed, layer, turf) {
            (true, layer, turf) => (layer, turf),
            (false, Some(layer), Some(turf)) => (None, Some(layer.max(turf))),
            (false, layer, turf) => (None, layer.or(turf)),
        };
        for (seed_stage, ratio) in [(true, seed), (false, roots)] {
            if let Some(worst_ratio) = ratio {
                self.note_dry(DrySpell {
                    from,
                    to,
                    daylight_s,
                    worst_ratio,
                    seed_stage,
                });
            }
        }
    }

    /// Lengthens the last spell of its kind, or begins another.
    fn note_dry(&mut self, step: DrySpell) {
        if step.seed_stage {
            self.dry_s.0 += step.counted_s();
        } else {
            self.dry_s.1 += step.counted_s();
        }
        let of_kind = |spell: &&mut DrySpell| spell.seed_stage == step.seed_stage;
        let last = self.dry.iter_mut().rev().find(of_kind);
        match last.filter(|spell| spell.to == step.from) {
            Some(spell) => {
                spell.to = step.to;
                spell.daylight_s += step.daylight_s;
                spell.worst_ratio = spell.worst_ratio.max(step.worst_ratio);
            }
            None => self.dry.push(step),
        }
    }

    /// Looks ahead without watering: when what is watched first has room for a
    /// run worth giving, and the last whole minute at which it is still moist enough.
    /// None when no need comes before `until`.
    #[must_use]
    pub fn next_need(
        &mut self,
        bed: &Bed,
        watched: Watched,
        worthwhile_mm: f64,
        until: i64,
    ) -> Option<Need> {
        let mut moment = self.now;
        let mut worthwhile_from = None;
        let until = until.min(bed.end());
        let (mut depletion, mut due) = watched.state_mm(bed, &moment);
        let mut count = 0;
        loop {
            let (before, depletion_before, due_before) = (moment.at, depletion, due);
            if worthwhile_from.is_none() && depletion_before >= worthwhile_mm {
                worthwhile_from = Some(before);
            }
            if depletion_before > due_before + DRY_SLACK_MM && worthwhile_from.is_some() {
                return Some(Need {
                    worthwhile_from: worthwhile_from.unwrap_or(before),
                    latest: before,
                    dry_from: self.dry_from(bed, watched, (moment, count), until),
                    depletion_mm: depletion_before,
                });
            }
            if before >= until {
                return None;
            }
            self.ahead.look(bed, &mut moment, count, until);
            count += 1;
            (depletion, due) = watched.state_mm(bed, &moment);
            if depletion > due + DRY_SLACK_MM
                && (worthwhile_from.is_some() || depletion >= worthwhile_mm)
            {
                let latest = crossing(
                    (before, depletion_before - due_before),
                    (moment.at, depletion - due),
                );
                let is_dry = watched.is_too_dry(bed, &moment);
                return Some(Need {
                    worthwhile_from: worthwhile_from.unwrap_or(latest),
                    latest,
                    dry_from: if is_dry {
                        latest
                    } else {
                        self.dry_from(bed, watched, (moment, count), until)
                    },
                    depletion_mm: depletion,
                });
            }
        }
    }

    /// From when what is watched is too dry without water, looked for from a
    /// moment that `count` steps lead to.
    fn dry_from(
        &mut self,
        bed: &Bed,
        watched: Watched,
        (mut moment, mut count): (Moment, usize),
        until: i64,
    ) -> i64 {
        let last = until.min(moment.at + DRY_AHEAD_S);
        loop {
            let before = moment.at;
            if before >= last || watched.is_too_dry(bed, &moment) {
                return before;
            }
            self.ahead.look(bed, &mut moment, count, last);
            count += 1;
            if watched.is_too_dry(bed, &moment) {
                return before;
            }
        }
    }

    /// The zone at a later instant without watering.
    pub fn dry_ahead(&mut self, bed: &Bed, at: i64) -> Stores {
        let mut moment = self.now;
        let at = at.min(bed.end());
        let mut count = 0;
        while moment.at < at {
            self.ahead.look(bed, &mut moment, count, at);
            count += 1;
        }
        moment.stores
    }
}

/// A coming need for water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Need {
    /// From when a run is worth giving [s].
    pub worthwhile_from: i64,
    /// The last start that water is due by [s]: before seed gets too dry.
    pub latest: i64,
    /// From when what is watched is too dry [s]; not before `latest`.
    pub dry_from: i64,
    /// Depletion of what is watched then [mm].
    pub depletion_mm: f64,
}

/// From when a layer too dry counts [s].
#[must_use]
pub fn watched_from(bed: &Bed) -> i64 {
    bed.season.sown.timestamp() + GRACE_S
}

/// Depletion over what is allowed of it, where it is more than that.
fn too_dry(depletion_mm: f64, allowed_mm: f64) -> Option<f64> {
    (depletion_mm > allowed_mm + DRY_SLACK_MM).then(|| depletion_mm / allowed_mm.max(DRY_SLACK_MM))
}

/// Last whole minute before excess over the allowance crosses zero.
fn crossing(before: (i64, f64), after: (i64, f64)) -> i64 {
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "within one step of 300 s"
    )]
    let seconds = ((after.0 - before.0) as f64 * (-before.1) / (after.1 - before.1)) as i64;
    let at = before.0 + seconds.clamp(0, after.0 - before.0);
    (at.div_euclid(START_GRID_S) * START_GRID_S).max(before.0)
}

fn empty_hour(demand: &HourDemand) -> BalanceHour {
    BalanceHour {
        start: demand.start,
        et0_mm: 0.0,
        evaporation_mm: 0.0,
        transpiration_mm: 0.0,
        rain_mm: 0.0,
        all_rain_mm: 0.0,
        irrigation_mm: 0.0,
        restored_mm: 0.0,
        drainage_mm: 0.0,
        depletion_mm: 0.0,
        runoff_mm: 0.0,
        worst_depletion_mm: 0.0,
        allowed_mm: 0.0,
        total_available_mm: 0.0,
        layer_mm: 0.0,
        daylight: demand.daylight,
        stage: demand.stage,
    }
}

/// An instant of the plan for people's types.
#[must_use]
pub fn instant(at: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(at, 0).unwrap_or_default()
}

/// A whole number of seconds as a span.
#[must_use]
pub fn span(seconds: i64) -> TimeDelta {
    TimeDelta::try_seconds(seconds).unwrap_or_default()
}
