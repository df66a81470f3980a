//! What is doubtful is told once and where it is read; a plan beyond every
//! forecast says how to get one.

#![allow(clippy::disallowed_methods, reason = "a test writes its files")]

use std::path::PathBuf;

use serde_json::Value;

use super::command::{Said, assert_fits_80_columns, soakmist};

/// A garden with a doubt in its file and weather with remarks, whose days are
/// those of 2026 from 1 September on.
struct Garden {
    folder: tempfile::TempDir,
}

impl Garden {
    fn sown(day: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let site = format!(
            r#"name = "Back garden at Harrowmere"
place = {{ latitude = -37.8, longitude = 144.9, elevation = "30 m", time-zone = "Australia/Melbourne" }}
supply = {{ flow = "18 L/min" }}
rules = {{ weekdays = ["mon", "wed", "fri"], hours = ["06:00-20:00"] }}
weather = {{ file = "weather.csv", wind-height = "2 m" }}
[[zone]]
name = "back-lawn"
area = "120 m2"
soil = "clay loam"
sprinkler = {{ flow = "15 L/min" }}
seeding = {{ at = "{day} 10:00", mix = "perennial-ryegrass" }}
"#
        );
        let garden = Self { folder };
        std::fs::write(garden.path("site.toml"), site).unwrap();
        std::fs::write(garden.path("weather.csv"), weather()).unwrap();
        garden
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, command: &str, more: &[&str]) -> Said {
        let site = self.path("site.toml").display().to_string();
        soakmist(&[&[command, site.as_str()], more].concat())
    }
}

/// Forty days of clock times; two hours have a sun that cannot be.
fn weather() -> String {
    let mut text = String::from("time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2\n");
    for hour in 0..40 * 24 {
        let (day, of_day) = (hour / 24, hour % 24);
        let date = chrono::NaiveDate::from_ymd_opt(2026, 9, 1).unwrap() + chrono::Days::new(day);
        let sun = match of_day {
            12 if day < 2 => 1900,
            9..=16 => 300 + 5 * of_day,
            _ => 0,
        };
        let warm = if (9..=18).contains(&of_day) { 19 } else { 11 };
        text += &format!(
            "{date} {of_day:02}:00,{warm}.{0},{1},1.{0},{sun}\n",
            hour % 10,
            60 + of_day
        );
    }
    text
}

/// As one line, so that line breaks do not matter.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const DOUBT: &str = "the rules forbid misting by day";
const REMARK: &str = "solar radiation outside -15 to 1500, 2 h";

