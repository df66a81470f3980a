//! The commands that talk to the daemon: what they ask, what they print and
//! with which exit code they end. A control loop of the test stands behind a
//! real interface.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use soakmist::daemon::web::{Door, WebSettings};
use soakmist::daemon::{Answer, Counter, Handle, Request, Status};
use soakmist::mqtt::Secret;
use soakmist::store::RecordKind;

use crate::command::{Said, assert_fits_80_columns, soakmist};

fn status(zones: usize) -> Status {
    let zone = |name: &str, valve: &str| {
        serde_json::json!({
            "name": name, "valve": valve, "stage": "germination",
            "depletion_mm": 1.234, "allowed_mm": 4.0, "open_until": null,
            "last_water": "2023-08-22T12:55:00Z", "held_until": null, "mown": null
        })
    };
    let mut all = vec![zone("square", "open"), zone("outfield-north", "closed")];
    all[0]["open_until"] = "2023-08-22T13:12:00Z".into();
    all[1]["depletion_mm"] = serde_json::Value::Null;
    all[1]["held_until"] = "2023-08-23T17:00:00Z".into();
    all.truncate(zones);
    serde_json::from_value(serde_json::json!({
        "site": "Harrowmere", "now": "2023-08-22T13:05:00Z", "time_zone": "Europe/London",
        "phase": "running", "dry_run": false, "broker": true,
        "clock_problem": null,
        "weather_problem": "no weather is known from 2023-08-23 00:00 UTC on: the plan takes a warm clear day in its place",
        "alarms": ["the flow meter is silent: bursts and leaks go unseen, check the meter \u{1b}[31m"],
        "zones": all,
        "runs": [
            {"zone": "outfield-north", "start": "2023-08-22T13:35:00Z", "seconds": 130, "depth_mm": 0.72},
            {"zone": "square", "start": "2023-08-23T05:40:00Z", "seconds": 3900, "depth_mm": 12.34}
        ],
        "shortfalls": [["square", 3.25]]
    }))
    .expect("a status")
}

/// A daemon that notes what it is asked, refuses water and does the rest.
struct Daemon {
    url: String,
    asked: Arc<Mutex<Vec<Request>>>,
    _runtime: tokio::runtime::Runtime,
}

async fn answer(mut counter: Counter, notes: Arc<Mutex<Vec<Request>>>) {
    while let Some((request, to)) = counter.asks.recv().await {
        let answer = match request {
            Request::Water { .. } => Answer::Refused("the broker is away".to_owned()),
            _ => Answer::Done("square: done".to_owned()),
        };
        notes.lock().expect("no panic before").push(request);
        let _ = to.send(answer);
    }
}

fn daemon(status: Status, token: Option<&str>) -> Daemon {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let token = token.map(|token| Secret::new(token.to_owned()));
    let address = "127.0.0.1:0".parse().expect("an address");
    let settings = WebSettings::new(address, token).expect("settings");
    let door = runtime.block_on(Door::open(settings)).expect("a port");
    let url = format!("http://{}", door.address());
    let (handle, counter) = Handle::new(status);
    let asked = Arc::new(Mutex::new(Vec::new()));
    let notes = Arc::clone(&asked);
    runtime.spawn(door.serve(handle, std::future::pending()));
    runtime.spawn(answer(counter, notes));
    Daemon {
        url,
        asked,
        _runtime: runtime,
    }
}

impl Daemon {
    fn run(&self, arguments: &[&str]) -> Said {
        let at = ["--daemon", self.url.as_str()];
        soakmist(&[arguments, at.as_slice()].concat())
    }

    /// What a command asks; it must succeed.
    fn asks(&self, arguments: &[&str]) -> Request {
        let said = self.run(arguments);
        assert_eq!(
            (said.code, said.out.as_str()),
            (0, "square: done\n"),
            "{}",
            said.err
        );
        self.asked
            .lock()
            .expect("no panic before")
            .pop()
            .expect("a request")
    }
}

fn zone() -> Option<String> {
    Some("square".to_owned())
}

#[test]
fn each_command_asks_what_it_says() {
    let daemon = daemon(status(2), None);
    assert_eq!(daemon.asks(&["stop", "all"]), Request::Stop { zone: None });
    assert_eq!(
        daemon.asks(&["stop", "square"]),
        Request::Stop { zone: zone() }
    );
    let hold = Request::Hold {
        zone: None,
        seconds: 86_400,
        note: "match day".to_owned(),
    };
    assert_eq!(daemon.asks(&["hold", "24h", "match day"]), hold);
    let resume = Request::Resume { zone: zone() };
    assert_eq!(daemon.asks(&["resume", "--zone", "square"]), resume);
    assert_eq!(daemon.asks(&["resume", "square"]), resume);
    let resume = Request::Resume { zone: None };
    assert_eq!(daemon.asks(&["resume"]), resume);
    assert_eq!(daemon.asks(&["resume", "all"]), resume);
    assert_eq!(daemon.asks(&["acknowledge"]), Request::Acknowledge);
}

