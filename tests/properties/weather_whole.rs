//! Whatever is missing from a series, a plan gets hours without a gap over the
//! span it asks for as far as anything stands in, or a plain refusal.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use soakmist::agronomy::weather_record::{GeoPosition, Provenance, RawHour, Reading};
use soakmist::weather::series::{MergeRules, Source, SourceKind, merge};
use soakmist::weather::whole::{LONGEST_STAND_IN, whole};

const PLACE: GeoPosition = GeoPosition {
    latitude_deg: 51.25,
    longitude_deg: 9.5,
    elevation_m: 171.0,
    coast: false,
};
/// Hours that are merged.
const MERGED_H: i64 = 24 * 30;

fn at(hour: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_780_012_800 + hour * 3600, 0).expect("in this century")
}

/// Hours of which some are missing and some lack their temperature.
fn hours(spans: &[(i64, i64, bool)]) -> Vec<RawHour> {
    let forecast = |value| {
        Some(Reading {
            value,
            provenance: Provenance::Forecast,
        })
    };
    (0..MERGED_H)
        .filter_map(|hour| {
            let covering =
                |&&(from, length, _): &&(i64, i64, bool)| (from..from + length).contains(&hour);
            let temperature = match spans.iter().find(covering) {
                Some((_, _, true)) => return None,
                Some(_) => None,
                None => forecast(15.0 + f64::from(u8::try_from(hour % 24).unwrap_or(0)) / 3.0),
            };
            Some(RawHour {
                air_temperature_c: temperature,
                rain_mm: forecast(0.3),
                ..RawHour::empty(at(hour), 10.0)
            })
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn hours_follow_each_other_over_the_span_of_the_plan(
        spans in prop::collection::vec((0..MERGED_H, 1..300_i64, any::<bool>()), 0..6),
        from in 0..MERGED_H,
        length in 1..24 * 10_i64,
    ) {
        let source = Source {
            name: "service".to_owned(),
            kind: SourceKind::Service,
            received: None,
            hours: hours(&spans),
            earlier: Vec::new(),
        };
        let rules = MergeRules {
            from: at(0),
            to: at(MERGED_H),
            now: at(from),
            oldest_forecast: MergeRules::OLDEST_FORECAST,
        };
        let series = merge(&[source], &[], &PLACE, &rules);
        let Ok(whole) = whole(&series, &PLACE, (at(from), at(from + length))) else {
            return Ok(());
        };
        let hours = &whole.completed.hours;
        let hour = TimeDelta::hours(1);
        for pair in hours.windows(2) {
            prop_assert_eq!(pair[1].start - pair[0].start, hour);
        }
        let last = hours.last().map(|last| last.start + hour);
        let reach = at(from + length).min(whole.known_to + LONGEST_STAND_IN);
        prop_assert!(last.is_some_and(|last| last >= reach));
        // What stands in is told, and counts on no rain.
        let stands_in = hours.iter().filter(|hour| hour.start >= whole.known_to);
        prop_assert!(stands_in.clone().all(|hour| hour.rain_mm < 1e-12));
        prop_assert!(stands_in.count() == 0 || !whole.alarms.is_empty());
    }
}
