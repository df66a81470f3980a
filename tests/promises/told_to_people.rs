//! What a new user must not miss is said where it is looked for: in the plan
//! itself, in every form of it, and in errors that say what to do next.

#![allow(clippy::disallowed_methods, reason = "a test writes its own files")]

use std::path::{Path, PathBuf};

use serde_json::Value;
use tempfile::TempDir;

use super::command::{Said, assert_fits_80_columns, json, soakmist};

const COMMANDS: [&str; 8] = [
    "timetable",
    "backtest",
    "check",
    "catch-cans",
    "et0",
    "soil",
    "sun",
    "weather",
];

/// The back garden with its weather, changed, in a folder of its own.
struct Garden {
    folder: TempDir,
    site: PathBuf,
}

impl Garden {
    fn changed(changes: &[(&str, &str)]) -> Self {
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let folder = tempfile::tempdir().unwrap();
        let weather = "harrowmere-weather.csv";
        std::fs::copy(config.join(weather), folder.path().join(weather)).unwrap();
        let mut text = std::fs::read_to_string(config.join("backyard.toml")).unwrap();
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        let site = folder.path().join("site.toml");
        std::fs::write(&site, text).unwrap();
        Self { folder, site }
    }

    fn site(&self) -> &str {
        self.site.to_str().unwrap()
    }

    /// Writes a file beside the site and returns its path.
    fn file(&self, name: &str, text: &str) -> String {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.display().to_string()
    }

    fn timetable(&self, more: &[&str]) -> Said {
        let mut arguments = vec!["timetable", self.site()];
        arguments.extend(more);
        soakmist(&arguments)
    }
}

