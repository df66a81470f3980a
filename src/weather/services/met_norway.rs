//! MET Norway, Locationforecast 2.0: a forecast for any place on Earth, best in
//! the north of Europe.
//!
//! Source of the format: its documentation. Temperature, humidity, wind and cloud
//! are of the instant of an entry; rain is of the *following* one or six hours.
//! Entries are an hour apart at first and six hours later on: instants are
//! interpolated in a straight line, six-hour rain is spread evenly over the hours
//! that have no rain of their own. There is no radiation: the share of the sky
//! without cloud stands for sunshine (own model, marked as estimated).

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;

use super::hour_bins::{HOUR_S, HourBins};
use super::{Answer, Coordinates, ReplyError, Request, ServiceReply, Step, Terms, WeatherService};
use crate::units::{Linear, conversion};
use crate::weather::Variable;

/// The service, or a server of the same interface.
#[derive(Debug, Clone)]
pub struct MetNorway {
    base_url: String,
}

impl MetNorway {
    /// The public server.
    pub const PUBLIC: &str = "https://api.met.no";

    /// A server; for self-hosting and tests.
    #[must_use]
    pub fn at(base_url: &str) -> Self {
        Self {
            base_url: base_url.trim_end_matches('/').to_owned(),
        }
    }
}

/// Longest step between two entries that is interpolated [h].
const LONGEST_STEP_H: i64 = 6;

const INSTANTS: [(&str, Variable); 4] = [
    ("air_temperature", Variable::AirTemperature),
    ("relative_humidity", Variable::RelativeHumidity),
    ("wind_speed", Variable::Wind),
    ("cloud_area_fraction", Variable::Sunshine),
];

impl WeatherService for MetNorway {
    fn name(&self) -> &'static str {
        "met-norway"
    }

    fn credit(&self) -> &'static str {
        "weather data from MET Norway (CC BY 4.0)"
    }

    fn terms(&self) -> Terms {
        Terms {
            shortest_interval: TimeDelta::minutes(30),
            needs_contact: true,
            reach: TimeDelta::days(8),
            first_retry: TimeDelta::seconds(60),
        }
    }

    fn first_request(&self, place: &Coordinates) -> Request {
        let url = format!(
            "{}/weatherapi/locationforecast/2.0/complete?lat={}&lon={}&altitude={}",
            self.base_url,
            place.latitude(),
            place.longitude(),
            place.elevation(),
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
    geometry: Option<Geometry>,
    properties: Option<Properties>,
}

#[derive(Deserialize)]
struct Geometry {
    #[serde(default)]
    coordinates: Vec<f64>,
}

#[derive(Deserialize)]
struct Properties {
    meta: Meta,
    #[serde(default)]
    timeseries: Vec<Entry>,
}

#[derive(Deserialize)]
struct Meta {
    updated_at: Option<String>,
    #[serde(default)]
    units: BTreeMap<String, String>,
}

#[derive(Deserialize)]
struct Entry {
    time: String,
    data: Data,
}

#[derive(Deserialize)]
struct Data {
    instant: Option<Details>,
    next_1_hours: Option<Details>,
    next_6_hours: Option<Details>,
}

#[derive(Deserialize)]
struct Details {
    #[serde(default)]
    details: BTreeMap<String, Option<f64>>,
}

/// An entry with its time as hours since the epoch.
type Timed<'a> = (i64, &'a Data);

/// Reads a reply.
///
/// # Errors
/// [`ReplyError`] where no hour can be taken from it.
pub fn parse(body: &[u8]) -> Result<ServiceReply, ReplyError> {
    let reply: Reply = super::from_json(body)?;
    let Some(properties) = reply.properties else {
        return Err(ReplyError::Shape {
            what: "no \"properties\"".into(),
        });
    };
    let mut bins = HourBins::default();
    let entries = in_order(&properties.timeseries, &mut bins);
    let units = &properties.meta.units;
    for (name, variable) in INSTANTS {
        let quantity = match variable {
            // Cloud cover is a percentage, from which sunshine is made.
            Variable::Sunshine => Variable::RelativeHumidity.quantity(),
            other => other.quantity(),
        };
        let unit = units.get(name).map_or("", String::as_str);
        match conversion(quantity, unit) {
            Some(unit) => instants(&mut bins, &entries, (name, variable, unit)),
            None if entries
                .iter()
                .any(|(_, data)| instant(data, name).is_some()) =>
            {
                bins.unknown_unit(variable, unit);
            }
            None => {}
        }
    }
    rain(&mut bins, &entries, units);
    probability(&mut bins, &entries, units);
    let (hours, notes) = bins.finish()?;
    let elevation_m = reply
        .geometry
        .and_then(|geometry| geometry.coordinates.get(2).copied());
    Ok(ServiceReply {
        hours,
        issued: properties.meta.updated_at.as_deref().and_then(utc),
        elevation_m,
        notes,
    })
}

