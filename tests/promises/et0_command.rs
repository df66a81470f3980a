//! `soakmist et0`: weather in, reference evapotranspiration out.

use std::io::Write as _;

use crate::command::{Said, assert_fits_80_columns, json, soakmist};

const YEAR: &str = "tests/data/greensboro_tmy3_hourly.csv";
const GREENSBORO: [&str; 8] = [
    "--latitude",
    "36.1",
    "--longitude",
    "-79.95",
    "--elevation",
    "273",
    "--wind-height",
    "10",
];

fn arguments<'a>(file: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["et0", file], &GREENSBORO[..], more].concat()
}

fn et0(file: &str, more: &[&str]) -> Said {
    soakmist(&arguments(file, more))
}

/// Runs over a text as its weather file.
fn et0_of(text: &str, more: &[&str]) -> Said {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    file.write_all(text.as_bytes()).expect("written");
    et0(file.path().to_str().expect("UTF-8"), more)
}

/// Hours of one local day of a mild spring, with temperature only.
fn temperatures(hours: usize) -> String {
    let mut text = String::from("time,air_temp_c\n");
    for hour in 0..hours {
        let (day, end) = (1 + (hour + 1) / 24, (hour + 1) % 24);
        let warmth = 12 - (hour % 24).abs_diff(15).min(12);
        text.push_str(&format!(
            "2023-05-{day:02}T{end:02}:00:00-05:00,{}\n",
            8 + warmth
        ));
    }
    text
}

