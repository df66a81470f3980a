//! A weather service that misbehaves in any way costs at most its own hours:
//! never a crash, never a storm of requests, never a zero for a missing value.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may panic and read the clock"
)]

use std::io::Write;
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::weather::Variable;
use soakmist::weather::fetch::{FetchError, FetchOptions, Fetched, Fetcher, How};
use soakmist::weather::services::{Coordinates, MetNorway, Note, OpenMeteo, UsNws, WeatherService};

use crate::weather_server::{Script, Server};

const OPEN_METEO: &[u8] = include_bytes!("../data/weather/open_meteo.json");
const MET_NORWAY: &[u8] = include_bytes!("../data/weather/met_norway.json");
const NWS_POINT: &str = include_str!("../data/weather/us_nws_point.json");
const NWS_GRID: &[u8] = include_bytes!("../data/weather/us_nws_grid.json");

/// 2026-06-01 05:00 UTC: the fixtures are of that morning.
fn now() -> DateTime<Utc> {
    "2026-06-01T05:00:00Z".parse().unwrap()
}

fn place() -> Coordinates {
    Coordinates::new(51.250_049, 9.499_912, 171.0)
}

/// A fetcher with an own cache, and the folder that must outlive it.
struct Kit {
    folder: tempfile::TempDir,
    time_limit: Duration,
}

impl Kit {
    fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
            // More than a busy machine needs for a good reply.
            time_limit: Duration::from_secs(10),
        }
    }

    /// A new one each time, as after a restart.
    fn fetcher(&self) -> Fetcher {
        let contact = Some("groundskeeper@harrowmere.example".to_owned());
        let mut options = FetchOptions::new(contact, self.folder.path().join("weather"));
        options.time_limit = self.time_limit;
        Fetcher::new(options).unwrap()
    }

    async fn fetch(
        &self,
        service: &dyn WeatherService,
        after: TimeDelta,
    ) -> Result<Fetched, FetchError> {
        self.fetcher().fetch(service, &place(), now() + after).await
    }
}

const AT_ONCE: TimeDelta = TimeDelta::zero();

fn minutes(count: i64) -> TimeDelta {
    TimeDelta::minutes(count)
}

#[tokio::test]
async fn a_good_reply_gives_hours_and_names_the_asker() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let fetched = Kit::new()
        .fetch(&OpenMeteo::at(&server.url), AT_ONCE)
        .await
        .unwrap();
    assert_eq!(fetched.how, How::Asked);
    assert_eq!(fetched.reply.hours.len(), 240);
    assert_eq!(fetched.reply.notes, []);
    let head = &server.asked()[0].to_lowercase();
    assert!(head.contains("user-agent: soakmist/"), "{head}");
    assert!(
        head.contains("(groundskeeper@harrowmere.example)"),
        "{head}"
    );
    assert!(
        head.contains("latitude=51.25&longitude=9.4999&elevation=171&"),
        "{head}"
    );
    assert!(head.contains("timezone=gmt&timeformat=unixtime"), "{head}");
    assert!(head.contains("accept-encoding: gzip"), "{head}");
}

#[tokio::test]
async fn a_restart_within_the_interval_asks_nothing() {
    let server = Server::start(vec![Script::ok(OPEN_METEO)]).await;
    let service = OpenMeteo::at(&server.url);
    let kit = Kit::new();
    let first = kit.fetch(&service, AT_ONCE).await.unwrap();
    let second = kit.fetch(&service, minutes(59)).await.unwrap();
    assert_eq!(second.how, How::Cached);
    assert_eq!(second.reply, first.reply);
    assert_eq!(second.received, now());
    assert_eq!(server.asked().len(), 1);
}

#[tokio::test]
async fn expiry_of_the_service_is_honoured() {
    let expires = Script::ok(MET_NORWAY)
        .with("date", "Mon, 01 Jun 2026 05:00:00 GMT")
        .with("expires", "Mon, 01 Jun 2026 07:00:00 GMT");
    let server = Server::start(vec![expires]).await;
    let kit = Kit::new();
    let service = MetNorway::at(&server.url);
    kit.fetch(&service, AT_ONCE).await.unwrap();
    assert_eq!(
        kit.fetch(&service, minutes(119)).await.unwrap().how,
        How::Cached
    );
    assert_eq!(server.asked().len(), 1);
}

