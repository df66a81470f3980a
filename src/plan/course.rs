//! One zone on its way through the plan: its stores carried forward in time,
//! with the dry spells and the look ahead to its next need.

use std::ops::Range;

use chrono::{DateTime, TimeDelta, Utc};

use super::ahead::{Ahead, Scout};
use super::bounds::{Bounds, DRY_SLACK_MM, too_dry};
use super::hours::{Leg, balance_hours};
use super::moment::{Bed, Moment, STEP_S};
use super::stand::{Since, Stand};
use super::timetable::{BalanceHour, Stage};
use super::turf::Watched;
use super::water::hours;
use super::window::HOUR_S;
use crate::balance::stores::Stores;
use crate::balance::strata;

/// Starts fall on whole minutes where nothing else decides [s].
const START_GRID_S: i64 = 60;
/// Seed that has just been sown is still dry; its layer counts as too dry
/// only from this long after sowing (common practice, no source).
const GRACE_S: i64 = 3600;
/// When a zone gets too dry after its need is looked for so far ahead [s].
const DRY_AHEAD_S: i64 = 24 * HOUR_S;
/// Demand of a night without any, to divide by [mm/h].
const LEAST_DEMAND_MM_PER_H: f64 = 1e-3;

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
    /// Dry spells so far.
    pub dry: Vec<DrySpell>,
    /// Seconds so far that count as too dry: of seed those by daylight, and of
    /// the root zone all. In this order: seed cannot wait.
    pub dry_s: (i64, i64),
    begin: Moment,
    /// The way from there.
    legs: Vec<Leg>,
    stand: Stand,
    /// Bounds in the hour of the last step that was watched.
    behind: Bounds,
    record: Range<i64>,
    ahead: Ahead,
}

