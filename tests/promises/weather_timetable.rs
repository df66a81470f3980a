//! `soakmist timetable` on a site whose weather comes from services, loggers and a
//! typical year: it plans on the best that is known, and says loudly what failed.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may panic and writes its files"
)]

use std::fmt::Write;

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};

use crate::command::{Said, assert_fits_80_columns, soakmist};
use crate::json_schema::violations;
use crate::weather_server::{Script, Server};

const OPEN_METEO: &str = include_str!("../data/weather/open_meteo.json");
const MET_NORWAY: &str = include_str!("../data/weather/met_norway.json");

/// The morning of the fixtures.
const MORNING: &str = "2026-06-01T05:12:00Z";

fn site_file(weather: &str) -> String {
    format!(
        r#"
name = "Harrowmere"
units = "si"
place = {{ latitude = 51.25, longitude = 9.5, elevation = "171 m", time-zone = "Europe/Berlin" }}
supply = {{ flow = "40 L/min" }}

[[zone]]
name = "lawn"
area = "100 m2"
soil = "loam"
sprinkler = {{ flow = "20 L/min" }}
seeding = {{ at = 2026-06-03 10:00:00, mix = "perennial-ryegrass" }}

[weather]
{weather}
"#
    )
}

/// A folder with a site, and what is asked of it.
struct Kit {
    folder: tempfile::TempDir,
    urls: Vec<String>,
}

impl Kit {
    fn new(weather: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("site.toml"), site_file(weather)).unwrap();
        Self {
            folder,
            urls: Vec::new(),
        }
    }

    fn asks(mut self, service: &str, url: &str) -> Self {
        self.urls.push(format!("{service}={url}"));
        self
    }

    fn holds(self, name: &str, text: &str) -> Self {
        std::fs::write(self.folder.path().join(name), text).unwrap();
        self
    }

    /// Runs a command at an instant.
    async fn at(&self, now: &str, command: &str, more: &[&str]) -> Said {
        let path = |name: &str| self.folder.path().join(name).display().to_string();
        let mut all = vec![command.to_owned(), path("site.toml")];
        all.extend(["--now", now, "--cache", &path("cache")].map(str::to_owned));
        for url in &self.urls {
            all.extend(["--service-url".to_owned(), url.clone()]);
        }
        all.extend(more.iter().map(|&word| word.to_owned()));
        tokio::task::spawn_blocking(move || {
            soakmist(&all.iter().map(String::as_str).collect::<Vec<_>>())
        })
        .await
        .unwrap()
    }

    async fn plan(&self, now: &str) -> Said {
        self.at(now, "timetable", &[]).await
    }
}

/// A text without its line breaks.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The counts of the head, such as (0, 161, 0, 0): measured, forecast, typical
/// year, estimated.
fn counts(said: &Said) -> [u32; 4] {
    let text = flat(&said.out);
    let (_, counted) = text.split_once("hours of air temperature: ").expect(&text);
    ["measured", "forecast", "typical year", "estimated"].map(|word| {
        let (before, _) = counted.split_once(word).unwrap();
        before.split_whitespace().last().unwrap().parse().unwrap()
    })
}

/// A typical year of which the fourteenth hour has 24 °C and the second 4 °C.
fn typical_year() -> String {
    let mut text = "LOCATION,Harrowmere,-,DEU,invented,000000,51.25,9.50,1.0,171.0\n".to_owned();
    text.push_str(&"DESIGN CONDITIONS,0\n".repeat(7));
    let first: DateTime<Utc> = "2023-01-01T00:00:00Z".parse().unwrap();
    for hour in 0..8760 {
        let start = first + TimeDelta::hours(hour);
        let of_day = start.hour();
        let warmth = 14 + 10 - 10 * i64::from(of_day.abs_diff(13)) / 12;
        let sun = if (6..19).contains(&of_day) { 400 } else { 0 };
        let _ = writeln!(
            text,
            "1999,{},{},{},60,?9,{warmth}.0,8.0,60,99000,0,0,300,{sun},0,0,0,0,0,0,200,3.0,5,5,\
             9,9,9,9,9,9,9,9,9,0.0,1.0",
            start.month(),
            start.day(),
            of_day + 1,
        );
    }
    text
}

