//! What the state says when the daemon starts.

use chrono::{DateTime, TimeDelta, Utc};

use super::control::{Memory, WEATHER_KEPT};
use super::timekeeping::first_command;
use crate::balance::stores::Levels;
use crate::clock::Now;
use crate::site::Site;
use crate::store::{Store, StoreError};

/// Records older than this are of another season.
const RECORDS: TimeDelta = TimeDelta::days(150);
/// Levels and the water since are looked for so far back.
const WATER: TimeDelta = TimeDelta::days(31);
/// Weather is looked for so far back.
const WEATHER: TimeDelta = TimeDelta::days(super::outlook::KEPT_DAYS);

impl Memory {
    /// Ties the zones of the site to their history, under whatever name it
    /// began, and reads it.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn read(store: &mut Store, site: &Site, now: Now) -> Result<Self, StoreError> {
        for zone in &site.zones {
            for former in store.carry_on(&zone.name, &zone.formerly, now)? {
                tracing::info!(zone = zone.name, former, "a zone carries on its history");
            }
        }
        let zones: Vec<String> = site.zones.iter().map(|zone| zone.name.clone()).collect();
        store.use_zones(&zones, now)?;
        let levels = (0..zones.len()).map(|zone| latest_levels(store, zone));
        let levels = levels.collect::<Result<_, _>>()?;
        let last_written = store.last_written()?;
        // A clock that fell back must not hide what was written later.
        let newest = last_written.unwrap_or(now.utc).max(now.utc);
        let mut recovery = store.recovery(now)?;
        recovery.last_command = recovery.last_command.max(first_command(now.utc));
        Ok(Self {
            recovery,
            waterings: store.waterings(newest - WATER)?,
            records: store.records(newest - RECORDS)?,
            levels,
            weather: store.weather(WEATHER_KEPT, newest - WEATHER)?,
            last_written,
        })
    }
}

/// Levels that this version cannot read are none.
fn latest_levels(
    store: &Store,
    zone: usize,
) -> Result<Option<(DateTime<Utc>, Levels)>, StoreError> {
    let found = store.latest_balance(zone)?;
    Ok(found.and_then(|(at, state)| Some((at, serde_json::from_value(state).ok()?))))
}