impl Course {
    /// A course that begins at a moment; what is not within `record` leaves
    /// none.
    #[must_use]
    pub fn new(now: Moment, record: Range<i64>) -> Self {
        Self {
            dry: Vec::new(),
            dry_s: (0, 0),
            begin: now,
            legs: Vec::new(),
            stand: Stand {
                now,
                since: Since::default(),
                seed_daylight_s: 0,
            },
            behind: Bounds::unknown(),
            record,
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

    /// A course that has gone nowhere yet, with sums since a run before it.
    #[must_use]
    pub fn after(mut self, since: Since) -> Self {
        self.stand.since = since;
        self
    }

    /// The balance of every hour of its way since it was last put right
    /// ([`Course::correct`]).
    #[must_use]
    pub fn balance_hours(&self, bed: &Bed) -> Vec<BalanceHour> {
        balance_hours(bed, self.begin, &self.legs, &self.record)
    }

    /// Where it is now.
    #[must_use]
    pub fn now(&self) -> &Moment {
        &self.stand.now
    }

    /// Sums since the last run.
    #[must_use]
    pub fn since(&self) -> Since {
        self.stand.since
    }

    /// Seconds of daylight in the seed stages so far.
    #[must_use]
    pub fn seed_daylight_s(&self) -> i64 {
        self.stand.seed_daylight_s
    }

    /// Begins the sums anew, for a run.
    pub fn begin_sums(&mut self) {
        self.stand.since = Since::default();
        self.ahead.forget();
    }

    /// Carries the zone forward to `to`, with irrigation reaching the layer
    /// at a rate [mm/h].
    pub fn advance(&mut self, bed: &Bed, to: i64, water_mm_per_h: f64) {
        let to = to.min(bed.end());
        let is_dry = water_mm_per_h <= 0.0;
        if to > self.stand.now.at {
            self.legs.push(Leg { to, water_mm_per_h });
        }
        if is_dry && let Some(mark) = self.ahead.mark(self.stand.now.at, to) {
            self.stand = *mark;
        }
        let watched = self.watched(bed);
        while self.stand.now.at < to {
            let from = self.stand.now.at;
            self.stand.step(bed, to, water_mm_per_h, &watched);
            if watched.contains(&from) {
                self.watch(bed, from);
            }
        }
        // From within a step the zone goes on by other steps than were looked at.
        if !is_dry || self.stand.now.at % STEP_S != 0 {
            self.ahead.forget();
        }
    }

    /// When it counts whether something is too dry.
    fn watched(&self, bed: &Bed) -> Range<i64> {
        self.record.start.max(watched_from(bed))..self.record.end
    }

    /// Puts other depletions [mm] into the strata, for what is known better of
    /// them than the balance tells.
    pub fn correct(&mut self, strata_mm: [f64; strata::COUNT]) {
        self.stand.now.stores.strata_mm = strata_mm;
        self.begin = self.stand.now;
        self.legs.clear();
        self.ahead.forget();
    }

    /// Notes whether the layer, or the soil of standing turf, is too dry in the
    /// step that began at `from`.
    fn watch(&mut self, bed: &Bed, from: i64) {
        let now = &self.stand.now;
        self.behind.keep_behind(bed, now);
        let (layer_mm, soil_mm) = (now.stores.depletion_mm(), now.stores.total_depletion_mm());
        if !self.behind.are_passed(layer_mm, soil_mm) {
            return;
        }
        let demand = now.demand_before(bed);
        let (to, seconds) = (now.at, now.at - from);
        let is_seed = demand.stage <= Stage::Emergence;
        let daylight_s = if demand.daylight { seconds } else { 0 };
        let layer = too_dry(layer_mm, self.behind.allowed_mm);
        let turf = too_dry(soil_mm, self.behind.turf_mm);
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
    #[must_use]
    pub fn next_need(
        &mut self,
        bed: &Bed,
        watched: Watched,
        worthwhile_mm: f64,
        until: i64,
    ) -> Outlook {
        let mut scout = Scout::from(&self.stand, self.watched(bed));
        let until = until.min(bed.end());
        let bounds = Bounds::ahead(bed, &scout.stand.now);
        let mut is_turf_short = bounds.is_turf_short(scout.soil_mm);
        let (mut depletion, mut due) = (scout.depletion_mm(watched), watched.due_mm(&bounds));
        let mut worthwhile_from = (depletion >= worthwhile_mm).then_some(scout.stand.now.at);
        if let Some(at) = worthwhile_from
            && depletion > due + DRY_SLACK_MM
        {
            let margin_mm = watched.allowed_mm(&bounds) - depletion;
            let need = Need {
                worthwhile_from: at,
                latest: at,
                dry_from: dry_from(bed, at, margin_mm, None),
                depletion_mm: depletion,
            };
            return Outlook {
                need: Some(need),
                is_turf_short,
            };
        }
        while scout.stand.now.at < until {
            let before = (scout.stand.now.at, depletion - due);
            let depletion_before = depletion;
            scout.step(bed, &mut self.ahead, until);
            let now = &scout.stand.now;
            let bounds = if now.is_past_hour() {
                Bounds::ahead(bed, now)
            } else {
                scout.bounds
            };
            is_turf_short |= bounds.is_turf_short(scout.soil_mm);
            (depletion, due) = (scout.depletion_mm(watched), watched.due_mm(&bounds));
            if worthwhile_from.is_none() && depletion < worthwhile_mm {
                continue;
            }
            if depletion > due + DRY_SLACK_MM {
                let latest = crossing(before, (now.at, depletion - due));
                let loss_mm_per_h = (depletion - depletion_before) / hours(now.at - before.0);
                let margin_mm = watched.allowed_mm(&bounds) - due;
                let need = Need {
                    worthwhile_from: worthwhile_from.unwrap_or(latest),
                    latest,
                    dry_from: dry_from(bed, latest, margin_mm, Some(loss_mm_per_h)),
                    depletion_mm: depletion,
                };
                return Outlook {
                    need: Some(need),
                    is_turf_short,
                };
            }
            worthwhile_from.get_or_insert(now.at);
        }
        Outlook {
            need: None,
            is_turf_short,
        }
    }

    /// The zone at a later instant without watering.
    pub fn dry_ahead(&mut self, bed: &Bed, at: i64) -> Stores {
        let at = at.min(bed.end());
        let mark = self.ahead.mark(self.stand.now.at, at);
        let mut scout = Scout::from(mark.unwrap_or(&self.stand), self.watched(bed));
        while scout.stand.now.at < at {
            scout.step(bed, &mut self.ahead, at);
        }
        scout.stand.now.stores
    }
}

/// What a look ahead finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// The next need, where one comes in the time that was looked at.
    pub need: Option<Need>,
    /// Whether standing turf gets short of water before.
    pub is_turf_short: bool,
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

/// From when a zone is too dry that has `margin_mm` left at an instant and
/// loses so much [mm/h] there, or all of the demand where that is not known. It
/// loses on as the demand goes, by day and by night.
fn dry_from(bed: &Bed, from: i64, margin_mm: f64, loss_mm_per_h: Option<f64>) -> i64 {
    let demand_mm_per_h = |at| {
        let demand = bed.demand_at(at);
        (demand.kc_max * demand.et0_mm_per_h).max(LEAST_DEMAND_MM_PER_H)
    };
    let of_demand = loss_mm_per_h.map_or(1.0, |loss| loss.max(0.0) / demand_mm_per_h(from));
    let last = bed.end().min(from + DRY_AHEAD_S);
    let (mut at, mut left_mm) = (from, margin_mm.max(0.0));
    while at < last {
        let end = last.min((at.div_euclid(HOUR_S) + 1) * HOUR_S);
        let lost_mm = of_demand * demand_mm_per_h(at) * hours(end - at);
        if lost_mm >= left_mm {
            return crossing((at, -left_mm), (end, lost_mm - left_mm));
        }
        left_mm -= lost_mm;
        at = end;
    }
    last.max(from)
}

/// Last whole minute before excess over the allowance crosses zero.
fn crossing(before: (i64, f64), after: (i64, f64)) -> i64 {
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "within one hour"
    )]
    let seconds = ((after.0 - before.0) as f64 * (-before.1) / (after.1 - before.1)) as i64;
    let at = before.0 + seconds.clamp(0, after.0 - before.0);
    (at.div_euclid(START_GRID_S) * START_GRID_S).max(before.0)
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
