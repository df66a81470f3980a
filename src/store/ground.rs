//! Reading back what the balance stands on: weather, probes, snapshots; as it
//! is known now, or as it was known at a past instant.

use chrono::{DateTime, Utc};
use rusqlite::OptionalExtension;

use super::Store;
use super::entry::ProbeHour;
use super::error::StoreError;
use super::read::utc;
use crate::agronomy::weather_record::RawHour;

impl Store {
    /// Weather of a source that was seen for hours since an instant.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn weather(&self, source: &str, since: DateTime<Utc>) -> Result<Vec<RawHour>, StoreError> {
        self.weather_as_of(source, since, DateTime::<Utc>::MAX_UTC)
    }

    /// The same as it was known at an instant of the last two weeks.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn weather_as_of(
        &self,
        source: &str,
        since: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Result<Vec<RawHour>, StoreError> {
        let mut query = self.connection.prepare(
            "SELECT hour FROM (
                 SELECT start_utc_ms, hour FROM weather
                 WHERE source = ?1 AND start_utc_ms >= ?2 AND seen_utc_ms <= ?3
                 UNION ALL
                 SELECT start_utc_ms, hour FROM former_weather
                 WHERE until_utc_ms > ?3
                   AND source = ?1 AND start_utc_ms >= ?2 AND seen_utc_ms <= ?3)
             ORDER BY start_utc_ms",
        )?;
        let mut rows = query.query((source, since.timestamp_millis(), at.timestamp_millis()))?;
        let mut hours = Vec::new();
        while let Some(row) = rows.next()? {
            let hour: String = row.get(0)?;
            hours.push(serde_json::from_str(&hour)?);
        }
        Ok(hours)
    }

    /// What probes said of hours since an instant, as known at another one,
    /// by hour. Those of zones that the site no longer has are left out.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn probes(
        &self,
        since: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Result<Vec<ProbeHour>, StoreError> {
        let mut query = self.connection.prepare(
            "SELECT zone, start_utc_ms, max(seen_utc_ms), sensor, content, weight FROM probe
             WHERE start_utc_ms >= ?1 AND seen_utc_ms <= ?2
             GROUP BY zone, start_utc_ms ORDER BY start_utc_ms, zone",
        )?;
        let mut rows = query.query((since.timestamp_millis(), at.timestamp_millis()))?;
        let mut hours = Vec::new();
        while let Some(row) = rows.next()? {
            let Some(zone) = self.zone_index(row.get(0)?) else {
                continue;
            };
            hours.push(ProbeHour {
                zone,
                start: utc(row.get(1)?),
                seen: utc(row.get(2)?),
                sensor: row.get(3)?,
                content: row.get(4)?,
                weight: row.get(5)?,
            });
        }
        Ok(hours)
    }

    /// The latest snapshot of a zone's balance.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read, or there is no such zone.
    pub fn latest_balance(
        &self,
        zone: usize,
    ) -> Result<Option<(DateTime<Utc>, serde_json::Value)>, StoreError> {
        self.balance_before(zone, DateTime::<Utc>::MAX_UTC)
    }

    /// The snapshot of a zone's balance that was in force for a plan of an
    /// instant.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read, or there is no such zone.
    pub fn balance_before(
        &self,
        zone: usize,
        plan: DateTime<Utc>,
    ) -> Result<Option<(DateTime<Utc>, serde_json::Value)>, StoreError> {
        let found: Option<(i64, String)> = self
            .connection
            .query_row(
                "SELECT utc_ms, state FROM balance WHERE zone = ?1 AND seen_utc_ms < ?2
                 ORDER BY utc_ms DESC LIMIT 1",
                (self.zone_id(zone)?, plan.timestamp_millis()),
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()?;
        found
            .map(|(at, state)| Ok((utc(at), serde_json::from_str(&state)?)))
            .transpose()
    }
}