#[test]
fn records_take_millimetres_and_inches() {
    let daemon = daemon(status(2), None);
    let record = |what, zone, note: &str| Request::Record {
        zone,
        what,
        note: note.to_owned(),
    };
    let rain = daemon.asks(&["record", "rain", "4mm"]);
    assert_eq!(rain, record(RecordKind::Rain { depth_mm: 4.0 }, None, ""));
    let by_hand = daemon.asks(&["record", "hand-watered", "0.5 in", "--zone", "square"]);
    let Request::Record {
        what: RecordKind::HandWatered { depth_mm },
        ..
    } = by_hand
    else {
        panic!("{by_hand:?}");
    };
    assert!((depth_mm - 12.7).abs() < 1e-9);
    let mown = daemon.asks(&["record", "mown", "--note", "first cut"]);
    assert_eq!(mown, record(RecordKind::Mown, None, "first cut"));
    let emerged = daemon.asks(&["record", "emerged", "--zone", "square"]);
    assert_eq!(emerged, record(RecordKind::Emerged, zone(), ""));
    let all_up = daemon.asks(&["record", "all-up", "--zone", "square"]);
    assert_eq!(all_up, record(RecordKind::AllUp, zone(), ""));
    let back = daemon.asks(&["record", "take-back", "--zone", "square"]);
    assert_eq!(back, Request::TakeBack { zone: zone() });
}

#[test]
fn what_is_meant_for_one_zone_needs_its_name_where_there_are_several() {
    let several = daemon(status(2), None);
    for what in [
        &["record", "emerged"][..],
        &["record", "all-up"],
        &["record", "hand-watered", "3mm"],
    ] {
        let said = several.run(what);
        assert_eq!(said.code, 2, "{}", said.err);
        assert!(said.err.contains("square, outfield-north"), "{}", said.err);
    }
    let one = daemon(status(1), None);
    assert!(matches!(
        one.asks(&["record", "emerged"]),
        Request::Record { zone: None, .. }
    ));
}

#[test]
fn a_refusal_ends_with_1_and_wrong_usage_with_2() {
    let daemon = daemon(status(2), None);
    let said = daemon.run(&["water", "square", "5min"]);
    assert_eq!(
        (said.code, said.err.as_str()),
        (1, "soakmist: the broker is away\n")
    );
    for wrong in [
        &["water", "square", "5"][..],
        &["water", "square", "5 weeks"],
        &["water", "square"],
        &["hold", "soon"],
        &["record", "rain"],
        &["record", "rain", "4"],
        &["record", "rain", "4 L"],
        &["record", "mown", "4mm"],
        &["record", "snow"],
        &["stop"],
    ] {
        let said = daemon.run(wrong);
        assert_eq!(said.code, 2, "{wrong:?} {}", said.err);
    }
    assert_eq!(daemon.asked.lock().expect("no panic before").len(), 1);
    let said = soakmist(&["status", "--daemon", "harrowmere"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("http://127.0.0.1:8732"), "{}", said.err);
}

#[test]
fn without_a_daemon_the_way_to_start_one_is_told() {
    // A free port may be another test's a moment later; this one is nobody's.
    let url = "http://127.0.0.1:1";
    let said = soakmist(&["status", "--daemon", url]);
    assert_eq!(said.code, 3);
    let words: Vec<&str> = said.err.split_whitespace().collect();
    assert!(
        words.join(" ").contains("`soakmist run SITE.toml`"),
        "{}",
        said.err
    );
    assert!(said.err.contains(url), "{}", said.err);
}

#[test]
fn what_is_no_daemon_is_told_apart() {
    let stranger = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}", stranger.local_addr().expect("bound"));
    let answering = std::thread::spawn(move || {
        use std::io::{Read as _, Write as _};
        for answer in [
            "HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nhi",
            "220 mail\r\n",
        ] {
            let (mut stream, _) = stranger.accept().expect("a connection");
            let _ = stream.set_read_timeout(Some(Duration::from_secs(1)));
            let _ = stream.read(&mut [0; 1024]);
            let _ = stream.write_all(answer.as_bytes());
        }
    });
    for _ in 0..2 {
        let said = soakmist(&["stop", "all", "--daemon", &url]);
        assert_eq!(said.code, 3);
        assert!(said.err.contains("no soakmist daemon"), "{}", said.err);
    }
    answering.join().expect("no panic");
}