#[tokio::test]
async fn a_plan_stands_on_the_forecast_as_far_as_it_reaches() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    let said = kit.plan(MORNING).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert_fits_80_columns(&said.out);
    // From this hour, 07:00, to the last midnight that the forecast reaches.
    assert!(said.out.contains("Mon 1 Jun to Sun 7 Jun 2026, 7 days"));
    assert_eq!(counts(&said), [0, 161, 0, 0]);
    assert!(flat(&said.out).contains("expected rain counts from 70 % probability on"));
    assert!(!said.out.contains("ALARM"), "{}", said.out);
    // Another plan within the hour asks nobody, and is the same to the byte.
    let again = kit.plan(MORNING).await;
    assert_eq!(again.out, said.out);
    assert_eq!(server.asked().len(), 1);
}

#[tokio::test]
async fn the_json_of_a_merged_plan_keeps_to_its_schema() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    let json = ["--format", "json"];
    kit.plan(MORNING).await;
    let stale = kit.at("2026-06-01T09:12:00Z", "timetable", &json).await;
    let document: serde_json::Value = serde_json::from_str(&stale.out).unwrap();
    let schema = include_str!("../../docs/timetable.schema.json");
    let schema = serde_json::from_str(schema).unwrap();
    assert_eq!(violations(&schema, &document), [] as [String; 0]);
    assert_eq!(document["weather"]["alarms"].as_array().unwrap().len(), 1);
    let by_variable = &document["weather"]["hours_by_provenance"];
    assert!(by_variable["air_temperature"]["forecast"].as_u64().unwrap() > 100);
}

#[tokio::test]
async fn each_failure_of_a_service_falls_back_and_is_told_at_the_top() {
    let body = OPEN_METEO.as_bytes().to_vec();
    let failures = [
        (
            Script::status(429).with("retry-after", "600"),
            "asked too often (HTTP 429)",
        ),
        (Script::status(500), "trouble of its own (HTTP 500)"),
        (Script::ok(&body[..body.len() / 2]), "not the expected JSON"),
        (Script::Cut(body.clone()), "open-meteo: "),
        (
            Script::ok(r#"{"error":true,"reason":"Daily API request limit exceeded"}"#),
            "the service refused",
        ),
    ];
    for (failure, words) in failures {
        let server = Server::start(vec![Script::ok(OPEN_METEO), failure.clone()]).await;
        let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
        kit.plan(MORNING).await;
        // The last good reply stands in, with its time.
        let said = kit.plan("2026-06-01T09:12:00Z").await;
        assert_eq!(said.code, 0, "{}", said.err);
        assert_fits_80_columns(&said.out);
        let text = flat(&said.out);
        assert!(text.contains("ALARM") && text.contains(words), "{text}");
        assert!(
            text.contains("its reply of 2026-06-01 05:12 UTC stands in"),
            "{text}"
        );
        // The page tells it, so nothing else does.
        assert_eq!(said.err, "");

        // Without one, the next service.
        let bad = Server::start(vec![failure]).await;
        let good = Server::start(vec![Script::ok(MET_NORWAY)]).await;
        let kit = Kit::new(
            "services = [\"open-meteo\", \"met-norway\"]\ncontact = \"a@harrowmere.example\"",
        )
        .asks("open-meteo", &bad.url)
        .asks("met-norway", &good.url);
        let said = kit.plan(MORNING).await;
        assert_eq!(said.code, 0, "{}", said.err);
        let text = flat(&said.out);
        assert!(
            text.contains(words) && text.contains("gives nothing to this plan"),
            "{text}"
        );
        assert!(text.contains("weather met-norway;"), "{text}");
        assert!(counts(&said)[1] > 140, "{text}");
    }
}

#[tokio::test]
async fn without_any_service_the_typical_year_stands_in_and_says_so() {
    let weather = "services = [\"open-meteo\"]\ntypical-year = \"year.epw\"";
    let kit = Kit::new(weather)
        .holds("year.epw", &typical_year())
        .asks("open-meteo", "http://127.0.0.1:1");
    let said = kit.plan(MORNING).await;
    assert_eq!(said.code, 0, "{}", said.err);
    let text = flat(&said.out);
    assert!(text.contains("open-meteo: no connection"), "{text}");
    assert!(
        text.contains("a typical year, without rain, stands in for 48 of the next 48 h"),
        "{text}"
    );
    assert!(text.contains("28 days"), "{text}");
    assert_eq!(counts(&said)[1], 0);
    assert!(counts(&said)[2] > 600);
    // No rain of a typical year is counted on.
    let json = kit
        .at(MORNING, "timetable", &["--format", "json", "--full"])
        .await;
    let plan: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let balance = plan["zones"][0]["balance"].as_array().unwrap();
    assert!(
        balance
            .iter()
            .all(|hour| hour["rain_mm"].as_f64() == Some(0.0))
    );
}

/// The statements of a page of warnings: each begins in the first column or
/// as an item of a list.
fn statements(page: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for line in page.lines() {
        let is_first = !line.starts_with(' ') || line.starts_with("  - ");
        match found.last_mut().filter(|_| !is_first) {
            Some(last) => *last = flat(&format!("{last} {line}")),
            None => found.push(flat(line)),
        }
    }
    found
}

#[tokio::test]
async fn beside_a_csv_each_warning_of_site_and_weather_is_told_once() {
    let weather = "services = [\"open-meteo\", \"met-norway\"]\ncontact = \"a@b.example\"";
    let good = Server::start(vec![Script::ok(MET_NORWAY)]).await;
    // Its sun is in another place than its clock.
    let site = site_file(weather).replace("Europe/Berlin", "America/New_York");
    let kit = Kit::new(weather)
        .holds("site.toml", &site)
        .asks("open-meteo", "http://127.0.0.1:1")
        .asks("met-norway", &good.url);
    let said = kit.at(MORNING, "timetable", &["--format", "csv"]).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.starts_with("zone,start,duration_s"));
    let told = statements(&said.err);
    for words in ["no connection", "warning[", "solar radiation"] {
        let times = told.iter().filter(|told| told.contains(words)).count();
        assert_eq!(times, 1, "{words}: {}", said.err);
    }
    let mut once = told.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), told.len(), "{}", said.err);
    assert!(
        !flat(&said.err).contains("weather estimated:"),
        "{}",
        said.err
    );
}

