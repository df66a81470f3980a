//! What somebody meets who tries the program from the README alone: numbers with
//! commas, a forgotten weather file, a clock by its everyday name.

#![allow(clippy::disallowed_methods, reason = "a test writes its own files")]

use std::fmt::Write as _;
use std::path::PathBuf;

use tempfile::TempDir;

use super::command::{Said, assert_fits_80_columns, soakmist};

/// A site in US units in a folder of its own; the words of its file can be changed.
struct Yard {
    folder: TempDir,
    site: PathBuf,
}

impl Yard {
    fn changed(changes: &[(&str, &str)]) -> Self {
        let mut text = r#"name = "Harrowmere back yard"
units = "us"
place = { latitude = 43.6, longitude = -116.2, elevation = "2700 ft", time-zone = "America/Boise" }
supply = { flow = "60 gpm" }
[[zone]]
name = "back"
area = "1900 ft2"
soil = "sandy loam"
sprinkler = { flow = "9 gpm" }
seeding = { at = "2027-04-20 16:00", mix = "perennial-ryegrass" }
"#
        .to_owned();
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        let folder = tempfile::tempdir().unwrap();
        let site = folder.path().join("site.toml");
        std::fs::write(&site, text).unwrap();
        Self { folder, site }
    }

    fn run(&self, command: &str, more: &[&str]) -> Said {
        let mut arguments = vec![command, self.site.to_str().unwrap()];
        arguments.extend(more);
        soakmist(&arguments)
    }

    /// What `check` says, without line breaks.
    fn check(&self) -> String {
        words(&self.run("check", &[]).out)
    }

    /// A plan on warm dry days.
    fn warm(&self, more: &[&str]) -> Said {
        let mut arguments = vec!["--assume-warm-dry", "--days", "9"];
        arguments.extend(more);
        self.run("timetable", &arguments)
    }

    /// The answer to a weather file of so many hours from rows of values.
    fn with_weather(&self, command: &str, row: impl Fn(usize) -> String) -> Said {
        let mut text = "time,air_temp_c,rel_humidity_pct,wind_speed_m_s\n".to_owned();
        for hour in 0..480 {
            let (day, clock) = (1 + hour / 24, hour % 24);
            writeln!(text, "2099-04-{day:02} {clock:02}:00{}", row(hour)).unwrap();
        }
        let path = self.folder.path().join("weather.csv");
        std::fs::write(&path, text).unwrap();
        self.run(command, &["--weather", path.to_str().unwrap()])
    }
}

