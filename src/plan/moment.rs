//! One zone at an instant, and one step of its water from there.

use std::sync::Arc;

use super::window::HOUR_S;
use crate::balance::demand::HourDemand;
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::stores::{Flows, Stores};
use crate::site::Zone;

/// Longest step of the balance [s].
const STEP_S: i64 = 300;

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

    #[inline]
    pub(super) fn demand<'b>(&self, bed: &'b Bed) -> &'b HourDemand {
        if self.at < self.hour_end {
            &bed.demand[self.hour]
        } else {
            bed.demand_at(self.at)
        }
    }

    /// Depletion of the managed layer over what is allowed there and then.
    #[inline]
    #[must_use]
    pub fn allowed_mm(&self, bed: &Bed) -> f64 {
        self.demand(bed).depletion_share * self.stores.available_mm(&bed.ground)
    }

    /// Depletion at which water is due: what is allowed, and the less of it
    /// the nearer the layer is to that of the seed.
    #[inline]
    pub(super) fn due_mm(&self, bed: &Bed) -> f64 {
        self.demand(bed).due_share * self.allowed_mm(bed)
    }

    /// The demand of the hour in which the last step was taken.
    pub(super) fn demand_before<'b>(&self, bed: &'b Bed) -> &'b HourDemand {
        &bed.demand[self.hour]
    }

    /// Goes one step towards `to`, with irrigation reaching the layer at a rate.
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
        if self.at >= self.hour_end {
            self.hour = bed.hour_index(self.at);
            let demand = &bed.demand[self.hour];
            self.hour_end = demand.start.timestamp() + HOUR_S;
            self.stores.grow_to(&bed.ground, demand.layer_mm);
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
}
