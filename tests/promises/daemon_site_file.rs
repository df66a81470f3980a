//! What a site file says of the daemon and of sensors reaches the model, and
//! what cannot work is told where it stands.

use soakmist::site::{Code, Diagnostic, Listen, Loaded, Measures, Severity, USUAL_ADDRESS, load};

const EVERY_KEY: &str = include_str!("../data/every_key.toml");

/// A small site with sensors; tests put faults into it.
const SMALL: &str = r#"name = "Back garden"
place = { latitude = 36.1, longitude = -79.9, elevation = "270 m", time-zone = "America/New_York" }
[supply]
flow = "20 L/min"
[mqtt]
host = "localhost"
[daemon]
listen = "127.0.0.1:9000"
[[sensor]]
name = "air"
measures = "air-temperature"
topic = "station"
pointer = "/temp"
unit = "F"
every = "60 s"
lowest = "0 F"
[[sensor]]
name = "bucket"
measures = "rain-tips"
topic = "station"
pointer = "/tips"
unit = "0.01 in"
[[sensor]]
name = "probe"
measures = "soil-moisture"
topic = "probe"
unit = "%"
zone = "lawn"
[[zone]]
name = "lawn"
area = "70 m2"
soil = "clay loam"
sprinkler = { flow = "18 L/min" }
seeding = { at = "2023-08-25 17:30", mix = "tall-fescue" }
"#;

fn loaded(text: &str) -> Loaded {
    match load(text, "site.toml") {
        Ok(loaded) => loaded,
        Err(faults) => panic!("{faults}"),
    }
}

fn found(part: &str, by: &str) -> Vec<Diagnostic> {
    assert!(SMALL.contains(part), "{part}");
    match load(&SMALL.replacen(part, by, 1), "site.toml") {
        Ok(loaded) => loaded.warnings,
        Err(faults) => faults.items,
    }
}

fn assert_found(part: &str, by: &str, expected: (Severity, Code, usize)) {
    let all = found(part, by);
    let told: Vec<_> = all
        .iter()
        .map(|item| (item.severity, item.code, item.line))
        .collect();
    assert_eq!(told, [expected], "{part} → {by}\n{all:#?}");
    assert!(all[0].help.is_some(), "{}", all[0].message);
}

fn assert_error(part: &str, by: &str, (code, line): (Code, usize)) {
    assert_found(part, by, (Severity::Error, code, line));
}

fn assert_near(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} is not {expected}");
}

#[test]
fn every_key_of_daemon_and_sensors_reaches_the_model() {
    let site = loaded(EVERY_KEY).site;
    assert_eq!(
        site.daemon.listen,
        Listen::At("[::1]:8733".parse().unwrap())
    );
    assert_eq!(site.daemon.token_file.as_deref(), Some("daemon-token"));
    let [wind, probe] = site.sensors.as_slice() else {
        panic!("{:?}", site.sensors);
    };
    assert_eq!(wind.topic, "harrowmere/station");
    assert_eq!(wind.pointer.as_deref(), Some("/wind"));
    assert!(
        matches!(wind.measures, Measures::Wind { height_m } if (height_m - 7.0 * 0.3048).abs() < 1e-9)
    );
    assert_near(wind.scale.apply(10.0), 4.4704);
    assert_near(wind.bounds.1, 44.704);
    assert!(
        matches!(probe.measures, Measures::SoilMoisture { zone: 1, weight } if (weight - 0.3).abs() < 1e-9)
    );
    assert_near(probe.scale.apply(0.25), 25.0);
}

#[test]
fn what_is_not_said_is_filled_in() {
    let read = loaded(SMALL);
    assert_eq!(read.warnings, []);
    let sensors = &read.site.sensors;
    assert_near(sensors[0].scale.apply(212.0), 100.0);
    assert_near(sensors[0].bounds.0, -160.0 / 9.0);
    assert_near(sensors[0].bounds.1, 60.0);
    // A tip of a hundredth of an inch.
    assert_eq!(sensors[1].measures, Measures::RainTotal);
    assert_near(sensors[1].scale.apply(100.0), 25.4);
    assert_eq!(sensors[1].every.num_minutes(), 10);
    assert!(matches!(
        sensors[2].measures,
        Measures::SoilMoisture { zone: 0, .. }
    ));
    let without = SMALL.replace("[daemon]\nlisten = \"127.0.0.1:9000\"\n", "");
    let daemon = loaded(&without).site.daemon;
    assert_eq!(daemon.listen.address(), Some(USUAL_ADDRESS));
    let nowhere = loaded(&SMALL.replace("127.0.0.1:9000", "none")).site.daemon;
    assert_eq!(nowhere.listen.address(), None);
}

