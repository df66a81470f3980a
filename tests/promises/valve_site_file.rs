//! What a site file says of broker, devices and valves reaches the model, and
//! what cannot work is told where it stands.

use std::time::Duration;

use soakmist::site::{
    Acts, Code, CommandFacts, Diagnostic, FlowCount, Loaded, MqttVersion, Severity, Site, Valve,
    load,
};

use crate::command::soakmist;

const EVERY_KEY: &str = include_str!("../data/every_key.toml");

/// A small site with a broker; tests put faults into it.
const SMALL: &str = r#"name = "Back garden"
place = { latitude = 36.1, longitude = -79.9, elevation = "270 m", time-zone = "America/New_York" }
[supply]
flow = "20 L/min"
[mqtt]
host = "localhost"
[[device]]
name = "board"
command-topic = "board/{channel}/set"
state-topic = "board/{channel}/state"
[all-zones]
soil = "clay loam"
sprinkler = { flow = "18 L/min" }
seeding = { at = "2023-08-25 17:30", mix = "tall-fescue" }
valve = { device = "board" }
[[zone]]
name = "lawn"
area = "70 m2"
valve.channel = 1
[[zone]]
name = "bed"
area = "70 m2"
valve.channel = "2"
"#;

fn loaded(text: &str) -> Loaded {
    match load(text, "site.toml") {
        Ok(loaded) => loaded,
        Err(faults) => panic!("{faults}"),
    }
}

fn small() -> Site {
    let loaded = loaded(SMALL);
    assert_eq!(loaded.warnings, []);
    loaded.site
}

/// What is found in the small site with a part replaced.
fn found(part: &str, by: &str) -> Vec<Diagnostic> {
    assert!(SMALL.contains(part), "{part}");
    match load(&SMALL.replacen(part, by, 1), "site.toml") {
        Ok(loaded) => loaded.warnings,
        Err(faults) => faults.items,
    }
}

fn assert_found(part: &str, by: &str, (severity, code, line): (Severity, Code, usize)) {
    let all = found(part, by);
    let told: Vec<_> = all
        .iter()
        .map(|item| (item.severity, item.code, item.line))
        .collect();
    assert_eq!(told, [(severity, code, line)], "{part} → {by}\n{all:#?}");
    assert!(all[0].help.is_some(), "{}", all[0].message);
}

fn assert_error(part: &str, by: &str, (code, line): (Code, usize)) {
    assert_found(part, by, (Severity::Error, code, line));
}

fn facts() -> CommandFacts {
    CommandFacts {
        id: 9,
        run_time: Duration::from_secs(90),
        issued_at: "2026-05-02T06:00:00Z".parse().unwrap(),
        valid_for: Duration::from_secs(30),
    }
}

fn opens(valve: &Valve) -> String {
    valve.open.filled(&facts())
}

