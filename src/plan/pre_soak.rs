//! The deep soak before seeding: how deep, and split into which cycles so
//! that nothing runs off.
//!
//! A cycle may last until the wettest quarter of the zone ponds (Green–Ampt
//! with Mein & Larson's time to ponding, soil at field capacity as the cycle
//! before left it) and until the film then standing fills what the slope
//! holds. The next cycle waits until that film is gone, with the capacity
//! that the soil still has after all that went in before. Where an
//! infiltration rate was measured, it bounds the average by itself, with no
//! credit for suction.

use super::water::{self, Watering, grid_up, hours, moist_soil, wettest_rate, whole_seconds};
use crate::agronomy::infiltration::GreenAmpt;
use crate::balance::ground::Ground;
use crate::balance::record::Stage;
use crate::site::Zone;
use crate::units::Rate;

/// A split application.
#[derive(Debug, Clone, PartialEq)]
pub struct Cycles {
    /// Run time of each cycle [s].
    pub run_s: Vec<i64>,
    /// Pause after each cycle but the last [s].
    pub pause_s: Vec<i64>,
    /// Whether the soil's intake, not the longest run, set the split.
    pub by_intake: bool,
}

/// Splits a net depth into cycles that the longest opening before the seeding
/// (`opening_s`) can hold. `deficit` is the mean moisture deficit θS − θ of the
/// soil before the soak.
#[must_use]
pub fn split(
    zone: &Zone,
    ground: &Ground,
    watering: &Watering,
    (net_mm, deficit): (f64, f64),
    opening_s: i64,
) -> Cycles {
    let total_s = watering
        .seconds_for(net_mm, Stage::PreSoak)
        .max(watering.shortest_s());
    let (longest_s, by_intake) = longest_cycle_s(zone, ground, watering, opening_s);
    let count = (total_s + longest_s - 1) / longest_s;
    // Even cycles read better than many long ones and a stub.
    let even_s = grid_up(total_s / count + i64::from(total_s % count > 0));
    let mut run_s = Vec::new();
    let mut left_s = total_s;
    while left_s > 0 {
        let run = even_s.min(left_s).max(watering.shortest_s());
        run_s.push(run);
        left_s -= run;
    }
    let pause_s = pauses(zone, ground, &run_s, deficit);
    Cycles {
        run_s,
        pause_s,
        by_intake,
    }
}

/// Longest cycle without runoff, and whether the soil set it.
fn longest_cycle_s(
    zone: &Zone,
    ground: &Ground,
    watering: &Watering,
    opening_s: i64,
) -> (i64, bool) {
    let bound_s = watering.bound_s().min(opening_s);
    let rate = wettest_rate(&zone.sprinkler);
    let without_runoff_s = moist_soil(ground)
        .ponding(rate)
        .map_or(i64::MAX, |ponding| {
            let film_mm = ground.surface_storage.mm();
            // Infiltration after ponding is never below the conductivity, so
            // the film takes at least this long to fill.
            let film_h = film_mm / (rate.mm_per_h() - ground.intake.mm_per_h());
            whole_seconds((ponding.time_h + film_h) * 3600.0)
        });
    let longest_s = water::grid_down(bound_s.min(without_runoff_s));
    (
        longest_s.max(watering.shortest_s()),
        without_runoff_s < bound_s,
    )
}

fn pauses(zone: &Zone, ground: &Ground, run_s: &[i64], deficit: f64) -> Vec<i64> {
    let rate = wettest_rate(&zone.sprinkler).mm_per_h();
    let intake = ground.intake.mm_per_h();
    let soil = GreenAmpt {
        conductivity_mm_per_h: intake,
        suction_mm: ground.suction_mm,
        moisture_deficit: deficit.max(0.0),
    };
    let soak_s = zone.runs.soak_time.num_seconds();
    if rate <= intake {
        // Everything goes in as it falls: the pause is only the site's own.
        return vec![soak_s; run_s.len().saturating_sub(1)];
    }
    let mut infiltrated_mm = 0.0;
    let mut pauses = Vec::new();
    for &run in run_s.iter().take(run_s.len().saturating_sub(1)) {
        let given_mm = rate * hours(run);
        let gone_h = if ground.intake_measured {
            given_mm / intake
        } else {
            film_gone_h(soil, rate, infiltrated_mm, given_mm)
        };
        infiltrated_mm += given_mm;
        pauses.push(grid_up(
            (whole_seconds((gone_h * 3600.0).ceil()) - run).max(soak_s),
        ));
    }
    pauses
}

/// Hours from the start of a cycle until all it gave has infiltrated.
///
/// The soil, with `before_mm` already infiltrated, takes in the cycle at its
/// rate until it ponds (Mein & Larson 1973) and then at its capacity until
/// the film is gone: the times between two infiltrated depths under ponding
/// are those of Green & Ampt.
fn film_gone_h(soil: GreenAmpt, rate_mm_per_h: f64, before_mm: f64, given_mm: f64) -> f64 {
    let after_mm = before_mm + given_mm;
    let ponds_at_mm = soil
        .ponding(Rate::from_mm_per_h(rate_mm_per_h))
        .map_or(after_mm, |ponding| ponding.depth_mm)
        .clamp(before_mm, after_mm);
    let before_ponding_h = (ponds_at_mm - before_mm) / rate_mm_per_h;
    before_ponding_h + soil.ponded_time_h(after_mm) - soil.ponded_time_h(ponds_at_mm)
}
