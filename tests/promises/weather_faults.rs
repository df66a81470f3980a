//! Each of the three services against each fault: what it said last serves on,
//! nothing missing becomes a zero, and people are told.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::io::Write;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use soakmist::agronomy::weather_record::RawHour;
use soakmist::site::ServiceName;
use soakmist::weather::Variable;
use soakmist::weather::fetch::{FetchOptions, Fetched, Fetcher, How};
use soakmist::weather::services::{Coordinates, Note, WeatherService};
use soakmist::weather::sources::service;

use crate::weather_server::{Script, Server};

/// A service at a server of this machine that behaves as it is told.
struct Bench {
    name: ServiceName,
    server: Server,
    service: Box<dyn WeatherService>,
    folder: tempfile::TempDir,
}

fn good(name: ServiceName) -> &'static str {
    match name {
        ServiceName::OpenMeteo => include_str!("../data/weather/open_meteo.json"),
        ServiceName::MetNorway => include_str!("../data/weather/met_norway.json"),
        ServiceName::UsNws => include_str!("../data/weather/us_nws_grid.json"),
    }
}

/// 2026-06-01 05:00 UTC: the fixtures are of that morning.
fn morning() -> DateTime<Utc> {
    "2026-06-01T05:00:00Z".parse().unwrap()
}

impl Bench {
    async fn new(name: ServiceName) -> Self {
        let server = Server::start(vec![]).await;
        if name == ServiceName::UsNws {
            // It is asked for its cell first.
            let point = include_str!("../data/weather/us_nws_point.json");
            let point = point.replace("https://api.weather.gov", &server.url);
            server.then(Script::ok(point));
        }
        Self {
            name,
            service: service(name, Some(&server.url)),
            server,
            folder: tempfile::tempdir().unwrap(),
        }
    }

    /// Asks some minutes after the morning, as after a restart.
    async fn ask(&self, minutes: i64, limit: Duration) -> Fetched {
        let contact = Some("groundskeeper@harrowmere.example".to_owned());
        let mut options = FetchOptions::new(contact, self.folder.path().to_owned());
        options.time_limit = limit;
        let at = morning() + TimeDelta::minutes(minutes);
        let place = Coordinates::new(51.25, 9.5, 171.0);
        let fetcher = Fetcher::new(options).unwrap();
        let fetched = fetcher.fetch(self.service.as_ref(), &place, at).await;
        fetched.unwrap_or_else(|error| panic!("{:?}: {error}", self.name))
    }

    /// What one reply gives, the first of this service.
    async fn told(name: ServiceName, reply: Script) -> Fetched {
        let bench = Self::new(name).await;
        bench.server.then(reply);
        bench.ask(0, PATIENT).await
    }
}

/// More than a busy machine needs for a good reply.
const PATIENT: Duration = Duration::from_secs(10);

/// The faults of a service, and what people are told of each.
fn faults(name: ServiceName) -> Vec<(Script, &'static str)> {
    let good = good(name).as_bytes();
    let (refusal, words) = match name {
        ServiceName::OpenMeteo => (json!({"error": true, "reason": "no more today"}), "no more"),
        ServiceName::MetNorway => (json!({"error": "no more today"}), "no \"properties\""),
        ServiceName::UsNws => (json!({"title": "no more today", "status": 503}), "no more"),
    };
    vec![
        (Script::status(500), "HTTP 500"),
        (Script::status(429).with("retry-after", "7200"), "HTTP 429"),
        (Script::ok(&good[..good.len() / 2]), "not the expected JSON"),
        (Script::Cut(good.to_vec()), ""),
        (Script::ok(refusal.to_string()), words),
        (Script::Endless, "longer than"),
        (
            Script::Drip(good.to_vec(), Duration::from_millis(50)),
            "does not answer in time",
        ),
    ]
}

#[tokio::test]
async fn after_each_fault_of_each_service_its_last_good_hours_serve_on() {
    for name in ServiceName::ALL {
        for (fault, words) in faults(name) {
            let is_slow = matches!(fault, Script::Drip(..));
            let limit = if is_slow {
                Duration::from_secs(1)
            } else {
                PATIENT
            };
            let is_busy = words == "HTTP 429";
            let bench = Bench::new(name).await;
            bench.server.then(Script::ok(good(name)));
            let first = bench.ask(0, PATIENT).await;
            bench.server.then(fault);
            let stale = bench.ask(150, limit).await;
            assert_eq!(stale.how, How::Stale, "{name:?} {words}");
            assert_eq!(stale.reply.hours, first.reply.hours, "{name:?} {words}");
            let trouble = stale.trouble.unwrap();
            assert!(trouble.contains(words), "{name:?}: {trouble} / {words}");
            // Once it is well again it is asked again, not before it said.
            let asked = bench.server.asked().len();
            bench.server.then(Script::ok(good(name)));
            if is_busy {
                assert_eq!(bench.ask(150 + 119, PATIENT).await.how, How::Stale);
                assert_eq!(bench.server.asked().len(), asked);
            }
            assert_eq!(bench.ask(150 + 400, PATIENT).await.how, How::Asked);
        }
    }
}

