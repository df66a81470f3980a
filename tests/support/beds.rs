//! Thirsty beds for a daemon at a broker: the device of their valves, a place
//! where it is noon, and hot dry weather.

#![allow(dead_code, reason = "each test binary uses its part")]

use chrono::{DateTime, TimeDelta, Timelike, Utc};

/// Valves that close by themselves, as tables of a site file.
pub const DEVICE: &str = r#"
[[device]]
name = "bed-valve"
acts = "self-closing"
command-topic = "beds/{zone}/command"
open = '{"valve":"open","seconds":{seconds},"id":{id},"issued_at":{issued_at},"valid_for_s":{valid_for_s}}'
close = '{"valve":"close","id":{id}}'
state-topic = "beds/{zone}/state"
state-pointer = "/valve"
state-open = "open"
state-closed = "closed"
echo-pointer = "/id"
"#;

/// A place where it is noon, as words of a site file.
pub struct Noon {
    /// Longitude [°].
    pub longitude: String,
    /// IANA time zone.
    pub time_zone: String,
    /// Local time two days before.
    pub sown: String,
}

impl Noon {
    pub fn at(now: DateTime<Utc>) -> Self {
        let east_h = 12 - i64::from(now.hour());
        // POSIX names count the other way.
        let time_zone = match -east_h {
            0 => "Etc/GMT".to_owned(),
            west => format!("Etc/GMT{west:+}"),
        };
        let sown = now + TimeDelta::hours(east_h) - TimeDelta::days(2);
        Self {
            longitude: (east_h * 15).to_string(),
            time_zone,
            sown: sown.format("%Y-%m-%d %H:%M").to_string(),
        }
    }
}

/// A weather file: hot and dry, for days back and ahead.
pub fn weather(now: DateTime<Utc>) -> String {
    let mut text = String::from("time,air_temp_c,rel_humidity_pct,precip_mm\n");
    for hour in -120..120 {
        let at = now + TimeDelta::hours(hour);
        text += &at.format("%Y-%m-%dT%H:00:00Z,30,40,0\n").to_string();
    }
    text
}
