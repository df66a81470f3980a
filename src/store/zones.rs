//! Zones of the site file and zones of the history.

use rusqlite::{Connection, OptionalExtension};

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

    /// Ties the zones of the site to their history without changing it: one
    /// that the site has named anew is found by a former name and keeps its
    /// own, and nothing is booked. For a dry run.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn follow_zones<'a>(
        &mut self,
        zones: impl Iterator<Item = (&'a str, &'a [String])>,
    ) -> Result<(), StoreError> {
        let transaction = self.connection.transaction()?;
        let mut followed: Vec<i64> = Vec::new();
        for (name, formerly) in zones {
            let mut found = None;
            for known in std::iter::once(name).chain(formerly.iter().map(String::as_str)) {
                let number = number_of(&transaction, known)?;
                found = found.or(number.filter(|number| !followed.contains(number)));
            }
            followed.push(match found {
                Some(number) => number,
                None => {
                    transaction.execute("INSERT INTO zone (name) VALUES (?1)", [name])?;
                    transaction.last_insert_rowid()
                }
            });
        }
        transaction.commit()?;
        self.zones = followed;
        Ok(())
    }

    /// Names under which zones were told of before, and that the site does
    /// not have.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn gone_names(&self, names: &[String]) -> Result<Vec<String>, StoreError> {
        let mut query = self
            .connection
            .prepare("SELECT name FROM zone UNION SELECT name FROM former_name ORDER BY name")?;
        let all = query.query_map([], |row| row.get(0))?;
        let mut all = all.collect::<Result<Vec<String>, _>>()?;
        all.retain(|name| !names.contains(name));
        Ok(all)
    }

    /// Lets a zone carry on the history of its former names: water, records,
    /// balance, learned flow, runs in progress. Comes before
    /// [`Store::use_zones`]. Answers which of the names had one; one that has
    /// none any more, since it was carried on before, is left alone.
    ///
    /// Where the zone has begun a history of its own both become one; of two
    /// values that only one can have, its own stays.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn carry_on(
        &mut self,
        name: &str,
        formerly: &[String],
        now: Now,
    ) -> Result<Vec<String>, StoreError> {
        let transaction = self.connection.transaction()?;
        let mut carried = Vec::new();
        for former in formerly.iter().filter(|former| *former != name) {
            let Some(from) = number_of(&transaction, former)? else {
                continue;
            };
            transaction.execute(
                "INSERT INTO former_name (zone, name, until_utc_ms) VALUES (?1, ?2, ?3)",
                (from, former, now.utc.timestamp_millis()),
            )?;
            match number_of(&transaction, name)? {
                Some(to) => merge(&transaction, from, to)?,
                None => {
                    transaction.execute("UPDATE zone SET name = ?1 WHERE id = ?2", (name, from))?;
                }
            }
            carried.push(former.clone());
        }
        transaction.commit()?;
        Ok(carried)
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

fn number_of(db: &Connection, name: &str) -> Result<Option<i64>, rusqlite::Error> {
    db.query_row("SELECT id FROM zone WHERE name = ?1", [name], |row| {
        row.get(0)
    })
    .optional()
}

/// Everything of one zone becomes that of another.
fn merge(db: &Connection, from: i64, to: i64) -> Result<(), rusqlite::Error> {
    for sql in [
        "UPDATE command SET zone = ?2 WHERE zone = ?1",
        "UPDATE run SET zone = ?2 WHERE zone = ?1",
        "UPDATE watering SET zone = ?2 WHERE zone = ?1",
        "UPDATE record SET zone = ?2 WHERE zone = ?1",
        "UPDATE former_name SET zone = ?2 WHERE zone = ?1",
        "UPDATE OR IGNORE balance SET zone = ?2 WHERE zone = ?1",
        "UPDATE OR IGNORE learned_flow SET zone = ?2 WHERE zone = ?1",
    ] {
        db.execute(sql, (from, to))?;
    }
    for sql in [
        "DELETE FROM balance WHERE zone = ?1",
        "DELETE FROM learned_flow WHERE zone = ?1",
        "DELETE FROM zone WHERE id = ?1",
    ] {
        db.execute(sql, [from])?;
    }
    Ok(())
}
