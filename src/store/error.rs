//! What can be wrong with the state, in words for people.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

use crate::valve::RunId;

/// Why the state cannot be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another daemon has it.
    #[error(
        "the state {} is in use by another soakmist: stop that one first, or give each its own",
        path.display()
    )]
    InUse {
        /// The state file.
        path: PathBuf,
    },
    /// The lock file cannot be made.
    #[error("cannot lock {}: {error}: check that its folder exists and is writable", path.display())]
    Lock {
        /// The lock file.
        path: PathBuf,
        /// Why.
        error: io::Error,
    },
    /// The file is damaged; it was not touched.
    #[error(
        "the state {} is damaged ({detail}) and was left as it is: put back a copy, or move it \
         away (with its -wal file) to begin without history",
        path.display()
    )]
    Damaged {
        /// The state file.
        path: PathBuf,
        /// What SQLite says.
        detail: String,
    },
    /// Written by a later version.
    #[error(
        "the state {} has version {found}, this soakmist knows up to {known}: use the later one",
        path.display()
    )]
    Newer {
        /// The state file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The latest known version.
        known: i64,
    },
    /// No space, or the limit of the file is reached.
    #[error("the disk is full or the state has reached its limit: free some space")]
    Full,
    /// A run number is used a second time.
    #[error("run {} was begun before and is not begun again", .0.0)]
    GivenBefore(RunId),
    /// A zone that the site does not have.
    #[error("zone {} is not known to the state", .zone + 1)]
    UnknownZone {
        /// Index of the zone.
        zone: usize,
    },
    /// A value in the file that this version cannot read.
    #[error("the state holds a value that cannot be read: {0}")]
    Value(#[from] serde_json::Error),
    /// Anything else that SQLite reports.
    #[error("the state cannot be used: {0}")]
    Sqlite(rusqlite::Error),
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged {
                path: PathBuf::new(),
                detail: error.to_string(),
            },
            _ => Self::Sqlite(error),
        }
    }
}

impl StoreError {
    /// An error of a known file.
    pub(super) fn of(path: &Path, error: rusqlite::Error) -> Self {
        Self::from(error).at(path)
    }

    /// The same error with the file named.
    pub(super) fn at(self, file: &Path) -> Self {
        match self {
            Self::Damaged { detail, .. } => Self::Damaged {
                path: file.to_owned(),
                detail,
            },
            error => error,
        }
    }
}
