//! One zone at an instant, and one step of its water from there.

use std::sync::Arc;

use super::window::HOUR_S;
use crate::balance::demand::HourDemand;
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::stores::{Flows, Stores};
use crate::site::Zone;

/// Longest step of the balance [s].
pub(super) const STEP_S: i64 = 300;

/// What does not change about a zone while a plan is made.
#[derive(Debug, Clone)]
pub struct Bed<'a> {
    /// The zone.
    pub zone: &'a Zone,
    /// Its ground.
    pub ground: Ground,
    /// Its season.
    pub season: Season,
    /// Demand, hour by hour without a gap.
    pub demand: Arc<[HourDemand]>,
}

impl Bed<'_> {
    fn hour_index(&self, at: i64) -> usize {
        let first = self
            .demand
            .first()
            .map_or(at, |hour| hour.start.timestamp());
        let index = usize::try_from((at - first).div_euclid(HOUR_S)).unwrap_or(0);
        index.min(self.demand.len().saturating_sub(1))
    }

    /// The demand of the hour in which an instant lies.
    #[must_use]
    pub fn demand_at(&self, at: i64) -> &HourDemand {
        &self.demand[self.hour_index(at)]
    }

    /// End of the weather [s].
    #[must_use]
    pub fn end(&self) -> i64 {
        self.demand
            .last()
            .map_or(0, |hour| hour.start.timestamp() + HOUR_S)
    }
}

/// A zone's water at an instant, without any record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// The instant, seconds of Unix time.
    pub at: i64,
    /// The water.
    pub stores: Stores,
    /// Index of the hour for which the layer was last brought up to date.
    hour: usize,
    /// End of that hour [s].
    hour_end: i64,
}

/// Index of an hour, and whether the seed is down.
pub(super) type HourAndSeed = (usize, bool);

/// What happened in a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Step {
    /// Its length [h].
    pub hours: f64,
    /// What moved.
    pub flows: Flows,
}

impl Moment {
    /// A moment with its water.
    #[must_use]
    pub fn new(at: i64, stores: Stores) -> Self {
        Self {
            at,
            stores,
            hour: 0,
            hour_end: i64::MIN,
        }
    }

    /// The demand of the hour that lies ahead, or in which the moment is.
    #[inline]
    pub(super) fn demand<'b>(&self, bed: &'b Bed) -> &'b HourDemand {
        if self.is_past_hour() {
            bed.demand_at(self.at)
        } else {
            &bed.demand[self.hour]
        }
    }

    /// What fixes the bounds of depletion since the last step: the layer grows
    /// only as an hour begins.
    #[inline]
    pub(super) fn hour_and_seed(&self) -> HourAndSeed {
        (self.hour, self.stores.seeded)
    }

    /// Whether the hour of the last step is over.
    #[inline]
    pub(super) fn is_past_hour(&self) -> bool {
        self.at >= self.hour_end
    }

    /// The demand of the hour in which the last step was taken.
    #[inline]
    pub(super) fn demand_before<'b>(&self, bed: &'b Bed) -> &'b HourDemand {
        &bed.demand[self.hour]
    }

    /// Goes one step towards `to`, with irrigation reaching the layer at a rate.
    #[inline(always)]
    pub(super) fn step(&mut self, bed: &Bed, to: i64, water_mm_per_h: f64) -> Step {
        let mut end = (self.at.div_euclid(STEP_S) + 1) * STEP_S;
        if !self.stores.seeded {
            let sown = bed.season.sown.timestamp();
            if self.at >= sown {
                self.stores.sow(&bed.ground);
            } else {
                end = end.min(sown);
            }
        }
        let end = end.min(to);
        if self.is_past_hour() {
            self.enter_hour(bed);
        }
        let demand = &bed.demand[self.hour];
        #[expect(clippy::cast_precision_loss, reason = "a step is at most 300 s")]
        let hours = (end - self.at) as f64 / HOUR_S as f64;
        let rain = demand.rain_mm - demand.rain_runoff_mm;
        let flows = self
            .stores
            .step(&bed.ground, demand, hours, (water_mm_per_h + rain) * hours);
        self.at = end;
        Step { hours, flows }
    }

    fn enter_hour(&mut self, bed: &Bed) {
        self.hour = bed.hour_index(self.at);
        let demand = &bed.demand[self.hour];
        self.hour_end = demand.start.timestamp() + HOUR_S;
        self.stores.grow_to(&bed.ground, demand.layer_mm);
    }
}
