//! The durable state: what was commanded, confirmed and applied, what people
//! recorded, the weather seen, snapshots of the balance.
//!
//! One SQLite file in WAL mode with `synchronous=FULL`: what [`Ledger::write`]
//! has accepted is on the disk, and a kill or a power loss at any instant
//! leaves the state as of a whole write. One daemon writes; a second refuses
//! to start. Nothing is repaired or thrown away in silence: a damaged file is
//! refused and left as it is.
//!
//! Times are UTC in ms, durations in ms, flows in mL/min; runs and zones have
//! numbers that never change, so a zone keeps its history under a new name.

mod entry;
mod error;
mod ground;
mod read;
mod redate;
mod schema;
mod strays;
mod write;
mod zones;

use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

pub use entry::{Entry, Ledger, ProbeHour, Record, RecordKind};
pub use error::StoreError;
pub use read::Watering;
pub use schema::VERSION;
pub use strays::{CloseCommand, Stray};

use crate::clock::Now;
use crate::valve::DeviceId;

/// The open state of one site.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    /// Number of the zone at each index of the site.
    zones: Vec<i64>,
    /// How each device is told to close, kept with each opening.
    valves: BTreeMap<DeviceId, CloseCommand>,
    /// Number of this start of the daemon.
    start: i64,
    path: PathBuf,
    /// Held as long as the store is open.
    _lock: Lock,
}

/// The right to be the one daemon of a state, before anything of it is read.
/// The system frees it at any end of the process.
#[derive(Debug)]
pub struct Lock {
    path: PathBuf,
    _file: File,
}

impl Lock {
    /// Takes the right to the state in a file, which need not exist.
    ///
    /// # Errors
    /// [`StoreError::InUse`] when another daemon has it, [`StoreError::Lock`].
    pub fn take(path: &Path) -> Result<Self, StoreError> {
        Ok(Self {
            path: path.to_owned(),
            _file: take_lock(path)?,
        })
    }
}

/// How a store is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opening {
    /// Tells boots of the machine apart; within one, moments compare.
    pub boot: String,
    /// The file never grows beyond this; writes then fail as on a full disk.
    pub most_bytes: u64,
}

impl Opening {
    /// With a limit of 1 GiB, which is decades of a large site.
    #[must_use]
    pub fn in_boot(boot: &str) -> Self {
        Self {
            boot: boot.to_owned(),
            most_bytes: 1 << 30,
        }
    }
}

impl Store {
    /// Opens the state file, or makes it, for the one writer.
    ///
    /// Checks a file that exists before anything is written to it, then
    /// brings it to the present version; a copy of the old one is kept.
    ///
    /// # Errors
    /// [`StoreError`]: in use by another daemon, damaged, of a later version,
    /// or not to be opened.
    pub fn open(path: &Path, opening: &Opening, now: Now) -> Result<Self, StoreError> {
        Self::open_locked(Lock::take(path)?, opening, now)
    }

    /// The same for whoever has taken the right to it before. It may take
    /// long: the whole file is read once.
    ///
    /// # Errors
    /// [`StoreError`]: damaged, of a later version, or not to be opened.
    pub fn open_locked(lock: Lock, opening: &Opening, now: Now) -> Result<Self, StoreError> {
        let path = lock.path.clone();
        if path.exists() {
            check(&path)?;
        }
        let connection = Connection::open(&path).map_err(|e| StoreError::of(&path, e))?;
        let mut store = Self {
            connection,
            zones: Vec::new(),
            valves: BTreeMap::new(),
            start: 0,
            path,
            _lock: lock,
        };
        let prepared = store.prepare(opening, now);
        prepared.map_err(|e| e.at(&store.path))?;
        Ok(store)
    }

    fn prepare(&mut self, opening: &Opening, now: Now) -> Result<(), StoreError> {
        let db = &mut self.connection;
        db.busy_timeout(Duration::from_secs(5))?;
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "FULL")?;
        db.pragma_update(None, "foreign_keys", "ON")?;
        db.pragma_update(None, "wal_autocheckpoint", 200)?;
        let page: i64 = db.pragma_query_value(None, "page_size", |row| row.get(0))?;
        let pages = i64::try_from(opening.most_bytes).unwrap_or(i64::MAX) / page;
        db.pragma_update(None, "max_page_count", pages)?;
        schema::migrate(db, &self.path)?;
        db.execute(
            "INSERT INTO start (boot, utc_ms, moment_ms) VALUES (?1, ?2, ?3)",
            (
                &opening.boot,
                now.utc.timestamp_millis(),
                to_db(now.moment.as_millis()),
            ),
        )?;
        self.start = db.last_insert_rowid();
        Ok(())
    }

    /// Opens the state for reading only, beside a daemon that writes.
    ///
    /// # Errors
    /// [`StoreError`] when it cannot be read.
    pub fn reader(path: &Path) -> Result<Connection, StoreError> {
        Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)
            .map_err(|e| StoreError::of(path, e))
    }
}

/// The lock is on a file of its own, so that readers are not shut out.
fn take_lock(path: &Path) -> Result<File, StoreError> {
    let mut name = path.as_os_str().to_owned();
    name.push(".lock");
    let lock_path = PathBuf::from(name);
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&lock_path)
        .map_err(|error| StoreError::Lock {
            path: lock_path.clone(),
            error,
        })?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            path: path.to_owned(),
        }),
        Err(TryLockError::Error(error)) => Err(StoreError::Lock {
            path: lock_path,
            error,
        }),
    }
}

/// Reads the whole file once, without writing to it.
fn check(path: &Path) -> Result<(), StoreError> {
    let judge = || -> Result<Option<String>, StoreError> {
        let db = Store::reader(path)?;
        let verdict: String = db.pragma_query_value(None, "quick_check", |row| row.get(0))?;
        Ok((verdict != "ok").then_some(verdict))
    };
    match judge().map_err(|e| e.at(path))? {
        None => Ok(()),
        Some(verdict) => Err(StoreError::Damaged {
            path: path.to_owned(),
            detail: verdict.lines().next().unwrap_or_default().to_owned(),
        }),
    }
}

/// A count as the database keeps it; what does not fit stays at the largest.
fn to_db(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

/// A count from the database; a negative one, which we never write, is zero.
fn from_db(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(0)
}

/// A duration as the database keeps it: ms.
fn millis(span: Duration) -> i64 {
    i64::try_from(span.as_millis()).unwrap_or(i64::MAX)
}
