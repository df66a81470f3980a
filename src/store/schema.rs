//! The tables, and how an older file becomes a present one.

use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::error::StoreError;

/// One step a version; a step that was released is never changed.
const STEPS: [&str; 5] = [
    // 1: commands, runs, water, records, weather, balance, learned flow.
    "CREATE TABLE start (
        id INTEGER PRIMARY KEY,
        boot TEXT NOT NULL,
        utc_ms INTEGER NOT NULL,
        moment_ms INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE zone (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE
    ) STRICT;
    CREATE TABLE command (
        id INTEGER PRIMARY KEY,
        start INTEGER NOT NULL REFERENCES start (id),
        device TEXT NOT NULL CHECK (device IN ('zone', 'master', 'pump')),
        zone INTEGER REFERENCES zone (id),
        position TEXT NOT NULL CHECK (position IN ('open', 'closed')),
        utc_ms INTEGER NOT NULL,
        moment_ms INTEGER NOT NULL,
        confirmed_utc_ms INTEGER,
        confirmed_moment_ms INTEGER
    ) STRICT;
    CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        zone INTEGER NOT NULL REFERENCES zone (id),
        command INTEGER NOT NULL,
        planned_ms INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE watering (
        id INTEGER PRIMARY KEY,
        run INTEGER UNIQUE,
        zone INTEGER NOT NULL REFERENCES zone (id),
        ended_utc_ms INTEGER NOT NULL,
        least_ms INTEGER NOT NULL,
        estimate_ms INTEGER NOT NULL,
        most_ms INTEGER NOT NULL,
        cause TEXT NOT NULL
    ) STRICT;
    CREATE INDEX watering_by_end ON watering (ended_utc_ms);
    CREATE TABLE record (
        id INTEGER PRIMARY KEY,
        zone INTEGER REFERENCES zone (id),
        what TEXT NOT NULL CHECK (json_valid(what)),
        at_utc_ms INTEGER NOT NULL,
        written_utc_ms INTEGER NOT NULL,
        note TEXT NOT NULL
    ) STRICT;
    CREATE TABLE weather (
        start_utc_ms INTEGER NOT NULL,
        source TEXT NOT NULL,
        seen_utc_ms INTEGER NOT NULL,
        hour TEXT NOT NULL CHECK (json_valid(hour)),
        PRIMARY KEY (start_utc_ms, source)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE balance (
        zone INTEGER NOT NULL REFERENCES zone (id),
        utc_ms INTEGER NOT NULL,
        state TEXT NOT NULL CHECK (json_valid(state)),
        PRIMARY KEY (zone, utc_ms)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE learned_flow (
        zone INTEGER PRIMARY KEY REFERENCES zone (id),
        ml_per_min INTEGER NOT NULL,
        utc_ms INTEGER NOT NULL
    ) STRICT;",
    // 2: former names of zones, and a log of alarms.
    "CREATE TABLE former_name (
        zone INTEGER NOT NULL REFERENCES zone (id),
        name TEXT NOT NULL,
        until_utc_ms INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE alarm (
        id INTEGER PRIMARY KEY,
        what TEXT NOT NULL CHECK (json_valid(what)),
        raised INTEGER NOT NULL CHECK (raised IN (0, 1)),
        utc_ms INTEGER NOT NULL
    ) STRICT;",
    // 3: the merged weather of hours that are over.
    "CREATE TABLE frozen_hour (
        start_utc_ms INTEGER PRIMARY KEY,
        seen_utc_ms INTEGER NOT NULL,
        hour TEXT NOT NULL CHECK (json_valid(hour))
    ) STRICT;",
    // 4: probes in the soil, and what a plan of the last two weeks was made
    // from: weather as it was known before, and since when a balance holds.
    "CREATE TABLE probe (
        zone INTEGER NOT NULL REFERENCES zone (id),
        start_utc_ms INTEGER NOT NULL,
        seen_utc_ms INTEGER NOT NULL,
        sensor TEXT NOT NULL,
        content REAL NOT NULL,
        weight REAL NOT NULL,
        PRIMARY KEY (zone, start_utc_ms, seen_utc_ms)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE former_weather (
        until_utc_ms INTEGER NOT NULL,
        start_utc_ms INTEGER NOT NULL,
        source TEXT NOT NULL,
        seen_utc_ms INTEGER NOT NULL,
        hour TEXT NOT NULL,
        PRIMARY KEY (until_utc_ms, start_utc_ms, source)
    ) STRICT, WITHOUT ROWID;
    CREATE TRIGGER weather_replaced AFTER UPDATE ON weather
    WHEN old.seen_utc_ms < new.seen_utc_ms BEGIN
        INSERT OR REPLACE INTO former_weather
            (until_utc_ms, start_utc_ms, source, seen_utc_ms, hour)
        VALUES
            (new.seen_utc_ms, old.start_utc_ms, old.source, old.seen_utc_ms, old.hour);
        DELETE FROM former_weather WHERE until_utc_ms < new.seen_utc_ms - 1209600000;
    END;
    ALTER TABLE balance ADD COLUMN seen_utc_ms INTEGER NOT NULL DEFAULT 0;",
    // 5: how to close what is opened, should the site file not say so any
    // more at the next start; and what was found so.
    "ALTER TABLE command ADD COLUMN close_topic TEXT;
    ALTER TABLE command ADD COLUMN close_payload TEXT;
    CREATE TABLE stray (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        topic TEXT,
        payload TEXT,
        found_utc_ms INTEGER NOT NULL,
        seen_utc_ms INTEGER
    ) STRICT;",
];

/// The present version.
pub const VERSION: i64 = STEPS.len() as i64;

/// Brings a file to the present version, in one transaction, after a copy of
/// it was made beside it.
pub(super) fn migrate(db: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let found: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0))?;
    if found > VERSION {
        return Err(StoreError::Newer {
            path: path.to_owned(),
            found,
            known: VERSION,
        });
    }
    if found == VERSION {
        return Ok(());
    }
    if found > 0 {
        back_up(db, path, found)?;
    }
    let transaction = db.transaction()?;
    let done = usize::try_from(found).unwrap_or(0);
    for step in &STEPS[done..] {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "user_version", VERSION)?;
    transaction.commit()?;
    Ok(())
}

/// The copy of version `found` beside a file. One that a killed migration
/// left may be half written; it is made again.
fn back_up(db: &Connection, path: &Path, found: i64) -> Result<(), StoreError> {
    let mut name = path.as_os_str().to_owned();
    name.push(format!(".version-{found}"));
    let copy = PathBuf::from(name);
    if copy.exists() {
        std::fs::remove_file(&copy).map_err(|error| StoreError::Lock {
            path: copy.clone(),
            error,
        })?;
    }
    db.execute("VACUUM INTO ?1", [copy.to_string_lossy()])?;
    Ok(())
}
