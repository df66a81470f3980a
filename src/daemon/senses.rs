//! The sensors in the control loop: what they measured goes into the weather,
//! what probes say into the balance, and what is wrong is told.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::control::{Action, Control};
use super::notice::Notice;
use super::sensors::{SensorNews, Sensors};
use crate::agronomy::weather_record::{RawHour, Reading};
use crate::plan::rolling::Corrected;
use crate::site::Site;
use crate::store::{Entry, ProbeHour};
use crate::valve::{Link, Moment};
use crate::weather::series::SeriesHour;

/// Pause between two looks at who is silent, and between two times that news
/// are told: a sensor that changes its mind with each message fills no log.
const LOOK_PAUSE: Duration = Duration::from_secs(10);
/// Pause between two times that measured hours become weather.
const HOURS_PAUSE: Duration = Duration::from_secs(60);
/// Sensors forget hours that are older than three days.
const KEPT: TimeDelta = TimeDelta::hours(71);

/// What came on a topic that sensors share or have for themselves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The topic.
    pub topic: String,
    /// The payload, as it came: not to be trusted.
    pub payload: Vec<u8>,
    /// Whether the broker had it stored.
    pub stored: bool,
    /// When it came.
    pub received: Moment,
}

/// The sensors, and what became of their readings.
#[derive(Debug, Default)]
pub(super) struct Senses {
    sensors: Sensors,
    looked: Option<Moment>,
    /// When measured hours were last asked for.
    asked: Option<Moment>,
    /// Those that are in the weather.
    given: Vec<SeriesHour>,
    /// Hours of probes that are in the balance.
    probed: Vec<ProbeHour>,
    /// The latest of each sensor that was not told yet.
    news: Vec<SensorNews>,
}

impl Senses {
    /// The sensors of a site, while the broker is away.
    pub(super) fn of(site: &Site) -> Self {
        let mut senses = Self {
            sensors: Sensors::of(site),
            ..Self::default()
        };
        senses.sensors.listen(false, DateTime::UNIX_EPOCH);
        senses
    }

    fn note(&mut self, news: Vec<SensorNews>) {
        for new in news {
            self.news.retain(|old| old.sensor() != new.sensor());
            self.news.push(new);
        }
    }

    /// Measured hours that are not in the weather yet, or otherwise; and what
    /// is in it that the sensors have taken back.
    fn changes(&mut self, now: DateTime<Utc>) -> (Vec<SeriesHour>, Vec<RawHour>) {
        let hours = self.sensors.hours(now);
        let given = std::mem::replace(&mut self.given, hours);
        let hours = &self.given;
        let new = hours.iter().filter(|hour| !given.contains(hour));
        // What is older is forgotten, not taken back.
        let kept = given.iter().filter(|hour| hour.hour.start > now - KEPT);
        let taken_back = kept.filter_map(|hour| {
            let found = hours.iter().find(|new| new.hour.start == hour.hour.start);
            taken_back(&hour.hour, found.map(|found| &found.hour))
        });
        (new.cloned().collect(), taken_back.collect())
    }

    /// Hours of probes that are not in the balance yet, or otherwise; those
    /// that were taken back have no weight.
    fn probe_changes(&mut self, now: DateTime<Utc>) -> Vec<ProbeHour> {
        let hours = self.sensors.probe_hours(now);
        let before = std::mem::replace(&mut self.probed, hours);
        let after = &self.probed;
        let new = after.iter().filter(|hour| !before.contains(hour));
        let is_same = |a: &ProbeHour, b: &ProbeHour| (a.zone, a.start) == (b.zone, b.start);
        let kept = before.iter().filter(|hour| hour.start > now - KEPT);
        let gone = kept.filter(|hour| !after.iter().any(|other| is_same(other, hour)));
        let gone = gone.map(|hour| ProbeHour {
            weight: 0.0,
            ..hour.clone()
        });
        let changed = new.cloned().chain(gone);
        changed
            .map(|hour| ProbeHour { seen: now, ..hour })
            .collect()
    }