#[test]
fn every_key_of_broker_and_devices_reaches_the_model() {
    let site = loaded(EVERY_KEY).site;
    let mqtt = site.mqtt.unwrap();
    assert_eq!(
        (mqtt.host.as_str(), mqtt.port),
        ("broker.harrowmere.example", 8884)
    );
    assert_eq!(mqtt.version, MqttVersion::V5);
    assert_eq!(mqtt.client_id, "soakmist-every-key");
    assert_eq!(mqtt.base_topic, "harrowmere/soakmist");
    let homie = mqtt.homie.unwrap();
    assert_eq!(homie.topic("$state"), "homie/soakmist-every-key/$state");
    let login = mqtt.login.unwrap();
    assert_eq!(login.user, "ground");
    assert_eq!(login.password_file.as_deref(), Some("mqtt-password"));
    assert_eq!(mqtt.keep_alive.num_seconds(), 5);
    let tls = mqtt.tls.unwrap();
    assert_eq!(tls.authority.as_deref(), Some("ca.pem"));
    assert_eq!(tls.own, Some(("ground.pem".into(), "ground.key".into())));
    let master = mqtt.master_valve.unwrap();
    assert_eq!(master.command_topic, "harrowmere/main/7/set");
    let pump = mqtt.pump.unwrap();
    assert_eq!((pump.acts, opens(&pump).as_str()), (Acts::OnOff, "ON"));
    let meter = mqtt.flow_meter.unwrap();
    assert_eq!(meter.counts, FlowCount::Total { l: 10.0 });
    assert!((meter.least_l_per_min - 0.3 * 3.785_411_784).abs() < 1e-9);

    let valve = site.zones[0].valve.as_ref().unwrap();
    assert_eq!(valve.acts, Acts::SelfClosing);
    assert_eq!(valve.command_topic, "harrowmere/1/command");
    assert_eq!(
        opens(valve),
        r#"{"on":true,"seconds":90,"id":9,"issued_at":1777701600,"valid_for_s":30}"#
    );
    let state = valve.state.as_ref().unwrap();
    assert_eq!(state.topic, "harrowmere/1/state");
    assert_eq!(state.pointer.as_deref(), Some("/relay/1/now"));
    assert_eq!(state.echo.as_deref(), Some("/relay/1/id"));
    assert_eq!(state.open_words, ["running", "on"]);
    assert_eq!(state.closed_words, ["idle"]);
}

#[test]
fn a_small_file_gets_sensible_defaults() {
    let site = small();
    let mqtt = site.mqtt.unwrap();
    assert_eq!(
        (mqtt.port, mqtt.client_id.as_str()),
        (1883, "soakmist-back-garden")
    );
    assert_eq!((mqtt.login, mqtt.tls, mqtt.homie), (None, None, None));
    let topics: Vec<_> = site
        .zones
        .iter()
        .map(|zone| zone.valve.as_ref().unwrap().command_topic.as_str())
        .collect();
    assert_eq!(topics, ["board/1/set", "board/2/set"]);
}

#[test]
fn a_homie_device_is_called_like_our_client() {
    let by = "host = \"localhost\"\nclient-id = \"-Back_Garden-\"\nhomie = \"homie\"";
    let site = loaded(&SMALL.replacen("host = \"localhost\"", by, 1)).site;
    let homie = site.mqtt.unwrap().homie.unwrap();
    assert_eq!(homie.device, "back-garden");
}

/// Homie convention 4.0.0, Topic IDs: `a-z 0-9 -`, no hyphen at an end.
#[test]
fn what_cannot_stand_in_a_homie_topic_is_an_error() {
    let host = "host = \"localhost\"";
    for root in ["", "Homie", "home/homie", "homie-", "h\u{f6}f", "+"] {
        let by = format!("{host}\nhomie = \"{root}\"");
        assert_error(host, &by, (Code::OutOfRange, 7));
    }
    let by = format!("{host}\nclient-id = \"--\"\nhomie = \"homie\"");
    assert_error(host, &by, (Code::OutOfRange, 7));
    let by = format!("{host}\nhomie = \"h\"\nbase-topic = \"h/soakmist-back-garden\"");
    assert_error(host, &by, (Code::Contradiction, 8));
    let with = SMALL.replacen(host, &format!("{host}\nhomie = \"homie\""), 1);
    for (name, code) in [("site", Code::Duplicate), ("lawn-", Code::OutOfRange)] {
        let text = with.replacen("\"lawn\"", &format!("\"{name}\""), 1);
        let faults = load(&text, "site.toml").unwrap_err().items;
        let told: Vec<_> = faults
            .iter()
            .map(|fault| (fault.code, fault.line))
            .collect();
        assert_eq!(told, [(code, 18)], "{name}");
    }
    assert_eq!(loaded(&with).warnings, []);
    // Without Homie such names are as good as any.
    assert_eq!(loaded(&SMALL.replace("\"lawn\"", "\"site\"")).warnings, []);
}

