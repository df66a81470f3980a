//! Tests of the reader beside them.

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
