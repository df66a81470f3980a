//! Open-Meteo: a global hourly forecast with radiation, humidity and wind.
//!
//! Source of the format: its OpenAPI file and documentation page. Temperature,
//! humidity, wind and pressure are of the instant of the stamp; rain,
//! its probability and radiation are of the hour *before* the stamp. So the
//! hour that starts at `t` takes rain and radiation from the entry at `t + 1 h`
//! and the mean of the two instants at its ends.

use std::collections::BTreeMap;

use chrono::{NaiveDateTime, TimeDelta};
use serde::Deserialize;

use super::hour_bins::{HOUR_S, HourBins};
use super::{Answer, Coordinates, ReplyError, Request, ServiceReply, Step, Terms, WeatherService};
use crate::units::conversion;
use crate::weather::Variable;

/// The service, or a server of the same interface.
#[derive(Debug, Clone)]
pub struct OpenMeteo {
    base_url: String,
}

impl OpenMeteo {
    /// The public server.
    pub const PUBLIC: &str = "https://api.open-meteo.com";

    /// A server; for self-hosting and tests.
    #[must_use]
    pub fn at(base_url: &str) -> Self {
        Self {
            base_url: base_url.trim_end_matches('/').to_owned(),
        }
    }
}

/// Days of the past that are asked for: two weeks, from which the bias is learned.
const PAST_DAYS: u8 = 14;
/// Days of forecast that are asked for. Beyond two weeks in all a request counts
/// as one and a half in the limits of the service, which is little once an hour.
const FORECAST_DAYS: u8 = 7;

/// How a column relates to its stamp.
#[derive(Clone, Copy, PartialEq)]
enum Stamp {
    Instant,
    HourBefore,
}

/// Columns: name there, variable here, how it is stamped.
const COLUMNS: [(&str, Variable, Stamp); 7] = [
    ("temperature_2m", Variable::AirTemperature, Stamp::Instant),
    (
        "relative_humidity_2m",
        Variable::RelativeHumidity,
        Stamp::Instant,
    ),
    ("wind_speed_10m", Variable::Wind, Stamp::Instant),
    ("surface_pressure", Variable::Pressure, Stamp::Instant),
    ("shortwave_radiation", Variable::Solar, Stamp::HourBefore),
    ("precipitation", Variable::Rain, Stamp::HourBefore),
    (
        "precipitation_probability",
        Variable::RainProbability,
        Stamp::HourBefore,
    ),
];

impl WeatherService for OpenMeteo {
    fn name(&self) -> &'static str {
        "open-meteo"
    }

    fn credit(&self) -> &'static str {
        "weather data by Open-Meteo.com (CC BY 4.0)"
    }

    fn terms(&self) -> Terms {
        Terms {
            shortest_interval: TimeDelta::minutes(60),
            needs_contact: false,
            reach: TimeDelta::days(i64::from(FORECAST_DAYS) - 1),
            first_retry: TimeDelta::seconds(60),
        }
    }

    fn first_request(&self, place: &Coordinates) -> Request {
        let names: Vec<_> = COLUMNS.iter().map(|(name, ..)| *name).collect();
        let url = format!(
            "{}/v1/forecast?latitude={}&longitude={}&elevation={}&hourly={}&wind_speed_unit=ms\
             &timezone=GMT&timeformat=unixtime&past_days={PAST_DAYS}&forecast_days={FORECAST_DAYS}",
            self.base_url,
            place.latitude(),
            place.longitude(),
            place.elevation(),
            names.join(","),
        );
        Request {
            url,
            accept: "application/json",
            step: Step::Forecast,
            keep: self.terms().shortest_interval,
        }
    }

    fn read(&self, _asked: &Request, body: &[u8]) -> Result<Answer, ReplyError> {
        parse(body).map(Answer::Hours)
    }
}

#[derive(Deserialize)]
struct Reply {
    #[serde(default)]
    error: bool,
    reason: Option<String>,
    #[serde(default)]
    utc_offset_seconds: i64,
    elevation: Option<f64>,
    #[serde(default)]
    hourly_units: BTreeMap<String, String>,
    hourly: Option<Hourly>,
}

/// The columns, each as long as `time`; what is not named here is skipped.
#[derive(Deserialize)]
struct Hourly {
    time: Vec<Time>,
    temperature_2m: Option<Values>,
    relative_humidity_2m: Option<Values>,
    wind_speed_10m: Option<Values>,
    surface_pressure: Option<Values>,
    shortwave_radiation: Option<Values>,
    precipitation: Option<Values>,
    precipitation_probability: Option<Values>,
}

