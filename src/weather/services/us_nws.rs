//! The US National Weather Service, api.weather.gov: gridded forecast of the
//! United States.
//!
//! Source of the format: its documentation. Two steps: a point gives the address
//! of its grid cell, the cell gives layers of `{interval, value}`. Rain is the
//! *total over its interval* and is split by time; everything else holds through
//! its interval. No radiation is given: the share of the sky without cloud stands
//! for sunshine (own model, marked as estimated).

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;

use super::hour_bins::{HOUR_S, HourBins};
use super::iso8601_interval::Interval;
use super::{
    Answer, Coordinates, MAX_HOURS, ReplyError, Request, ServiceReply, Step, Terms, WeatherService,
};
use crate::units::{Linear, WeatherQuantity, conversion};
use crate::weather::Variable;

/// The service, or a server of the same interface.
#[derive(Debug, Clone)]
pub struct UsNws {
    base_url: String,
}

impl UsNws {
    /// The public server.
    pub const PUBLIC: &str = "https://api.weather.gov";

    /// A server; for tests.
    #[must_use]
    pub fn at(base_url: &str) -> Self {
        Self {
            base_url: base_url.trim_end_matches('/').to_owned(),
        }
    }

    /// The address of the grid cell that a point lies in.
    ///
    /// # Errors
    /// [`ReplyError::OtherHost`] where the reply points away from this server.
    fn cell(&self, body: &[u8]) -> Result<Request, ReplyError> {
        let reply: PointReply = super::from_json(body)?;
        let Some(url) = reply
            .properties
            .and_then(|properties| properties.forecast_grid_data)
        else {
            let otherwise = "no \"forecastGridData\": outside the USA?";
            return Err(problem(reply.title, reply.detail, otherwise));
        };
        let inside = url
            .strip_prefix(&self.base_url)
            .is_some_and(|rest| rest.starts_with("/gridpoints/"));
        if !inside || url.len() > 200 || !url.bytes().all(|byte| byte.is_ascii_graphic()) {
            return Err(ReplyError::OtherHost {
                url: super::shown(&url),
            });
        }
        Ok(Request {
            url,
            accept: ACCEPT,
            step: Step::Forecast,
            keep: self.terms().shortest_interval,
        })
    }
}

/// Stale answers were seen without it.
const ACCEPT: &str = "application/geo+json";

/// Layers that hold through their interval.
const STEADY: [(&str, Variable, WeatherQuantity); 5] = [
    (
        "temperature",
        Variable::AirTemperature,
        WeatherQuantity::Temperature,
    ),
    (
        "relativeHumidity",
        Variable::RelativeHumidity,
        WeatherQuantity::Percent,
    ),
    ("windSpeed", Variable::Wind, WeatherQuantity::Speed),
    ("skyCover", Variable::Sunshine, WeatherQuantity::Percent),
    (
        "probabilityOfPrecipitation",
        Variable::RainProbability,
        WeatherQuantity::Percent,
    ),
];

impl WeatherService for UsNws {
    fn name(&self) -> &'static str {
        "us-nws"
    }

    fn credit(&self) -> &'static str {
        "weather data by the US National Weather Service (public domain)"
    }

    fn terms(&self) -> Terms {
        Terms {
            shortest_interval: TimeDelta::minutes(60),
            needs_contact: true,
            reach: TimeDelta::days(6),
            first_retry: TimeDelta::seconds(10),
        }
    }

    fn first_request(&self, place: &Coordinates) -> Request {
        Request {
            url: format!(
                "{}/points/{},{}",
                self.base_url,
                place.latitude(),
                place.longitude()
            ),
            accept: ACCEPT,
            step: Step::Locate,
            // Cells move only when an office redraws its grid; the old address then
            // answers 404 and the point is asked again.
            keep: TimeDelta::days(7),
        }
    }

    fn read(&self, asked: &Request, body: &[u8]) -> Result<Answer, ReplyError> {
        match asked.step {
            Step::Locate => self.cell(body).map(Answer::AskNext),
            Step::Forecast => parse(body).map(Answer::Hours),
        }
    }
}

/// An error of the service in its own words (RFC 9457 problem details).
fn problem(title: Option<String>, detail: Option<String>, otherwise: &str) -> ReplyError {
    if title.is_none() && detail.is_none() {
        return ReplyError::Shape {
            what: otherwise.to_owned(),
        };
    }
    let parts: Vec<_> = title.into_iter().chain(detail).collect();
    ReplyError::Refused {
        reason: super::shown(&parts.join(": ")),
    }
}

