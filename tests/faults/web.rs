//! The local interface under whatever comes: foreign pages, no token, bodies
//! without end, connections that drip, bytes that are no HTTP.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use chrono::DateTime;
use proptest::prelude::*;
use soakmist::daemon::web::{Door, WebError, WebSettings};
use soakmist::daemon::{Answer, Counter, Handle, Request, Status};
use soakmist::mqtt::Secret;
use soakmist::site::{DaemonKeys, Listen};
use soakmist::store::RecordKind;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::runtime::Runtime;

const TOKEN: &str = "0123456789abcdef-harrowmere";

fn status() -> Status {
    serde_json::from_value(serde_json::json!({
        "site": "Harrowmere", "now": DateTime::UNIX_EPOCH, "time_zone": "Europe/London",
        "phase": "running", "dry_run": false, "broker": true,
        "clock_problem": null, "weather_problem": null, "alarms": [],
        "zones": [], "runs": [], "shortfalls": []
    }))
    .unwrap()
}

/// An interface with a loop behind it that does whatever it is asked, and
/// counts.
struct Site {
    address: SocketAddr,
    asked: Arc<AtomicUsize>,
    stop: tokio::sync::oneshot::Sender<()>,
    served: tokio::task::JoinHandle<()>,
}

async fn serve_loop(mut counter: Counter, asked: Arc<AtomicUsize>) {
    while let Some((request, to)) = counter.asks.recv().await {
        asked.fetch_add(1, Ordering::SeqCst);
        let answer = match request {
            Request::Water { .. } => Answer::Refused("the clock is wrong".to_owned()),
            request => Answer::Done(format!("{request:?}")),
        };
        let _ = to.send(answer);
    }
}

async fn site(token: Option<&str>, life: Duration) -> Site {
    let token = token.map(|token| Secret::new(token.to_owned()));
    let mut settings = WebSettings::new("127.0.0.1:0".parse().unwrap(), token).unwrap();
    settings.longest_life = life;
    let door = Door::open(settings).await.unwrap();
    let address = door.address();
    let (handle, counter) = Handle::new(status());
    let asked = Arc::new(AtomicUsize::new(0));
    tokio::spawn(serve_loop(counter, Arc::clone(&asked)));
    let (stop, stopped) = tokio::sync::oneshot::channel();
    let served = tokio::spawn(door.serve(handle, async {
        let _ = stopped.await;
    }));
    Site {
        address,
        asked,
        stop,
        served,
    }
}

/// Sends bytes and reads what comes until the end, or for some seconds.
async fn exchange(address: SocketAddr, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(address).await.unwrap();
    // The other side may have closed before all is written.
    let _ = stream.write_all(bytes).await;
    let mut answer = Vec::new();
    let read = stream.read_to_end(&mut answer);
    let _ = tokio::time::timeout(Duration::from_secs(10), read).await;
    String::from_utf8_lossy(&answer).into_owned()
}

fn get(path: &str, headers: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nConnection: close\r\n{headers}\r\n").into_bytes()
}

fn post(body: &str, headers: &str) -> Vec<u8> {
    let length = body.len();
    format!(
        "POST /v1/ask HTTP/1.1\r\nConnection: close\r\nContent-Length: {length}\r\n{headers}\r\n{body}"
    )
    .into_bytes()
}

const HERE: &str = "Host: 127.0.0.1:8732\r\n";
const JSON: &str = "Host: localhost\r\nContent-Type: application/json\r\n";

fn run(test: impl Future<Output = ()>) {
    Runtime::new().unwrap().block_on(test);
}

const LONG: Duration = Duration::from_secs(30);

/// Status line and JSON of an answer.
fn parts(answer: &str) -> (u16, serde_json::Value) {
    let status = answer.split(' ').nth(1).and_then(|code| code.parse().ok());
    let body = answer.split("\r\n\r\n").nth(1).unwrap_or_default();
    let json = serde_json::from_str(body).unwrap_or_default();
    (status.unwrap_or_else(|| panic!("no HTTP: {answer}")), json)
}

#[test]
fn status_health_and_requests_are_answered_as_json() {
    run(async {
        let site = site(None, LONG).await;
        let (code, json) = parts(&exchange(site.address, &get("/v1/status", HERE)).await);
        assert_eq!((code, &json["schema"]), (200, &"soakmist-daemon".into()));
        assert_eq!(
            (&json["version"], &json["site"]),
            (&1.into(), &"Harrowmere".into())
        );
        let (code, json) = parts(&exchange(site.address, &get("/v1/health", HERE)).await);
        assert_eq!((code, &json["healthy"]), (200, &true.into()));

        let hold = r#"{"ask":"hold","zone":null,"seconds":3600,"note":"match day"}"#;
        let (code, json) = parts(&exchange(site.address, &post(hold, JSON)).await);
        assert_eq!((code, &json["answer"]), (200, &"done".into()));
        let water = r#"{"ask":"water","zone":"square","seconds":60}"#;
        let (code, json) = parts(&exchange(site.address, &post(water, JSON)).await);
        assert_eq!((code, &json["answer"]), (409, &"refused".into()));
        assert_eq!(json["text"], "the clock is wrong");
    });
}

