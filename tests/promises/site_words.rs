//! What `check` proposes is what was meant: time zones by the place, letters
//! kept, units of the reader.

#![allow(clippy::disallowed_methods, reason = "a test writes its site files")]

use serde_json::Value;

use super::command::{json, soakmist};

const MELBOURNE: (f64, f64) = (-37.8, 144.9);
const OXFORD: (f64, f64) = (51.7, -1.2);
const GREENSBORO: (f64, f64) = (36.1, -79.9);

/// A site file in which some words are others.
fn site((latitude, longitude): (f64, f64), zone: &str, changes: &[(&str, &str)]) -> String {
    let mut text = format!(
        r#"name = "Harrowmere lower ground"
units = "si"
[place]
latitude = {latitude}
longitude = {longitude}
elevation = "30 m"
time-zone = "{zone}"
[supply]
flow = "18 L/min"
[weather]
services = ["open-meteo"]
[[zone]]
name = "front"
area = "120 m2"
soil = "loam"
sprinkler = {{ flow = "15 L/min" }}
seeding = {{ at = "2099-04-17 10:00", mix = "perennial-ryegrass" }}
"#
    );
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    text
}

/// The diagnostics of a file: code, line, message and help.
fn found(text: &str) -> Vec<(String, u64, String)> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("site.toml");
    std::fs::write(&path, text).unwrap();
    let said = soakmist(&["check", path.to_str().unwrap(), "--format", "json"]);
    let page: Value = serde_json::from_str(&said.out).unwrap();
    let items = page["diagnostics"].as_array().unwrap().iter();
    let text = |item: &Value, key: &str| item[key].as_str().unwrap_or_default().to_owned();
    items
        .map(|item| {
            let told = format!("{}: {}", text(item, "message"), text(item, "help"));
            (text(item, "code"), item["line"].as_u64().unwrap(), told)
        })
        .collect()
}

fn told(text: &str) -> String {
    let all: Vec<String> = found(text).into_iter().map(|(_, _, told)| told).collect();
    all.join("\n")
}

#[test]
fn a_time_zone_that_is_none_is_told_by_the_place() {
    for (zone, place, meant) in [
        ("AEST", MELBOURNE, "Australia/Melbourne"),
        ("UTC+11", MELBOURNE, "Australia/Melbourne"),
        ("GMT+1", OXFORD, "Europe/London"),
        ("BST", OXFORD, "Europe/London"),
        ("EDT", GREENSBORO, "America/New_York"),
        ("melbourne", MELBOURNE, "Australia/Melbourne"),
        ("Australia/Sidney", MELBOURNE, "Australia/Sydney"),
    ] {
        let told = told(&site(place, zone, &[]));
        assert!(
            told.contains(&format!("did you mean \"{meant}\"?")),
            "{told}"
        );
    }
    // Nowhere near: the place is told and nothing an hour off.
    let told = told(&site(OXFORD, "UTC+11", &[]));
    assert!(
        told.contains("\"Europe/London\" is near this place, but its clocks never show UTC+11"),
        "{told}"
    );
}

#[test]
fn a_fixed_offset_where_clocks_change_is_doubted_at_its_line() {
    let [(code, line, told)] = &found(&site(GREENSBORO, "EST", &[]))[..] else {
        panic!("one doubt")
    };
    assert_eq!((code.as_str(), *line), ("unusual", 7));
    assert!(told.contains("keeps no summer time"), "{told}");
    assert!(told.contains("is \"America/New_York\" meant?"), "{told}");
    // Arizona keeps none either.
    assert_eq!(found(&site((33.4, -112.1), "MST", &[])), []);
}

#[test]
fn a_wrong_zone_does_not_put_the_blame_on_a_right_latitude() {
    let told = told(&site(MELBOURNE, "Europe/London", &[]));
    assert!(
        told.contains("is the time zone \"Australia/Melbourne\" meant"),
        "{told}"
    );
    assert!(!told.contains("latitude"), "{told}");
    let one_sign = self::told(&site((37.8, 144.9), "Australia/Melbourne", &[]));
    assert!(one_sign.contains("is -37.8 meant?"), "{one_sign}");
}