fn words(page: &str) -> String {
    page.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn warm_dry_days_stand_in_where_no_weather_is_named_at_all() {
    let yard = Yard::changed(&[]);
    let none = yard.run("timetable", &[]);
    assert_eq!(none.code, 2);
    assert!(
        words(&none.err).contains("--assume-warm-dry"),
        "{}",
        none.err
    );
    let plan = yard.warm(&[]);
    assert_eq!(plan.code, 0, "{}", plan.err);
    let head = words(plan.out.split("\n\n").next().unwrap());
    assert!(head.contains("weather no source; 216 hours"), "{head}");
    assert!(
        head.contains(
            "ALARM for orientation only: nobody knows the weather of 216 of the plan's 216 h"
        ),
        "{head}"
    );
    // Where the page is not printed it is told beside the rows.
    let rows = yard.warm(&["--format", "csv"]);
    let told = words(&rows.err);
    assert!(told.contains("for orientation only"), "{told}");
}

#[test]
fn volumes_of_many_gallons_keep_their_unit() {
    let large = [("1900 ft2", "60000 ft2"), ("\"9 gpm\"", "\"59 gpm\"")];
    let yard = Yard::changed(&large);
    let plan = yard.warm(&[]);
    let zones = plan.out.split("A line a day").next().unwrap();
    let row = zones
        .lines()
        .find(|line| line.starts_with("  back "))
        .unwrap();
    let gallons = row.split(" gal").next().unwrap();
    let number = gallons.rsplit(' ').next().unwrap().replace(',', "");
    assert!(
        number.parse::<u32>().is_ok_and(|number| number >= 10_000),
        "{row}"
    );
    assert_fits_80_columns(&plan.out);
    let day = plan.out.split("A line a day").nth(1).unwrap();
    assert!(!day.split("\n\n").next().unwrap().contains('…'), "{day}");
    let hand = yard.warm(&["--format", "hand"]).out;
    let visits: Vec<&str> = hand.lines().filter(|line| line.contains(" gal")).collect();
    assert!(!visits.is_empty());
    for visit in visits {
        assert!(
            visit.ends_with(" gal") && visit.chars().count() <= 40,
            "{visit}"
        );
    }
}

#[test]
fn the_columns_of_the_balance_never_touch() {
    let page = Yard::changed(&[]).warm(&["--explain", "back"]).out;
    assert_fits_80_columns(&page);
    let is_hour = |line: &&str| line.as_bytes().get(2) == Some(&b':') && line.contains(" of ");
    let hours: Vec<&str> = page.lines().filter(is_hour).collect();
    assert!(hours.len() >= 24 && page.contains(" -0.0"), "{page}");
    for hour in hours {
        // The clock, seven flows, and "depletion of allowed".
        let cells: Vec<&str> = hour.split_whitespace().collect();
        assert_eq!(cells[9], "of", "{hour}");
    }
}

#[test]
fn hose_visits_by_night_say_how_to_keep_them_in_the_day() {
    let hand = Yard::changed(&[]).warm(&["--format", "hand"]).out;
    assert!(words(&hand).contains("between 22:00 and 5:00"), "{hand}");
    assert!(hand.contains("\"06:00-21:00\"]"), "{hand}");
    let by_day = [(
        "[[zone]]",
        "rules = { hours = [\"06:00-21:00\"] }\n[[zone]]",
    )];
    let hand = Yard::changed(&by_day).warm(&["--format", "hand"]).out;
    assert!(hand.contains("Go over the whole patch"), "{hand}");
    assert!(!words(&hand).contains("between 22:00 and 5:00"), "{hand}");
}

#[test]
fn a_number_with_a_comma_is_told_as_it_has_to_be_written() {
    for (from, to, help) in [
        (
            "1900 ft2",
            "1,900 ft2",
            "write `area = \"1900 ft2\"`, or \"1.900 ft2\" if the comma is a decimal point",
        ),
        ("9 gpm", "9,5 gpm", "help: write `flow = \"9.5 gpm\"`"),
    ] {
        let told = Yard::changed(&[(from, to)]).check();
        assert!(told.contains(help), "{told}");
    }
    let told = Yard::changed(&[("latitude = 43.6", "latitude = 43,6")]).check();
    assert!(told.contains("a comma in the number 43,6"), "{told}");
    assert!(told.contains("help: write a decimal point: 43.6"), "{told}");
    assert!(told.contains("1 error, no warnings"), "{told}");
    let table = "[place]\nlatitude = 43,6\nlongitude = -116,2\nelevation = \"2700 ft\"\n\
                 time-zone = \"America/Boise\"\n[supply]\nflow = \"60 gpm\"\n";
    let old = "place = { latitude = 43.6, longitude = -116.2, elevation = \"2700 ft\", \
               time-zone = \"America/Boise\" }\nsupply = { flow = \"60 gpm\" }\n";
    let told = Yard::changed(&[(old, table)]).check();
    assert!(told.contains("write a decimal point: -116.2"), "{told}");
    assert!(told.contains("2 errors, no warnings"), "{told}");
}

#[test]
fn weather_in_another_form_is_told_once_with_what_it_is() {
    let yard = Yard::changed(&[]);
    let decimal = yard.with_weather("timetable", |_| ",4,7,75,1,5".to_owned());
    let told = words(&decimal.err);
    assert!(
        told.contains("line 2: 6 fields, but the header has 4, and so in 479 more rows"),
        "{told}"
    );
    assert!(told.contains("a decimal comma makes two fields"), "{told}");
    assert_eq!(told.matches("fields, but").count(), 1, "{told}");
    let semicolons = yard.with_weather("timetable", |_| ";4,7;75;1,5".to_owned());
    let told = words(&semicolons.err);
    assert!(
        told.contains("line 2: fields are not separated by commas"),
        "{told}"
    );
    let share = yard.with_weather("timetable", |hour| {
        format!(",9,{},2", 0.4 + 0.001 * hour as f64)
    });
    assert_eq!(share.code, 2);
    let told = words(&share.err);
    assert!(
        told.contains("rel_humidity_pct is never above 0.8"),
        "{told}"
    );
    assert!(told.contains("it looks like a share of 1"), "{told}");
}

#[test]
fn weather_that_begins_later_is_shown_from_where_it_begins() {
    let yard = Yard::changed(&[]);
    let row = |hour: usize| format!(",{},{},2", 8 + hour % 24 / 2, 50 + hour % 24);
    let said = yard.with_weather("weather", row);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        words(&said.err).contains("begins at 2099-04-01"),
        "{}",
        said.err
    );
    assert!(said.out.contains("from Wed 2099-04-01") || said.out.contains("2099-04-01"));
}

