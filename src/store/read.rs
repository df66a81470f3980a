//! Reading the state back.

use std::path::Path;
use std::time::Duration;

use chrono::{DateTime, Utc};
use rusqlite::{Connection, Row};

use super::entry::Record;
use super::error::StoreError;
use super::{Store, from_db};
use crate::clock::Now;
use crate::valve::{
    Applied, Begun, CommandId, FinishCause, MeterFlow, Moment, Recovery, RunId, UnfinishedRun,
};

/// Water that was applied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Watering {
    /// The run; none when the valve opened without an order.
    pub run: Option<RunId>,
    /// Index of the zone; none for a zone that the site no longer has.
    pub zone: Option<usize>,
    /// When it ended.
    pub ended: DateTime<Utc>,
    /// How long.
    pub applied: Applied,
    /// Why it ended.
    pub cause: FinishCause,
}

fn span(ms: i64) -> Duration {
    Duration::from_millis(from_db(ms))
}

pub(super) fn utc(ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(ms).unwrap_or_default()
}

/// A run without an end, as the tables keep it.
struct OpenRun {
    run: i64,
    zone: i64,
    command: i64,
    planned_ms: i64,
    utc_ms: i64,
    sent_ms: Option<i64>,
    seen_ms: Option<i64>,
    closing_ms: Option<i64>,
    same_boot: bool,
}

impl OpenRun {
    fn read(row: &Row) -> Result<Self, rusqlite::Error> {
        Ok(Self {
            run: row.get(0)?,
            zone: row.get(1)?,
            command: row.get(2)?,
            planned_ms: row.get(3)?,
            utc_ms: row.get(4)?,
            sent_ms: row.get(5)?,
            seen_ms: row.get(6)?,
            closing_ms: row.get(7)?,
            same_boot: row.get(8)?,
        })
    }

    /// A wall clock that runs behind the beginning tells nothing of the age;
    /// the planned length stands in for it.
    fn begun(&self, now: Now) -> Begun {
        let moment = |ms: i64| Moment::from_millis(from_db(ms));
        match self.sent_ms {
            Some(sent) if self.same_boot => Begun::SameBoot {
                sent: moment(sent),
                seen_open: self.seen_ms.map(moment),
                closing: self.closing_ms.map(moment),
            },
            _ => {
                let ago = (now.utc - utc(self.utc_ms)).to_std();
                Begun::Earlier(ago.unwrap_or(span(self.planned_ms)))
            }
        }
    }
}

