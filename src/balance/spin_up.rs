//! How wet the soil is when a plan begins: stated, or computed from the
//! weather of the days before.

use chrono::{DateTime, Utc};

use super::demand::HourDemand;
use super::ground::Ground;
use super::stores::Stores;
use crate::site::{SoilState, Zone};

/// Days of weather before the plan that are worth computing: a thin layer
/// forgets its start within days, 150 mm of soil within a few weeks.
pub const MEMORY_DAYS: i64 = 30;
/// Steps per hour while nothing is watered.
const STEPS: u32 = 4;

/// The stores of an unwatered zone at `until`, from the stated soil state or
/// from the hours before it. Returns how many hours were used.
#[must_use]
pub fn stores_at(
    zone: &Zone,
    ground: &Ground,
    hours: &[HourDemand],
    until: DateTime<Utc>,
) -> (Stores, usize) {
    let state = zone.seeding.soil_state;
    let mut stores = Stores::uniform(ground, ground.depletion_share(state));
    if state != SoilState::FromWeather {
        return (stores, 0);
    }
    let oldest = until - chrono::TimeDelta::days(MEMORY_DAYS);
    let mut used = 0;
    for hour in hours
        .iter()
        .filter(|hour| hour.start >= oldest && hour.start < until)
    {
        let water_mm = (hour.rain_mm - hour.rain_runoff_mm) / f64::from(STEPS);
        for _ in 0..STEPS {
            stores.step(ground, hour, 1.0 / f64::from(STEPS), water_mm);
        }
        used += 1;
    }
    (stores, used)
}
