//! Writing entries, one transaction a call.

use std::collections::BTreeMap;

use rusqlite::{ErrorCode, Transaction};
use serde::Serialize;

use super::entry::{Entry, Ledger, ProbeHour, Record};
use super::error::StoreError;
use super::redate::{is_new_to_its_clock, redate};
use super::strays::{CloseCommand, see};
use super::{Store, millis, to_db};
use crate::clock::Now;
use crate::valve::{DeviceId, FinishedRun, JournalEntry, Moment, Position, RunId};

impl Ledger for Store {
    fn write(&mut self, entries: &[Entry], now: Now) -> Result<(), StoreError> {
        if entries.is_empty() {
            return Ok(());
        }
        let zones = std::mem::take(&mut self.zones);
        let result = self.connection.transaction().map_err(StoreError::from);
        let result = result.and_then(|transaction| {
            let writing = Writing {
                db: &transaction,
                zones: &zones,
                valves: &self.valves,
                start: self.start,
                now,
            };
            for entry in entries {
                writing.write(entry)?;
            }
            Ok(transaction.commit()?)
        });
        self.zones = zones;
        result.map_err(|e| e.at(&self.path))
    }
}

/// An enum as the one word by which it is kept.
pub(super) fn word<T: Serialize>(value: &T) -> Result<String, StoreError> {
    Ok(serde_json::to_string(value)?)
}

struct Writing<'a> {
    db: &'a Transaction<'a>,
    zones: &'a [i64],
    valves: &'a BTreeMap<DeviceId, CloseCommand>,
    start: i64,
    now: Now,
}

