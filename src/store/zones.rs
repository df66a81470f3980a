//! Zones of the site file and zones of the history.

use rusqlite::OptionalExtension;

use super::error::StoreError;
use super::{Store, millis};
use crate::clock::Now;
use crate::valve::FinishCause;

impl Store {
    /// Ties the zones of the site, in its order, to their history. A name
    /// that is new begins one; one that is gone keeps its own, and a run that
    /// was in progress there is booked as planned, since nobody can confirm
    /// its end any more.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn use_zones(&mut self, names: &[String], now: Now) -> Result<(), StoreError> {
        let transaction = self.connection.transaction()?;
        let mut zones = Vec::with_capacity(names.len());
        for name in names {
            transaction.execute(
                "INSERT INTO zone (name) VALUES (?1) ON CONFLICT (name) DO NOTHING",
                [name],
            )?;
            let id: i64 =
                transaction.query_row("SELECT id FROM zone WHERE name = ?1", [name], |row| {
                    row.get(0)
                })?;
            zones.push(id);
        }
        let open: Vec<(i64, i64, i64)> = transaction
            .prepare("SELECT id, zone, planned_ms FROM run WHERE id NOT IN (SELECT run FROM watering WHERE run IS NOT NULL)")?
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
            .collect::<Result<_, _>>()?;
        for (run, zone, planned) in open.iter().filter(|(_, zone, _)| !zones.contains(zone)) {
            transaction.execute(
                "INSERT INTO watering (run, zone, ended_utc_ms, least_ms, estimate_ms, most_ms, cause)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?5, ?6)",
                (
                    run,
                    zone,
                    now.utc.timestamp_millis(),
                    millis(std::time::Duration::ZERO),
                    planned,
                    super::write::word(&FinishCause::Restart)?,
                ),
            )?;
        }
        transaction.commit()?;
        self.zones = zones;
        Ok(())
    }

    /// Gives a zone a new name; all its history goes with it.
    ///
    /// # Errors
    /// [`StoreError::Rename`] when the old name is unknown or the new one has
    /// a history of its own.
    pub fn rename_zone(&mut self, from: &str, to: &str, now: Now) -> Result<(), StoreError> {
        let refuse = |why| StoreError::Rename {
            from: from.to_owned(),
            to: to.to_owned(),
            why,
        };
        let transaction = self.connection.transaction()?;
        let id_of = |name: &str| -> Result<Option<i64>, rusqlite::Error> {
            transaction
                .query_row("SELECT id FROM zone WHERE name = ?1", [name], |row| {
                    row.get(0)
                })
                .optional()
        };
        let zone = id_of(from)?.ok_or_else(|| refuse("there is no history under the old name"))?;
        if id_of(to)?.is_some() {
            return Err(refuse("the new name has a history of its own"));
        }
        transaction.execute(
            "INSERT INTO former_name (zone, name, until_utc_ms) VALUES (?1, ?2, ?3)",
            (zone, from, now.utc.timestamp_millis()),
        )?;
        transaction.execute("UPDATE zone SET name = ?1 WHERE id = ?2", (to, zone))?;
        transaction.commit()?;
        Ok(())
    }

    /// The number of the zone at an index of the site.
    pub(super) fn zone_id(&self, zone: usize) -> Result<i64, StoreError> {
        let id = self.zones.get(zone).copied();
        id.ok_or(StoreError::UnknownZone { zone })
    }

    /// The index in the site of a zone's number, if the site still has it.
    pub(super) fn zone_index(&self, id: i64) -> Option<usize> {
        self.zones.iter().position(|zone| *zone == id)
    }
}
