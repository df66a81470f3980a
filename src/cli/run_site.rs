//! The site file of a running daemon: read again, tried, and compared with
//! what is in force.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Failure;
use super::check::read_site_file;
use crate::daemon::runtime::{Start, Word};
use crate::daemon::web::{TOKEN_VARIABLE, WebSettings};
use crate::site::{Site, load_bytes};

/// What a HUP does in one life of the daemon.
#[derive(Clone)]
pub struct Reload {
    /// The life's own start.
    start: Start,
    file: PathBuf,
    /// The files that were read at its start.
    seals: Vec<Option<u64>>,
}

impl Reload {
    /// For a life that begins so.
    pub fn of(start: &Start, file: &Path) -> Self {
        Self {
            start: start.clone(),
            file: file.to_owned(),
            seals: seals(start),
        }
    }

    /// Where the site file lies.
    pub fn folder(&self) -> PathBuf {
        self.start.folder.clone()
    }

    /// Reads the site file and tries whether a daemon could start by it; what
    /// the loop is to do.
    ///
    /// # Errors
    /// Why the site in force stays, in words.
    pub fn read(&self) -> Result<Word, String> {
        let start = Start {
            site: Arc::new(read_again(&self.file)?),
            ..self.start.clone()
        };
        let why = |error: String| {
            format!("the site file has changed and no daemon could start by it: {error}")
        };
        start.check().map_err(|error| why(error.to_string()))?;
        web_settings(&start).map_err(why)?;
        let site = Box::new(Site::clone(&start.site));
        Ok(match seals(&start) == self.seals {
            true => Word::Site(site),
            false => Word::Anew(site),
        })
    }
}

/// How the local interface is reached.
///
/// # Errors
/// Why it cannot be there, in words.
pub fn web_settings(start: &Start) -> Result<Option<WebSettings>, String> {
    let token = std::env::var(TOKEN_VARIABLE).ok();
    let web = WebSettings::of(&start.site.daemon, &start.folder, token);
    web.map_err(|error| error.to_string())
}

/// The site file anew; what is wrong with it is told as `check` tells it.
fn read_again(path: &Path) -> Result<Site, String> {
    read_logged(path).map_err(|failure| failure.to_string())
}

/// A site whose text holds no error; what is doubtful or wrong goes to the log.
///
/// # Errors
/// As [`super::planning::load_site`].
pub fn read_logged(path: &Path) -> Result<Site, Failure> {
    let bytes = read_site_file(path)?;
    match load_bytes(&bytes, &path.display().to_string()) {
        Ok(loaded) => {
            for warning in &loaded.warnings {
                tracing::warn!("{}", warning.render(false));
            }
            Ok(loaded.site)
        }
        Err(faults) => {
            for fault in &faults.items {
                tracing::error!("{}", fault.render(false));
            }
            Err(Failure::Input(
                "the site file has errors (`soakmist check` names them)".to_owned(),
            ))
        }
    }
}

/// Marks of the files that are read at a start only: password, token,
/// certificates. Two that differ tell that a file is another.
fn seals(start: &Start) -> Vec<Option<u64>> {
    let mqtt = start.site.mqtt.as_ref();
    let password = mqtt.and_then(|mqtt| mqtt.login.as_ref()?.password_file.as_ref());
    let tls = mqtt.and_then(|mqtt| mqtt.tls.as_ref());
    let own = tls.and_then(|tls| tls.own.as_ref());
    let names = [
        password,
        tls.and_then(|tls| tls.authority.as_ref()),
        own.map(|(certificate, _)| certificate),
        own.map(|(_, key)| key),
        start.site.daemon.token_file.as_ref(),
    ];
    let named = names.into_iter().flatten();
    named.map(|name| seal(&start.folder.join(name))).collect()
}

#[expect(
    clippy::disallowed_methods,
    reason = "the command line reads the files that the person names"
)]
fn seal(path: &Path) -> Option<u64> {
    let mut hasher = DefaultHasher::new();
    std::fs::read(path).ok()?.hash(&mut hasher);
    Some(hasher.finish())
}
