//! Where a zone stands on its way, and what has added up on it.

use std::ops::Range;

use super::moment::{Bed, Moment};
use super::timetable::Stage;

/// Water balance sums since the last run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Since {
    /// Evaporation and transpiration [mm].
    pub demand_mm: f64,
    /// Rain [mm].
    pub rain_mm: f64,
}

/// A moment of a zone with the sums that lead to it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    /// The moment.
    pub now: Moment,
    /// Sums since the last run.
    pub since: Since,
    /// Seconds of daylight in the seed stages so far.
    pub seed_daylight_s: i64,
}

impl Stand {
    /// Goes one step towards `to`, with irrigation reaching the layer at a
    /// rate [mm/h]. Daylight counts for seed that is `watched`.
    #[inline(always)]
    pub fn step(&mut self, bed: &Bed, to: i64, water_mm_per_h: f64, watched: &Range<i64>) {
        let from = self.now.at;
        let step = self.now.step(bed, to, water_mm_per_h);
        let demand = self.now.demand_before(bed);
        self.since.demand_mm += step.flows.evaporation_mm + step.flows.transpiration_mm;
        self.since.rain_mm += demand.rain_mm * step.hours;
        if demand.daylight && demand.stage <= Stage::Emergence && watched.contains(&from) {
            self.seed_daylight_s += self.now.at - from;
        }
    }
}
