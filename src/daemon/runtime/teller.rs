//! What is told on MQTT, retained: how the site and each zone stand, and what
//! is wrong. Only what has changed is sent, and not more often than once a
//! second a topic.

use std::collections::BTreeMap;
use std::time::Duration;

use serde::Serialize;
use tokio::time::Instant;

use crate::daemon::status::Status;
use crate::mqtt::{Link, Parcel, Quality};

/// Pause between two rounds.
const PAUSE: Duration = Duration::from_secs(1);

/// The site without its zones: those have topics of their own, so that no
/// message grows with the site.
#[derive(Serialize)]
struct SiteStatus<'a> {
    site: &'a str,
    phase: &'a str,
    dry_run: bool,
    clock_problem: &'a Option<String>,
    weather_problem: &'a Option<String>,
    runs: &'a [crate::daemon::status::RunStatus],
    shortfalls: &'a [(String, f64)],
}

/// The teller.
pub(super) struct Teller {
    base: String,
    told: BTreeMap<String, String>,
    last: Option<Instant>,
}

impl Teller {
    /// Tells below the topic `base`.
    pub(super) fn new(base: String) -> Self {
        Self {
            base,
            told: BTreeMap::new(),
            last: None,
        }
    }

    /// The broker may have forgotten everything: all is told anew.
    pub(super) fn forget(&mut self) {
        self.told.clear();
        self.last = None;
    }

    /// Whether a round is due.
    pub(super) fn is_due(&self) -> bool {
        self.last.is_none_or(|last| last.elapsed() >= PAUSE)
    }

    /// Tells what has changed.
    pub(super) fn tell(&mut self, status: &Status, link: &Link) {
        self.last = Some(Instant::now());
        let site = SiteStatus {
            site: &status.site,
            phase: &status.phase,
            dry_run: status.dry_run,
            clock_problem: &status.clock_problem,
            weather_problem: &status.weather_problem,
            runs: &status.runs,
            shortfalls: &status.shortfalls,
        };
        self.one("status", &site, link);
        self.one("alarms", &status.alarms, link);
        for zone in &status.zones {
            self.one(&format!("zone/{}", zone.name), zone, link);
        }
    }

    fn one<T: Serialize>(&mut self, name: &str, what: &T, link: &Link) {
        let Ok(text) = serde_json::to_string(what) else {
            return;
        };
        if self.told.get(name) == Some(&text) {
            return;
        }
        let parcel = Parcel {
            topic: format!("{}/{name}", self.base),
            payload: text.clone().into_bytes(),
            quality: Quality::AtLeastOnce,
            retain: true,
        };
        match link.report(parcel) {
            Ok(()) => {
                self.told.insert(name.to_owned(), text);
            }
            Err(error) => tracing::debug!(%error, topic = name, "not told on MQTT"),
        }
    }
}
