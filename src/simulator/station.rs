//! A simulated weather station that tells the weather of given hours.

use chrono::{TimeDelta, Timelike, Utc};
use serde_json::{Map, json};

use super::site::Publication;
use crate::agronomy::weather_record::{RawHour, Reading};
use crate::clock::Now;
use crate::valve::Moment;

/// A weather station.
#[derive(Debug)]
pub struct Station {
    topic: String,
    interval: std::time::Duration,
    hours: Vec<RawHour>,
    due: Moment,
}

impl Station {
    /// A station that reports on `topic` every `interval` what `hours`
    /// (ascending) say, and nothing outside of them.
    #[must_use]
    pub fn new(topic: String, interval: std::time::Duration, hours: Vec<RawHour>) -> Self {
        Self {
            topic,
            interval,
            hours,
            due: Moment::default(),
        }
    }

    /// Its report, when one is due: temperature [°C], humidity [%], wind
    /// [m/s], radiation [W/m²], and the rain of the hour so far [mm].
    pub(super) fn report(&mut self, now: Now) -> Option<Publication> {
        if now.moment < self.due {
            return None;
        }
        self.due = now.moment.after(self.interval);
        let hour = self.hour(now.utc)?;
        let passed_share = f64::from(now.utc.minute() * 60 + now.utc.second()) / 3600.0;
        let mut report = Map::new();
        let mut tell = |name: &str, reading: Option<Reading>, share: f64| {
            if let Some(reading) = reading {
                report.insert(name.to_owned(), json!(reading.value * share));
            }
        };
        tell("temperature_c", hour.air_temperature_c, 1.0);
        tell("humidity_pct", hour.relative_humidity_pct, 1.0);
        tell("wind_m_per_s", hour.wind_m_per_s, 1.0);
        tell("solar_w_per_m2", hour.solar_w_per_m2, 1.0);
        tell("rain_of_hour_mm", hour.rain_mm, passed_share);
        Some(Publication {
            topic: self.topic.clone(),
            payload: serde_json::Value::Object(report).to_string(),
        })
    }

    fn hour(&self, utc: chrono::DateTime<Utc>) -> Option<&RawHour> {
        let after = self.hours.partition_point(|hour| hour.start <= utc);
        let hour = self.hours.get(after.checked_sub(1)?)?;
        (utc < hour.start + TimeDelta::hours(1)).then_some(hour)
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::agronomy::weather_record::Provenance;

    #[test]
    fn it_tells_the_hour_it_is_in_and_is_silent_outside() {
        let measured = |value| {
            let provenance = Provenance::Measured;
            Some(Reading { value, provenance })
        };
        let hour = RawHour {
            start: "2026-05-02T06:00:00Z".parse().unwrap(),
            air_temperature_c: measured(14.5),
            relative_humidity_pct: None,
            wind_m_per_s: measured(2.0),
            wind_height_m: 2.0,
            solar_w_per_m2: measured(310.0),
            sunshine_h: None,
            rain_mm: measured(4.0),
            rain_probability: None,
            pressure_kpa: None,
        };
        let interval = Duration::from_secs(60);
        let mut station = Station::new("station".into(), interval, vec![hour]);
        let mut at = |text: &str, s: u64| {
            station.report(Now {
                utc: text.parse().unwrap(),
                moment: Moment::from_millis(s * 1000),
            })
        };
        assert_eq!(at("2026-05-02T05:59:59Z", 0), None);
        let report = at("2026-05-02T06:15:00Z", 60).unwrap();
        assert_eq!(
            report.payload,
            r#"{"rain_of_hour_mm":1.0,"solar_w_per_m2":310.0,"temperature_c":14.5,"wind_m_per_s":2.0}"#
        );
        assert_eq!(at("2026-05-02T06:15:30Z", 90), None);
        assert_eq!(at("2026-05-02T07:00:00Z", 3600), None);
    }
}