impl Store {
    /// What the supervisor must know at the start: [`Store::use_zones`] comes
    /// first.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn recovery(&self, now: Now) -> Result<Recovery, StoreError> {
        let unfinished = self.open_runs()?.into_iter().filter_map(|open| {
            Some(UnfinishedRun {
                run: RunId(from_db(open.run)),
                zone: self.zone_index(open.zone)?,
                command: CommandId(from_db(open.command)),
                planned: span(open.planned_ms),
                begun: open.begun(now),
            })
        });
        Ok(Recovery {
            last_command: CommandId(self.highest("SELECT max(id) FROM command")?),
            last_run: self.last_run()?,
            unfinished: unfinished.collect(),
            learned: self.learned()?,
        })
    }

    /// The highest run number ever used. The next run takes the next one.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn last_run(&self) -> Result<RunId, StoreError> {
        let begun = self.highest("SELECT max(id) FROM run")?;
        let ended = self.highest("SELECT max(run) FROM watering")?;
        Ok(RunId(begun.max(ended)))
    }

    /// The wall time at which the last command was sent, by its number: the
    /// latest time of all may be that of a clock that was ahead. A clock that
    /// shows less has fallen back.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn last_written(&self) -> Result<Option<DateTime<Utc>>, StoreError> {
        let latest: Option<i64> = self.connection.query_row(
            "SELECT (SELECT utc_ms FROM command ORDER BY id DESC LIMIT 1)",
            [],
            |row| row.get(0),
        )?;
        Ok(latest.map(utc))
    }

    fn highest(&self, sql: &str) -> Result<u64, StoreError> {
        let highest: Option<i64> = self.connection.query_row(sql, [], |row| row.get(0))?;
        Ok(from_db(highest.unwrap_or(0)))
    }

    fn open_runs(&self) -> Result<Vec<OpenRun>, StoreError> {
        let mut query = self.connection.prepare(
            "SELECT run.id, run.zone, run.command, run.planned_ms, run.utc_ms,
                    command.moment_ms, command.confirmed_moment_ms,
                    (SELECT min(later.moment_ms) FROM command AS later
                     WHERE later.zone = run.zone AND later.position = 'closed'
                       AND later.id > run.command AND later.start = command.start),
                    coalesce(start.boot = (SELECT boot FROM start WHERE id = ?1), 0)
             FROM run
             LEFT JOIN command ON command.id = run.command
             LEFT JOIN start ON start.id = command.start
             WHERE NOT EXISTS (SELECT 1 FROM watering WHERE watering.run = run.id)
             ORDER BY run.id",
        )?;
        let rows = query.query_map([self.start], OpenRun::read)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    fn learned(&self) -> Result<Vec<(usize, MeterFlow)>, StoreError> {
        let mut query = self
            .connection
            .prepare("SELECT zone, ml_per_min FROM learned_flow ORDER BY zone")?;
        let rows = query.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let mut learned = Vec::new();
        for row in rows {
            let (zone, flow): (i64, u32) = row?;
            if let Some(zone) = self.zone_index(zone) {
                learned.push((zone, MeterFlow::from_ml_per_min(flow)));
            }
        }
        Ok(learned)
    }

    /// Water applied since an instant, oldest first.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn waterings(&self, since: DateTime<Utc>) -> Result<Vec<Watering>, StoreError> {
        let mut query = self.connection.prepare(
            "SELECT run, zone, ended_utc_ms, least_ms, estimate_ms, most_ms, cause
             FROM watering WHERE ended_utc_ms >= ?1 ORDER BY ended_utc_ms, id",
        )?;
        let mut rows = query.query([since.timestamp_millis()])?;
        let mut waterings = Vec::new();
        while let Some(row) = rows.next()? {
            let cause: String = row.get(6)?;
            waterings.push(Watering {
                run: row.get::<_, Option<i64>>(0)?.map(|run| RunId(from_db(run))),
                zone: self.zone_index(row.get(1)?),
                ended: utc(row.get(2)?),
                applied: Applied {
                    least: span(row.get(3)?),
                    estimate: span(row.get(4)?),
                    most: span(row.get(5)?),
                },
                cause: serde_json::from_str(&cause)?,
            });
        }
        Ok(waterings)
    }

    /// Records since an instant, in the order of what they tell of. Records
    /// of zones that the site no longer has are left out.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn records(&self, since: DateTime<Utc>) -> Result<Vec<Record>, StoreError> {
        let mut query = self.connection.prepare(
            "SELECT zone, what, at_utc_ms, note FROM record
             WHERE at_utc_ms >= ?1 ORDER BY at_utc_ms, id",
        )?;
        let mut rows = query.query([since.timestamp_millis()])?;
        let mut records = Vec::new();
        while let Some(row) = rows.next()? {
            let id: Option<i64> = row.get(0)?;
            let zone = id.map(|id| self.zone_index(id));
            if zone == Some(None) {
                continue;
            }
            let what: String = row.get(1)?;
            records.push(Record {
                zone: zone.flatten(),
                kind: serde_json::from_str(&what)?,
                at: utc(row.get(2)?),
                note: row.get(3)?,
            });
        }
        Ok(records)
    }

    /// The merged weather of hours that are over, from one instant to another.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn frozen_hours(
        &self,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<serde_json::Value>, StoreError> {
        frozen_hours(&self.connection, from, to)
    }

    /// The same of a state that a daemon may be writing to at this moment.
    ///
    /// # Errors
    /// [`StoreError`] when there is no such file, or it cannot be read.
    pub fn frozen_hours_beside(
        path: &Path,
        from: DateTime<Utc>,
        to: DateTime<Utc>,
    ) -> Result<Vec<serde_json::Value>, StoreError> {
        let db = Self::reader(path)?;
        frozen_hours(&db, from, to).map_err(|error| error.at(path))
    }
}

fn frozen_hours(
    db: &Connection,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<Vec<serde_json::Value>, StoreError> {
    let mut query = db.prepare(
        "SELECT hour FROM frozen_hour WHERE start_utc_ms >= ?1 AND start_utc_ms < ?2
         ORDER BY start_utc_ms",
    )?;
    let mut rows = query.query((from.timestamp_millis(), to.timestamp_millis()))?;
    let mut hours = Vec::new();
    while let Some(row) = rows.next()? {
        let hour: String = row.get(0)?;
        hours.push(serde_json::from_str(&hour)?);
    }
    Ok(hours)
}
