//! No bytes as a weather file make anything panic, and what is read can be
//! judged and completed into finite hours.

use proptest::prelude::*;
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::reference_et::{EtMethod, hourly_et0_mm};
use soakmist::agronomy::weather_record::GeoPosition;
use soakmist::weather::csv::{CsvOptions, parse};
use soakmist::weather::quality::screen;

/// Reads, judges and completes; every hour that comes out must be finite.
fn read(bytes: &[u8], place: &GeoPosition) {
    for time_zone in [None, Some(chrono_tz::Europe::London)] {
        let options = CsvOptions {
            time_zone,
            ..CsvOptions::default()
        };
        match parse(bytes, &options) {
            Err(error) => assert!(!error.to_string().is_empty()),
            Ok(mut contents) => {
                for finding in screen(&mut contents.hours, place) {
                    assert!(!finding.to_string().is_empty());
                }
                let Ok(completed) = complete(&contents.hours, place) else {
                    continue;
                };
                for hour in completed.hours {
                    let et0 = hourly_et0_mm(&hour.et_hour(), EtMethod::Fao56);
                    assert!(et0.is_finite() && et0.abs() < 20.0, "{et0} in {hour:?}");
                }
            }
        }
    }
}

fn place() -> impl Strategy<Value = GeoPosition> {
    (-90.0..=90.0_f64, -180.0..=180.0_f64, -450.0..=6000.0_f64).prop_map(
        |(latitude_deg, longitude_deg, elevation_m)| GeoPosition {
            latitude_deg,
            longitude_deg,
            elevation_m,
            coast: false,
        },
    )
}

/// Fields that look like those of a weather file, sound and unsound.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        Just("NaN".to_owned()),
        Just("-inf".to_owned()),
        Just("\"".to_owned()),
        (-1e4..1e4_f64).prop_map(|value| value.to_string()),
        (0.0..100.0_f64).prop_map(|value| format!("{value:.1}")),
        any::<f64>().prop_map(|value| value.to_string()),
        "[\\PC]{0,8}",
    ]
}

fn stamp() -> impl Strategy<Value = String> {
    prop_oneof![
        (0..400_i64, 0..24_i64).prop_map(|(day, hour)| {
            let time = chrono::DateTime::UNIX_EPOCH
                + chrono::TimeDelta::days(19_700 + day)
                + chrono::TimeDelta::hours(hour);
            time.format("%Y-%m-%dT%H:%M:%SZ").to_string()
        }),
        "[0-9]{4}-[01][0-9]-[0-3][0-9][T ][0-2][0-9]:[0-5]0(:00)?(Z|[+-][0-9]{2}:?[0-9]{2})?",
    ]
}

proptest! {
    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..2000), place in place()) {
        read(&bytes, &place);
    }

    #[test]
    fn rows_of_random_fields_never_panic(
        rows in prop::collection::vec((stamp(), prop::collection::vec(field(), 5)), 0..60),
        place in place(),
    ) {
        let mut text =
            String::from("time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2,sunshine_h\n");
        for (stamp, fields) in &rows {
            text.push_str(&format!("{stamp},{}\n", fields.join(",")));
        }
        read(text.as_bytes(), &place);
    }

    #[test]
    fn any_hours_without_a_gap_in_temperature_are_completed(
        hours in prop::collection::vec(
            (-70.0..70.0_f64, prop::option::of(-20.0..140.0_f64), prop::option::of(-5.0..80.0_f64),
             prop::option::of(-50.0..2000.0_f64), prop::option::of(-0.5..1.5_f64)),
            30..80,
        ),
        place in place(),
    ) {
        let mut text =
            String::from("time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2,sunshine_h\n");
        let show = |value: Option<f64>| value.map_or_else(String::new, |it| it.to_string());
        for (hour, row) in hours.iter().enumerate() {
            let (day, end) = (1 + hour / 24, hour % 24);
            text.push_str(&format!(
                "2024-03-{day:02}T{end:02}:00Z,{},{},{},{},{}\n",
                row.0, show(row.1), show(row.2), show(row.3), show(row.4),
            ));
        }
        read(text.as_bytes(), &place);
    }
}
