//! Replies of weather services on disk, one file an address, so that a
//! restart asks nothing.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::bias::LEARNED_OVER;
use super::politeness::{Remembered, hash_of};
use crate::agronomy::weather_record::RawHour;

/// The form of the file; another form is not read.
const VERSION: u32 = 1;
/// No file longer than this is read: a body of 2 MiB, escaped, and its headers.
const LONGEST_FILE: u64 = 13 * 1024 * 1024;

/// What is kept about one address.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    version: u32,
    /// The whole address.
    pub url: String,
    /// The last good body.
    pub body: Option<String>,
    /// When the body came, or was last confirmed.
    pub received: Option<DateTime<Utc>>,
    /// `Last-Modified` of the body, to the letter.
    pub last_modified: Option<String>,
    /// `ETag` of the body, to the letter.
    pub etag: Option<String>,
    /// When the service was last asked.
    pub asked: DateTime<Utc>,
    /// Until when the body is fresh.
    pub fresh_until: DateTime<Utc>,
    /// Not to be asked before.
    pub not_before: Option<DateTime<Utc>>,
    /// Failures in a row.
    pub failures: u32,
    /// What the last failure was, in words.
    pub trouble: Option<String>,
}

impl Entry {
    /// An entry for an address that has never answered.
    #[must_use]
    pub fn new(url: &str, asked: DateTime<Utc>) -> Self {
        Self {
            version: VERSION,
            url: url.to_owned(),
            body: None,
            received: None,
            last_modified: None,
            etag: None,
            asked,
            fresh_until: asked,
            not_before: None,
            failures: 0,
            trouble: None,
        }
    }

    /// What the rules of politeness take.
    #[must_use]
    pub fn remembered(&self) -> Remembered {
        Remembered {
            has_body: self.body.is_some(),
            asked: self.asked,
            fresh_until: self.fresh_until,
            not_before: self.not_before,
        }
    }
}

/// What a service said of hours before they began: those of the last two weeks,
/// and of the next day. Services without past hours are compared by these.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Earlier {
    version: u32,
    /// The whole address that was asked first.
    pub url: String,
    /// The hours, in order.
    pub hours: Vec<RawHour>,
}

/// How long before an hour begins it is noted what a service says of it.
const NOTED_AHEAD: TimeDelta = TimeDelta::hours(24);

impl Earlier {
    /// Nothing yet.
    #[must_use]
    pub fn new(url: &str) -> Self {
        Self {
            version: VERSION,
            url: url.to_owned(),
            hours: Vec::new(),
        }
    }

    /// Notes a new reply; what it says replaces what was said before, until
    /// the hour begins.
    pub fn note(&mut self, hours: &[RawHour], now: DateTime<Utc>) {
        let is_old = |hour: &RawHour| hour.start < now - LEARNED_OVER;
        let noted = |hour: &&RawHour| hour.start >= now && hour.start < now + NOTED_AHEAD;
        let known = self.hours.drain(..).map(|hour| (hour.start, hour));
        let mut all: BTreeMap<_, _> = known.collect();
        all.extend(hours.iter().filter(noted).map(|hour| (hour.start, *hour)));
        self.hours = all.into_values().filter(|hour| !is_old(hour)).collect();
    }

    /// What was said of hours that have begun.
    #[must_use]
    pub fn before(&self, now: DateTime<Utc>) -> Vec<RawHour> {
        let begun = |hour: &&RawHour| hour.start < now;
        self.hours.iter().filter(begun).copied().collect()
    }
}

/// Why the cache could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot keep a weather reply in {path}: {source}")]
pub struct CacheError {
    /// Which file.
    path: PathBuf,
    /// What the system says.
    source: std::io::Error,
}

/// A folder of entries.
#[derive(Debug, Clone)]
pub struct Cache {
    folder: PathBuf,
    asker: String,
}