#[test]
fn a_rate_that_no_sprinkler_has_is_doubted_with_what_follows() {
    assert!(!Yard::changed(&[]).check().contains("warm day takes"));
    for flow in ["20 gph", "1 gpm"] {
        let told = Yard::changed(&[("\"9 gpm\"", &format!("\"{flow}\""))]).check();
        assert!(told.contains("zone back: its "), "{told}");
        assert!(told.contains("what one warm day takes"), "{told}");
        assert!(told.contains("gpm or gph"), "{told}");
    }
}

#[test]
fn a_grass_is_proposed_only_where_it_is_sure() {
    for (written, help) in [
        ("Kentucky 31", "did you mean \"tall-fescue\"?"),
        ("perenial ryegras", "did you mean \"perennial-ryegrass\"?"),
        ("Kentucky Royal", "known are "),
    ] {
        let told = Yard::changed(&[("perennial-ryegrass", written)]).check();
        assert!(told.contains(help), "{told}");
        assert!(
            !told.contains("did you mean \"kentucky-bluegrass\""),
            "{told}"
        );
    }
}

#[test]
fn a_clock_by_its_everyday_name_is_told_by_the_place() {
    let zone = "time-zone = \"America/Boise\"";
    for (place, written, meant) in [
        ((43.6, -116.2), "Mountain Time", "America/Boise"),
        ((43.6, -116.2), "MST7", "America/Boise"),
        ((39.7, -105.0), "Mountain Standard Time", "America/Denver"),
        ((27.95, -82.46), "Eastern", "America/New_York"),
        ((27.95, -82.46), "Florida", "America/New_York"),
    ] {
        let (latitude, longitude) = place;
        let told = Yard::changed(&[
            (zone, &format!("time-zone = \"{written}\"")),
            ("latitude = 43.6", &format!("latitude = {latitude}")),
            ("longitude = -116.2", &format!("longitude = {longitude}")),
        ])
        .check();
        assert!(told.contains(&format!("\"{meant}\"")), "{written}: {told}");
    }
    // Between two clocks none is picked.
    let told = Yard::changed(&[
        (zone, "time-zone = \"Tennessee\""),
        ("latitude = 43.6", "latitude = 36.0"),
        ("longitude = -116.2", "longitude = -85.0"),
    ])
    .check();
    assert!(told.contains("and their clocks differ"), "{told}");
}

#[test]
fn a_seeding_in_winter_is_doubted() {
    assert!(!Yard::changed(&[]).check().contains("in winter there"));
    let january = [("2027-04-20", "2027-01-15")];
    let told = Yard::changed(&january).check();
    assert!(
        told.contains("zone back: it is sown on 2027-01-15, in winter there"),
        "{told}"
    );
}

#[test]
fn the_soil_says_which_number_a_plan_takes() {
    let page = soakmist(&["soil", "--texture", "clay loam"]).out;
    assert_fits_80_columns(&page);
    assert!(page.contains("suction 209 mm, for plans"), "{page}");
    assert!(
        words(&page).contains("A plan takes K, less on a slope"),
        "{page}"
    );
}