#[test]
fn two_topics_are_enough_for_a_plain_relay() {
    let by = r#"valve = { command-topic = "g/1/set", state-topic = "g/1/state" }"#;
    let text = SMALL
        .replace("valve.channel = 1", by)
        .replace("valve = { device = \"board\" }\n", "");
    let text = text.replace("valve.channel = \"2\"", "");
    let site = loaded(&text).site;
    let valve = site.zones[0].valve.as_ref().unwrap();
    assert_eq!((opens(valve).as_str(), valve.acts), ("ON", Acts::OnOff));
    assert_eq!(valve.state.as_ref().unwrap().topic, "g/1/state");
    assert_eq!(site.zones[1].valve, None);
}

#[test]
fn a_broker_that_cannot_be_called_is_an_error() {
    let host = "host = \"localhost\"";
    for (by, code) in [
        ("host = \"mqtt://broker\"", Code::OutOfRange),
        ("host = \"two words\"", Code::OutOfRange),
        ("port = 1883", Code::MissingKey),
        ("host = \"::1\"\ntls = {}", Code::OutOfRange),
    ] {
        let line = if code == Code::MissingKey { 5 } else { 6 };
        assert_error(host, by, (code, line));
    }
    for port in ["0", "70000", "-1", "1.5", "\"1883\""] {
        let by = format!("host = \"localhost\"\nport = {port}");
        assert_error(host, &by, (Code::OutOfRange, 7));
    }
    let by = "host = \"localhost\"\nclient-id = \"a b\"";
    assert_error(host, by, (Code::OutOfRange, 7));
    let by = "host = \"localhost\"\ntls = { key-file = \"k\" }";
    assert_error(host, by, (Code::MissingKey, 7));
}

#[test]
fn passwords_need_a_user_and_are_better_encrypted() {
    let host = "host = \"localhost\"";
    let by = "host = \"localhost\"\npassword-file = \"p\"";
    assert_error(host, by, (Code::Contradiction, 7));
    let by = "host = \"192.168.7.2\"\nuser = \"u\"";
    assert_found(host, by, (Severity::Warning, Code::Unusual, 7));
    assert_eq!(found(host, "host = \"localhost\"\nuser = \"u\""), []);
    let by = "host = \"192.168.7.2\"\nuser = \"u\"\ntls = {}";
    assert_eq!(found(host, by), []);
}

#[test]
fn a_device_whose_parts_do_not_fit_is_an_error() {
    let name = "name = \"board\"";
    for (by, code, line) in [
        ("acts = \"self-closing\"", Code::Contradiction, 7),
        ("close = \"OFF {seconds}\"", Code::Contradiction, 9),
        ("echo-pointer = \"/id\"", Code::Contradiction, 9),
        ("state-open = \"off\"", Code::Contradiction, 9),
        ("open = \"ON {second}\"", Code::UnknownWord, 9),
        ("open = \"\"", Code::OutOfRange, 9),
        ("state-pointer = \"a.b\"", Code::OutOfRange, 9),
        ("acts = \"sometimes\"", Code::UnknownWord, 9),
    ] {
        assert_error(name, &format!("{name}\n{by}"), (code, line));
    }
    let ids = "name = \"board\"\nopen = \"1 {id}\"\nclose = \"0 {id}\"\necho-pointer = \"/id\"";
    assert_eq!(found(name, ids), []);
}

#[test]
fn topics_are_exact() {
    let topic = "command-topic = \"board/{channel}/set\"";
    for (by, code) in [
        ("board/+/{channel}", Code::OutOfRange),
        ("board/{channel}/#", Code::OutOfRange),
        ("$SYS/{channel}", Code::OutOfRange),
        ("/board/{channel}", Code::OutOfRange),
        ("board//{channel}", Code::OutOfRange),
        ("board/{channel}/{seconds}", Code::UnknownWord),
        ("board/{chanel}", Code::UnknownWord),
    ] {
        assert_error(topic, &format!("command-topic = \"{by}\""), (code, 9));
    }
}

