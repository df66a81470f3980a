//! A site file gives a checked site, or all of its problems at once.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads files and may panic"
)]

use std::path::Path;

use chrono::TimeDelta;
use soakmist::site::{
    Code, CoverMaterial, CoverRemoval, Diagnostic, ExceptionEffect, Ground, Kind, LOGGED, Loaded,
    QuietDays, RainTrust, ServiceName, Severity, SoilKind, SoilState, Species, TABLES, TableKeys,
    TextureName, UnitSystem, load, load_bytes,
};

const EVERY_KEY: &str = include_str!("../data/every_key.toml");

/// A small file that is right; tests put faults into it.
const SMALL: &str = r#"name = "Back garden"
place = { latitude = 36.1, longitude = -79.9, elevation = "270 m", time-zone = "America/New_York" }
[supply]
flow = "20 L/min"
[[zone]]
name = "lawn"
area = "70 m2"
soil = "clay loam"
sprinkler = { flow = "18 L/min" }
seeding = { at = "2023-08-25 17:30", mix = "tall-fescue" }
"#;

fn config(name: &str) -> Loaded {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("config")
        .join(name);
    let text = std::fs::read_to_string(path).unwrap();
    match load(&text, name) {
        Ok(loaded) => loaded,
        Err(faults) => panic!("{faults}"),
    }
}

fn loaded(text: &str) -> Loaded {
    match load(text, "site.toml") {
        Ok(loaded) => loaded,
        Err(faults) => panic!("{faults}"),
    }
}

/// What is found in a text, errors or not.
fn found(text: &str) -> Vec<Diagnostic> {
    match load(text, "site.toml") {
        Ok(loaded) => loaded.warnings,
        Err(faults) => faults.items,
    }
}

/// The small file with a part replaced.
fn small(part: &str, by: &str) -> String {
    assert!(SMALL.contains(part), "{part}");
    SMALL.replacen(part, by, 1)
}

/// The one diagnostic of the small file with a part replaced.
fn the_one(part: &str, by: &str) -> Diagnostic {
    let text = small(part, by);
    let mut all = found(&text);
    assert_eq!(all.len(), 1, "{text}\n{all:#?}");
    all.remove(0)
}

fn assert_error(part: &str, by: &str, (code, line, column): (Code, usize, usize)) -> Diagnostic {
    let one = the_one(part, by);
    assert_eq!(
        (one.code, one.line, one.column),
        (code, line, column),
        "{}",
        one.render(false)
    );
    assert_eq!(one.severity, Severity::Error, "{}", one.render(false));
    assert!(one.help.is_some(), "{}", one.render(false));
    one
}

fn assert_warning(part: &str, by: &str, (code, line, column): (Code, usize, usize)) -> Diagnostic {
    let one = the_one(part, by);
    assert_eq!(
        (one.code, one.line, one.column),
        (code, line, column),
        "{}",
        one.render(false)
    );
    assert_eq!(one.severity, Severity::Warning, "{}", one.render(false));
    one
}

#[test]
fn the_sites_of_the_project_load_without_a_word() {
    let ground = config("harrowmere.toml");
    assert_eq!(ground.warnings, []);
    assert_eq!(ground.site.zones.len(), 8);
    let garden = config("backyard.toml");
    assert_eq!(garden.warnings, []);
    assert_eq!(garden.site.units, UnitSystem::UsCustomary);
}

#[test]
fn a_small_site_needs_no_more_than_fifteen_lines() {
    let text = include_str!("../../config/backyard.toml");
    assert!(text.lines().filter(|line| !line.trim().is_empty()).count() <= 15);
}

