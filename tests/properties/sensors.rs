//! No message and no order of times brings the sensors down, makes rain out
//! of nothing or fills the memory.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use soakmist::daemon::sensors::Sensors;
use soakmist::site::load;

const SITE: &str = include_str!("../data/every_key.toml");

fn sensors() -> Sensors {
    let rain = |name: &str, measures: &str, unit: &str| {
        format!(
            "[[sensor]]\nname = \"{name}\"\nmeasures = \"{measures}\"\ntopic = \"t\"\nunit = \"{unit}\"\n"
        )
    };
    let all = [
        rain("tips", "rain-tips", "0.2 mm"),
        rain("amount", "rain-amount", "mm"),
        rain("air", "air-temperature", "C"),
        rain("damp", "relative-humidity", "%").replace("unit", "pointer = \"/a/0\"\nunit"),
    ];
    let text = SITE.replacen("[[sensor]]", &(all.concat() + "[[sensor]]"), 1);
    match load(&text, "site.toml") {
        Ok(loaded) => Sensors::of(&loaded.site),
        Err(faults) => panic!("{faults}"),
    }
}

fn payload() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..40),
        any::<f64>().prop_map(|number| number.to_string().into_bytes()),
        (-10.0..300.0_f64).prop_map(|number| format!("{number:.1}").into_bytes()),
        any::<f64>().prop_map(|number| format!("{{\"a\":[{number:e}]}}").into_bytes()),
    ]
}

proptest! {
    #[test]
    fn anything_at_any_time_is_borne(
        messages in prop::collection::vec((payload(), any::<bool>(), -200_000..400_000_i64), 0..80)
    ) {
        let mut sensors = sensors();
        let mut now: DateTime<Utc> = DateTime::UNIX_EPOCH + TimeDelta::days(19_000);
        for (payload, retained, step_s) in messages {
            now += TimeDelta::seconds(step_s);
            sensors.take("t", &payload, retained, now);
            sensors.look(now);
            let hours = sensors.hours(now);
            // Three days, and the hour at each end.
            prop_assert!(hours.len() <= 74, "{}", hours.len());
            for hour in hours.iter().map(|hour| &hour.hour) {
                prop_assert!(hour.start + TimeDelta::hours(1) <= now);
                if let Some(rain) = hour.rain_mm {
                    prop_assert!((0.0..=200.0).contains(&rain.value));
                }
                if let Some(air) = hour.air_temperature_c {
                    prop_assert!((-50.0..=60.0).contains(&air.value));
                }
            }
            prop_assert!(sensors.problems(now).len() <= 6);
        }
    }
}
