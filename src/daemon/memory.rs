//! What the state says when the daemon starts, and what it said at a past
//! moment, so that the plan of then can be made again.

use chrono::{DateTime, TimeDelta, Utc};

use super::assignment::Assignment;
use super::control::{Control, Memory, Settings, WEATHER_KEPT};
use super::strays;
use super::timekeeping::first_command;
use crate::balance::stores::Levels;
use crate::clock::{Now, judge};
use crate::site::Site;
use crate::store::{Store, StoreError};
use crate::valve::{InstallationError, Moment};
use crate::weather::frozen::{self, Frozen};
use crate::weather::series::SeriesHour;

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
        store.use_valves(strays::closings(site), &zones, now)?;
        store.use_zones(&zones, now)?;
        let gone = store.gone_names(&zones)?;
        Ok(Self {
            gone,
            ..Self::known(store, zones.len(), now)?
        })
    }

    /// The same for a dry run, which moves no history: what a zone was called
    /// before it is still called in the state.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn look(store: &mut Store, site: &Site, now: Now) -> Result<Self, StoreError> {
        let named = site.zones.iter();
        let names = named
            .clone()
            .flat_map(|zone| zone.formerly.iter().chain([&zone.name]));
        let names: Vec<String> = names.cloned().collect();
        store.use_valves(strays::closings(site), &names, now)?;
        store.follow_zones(named.map(|zone| (zone.name.as_str(), zone.formerly.as_slice())))?;
        Self::known(store, site.zones.len(), now)
    }

    /// What the state says of zones that were tied to it.
    fn known(store: &mut Store, zones: usize, now: Now) -> Result<Self, StoreError> {
        let last_written = store.last_written()?;
        let newest = if judge(now.utc, last_written).is_ok() {
            store.redate(now.utc)?;
            last_written.map_or(now.utc, |written| written.max(now.utc))
        } else {
            // It is read again when the clock is right.
            last_written.unwrap_or(now.utc)
        };
        let levels = (0..zones).map(|zone| latest_levels(store, zone));
        let levels = levels.collect::<Result<_, _>>()?;
        let mut recovery = store.recovery(now)?;
        recovery.last_command = recovery.last_command.max(first_command(now.utc));
        Ok(Self {
            recovery,
            waterings: store.waterings(newest - WATER)?,
            records: store.records(newest - RECORDS)?,
            levels,
            weather: store.weather(WEATHER_KEPT, newest - WEATHER)?,
            frozen: frozen_hours(store, newest)?,
            probes: store.probes(newest - WATER, DateTime::<Utc>::MAX_UTC)?,
            strays: store.strays()?,
            gone: Vec::new(),
            last_written,
        })
    }

    /// What was known at a moment of the last two weeks, as far as a plan
    /// stands on it. Valves that were faulted then, and the run in progress,
    /// are not remembered; so choose a quiet moment.
    ///
    /// - `zones`: how many the site has, to which the store is tied
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn as_of(store: &Store, zones: usize, at: DateTime<Utc>) -> Result<Self, StoreError> {
        let levels = (0..zones).map(|zone| Ok(store.balance_before(zone, at)?.and_then(readable)));
        let mut waterings = store.waterings(at - WATER)?;
        waterings.retain(|watering| watering.ended <= at);
        let mut records = store.records(at - RECORDS)?;
        records.retain(|record| record.at <= at);
        Ok(Self {
            waterings,
            records,
            levels: levels.collect::<Result<_, StoreError>>()?,
            weather: store.weather_as_of(WEATHER_KEPT, at - WEATHER, at)?,
            probes: store.probes(at - WATER, at)?,
            ..Self::default()
        })
    }
}

/// The planning of a past moment, from what [`Memory::as_of`] it says.
///
/// # Errors
/// [`InstallationError`] when the valves cannot be supervised.
pub fn assignment_of(
    settings: Settings,
    memory: Memory,
    at: DateTime<Utc>,
) -> Result<Assignment, InstallationError> {
    let now = Now {
        utc: at,
        moment: Moment::from_millis(0),
    };
    Ok(Control::new(settings, memory, now)?.assignment())
}

/// Hours that this version cannot read are as if they had never been kept.
fn frozen_hours(store: &Store, newest: DateTime<Utc>) -> Result<Vec<SeriesHour>, StoreError> {
    let kept = store.frozen_hours(newest - Frozen::REACH, newest)?;
    let (hours, lost) = frozen::from_json(kept);
    if lost > 0 {
        tracing::warn!(lost, "hours of weather in the state cannot be read");
    }
    Ok(hours)
}

/// Levels that this version cannot read are none.
fn latest_levels(
    store: &Store,
    zone: usize,
) -> Result<Option<(DateTime<Utc>, Levels)>, StoreError> {
    Ok(store.latest_balance(zone)?.and_then(readable))
}

fn readable((at, state): (DateTime<Utc>, serde_json::Value)) -> Option<(DateTime<Utc>, Levels)> {
    Some((at, serde_json::from_value(state).ok()?))
}
