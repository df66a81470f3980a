//! `soakmist weather`: one page from sensors and services, and the JSON of the same.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use crate::command::{Said, assert_fits_80_columns, soakmist};
use crate::weather_server::{Script, Server};

const OPEN_METEO: &str = include_str!("../data/weather/open_meteo.json");

/// A site where the fixture's sun stands right (9.5° E), in SI units.
pub const SITE: &str = r#"
name = "Harrowmere"
units = "si"
place = { latitude = 51.25, longitude = 9.5, elevation = "171 m", time-zone = "Europe/Berlin" }
supply = { flow = "40 L/min" }

[[zone]]
name = "lawn"
area = "100 m2"
soil = "loam"
sprinkler = { flow = "20 L/min" }
seeding = { at = 2026-06-03 10:00:00, mix = "perennial-ryegrass" }
"#;

struct Kit {
    folder: tempfile::TempDir,
}

impl Kit {
    #[expect(clippy::disallowed_methods, reason = "the files of the test")]
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("site.toml"), SITE).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    /// Runs the command beside the server, as on the morning of the fixtures.
    async fn weather(&self, more: Vec<String>) -> Said {
        let fixed = ["--now", "2026-06-01T05:12:00Z", "--cache"].map(str::to_owned);
        let mut all = vec!["weather".to_owned(), self.path("site.toml")];
        all.extend(fixed);
        all.push(self.path("cache"));
        all.extend(more);
        tokio::task::spawn_blocking(move || {
            soakmist(&all.iter().map(String::as_str).collect::<Vec<_>>())
        })
        .await
        .unwrap()
    }
}

fn open_meteo(url: &str) -> Vec<String> {
    [
        "--service",
        "open-meteo",
        "--service-url",
        &format!("open-meteo={url}"),
    ]
    .map(str::to_owned)
    .to_vec()
}

#[tokio::test]
async fn a_page_of_three_days_says_where_every_value_comes_from() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let kit = Kit::new();
    let said = kit.weather(open_meteo(&server.url)).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert_fits_80_columns(&said.out);
    assert!(
        said.out
            .starts_with("Weather at Harrowmere, from Mon 2026-06-01 07:12 (Europe/Berlin)\n")
    );
    for words in [
        "Mon 2026-06-01: ET0 ",
        "Wed 2026-06-03: ET0 ",
        "m measured, f forecast, c typical year, e estimated",
        "Rain: expected rain counts from 70 % probability on",
        "open-meteo: service; 240 h",
        "weather data by Open-Meteo.com (CC BY 4.0)",
    ] {
        assert!(said.out.contains(words), "{words}\n{}", said.out);
    }
    assert!(
        !said.out.contains("2026-06-04"),
        "days end at local midnight"
    );
    // The second look asks nothing and says so.
    let again = kit.weather(open_meteo(&server.url)).await;
    assert!(again.out.contains("kept from the last request"));
    assert_eq!(server.asked().len(), 1);
}

#[tokio::test]
async fn json_holds_every_hour_with_source_and_counted_rain() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let mut arguments = open_meteo(&server.url);
    arguments.extend(["--json", "--rain", "expected"].map(str::to_owned));
    let said = Kit::new().weather(arguments).await;
    assert_eq!(said.code, 0, "{}", said.err);
    let told: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(told["schema"], "soakmist-weather/1");
    let hours = told["hours"].as_array().unwrap();
    // From 07:00 to the midnight after Wednesday.
    assert_eq!(hours.len(), 17 + 24 + 24);
    assert_eq!(hours[0]["start"], "2026-06-01T07:00:00+02:00");
    assert_eq!(hours[0]["given"]["air-temperature"]["source"], "open-meteo");
    assert_eq!(hours[0]["provenance"]["solar"], "forecast");
    let wet = hours
        .iter()
        .find(|hour| hour["rain-mm"].as_f64().unwrap() > 0.0)
        .unwrap();
    let part = wet["rain-counted-mm"].as_f64().unwrap() / wet["rain-mm"].as_f64().unwrap();
    assert!(
        (part - 0.65).abs() < 1e-9,
        "the probability of the fixture is 65 %"
    );
}