fn utc(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text)
        .ok()
        .map(|time| time.with_timezone(&Utc))
}

/// The entries that stand on the hour and after the one before.
fn in_order<'a>(entries: &'a [Entry], bins: &mut HourBins) -> Vec<Timed<'a>> {
    let mut last = i64::MIN;
    let mut timed = Vec::new();
    for entry in entries.iter().take(super::MAX_HOURS) {
        let hour = utc(&entry.time)
            .map(|time| time.timestamp())
            .filter(|seconds| seconds % HOUR_S == 0)
            .map(|seconds| seconds / HOUR_S)
            .filter(|hour| *hour > last);
        match hour {
            Some(hour) => {
                last = hour;
                timed.push((hour, &entry.data));
            }
            None => bins.bad_time(),
        }
    }
    timed
}

fn instant(data: &Data, name: &str) -> Option<f64> {
    data.instant.as_ref()?.details.get(name).copied().flatten()
}

fn instants(bins: &mut HourBins, entries: &[Timed], column: (&str, Variable, Linear)) {
    let (name, variable, unit) = column;
    let value = |data: &Data| {
        let value = unit.apply(instant(data, name)?);
        Some(if variable == Variable::Sunshine {
            1.0 - value / 100.0
        } else {
            value
        })
    };
    for pair in entries.windows(2) {
        let [(from, first), (to, second)] = pair else {
            continue;
        };
        let step_h = to - from;
        let (a, b) = match (value(first), value(second)) {
            (Some(a), Some(b)) => (a, b),
            // Within one hour one end will do; across six it would not.
            (Some(one), None) | (None, Some(one)) if step_h == 1 => (one, one),
            _ => continue,
        };
        if step_h > LONGEST_STEP_H {
            continue;
        }
        for (index, hour) in (*from..*to).enumerate() {
            #[expect(clippy::cast_precision_loss, reason = "at most six")]
            let share = (index as f64 + 0.5) / step_h as f64;
            bins.set(hour, variable, a + (b - a) * share);
        }
    }
}

fn period(details: Option<&Details>, name: &str) -> Option<f64> {
    details?.details.get(name).copied().flatten()
}

fn rain(bins: &mut HourBins, entries: &[Timed], units: &BTreeMap<String, String>) {
    const NAME: &str = "precipitation_amount";
    let unit = units.get(NAME).map_or("", String::as_str);
    let Some(unit) = conversion(Variable::Rain.quantity(), unit) else {
        let given = |details: &Option<Details>| period(details.as_ref(), NAME).is_some();
        if entries
            .iter()
            .any(|(_, data)| given(&data.next_1_hours) || given(&data.next_6_hours))
        {
            bins.unknown_unit(Variable::Rain, unit);
        }
        return;
    };
    let mut own: BTreeMap<i64, f64> = BTreeMap::new();
    for (hour, data) in entries {
        if let Some(amount) = period(data.next_1_hours.as_ref(), NAME) {
            own.insert(*hour, unit.apply(amount));
        }
    }
    for (hour, data) in entries {
        let Some(amount) = period(data.next_6_hours.as_ref(), NAME) else {
            continue;
        };
        let span = *hour..hour + 6;
        let known: f64 = own.range(span.clone()).map(|(_, mm)| mm).sum();
        let open: Vec<i64> = span.filter(|hour| !own.contains_key(hour)).collect();
        if open.is_empty() {
            continue;
        }
        #[expect(clippy::cast_precision_loss, reason = "at most six")]
        let each = (unit.apply(amount) - known).max(0.0) / open.len() as f64;
        own.extend(open.into_iter().map(|hour| (hour, each)));
    }
    for (hour, amount) in own {
        bins.set(hour, Variable::Rain, amount);
    }
}

