//! The balance of a zone hour by hour, which only what is shown needs: the way
//! that it went in the plan that is kept, gone once more.

use std::ops::Range;

use super::moment::{Bed, Moment, Step};
use super::timetable::{BalanceHour, Stage};
use crate::balance::demand::HourDemand;

/// A part of the way of a zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Its end [s]; it begins where the one before ends.
    pub to: i64,
    /// Rate at which irrigation reaches the layer on it [mm/h].
    pub water_mm_per_h: f64,
}

/// The hours of a zone that stood at a moment and went so from there, as far
/// as they lie within `record` [s].
#[must_use]
pub fn balance_hours(
    bed: &Bed,
    begin: Moment,
    legs: &[Leg],
    record: &Range<i64>,
) -> Vec<BalanceHour> {
    let mut hours: Vec<BalanceHour> = Vec::new();
    let mut now = begin;
    for leg in legs {
        while now.at < leg.to {
            let from = now.at;
            let step = now.step(bed, leg.to, leg.water_mm_per_h);
            if !record.contains(&from) {
                continue;
            }
            let demand = now.demand_before(bed);
            match hours.last_mut().filter(|open| open.start == demand.start) {
                Some(open) => add(open, bed, &now, &step, leg.water_mm_per_h),
                None => {
                    let mut open = empty_hour(demand);
                    add(&mut open, bed, &now, &step, leg.water_mm_per_h);
                    hours.push(open);
                }
            }
        }
    }
    hours
}

/// Adds a step that led to `now`.
fn add(hour: &mut BalanceHour, bed: &Bed, now: &Moment, step: &Step, water_mm_per_h: f64) {
    let (demand, hours, flows) = (now.demand_before(bed), step.hours, &step.flows);
    let depletion_mm = now.stores.depletion_mm();
    let available_mm = now.stores.available_mm(&bed.ground);
    hour.et0_mm += demand.et0_mm_per_h * hours;
    hour.evaporation_mm += flows.evaporation_mm;
    hour.transpiration_mm += flows.transpiration_mm;
    hour.rain_mm += demand.rain_mm * hours;
    hour.all_rain_mm += demand.all_rain_mm * hours;
    hour.runoff_mm += demand.rain_runoff_mm * hours;
    hour.irrigation_mm += water_mm_per_h * hours;
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
    hour.layer_mm = now.stores.layer_mm;
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