/// The words of a page without its line breaks.
fn words(page: &str) -> String {
    page.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn hours_dry_by_day_and_by_night_stand_in_table_json_and_csv() {
    let site = "config/harrowmere.toml";
    let document = json(&["timetable", site, "--format", "json"]);
    let page = soakmist(&["timetable", site]).out;
    for zone in document["zones"].as_array().unwrap() {
        let name = zone["name"].as_str().unwrap();
        let hours = |key: &str| zone["totals"][key].as_f64().unwrap();
        let (day, night) = (hours("dry_daylight_hours"), hours("dry_night_hours"));
        let row = page
            .lines()
            .find(|line| line.starts_with(&format!("  {name} ")))
            .unwrap();
        let cells: Vec<&str> = row.split_whitespace().collect();
        let dry = day >= 0.05 || night >= 0.05;
        assert_eq!(row.ends_with(" !"), dry, "{row}");
        let end = cells.len() - usize::from(dry);
        // A tenth in the table, a hundredth in the JSON: half a unit of each.
        for (cell, hours) in [(cells[end - 2], day), (cells[end - 1], night)] {
            let shown: f64 = cell.parse().unwrap();
            assert!((shown - hours).abs() <= 0.0551, "{row}");
        }
        let spells = zone["dry_spells"].as_array().unwrap();
        let of_spells: f64 = spells
            .iter()
            .map(|spell| spell["daylight_hours"].as_f64().unwrap())
            .sum();
        assert!((of_spells - day).abs() < 0.01 * spells.len() as f64 + 0.01);
    }
    let csv = soakmist(&["timetable", site, "--format", "csv"]);
    assert!(
        csv.err.contains("seed is drier than allowed"),
        "{}",
        csv.err
    );
    assert_fits_80_columns(&csv.err);
    assert!(csv.out.starts_with("zone,start,"));
}

#[test]
fn a_place_that_does_not_fit_its_time_zone_is_loud_everywhere() {
    for (from, to, part) in [
        ("longitude = -79.9", "longitude = 79.9", "is -79.9 meant?"),
        ("latitude = 36.1", "latitude = -36.1", "is 36.1 meant?"),
    ] {
        let garden = Garden::changed(&[(from, to)]);
        let page = garden.timetable(&["--days", "3"]).out;
        let head = page.split("\n\n").next().unwrap();
        assert!(head.contains("\nDOUBT "), "{head}");
        assert!(words(head).contains(part), "{head}");
        let check = soakmist(&["check", garden.site()]);
        assert!(check.out.contains("warning[wrong-place]"), "{}", check.out);
        let arguments = [
            "timetable",
            garden.site(),
            "--days",
            "3",
            "--format",
            "json",
        ];
        let grave = |doubt: &Value| doubt["grave"] == true;
        let document = json(&arguments);
        assert!(document["doubts"].as_array().unwrap().iter().any(grave));
        let hand = garden.timetable(&["--days", "3", "--format", "hand"]).out;
        assert!(hand.contains("DOUBT: "), "{hand}");
    }
    // South of the equator with southern summer time there is nothing to doubt, nor near it.
    for (latitude, longitude, zone) in [
        ("-33.9", "151.2", "Australia/Sydney"),
        ("-37.8", "175.3", "Pacific/Auckland"),
        ("51.5", "-0.1", "Europe/London"),
        ("53.3", "-6.3", "Europe/Dublin"),
        ("-1.3", "36.8", "Africa/Nairobi"),
    ] {
        let garden = Garden::changed(&[
            ("latitude = 36.1", &format!("latitude = {latitude}")),
            ("longitude = -79.9", &format!("longitude = {longitude}")),
            ("America/New_York", zone),
        ]);
        let out = soakmist(&["check", garden.site()]).out;
        assert!(!out.contains("wrong-place"), "{zone}: {out}");
    }
}

#[test]
fn doubts_of_the_site_and_remarks_on_the_weather_stand_in_the_plan() {
    let garden = Garden::changed(&[("harrowmere-weather.csv", "dim.csv")]);
    let weather = std::fs::read_to_string("config/harrowmere-weather.csv").unwrap();
    let gap: Vec<&str> = weather
        .lines()
        .filter(|line| !line.starts_with("2023-08-05T1"))
        .collect();
    garden.file("dim.csv", &gap.join("\n"));
    let page = garden.timetable(&[]).out;
    let text = words(&page);
    assert!(
        text.contains("Doubtful in the site file - back-lawn:"),
        "{page}"
    );
    assert!(text.contains("Remarks on the weather - "), "{page}");
    assert!(text.contains("`soakmist check`"), "{page}");
    let hand = words(&garden.timetable(&["--format", "hand"]).out);
    for part in [
        "Seed may dry all the same",
        "weather estimated",
        "backflow",
        "slippery",
        "local rules",
        "licensed irrigator",
    ] {
        assert!(hand.contains(part), "{part}: {hand}");
    }
    let ical = garden
        .timetable(&["--format", "ical"])
        .out
        .replace("\r\n ", "");
    assert!(ical.contains("SUMMARY:Seed may dry: back-lawn"), "{ical}");
    let about = ical
        .lines()
        .find(|line| line.starts_with("DESCRIPTION:"))
        .unwrap();
    assert!(
        about.contains("Weather estimated") && about.contains("backflow"),
        "{about}"
    );
    let csv = words(&garden.timetable(&["--format", "csv"]).err);
    for part in ["relative humidity missing in 10 h", "seed is drier"] {
        assert_eq!(csv.matches(part).count(), 1, "{part}: {csv}");
    }
}

#[test]
fn a_plan_of_many_zones_stays_readable_and_full_shows_all_of_it() {
    // 60 zones that differ by name only, the longest name a site file may have among them.
    let garden = Garden::changed(&[]);
    let mut text = std::fs::read_to_string(garden.site()).unwrap();
    let zone = text[text.find("[[zone]]").unwrap()..].to_owned();
    for number in 1..60 {
        let name = format!("lawn-with-quite-a-long-name-{number:04}");
        text.push_str(&format!("\n{}", zone.replace("back-lawn", &name)));
    }
    let site = garden.file("many.toml", &text);
    let page = |more: &[&str]| {
        let mut arguments = vec!["timetable", site.as_str(), "--days", "12"];
        arguments.extend(more);
        let said = soakmist(&arguments);
        assert_eq!(said.code, 0, "{}", said.err);
        assert_fits_80_columns(&said.out);
        said.out
    };
    let section = |page: &str, from: &str, to: &str| {
        let rest = page.split_once(from).unwrap().1.to_owned();
        rest.split(to).next().unwrap().to_owned()
    };
    let brief = page(&[]);
    let zones = section(&brief, "\nZones\n", "\n\n");
    assert!(
        zones.lines().count() < 40 && zones.contains("and 40 more zones"),
        "{zones}"
    );
    let doubts = section(&brief, "\nDoubtful in the site file\n", "\n\n");
    assert!(doubts.contains("all zones: "), "{doubts}");
    let defaults = section(&brief, "\nDefaults used", "\nPlease mind");
    assert!(defaults.lines().count() < 40, "{defaults}");
    if let Some((_, not_met)) = brief.split_once("\nWhat cannot be met\n") {
        let titles = not_met
            .lines()
            .filter(|line| line.contains(" drier than allowed"));
        assert!(titles.count() <= 12);
        let lines = not_met.split("\n\n").next().unwrap().lines().count();
        assert!(lines <= 36, "one screen: {not_met}");
    }
    let full = section(&page(&["--full"]), "\nZones\n", "\n\n");
    for number in 1..60 {
        assert!(full.contains(&format!("-{number:04} ")), "{number}: {full}");
    }
}

#[test]
fn a_deep_soak_that_is_past_is_not_told() {
    let early = soakmist(&["timetable", "config/harrowmere.toml"]).out;
    assert!(early.contains("deep soak, square"));
    let arguments = [
        "timetable",
        "config/harrowmere.toml",
        "--from",
        "2023-09-06",
        "--days",
        "5",
    ];
    let late = soakmist(&arguments).out;
    assert!(!late.contains("deep soak,"), "{late}");
}

#[test]
fn weather_that_does_not_reach_names_the_days_that_it_covers() {
    let garden = Garden::changed(&[]);
    let said = garden.timetable(&["--from", "2023-10-01"]);
    assert_eq!(said.code, 2);
    assert_fits_80_columns(&said.err);
    let told = words(&said.err);
    assert!(told.contains("1 Aug 2023 to 16 Oct 2023"), "{told}");
    let asked = told.split("--from ").nth(1).unwrap();
    let asked: Vec<&str> = asked.split_whitespace().collect();
    let days = asked[2].trim_end_matches(',');
    let again = garden.timetable(&["--from", asked[0], "--days", days]);
    assert_eq!(again.code, 0, "{}", again.err);

    let garden = Garden::changed(&[("2023-08-25", "2024-08-25")]);
    let said = garden.timetable(&[]);
    let told = words(&said.err);
    assert!(
        told.contains("the seeding is in 2024, the weather in 2023"),
        "{told}"
    );
}

#[test]
fn check_tells_whether_there_is_weather_for_the_plan() {
    let last_line = |changes: &[(&str, &str)]| {
        let garden = Garden::changed(changes);
        let said = soakmist(&["check", garden.site()]);
        assert_eq!(said.code, 0);
        assert_fits_80_columns(&said.out);
        (
            said.out
                .trim_end()
                .rsplit("\n\n")
                .next()
                .unwrap()
                .to_owned(),
            said.out,
        )
    };
    let can = "a plan can be made";
    assert!(words(&last_line(&[]).0).ends_with(can));
    let missing = last_line(&[("harrowmere-weather.csv", "nowhere.csv")]);
    assert!(words(&missing.0).contains("weather is lacking") && !missing.0.contains(can));
    assert!(missing.1.contains("there is no weather file"));
    let other_year = last_line(&[("2023-08-25", "2024-08-25")]);
    assert!(words(&other_year.0).contains("weather is lacking"));
    assert!(words(&other_year.1).contains("the seeding is in 2024"));
    let none = last_line(&[("weather = { file = \"harrowmere-weather.csv\" }", "")]);
    assert!(
        words(&none.0).ends_with(
            "a plan can be made with --weather FILE.csv or --service NAME, or with \
             --assume-warm-dry for a first look"
        ),
        "{}",
        none.0
    );
}

#[test]
fn a_file_that_is_no_weather_csv_is_named_for_what_it_is() {
    let garden = Garden::changed(&[]);
    let hot = "time,air_temp_c\n2023-08-01T01:00:00Z,70\n2023-08-01T02:00:00Z,71\n2023-08-01T03:00:00Z,69\n";
    for (name, text, part) in [
        ("empty.csv", "", "the file is empty"),
        ("page.csv", "<!DOCTYPE html>\n<html>", "a web page (HTML)"),
        ("data.csv", "{\"hourly\": []}", "this is JSON"),
        (
            "fahrenheit.csv",
            "time,air_temp_f\n2023-08-01T01:00:00Z,70\n",
            "\"air_temp_f\" looks like °F",
        ),
        ("hot.csv", hot, "air_temp_c looks like °F: 3 of 3 values"),
    ] {
        let path = garden.file(name, text);
        let said = garden.timetable(&["--weather", &path]);
        assert_eq!(said.code, 2);
        assert!(words(&said.err).contains(part), "{name}: {}", said.err);
        assert!(!said.err.contains("no column"), "{}", said.err);
    }
}

#[test]
fn stamps_without_an_offset_are_told_with_the_zone_assumed() {
    let garden = Garden::changed(&[]);
    let weather = std::fs::read_to_string("config/harrowmere-weather.csv").unwrap();
    let path = garden.file("local.csv", &weather.replace(":00-05:00", ":00"));
    let page = words(&garden.timetable(&["--weather", &path, "--days", "2"]).out);
    let told = "times without an offset taken in America/New_York";
    assert!(page.contains(told), "{page}");
    let usual = words(&garden.timetable(&["--days", "2"]).out);
    assert!(
        !usual.contains(told) && usual.contains("nothing estimated"),
        "{usual}"
    );
    assert!(
        !usual.contains("measured"),
        "the demo's weather is invented"
    );
}

#[test]
fn help_and_errors_fit_80_columns() {
    for command in COMMANDS {
        for flag in ["--help", "-h"] {
            assert_fits_80_columns(&soakmist(&[command, flag]).out);
        }
    }
    assert_fits_80_columns(&soakmist(&["--help"]).out);
    let site = "config/harrowmere.toml";
    for arguments in [
        &[
            "timetable",
            site,
            "--zone",
            "a-zone-with-quite-another-name-than-any-here",
        ][..],
        &[
            "timetable",
            site,
            "--from",
            "the-day-after-tomorrow-or-some-day-later",
        ],
        &["timetable", site, "--from", "2030-01-01"],
        &[
            "timetable",
            site,
            "--chart",
            "a/very/long/path/to/a/picture/of/depletion.png",
        ],
        &[
            "timetable",
            site,
            "--weather",
            "a/very/long/path/to/a/file/that/is/not/there/weather.csv",
        ],
        &["timetable"],
        &["sun"],
        &["et0", "x.csv"],
        &["catch-cans"],
        &["catch-cans", "--mm", "1,2,x"],
        &[
            "soil",
            "--texture",
            "something between sand and clay, as far as I can see",
        ],
        &[
            "check",
            "a/very/long/path/to/a/file/that/is/not/there/and/never/was/site.toml",
        ],
    ] {
        let said = soakmist(arguments);
        assert!(matches!(said.code, 2 | 3), "{arguments:?}");
        assert!(!said.err.is_empty());
        assert_fits_80_columns(&said.err);
    }
}

#[test]
fn a_day_that_does_not_exist_and_a_bad_reading_are_named() {
    let error = |arguments: &[&str]| words(&soakmist(arguments).err);
    let site = "config/harrowmere.toml";
    let day = error(&["timetable", site, "--from", "2023-02-30"]);
    assert!(
        day.contains("2023-02-30") && day.contains("no such day"),
        "{day}"
    );
    let picture = error(&["timetable", site, "--chart", "chart.png"]);
    assert!(picture.contains("ends in .svg"), "{picture}");
    let letter = error(&["catch-cans", "--mm", "12,x,9,10"]);
    assert!(
        letter.contains("'x'") && letter.contains("no number"),
        "{letter}"
    );
    let below = error(&["catch-cans", "--mm", "12,-1,9,10"]);
    assert!(
        below.contains("'-1'") && below.contains("below zero"),
        "{below}"
    );
}

#[test]
fn an_empty_site_file_says_what_a_site_needs() {
    let garden = Garden::changed(&[]);
    for text in ["", "\n\n", "# my garden\n"] {
        let path = garden.file("empty.toml", text);
        let said = soakmist(&["check", &path]);
        assert_eq!(said.code, 1);
        let told = words(&said.out);
        for part in [
            "`name`",
            "[place]",
            "[supply] with flow",
            "[[zone]]",
            "1 error",
        ] {
            assert!(told.contains(part), "{part}: {told}");
        }
    }
}

#[test]
fn a_site_in_us_units_reads_no_metric_figure() {
    let metric = [
        " mm", " m²", "m³", "L/min", " L ", " m/s", "°C", " km", " mm/h",
    ];
    // What a source says is quoted as it says it.
    let quoted = |line: &str| line.starts_with("      ");
    let garden = Garden::changed(&[]);
    for arguments in [
        &["check", garden.site()][..],
        &[
            "timetable",
            garden.site(),
            "--explain",
            "back-lawn",
            "--days",
            "4",
        ],
        &["timetable", garden.site(), "--format", "hand"],
    ] {
        let out = soakmist(arguments).out;
        for line in out.lines().filter(|line| !quoted(line)) {
            for unit in metric {
                assert!(!line.contains(unit), "{arguments:?}: {line}");
            }
        }
    }
    for (from, to) in [
        ("flow = \"4.8 gpm\"", "flow = \"5.8 gpm\""),
        ("area = \"750 ft2\"", "area = \"2 ft2\""),
        ("elevation = \"886 ft\"", "elevation = \"12000 ft\""),
    ] {
        let garden = Garden::changed(&[(from, to)]);
        let out = soakmist(&["check", garden.site()]).out;
        let found = out.split("\n\n").find(|part| {
            part.contains("[supply-too-small]")
                || part.contains("[out-of-range]")
                || part.contains("elevation of")
        });
        let found = found.unwrap_or_else(|| panic!("{out}"));
        for unit in metric {
            assert!(!found.contains(unit), "{found}");
        }
    }
}

#[test]
fn cans_and_buckets_read_in_us_units_are_answered_in_them() {
    let cans = soakmist(&["catch-cans", "--in", "0.5,0.4,0.45,0.5", "--minutes", "30"]).out;
    assert!(cans.contains("mean 0.46 in (11.7 mm)"), "{cans}");
    assert!(
        cans.contains("sprinkler.precipitation-rate = \"0.925 in/h\""),
        "{cans}"
    );
    let arguments = [
        "catch-cans",
        "--bucket-gal",
        "5",
        "--seconds",
        "60",
        "--area-ft2",
        "750",
    ];
    let hose = soakmist(&arguments).out;
    assert!(hose.contains("sprinkler.flow = \"5.00 gpm\""), "{hose}");
    assert!(
        hose.contains("rate on 750 ft²") && hose.contains("0.1 in takes"),
        "{hose}"
    );
}

#[test]
fn the_balance_before_sowing_has_nothing_allowed() {
    let arguments = [
        "timetable",
        "config/backyard.toml",
        "--explain",
        "back-lawn",
        "--days",
        "4",
    ];
    let page = soakmist(&arguments).out;
    assert!(
        !page.contains("of 0.000") && !page.contains("of 0.00 "),
        "{page}"
    );
    assert!(page.contains(" of · "), "{page}");
}

/// The lines of `check` that warn or err, of the garden with these changes.
fn checked(changes: &[(&str, &str)]) -> String {
    words(&soakmist(&["check", Garden::changed(changes).site()]).out)
}

#[test]
fn air_too_cold_to_sow_is_said_and_no_day_is_promised() {
    let garden = Garden::changed(&[("harrowmere-weather.csv", "cold.csv")]);
    let weather = std::fs::read_to_string("config/harrowmere-weather.csv").unwrap();
    let cold = weather.lines().map(|line| {
        let mut fields: Vec<String> = line.split(',').map(str::to_owned).collect();
        if let Some(Ok(air_c)) = fields.get(1).map(|field| field.parse::<f64>()) {
            fields[1] = format!("{:.1}", air_c - 22.0);
        }
        fields.join(",")
    });
    garden.file("cold.csv", &cold.collect::<Vec<_>>().join("\n"));
    let page = garden.timetable(&[]).out;
    let text = words(&page);
    assert!(
        text.contains("DOUBT zone back-lawn: too cold for tall fescue"),
        "{page}"
    );
    assert!(
        text.contains("What cannot be met back-lawn: too cold for"),
        "{page}"
    );
    assert!(text.contains("no day can be promised"), "{page}");
    assert!(!text.contains("first mow not before"), "{page}");
    assert!(words(&garden.timetable(&["--format", "hand"]).out).contains("too cold for"));
    // In the weather as it is there is nothing to say.
    assert!(!Garden::changed(&[]).timetable(&[]).out.contains("too cold"));
}

#[test]
fn many_first_waterings_that_come_late_for_one_cause_are_told_together() {
    let garden = Garden::changed(&[("hours = [\"06:00-20:00\"]", "hours = [\"06:00-09:00\"]")]);
    let text = std::fs::read_to_string(&garden.site).unwrap();
    let (head, zone) = text.split_at(text.find("[[zone]]").unwrap());
    let zones: String = (1..=9)
        .map(|number| zone.replace("back-lawn", &format!("bed-{number}")))
        .collect();
    std::fs::write(&garden.site, format!("{head}{zones}")).unwrap();
    for (arguments, label) in [(&[][..], "DOUBT "), (&["--format", "hand"][..], "DOUBT: ")] {
        let page = garden.timetable(arguments).out;
        let text = words(&page);
        assert_eq!(text.matches(label).count(), 1, "{page}");
        assert!(
            text.contains("all zones: the first watering comes 12 h 30 min"),
            "{page}"
        );
    }
    // A program reads of each zone.
    let json = garden.timetable(&["--format", "json"]).out;
    assert_eq!(json.matches("the first watering comes").count(), 9);
}

#[test]
fn a_first_watering_that_has_to_wait_is_not_said_to_follow_at_once() {
    let garden = Garden::changed(&[("hours = [\"06:00-20:00\"]", "hours = [\"06:00-09:00\"]")]);
    let page = garden.timetable(&[]).out;
    let text = words(&page);
    assert!(!text.contains("follows at once"), "{page}");
    assert!(
        text.contains("the first watering follows 12 h 30 min later, on Sat 26 Aug at 06:00"),
        "{page}"
    );
    assert!(
        text.contains("DOUBT zone back-lawn: the first watering comes 12 h 30 min after sowing"),
        "{page}"
    );
    assert!(
        text.contains("sow on a day and at an hour when watering is allowed"),
        "{page}"
    );
}

#[test]
fn check_doubts_what_contradicts_itself_or_the_day() {
    let seeding = "mix = \"tall-fescue\"";
    for (added, told) in [
        (
            "cover = { material = \"light-sheet\", off = 2023-08-01 }",
            "comes off on 2023-08-01",
        ),
        (
            "cover = { material = \"light-sheet\", off = \"never\" }",
            "smothers the seedlings",
        ),
        (
            "top-dressing = { material = \"peat\", thickness = \"30 mm\" }",
            "thicker than the seed layer",
        ),
        ("emerged = 2023-08-26", "it came up 1 day after sowing"),
        ("emerged = 2099-01-01", "which is in the future"),
    ] {
        let out = checked(&[(seeding, &format!("{seeding}, {added}"))]);
        assert!(out.contains(told), "{added}: {out}");
    }
    let out = checked(&[("sun = \"70 %\"", "slope = \"90 %\"")]);
    assert!(out.contains("a slope of 90 % is steeper"), "{out}");
    // The permit is told in the form of the file.
    let out = checked(&[("06:00-20:00", "06:00-09:00")]);
    assert!(out.contains("add it inside `rules = { … }`"), "{out}");
    let out = checked(&[(seeding, "mix = \"ryegrass\"")]);
    assert!(
        out.contains("did you mean \"perennial-ryegrass\"?"),
        "{out}"
    );
}

#[test]
fn a_doubt_about_a_zone_has_its_line() {
    let garden = Garden::changed(&[]);
    let document = json(&["check", garden.site(), "--format", "json"]);
    let about = |item: &&Value| {
        item["message"]
            .as_str()
            .unwrap()
            .starts_with("zone back-lawn:")
    };
    let items = document["diagnostics"].as_array().unwrap();
    let item = items
        .iter()
        .find(about)
        .unwrap_or_else(|| panic!("{document}"));
    assert!(item["line"].as_u64().unwrap() > 0, "{item}");
    assert!(
        item["text"].as_str().unwrap().contains("back-lawn"),
        "{item}"
    );
}

#[test]
fn calendars_of_single_zones_do_not_replace_each_other() {
    let events = |zone: &str| {
        let site = "config/harrowmere.toml";
        let out = soakmist(&[
            "timetable",
            site,
            "--days",
            "3",
            "--zone",
            zone,
            "--format",
            "ical",
        ])
        .out;
        let out = out.replace("\r\n ", "");
        let uids = out.lines().filter_map(|line| line.strip_prefix("UID:"));
        uids.map(str::to_owned)
            .collect::<std::collections::BTreeSet<_>>()
    };
    let (square, nets) = (events("square"), events("nets"));
    assert!(
        !square.is_empty() && square.is_disjoint(&nets),
        "{square:?}"
    );
}