#[test]
fn an_address_that_others_reach_needs_a_token_and_is_doubted() {
    let open = found("127.0.0.1:9000", "0.0.0.0:9000");
    let told: Vec<&str> = open.iter().map(|item| item.message.as_str()).collect();
    assert!(told[0].contains("without a token"), "{told:?}");
    assert!(told[1].contains("readable by everyone"), "{told:?}");
    let line = (Severity::Warning, Code::Unusual, 8);
    let with_token = "0.0.0.0:9000\"\ntoken-file = \"token";
    assert_found("127.0.0.1:9000", with_token, line);
    for wrong in [
        "8732",
        "localhost:8732",
        "127.0.0.1",
        "127.0.0.1:0",
        "127.0.0.1:99999",
    ] {
        assert_error("127.0.0.1:9000", wrong, (Code::OutOfRange, 8));
    }
}

#[test]
fn wrong_units_and_bounds_of_sensors_are_told_where_they_stand() {
    assert_error("\"F\"", "\"furlong\"", (Code::BadQuantity, 14));
    assert_error("\"F\"", "\"3 F\"", (Code::BadQuantity, 14));
    assert_error("\"0.01 in\"", "\"in\"", (Code::BadQuantity, 22));
    assert_error("\"0.01 in\"", "\"0 in\"", (Code::BadQuantity, 22));
    assert_error("\"0.01 in\"", "\"3 in\"", (Code::BadQuantity, 22));
    assert_error("\"0 F\"", "\"cold\"", (Code::BadQuantity, 16));
    assert_error("\"0 F\"", "\"F\"", (Code::BadQuantity, 16));
    assert_error("\"0 F\"", "\"200 F\"", (Code::Contradiction, 16));
    assert_error("\"60 s\"", "\"0.1 s\"", (Code::OutOfRange, 15));
    assert_error("air-temperature", "air-temperatur", (Code::UnknownWord, 11));
}

#[test]
fn a_sensor_names_its_zone_or_its_height_where_it_must() {
    assert_error("zone = \"lawn\"\n", "", (Code::MissingKey, 23));
    assert_error("\"lawn\"", "\"lawm\"", (Code::UnknownZone, 28));
    let wind = "measures = \"wind\"\ntopic = \"station\"\npointer = \"/temp\"\nunit = \"mph\"";
    let air =
        "measures = \"air-temperature\"\ntopic = \"station\"\npointer = \"/temp\"\nunit = \"F\"";
    let text = SMALL.replace(air, wind).replace("lowest = \"0 F\"\n", "");
    let faults = load(&text, "site.toml").unwrap_err().items;
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(faults[0].message.contains("height"));
    let warning = (Severity::Warning, Code::NoEffect, 17);
    assert_found(
        "lowest = \"0 F\"",
        "lowest = \"0 F\"\nheight = \"2 m\"",
        warning,
    );
}

#[test]
fn names_are_given_once_and_topics_are_exact() {
    assert_error("\"bucket\"", "\"air\"", (Code::Duplicate, 18));
    assert_error(
        "topic = \"probe\"",
        "topic = \"probe/#\"",
        (Code::OutOfRange, 26),
    );
    assert_error("\"/tips\"", "\"tips\"", (Code::OutOfRange, 21));
}

#[test]
fn sensors_without_a_broker_are_an_error() {
    let faults = found("[mqtt]\nhost = \"localhost\"\n", "");
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert_eq!(faults[0].code, Code::MissingKey);
    assert!(faults[0].help.as_ref().unwrap().contains("[mqtt]"));
}
