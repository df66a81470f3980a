//! Thirsty beds for a daemon at a broker: the device of their valves, a place
//! where it is noon, and hot dry weather.

#![allow(dead_code, reason = "each test binary uses its part")]

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use soakmist::agronomy::weather_record::{Provenance, RawHour, Reading};

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

/// Relays that stay as they are until they are told otherwise, and count
/// nothing.
pub const RELAY: &str = r#"
[[device]]
name = "bed-valve"
acts = "on-off"
command-topic = "beds/{zone}/command"
open = "ON"
close = "OFF"
state-topic = "beds/{zone}/state"
state-open = "ON"
state-closed = "OFF"
"#;

/// The same, as devices that give the number of their last command.
pub const COUNTING: &str = r#"
[[device]]
name = "bed-valve"
acts = "on-off"
command-topic = "beds/{zone}/command"
open = '{"valve":"open","id":{id},"issued_at":{issued_at},"valid_for_s":{valid_for_s}}'
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

/// Three beds on one tap that feeds two of them at once.
const GROUND: &str = r#"
name = "Harrowmere beds"
units = "si"
place = { latitude = 36.1, longitude = -79.9, elevation = "270 m", time-zone = "America/New_York" }
supply = { flow = "45 L/min" }

[mqtt]
host = "127.0.0.1"
client-id = "soakmist-beds"
base-topic = "beds/soakmist"

DEVICE
[all-zones]
soil = "loam"
valve = { device = "bed-valve" }
runs = { shortest = "1 min", longest = "25 min", soak-time = "30 min" }
seeding = { at = "SOWN", mix = "perennial-ryegrass" }

[[zone]]
name = "east"
area = "110 m2"
sprinkler = { flow = "20 L/min" }

[[zone]]
name = "west"
area = "100 m2"
sprinkler = { flow = "20 L/min" }

[[zone]]
name = "long"
area = "120 m2"
sprinkler = { flow = "24 L/min" }
"#;

/// The site file of these beds, sown at a local time.
pub fn ground(sown: &str) -> String {
    GROUND.replace("DEVICE", DEVICE).replace("SOWN", sown)
}

/// Warm dry days, a little different from each other, with rain on some.
pub fn summer(from: DateTime<Utc>, days: u32) -> Vec<RawHour> {
    let told = |value: f64| {
        let provenance = Provenance::Forecast;
        Some(Reading { value, provenance })
    };
    (0..days * 24)
        .map(|index| {
            let (day, hour) = (index / 24, f64::from(index % 24));
            let sun = (std::f64::consts::PI * (hour - 10.5) / 13.0).sin().max(0.0);
            let warmth = f64::from(day % 5);
            RawHour {
                start: from + TimeDelta::hours(i64::from(index)),
                air_temperature_c: told(20.0 + warmth + 7.0 * sun),
                relative_humidity_pct: told(75.0 - 35.0 * sun),
                wind_m_per_s: told(1.0 + sun),
                wind_height_m: 2.0,
                solar_w_per_m2: told(850.0 * sun),
                sunshine_h: None,
                rain_mm: told(if day % 6 == 4 && index % 24 == 9 {
                    4.0
                } else {
                    0.0
                }),
                rain_probability: Some(1.0),
                pressure_kpa: None,
            }
        })
        .collect()
}

/// Hours as a weather file: a stamp is the end of its hour.
pub fn csv(hours: &[RawHour]) -> String {
    let mut text =
        String::from("time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2,precip_mm\n");
    for hour in hours {
        let end = hour.start + TimeDelta::hours(1);
        text += &end.format("%Y-%m-%dT%H:00:00Z").to_string();
        let values = [
            hour.air_temperature_c,
            hour.relative_humidity_pct,
            hour.wind_m_per_s,
            hour.solar_w_per_m2,
            hour.rain_mm,
        ];
        for value in values {
            text += &format!(",{:.3}", value.expect("summer tells everything").value);
        }
        text.push('\n');
    }
    text
}