#[derive(Deserialize)]
struct PointReply {
    properties: Option<PointProperties>,
    title: Option<String>,
    detail: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct PointProperties {
    forecast_grid_data: Option<String>,
}

#[derive(Deserialize)]
struct GridReply {
    properties: Option<Grid>,
    title: Option<String>,
    detail: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Grid {
    update_time: Option<String>,
    elevation: Option<Elevation>,
    temperature: Option<Layer>,
    relative_humidity: Option<Layer>,
    wind_speed: Option<Layer>,
    sky_cover: Option<Layer>,
    probability_of_precipitation: Option<Layer>,
    quantitative_precipitation: Option<Layer>,
}

impl Grid {
    fn layer(&self, name: &str) -> Option<&Layer> {
        match name {
            "temperature" => self.temperature.as_ref(),
            "relativeHumidity" => self.relative_humidity.as_ref(),
            "windSpeed" => self.wind_speed.as_ref(),
            "skyCover" => self.sky_cover.as_ref(),
            "probabilityOfPrecipitation" => self.probability_of_precipitation.as_ref(),
            _ => None,
        }
    }
}

#[derive(Deserialize)]
struct Elevation {
    value: Option<f64>,
}

#[derive(Deserialize)]
struct Layer {
    uom: Option<String>,
    #[serde(default)]
    values: Vec<LayerValue>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct LayerValue {
    valid_time: String,
    value: Option<f64>,
}

/// Reads a grid cell.
///
/// # Errors
/// [`ReplyError`] where no hour can be taken from it.
pub fn parse(body: &[u8]) -> Result<ServiceReply, ReplyError> {
    let reply: GridReply = super::from_json(body)?;
    let Some(grid) = reply.properties else {
        return Err(problem(reply.title, reply.detail, "no \"properties\""));
    };
    let mut bins = HourBins::default();
    for (name, variable, quantity) in STEADY {
        let Some(layer) = grid.layer(name) else {
            continue;
        };
        if let Some(unit) = unit_of(layer, (variable, quantity), &mut bins) {
            steady(&mut bins, layer, (variable, unit));
        }
    }
    if let Some(layer) = &grid.quantitative_precipitation
        && let Some(unit) = unit_of(
            layer,
            (Variable::Rain, WeatherQuantity::RainDepth),
            &mut bins,
        )
    {
        totals(&mut bins, layer, unit);
    }
    let (hours, notes) = bins.finish()?;
    Ok(ServiceReply {
        hours,
        issued: grid
            .update_time
            .and_then(|text| DateTime::parse_from_rfc3339(&text).ok())
            .map(|time| time.with_timezone(&Utc)),
        elevation_m: grid.elevation.and_then(|elevation| elevation.value),
        notes,
    })
}

/// The way from the layer's unit; notes an unknown one. An empty layer may
/// have none and says nothing.
fn unit_of(layer: &Layer, of: (Variable, WeatherQuantity), bins: &mut HourBins) -> Option<Linear> {
    if layer.values.is_empty() {
        return None;
    }
    let unit = layer.uom.as_deref().unwrap_or("");
    let known = conversion(of.1, unit);
    if known.is_none() {
        bins.unknown_unit(of.0, unit);
    }
    known
}

/// The readable intervals of a layer that do not overlap the one before, with
/// their values (`None` is a null of the service).
fn intervals(layer: &Layer, bins: &mut HourBins) -> Vec<(Interval, f64)> {
    let mut last_end = DateTime::<Utc>::MIN_UTC;
    let mut hours_taken = 0;
    let mut out = Vec::new();
    for entry in &layer.values {
        let Ok(interval) = Interval::parse(&entry.valid_time) else {
            bins.bad_time();
            continue;
        };
        let Some(value) = entry.value else { continue };
        if interval.start < last_end {
            bins.bad_time();
            continue;
        }
        last_end = interval.end;
        hours_taken += interval.seconds() / HOUR_S + 1;
        out.push((interval, value));
        // Bounds the time that a reply of many long intervals can take.
        if hours_taken > 2 * MAX_HOURS as i64 {
            break;
        }
    }
    out
}

/// Values that hold through their interval; an hour in two takes the mean by time.
fn steady(bins: &mut HourBins, layer: &Layer, column: (Variable, Linear)) {
    let (variable, unit) = column;
    let mut sums: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (interval, value) in intervals(layer, bins) {
        let value = match variable {
            Variable::Sunshine => 1.0 - unit.apply(value) / 100.0,
            Variable::RainProbability => unit.apply(value) / 100.0,
            _ => unit.apply(value),
        };
        for (hour, seconds) in interval.hours() {
            let sum = sums.entry(hour).or_default();
            sum.0 += value * seconds_f64(seconds);
            sum.1 += seconds_f64(seconds);
        }
    }
    for (hour, (sum, seconds)) in sums {
        bins.set(hour, variable, sum / seconds);
    }
}

/// Totals over their interval, split by time.
fn totals(bins: &mut HourBins, layer: &Layer, unit: Linear) {
    let mut sums: BTreeMap<i64, f64> = BTreeMap::new();
    for (interval, total) in intervals(layer, bins) {
        let length = seconds_f64(interval.seconds());
        for (hour, seconds) in interval.hours() {
            *sums.entry(hour).or_default() += unit.apply(total) * seconds_f64(seconds) / length;
        }
    }
    for (hour, amount) in sums {
        bins.set(hour, Variable::Rain, amount);
    }
}

#[expect(clippy::cast_precision_loss, reason = "at most 31 days")]
fn seconds_f64(seconds: i64) -> f64 {
    seconds as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::services::Note;

    const CELL: &str = r#"{"properties":{"updateTime":"2026-06-01T05:40:00+00:00",
        "elevation":{"unitCode":"wmoUnit:m","value":264.9},
        "temperature":{"uom":"wmoUnit:degC","values":[
            {"validTime":"2026-06-01T06:00:00+00:00/PT2H","value":16.2},
            {"validTime":"2026-06-01T08:00:00+00:00/PT1H","value":null}]},
        "windSpeed":{"uom":"wmoUnit:km_h-1","values":[
            {"validTime":"2026-06-01T06:00:00+00:00/PT3H","value":18}]},
        "relativeHumidity":{"values":[]},
        "quantitativePrecipitation":{"uom":"wmoUnit:mm","values":[
            {"validTime":"2026-06-01T03:00:00+00:00/PT6H","value":4.2}]}}}"#;

