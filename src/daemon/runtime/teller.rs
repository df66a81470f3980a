//! What is told on MQTT, retained: how the site and each zone stand, and what
//! is wrong. Only what has changed is sent, and not more often than once a
//! second a topic.

use std::collections::BTreeMap;
use std::time::Duration;

use serde::Serialize;
use tokio::time::Instant;

use crate::daemon::homie;
use crate::daemon::status::Status;
use crate::mqtt::{Link, Parcel, Quality};
use crate::site::{Homie, Mqtt};

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
#[derive(Default)]
pub(super) struct Teller {
    base: String,
    homie: Option<Homie>,
    /// Zones that the site does not have any more: what the broker keeps of
    /// them is taken away, once.
    gone: Vec<String>,
    /// By topic.
    told: BTreeMap<String, String>,
    /// Parts of Homie's description that were told. They stay the same: none
    /// is made again, nor kept here.
    described: usize,
    last: Option<Instant>,
}

impl Teller {
    /// Tells where a site says.
    pub(super) fn new(mqtt: Option<&Mqtt>, gone: Vec<String>) -> Self {
        let Some(mqtt) = mqtt else {
            return Self::default();
        };
        Self {
            base: mqtt.base_topic.clone(),
            homie: mqtt.homie.clone(),
            gone,
            ..Self::default()
        }
    }

    /// The broker may have forgotten everything: all is told anew.
    pub(super) fn forget(&mut self) {
        self.told.clear();
        self.described = 0;
        self.last = None;
    }

    /// A topic is told again, changed or not.
    pub(super) fn again(&mut self, topic: &str) {
        self.told.remove(topic);
    }

    /// Whether a round is due.
    pub(super) fn is_due(&self) -> bool {
        self.last.is_none_or(|last| last.elapsed() >= PAUSE)
    }

    /// Tells what has changed.
    pub(super) fn tell(&mut self, status: &Status, link: &Link) {
        self.last = Some(Instant::now());
        for name in std::mem::take(&mut self.gone) {
            self.take_away(&name, link);
        }
        let site = SiteStatus {
            site: &status.site,
            phase: &status.phase,
            dry_run: status.dry_run,
            clock_problem: &status.clock_problem,
            weather_problem: &status.weather_problem,
            runs: &status.runs,
            shortfalls: &status.shortfalls,
        };
        self.json("status", &site, link);
        self.json("alarms", &status.alarms, link);
        for zone in &status.zones {
            self.json(&format!("zone/{}", zone.name), zone, link);
        }
        if let Some(homie) = self.homie.take() {
            self.tell_homie(&homie, status, link);
            self.homie = Some(homie);
        }
    }

    /// An empty message takes a retained one away.
    fn take_away(&mut self, zone: &str, link: &Link) {
        let homie = self.homie.iter();
        let topics = homie.flat_map(|homie| homie::topics_of(homie, zone));
        let topics: Vec<String> = topics
            .chain([format!("{}/zone/{zone}", self.base)])
            .collect();
        for topic in topics {
            self.one(topic, String::new(), link);
        }
    }

    /// The state comes last, when everything before it was taken: it says
    /// that the device is complete.
    fn tell_homie(&mut self, homie: &Homie, status: &Status, link: &Link) {
        // It would go on saying `online` when we vanish: the one last will is
        // that of the state.
        let mut is_told = self.one(format!("{}/presence", self.base), String::new(), link);
        is_told &= self.describe(homie, status, link);
        for (topic, text) in homie::values(homie, status) {
            is_told &= self.one(topic, text, link);
        }
        if is_told {
            let state = homie::state(status).to_owned();
            self.one(homie.topic("$state"), state, link);
        }
    }

    /// Tells what was not told yet of the description, as far as the outbox
    /// takes it; whether that is all of it.
    fn describe(&mut self, homie: &Homie, status: &Status, link: &Link) -> bool {
        while let Some(part) = homie::attributes_of(homie, status, self.described) {
            let mut part = part.into_iter();
            if !part.all(|(topic, text)| send(topic, text, link)) {
                return false;
            }
            self.described += 1;
        }
        true
    }

    fn json<T: Serialize>(&mut self, name: &str, what: &T, link: &Link) {
        if let Ok(text) = serde_json::to_string(what) {
            self.one(format!("{}/{name}", self.base), text, link);
        }
    }

    /// Whether the topic says this now, as far as we can see to it.
    fn one(&mut self, topic: String, text: String, link: &Link) -> bool {
        if self.told.get(&topic) == Some(&text) {
            return true;
        }
        let is_sent = send(topic.clone(), text.clone(), link);
        if is_sent {
            self.told.insert(topic, text);
        }
        is_sent
    }
}

/// Whether the outbox took it.
fn send(topic: String, text: String, link: &Link) -> bool {
    let parcel = Parcel {
        topic,
        payload: text.into_bytes(),
        quality: Quality::AtLeastOnce,
        retain: true,
    };
    let sent = link.report(parcel);
    if let Err(error) = &sent {
        tracing::debug!(%error, "not told on MQTT");
    }
    sent.is_ok()
}