#[test]
fn every_key_reaches_the_model() {
    let site = loaded(EVERY_KEY).site;
    let close =
        |got: f64, expected: f64| assert!((got - expected).abs() < 1e-9, "{got} is not {expected}");
    assert_eq!(
        (site.name.as_str(), site.units),
        ("Every key", UnitSystem::UsCustomary)
    );
    close(site.place.elevation_m, 886.0 * 0.3048);
    assert!(site.place.coast);
    close(site.supply.flow.l_per_min(), 30.0 * 3.785_411_784);
    assert_eq!(site.supply.pump_start_delay, Some(TimeDelta::seconds(10)));
    let cost = site.supply.cost.as_ref().unwrap();
    close(cost.per_m3, 8.5 / 3.785_411_784);
    assert_eq!(site.rules.hours.len(), 2);
    assert_eq!(site.rules.weekdays.len(), 4);
    let exception = &site.rules.exceptions[0];
    assert_eq!(exception.zones, ["bare", "thin"]);
    assert!(matches!(&exception.effect, ExceptionEffect::Permit { hours } if hours.len() == 1));
    // One window for each span of hours.
    assert_eq!(site.quiet_windows.len(), 3);
    assert!(matches!(&site.quiet_windows[2].days, QuietDays::Dates(dates) if dates.len() == 2));
    assert_eq!(site.wind_limit, None);
    close(site.frost_limit_c, 25.0 / 9.0);
    assert_eq!(site.night.start_before_sunrise, TimeDelta::hours(1));
    let weather = &site.weather;
    close(weather.file.as_ref().unwrap().wind_height_m, 33.0 * 0.3048);
    assert_eq!(
        weather.services,
        [ServiceName::OpenMeteo, ServiceName::UsNws]
    );
    assert_eq!(weather.rain, RainTrust::Expected);
    assert_eq!(weather.typical_year.as_deref(), Some("greensboro.epw"));
    let logger = &weather.loggers[0];
    assert_eq!((logger.separator, logger.decimal_comma), (b';', true));
    close(logger.wind_height_m, 3.0);
    assert_eq!(logger.time.offset, chrono::FixedOffset::west_opt(5 * 3600));
    assert!(!logger.time.marks_end);
    let columns: Vec<_> = logger
        .columns
        .iter()
        .map(|column| column.variable)
        .collect();
    assert_eq!(columns, LOGGED.map(|(name, _)| name));

    let bare = &site.zones[0];
    close(bare.slope_pct, 3.0);
    close(bare.sun_share, 0.8);
    assert!(
        matches!(bare.soil.kind, SoilKind::Fractions { sand_pct, .. } if (sand_pct - 60.0).abs() < 1e-9)
    );
    close(bare.soil.measured.unwrap().wilting_point, 0.1);
    close(bare.soil.infiltration_rate.unwrap().mm_per_h(), 12.7);
    close(bare.sprinkler.precipitation_rate.mm_per_h(), 10.16);
    assert_eq!(bare.seeding.at.to_rfc3339(), "2023-08-22T20:00:00+00:00");
    assert_eq!(bare.seeding.soil_state, SoilState::Half);
    assert_eq!(bare.seeding.emerged.unwrap().to_string(), "2023-09-01");
    assert_eq!(bare.seeding.all_up.unwrap().to_string(), "2023-09-09");
    close(bare.seeding.top_dressing.unwrap().thickness.mm(), 5.08);
    assert!(matches!(
        bare.seeding.cover.unwrap().removed,
        CoverRemoval::On(_)
    ));
    close(bare.pre_soak.depth.mm(), 152.4);
    assert_eq!(bare.runs.soak_time, TimeDelta::minutes(40));
    close(bare.root_growth_mm_per_day, 7.62);
    close(bare.allowed_depletion.root_zone, 0.45);

    let thin = &site.zones[1];
    assert_eq!(thin.soil.kind, SoilKind::Texture(TextureName::SiltLoam));
    // Inherited from [all-zones]; 60 × 40 L/min over 300 m².
    close(thin.slope_pct, 1.0);
    close(thin.sprinkler.precipitation_rate.mm_per_h(), 8.0);
    assert!(
        matches!(thin.seeding.ground, Ground::Turf { cover_fraction } if (cover_fraction - 0.6).abs() < 1e-9)
    );
    assert_eq!(thin.seeding.mix[0].species, Species::PerennialRyegrass);
    close(thin.seeding.mix[0].share, 0.7);
    assert_eq!(thin.seeding.soil_state, SoilState::Measured(0.18));
    let cover = thin.seeding.cover.unwrap();
    assert!(matches!(cover.material, CoverMaterial::Mulch { .. }));
    assert_eq!(cover.removed, CoverRemoval::Never);
    // 9 mm/h on 200 m² is 30 L/min; warm season: FAO-56 Table 22.
    close(site.zones[2].sprinkler.flow.l_per_min(), 30.0);
    close(site.zones[2].allowed_depletion.root_zone, 0.5);
}