    #[test]
    fn rain_is_split_over_its_interval_and_the_rest_holds_through_it() -> Result<(), ReplyError> {
        let reply = parse(CELL.as_bytes())?;
        assert_eq!(reply.hours.len(), 6);
        assert_eq!(reply.notes, []);
        for hour in &reply.hours {
            assert!((hour.rain_mm.unwrap().value - 0.7).abs() < 1e-9);
        }
        let temperatures: Vec<_> = reply
            .hours
            .iter()
            .map(|hour| hour.air_temperature_c.map(|t| t.value))
            .collect();
        assert_eq!(
            temperatures,
            [None, None, None, Some(16.2), Some(16.2), None]
        );
        assert!((reply.hours[5].wind_m_per_s.unwrap().value - 5.0).abs() < 1e-9);
        Ok(())
    }

    #[test]
    fn a_layer_without_unit_is_left_out_and_overlapping_rain_is_not_counted_twice()
    -> Result<(), ReplyError> {
        let odd = CELL.replace(r#""uom":"wmoUnit:km_h-1","#, "").replace(
            r#"{"validTime":"2026-06-01T03:00:00+00:00/PT6H","value":4.2}"#,
            r#"{"validTime":"2026-06-01T03:00:00+00:00/PT6H","value":4.2},
               {"validTime":"2026-06-01T04:00:00+00:00/PT6H","value":4.2},
               {"validTime":"yesterday","value":4.2}"#,
        );
        let reply = parse(odd.as_bytes())?;
        assert_eq!(
            reply.notes,
            [
                Note::UnknownUnit {
                    variable: Variable::Wind,
                    unit: String::new()
                },
                Note::BadTimes { count: 2 },
            ]
        );
        let total: f64 = reply
            .hours
            .iter()
            .filter_map(|hour| hour.rain_mm)
            .map(|r| r.value)
            .sum();
        assert!((total - 4.2).abs() < 1e-9);
        Ok(())
    }

    #[test]
    fn hours_in_two_intervals_take_the_mean_by_time() -> Result<(), ReplyError> {
        let text = r#"{"properties":{"temperature":{"uom":"wmoUnit:degC","values":[
            {"validTime":"2026-06-01T06:00:00+00:00/PT30M","value":10},
            {"validTime":"2026-06-01T06:30:00+00:00/PT30M","value":20}]}}}"#;
        let reply = parse(text.as_bytes())?;
        assert_eq!(reply.hours.len(), 1);
        assert!((reply.hours[0].air_temperature_c.unwrap().value - 15.0).abs() < 1e-9);
        Ok(())
    }
}
