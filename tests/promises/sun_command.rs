//! `soakmist sun`: rise, noon and set of a date.

use crate::command::{assert_fits_80_columns, json, soakmist};

fn arguments<'a>(place: [&'a str; 2], date: &'a str, zone: &'a str) -> Vec<&'a str> {
    let [latitude, longitude] = place;
    vec![
        "sun",
        "--latitude",
        latitude,
        "--longitude",
        longitude,
        "--date",
        date,
        "--time-zone",
        zone,
    ]
}

#[test]
fn times_are_local_and_say_so() {
    let said = soakmist(&arguments(
        ["36.1", "-79.95"],
        "2023-03-12",
        "America/New_York",
    ));
    // NREL SPA (tests/data/sun.csv, row 1), to the second.
    assert_eq!(
        said.out,
        "Sun at 36.10° N, 79.95° W on 2023-03-12 (America/New_York)\n\
         sunrise     07:35:10 EDT\n\
         solar noon  13:29:31 EDT\n\
         sunset      19:24:26 EDT\n\
         day length  11 h 49 min\n"
    );
    assert_eq!(said.code, 0);
}

#[test]
fn a_sunset_after_midnight_names_its_date() {
    let said = soakmist(&arguments(
        ["64.1466", "-21.9426"],
        "2024-06-21",
        "Atlantic/Reykjavik",
    ));
    assert!(said.out.contains("sunset      00:0"), "{}", said.out);
    assert!(said.out.contains("GMT on 2024-06-22"), "{}", said.out);
}

#[test]
fn polar_day_and_night_are_answers() {
    let page = |date: &str| {
        let mut all = arguments(["69.6492", "18.9553"], date, "Europe/Oslo");
        all.extend(["--format", "json"]);
        json(&all)
    };
    let (summer, winter) = (page("2024-06-21"), page("2024-12-21"));
    assert_eq!(
        (summer["case"].as_str(), summer["day_length_s"].as_i64()),
        (Some("polar-day"), Some(86_400))
    );
    assert_eq!(
        (winter["case"].as_str(), winter["day_length_s"].as_i64()),
        (Some("polar-night"), Some(0))
    );
    assert!(summer["sunrise"].is_null() && summer["solar_noon"].is_string());
    let said = soakmist(&arguments(
        ["69.6492", "18.9553"],
        "2024-06-21",
        "Europe/Oslo",
    ));
    assert!(said.out.contains("none, the sun stays up"));
    assert_fits_80_columns(&said.out);
}

#[test]
fn json_times_carry_the_offset() {
    let mut all = arguments(["51.5074", "-0.1278"], "2023-10-29", "Europe/London");
    all.extend(["--format", "json"]);
    let page = json(&all);
    // NREL SPA (tests/data/sun.csv, row 7): 06:48:09Z.
    let sunrise = page["sunrise"].as_str().expect("a time");
    assert!(
        sunrise.starts_with("2023-10-29T06:48:") && sunrise.ends_with("+00:00"),
        "{sunrise}"
    );
    assert_eq!(
        (page["schema"].as_str(), page["version"].as_u64()),
        (Some("soakmist-sun"), Some(1))
    );
}

#[test]
fn a_misspelt_time_zone_gets_a_hint() {
    let said = soakmist(&arguments(["51.5", "0"], "2024-06-21", "Europe/Londn"));
    assert_eq!(said.code, 2);
    assert!(
        said.err.contains("did you mean Europe/London?"),
        "{}",
        said.err
    );
}