#[test]
fn a_token_is_asked_for_and_shown() {
    let token = "0123456789abcdef-harrowmere";
    let daemon = daemon(status(2), Some(token));
    let said = daemon.run(&["status"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("SOAKMIST_DAEMON_TOKEN"), "{}", said.err);
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    std::io::Write::write_all(&mut file, token.as_bytes()).expect("written");
    let path = file.path().to_str().expect("UTF-8");
    let said = daemon.run(&["status", "--token-file", path]);
    assert_eq!(said.code, 0, "{}", said.err);
}

#[test]
fn the_status_is_a_page_with_alarms_first() {
    let daemon = daemon(status(2), None);
    let said = daemon.run(&["status"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert_fits_80_columns(&said.out);
    let expected = "\
Harrowmere: running, Tue 22 Aug 2023 14:05 (Europe/London)
ALARM    the flow meter is silent: bursts and leaks go unseen, check the meter
         [31m
weather  no weather is known from 2023-08-23 00:00 UTC on: the plan takes a warm
         clear day in its place
DRY      square: the plan leaves it dry for 3.2 h

valve    square: open until 14:12

next                14:35  outfield-north    2 min 10 s    0.7 mm
         Wed 23 Aug 06:40  square            1 h 05 min   12.3 mm

zone            stage          missing of allowed     last water
square          germination      1.2 mm of 4.0 mm     13:55
outfield-north  germination    not yet planned        13:55
         no watering before Wed 23 Aug 18:00
";
    assert_eq!(said.out, expected, "\n{}", said.out);
}

#[test]
fn the_status_names_each_dry_zone_once_and_none_for_less_than_a_minute() {
    let mut status = status(2);
    let dry = [
        ("square", 0.4),
        ("nets", 0.01),
        ("square", 0.2),
        ("nets", 0.003),
    ];
    status.shortfalls = dry.map(|(zone, hours)| (zone.to_owned(), hours)).into();
    status.shortfalls.push(("outfield-north".to_owned(), 1.25));
    let said = daemon(status, None).run(&["status"]).out;
    let lines = said.lines().filter(|line| line.starts_with("DRY"));
    let expected = [
        "DRY      square: the plan leaves it dry for 36 min",
        "DRY      outfield-north: the plan leaves it dry for 1.2 h",
    ];
    assert_eq!(lines.collect::<Vec<_>>(), expected);
}

#[test]
fn the_status_fits_80_columns_with_the_longest_names() {
    let mut long = status(2);
    let name = "a-zone-with-a-name-as-long-as-can-be";
    for zone in &mut long.zones {
        zone.name = name.to_owned();
        zone.stage = Some("establishment".to_owned());
        zone.last_water = Some("2023-08-20T12:55:00Z".parse().expect("a time"));
        zone.depletion_mm = Some(123.456);
    }
    long.runs[1].zone = name.to_owned();
    assert_fits_80_columns(&daemon(long, None).run(&["status"]).out);
}

#[test]
fn the_status_as_json_is_the_answer_of_the_interface() {
    let daemon = daemon(status(2), None);
    let said = daemon.run(&["status", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&said.out).expect("JSON");
    assert_eq!(json["schema"], "soakmist-daemon");
    assert_eq!(json["zones"][0]["name"], "square");
    let said = daemon.run(&["status", "--healthy"]);
    assert_eq!(
        (said.code, said.out.as_str()),
        (0, "healthy\n"),
        "{}",
        said.err
    );
}

#[test]
fn a_daemon_that_waters_nothing_because_of_its_clock_is_not_healthy() {
    let problem = "the clock shows 1970-01-01 00:10 UTC, before this program was written";
    let mut status = status(2);
    status.clock_problem = Some(problem.to_owned());
    let said = daemon(status, None).run(&["status", "--healthy"]);
    assert_eq!(said.code, 1);
    assert!(
        said.err
            .contains("nothing is watered: the clock shows 1970"),
        "{}",
        said.err
    );
}

#[test]
fn the_status_finds_the_daemon_and_the_units_in_a_site_file() {
    let daemon = daemon(status(2), None);
    let text = include_str!("../../config/backyard.toml");
    let address = daemon.url.trim_start_matches("http://");
    let text = format!("{text}\n[daemon]\nlisten = \"{address}\"\n");
    let mut file = tempfile::NamedTempFile::new().expect("a file");
    std::io::Write::write_all(&mut file, text.as_bytes()).expect("written");
    let said = soakmist(&["status", file.path().to_str().expect("UTF-8")]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.contains(" in of "), "{}", said.out);
}