#[tokio::test]
async fn a_service_that_fails_costs_only_its_own_hours() {
    let good = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let bad = Server::start(vec![]).await;
    let kit = Kit::new();
    let mut arguments = [
        "--service",
        "met-norway",
        "--contact",
        "a@harrowmere.example",
    ]
    .map(str::to_owned)
    .to_vec();
    arguments.extend([
        "--service-url".to_owned(),
        format!("met-norway={}", bad.url),
    ]);
    arguments.extend(open_meteo(&good.url));
    let said = kit.weather(arguments).await;
    assert_eq!(said.code, 0, "{}", said.err);
    let words = said.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("TROUBLE: met-norway: it has trouble of its own (HTTP 500);"),
        "{words}"
    );
}

#[tokio::test]
async fn no_source_and_no_hours_are_said_with_what_to_do() {
    let kit = Kit::new();
    let said = kit.weather(vec![]).await;
    assert_eq!((said.code, said.out.as_str()), (2, ""));
    assert!(
        said.err
            .contains("name a service with --service open-meteo"),
        "{}",
        said.err
    );
    let said = kit.weather(open_meteo("http://127.0.0.1:1")).await;
    assert_eq!(said.code, 3);
    assert!(
        said.err.contains("open-meteo: no connection"),
        "{}",
        said.err
    );
}

#[test]
fn a_site_with_a_file_of_the_past_shows_its_last_days_and_says_so() {
    let said = soakmist(&["weather", "config/harrowmere.toml", "--days", "2"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let told = said.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        told.contains("ends at 2023-10-16 05:00 UTC: these are its last days"),
        "{told}"
    );
    assert!(told.contains("--now"), "{told}");
    assert!(
        said.out.contains("from Sat 2023-10-14 01:00"),
        "{}",
        said.out
    );
    assert_fits_80_columns(&said.out);
}

#[tokio::test]
async fn own_sensors_beat_the_service_in_the_past_and_correct_it_ahead() {
    use std::fmt::Write;
    let server = Server::start(vec![Script::ok(two_weeks_more(OPEN_METEO))]).await;
    let kit = Kit::new();
    // A thermometer that always shows 3 °C more than the service.
    let mut csv = "time,air_temp_c\n".to_owned();
    let hours =
        soakmist::weather::services::open_meteo::parse(two_weeks_more(OPEN_METEO).as_bytes());
    for hour in hours.unwrap().hours {
        let end = hour.start + chrono::TimeDelta::hours(1);
        if end
            <= "2026-06-01T05:00:00Z"
                .parse::<chrono::DateTime<chrono::Utc>>()
                .unwrap()
        {
            let shown = hour.air_temperature_c.unwrap().value + 3.0;
            writeln!(csv, "{},{shown:.3}", end.to_rfc3339()).unwrap();
        }
    }
    #[expect(clippy::disallowed_methods, reason = "the files of the test")]
    std::fs::write(kit.path("garden.csv"), csv).unwrap();
    let mut arguments = open_meteo(&server.url);
    arguments.extend(["--weather".to_owned(), kit.path("garden.csv")]);
    let said = kit.weather(arguments.clone()).await;
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(
        said.out
            .contains("open-meteo corrected by two weeks of own sensors: air"),
        "{}",
        said.out
    );
    arguments.push("--json".to_owned());
    let told: serde_json::Value = serde_json::from_str(&kit.weather(arguments).await.out).unwrap();
    let added = told["bias"]["open-meteo"]["air-temperature"]["12"]["add"]
        .as_f64()
        .unwrap();
    // 3 °C, of which 42 pairs are believed to 42/51.
    assert!((added - 3.0 * 42.0 / 51.0).abs() < 0.01, "{added}");
}

/// The fixture with its values repeated over the two weeks before it.
pub fn two_weeks_more(text: &str) -> String {
    let mut reply: serde_json::Value = serde_json::from_str(text).unwrap();
    let first = reply["hourly"]["time"][0].as_i64().unwrap();
    for (name, column) in reply["hourly"].as_object_mut().unwrap() {
        let old = column.as_array().unwrap().clone();
        let mut new: Vec<serde_json::Value> = (0..14 * 24)
            .map(|hour| match name.as_str() {
                "time" => (first + (hour - 14 * 24) * 3600).into(),
                _ => old[usize::try_from(hour % 240).unwrap()].clone(),
            })
            .collect();
        new.extend(old);
        *column = new.into();
    }
    reply.to_string()
}