#[tokio::test]
async fn with_nothing_at_all_no_plan_is_made_and_the_reasons_are_given() {
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", "http://127.0.0.1:1");
    let said = kit.plan(MORNING).await;
    assert_eq!((said.code, said.out.as_str()), (3, ""));
    for words in [
        "no source tells the weather",
        "open-meteo: no connection",
        "name a typical year under [weather] as `typical-year = \"FILE.epw\"`",
    ] {
        assert!(flat(&said.err).contains(words), "{words}\n{}", said.err);
    }
    // A reply of three days ago is too old to be used.
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    kit.plan(MORNING).await;
    let said = kit.plan("2026-06-04T05:12:00Z").await;
    assert_eq!(said.code, 3);
    assert!(
        flat(&said.err).contains("is too old and is not used"),
        "{}",
        said.err
    );
}

#[tokio::test]
async fn a_forecast_that_ends_early_is_stretched_by_its_own_days_and_told() {
    let mut reply: serde_json::Value = serde_json::from_str(OPEN_METEO).unwrap();
    for (_, column) in reply["hourly"].as_object_mut().unwrap() {
        // It ends on Tuesday at 02:00 of the site.
        column.as_array_mut().unwrap().truncate(4 * 24 + 1);
    }
    let server = Server::start(vec![Script::ok(reply.to_string())]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    let said = kit.plan(MORNING).await;
    assert_eq!(said.code, 0, "{}", said.err);
    let text = flat(&said.out);
    assert!(
        text.contains("no source tells the weather of 53 h from 2026-06-02 00:00 UTC on"),
        "{text}"
    );
    assert_eq!(counts(&said), [0, 19, 0, 53]);
}

#[tokio::test]
async fn a_seeding_of_years_ago_is_planned_from_today() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    let old = site_file(r#"services = ["open-meteo"]"#).replace("2026-06-03", "2023-06-03");
    let kit = kit.holds("site.toml", &old);
    let said = kit.plan(MORNING).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(counts(&said), [0, 161, 0, 0]);
    let year = ["--days", "366", "--typical-year"];
    let path = kit.folder.path().join("year.epw").display().to_string();
    let kit = kit.holds("year.epw", &typical_year());
    let said = kit
        .at(
            MORNING,
            "timetable",
            &[&year[..], &[path.as_str()]].concat(),
        )
        .await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(flat(&said.out).contains("366 days"), "{}", said.out);
}

#[tokio::test]
async fn days_that_are_asked_for_beyond_all_knowledge_are_refused() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new(r#"services = ["open-meteo"]"#).asks("open-meteo", &server.url);
    let said = kit.at(MORNING, "timetable", &["--days", "28"]).await;
    assert_eq!(said.code, 2, "{}", said.out);
    assert!(
        flat(&said.err).contains("open-meteo has weather for 29 May 2026 to 15 Jun 2026"),
        "{}",
        said.err
    );
}

#[tokio::test]
async fn a_site_with_a_file_alone_asks_nobody() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let mut csv = "time,air_temp_c\n".to_owned();
    let first: DateTime<Utc> = "2026-05-31T00:00:00Z".parse().unwrap();
    for hour in 0..24 * 40 {
        let end = first + TimeDelta::hours(hour + 1);
        let _ = writeln!(csv, "{},{}.0", end.to_rfc3339(), 12 + hour % 24 / 2);
    }
    let kit = Kit::new("file = \"garden.csv\"")
        .holds("garden.csv", &csv)
        .asks("open-meteo", &server.url);
    let said = kit.plan(MORNING).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(server.asked().len(), 0);
    assert!(!kit.folder.path().join("cache").exists());
}