#[test]
fn names_keep_their_letters_and_words_of_people_are_known() {
    for (name, plain) in [
        ("rasen-über", "rasen-ueber"),
        ("Fußballplatz Süd", "fussballplatz-sued"),
        ("pelouse_été", "pelouse-ete"),
    ] {
        let told = told(&site(
            OXFORD,
            "Europe/London",
            &[("\"front\"", &format!("\"{name}\""))],
        ));
        assert!(told.contains(&format!("\"{plain}\"")), "{told}");
    }
    for (word, meant) in [
        ("rye grass", "perennial-ryegrass"),
        ("kbg", "kentucky-bluegrass"),
    ] {
        let told = told(&site(
            OXFORD,
            "Europe/London",
            &[("\"perennial-ryegrass\"", &format!("\"{word}\""))],
        ));
        assert!(
            told.contains(&format!("did you mean \"{meant}\"?")),
            "{told}"
        );
    }
    let depth = told(&site(
        OXFORD,
        "Europe/London",
        &[("mix =", "depth = \"6 mm\", mix =")],
    ));
    assert!(
        depth.contains("grass seed lies on top and is raked in"),
        "{depth}"
    );
}

#[test]
fn a_site_in_us_units_is_told_in_us_units() {
    let us = ("units = \"si\"", "units = \"us\"");
    let rate = (
        "flow = \"15 L/min\"",
        "precipitation-rate = \"0.4 inch/hr\"",
    );
    let told = self::told(&site(GREENSBORO, "America/New_York", &[us, rate]));
    assert!(
        told.contains("write for example `precipitation-rate = \"0.45 in/h\"`"),
        "{told}"
    );
    let bare = ("flow = \"18 L/min\"", "flow = 5");
    let told = self::told(&site(GREENSBORO, "America/New_York", &[us, bare]));
    assert!(told.contains("write `flow = \"5 gpm\"`"), "{told}");
    let page = soakmist(&["check", "config/backyard.toml"]).out;
    let metric = page
        .split_whitespace()
        .find(|word| ["mm", "°C", "m/s", "mm/d"].contains(word));
    assert_eq!(metric, None, "{page}");
}

#[test]
fn a_weather_file_that_is_missing_is_told_at_its_line() {
    let missing = ("services = [\"open-meteo\"]", "file = \"gone.csv\"");
    let items = found(&site(OXFORD, "Europe/London", &[missing]));
    let (_, line, _) = items
        .iter()
        .find(|(_, _, told)| told.contains("gone.csv"))
        .unwrap();
    assert_eq!(*line, 11, "{items:?}");
    let demo = json(&["check", "config/harrowmere.toml", "--format", "json"]);
    for item in demo["diagnostics"].as_array().unwrap() {
        assert!(item["line"].as_u64().unwrap() > 0, "{item}");
    }
}

#[test]
fn a_sowing_long_past_and_valves_that_stay_open_are_doubted_at_their_zone() {
    let past = ("2099-04-17", "2023-04-17");
    let items = found(&site(OXFORD, "Europe/London", &[past]));
    assert!(
        items
            .iter()
            .any(|(_, line, told)| *line == 13 && told.contains("which is in the past")),
        "{items:?}"
    );
    let valve = (
        "soil = \"loam\"",
        "soil = \"loam\"\nvalve = { command-topic = \"garden/valve/set\" }",
    );
    let items = found(&site(OXFORD, "Europe/London", &[valve]));
    assert!(
        items
            .iter()
            .any(|(_, line, told)| *line == 13 && told.contains("there is no [mqtt]")),
        "{items:?}"
    );
    let broker = ("[weather]", "[mqtt]\nhost = \"localhost\"\n[weather]");
    let items = found(&site(OXFORD, "Europe/London", &[valve, broker]));
    assert!(
        items
            .iter()
            .any(|(_, line, told)| *line == 15 && told.contains("stays open until")),
        "{items:?}"
    );
}

#[test]
fn what_is_nearly_nothing_is_not_told_as_nothing() {
    let area = [("120 m2", "60000 m2")];
    let told = told(&site(OXFORD, "Europe/London", &area));
    assert!(
        told.contains("15.0 L/min on 60,000 m² is less than 0.1 mm/h, which cannot be"),
        "{told}"
    );
}
