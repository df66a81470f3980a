//! Tests of the reader beside them.

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