/// The probability of a six-hour period stands for each of its hours.
fn probability(bins: &mut HourBins, entries: &[Timed], units: &BTreeMap<String, String>) {
    const NAME: &str = "probability_of_precipitation";
    let unit = units.get(NAME).map_or("", String::as_str);
    let Some(unit) = conversion(Variable::RainProbability.quantity(), unit) else {
        return;
    };
    let mut own: BTreeMap<i64, f64> = BTreeMap::new();
    for (hour, data) in entries {
        if let Some(percent) = period(data.next_1_hours.as_ref(), NAME) {
            own.insert(*hour, percent);
        }
    }
    for (hour, data) in entries {
        let Some(percent) = period(data.next_6_hours.as_ref(), NAME) else {
            continue;
        };
        for hour in *hour..hour + 6 {
            own.entry(hour).or_insert(percent);
        }
    }
    for (hour, percent) in own {
        bins.set(hour, Variable::RainProbability, unit.apply(percent) / 100.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(time: &str, temperature: &str, periods: &str) -> String {
        format!(
            r#"{{"time":"{time}","data":{{"instant":{{"details":{{"air_temperature":{temperature},
            "cloud_area_fraction":25.0}}}}{periods}}}}}"#
        )
    }

    fn reply(entries: &[String]) -> Result<ServiceReply, ReplyError> {
        let text = format!(
            r#"{{"geometry":{{"coordinates":[9.5,51.25,171]}},"properties":{{"meta":{{
            "updated_at":"2026-06-01T03:10:00Z","units":{{"air_temperature":"celsius",
            "cloud_area_fraction":"%","precipitation_amount":"mm",
            "probability_of_precipitation":"%"}}}},"timeseries":[{}]}}}}"#,
            entries.join(",")
        );
        parse(text.as_bytes())
    }

    fn period(hours: u8, amount: f64) -> String {
        format!(
            r#","next_{hours}_hours":{{"details":{{"precipitation_amount":{amount},
            "probability_of_precipitation":30.0}}}}"#
        )
    }

    fn rain_of(reply: &ServiceReply) -> Vec<Option<f64>> {
        reply
            .hours
            .iter()
            .map(|hour| hour.rain_mm.map(|rain| (rain.value * 1e6).round() / 1e6))
            .collect()
    }

    #[test]
    fn rain_belongs_to_the_hours_after_the_stamp_and_is_counted_once() -> Result<(), ReplyError> {
        // The hour from 04:00 has 0.6 mm of its own; six hours from 05:00 have 3.0 mm.
        let reply = reply(&[
            entry(
                "2026-06-01T04:00:00Z",
                "12.0",
                &format!("{}{}", period(1, 0.6), period(6, 3.1)),
            ),
            entry("2026-06-01T05:00:00Z", "14.0", &period(6, 3.0)),
            entry("2026-06-01T11:00:00Z", "20.0", ""),
        ])?;
        assert_eq!(reply.hours[0].start, utc("2026-06-01T04:00:00Z").unwrap());
        // From 04:00 six hours have 3.1: 2.5 over the five hours without their own.
        assert_eq!(
            rain_of(&reply),
            [
                Some(0.6),
                Some(0.5),
                Some(0.5),
                Some(0.5),
                Some(0.5),
                Some(0.5),
                Some(0.5)
            ]
        );
        assert_eq!(reply.hours[3].rain_probability, Some(0.3));
        Ok(())
    }

    #[test]
    fn instants_between_entries_lie_on_a_straight_line() -> Result<(), ReplyError> {
        let reply = reply(&[
            entry("2026-06-01T05:00:00Z", "14.0", &period(6, 3.0)),
            entry("2026-06-01T11:00:00Z", "20.0", ""),
        ])?;
        let temperatures: Vec<_> = reply
            .hours
            .iter()
            .map(|hour| hour.air_temperature_c.map(|t| (t.value * 10.0).round()))
            .collect();
        assert_eq!(
            temperatures,
            [145.0, 155.0, 165.0, 175.0, 185.0, 195.0].map(Some)
        );
        // Cloud of 25 % leaves three quarters of an hour of sunshine, as an estimate.
        let sunshine = reply.hours[0].sunshine_h.unwrap();
        assert!((sunshine.value - 0.75).abs() < 1e-9);
        assert_eq!(
            sunshine.provenance,
            crate::agronomy::weather_record::Provenance::Estimated
        );
        Ok(())
    }

    #[test]
    fn a_gap_longer_than_six_hours_stays_a_gap_and_null_is_missing() -> Result<(), ReplyError> {
        let reply = reply(&[
            entry("2026-06-01T04:00:00Z", "null", &period(1, 0.0)),
            entry("2026-06-01T05:00:00Z", "14.0", ""),
            entry("2026-06-02T05:00:00Z", "20.0", ""),
        ])?;
        assert_eq!(reply.hours.len(), 1);
        assert_eq!(
            reply.hours[0].air_temperature_c.map(|t| t.value),
            Some(14.0)
        );
        Ok(())
    }
}