impl Writing<'_> {
    fn zone(&self, zone: usize) -> Result<i64, StoreError> {
        let id = self.zones.get(zone).copied();
        id.ok_or(StoreError::UnknownZone { zone })
    }

    fn write(&self, entry: &Entry) -> Result<(), StoreError> {
        match entry {
            Entry::Valve(entry) => self.valve(entry),
            Entry::Alarm(alarm, raised) => self.run(
                "INSERT INTO alarm (what, raised, utc_ms) VALUES (?1, ?2, ?3)",
                (word(alarm)?, raised, self.now.utc.timestamp_millis()),
            ),
            Entry::Record(record) => self.record(record),
            Entry::Weather { source, hour, seen } => self.run(
                "INSERT INTO weather (start_utc_ms, source, seen_utc_ms, hour)
                 VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT DO UPDATE SET seen_utc_ms = ?3, hour = ?4",
                (
                    hour.start.timestamp_millis(),
                    source,
                    seen.timestamp_millis(),
                    serde_json::to_string(hour)?,
                ),
            ),
            Entry::FrozenHour(start, hour) => self.run(
                "INSERT INTO frozen_hour (start_utc_ms, seen_utc_ms, hour) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET seen_utc_ms = ?2, hour = ?3",
                (
                    start.timestamp_millis(),
                    self.now.utc.timestamp_millis(),
                    serde_json::to_string(hour)?,
                ),
            ),
            Entry::Probe(hour) => self.probe(hour),
            Entry::Balance {
                zone,
                at,
                seen,
                state,
            } => self.run(
                "INSERT INTO balance (zone, utc_ms, state, seen_utc_ms) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT DO UPDATE SET state = ?3, seen_utc_ms = ?4",
                (
                    self.zone(*zone)?,
                    at.timestamp_millis(),
                    serde_json::to_string(state)?,
                    seen.timestamp_millis(),
                ),
            ),
            Entry::StraysSeen => see(self.db, None, self.now),
            Entry::Forget(before) => self.forget(before.timestamp_millis()),
            Entry::ClockSet { now, by } => redate(self.db, *now, *by),
        }
    }

    fn probe(&self, hour: &ProbeHour) -> Result<(), StoreError> {
        self.run(
            "INSERT OR REPLACE INTO probe
                 (zone, start_utc_ms, seen_utc_ms, sensor, content, weight)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            (
                self.zone(hour.zone)?,
                hour.start.timestamp_millis(),
                hour.seen.timestamp_millis(),
                &hour.sensor,
                hour.content,
                hour.weight,
            ),
        )
    }

    /// Numbers of commands rise with time, so that the search ends at the
    /// first that is kept; the journal waits while it lasts.
    ///
    /// What is old only because the clock went ahead by years is not old: it
    /// may be set back yet.
    fn forget(&self, before_ms: i64) -> Result<(), StoreError> {
        if is_new_to_its_clock(self.db, before_ms)? {
            return Ok(());
        }
        for sql in [
            "DELETE FROM command WHERE id < min(
               coalesce((SELECT id FROM command WHERE utc_ms >= ?1 ORDER BY id LIMIT 1),
                        (SELECT max(id) FROM command)),
               coalesce((SELECT min(run.command) FROM run WHERE NOT EXISTS
                 (SELECT 1 FROM watering WHERE watering.run = run.id)),
                 (SELECT max(id) FROM command)))",
            "DELETE FROM weather WHERE start_utc_ms < ?1",
            "DELETE FROM frozen_hour WHERE start_utc_ms < ?1",
            "DELETE FROM probe WHERE start_utc_ms < ?1",
            "DELETE FROM balance WHERE (zone, utc_ms) IN
               (SELECT old.zone, old.utc_ms FROM zone JOIN balance AS old
                ON old.zone = zone.id AND old.utc_ms < min(?1,
                  (SELECT max(last.utc_ms) FROM balance AS last WHERE last.zone = zone.id)))",
            "DELETE FROM alarm WHERE utc_ms < ?1",
        ] {
            self.run(sql, [before_ms])?;
        }
        Ok(())
    }

    fn run<P: rusqlite::Params>(&self, sql: &str, params: P) -> Result<(), StoreError> {
        self.db.prepare_cached(sql)?.execute(params)?;
        Ok(())
    }

    fn record(&self, record: &Record) -> Result<(), StoreError> {
        let zone = record.zone.map(|zone| self.zone(zone)).transpose()?;
        self.run(
            "INSERT INTO record (zone, what, at_utc_ms, written_utc_ms, note)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            (
                zone,
                word(&record.kind)?,
                record.at.timestamp_millis(),
                self.now.utc.timestamp_millis(),
                &record.note,
            ),
        )
    }

    fn valve(&self, entry: &JournalEntry) -> Result<(), StoreError> {
        match *entry {
            JournalEntry::Intent {
                id,
                device,
                opens,
                position,
                at,
            } => {
                self.command(id.0, device, position, at)?;
                if let (Some((run, planned)), DeviceId::Zone(zone)) = (opens, device) {
                    self.begin_run(run, zone, (id.0, millis(planned)), at)?;
                }
                Ok(())
            }
            JournalEntry::Confirmed { id, at, .. } => self.run(
                "UPDATE command SET confirmed_utc_ms = ?2, confirmed_moment_ms = ?3
                 WHERE id = ?1",
                (to_db(id.0), self.utc_ms(at), to_db(at.as_millis())),
            ),
            JournalEntry::Finished(finished) => self.finished(&finished),
            JournalEntry::Learned { zone, flow } => self.run(
                "INSERT INTO learned_flow (zone, ml_per_min, utc_ms) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET ml_per_min = ?2, utc_ms = ?3",
                (
                    self.zone(zone)?,
                    flow.ml_per_min(),
                    self.now.utc.timestamp_millis(),
                ),
            ),
        }
    }

    fn utc_ms(&self, at: Moment) -> i64 {
        self.now.utc_at(at).timestamp_millis()
    }

    fn command(
        &self,
        id: u64,
        device: DeviceId,
        position: Position,
        at: Moment,
    ) -> Result<(), StoreError> {
        let (name, zone) = match device {
            DeviceId::Zone(zone) => ("zone", Some(self.zone(zone)?)),
            DeviceId::Master => ("master", None),
            DeviceId::Pump => ("pump", None),
        };
        let (position, close) = match position {
            Position::Open => ("open", self.valves.get(&device)),
            Position::Closed => ("closed", None),
        };
        self.run(
            "INSERT INTO command (id, start, device, zone, position, utc_ms, moment_ms,
                                  close_topic, close_payload)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            (
                to_db(id),
                self.start,
                name,
                zone,
                position,
                self.utc_ms(at),
                to_db(at.as_millis()),
                close.map(|close| &close.topic),
                close.map(|close| &close.payload),
            ),
        )
    }

    /// A run number is the second barrier against giving a run twice: the
    /// table takes it once, and an opening that is not written is not sent.
    fn begin_run(
        &self,
        run: RunId,
        zone: usize,
        (command, planned_ms): (u64, i64),
        at: Moment,
    ) -> Result<(), StoreError> {
        let result = self.run(
            "INSERT INTO run (id, zone, command, planned_ms, utc_ms) VALUES (?1, ?2, ?3, ?4, ?5)",
            (
                to_db(run.0),
                self.zone(zone)?,
                to_db(command),
                planned_ms,
                self.utc_ms(at),
            ),
        );
        match result {
            Err(StoreError::Sqlite(error))
                if error.sqlite_error_code() == Some(ErrorCode::ConstraintViolation) =>
            {
                Err(StoreError::GivenBefore(run))
            }
            result => result,
        }
    }

    /// The end of a run may be told again after a write whose outcome was
    /// unclear; it is booked once.
    fn finished(&self, finished: &FinishedRun) -> Result<(), StoreError> {
        let applied = finished.applied;
        self.run(
            "INSERT INTO watering
                 (run, zone, ended_utc_ms, least_ms, estimate_ms, most_ms, cause)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
             ON CONFLICT (run) DO NOTHING",
            (
                finished.run.map(|run| to_db(run.0)),
                self.zone(finished.zone)?,
                self.utc_ms(finished.at),
                millis(applied.least),
                millis(applied.estimate),
                millis(applied.most),
                word(&finished.cause)?,
            ),
        )
    }
}