#[tokio::test]
async fn a_packed_reply_is_unpacked() {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(MET_NORWAY).unwrap();
    let packed = Script::ok(packer.finish().unwrap()).with("content-encoding", "gzip");
    let server = Server::start(vec![packed]).await;
    let fetched = Kit::new()
        .fetch(&MetNorway::at(&server.url), AT_ONCE)
        .await
        .unwrap();
    // 60 hourly steps, one of 3 h, 27 of 6 h: 59 + 3 + 27·6 hours, and the rain of
    // the last-but-one six hours ends with them.
    assert_eq!(fetched.reply.hours.len(), 59 + 3 + 27 * 6);
    assert_eq!(fetched.reply.elevation_m, Some(171.0));
}

#[tokio::test]
async fn an_unchanged_reply_is_asked_for_with_the_stamp_to_the_letter_and_kept() {
    let stamp = "Mon, 01 Jun 2026 03:10:00 GMT";
    let server = Server::start(vec![
        Script::ok(MET_NORWAY)
            .with("last-modified", stamp)
            .with("etag", "\"a1\""),
        Script::status(304),
    ])
    .await;
    let service = MetNorway::at(&server.url);
    let kit = Kit::new();
    let first = kit.fetch(&service, AT_ONCE).await.unwrap();
    let second = kit.fetch(&service, minutes(90)).await.unwrap();
    assert_eq!(second.how, How::Confirmed);
    assert_eq!(second.reply, first.reply);
    assert_eq!(second.received, now() + minutes(90));
    assert!(server.asked()[1].contains(&format!("if-modified-since: {stamp}\r\n")));
    assert!(server.asked()[1].contains("if-none-match: \"a1\"\r\n"));
    // And it counts as fresh again.
    assert_eq!(
        kit.fetch(&service, minutes(110)).await.unwrap().how,
        How::Cached
    );
}

#[tokio::test]
async fn too_many_requests_keeps_the_old_hours_and_waits_as_told() {
    let server = Server::start(vec![
        Script::ok(OPEN_METEO),
        Script::status(429).with("retry-after", "7200"),
        Script::ok(OPEN_METEO),
    ])
    .await;
    let service = OpenMeteo::at(&server.url);
    let kit = Kit::new();
    kit.fetch(&service, AT_ONCE).await.unwrap();
    let stale = kit.fetch(&service, minutes(90)).await.unwrap();
    assert_eq!((stale.how, stale.received), (How::Stale, now()));
    assert!(
        stale
            .trouble
            .unwrap()
            .contains("asked too often (HTTP 429)")
    );
    assert_eq!(
        kit.fetch(&service, minutes(90 + 119)).await.unwrap().how,
        How::Stale
    );
    assert_eq!(server.asked().len(), 2);
    assert_eq!(
        kit.fetch(&service, minutes(90 + 125)).await.unwrap().how,
        How::Asked
    );
}

#[tokio::test]
async fn a_service_in_trouble_is_asked_less_and_less_often() {
    let server = Server::start(vec![]).await; // 500 for ever
    let service = OpenMeteo::at(&server.url);
    let kit = Kit::new();
    let error = kit.fetch(&service, AT_ONCE).await.unwrap_err().to_string();
    assert!(
        error.contains("trouble of its own (HTTP 500); asked again from"),
        "{error}"
    );
    let fetcher = kit.fetcher();
    for minute in 0..24 * 60 {
        let _ = fetcher
            .fetch(&service, &place(), now() + minutes(minute))
            .await;
    }
    // Waits of 1, 2, 4, 8, 16, 32 min and then an hour, a quarter more at most.
    let asked = server.asked().len();
    assert!((20..=31).contains(&asked), "{asked} requests in a day");
}

