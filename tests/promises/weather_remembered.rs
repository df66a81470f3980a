//! What sensors over a broker measured is remembered in the frozen hours: the
//! services learn from it and are compared with it like with a file.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::{Provenance, RawHour, Reading};
use soakmist::clock::Now;
use soakmist::daemon::runtime::state_file;
use soakmist::site::{ServiceName, WeatherSetup};
use soakmist::store::{Entry, Ledger, Opening, Store};
use soakmist::valve::Moment;
use soakmist::weather::Variable;
use soakmist::weather::doubt::Doubt;
use soakmist::weather::fetch::{FetchOptions, Fetcher};
use soakmist::weather::frozen::to_json;
use soakmist::weather::series::{SeriesHour, SourceKind};
use soakmist::weather::services::open_meteo;
use soakmist::weather::sources::{Asking, Wanted, gather};

use crate::command::soakmist;
use crate::support;
use crate::weather_command::{self, two_weeks_more};
use crate::weather_server::{Script, Server};

const OPEN_METEO: &str = include_str!("../data/weather/open_meteo.json");

/// A thermometer that showed 4 °C more than the service.
fn frozen(service: &str, now: DateTime<Utc>) -> Vec<SeriesHour> {
    let hours = open_meteo::parse(service.as_bytes()).unwrap().hours;
    let over = hours.iter().filter(|hour| hour.start < now);
    over.map(|hour| {
        let reading = Reading {
            value: hour.air_temperature_c.unwrap().value + 4.0,
            provenance: Provenance::Measured,
        };
        let shown = RawHour {
            air_temperature_c: Some(reading),
            ..RawHour::empty(hour.start, 2.0)
        };
        SeriesHour::told(shown, "station-air", Some(hour.start + TimeDelta::hours(1)))
    })
    .collect()
}

#[tokio::test]
async fn sensors_over_a_broker_teach_the_services_and_are_compared_with_them() {
    let said = two_weeks_more(OPEN_METEO);
    let server = Server::start(vec![Script::ok(said.clone())]).await;
    let now: DateTime<Utc> = "2026-06-01T05:00:00Z".parse().unwrap();
    let mut place = support::site(vec![support::zone("square")]).place;
    (place.latitude_deg, place.longitude_deg) = (51.25, 9.5);
    let setup = WeatherSetup {
        services: vec![ServiceName::OpenMeteo],
        ..WeatherSetup::default()
    };
    let wanted = Wanted {
        setup: &setup,
        folder: Path::new(""),
        place: &place,
        now,
        from: now - TimeDelta::days(20),
        to: now + TimeDelta::days(5),
    };
    let cache = tempfile::tempdir().unwrap();
    let asking = Asking {
        fetcher: Fetcher::new(FetchOptions::new(None, cache.path().to_owned())).unwrap(),
        servers: BTreeMap::from([(ServiceName::OpenMeteo, server.url.clone())]),
    };
    let gathered = gather(&wanted, Some(&asking), &frozen(&said, now)).await;
    let line = gathered
        .lines
        .iter()
        .find(|line| line.name == "station-air");
    assert_eq!(line.unwrap().kind, SourceKind::Sensor);
    assert!(gathered.assembled.bias.contains_key("open-meteo"));
    let differ = gathered.assembled.series.doubts.iter().any(|doubt| {
        matches!(doubt, Doubt::Disagreement { variable: Variable::AirTemperature, sensor, .. }
            if sensor == "station-air")
    });
    assert!(differ, "{:?}", gathered.assembled.series.doubts);
    // The same hour ahead, with and without what it taught.
    let cold = Asking {
        fetcher: Fetcher::new(FetchOptions::new(None, cache.path().to_owned())).unwrap(),
        ..asking
    };
    let untaught = gather(&wanted, Some(&cold), &[]).await;
    let noon = now + TimeDelta::hours(7);
    let warmth = |gathered: &soakmist::weather::sources::Gathered| {
        let hours = &gathered.assembled.series.hours;
        let hour = hours.iter().find(|hour| hour.hour.start == noon).unwrap();
        hour.hour.air_temperature_c.unwrap().value
    };
    let taught = warmth(&gathered) - warmth(&untaught);
    // 4 °C, of which 42 pairs are believed to 42/51 (docs/weather.md).
    assert!((taught - 4.0 * 42.0 / 51.0).abs() < 0.05, "{taught}");
}

/// The state of a daemon that froze these hours.
fn state_of(hours: &[SeriesHour], now: DateTime<Utc>) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let now = Now {
        utc: now,
        moment: Moment::from_millis(0),
    };
    let path = state_file(folder.path());
    let mut store = Store::open(&path, &Opening::in_boot("test"), now).unwrap();
    let entries: Vec<Entry> = hours
        .iter()
        .map(|hour| Entry::FrozenHour(hour.hour.start, to_json(hour).unwrap()))
        .collect();
    store.write(&entries, now).unwrap();
    folder
}

#[tokio::test]
#[expect(clippy::disallowed_methods, reason = "the site file of the test")]
async fn what_a_daemon_learned_from_its_sensors_is_shown_beside_it() {
    let said = two_weeks_more(OPEN_METEO);
    let server = Server::start(vec![Script::ok(said.clone())]).await;
    let now: DateTime<Utc> = "2026-06-01T05:00:00Z".parse().unwrap();
    let state = state_of(&frozen(&said, now), now);
    let site = state.path().join("site.toml");
    std::fs::write(&site, weather_command::SITE).unwrap();
    let named = |path: &Path| path.to_str().unwrap().to_owned();
    let words = [
        "weather",
        &named(&site),
        "--now",
        "2026-06-01T05:00:00Z",
        "--service",
        "open-meteo",
        "--service-url",
        &format!("open-meteo={}", server.url),
        "--state",
        &named(state.path()),
        "--json",
    ]
    .map(str::to_owned);
    let shown = tokio::task::spawn_blocking(move || {
        soakmist(&words.iter().map(String::as_str).collect::<Vec<_>>())
    });
    let shown = shown.await.unwrap();
    assert_eq!(shown.code, 0, "{}", shown.err);
    let told: serde_json::Value = serde_json::from_str(&shown.out).unwrap();
    let sources = told["sources"].as_array().unwrap();
    let station = sources.iter().find(|line| line["name"] == "station-air");
    assert_eq!(station.unwrap()["kind"], "sensor");
    assert!(told["bias"]["open-meteo"].is_object(), "{}", told["bias"]);
    let doubts = told["doubts"].to_string();
    assert!(doubts.contains("station-air"), "{doubts}");
    // The replies stay where the daemon keeps its own.
    assert!(state.path().join("weather").is_dir());
}

#[test]
fn a_state_folder_without_a_state_is_told() {
    let empty = tempfile::tempdir().unwrap();
    let told = soakmist(&[
        "weather",
        "config/harrowmere.toml",
        "--state",
        empty.path().to_str().unwrap(),
    ]);
    assert_eq!(told.code, 2, "{}", told.err);
    assert!(
        told.err.contains("--state") && told.err.contains("soakmist.sqlite"),
        "{}",
        told.err
    );
}