#[test]
fn every_key_of_the_list_is_accepted_and_read() {
    // The inner keys of a column stand in one line with its own.
    let in_lines = |table: &&TableKeys| table.path != "weather.logger.variable";
    for table in TABLES.iter().filter(in_lines) {
        for key in table
            .keys
            .iter()
            .filter(|key| !matches!(key.kind, Kind::Table | Kind::Tables))
        {
            let mut seen = false;
            let mut title = "the top of the file";
            for (index, line) in EVERY_KEY.lines().enumerate() {
                if line.starts_with('[') {
                    title = line.trim();
                } else if title == table.title && line.starts_with(&format!("{} = ", key.name)) {
                    seen = true;
                    let mut lines: Vec<String> = EVERY_KEY.lines().map(str::to_owned).collect();
                    lines[index] = format!("{} = [[[]]]", key.name);
                    let told = found(&lines.join("\n"));
                    assert!(
                        told.iter()
                            .any(|item| item.severity == Severity::Error && item.line == index + 1),
                        "a wrong {} in {} is not told",
                        key.name,
                        table.title
                    );
                }
            }
            assert!(
                seen,
                "tests/data/every_key.toml lacks {} in {}",
                key.name, table.title
            );
        }
    }
}

/// The small file with a weather table at its top.
fn with_weather(weather: &str) -> String {
    format!("weather = {weather}\n{SMALL}")
}

#[test]
fn faults_of_the_weather_table_are_told_with_place_and_mend() {
    let wrong = [
        (
            r#"{ services = ["open-metro"] }"#,
            Code::UnknownWord,
            25,
            "open-meteo",
        ),
        (
            r#"{ service = ["open-meteo"] }"#,
            Code::UnknownKey,
            13,
            "services",
        ),
        (
            r#"{ services = ["met-norway"] }"#,
            Code::MissingKey,
            24,
            "contact = ",
        ),
        (
            r#"{ services = [] }"#,
            Code::MissingKey,
            11,
            "services = [\"open-meteo\"]",
        ),
        (
            r#"{ rain = "often", services = ["open-meteo"] }"#,
            Code::UnknownWord,
            20,
            "never",
        ),
        (
            r#"{ services = ["open-meteo"], contact = "the groundskeeper" }"#,
            Code::OutOfRange,
            50,
            "plain letters",
        ),
    ];
    for (weather, code, column, help) in wrong {
        let all = found(&with_weather(weather));
        assert_eq!(all.len(), 1, "{weather}\n{all:#?}");
        let one = &all[0];
        let place = (one.severity, one.code, one.line, one.column);
        assert_eq!(
            place,
            (Severity::Error, code, 1, column),
            "{}",
            one.render(false)
        );
        assert!(
            one.help.as_ref().unwrap().contains(help),
            "{}",
            one.render(false)
        );
    }
}