#[tokio::test]
async fn a_logger_as_it_is_and_a_service_make_one_series() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let mut log = "Datum;Temp;Regen\n".to_owned();
    let first: DateTime<Utc> = "2026-05-31T00:00:00Z".parse().unwrap();
    // Half hours of local summer time, until 06:00.
    for step in 1..=(24 + 4) * 2 {
        let local = first + TimeDelta::hours(2) + TimeDelta::minutes(30 * step);
        let _ = writeln!(log, "{};50,0;0,0", local.format("%d.%m.%Y %H:%M"));
    }
    let weather = r#"services = ["open-meteo"]

[[weather.logger]]
file = "pavilion.csv"
separator = ";"
decimal-comma = true
time = { column = "Datum", form = "%d.%m.%Y %H:%M" }
columns = { air-temperature = { column = "Temp", unit = "°F" }, rain = { column = "Regen", unit = "mm" } }
"#;
    let kit = Kit::new(weather)
        .holds("pavilion.csv", &log)
        .asks("open-meteo", &server.url);
    let json = ["--days", "1", "--json"];
    let said = kit.at("2026-06-01T03:30:00Z", "weather", &json).await;
    assert_eq!(said.code, 0, "{}", said.err);
    let told: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(told["sources"][0]["name"], "pavilion.csv");
    let hour = &told["hours"][0];
    assert_eq!(hour["given"]["air-temperature"]["source"], "pavilion.csv");
    assert_eq!(hour["given"]["wind"]["source"], "open-meteo");
    assert!((hour["air-temperature-c"].as_f64().unwrap() - 10.0).abs() < 1e-9);
    // And the plan counts that hour as measured.
    let said = kit.plan("2026-06-01T03:30:00Z").await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        said.out.contains("pavilion.csv, open-meteo;"),
        "{}",
        said.out
    );
    assert_eq!(counts(&said)[0], 1);
    let check = soakmist(&[
        "check",
        &kit.folder.path().join("site.toml").display().to_string(),
    ]);
    assert!(check.out.contains("asked: open-meteo"), "{}", check.out);
    // The service has no contact, and nobody has written that the seed came up.
    assert!(
        check.out.contains("no errors, 2 warnings;"),
        "{}",
        check.out
    );
}

#[test]
fn check_tells_of_files_that_are_not_there_or_cannot_be_read() {
    let weather = "typical-year = \"nowhere.epw\"\n[[weather.logger]]\nfile = \"log.csv\"\n\
        time = { column = \"Time\" }\ncolumns = { rain = { column = \"Rain\", unit = \"mm\" } }\n";
    let kit = Kit::new(weather).holds("log.csv", "Time,Regen\n");
    let site = kit.folder.path().join("site.toml").display().to_string();
    let said = soakmist(&["check", &site]);
    let text = flat(&said.out);
    assert_eq!(said.code, 0, "{text}");
    assert!(text.contains("there is no weather file"), "{text}");
    assert!(text.contains("there is no column \"Rain\""), "{text}");
    assert!(text.contains("which is in the past"), "{text}");
    assert!(text.contains("4 warnings"), "{text}");
}