#[test]
fn csv_by_the_hour_ends_each_row_at_the_stamp_of_the_file() {
    let said = et0(YEAR, &["--step", "hour", "--format", "csv"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let lines: Vec<&str> = said.out.lines().collect();
    assert_eq!(lines.len(), 8761);
    assert!(lines[0].starts_with("time,et0_mm,"));
    // The first row of the vectors (tests/data/et0_hourly.csv): 0.10187 mm.
    let noon = "2023-01-01T12:00:00-05:00,0.1018";
    assert!(lines[12].starts_with(noon), "{}", lines[12]);
    let fields = lines[0].split(',').count();
    assert!(lines.iter().all(|line| line.split(',').count() == fields));
}

#[test]
fn csv_by_the_day_has_the_days_of_standard_time() {
    let said = et0(YEAR, &["--step", "day", "--format", "csv"]);
    let lines: Vec<&str> = said.out.lines().collect();
    assert_eq!(lines.len(), 366);
    // The first row of tests/data/et0_daily.csv: 1.065095 mm; its wind is rounded.
    assert!(lines[2].starts_with("2023-01-02,1.0650"), "{}", lines[2]);
}

#[test]
fn the_page_fits_80_columns_and_the_pipe_stays_clean() {
    for step in ["hour", "day"] {
        let said = et0(YEAR, &["--step", step]);
        assert_eq!(said.code, 0);
        assert_fits_80_columns(&said.out);
        assert_fits_80_columns(&said.err);
        assert!(
            flat(&said.err).contains("air temperature stood still at -9.4"),
            "{}",
            said.err
        );
    }
}

#[test]
fn the_two_methods_give_the_sums_of_the_independent_calculation() {
    let total = |method: &str| {
        json(&arguments(
            YEAR,
            &["--step", "hour", "--method", method, "--format", "json"],
        ))["total_mm"]
            .as_f64()
            .expect("a number")
    };
    // tests/data/README.md.
    assert!((total("fao56") - 1075.93).abs() < 0.005);
    assert!((total("asce") - 1120.37).abs() < 0.005);
}

#[test]
fn json_names_its_schema_and_carries_findings() {
    let page = json(&arguments(YEAR, &["--format", "json"]));
    assert_eq!(
        (page["schema"].as_str(), page["version"].as_u64()),
        (Some("soakmist-et0"), Some(1))
    );
    assert_eq!(page["findings"][0]["kind"], "stuck");
    assert_eq!(page["rows"].as_array().map(Vec::len), Some(365));
}

#[test]
fn temperature_alone_is_enough_and_every_estimate_is_told() {
    let said = et0_of(&temperatures(48), &["--format", "csv"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let row = said.out.lines().nth(1).expect("a row");
    assert!(
        row.ends_with(",relative-humidity:24 wind-speed:24 solar-radiation:24"),
        "{row}"
    );
    for told in [
        "relative humidity missing in 48 h: dew point = day's minimum temperature",
        "wind speed missing in 48 h: 2 m/s at 2 m",
        "solar radiation missing in 48 h: from the day's temperature range",
    ] {
        assert!(flat(&said.err).contains(told), "{}", said.err);
    }
}

/// As one line, so that line breaks do not matter.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn days_that_are_cut_off_are_left_out_and_named() {
    let said = et0_of(&temperatures(30), &["--format", "csv"]);
    assert_eq!(said.out.lines().count(), 2);
    assert!(
        said.err.contains("2023-05-02 is not a whole day"),
        "{}",
        said.err
    );
    let said = et0_of(&temperatures(10), &[]);
    assert_eq!((said.code, said.out.as_str()), (2, ""));
    assert!(
        said.err.contains("holds no whole day; take --step hour"),
        "{}",
        said.err
    );
}

#[test]
fn hours_out_of_order_or_twice_are_put_right_and_told() {
    let mut lines: Vec<String> = temperatures(24).lines().map(str::to_owned).collect();
    lines.swap(5, 6);
    lines.insert(10, lines[9].clone());
    let said = et0_of(&lines.join("\n"), &["--step", "hour", "--format", "csv"]);
    assert_eq!(
        (said.code, said.out.lines().count()),
        (0, 25),
        "{}",
        said.err
    );
    assert!(said.err.contains("hours not in order"), "{}", said.err);
    assert!(
        said.err.contains("hours given twice, alike"),
        "{}",
        said.err
    );
}

#[test]
fn a_gap_too_long_to_fill_is_named_with_its_length() {
    let hours: Vec<String> = temperatures(24 * 12).lines().map(str::to_owned).collect();
    let with_gap = [&hours[..49], &hours[24 * 9 + 1..]].concat().join("\n");
    let said = et0_of(&with_gap, &[]);
    assert_eq!((said.code, said.out.as_str()), (2, ""));
    let told = "no air temperature for 168 h from 2023-05-03 05:00:00 UTC";
    let words: Vec<&str> = said.err.split_whitespace().collect();
    assert!(words.join(" ").contains(told), "{}", said.err);
}

#[test]
fn everything_wrong_in_a_file_is_told_at_once() {
    let text = "time,air_temp_c\n2023-05-01T01:00:00Z,mild\nnoon,20\n";
    let said = et0_of(text, &[]);
    assert_eq!(said.code, 2);
    assert!(
        said.err
            .contains("line 2: air_temp_c \"mild\" is not a number"),
        "{}",
        said.err
    );
    assert!(
        said.err.contains("line 3: time \"noon\" is not a time"),
        "{}",
        said.err
    );
}

#[test]
fn a_file_that_is_not_there_is_an_input_output_error() {
    let said = et0("tests/data/no_such_file.csv", &[]);
    assert_eq!(said.code, 3);
    assert!(
        said.err.contains("cannot read tests/data/no_such_file.csv"),
        "{}",
        said.err
    );
}

#[test]
fn local_stamps_need_a_time_zone() {
    let text = temperatures(24).replace("-05:00", "");
    assert_eq!(et0_of(&text, &[]).code, 2);
    let zone = [
        "--time-zone",
        "America/New_York",
        "--step",
        "hour",
        "--format",
        "csv",
    ];
    let said = et0_of(&text, &zone);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        said.out.contains("\n2023-05-01T12:00:00-04:00,"),
        "{}",
        said.out
    );
}

#[test]
fn a_place_off_the_earth_is_refused_with_its_bounds() {
    let said = soakmist(&[
        "et0",
        YEAR,
        "--latitude",
        "91",
        "--longitude",
        "0",
        "--elevation",
        "0",
    ]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("must be -90 to 90"), "{}", said.err);
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the files of the test")]
fn a_loggers_export_is_read_by_the_columns_that_the_site_file_names() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let site = r#"
name = "Harrowmere"
units = "si"
place = { latitude = 36.1, longitude = -79.95, elevation = "273 m", time-zone = "America/New_York" }
supply = { flow = "40 L/min" }

[[zone]]
name = "lawn"
area = "100 m2"
soil = "loam"
sprinkler = { flow = "20 L/min" }
seeding = { at = 2023-06-03 10:00:00, mix = "perennial-ryegrass" }

[[weather.logger]]
file = "pavilion.csv"
separator = ";"
decimal-comma = true
wind-height = "10 m"
time = { column = "Date", form = "%d.%m.%Y %H:%M", clock = "-05:00", marks = "end" }
columns = { air-temperature = { column = "Temp", unit = "°F" } }
"#;
    let mut export = String::from("Date;Temp\n");
    for line in temperatures(48).lines().skip(1) {
        let (stamp, celsius) = line.split_once(',').expect("two columns");
        let (day, hour) = (&stamp[8..10], &stamp[11..16]);
        let celsius: f64 = celsius.parse().expect("a number");
        let fahrenheit = format!("{:.1}", celsius * 1.8 + 32.0).replace('.', ",");
        export.push_str(&format!("{day}.05.2023 {hour};{fahrenheit}\n"));
    }
    std::fs::write(path("site.toml"), site).expect("written");
    std::fs::write(path("pavilion.csv"), export).expect("written");
    let csv = ["--step", "hour", "--format", "csv"];
    let (site, file) = (path("site.toml"), path("pavilion.csv"));
    let words = [&["et0", &file, "--site", &site], &csv[..]].concat();
    let logged = soakmist(&words);
    assert_eq!(logged.code, 0, "{}", logged.err);
    let own = et0_of(&temperatures(48), &csv);
    let values = |said: &Said| -> Vec<String> {
        let rows = said.out.lines().skip(1);
        let et0 = rows.map(|row| row.split(',').nth(1).expect("et0_mm").to_owned());
        et0.collect()
    };
    assert_eq!(values(&logged).len(), 48);
    assert_eq!(values(&logged), values(&own));
}
