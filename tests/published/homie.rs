//! The Homie convention 4.0.0: what the daemon publishes keeps its rules,
//! which `tests/support/homie.rs` states.

use soakmist::daemon::{Status, homie};
use soakmist::site::{Homie, load};

use crate::homie_rules::{Topics, broken_rules, is_id};

/// Names such as no site of this program may have them, too.
fn status(phase: &str) -> Status {
    let zone = |name: &str, valve: &str| {
        serde_json::json!({
            "name": name, "valve": valve, "stage": "germination",
            "depletion_mm": 1.2345, "allowed_mm": 4.0, "open_until": null,
            "next_run": "2023-08-22T14:35:00Z", "last_water": "2023-08-22T12:55:00.4Z",
            "held_until": null, "mown": null
        })
    };
    let mut zones = vec![zone("square", "open"), zone("outfield-north", "by hand")];
    zones[1]["held_until"] = "2023-08-23T17:00:00Z".into();
    for unknown in ["stage", "depletion_mm", "allowed_mm", "next_run"] {
        zones[1][unknown] = serde_json::Value::Null;
    }
    serde_json::from_value(serde_json::json!({
        "site": "Harrowmere – the village ground", "now": "2023-08-22T13:05:00Z",
        "time_zone": "Europe/London", "phase": phase, "dry_run": false, "broker": true,
        "clock_problem": null, "weather_problem": null, "alarms": [],
        "zones": zones, "runs": [], "shortfalls": []
    }))
    .expect("a status")
}

fn device() -> Homie {
    Homie {
        root: "homie".into(),
        device: "soakmist-harrowmere".into(),
    }
}

fn told(status: &Status) -> Topics {
    let homie = device();
    let attributes = homie::attributes(&homie, status);
    let all = attributes.into_iter().chain(homie::values(&homie, status));
    let state = (homie.topic("$state"), homie::state(status).to_owned());
    let all: Vec<_> = all.chain([state]).collect();
    let topics: Topics = all.iter().cloned().collect();
    assert_eq!(topics.len(), all.len(), "a topic is told twice");
    topics
}

#[test]
fn what_is_told_keeps_the_rules_of_the_convention() {
    for phase in ["starting", "running", "stopping", "stopped"] {
        let topics = told(&status(phase));
        let broken = broken_rules("homie", "soakmist-harrowmere", &topics);
        assert_eq!(broken, [] as [String; 0]);
    }
}

#[test]
fn the_rules_are_rules() {
    let broken = |change: fn(&mut Topics)| {
        let mut topics = told(&status("running"));
        change(&mut topics);
        broken_rules("homie", "soakmist-harrowmere", &topics).len()
    };
    let base = "homie/soakmist-harrowmere";
    assert_eq!(broken(|_| ()), 0);
    let changes: [fn(&mut Topics, &str); 6] = [
        |topics, base| drop(topics.remove(&format!("{base}/$extensions"))),
        |topics, base| drop(topics.remove(&format!("{base}/square/$type"))),
        |topics, base| drop(topics.insert(format!("{base}/square/valve"), "ajar".into())),
        |topics, base| drop(topics.insert(format!("{base}/square/depletion"), "NaN".into())),
        |topics, base| drop(topics.insert(format!("{base}/square/extra"), "1".into())),
        |topics, base| drop(topics.insert(format!("{base}/$state"), "offline".into())),
    ];
    for change in changes {
        let mut topics = told(&status("running"));
        change(&mut topics, base);
        let broken = broken_rules("homie", "soakmist-harrowmere", &topics);
        assert_eq!(broken.len(), 1, "{broken:?}");
    }
    for (text, holds) in [
        ("a-1", true),
        ("-a", false),
        ("a-", false),
        ("A", false),
        ("a_b", false),
    ] {
        assert_eq!(is_id(text), holds, "{text}");
    }
}

#[test]
fn values_are_what_the_status_says() {
    let topics = told(&status("running"));
    let says = |below: &str| topics.get(&device().topic(below)).map(String::as_str);
    assert_eq!(says("$nodes"), Some("site,square,outfield-north"));
    assert_eq!(says("square/valve"), Some("open"));
    assert_eq!(says("square/depletion"), Some("1.23"));
    assert_eq!(says("square/depletion/$unit"), Some("mm"));
    // London is an hour ahead of UTC in summer.
    assert_eq!(says("square/next-run"), Some("2023-08-22T15:35:00+01:00"));
    assert_eq!(says("square/last-water"), Some("2023-08-22T13:55:00+01:00"));
    assert_eq!(says("square/held-until"), Some("none"));
    assert_eq!(says("square/stop"), Some("false"));
    assert_eq!(says("outfield-north/stop"), Some("true"));
    assert_eq!(says("site/stop"), Some("false"), "one of two is stopped");
    for unknown in ["stage", "depletion", "allowed"] {
        assert_eq!(says(&format!("outfield-north/{unknown}")), None);
    }
    assert_eq!(says("site/alarms"), Some("none"));
}

/// Device Lifecycle: `init` before it is ready to operate, `alert` "when
/// something is wrong".
#[test]
fn the_state_follows_the_lifecycle() {
    assert_eq!(homie::state(&status("starting")), "init");
    assert_eq!(homie::state(&status("running")), "ready");
    let mut alarmed = status("running");
    alarmed.alarms = vec!["square: the valve does not close".into()];
    assert_eq!(homie::state(&alarmed), "alert");
    let says = told(&alarmed)[&device().topic("site/alarms")].clone();
    assert_eq!(says, "square: the valve does not close");
}

/// Property command topic: what is settable is set below `set`, and nothing
/// but a stop is settable.
#[test]
fn every_settable_property_has_its_command_topic_and_is_a_stop() {
    let text = include_str!("../../config/valve-countdown.toml");
    let site = load(text, "site.toml").expect("an example").site;
    let mut status = status("running");
    let zone = status.zones[0].clone();
    let named = |name: &String| {
        let mut zone = zone.clone();
        zone.name.clone_from(name);
        zone
    };
    status.zones = site.zones.iter().map(|zone| named(&zone.name)).collect();
    let settable = homie::attributes(&device(), &status).into_iter();
    let settable = settable.filter(|(topic, text)| topic.ends_with("/$settable") && text == "true");
    let settable = settable.map(|(topic, _)| topic.replace("/$settable", "/set"));
    let stops: Vec<String> = homie::stops(&device(), &site)
        .into_iter()
        .map(|(topic, _)| topic)
        .collect();
    assert_eq!(settable.collect::<Vec<_>>(), stops);
    assert!(stops.iter().all(|topic| topic.ends_with("/stop/set")));
    assert_eq!(stops.len(), 1 + site.zones.len());
}