#[test]
fn faults_of_a_logger_are_told_with_place_and_mend() {
    let logger = r#"{ logger = [{ file = "a.csv", separator = ";", time = { column = "Date", form = "%d.%m.%Y %H:%M", clock = "local", marks = "end" }, columns = { rain = { column = "Rain", unit = "mm" } } }] }"#;
    assert_eq!(found(&with_weather(logger)), []);
    let wrong = [
        (r#""mm""#, r#""°C""#, Code::BadQuantity, "mm, cm or in"),
        (
            r#"unit = "mm""#,
            r#"units = "mm""#,
            Code::UnknownKey,
            "`unit`",
        ),
        ("rain = {", "rian = {", Code::UnknownKey, "`rain`"),
        ("%d.%m.%Y %H:%M", "%d.%m.%Q", Code::OutOfRange, "%H:%M"),
        ("%d.%m.%Y %H:%M", "day", Code::OutOfRange, "%H:%M"),
        (r#""local""#, r#""summer""#, Code::WrongType, "clock = "),
        (r#""end""#, r#""ends""#, Code::UnknownWord, "end"),
        (r#"";""#, r#"";;""#, Code::WrongType, "separator = "),
        (
            r#"separator = ";""#,
            "decimal-comma = true",
            Code::Contradiction,
            "separator = \";\"",
        ),
    ];
    for (part, by, code, help) in wrong {
        assert!(logger.contains(part), "{part}");
        let all = found(&with_weather(&logger.replacen(part, by, 1)));
        let one = &all[0];
        assert_eq!((all.len(), one.code), (1, code), "{by}\n{all:#?}");
        assert!(
            one.help.as_ref().unwrap().contains(help),
            "{}",
            one.render(false)
        );
    }
}

#[test]
fn a_weather_table_needs_no_file_and_tells_no_default_without_effect() {
    let defaults = |weather: &str| {
        let site = loaded(&with_weather(weather)).site;
        let of_weather = site.defaults_used.into_iter().map(|used| used.key);
        let keys: Vec<String> = of_weather
            .filter(|key| key.starts_with("weather"))
            .collect();
        keys
    };
    assert_eq!(defaults(r#"{ file = "a.csv" }"#), ["weather.wind-height"]);
    assert_eq!(
        defaults(r#"{ services = ["open-meteo"] }"#),
        ["weather.rain"]
    );
    assert_eq!(
        defaults(r#"{ services = [], typical-year = "a.epw" }"#),
        [""; 0]
    );
    let idle = found(&with_weather(
        r#"{ services = ["open-meteo"], wind-height = "2 m" }"#,
    ));
    assert_eq!((idle.len(), idle[0].code), (1, Code::NoEffect));
}

#[test]
fn all_problems_are_told_at_once() {
    let text = r#"nmae = "x"
name = "garden"
[place]
latitude = 36.1
longitude = 200
elevation = 270
time-zone = "America/NewYork"
[supply]
flow = "20 L"
[[zone]]
name = "Front Lawn"
area = "-4 m2"
soil = { sand = "70 %", clay = "40 %" }
sprinkler = { precipitation-rate = "400 mm/h" }
seeding = { at = "yesterday", mix = { clover = 3 } }
"#;
    let told: Vec<(usize, Code)> = found(text)
        .iter()
        .map(|item| (item.line, item.code))
        .collect();
    assert_eq!(
        told,
        [
            (1, Code::UnknownKey),
            (5, Code::OutOfRange),
            (6, Code::BadQuantity),
            (7, Code::UnknownWord),
            (9, Code::BadQuantity),
            (11, Code::OutOfRange),
            (12, Code::OutOfRange),
            (13, Code::OutOfRange),
            (14, Code::OutOfRange),
            (15, Code::BadTime),
            (15, Code::UnknownWord),
        ]
    );
}

#[test]
fn a_misspelt_key_is_told_what_was_meant() {
    let one = assert_error("area =", "aera =", (Code::UnknownKey, 7, 1));
    assert_eq!(one.help.as_deref(), Some("did you mean `area`?"));
}

#[test]
fn a_key_of_another_table_is_told_where_it_belongs() {
    let by = "flow = \"20 L/min\"\nlatitude = 3";
    let one = assert_error("flow = \"20 L/min\"", by, (Code::UnknownKey, 5, 1));
    assert_eq!(one.help.as_deref(), Some("`latitude` belongs in [place]"));
}

#[test]
fn a_missing_key_is_told_at_the_head_of_its_table() {
    let one = assert_error("flow = \"20 L/min\"", "", (Code::MissingKey, 3, 1));
    assert_eq!(one.length, "[supply]".len());
    assert_error("mix = \"tall-fescue\"", "", (Code::MissingKey, 10, 11));
    assert_error("flow = \"18 L/min\"", "", (Code::MissingKey, 9, 13));
    let all = found("name = \"x\"");
    assert_eq!(
        all.iter().map(|item| item.code).collect::<Vec<_>>(),
        [Code::MissingKey; 3]
    );
}

#[test]
fn wrong_types_are_told() {
    assert_error("\"Back garden\"", "3", (Code::WrongType, 1, 8));
    assert_error(
        "latitude = 36.1",
        "latitude = \"36.1\"",
        (Code::WrongType, 2, 22),
    );
    assert_error("[[zone]]", "[zone]", (Code::WrongType, 5, 1));
    assert_error(
        "flow = \"20 L/min\"",
        "flow = \"20 L/min\"\nmaster-valve = \"yes\"",
        (Code::WrongType, 5, 16),
    );
}

#[test]
fn a_bare_number_gets_its_unit_proposed() {
    let one = assert_error("\"70 m2\"", "70", (Code::BadQuantity, 7, 8));
    assert_eq!(
        one.help.as_deref(),
        Some("write `area = \"70 m2\"`; accepted are m2, ha, ft2, yd2, acre")
    );
    assert_error("\"70 m2\"", "\"70\"", (Code::BadQuantity, 7, 8));
    assert_error("\"70 m2\"", "\"70 L/min\"", (Code::BadQuantity, 7, 8));
    assert_error("\"70 m2\"", "\"70 furlongs\"", (Code::BadQuantity, 7, 8));
    assert_error("\"70 m2\"", "\"nan m2\"", (Code::BadQuantity, 7, 8));
    assert_error("36.1", "nan", (Code::OutOfRange, 2, 22));
    assert_error("36.1", "inf", (Code::OutOfRange, 2, 22));
}

#[test]
fn absurd_values_are_errors() {
    assert_error(
        "flow = \"18 L/min\"",
        "precipitation-rate = \"400 mm/h\"",
        (Code::OutOfRange, 9, 36),
    );
    assert_error(
        "\"clay loam\"",
        "{ sand = \"70 %\", clay = \"40 %\" }",
        (Code::OutOfRange, 8, 32),
    );
    assert_error("-79.9", "200", (Code::OutOfRange, 2, 40));
    assert_error("36.1", "-91", (Code::OutOfRange, 2, 22));
    assert_error("\"70 m2\"", "\"-70 m2\"", (Code::OutOfRange, 7, 8));
    assert_error("\"70 m2\"", "\"1 m2\"", (Code::OutOfRange, 9, 22));
    for uniformity in ["0", "1.01", "-0.5"] {
        let by = format!("flow = \"18 L/min\", distribution-uniformity = {uniformity}");
        assert_error("flow = \"18 L/min\"", &by, (Code::OutOfRange, 9, 60));
    }
    assert_error(
        "\"tall-fescue\"",
        "{ tall-fescue = 0 }",
        (Code::OutOfRange, 10, 60),
    );
    assert_error("\"tall-fescue\"", "{}", (Code::OutOfRange, 10, 44));
    assert_error("2023-08-25", "1023-08-25", (Code::OutOfRange, 10, 18));
    let measured = "{ texture = \"loam\", field-capacity = \"12 %\", wilting-point = \"12 %\" }";
    assert_error("\"clay loam\"", measured, (Code::OutOfRange, 8, 69));
}

#[test]
fn what_excludes_itself_is_an_error() {
    assert_error(
        "[[zone]]",
        "[[quiet]]\nname = \"x\"\nhours = \"09:00-10:00\"\nweekdays = [\"mon\"]\ndates = [2023-09-01]\n[[zone]]",
        (Code::Contradiction, 9, 9),
    );
    assert_error(
        "[[zone]]",
        "[[rules.exception]]\nname = \"x\"\nfrom = 2023-09-02\nto = 2023-09-01\neffect = \"ban\"\n[[zone]]",
        (Code::Contradiction, 8, 6),
    );
    assert_error(
        "\"clay loam\"",
        "{ texture = \"loam\", sand = \"40 %\" }",
        (Code::Contradiction, 8, 35),
    );
    assert_error(
        "seeding =",
        "runs = { shortest = \"5 min\", longest = \"4 min\" }\nseeding =",
        (Code::Contradiction, 10, 40),
    );
    assert_error(
        "mix =",
        "emerged = 2022-09-01, mix =",
        (Code::Contradiction, 10, 48),
    );
    assert_error(
        "mix =",
        "all-up = 2022-09-01, mix =",
        (Code::Contradiction, 10, 47),
    );
    assert_error(
        "mix =",
        "emerged = 2023-09-05, all-up = 2023-09-01, mix =",
        (Code::Contradiction, 10, 69),
    );
}

#[test]
fn an_empty_list_is_an_error_and_never_means_all() {
    let quiet = |line: &str| format!("[[quiet]]\nname = \"x\"\n{line}\n[[zone]]");
    let hours = "hours = \"09:00-10:00\"\n";
    assert_error(
        "[[zone]]",
        &quiet("hours = []"),
        (Code::Contradiction, 7, 9),
    );
    for (line, column) in [("zones = []", 9), ("weekdays = []", 12), ("dates = []", 9)] {
        let by = quiet(&format!("{hours}{line}"));
        assert_error("[[zone]]", &by, (Code::Contradiction, 8, column));
    }
    let head = &SMALL[..SMALL.find("[supply]").unwrap()];
    let all = found(&format!("zone = []\n{head}[supply]\nflow = \"1 gpm\"\n"));
    let places: Vec<_> = all.iter().map(|item| (item.code, item.line)).collect();
    assert_eq!(places, [(Code::MissingKey, 1)]);
}

#[test]
fn names_must_be_unique_and_known() {
    let twice = format!("{SMALL}{}", &SMALL[SMALL.find("[[zone]]").unwrap()..]);
    let all = found(&twice);
    assert_eq!(
        all.iter()
            .map(|item| (item.code, item.line, item.column))
            .collect::<Vec<_>>(),
        [(Code::Duplicate, 12, 8)]
    );
    let one = assert_error(
        "[[zone]]",
        "[[quiet]]\nname = \"x\"\nhours = \"09:00-10:00\"\nzones = [\"lwan\"]\n[[zone]]",
        (Code::UnknownZone, 8, 10),
    );
    assert_eq!(one.help.as_deref(), Some("did you mean \"lawn\"?"));
    let one = assert_error("\"lawn\"", "\"Front Lawn\"", (Code::OutOfRange, 6, 8));
    assert!(one.help.unwrap().ends_with("\"front-lawn\""));
}

#[test]
fn words_and_time_zones_get_a_proposal() {
    let one = assert_error(
        "America/New_York",
        "America/Newyork",
        (Code::UnknownWord, 2, 80),
    );
    assert_eq!(
        one.help.as_deref(),
        Some("did you mean \"America/New_York\"?")
    );
    let one = assert_error("\"clay loam\"", "\"clay lome\"", (Code::UnknownWord, 8, 8));
    assert_eq!(one.help.as_deref(), Some("did you mean \"clay-loam\"?"));
    let one = assert_error(
        "\"tall-fescue\"",
        "\"tall fescu\"",
        (Code::UnknownWord, 10, 44),
    );
    assert_eq!(one.help.as_deref(), Some("did you mean \"tall-fescue\"?"));
}

#[test]
fn local_times_that_clocks_skip_or_repeat_are_errors() {
    // America/New_York 2023: forward 12 March, back 5 November, 02:00 local
    // (IANA time zone database).
    assert_error(
        "2023-08-25 17:30",
        "2023-03-12 02:30",
        (Code::ClockChange, 10, 18),
    );
    let one = assert_error(
        "2023-08-25 17:30",
        "2023-11-05 01:30",
        (Code::ClockChange, 10, 18),
    );
    assert!(
        one.help
            .unwrap()
            .contains("\"2023-11-05 01:30-04:00\" for the first")
    );
    loaded(&small("2023-08-25 17:30", "2023-11-05 01:30-04:00"));
    assert_error(
        "2023-08-25 17:30",
        "2023-02-30 12:00",
        (Code::BadTime, 10, 18),
    );
    assert_error(
        "[[zone]]",
        "[rules]\nhours = [\"8-9\"]\n[[zone]]",
        (Code::BadTime, 6, 10),
    );
}

#[test]
fn a_zone_that_the_supply_cannot_feed_is_an_error() {
    let one = assert_error(
        "flow = \"20 L/min\"",
        "flow = \"17 L/min\"",
        (Code::SupplyTooSmall, 9, 22),
    );
    assert!(one.message.contains("18.0 L/min") && one.message.contains("17.0 L/min"));
}

#[test]
fn doubtful_values_are_warnings_that_say_what_follows() {
    // 10 mm/h on 70 m² is 11.7 L/min, not 18.
    assert_warning(
        "flow = \"18 L/min\"",
        "flow = \"18 L/min\", precipitation-rate = \"10 mm/h\"",
        (Code::FlowDisagrees, 9, 22),
    );
    assert_warning(
        "seeding =",
        "pre-soak = { rest = \"2 h\" }\nseeding =",
        (Code::Unusual, 10, 21),
    );
    assert_warning(
        "\"tall-fescue\"",
        "{ tall-fescue = 1, zoysiagrass = 1 }",
        (Code::Unusual, 10, 44),
    );
    assert_warning("-79.9", "79.9", (Code::WrongPlace, 2, 40));
    assert_warning("270 m", "3400 m", (Code::Unusual, 2, 59));
    let poor = "flow = \"18 L/min\", distribution-uniformity = 0.3";
    assert_warning("flow = \"18 L/min\"", poor, (Code::Unusual, 9, 60));
    assert_warning(
        "[[zone]]",
        "[rules]\nhours = [\"20:00-08:00\"]\n[[zone]]",
        (Code::LittleTime, 5, 1),
    );
    assert_warning(
        "[[zone]]",
        "[rules]\ndates = \"odd\"\n[[zone]]",
        (Code::LittleTime, 5, 1),
    );
    assert_warning(
        "[[zone]]",
        "[[quiet]]\nname = \"always\"\nhours = \"00:00-23:00\"\n[[zone]]",
        (Code::LittleTime, 5, 1),
    );
    assert_warning(
        "flow = \"20 L/min\"",
        "flow = \"20 L/min\"\ncurrency = \"USD\"",
        (Code::NoEffect, 5, 12),
    );
    assert_warning("mix =", "turf-cover = 0.5, mix =", (Code::NoEffect, 10, 51));
}

#[test]
fn a_seeding_permit_answers_the_doubt_about_the_rules() {
    let permit = "[rules]\nhours = [\"20:00-08:00\"]\n[[rules.exception]]\nname = \"permit\"\n\
                  from = 2023-08-20\nto = 2023-09-20\neffect = \"permit\"\n[[zone]]";
    assert_eq!(found(&small("[[zone]]", permit)), []);
}

#[test]
fn a_broken_file_is_told_with_line_and_column() {
    let all = found("name = \"a\nunits = 3\n[place\n");
    assert!(all.iter().all(|item| item.code == Code::Syntax));
    assert_eq!(all.iter().map(|item| item.line).collect::<Vec<_>>(), [1, 3]);
    let faults = load_bytes(b"name = \"a\"\n# \xff\n", "site.toml").unwrap_err();
    assert_eq!(
        (
            faults.items[0].code,
            faults.items[0].line,
            faults.items[0].column
        ),
        (Code::NotText, 2, 3)
    );
}

#[test]
fn a_file_has_bounds() {
    let huge = format!("{SMALL}#{}", " ".repeat(1024 * 1024));
    assert_eq!(
        found(&huge)
            .iter()
            .map(|item| item.code)
            .collect::<Vec<_>>(),
        [Code::TooLarge]
    );
    let head = &SMALL[..SMALL.find("[[zone]]").unwrap()];
    let many = format!("{head}{}", "[[zone]]\n".repeat(2001));
    assert_eq!(
        found(&many)
            .iter()
            .map(|item| item.code)
            .collect::<Vec<_>>(),
        [Code::TooMany]
    );
    let rubbish: String = (0..5000).map(|n| format!("k{n} = 1\n")).collect();
    assert_eq!(found(&rubbish).len(), 500);
}

#[test]
fn every_default_that_stands_in_is_named_with_its_reason() {
    let site = loaded(SMALL).site;
    let named = |key: &str| site.defaults_used.iter().find(|default| default.key == key);
    let uniformity = named("zone.lawn.sprinkler.distribution-uniformity").unwrap();
    assert_eq!(uniformity.value, "60 %");
    assert!(named("limits.wind").is_some() && named("night.dry-before-sunset").is_some());
    assert!(
        site.defaults_used
            .iter()
            .all(|default| !default.why.is_empty())
    );
    // What the file says is no default.
    let said = loaded(&small("seeding =", "sun = \"50 %\"\nseeding =")).site;
    assert!(
        said.defaults_used
            .iter()
            .all(|default| default.key != "zone.lawn.sun")
    );
}

#[test]
fn a_default_is_told_in_us_units_where_people_read_those() {
    let value = |text: &str, key: &str| {
        let site = loaded(text).site;
        let mut used = site.defaults_used.into_iter();
        used.find(|default| default.key.ends_with(key))
            .map(|default| default.value)
    };
    let us = include_str!("../../config/backyard.toml");
    // 150/25.4 = 5.906; 4/0.44704 = 8.948; 3 × 9/5 + 32 = 37.4.
    assert_eq!(value(us, "pre-soak.depth").as_deref(), Some("5.91 in"));
    assert_eq!(value(us, "limits.wind").as_deref(), Some("8.9 mph"));
    assert_eq!(value(us, "limits.frost").as_deref(), Some("37.4 °F"));
    let si = us.replace("\"us\"", "\"si\"");
    assert_eq!(value(&si, "pre-soak.depth").as_deref(), Some("150 mm"));
}

#[test]
fn zones_inherit_key_by_key_but_not_a_rate_beside_their_own_flow() {
    let shared = "[all-zones]\nsoil = \"sand\"\nsprinkler = { precipitation-rate = \"40 mm/h\", \
                  distribution-uniformity = 0.7 }\nruns = { longest = \"9 min\" }\n[[zone]]";
    let text = small("[[zone]]", shared).replace("soil = \"clay loam\"\n", "");
    let Loaded { site, warnings } = loaded(&text);
    assert_eq!(warnings, []);
    let zone = &site.zones[0];
    assert_eq!(zone.soil.kind, SoilKind::Texture(TextureName::Sand));
    assert!((zone.sprinkler.distribution_uniformity - 0.7).abs() < 1e-12);
    assert!((zone.sprinkler.precipitation_rate.mm_per_h() - 60.0 * 18.0 / 70.0).abs() < 1e-9);
    assert_eq!(
        (zone.runs.longest, zone.runs.shortest),
        (TimeDelta::minutes(9), TimeDelta::minutes(1))
    );
}

#[test]
fn a_former_name_goes_to_one_zone_and_is_no_zone_any_more() {
    let second = SMALL[SMALL.find("[[zone]]").unwrap()..].replace("\"lawn\"", "\"second\"");
    let site = |first: &str, other: &str| {
        let named = |name: &str, lines: &str| format!("name = \"{name}\"\n{lines}");
        let lawn = SMALL.replace("name = \"lawn\"", &named("lawn", first));
        lawn + &second.replace("name = \"second\"", &named("second", other))
    };
    let text = site(
        "formerly = [\"croquet\", \"bowls\"]",
        "formerly = \"strip\"",
    );
    let zones = loaded(&text).site.zones;
    assert_eq!(zones[0].formerly, ["croquet", "bowls"]);
    assert_eq!(zones[1].formerly, ["strip"]);
    for (first, other, code, says) in [
        (
            "formerly = \"lawn\"",
            "",
            Code::Contradiction,
            "the present name of this zone",
        ),
        (
            "formerly = [\"croquet\", \"second\"]",
            "",
            Code::Contradiction,
            "still a zone of this site",
        ),
        (
            "formerly = \"croquet\"",
            "formerly = \"croquet\"",
            Code::Duplicate,
            "as a former name before",
        ),
        (
            "formerly = \"Croquet Lawn\"",
            "",
            Code::OutOfRange,
            "cannot be the name of a zone",
        ),
    ] {
        let all = found(&site(first, other));
        assert_eq!(all.len(), 1, "{first} {other}: {all:?}");
        assert_eq!(all[0].code, code);
        assert!(all[0].message.contains(says), "{}", all[0].message);
        assert!(all[0].text.contains("formerly"), "{}", all[0].text);
    }
    let shared = small("[[zone]]", "[all-zones]\nformerly = \"croquet\"\n[[zone]]");
    assert_eq!(found(&shared)[0].code, Code::Contradiction);
}

#[test]
fn a_fault_in_what_zones_inherit_is_told_once_and_at_its_place() {
    let text = small("[[zone]]", "[all-zones]\nsun = \"half\"\n[[zone]]");
    let more = format!(
        "{text}{}",
        &SMALL[SMALL.find("[[zone]]").unwrap()..].replace("\"lawn\"", "\"second\"")
    );
    let all = found(&more);
    assert_eq!(
        all.iter()
            .map(|item| (item.code, item.line))
            .collect::<Vec<_>>(),
        [(Code::BadQuantity, 6)]
    );
}

#[test]
fn the_demo_weather_is_physically_consistent() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/harrowmere-weather.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    let header = reader
        .headers()
        .unwrap()
        .iter()
        .collect::<Vec<_>>()
        .join(",");
    assert_eq!(
        header,
        "time,air_temp_c,rel_humidity_pct,wind_speed_m_s,solar_w_m2,precip_mm,pressure_kpa"
    );
    let mut previous: Option<chrono::DateTime<chrono::FixedOffset>> = None;
    let mut rows = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let end = chrono::DateTime::parse_from_rfc3339(&row[0]).unwrap();
        assert!(
            previous.is_none_or(|before| end - before == TimeDelta::hours(1)),
            "{}",
            &row[0]
        );
        previous = Some(end);
        let value = |index: usize| row[index].parse::<f64>().unwrap();
        assert!((0.0..40.0).contains(&value(1)), "{row:?}");
        assert!((10.0..=100.0).contains(&value(2)), "{row:?}");
        assert!((0.0..15.0).contains(&value(3)), "{row:?}");
        // Dark from 20 h to 4 h at 36° N; never more than a clear sky gives.
        let hour = chrono::Timelike::hour(&end);
        let dark = !(5..=20).contains(&hour);
        assert!(
            (0.0..=if dark { 0.0 } else { 1000.0 }).contains(&value(4)),
            "{row:?}"
        );
        assert!(
            (0.0..40.0).contains(&value(5)) && (95.0..101.0).contains(&value(6)),
            "{row:?}"
        );
        rows += 1;
    }
    // 1 August to 15 October.
    assert_eq!(rows, 76 * 24);
}
