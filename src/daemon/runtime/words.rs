//! What the loop is told from outside: stops, weather, site files.

use std::sync::Arc;

use super::Word;
use super::service::Service;
use crate::daemon::control::Event;
use crate::daemon::sensors::Sensors;
use crate::mqtt::Devices;
use crate::site::Site;
use crate::valve;

impl Service {
    /// A stop wins over everything: over a beginning anew under way, and over
    /// whatever is read after it.
    pub(super) fn take_word(&mut self, word: Word) {
        let is_ending = self.control.is_stopping && self.restart.is_none();
        match word {
            Word::Stop => {
                self.restart = None;
                self.manager.stopping();
                self.close_all();
            }
            Word::Weather(hours) => self.tell(Event::Weather(hours)),
            Word::Site(_) | Word::Anew(_) | Word::Kept(_) if is_ending => {
                tracing::info!("the site file was read again, but everything is being stopped");
            }
            Word::Kept(why) => self.keep(&why),
            Word::Site(site) if self.restart.is_none() && self.is_same_ground(&site) => {
                tracing::info!("the site file was read again and is in force");
                self.kept = None;
                let site = Arc::new(*site);
                self.in_force.send_replace(Arc::clone(&site));
                self.tell(Event::NewSite(site));
                self.weather_again.notify_one();
                self.manager.ready();
            }
            Word::Site(_) | Word::Anew(_) if self.desk.trouble().is_some() => self.keep(
                "the new site file needs a new beginning, and that needs the disk, which takes \
                 nothing now: read it again (HUP) when it does",
            ),
            Word::Site(site) => {
                let what = "zones, valves, topics, broker or address have changed: starting anew";
                self.begin_anew(site, what);
            }
            Word::Anew(site) => {
                let what = "a password, a token or a certificate has changed: starting anew";
                self.begin_anew(site, what);
            }
        }
    }

    /// The site in force stays.
    fn keep(&mut self, why: &str) {
        tracing::error!(why, "the site file was read again: the one in force stays");
        self.kept = Some(format!("{why}. The one in force stays"));
        self.manager.ready();
    }

    pub(super) fn begin_anew(&mut self, site: Box<Site>, what: &str) {
        tracing::info!("{what}");
        self.restart = Some(site);
        self.close_all();
    }

    fn close_all(&mut self) {
        self.tell(Event::Valve(valve::Event::Shutdown));
    }

    /// Whether a site has the same zones, valves, topics, broker and address.
    fn is_same_ground(&self, site: &Site) -> bool {
        let present = &self.control.settings.site;
        let valves = |site: &Site| {
            let zones = site.zones.iter();
            let zones = zones.map(|zone| {
                let names = (zone.name.clone(), zone.formerly.clone());
                (names, zone.valve.clone())
            });
            zones.collect::<Vec<_>>()
        };
        let installation = site.mqtt.as_ref().map(|mqtt| {
            let mut devices = Devices::of(site, mqtt);
            devices.set_timing(self.control.settings.installation.timing);
            devices.installation(site)
        });
        present.mqtt == site.mqtt
            && present.daemon == site.daemon
            && present.place == site.place
            && valves(present) == valves(site)
            && Sensors::of(present).subscriptions() == Sensors::of(site).subscriptions()
            && installation.is_some_and(|new| new == *self.control.settings.installation)
    }
}