    /// What is wrong now, in words.
    pub(super) fn problems(&self, now: DateTime<Utc>) -> Vec<String> {
        let problems = self.sensors.problems(now);
        problems.iter().map(ToString::to_string).collect()
    }
}

/// What an hour held that it does not hold any more; none if that is nothing.
fn taken_back(before: &RawHour, after: Option<&RawHour>) -> Option<RawHour> {
    let gone =
        |of: fn(&RawHour) -> Option<Reading>| of(before).filter(|_| after.and_then(of).is_none());
    let hour = RawHour {
        air_temperature_c: gone(|hour| hour.air_temperature_c),
        relative_humidity_pct: gone(|hour| hour.relative_humidity_pct),
        wind_m_per_s: gone(|hour| hour.wind_m_per_s),
        solar_w_per_m2: gone(|hour| hour.solar_w_per_m2),
        rain_mm: gone(|hour| hour.rain_mm),
        ..*before
    };
    let readings = [
        hour.air_temperature_c,
        hour.relative_humidity_pct,
        hour.wind_m_per_s,
        hour.solar_w_per_m2,
        hour.rain_mm,
    ];
    readings.iter().any(Option::is_some).then_some(hour)
}

impl Control {
    /// Readings of a time that cannot be believed belong to no hour.
    pub(super) fn sense(&mut self, told: &Told) {
        if !self.is_clock_right() {
            return;
        }
        let at = self.now.utc_at(told.received);
        let sensors = &mut self.senses.sensors;
        let news = sensors.take(&told.topic, &told.payload, told.stored, at);
        self.senses.note(news);
    }

    /// From now on sensors can be heard, or cannot: by the broker, which
    /// alone is told as long as it is away.
    pub(super) fn listen_to_sensors(&mut self) {
        let is_linked = self.supervisor.known().link == Link::Up;
        self.senses.sensors.listen(is_linked, self.now.utc);
    }

    /// Asks the sensors what is new, when it is time to.
    pub(super) fn look_at_sensors(&mut self, out: &mut Vec<Action>) {
        if self.senses.sensors.is_empty() || !self.is_clock_right() {
            return;
        }
        let now = self.now.moment;
        let is_over = |last: Option<Moment>, pause| last.is_none_or(|at| now.since(at) >= pause);
        if is_over(self.senses.looked, LOOK_PAUSE) {
            self.senses.looked = Some(now);
            let news = self.senses.sensors.look(self.now.utc);
            self.senses.note(news);
            let news = self.senses.news.drain(..);
            out.extend(news.map(Notice::Sensor).map(Action::Tell));
        }
        if is_over(self.senses.asked, HOURS_PAUSE) {
            self.senses.asked = Some(now);
            let (new, taken_back) = self.senses.changes(self.now.utc);
            if !taken_back.is_empty() {
                self.doubt_weather(&taken_back, out);
            }
            if !new.is_empty() {
                self.lay_weather(&new, out);
            }
            self.hear_probes(out);
        }
    }

    /// What probes say goes into the balance at the next plan.
    fn hear_probes(&mut self, out: &mut Vec<Action>) {
        let hours = self.senses.probe_changes(self.now.utc);
        if hours.is_empty() {
            return;
        }
        for hour in hours {
            if let Some(field) = self.fields.get_mut(hour.zone) {
                field.probe(&hour);
            }
            if !self.settings.dry_run {
                out.push(Action::Write(Entry::Probe(hour)));
            }
        }
        self.replan_soon();
    }

    /// Tells of each correction once, when a plan was made with it.
    pub(super) fn tell_corrections(&mut self, made: &[Corrected], out: &mut Vec<Action>) {
        for corrected in made {
            let field = self.fields.get_mut(corrected.zone);
            if let Some(sensor) = field.and_then(|field| field.tell_correction(corrected.at)) {
                out.push(Action::Tell(Notice::Corrected {
                    zone: corrected.zone,
                    sensor,
                    at: corrected.at,
                    correction: corrected.correction,
                }));
            }
        }
    }
}