#[test]
fn a_zone_that_names_no_known_device_or_channel_is_an_error() {
    assert_error("valve.channel = 1\n", "", (Code::MissingKey, 16));
    let by = "valve = { channel = 1, device = \"bord\" }";
    assert_error("valve.channel = 1", by, (Code::UnknownWord, 19));
    let by = "valve.channel = \"1/set\"";
    assert_error("valve.channel = 1", by, (Code::OutOfRange, 19));
}

#[test]
fn two_zones_on_one_valve_are_an_error() {
    assert_error(
        "valve.channel = \"2\"",
        "valve.channel = 1",
        (Code::Duplicate, 21),
    );
    // One board of one topic is fine while the payloads differ.
    let shared = SMALL.replace("board/{channel}/set", "board/set").replace(
        "state-topic = \"board/{channel}/state\"",
        "open = \"{channel} on\"",
    );
    assert_eq!(loaded(&shared).warnings, []);
    // Positions on one topic need a pointer each.
    let one = "board/{channel}/state\"";
    assert_error(one, "board/state\"", (Code::Duplicate, 21));
    let by = "board/state\"\nstate-pointer = \"/{channel}\"";
    assert_eq!(found(one, by), []);
}

#[test]
fn master_valve_and_pump_must_be_in_the_supply_too() {
    let flow = "flow = \"20 L/min\"";
    let by = "flow = \"20 L/min\"\nmaster-valve = true";
    assert_error(flow, by, (Code::MissingKey, 6));
    let host = "host = \"localhost\"";
    let by = "host = \"localhost\"\nmaster-valve = { command-topic = \"main/set\" }";
    assert_error(host, by, (Code::Contradiction, 7));
    let by = "host = \"localhost\"\npump = { command-topic = \"pump/set\" }";
    assert_error(host, by, (Code::Contradiction, 7));
}

#[test]
fn a_valve_without_a_topic_is_doubted() {
    let by = "name = \"board\"\n";
    let part = "name = \"board\"\ncommand-topic = \"board/{channel}/set\"\n";
    let all = found(part, by);
    assert_eq!(all.len(), 2, "{all:#?}");
    assert!(all.iter().all(|item| item.code == Code::NoEffect));
}

#[test]
fn the_meter_counts_flow_or_water() {
    let host = "host = \"localhost\"";
    let meter = |unit: &str| {
        let by = format!("{host}\nflow-meter = {{ topic = \"m\", unit = \"{unit}\" }}");
        let text = SMALL.replace(host, &by);
        load(&text, "site.toml").map(|loaded| loaded.site.mqtt.unwrap().flow_meter.unwrap().counts)
    };
    assert_eq!(meter("L/min").unwrap(), FlowCount::Flow { l_per_min: 1.0 });
    assert_eq!(meter("m3").unwrap(), FlowCount::Total { l: 1000.0 });
    assert_eq!(meter("10 L").unwrap(), FlowCount::Total { l: 10.0 });
    for wrong in ["kPa", "0 L", "pulses"] {
        assert_eq!(meter(wrong).unwrap_err().items[0].code, Code::BadQuantity);
    }
}

/// The text of a timetable lists the defaults that shape it, and no others.
#[test]
fn how_valves_are_driven_is_told_by_check_and_not_by_a_timetable() {
    let file = "config/valve-relay-board.toml";
    let checked = soakmist(&["check", file]);
    assert!(
        checked.out.contains("mqtt.keep-alive = 3 s"),
        "{}",
        checked.out
    );
    let weather = ["--weather", "config/harrowmere-weather.csv"];
    let span = ["--from", "2023-08-24", "--days", "1"];
    let plan = soakmist(&[&["timetable", file][..], &weather, &span].concat());
    assert_eq!(plan.code, 0, "{}", plan.err);
    assert!(plan.out.contains("limits.wind"), "{}", plan.out);
    assert!(!plan.out.contains("mqtt.") && !plan.out.contains("device."));
}