type Values = Vec<Option<f64>>;

/// Unix time, or a clock time without an offset.
#[derive(Deserialize)]
#[serde(untagged)]
enum Time {
    Unix(f64),
    Clock(String),
}

impl Hourly {
    fn column(&self, name: &str) -> Option<&Values> {
        match name {
            "temperature_2m" => self.temperature_2m.as_ref(),
            "relative_humidity_2m" => self.relative_humidity_2m.as_ref(),
            "wind_speed_10m" => self.wind_speed_10m.as_ref(),
            "surface_pressure" => self.surface_pressure.as_ref(),
            "shortwave_radiation" => self.shortwave_radiation.as_ref(),
            "precipitation" => self.precipitation.as_ref(),
            "precipitation_probability" => self.precipitation_probability.as_ref(),
            _ => None,
        }
    }
}

/// Reads a reply.
///
/// # Errors
/// [`ReplyError`] where no hour can be taken from it.
pub fn parse(body: &[u8]) -> Result<ServiceReply, ReplyError> {
    let reply: Reply = super::from_json(body)?;
    if reply.error {
        let reason = reply.reason.as_deref().unwrap_or("no reason given");
        return Err(ReplyError::Refused {
            reason: super::shown(reason),
        });
    }
    let Some(hourly) = reply.hourly else {
        return Err(ReplyError::Shape {
            what: "no \"hourly\"".into(),
        });
    };
    let mut bins = HourBins::default();
    let times = stamps(&hourly.time, reply.utc_offset_seconds, &mut bins)?;
    for (name, variable, stamp) in COLUMNS {
        let Some(values) = hourly.column(name) else {
            continue;
        };
        if values.len() != times.len() {
            return Err(ReplyError::Shape {
                what: format!(
                    "{} times but {} values of {name}",
                    times.len(),
                    values.len()
                ),
            });
        }
        let unit = reply.hourly_units.get(name).map_or("", String::as_str);
        let Some(unit) = conversion(variable.quantity(), unit) else {
            bins.unknown_unit(variable, unit);
            continue;
        };
        // The probability is 0 to 1 here and percent everywhere else.
        let share = if variable == Variable::RainProbability {
            0.01
        } else {
            1.0
        };
        let at: BTreeMap<i64, f64> = times
            .iter()
            .zip(values)
            .filter_map(|(hour, value)| Some(((*hour)?, unit.apply((*value)?) * share)))
            .collect();
        fill(&mut bins, &at, variable, stamp);
    }
    let (hours, notes) = bins.finish()?;
    let elevation_m = reply.elevation.filter(|metres| metres.is_finite());
    Ok(ServiceReply {
        hours,
        issued: None,
        elevation_m,
        notes,
    })
}

/// The stamps as hours since the epoch; `None` for one that is off the hour
/// or told twice.
fn stamps(
    times: &[Time],
    offset_s: i64,
    bins: &mut HourBins,
) -> Result<Vec<Option<i64>>, ReplyError> {
    // Unix time is UTC whatever the offset says; clock time is not.
    if offset_s != 0 && times.iter().any(|time| matches!(time, Time::Clock(_))) {
        return Err(ReplyError::LocalTimes { offset_s });
    }
    let mut last = i64::MIN;
    let hour_of = |time: &Time| {
        let hour = seconds_of(time)
            .filter(|seconds| seconds % HOUR_S == 0)
            .map(|seconds| seconds / HOUR_S)
            .filter(|hour| *hour > last);
        match hour {
            Some(hour) => last = hour,
            None => bins.bad_time(),
        }
        hour
    };
    Ok(times.iter().map(hour_of).collect())
}

fn seconds_of(time: &Time) -> Option<i64> {
    match time {
        Time::Unix(number) => whole_seconds(*number),
        Time::Clock(text) => {
            let time = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M").ok()?;
            Some(time.and_utc().timestamp())
        }
    }
}

/// A JSON number as whole seconds, within the calendar.
fn whole_seconds(number: f64) -> Option<i64> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "bounded and whole, checked here"
    )]
    (number.abs() < 3.0e11 && number.fract().abs() < f64::EPSILON).then_some(number as i64)
}