#[test]
fn the_page_of_a_plan_tells_doubts_and_remarks_and_nothing_else_repeats_them() {
    let garden = Garden::sown("2026-09-12");
    let said = garden.run("timetable", &["--days", "5"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    for told in [DOUBT, REMARK] {
        assert_eq!(flat(&said.out).matches(told).count(), 1, "{}", said.out);
    }
    let elsewhere = garden.path("plan.txt").display().to_string();
    for more in [
        &["--format", "csv"][..],
        &["--format", "json"],
        &["--format", "ical"],
        &["--format", "hand"],
        &["--explain", "back-lawn"],
        &["--output", elsewhere.as_str()],
    ] {
        let said = garden.run("timetable", &[more, &["--days", "5"]].concat());
        assert_eq!(said.code, 0, "{}", said.err);
        for told in [DOUBT, REMARK] {
            assert_eq!(
                flat(&said.err).matches(told).count(),
                1,
                "{more:?} {}",
                said.err
            );
        }
        assert_fits_80_columns(&said.err);
    }
}

#[test]
fn a_zone_that_is_not_there_is_told_before_anything_else() {
    let garden = Garden::sown("2026-09-12");
    std::fs::write(garden.path("weather.csv"), "not weather at all").unwrap();
    for command in ["timetable", "backtest"] {
        let said = garden.run(command, &["--zone", "backlawn"]);
        assert_eq!(said.code, 2);
        assert_eq!(
            said.err,
            "soakmist: no zone \"backlawn\" in this site; did you mean \"back-lawn\"?\n"
        );
    }
}

#[test]
fn remarks_of_et0_keep_to_80_columns() {
    let garden = Garden::sown("2026-09-12");
    let file = garden.path("weather.csv").display().to_string();
    let place = [
        "--latitude=-37.8",
        "--longitude=144.9",
        "--elevation=30",
        "--time-zone=Australia/Melbourne",
    ];
    let said = soakmist(&[&["et0", file.as_str()], &place[..]].concat());
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(flat(&said.err).contains(REMARK), "{}", said.err);
    // A path is not broken.
    let long = |line: &&str| line.chars().count() > 80 && !line.contains(file.as_str());
    assert_eq!(said.err.lines().find(long), None);
}

#[test]
fn the_short_words_of_a_day_are_explained_below_it_and_no_others() {
    let days = ["--from", "2023-08-24", "--days", "2"];
    let said = soakmist(&[&["timetable", "config/harrowmere.toml"], &days[..]].concat());
    assert_eq!(said.code, 0, "{}", said.err);
    assert_fits_80_columns(&said.out);
    let (_, legend) = said.out.split_once("\n  Why: ").expect("a legend");
    let legend = flat(legend.split("\n\n").next().unwrap());
    assert!(legend.contains("down = lost by the layer"), "{legend}");
    assert!(!legend.contains("rain due"), "{legend}");
    assert_eq!(said.out.matches("  Why: ").count(), 1);
    let soak = soakmist(&[
        "timetable",
        "config/harrowmere.toml",
        "--from",
        "2023-08-20",
        "--days",
        "2",
    ]);
    assert!(!soak.out.contains("Why: "), "{}", soak.out);
}

#[test]
fn beyond_every_forecast_a_plan_tells_of_typical_years_and_can_assume_warm_dry_days() {
    let garden = Garden::sown("2026-12-19");
    let said = garden.run("timetable", &[]);
    assert_eq!(said.code, 2, "{}", said.out);
    let told = flat(&said.err);
    for what in [
        "typical-year = \"FILE.epw\"",
        "EPW or TMY3",
        "national weather",
        "--assume-warm-dry",
    ] {
        assert!(told.contains(what), "{told}");
    }
    assert_fits_80_columns(&said.err);
    for format in ["text", "hand", "csv", "json", "ical"] {
        let said = garden.run("timetable", &["--assume-warm-dry", "--format", format]);
        assert_eq!(said.code, 0, "{format}: {}", said.err);
        let place = match format {
            "csv" => &said.err,
            _ => &said.out,
        };
        let told = place.replace("\r\n ", "");
        let told = flat(&told).to_lowercase();
        assert!(told.contains("for orientation only"), "{format}: {place}");
    }
    let said = garden.run("timetable", &["--assume-warm-dry", "--format", "json"]);
    let page: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(page["days"].as_array().unwrap().len(), 28);
    assert!(
        page["totals"]["runs"].as_u64().unwrap() > 20,
        "{}",
        page["totals"]
    );
    // Where the weather is known nothing is assumed.
    let known = Garden::sown("2026-09-12");
    let plain = known.run("timetable", &["--days", "5"]);
    let asked = known.run("timetable", &["--days", "5", "--assume-warm-dry"]);
    assert_eq!(plain.out, asked.out);
}

#[test]
fn a_row_of_the_hour_that_clocks_skip_does_not_cost_the_file() {
    let garden = Garden::sown("2026-09-12");
    // Melbourne, 4 October 2026: clocks go from 02:00 to 03:00.
    let said = garden.run("timetable", &["--days", "5", "--format", "csv"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let told = flat(&said.err);
    assert!(
        told.contains(
            "line 796: the time \"2026-10-04 02:00\" does not exist in Australia/Melbourne"
        ),
        "{told}"
    );
    assert!(told.contains("that row is left out"), "{told}");
}

#[test]
fn no_page_has_a_slip_of_punctuation() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/snapshots");
    let files = std::fs::read_dir(folder).unwrap();
    let mut pages: Vec<String> = files
        .map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap())
        .collect();
    pages.push(soakmist(&["timetable", "config/harrowmere.toml", "--full"]).out);
    pages.push(soakmist(&["check", "config/backyard.toml"]).out);
    for page in pages {
        let text = flat(&page);
        for slip in [".;", "..", ";;", ".,", " ,", "( ", " )"] {
            let at = text.find(slip);
            let around = at.map(|at| text[..at].chars().rev().take(40).collect::<String>());
            let around = around.map(|text| text.chars().rev().collect::<String>());
            assert_eq!(around, None, "{slip:?}");
        }
    }
}
