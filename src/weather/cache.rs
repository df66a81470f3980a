//! Replies of weather services on disk, one file an address, so that a
//! restart asks nothing.

use std::io::Read;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::politeness::{Remembered, hash_of};

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

    /// The entry of an address; `None` if there is none that can be read. A
    /// damaged file is worth no more than a missing one.
    #[must_use]
    pub fn load(&self, service: &str, url: &str) -> Option<Entry> {
        #[expect(
            clippy::disallowed_methods,
            reason = "the cache is an adapter to the disk"
        )]
        let file = std::fs::File::open(self.path(service, url)).ok()?;
        let mut text = Vec::new();
        file.take(LONGEST_FILE).read_to_end(&mut text).ok()?;
        let entry: Entry = serde_json::from_slice(&text).ok()?;
        (entry.version == VERSION && entry.url == url).then_some(entry)
    }

    /// Writes an entry: whole beside the old one, then in its place.
    ///
    /// # Errors
    /// [`CacheError`] with the file and what the system says.
    pub fn save(&self, service: &str, entry: &Entry) -> Result<(), CacheError> {
        let path = self.path(service, &entry.url);
        let write = || {
            std::fs::create_dir_all(&self.folder)?;
            let text = serde_json::to_vec(entry)?;
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