impl Cache {
    /// The cache in a folder, which is made when it is first written to.
    ///
    /// - `asker`: who asks the services; a refusal is remembered for this one
    ///   only, so that a mended contact is tried at once
    #[must_use]
    pub fn in_folder(folder: &Path, asker: &str) -> Self {
        Self {
            folder: folder.to_owned(),
            asker: asker.to_owned(),
        }
    }

    fn path(&self, service: &str, url: &str) -> PathBuf {
        // Two addresses with one hash share a file; `load` tells them apart.
        self.folder.join(format!(
            "{service}-{:08x}.json",
            hash_of(&format!("{url} {}", self.asker))
        ))
    }

    /// What a service said before; nothing where nothing can be read.
    #[must_use]
    pub fn earlier(&self, service: &str, url: &str) -> Earlier {
        self.read(&self.earlier_path(service, url))
            .filter(|known: &Earlier| known.version == VERSION && known.url == url)
            .unwrap_or_else(|| Earlier::new(url))
    }

    /// Keeps what a service said.
    ///
    /// # Errors
    /// [`CacheError`] with the file and what the system says.
    pub fn save_earlier(&self, service: &str, earlier: &Earlier) -> Result<(), CacheError> {
        self.write(self.earlier_path(service, &earlier.url), earlier)
    }

    fn earlier_path(&self, service: &str, url: &str) -> PathBuf {
        self.path(service, url).with_extension("earlier.json")
    }

    /// The entry of an address; `None` if there is none that can be read. A
    /// damaged file is worth no more than a missing one.
    #[must_use]
    pub fn load(&self, service: &str, url: &str) -> Option<Entry> {
        self.read(&self.path(service, url))
            .filter(|entry: &Entry| entry.version == VERSION && entry.url == url)
    }

    fn read<T: serde::de::DeserializeOwned>(&self, path: &Path) -> Option<T> {
        #[expect(
            clippy::disallowed_methods,
            reason = "the cache is an adapter to the disk"
        )]
        let file = std::fs::File::open(path).ok()?;
        let mut text = Vec::new();
        file.take(LONGEST_FILE).read_to_end(&mut text).ok()?;
        serde_json::from_slice(&text).ok()
    }

    /// Keeps an entry.
    ///
    /// # Errors
    /// [`CacheError`] with the file and what the system says.
    pub fn save(&self, service: &str, entry: &Entry) -> Result<(), CacheError> {
        self.write(self.path(service, &entry.url), entry)
    }

    /// Writes a file: whole beside the old one, then in its place.
    fn write<T: Serialize>(&self, path: PathBuf, kept: &T) -> Result<(), CacheError> {
        let write = || {
            std::fs::create_dir_all(&self.folder)?;
            let text = serde_json::to_vec(kept)?;
            let beside = path.with_extension(format!("{}.tmp", std::process::id()));
            #[expect(
                clippy::disallowed_methods,
                reason = "the cache is an adapter to the disk"
            )]
            std::fs::write(&beside, text)?;
            std::fs::rename(&beside, &path)
        };
        write().map_err(|source| CacheError {
            path: path.clone(),
            source,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_saved_is_loaded_and_damage_is_a_missing_entry() -> Result<(), CacheError> {
        let folder = tempfile::tempdir().unwrap();
        let cache = Cache::in_folder(&folder.path().join("weather"), "a@harrowmere.example");
        let asked = DateTime::from_timestamp(1_780_000_000, 0).unwrap();
        let mut entry = Entry::new("http://127.0.0.1/a", asked);
        entry.body = Some("{\"é\": null}".into());
        cache.save("open-meteo", &entry)?;
        assert_eq!(
            cache.load("open-meteo", "http://127.0.0.1/a"),
            Some(entry.clone())
        );
        assert_eq!(cache.load("open-meteo", "http://127.0.0.1/b"), None);
        #[expect(clippy::disallowed_methods, reason = "the damage of the test")]
        std::fs::write(cache.path("open-meteo", &entry.url), b"{\"version\":1").unwrap();
        assert_eq!(cache.load("open-meteo", "http://127.0.0.1/a"), None);
        Ok(())
    }
}