#[test]
fn every_request_can_be_written_and_read_again() {
    let depth_mm = 3.0;
    let zone = || Some("square".to_owned());
    let requests = [
        Request::Stop { zone: None },
        Request::Water {
            zone: "square".to_owned(),
            seconds: 300,
            anyway: false,
        },
        Request::Record {
            zone: zone(),
            what: RecordKind::Rain { depth_mm },
            note: String::new(),
        },
        Request::Record {
            zone: zone(),
            what: RecordKind::Mown,
            note: "first cut".to_owned(),
        },
        Request::Hold {
            zone: zone(),
            seconds: 86_400,
            note: String::new(),
        },
        Request::Resume { zone: None },
        Request::Acknowledge,
    ];
    for request in requests {
        let text = serde_json::to_string(&request).unwrap();
        assert_eq!(serde_json::from_str::<Request>(&text).unwrap(), request);
    }
}

#[test]
fn what_a_foreign_page_can_send_does_nothing() {
    run(async {
        let site = site(None, LONG).await;
        let stop = r#"{"ask":"stop","zone":null}"#;
        let form = "Host: 127.0.0.1\r\nContent-Type: text/plain\r\n";
        let rebound = "Host: harrowmere.example:8732\r\nContent-Type: application/json\r\n";
        let two = format!("{JSON}Host: harrowmere.example\r\n");
        let absent = "Content-Type: application/json\r\n";
        for (headers, expected) in [
            (form, 415),
            (HERE, 415),
            (rebound, 403),
            (&two, 403),
            (absent, 403),
        ] {
            let (code, json) = parts(&exchange(site.address, &post(stop, headers)).await);
            assert_eq!(code, expected, "{headers}");
            // hyper itself refuses some of them, without a body.
            assert!(json["error"]["text"].is_string(), "{headers} {json}");
        }
        let preflight = b"OPTIONS /v1/ask HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
        let answer = exchange(site.address, preflight).await;
        assert_eq!(parts(&answer).0, 405);
        assert!(!answer.to_lowercase().contains("access-control-allow"));
        assert_eq!(site.asked.load(Ordering::SeqCst), 0);
    });
}