fn fill(bins: &mut HourBins, at: &BTreeMap<i64, f64>, variable: Variable, stamp: Stamp) {
    let last = at.keys().next_back().copied();
    for (&hour, &value) in at {
        match stamp {
            Stamp::HourBefore => bins.set(hour - 1, variable, value),
            Stamp::Instant => {
                let before = at.get(&(hour - 1)).copied().unwrap_or(value);
                bins.set(hour - 1, variable, f64::midpoint(before, value));
                // Before a gap the hour has only the reading at its start; after
                // the last reading the forecast is over.
                if !at.contains_key(&(hour + 1)) && Some(hour) != last {
                    bins.set(hour, variable, value);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::services::Note;

    /// Three stamps from 2026-06-01 04:00 UTC.
    const REPLY: &str = r#"{"utc_offset_seconds":0,"elevation":171.0,
        "hourly_units":{"time":"unixtime","temperature_2m":"°C","precipitation":"mm",
        "shortwave_radiation":"W/m²","wind_speed_10m":"km/h","precipitation_probability":"%"},
        "hourly":{"time":[1780286400,1780290000,1780293600],"temperature_2m":[14.0,16.0,null],
        "precipitation":[0.0,1.3,0.2],"shortwave_radiation":[10.0,null,90.0],
        "wind_speed_10m":[7.2,14.4,18.0],"precipitation_probability":[0,40,60]}}"#;

    fn value(reading: Option<crate::agronomy::weather_record::Reading>) -> Option<f64> {
        reading.map(|reading| (reading.value * 1e9).round() / 1e9)
    }

    #[test]
    fn rain_and_radiation_belong_to_the_hour_before_the_stamp() -> Result<(), ReplyError> {
        let reply = parse(REPLY.as_bytes())?;
        let hours: Vec<_> = reply
            .hours
            .iter()
            .map(|hour| {
                (
                    hour.start.timestamp(),
                    value(hour.rain_mm),
                    value(hour.solar_w_per_m2),
                )
            })
            .collect();
        assert_eq!(
            hours,
            [
                (1_780_282_800, Some(0.0), Some(10.0)),
                (1_780_286_400, Some(1.3), None),
                (1_780_290_000, Some(0.2), Some(90.0)),
            ]
        );
        Ok(())
    }

    #[test]
    fn instants_become_the_mean_of_the_two_ends_of_the_hour() -> Result<(), ReplyError> {
        let reply = parse(REPLY.as_bytes())?;
        let temperatures: Vec<_> = reply
            .hours
            .iter()
            .map(|hour| value(hour.air_temperature_c))
            .collect();
        // The last stamp is null: the last hour has only the reading at its start,
        // which is taken as the end of the forecast.
        assert_eq!(temperatures, [Some(14.0), Some(15.0), None]);
        // 7.2 and 14.4 km/h are 2 and 4 m/s.
        assert_eq!(value(reply.hours[1].wind_m_per_s), Some(3.0));
        assert_eq!(reply.hours[1].rain_probability, Some(0.4));
        Ok(())
    }

    #[test]
    fn local_clock_times_are_refused_and_clock_times_in_utc_are_read() {
        let clock = REPLY.replace(
            "[1780286400,1780290000,1780293600]",
            r#"["2026-06-01T04:00","2026-06-01T05:00","2026-06-01T06:00"]"#,
        );
        assert_eq!(parse(clock.as_bytes()), parse(REPLY.as_bytes()));
        let local = clock.replace("\"utc_offset_seconds\":0", "\"utc_offset_seconds\":7200");
        assert_eq!(
            parse(local.as_bytes()),
            Err(ReplyError::LocalTimes { offset_s: 7200 })
        );
    }

    #[test]
    fn columns_of_another_length_and_values_beyond_earth_do_not_enter() -> Result<(), ReplyError> {
        let short = REPLY.replace("[0.0,1.3,0.2]", "[0.0,1.3]");
        assert!(matches!(
            parse(short.as_bytes()),
            Err(ReplyError::Shape { .. })
        ));
        let absurd = parse(REPLY.replace("1.3", "1e300").as_bytes())?;
        assert_eq!(
            absurd.notes,
            [Note::Implausible {
                variable: Variable::Rain,
                count: 1
            }]
        );
        assert_eq!(absurd.hours[1].rain_mm, None);
        Ok(())
    }
}