#[tokio::test]
async fn each_service_is_read_packed_and_an_unchanged_reply_is_not_sent_again() {
    for name in ServiceName::ALL {
        let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        packer.write_all(good(name).as_bytes()).unwrap();
        let packed = Script::ok(packer.finish().unwrap()).with("content-encoding", "gzip");
        let stamp = "Mon, 01 Jun 2026 03:10:00 GMT";
        let bench = Bench::new(name).await;
        bench.server.then(packed.with("last-modified", stamp));
        bench.server.then(Script::status(304));
        let first = bench.ask(0, PATIENT).await;
        assert!(first.reply.hours.len() > 150, "{name:?}");
        let second = bench.ask(150, PATIENT).await;
        assert_eq!(second.how, How::Confirmed, "{name:?}");
        assert_eq!(second.reply.hours, first.reply.hours);
        let asked = bench.server.asked();
        let last = asked.last().unwrap().to_lowercase();
        assert!(
            last.contains(&format!("if-modified-since: {}", stamp.to_lowercase())),
            "{last}"
        );
    }
}

/// The reply without its temperatures of some hours.
fn with_nulls(name: ServiceName) -> Value {
    let mut reply: Value = serde_json::from_str(good(name)).unwrap();
    for index in 20..30 {
        let place = match name {
            ServiceName::OpenMeteo => format!("/hourly/temperature_2m/{index}"),
            ServiceName::MetNorway => {
                format!("/properties/timeseries/{index}/data/instant/details/air_temperature")
            }
            ServiceName::UsNws => format!("/properties/temperature/values/{index}/value"),
        };
        *reply.pointer_mut(&place).unwrap() = Value::Null;
    }
    reply
}

fn warm(hour: &RawHour) -> Option<f64> {
    hour.air_temperature_c.map(|reading| reading.value)
}

#[tokio::test]
async fn a_null_of_each_service_is_missing_and_no_zero() {
    for name in ServiceName::ALL {
        let whole = Bench::told(name, Script::ok(good(name))).await;
        let holed = Bench::told(name, Script::ok(with_nulls(name).to_string())).await;
        let mut missing = 0;
        for hour in &whole.reply.hours {
            let found = holed.reply.hours.iter().find(|h| h.start == hour.start);
            match found.and_then(warm) {
                None => missing += 1,
                // Where a step is left out the next stands on a line across it.
                Some(value) => assert!((value - warm(hour).unwrap()).abs() < 6.0, "{name:?}"),
            }
        }
        assert!(missing >= 4, "{name:?}: {missing} hours are missing");
    }
}

#[tokio::test]
async fn a_column_of_each_service_in_an_unknown_unit_is_left_out_and_told() {
    for name in ServiceName::ALL {
        let (known, unknown) = match name {
            ServiceName::OpenMeteo => (r#""wind_speed_10m":"m/s""#, r#""wind_speed_10m":"bft""#),
            ServiceName::MetNorway => (r#""wind_speed":"m/s""#, r#""wind_speed":"bft""#),
            ServiceName::UsNws => ("wmoUnit:km_h-1", "wmoUnit:bft"),
        };
        let reply: Value = serde_json::from_str(good(name)).unwrap();
        let text = reply.to_string();
        assert!(text.contains(known), "{name:?}");
        let told = Bench::told(name, Script::ok(text.replace(known, unknown))).await;
        let is_told = |note: &Note| matches!(note, Note::UnknownUnit { variable: Variable::Wind, unit } if unit.contains("bft"));
        assert!(
            told.reply.notes.iter().any(is_told),
            "{:?}",
            told.reply.notes
        );
        let hours = &told.reply.hours;
        assert!(hours.iter().all(|hour| hour.wind_m_per_s.is_none()));
        assert!(hours.iter().any(|hour| warm(hour).is_some()));
    }
}

/// The reply without what it tells of the last days.
fn shortened(name: ServiceName) -> Value {
    let mut reply: Value = serde_json::from_str(good(name)).unwrap();
    match name {
        ServiceName::OpenMeteo => {
            for (_, column) in reply["hourly"].as_object_mut().unwrap() {
                column.as_array_mut().unwrap().truncate(210);
            }
        }
        ServiceName::MetNorway => {
            let steps = reply["properties"]["timeseries"].as_array_mut().unwrap();
            steps.truncate(60);
        }
        ServiceName::UsNws => {
            for (_, layer) in reply["properties"].as_object_mut().unwrap() {
                if let Some(values) = layer.get_mut("values").and_then(Value::as_array_mut) {
                    let is_near =
                        |value: &Value| value["validTime"].as_str().unwrap() < "2026-06-05";
                    values.retain(is_near);
                }
            }
        }
    }
    reply
}

#[tokio::test]
async fn a_reply_of_each_service_that_ends_days_too_early_is_used_and_says_so() {
    for name in ServiceName::ALL {
        let told = Bench::told(name, Script::ok(shortened(name).to_string())).await;
        let last = told
            .reply
            .hours
            .iter()
            .map(|hour| hour.start)
            .max()
            .unwrap();
        let is_told = |note: &Note| matches!(note, Note::EndsEarly { .. });
        assert!(
            told.reply.notes.iter().any(is_told),
            "{name:?} ends at {last}: {:?}",
            told.reply.notes
        );
        assert!(told.reply.hours.len() > 50, "{name:?}");
    }
}
