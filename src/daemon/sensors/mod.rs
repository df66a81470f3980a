//! Sensors over the broker: messages become measured hours, and a sensor that
//! is silent, stuck or wrong is named. docs/sensors.md states the rules.
//!
//! Pure: the message, and when it came, go in. What is kept is bounded: three
//! days of hourly sums a sensor.

mod hours;
mod news;
mod watch;

use chrono::{DateTime, Utc};
use serde_json::Value;

pub use news::{Fault, SensorNews, SensorProblem};

use crate::mqtt::Subscription;
use crate::site::{Sensor, Site};
use crate::store::ProbeHour;
use crate::weather::series::SeriesHour;
use watch::{Told, Watch};

/// The longest payload that is read [bytes].
const LONGEST_PAYLOAD: usize = 16 * 1024;

/// All sensors of a site.
#[derive(Debug, Clone, Default)]
pub struct Sensors {
    watches: Vec<Watch>,
}

impl Sensors {
    /// Those that the site file names.
    #[must_use]
    pub fn of(site: &Site) -> Self {
        Self {
            watches: site.sensors.iter().cloned().map(Watch::new).collect(),
        }
    }

    /// The broker is connected at `now`, or away: who cannot be heard is not
    /// silent, and has its time anew once it can be.
    pub fn listen(&mut self, is_linked: bool, now: DateTime<Utc>) {
        for watch in &mut self.watches {
            watch.heard_since = is_linked.then_some(now);
        }
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.watches.is_empty()
    }

    /// The topics to read, each once. The link can do without any of them.
    #[must_use]
    pub fn subscriptions(&self) -> Vec<Subscription> {
        let mut topics: Vec<&str> = self.sensors().map(|s| s.topic.as_str()).collect();
        topics.sort_unstable();
        topics.dedup();
        let subscription = |topic: &str| Subscription {
            topic: topic.to_owned(),
            needed: false,
        };
        topics.into_iter().map(subscription).collect()
    }

    /// Takes a message that came at `now`; what has changed for people. What
    /// the broker had stored may be of any age and is not taken.
    pub fn take(
        &mut self,
        topic: &str,
        payload: &[u8],
        retained: bool,
        now: DateTime<Utc>,
    ) -> Vec<SensorNews> {
        if retained {
            return Vec::new();
        }
        let text = std::str::from_utf8(payload).ok();
        let text = text.filter(|text| text.len() <= LONGEST_PAYLOAD);
        let mut json: Option<Option<Value>> = None;
        let mut news = Vec::new();
        for watch in &mut self.watches {
            if watch.sensor.topic != topic {
                continue;
            }
            let told = match (&watch.sensor.pointer, text) {
                (_, None) => Told::Unreadable,
                (None, Some(text)) => plain(text),
                (Some(pointer), Some(text)) => {
                    let json = json.get_or_insert_with(|| serde_json::from_str(text).ok());
                    pointed(json.as_ref(), pointer)
                }
            };
            watch.take(told, now);
            news.extend(watch.news(now));
        }
        news
    }

    /// Time has passed: sensors may have fallen silent.
    pub fn look(&mut self, now: DateTime<Utc>) -> Vec<SensorNews> {
        let watches = self.watches.iter_mut();
        watches.filter_map(|watch| watch.news(now)).collect()
    }

    /// The hours that were measured whole, of the last three days. What no
    /// sensor told of an hour is missing in it.
    #[must_use]
    pub fn hours(&self, now: DateTime<Utc>) -> Vec<SeriesHour> {
        hours::measured_hours(&self.watches, now)
    }

    /// What is wrong now.
    #[must_use]
    pub fn problems(&self, now: DateTime<Utc>) -> Vec<SensorProblem> {
        let watches = self.watches.iter();
        watches.filter_map(|watch| watch.problem(now)).collect()
    }

    /// What probes in the soil said of hours that are over, of the last three
    /// days; seen at their beginning, for want of a better instant.
    #[must_use]
    pub fn probe_hours(&self, now: DateTime<Utc>) -> Vec<ProbeHour> {
        hours::probe_hours(&self.watches, now)
    }

    fn sensors(&self) -> impl Iterator<Item = &Sensor> {
        self.watches.iter().map(|watch| &watch.sensor)
    }
}

fn plain(text: &str) -> Told {
    match text.trim().parse::<f64>() {
        Ok(number) if number.is_finite() => Told::Number(number),
        _ => Told::Unreadable,
    }
}

/// The number at a pointer. A message without that place tells of something
/// else, and one with `null` there says that there is no reading.
fn pointed(json: Option<&Value>, pointer: &str) -> Told {
    let Some(json) = json else {
        return Told::Unreadable;
    };
    match json.pointer(pointer) {
        None | Some(Value::Null) => Told::Nothing,
        Some(Value::Number(number)) => number.as_f64().map_or(Told::Unreadable, Told::Number),
        Some(Value::String(text)) => plain(text),
        Some(_) => Told::Unreadable,
    }
}
