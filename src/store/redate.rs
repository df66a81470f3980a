//! What was dated by a clock that was ahead, once the clock is right.
//!
//! A board with an empty battery may boot years ahead. Its rows must neither
//! be taken for news of the future nor be thrown away: water is water. They
//! are moved by as much as the clock was set, and to the present where that is
//! not known. Levels and hours of a future are worthless and go.

use chrono::{DateTime, TimeDelta, Utc};
use rusqlite::{Connection, OptionalExtension};

use super::Store;
use super::entry::RecordKind;
use super::error::StoreError;
use super::read::utc;
use crate::clock::{BEHIND, EARLIEST, LONG};

/// No forecast reaches further.
const FORECAST: TimeDelta = TimeDelta::days(17);

impl Store {
    /// What is dated later than a clock that is right shows is dated now.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read or written.
    pub fn redate(&mut self, now: DateTime<Utc>) -> Result<(), StoreError> {
        let transaction = self.connection.transaction()?;
        redate(&transaction, now, TimeDelta::zero())?;
        Ok(transaction.commit()?)
    }
}

/// Moves what is dated later than `now` by `by`, and at least to `now`.
pub(super) fn redate(db: &Connection, now: DateTime<Utc>, by: TimeDelta) -> Result<(), StoreError> {
    records(db, now, by)?;
    let now_ms = now.timestamp_millis();
    let latest_ms = (now + BEHIND).timestamp_millis();
    for (table, column) in [
        ("start", "utc_ms"),
        ("command", "utc_ms"),
        ("command", "confirmed_utc_ms"),
        ("run", "utc_ms"),
        ("watering", "ended_utc_ms"),
        ("record", "written_utc_ms"),
        ("alarm", "utc_ms"),
        ("learned_flow", "utc_ms"),
    ] {
        let sql =
            format!("UPDATE {table} SET {column} = min({column} + ?1, ?2) WHERE {column} > ?3");
        db.execute(&sql, (by.num_milliseconds(), now_ms, latest_ms))?;
    }
    for sql in [
        "DELETE FROM balance WHERE utc_ms > ?1",
        "DELETE FROM frozen_hour WHERE start_utc_ms > ?1",
        "DELETE FROM probe WHERE start_utc_ms > ?1 OR seen_utc_ms > ?1",
        "DELETE FROM former_weather WHERE until_utc_ms > ?1",
    ] {
        db.execute(sql, [latest_ms])?;
    }
    let foretold_ms = (now + FORECAST).timestamp_millis();
    db.execute("DELETE FROM weather WHERE start_utc_ms > ?1", [foretold_ms])?;
    for table in ["weather", "frozen_hour", "balance"] {
        let sql = format!("UPDATE {table} SET seen_utc_ms = ?1 WHERE seen_utc_ms > ?2");
        db.execute(&sql, (now_ms, latest_ms))?;
    }
    Ok(())
}

/// A hold was given for so long, and not until that instant.
fn records(db: &Connection, now: DateTime<Utc>, by: TimeDelta) -> Result<(), StoreError> {
    let mut ahead = db.prepare("SELECT id, what, at_utc_ms FROM record WHERE at_utc_ms > ?1")?;
    let mut rows = ahead.query([(now + BEHIND).timestamp_millis()])?;
    while let Some(row) = rows.next()? {
        let (id, what): (i64, String) = (row.get(0)?, row.get(1)?);
        let at = utc(row.get(2)?);
        let set = |at: DateTime<Utc>| at.checked_add_signed(by).map_or(now, |at| at.min(now));
        let moved = set(at);
        let kind = match serde_json::from_str(&what)? {
            RecordKind::Hold { until } => RecordKind::Hold {
                until: moved + (until - at),
            },
            RecordKind::TakenBack { of } if of > now + BEHIND => {
                RecordKind::TakenBack { of: set(of) }
            }
            kind => kind,
        };
        db.execute(
            "UPDATE record SET what = ?2, at_utc_ms = ?3 WHERE id = ?1",
            (id, serde_json::to_string(&kind)?, moved.timestamp_millis()),
        )?;
    }
    Ok(())
}

/// Whether since an instant the clock has gone ahead, from one start to the
/// next, by more than anybody leaves a site alone. Starts by a clock that was
/// not set yet say nothing.
pub(super) fn is_new_to_its_clock(db: &Connection, since_ms: i64) -> Result<bool, StoreError> {
    let found = db
        .prepare_cached(
            "SELECT 1 FROM (SELECT utc_ms, lag(utc_ms) OVER (ORDER BY id) AS before
                            FROM start WHERE utc_ms > ?1)
             WHERE utc_ms - before > ?2 AND utc_ms > ?3 LIMIT 1",
        )?
        .query_row(
            (
                EARLIEST.timestamp_millis(),
                LONG.num_milliseconds(),
                since_ms,
            ),
            |_| Ok(()),
        )
        .optional()?;
    Ok(found.is_some())
}