#[tokio::test]
async fn broken_replies_keep_the_old_hours() {
    let half = OPEN_METEO[..OPEN_METEO.len() / 2].to_vec();
    let broken = [
        (Script::ok(half), "not the expected JSON"),
        (Script::Cut(OPEN_METEO.to_vec()), ""),
        (
            Script::ok(r#"{"error":true,"reason":"Hourly API request limit exceeded."}"#),
            "the service refused: Hourly API request limit exceeded.",
        ),
        (
            Script::ok("<html>maintenance</html>"),
            "not the expected JSON",
        ),
        (Script::ok("{}"), "no \"hourly\""),
        (Script::ok(b"\xff\xfe".to_vec()), "not text in UTF-8"),
        (Script::Endless, "longer than 2097152 bytes"),
        (
            Script::Drip(OPEN_METEO.to_vec(), Duration::from_millis(50)),
            "does not answer in time",
        ),
        (Script::status(403), "is the contact right? (HTTP 403)"),
        (
            Script::status(302).with("location", "http://localhost:1/elsewhere"),
            "sends to another host",
        ),
    ];
    for (script, says) in broken {
        let server = Server::start(vec![Script::ok(OPEN_METEO), script]).await;
        let service = OpenMeteo::at(&server.url);
        let mut kit = Kit::new();
        let good = kit.fetch(&service, AT_ONCE).await.unwrap();
        kit.time_limit = Duration::from_secs(2);
        let started = Instant::now();
        let stale = kit.fetch(&service, minutes(90)).await.unwrap();
        assert!(started.elapsed() < Duration::from_secs(8), "{says}");
        assert_eq!((stale.how, stale.reply), (How::Stale, good.reply), "{says}");
        let trouble = stale.trouble.unwrap();
        assert!(trouble.contains(says), "{trouble} / {says}");
    }
}

#[tokio::test]
async fn a_packed_bomb_is_not_unpacked_beyond_the_limit() {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packer.write_all(&vec![b' '; 64 * 1024 * 1024]).unwrap();
    let bomb = packer.finish().unwrap();
    assert!(bomb.len() < 100_000);
    let server = Server::start(vec![Script::ok(bomb).with("content-encoding", "gzip")]).await;
    let error = Kit::new()
        .fetch(&OpenMeteo::at(&server.url), AT_ONCE)
        .await
        .unwrap_err();
    assert!(error.to_string().contains("longer than"), "{error}");
}

#[tokio::test]
async fn no_server_at_all_is_said_in_words() {
    let error = Kit::new()
        .fetch(&OpenMeteo::at("http://127.0.0.1:1"), AT_ONCE)
        .await
        .unwrap_err();
    assert!(
        error.to_string().starts_with("open-meteo: no connection ("),
        "{error}"
    );
}

#[tokio::test]
async fn a_service_that_wants_a_contact_is_not_asked_without_one() {
    let server = Server::start(vec![Script::ok(MET_NORWAY)]).await;
    let folder = tempfile::tempdir().unwrap();
    let fetcher = Fetcher::new(FetchOptions::new(None, folder.path().to_owned())).unwrap();
    let error = fetcher
        .fetch(&MetNorway::at(&server.url), &place(), now())
        .await
        .unwrap_err();
    assert!(matches!(error, FetchError::NoContact { .. }));
    assert_eq!(server.asked(), Vec::<String>::new());
    let bad = FetchOptions::new(Some("a\r\nevil: 1".into()), folder.path().to_owned());
    assert!(matches!(Fetcher::new(bad), Err(FetchError::BadContact)));
}

#[tokio::test]
async fn a_mended_contact_is_tried_at_once_after_a_refusal() {
    let server = Server::start(vec![Script::status(403), Script::ok(MET_NORWAY)]).await;
    let service = MetNorway::at(&server.url);
    let kit = Kit::new();
    assert!(kit.fetch(&service, AT_ONCE).await.is_err());
    // The same asker leaves the service alone for hours.
    assert!(kit.fetch(&service, minutes(300)).await.is_err());
    assert_eq!(server.asked().len(), 1);
    let contact = Some("https://harrowmere.example/ground".to_owned());
    let options = FetchOptions::new(contact, kit.folder.path().join("weather"));
    let fetched = Fetcher::new(options)
        .unwrap()
        .fetch(&service, &place(), now())
        .await
        .unwrap();
    assert_eq!(fetched.how, How::Asked);
}

fn point(server: &Server) -> String {
    NWS_POINT.replace("https://api.weather.gov", &server.url)
}

#[tokio::test]
async fn the_us_service_is_asked_for_its_cell_once_and_then_for_the_forecast() {
    let server = Server::start(vec![]).await;
    for script in [
        Script::ok(point(&server)),
        Script::ok(NWS_GRID),
        Script::ok(NWS_GRID),
    ] {
        server.then(script);
    }
    let service = UsNws::at(&server.url);
    let kit = Kit::new();
    let fetched = kit.fetch(&service, AT_ONCE).await.unwrap();
    assert_eq!(fetched.reply.hours.len(), 174);
    assert_eq!(
        fetched.reply.issued,
        Some("2026-06-01T05:40:00Z".parse().unwrap())
    );
    kit.fetch(&service, minutes(120)).await.unwrap();
    let paths: Vec<String> = server
        .asked()
        .iter()
        .map(|head| head.split(' ').nth(1).unwrap().to_owned())
        .collect();
    assert_eq!(
        paths,
        [
            "/points/51.25,9.4999",
            "/gridpoints/RAH/20,60",
            "/gridpoints/RAH/20,60"
        ]
    );
    assert!(server.asked()[0].contains("accept: application/geo+json"));
}

#[tokio::test]
async fn a_cell_that_is_gone_is_looked_for_again() {
    let server = Server::start(vec![]).await;
    let moved = point(&server).replace("20,60", "21,61");
    for script in [
        Script::ok(point(&server)),
        Script::ok(NWS_GRID),
        Script::status(404),
        Script::ok(moved),
        Script::ok(NWS_GRID),
    ] {
        server.then(script);
    }
    let service = UsNws::at(&server.url);
    let kit = Kit::new();
    kit.fetch(&service, AT_ONCE).await.unwrap();
    assert_eq!(
        kit.fetch(&service, minutes(120)).await.unwrap().how,
        How::Stale
    );
    assert_eq!(
        kit.fetch(&service, minutes(121)).await.unwrap().how,
        How::Asked
    );
    assert!(server.asked()[4].contains("/gridpoints/RAH/21,61"));
}

#[tokio::test]
async fn the_us_service_cannot_send_us_to_another_host() {
    let server = Server::start(vec![]).await;
    let elsewhere = NWS_POINT.replace("https://api.weather.gov", "http://127.0.0.1:1");
    server.then(Script::ok(elsewhere));
    let error = Kit::new()
        .fetch(&UsNws::at(&server.url), AT_ONCE)
        .await
        .unwrap_err();
    assert!(
        error.to_string().contains("points to another host"),
        "{error}"
    );
    assert_eq!(server.asked().len(), 1);
}

#[tokio::test]
async fn an_error_of_the_us_service_with_status_200_is_told_in_its_words() {
    let server = Server::start(vec![]).await;
    server.then(Script::ok(point(&server)));
    server.then(Script::ok(
        r#"{"title":"Forecast Grid Expired","status":503,"detail":"x"}"#,
    ));
    let error = Kit::new()
        .fetch(&UsNws::at(&server.url), AT_ONCE)
        .await
        .unwrap_err();
    assert!(
        error.to_string().contains("Forecast Grid Expired: x"),
        "{error}"
    );
}

#[tokio::test]
async fn a_forecast_that_is_a_day_short_says_so() {
    let mut reply: serde_json::Value = serde_json::from_slice(OPEN_METEO).unwrap();
    for column in reply["hourly"].as_object_mut().unwrap().values_mut() {
        column.as_array_mut().unwrap().truncate(240 - 24 - 6);
    }
    let server = Server::start(vec![Script::ok(reply.to_string())]).await;
    let fetched = Kit::new()
        .fetch(&OpenMeteo::at(&server.url), AT_ONCE)
        .await
        .unwrap();
    let ends = "2026-06-06T17:00:00Z".parse().unwrap();
    assert_eq!(fetched.reply.notes, [Note::EndsEarly { ends }]);
    assert_eq!(fetched.reply.hours.len(), 210);
}

#[tokio::test]
async fn nulls_and_wrong_units_are_missing_values_and_noted() {
    let text = std::str::from_utf8(OPEN_METEO).unwrap();
    let text = text.replace(
        r#""wind_speed_10m":"m/s""#,
        r#""wind_speed_10m":"beaufort""#,
    );
    let mut reply: serde_json::Value = serde_json::from_str(&text).unwrap();
    reply["hourly"]["precipitation"][31] = serde_json::Value::Null;
    let server = Server::start(vec![Script::ok(reply.to_string())]).await;
    let fetched = Kit::new()
        .fetch(&OpenMeteo::at(&server.url), AT_ONCE)
        .await
        .unwrap();
    assert_eq!(
        fetched.reply.notes,
        [Note::UnknownUnit {
            variable: Variable::Wind,
            unit: "beaufort".into()
        }]
    );
    let hour = &fetched.reply.hours[31];
    assert_eq!((hour.rain_mm, hour.wind_m_per_s), (None, None));
    assert!(hour.air_temperature_c.is_some());
}