#[test]
fn without_the_token_nothing_is_told_or_done() {
    run(async {
        let site = site(Some(TOKEN), LONG).await;
        let with = |token: &str| format!("Host: soakmist\r\nAuthorization: Bearer {token}\r\n");
        for headers in [
            HERE.to_owned(),
            with("wrong"),
            with(&TOKEN[1..]),
            format!("{HERE}Authorization: Basic {TOKEN}\r\n"),
        ] {
            let (code, json) = parts(&exchange(site.address, &get("/v1/status", &headers)).await);
            assert_eq!((code, &json["error"]["code"]), (401, &"token".into()));
            assert!(json["site"].is_null());
            let json = format!("{headers}Content-Type: application/json\r\n");
            let acknowledge = post(r#"{"ask":"acknowledge"}"#, &json);
            assert_eq!(parts(&exchange(site.address, &acknowledge).await).0, 401);
        }
        assert_eq!(site.asked.load(Ordering::SeqCst), 0);
        let right = exchange(site.address, &get("/v1/status", &with(TOKEN))).await;
        assert_eq!(parts(&right).0, 200);
        // A health check has no secrets.
        assert_eq!(
            parts(&exchange(site.address, &get("/v1/health", HERE)).await).0,
            200
        );
    });
}

#[test]
fn an_address_open_to_others_without_a_token_is_an_error() {
    let keys = DaemonKeys {
        listen: Listen::At("0.0.0.0:0".parse().unwrap()),
        ..DaemonKeys::default()
    };
    let folder = tempfile::tempdir().unwrap();
    let of = |keys: &DaemonKeys, variable: Option<&str>| {
        WebSettings::of(keys, folder.path(), variable.map(str::to_owned))
    };
    assert!(matches!(of(&keys, None), Err(WebError::NoToken(_))));
    assert!(matches!(of(&keys, Some("short")), Err(WebError::WeakToken)));
    assert!(matches!(of(&keys, Some("")), Err(WebError::Token(_))));
    let settings = of(&keys, Some(TOKEN)).unwrap().unwrap();
    assert!(!format!("{settings:?}").contains(TOKEN));

    let named = DaemonKeys {
        token_file: Some("token".to_owned()),
        ..keys
    };
    assert!(matches!(of(&named, Some(TOKEN)), Err(WebError::Token(_))));
    std::fs::write(folder.path().join("token"), format!("{TOKEN}\n")).unwrap();
    assert!(of(&named, None).unwrap().is_some());
    let nowhere = DaemonKeys {
        listen: Listen::Nowhere,
        ..DaemonKeys::default()
    };
    assert_eq!(of(&nowhere, None).unwrap(), None);
}

#[test]
fn bodies_without_end_or_sense_are_refused_with_a_word() {
    run(async {
        let site = site(None, LONG).await;
        let nested = "[".repeat(5000);
        let long = format!(
            r#"{{"ask":"hold","seconds":1,"note":"{}"}}"#,
            "x".repeat(20_000)
        );
        let cases = [
            (long.as_str(), 413),
            (&nested, 400),
            ("", 400),
            ("{}", 400),
            (r#"{"ask":"open everything"}"#, 400),
            (r#"{"ask":"water","zone":"square","seconds":-1}"#, 400),
            (r#"{"ask":"water","zone":"square","seconds":1e999}"#, 400),
            (r#"{"ask":"stop","zone":null,"extra":1}"#, 400),
            ("\u{0}\u{1b}[2J", 400),
        ];
        for (body, expected) in cases {
            let (code, json) = parts(&exchange(site.address, &post(body, JSON)).await);
            let text = json["error"]["text"].as_str().unwrap_or_default();
            assert_eq!(code, expected, "{body:.60}");
            assert!(!text.is_empty() && text.len() < 400, "{text}");
        }
        // No length told, so it must be counted.
        let head = format!("POST /v1/ask HTTP/1.1\r\nTransfer-Encoding: chunked\r\n{JSON}\r\n");
        let chunk = format!("4000\r\n{}\r\n", "x".repeat(0x4000));
        let endless = head + &chunk.repeat(8) + "0\r\n\r\n";
        assert_eq!(
            parts(&exchange(site.address, endless.as_bytes()).await).0,
            413
        );
        assert_eq!(site.asked.load(Ordering::SeqCst), 0);
    });
}

#[test]
fn connections_that_drip_end_and_the_others_are_served() {
    run(async {
        let life = Duration::from_secs(2);
        let site = site(None, life).await;
        let mut dripping = Vec::new();
        for _ in 0..100 {
            let mut stream = TcpStream::connect(site.address).await.unwrap();
            stream.write_all(b"GET /v1/st").await.unwrap();
            dripping.push(stream);
        }
        let begun = Instant::now();
        // 100 drips on 32 places: after four lives at the latest it is our turn.
        let (code, _) = parts(&exchange(site.address, &get("/v1/status", HERE)).await);
        assert_eq!(code, 200);
        assert!(begun.elapsed() < 5 * life);
        for mut stream in dripping {
            let mut rest = Vec::new();
            let ended = tokio::time::timeout(2 * life, stream.read_to_end(&mut rest)).await;
            assert!(ended.is_ok(), "a dripping connection lives on");
        }
    });
}

#[test]
fn a_stop_ends_it_within_a_second_whatever_is_under_way() {
    run(async {
        let site = site(None, LONG).await;
        let mut open = TcpStream::connect(site.address).await.unwrap();
        open.write_all(b"POST /v1/ask HTTP/1.1\r\nContent-Le")
            .await
            .unwrap();
        let begun = Instant::now();
        site.stop.send(()).unwrap();
        site.served.await.unwrap();
        assert!(begun.elapsed() < Duration::from_secs(1));
    });
}

#[test]
fn with_the_control_loop_the_interface_ends() {
    run(async {
        let settings = WebSettings::new("127.0.0.1:0".parse().unwrap(), None).unwrap();
        let door = Door::open(settings).await.unwrap();
        let address = door.address();
        let taken = WebSettings::new(address, None).unwrap();
        let error = Door::open(taken).await.unwrap_err().to_string();
        assert!(error.contains("Does another soakmist run?"), "{error}");
        let (handle, counter) = Handle::new(status());
        let served = tokio::spawn(door.serve(handle, std::future::pending()));
        drop(counter);
        let ended = tokio::time::timeout(Duration::from_secs(2), served).await;
        ended.unwrap().unwrap();
    });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Any bytes, alone or behind a sound head, leave the interface alive and
    /// the control loop alone.
    #[test]
    fn no_bytes_bring_it_down(junk in prop::collection::vec(any::<u8>(), 0..400), behind_head: bool) {
        run(async {
            let site = site(None, Duration::from_secs(1)).await;
            let mut bytes = junk.clone();
            if behind_head {
                let head = format!("POST /v1/ask HTTP/1.1\r\nContent-Length: {}\r\n{JSON}\r\n", junk.len());
                bytes = [head.as_bytes(), &junk].concat();
            }
            let mut stream = TcpStream::connect(site.address).await.unwrap();
            let _ = stream.write_all(&bytes).await;
            let _ = stream.shutdown().await;
            let mut answer = Vec::new();
            let _ = stream.read_to_end(&mut answer).await;
            let (code, _) = parts(&exchange(site.address, &get("/v1/health", HERE)).await);
            assert_eq!(code, 200);
            assert_eq!(site.asked.load(Ordering::SeqCst), 0);
        });
    }
}
