//! The example files in `config/` drive the devices that they describe:
//! what is sent, what is understood, and what is not believed.
#![cfg(feature = "daemon")]

use std::path::Path;
use std::time::Duration;

use soakmist::mqtt::{
    Devices, Message, Order, PASSWORD_VARIABLE, Quality, Reading, Settings, SettingsError,
};
use soakmist::site::{Homie, Mqtt, MqttVersion, Site, load};
use soakmist::valve::{
    Actuation, Command, CommandId, DeviceId, Feedback, MeterFlow, Moment, Position, Report,
    Supervisor,
};

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/config");
const ZONE: DeviceId = DeviceId::Zone(0);

#[expect(clippy::disallowed_methods, reason = "a test reads the examples")]
fn site(name: &str) -> Site {
    let text = std::fs::read_to_string(Path::new(FOLDER).join(name)).unwrap();
    match load(&text, name) {
        Ok(loaded) => {
            assert_eq!(loaded.warnings, [], "{name}");
            loaded.site
        }
        Err(faults) => panic!("{faults}"),
    }
}

fn devices(site: &Site) -> Devices {
    Devices::of(site, site.mqtt.as_ref().unwrap())
}

/// What is sent to a device: topic, payload, quality.
fn sent(devices: &Devices, device: DeviceId, command: Command) -> (String, String, Quality) {
    let order = Order {
        device,
        id: CommandId(41),
        command,
    };
    let issued_at = "2026-05-02T06:00:00Z".parse().unwrap();
    let parcel = devices.parcel(order, issued_at).unwrap();
    assert!(!parcel.retain);
    let payload = String::from_utf8(parcel.payload).unwrap();
    (parcel.topic, payload, parcel.quality)
}

const OPEN: Command = Command::Open {
    run_time: Duration::from_millis(89_001),
    valid_for: Duration::from_secs(10),
};

fn message(devices: &Devices, topic: &str, payload: &str) -> Message {
    let subscription = devices
        .subscriptions()
        .iter()
        .position(|subscription| subscription.topic == topic)
        .unwrap();
    Message {
        subscription,
        payload: payload.into(),
        stored: false,
        received: Moment::from_millis(1000),
    }
}

fn read(devices: &mut Devices, topic: &str, payload: &str) -> Vec<Reading> {
    let message = message(devices, topic, payload);
    devices.read(&message, Moment::from_millis(1010))
}

fn report(device: DeviceId, position: Position, echo: Option<u64>) -> Reading {
    let echo = echo.map(CommandId);
    Reading::Report(device, Report { position, echo })
}

#[test]
fn every_example_file_loads_without_a_word_and_can_be_supervised() {
    let mut seen = 0;
    for entry in Path::new(FOLDER).read_dir().unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if !name.ends_with(".toml") {
            continue;
        }
        let site = site(&name);
        seen += usize::from(name.starts_with("valve-"));
        if site.mqtt.is_some() {
            let installation = devices(&site).installation(&site);
            Supervisor::new(installation.into()).unwrap();
        } else {
            assert!(!name.starts_with("valve-"), "{name} has no broker");
        }
    }
    assert_eq!(seen, 3);
}

#[test]
fn a_relay_board_is_told_on_and_off_and_understood() {
    let site = site("valve-relay-board.toml");
    let mut devices = devices(&site);
    let (topic, payload, quality) = sent(&devices, ZONE, OPEN);
    assert_eq!(topic, "harrowmere/board/relay/1/command");
    assert_eq!((payload.as_str(), quality), ("ON", Quality::AtMostOnce));
    let (topic, payload, quality) = sent(&devices, DeviceId::Master, Command::Close);
    assert_eq!(topic, "harrowmere/board/relay/8/command");
    assert_eq!((payload.as_str(), quality), ("OFF", Quality::AtLeastOnce));
    let device = devices.device(DeviceId::Zone(1));
    assert_eq!(device.actuation, Actuation::OnOff);
    assert_eq!(device.feedback, Feedback::Position);
    let told = read(&mut devices, "harrowmere/board/relay/2", "OFF");
    assert_eq!(told, [report(DeviceId::Zone(1), Position::Closed, None)]);
    assert!(!devices.is_driven(DeviceId::Pump));
}

#[test]
fn a_countdown_valve_is_told_its_run_time_and_the_age_of_the_command() {
    let site = site("valve-countdown.toml");
    let mut devices = devices(&site);
    let (topic, payload, _) = sent(&devices, ZONE, OPEN);
    assert_eq!(topic, "harrowmere/nets/lane-east/command");
    assert_eq!(
        payload,
        r#"{"valve":"open","seconds":90,"id":41,"issued_at":1777701600,"valid_for_s":5}"#
    );
    let (_, payload, _) = sent(&devices, ZONE, Command::Close);
    assert_eq!(payload, r#"{"valve":"close","id":41}"#);
    let device = devices.device(ZONE);
    assert_eq!(device.actuation, Actuation::SelfClosing);
    assert_eq!(device.feedback, Feedback::Echo);
    let state = r#"{"valve":"open","id":41,"left_s":88}"#;
    let told = read(&mut devices, "harrowmere/nets/lane-east/state", state);
    assert_eq!(told, [report(ZONE, Position::Open, Some(41))]);
    let installation = devices.installation(&site);
    let pump = installation.pump.unwrap();
    assert_eq!(pump.start_delay, Duration::from_secs(8));
    assert_eq!(pump.device.actuation, Actuation::OnOff);
}

#[test]
fn a_box_with_a_meter_is_read_from_one_topic() {
    let site = site("valve-flow-meter.toml");
    let mut devices = devices(&site);
    assert_eq!(devices.subscriptions().len(), 1);
    assert!(devices.subscriptions()[0].needed);
    let (_, payload, _) = sent(&devices, DeviceId::Zone(1), OPEN);
    assert_eq!(payload, r#"{"valve":"2","pulse":"open"}"#);
    let state = r#"{"valves":{"1":"open","2":"closed"},"flow":5.9}"#;
    let told = read(&mut devices, "harrowmere/pavilion/box", state);
    // 5.9 US gal/min = 22.3341 L/min.
    assert_eq!(
        told,
        [
            report(ZONE, Position::Open, None),
            report(DeviceId::Zone(1), Position::Closed, None),
            Reading::Flow(MeterFlow::from_ml_per_min(22_334)),
        ]
    );
    let meter = devices.installation(&site).meter.unwrap();
    assert_eq!(meter.interval, Duration::from_secs(5));
    assert_eq!(meter.leak_above, MeterFlow::from_ml_per_min(757));
}

#[test]
fn a_report_that_is_stored_or_late_is_not_believed() {
    let site = site("valve-relay-board.toml");
    let mut devices = devices(&site);
    let fresh = message(&devices, "harrowmere/board/relay/1", "on");
    let stored = Message {
        stored: true,
        ..fresh.clone()
    };
    let bound = devices.installation(&site).timing.most_delay;
    let in_time = fresh.received.after(bound);
    assert_eq!(devices.read(&stored, fresh.received), []);
    assert_eq!(devices.read(&fresh, in_time).len(), 1);
    let late = in_time.after(Duration::from_millis(1));
    assert_eq!(devices.read(&fresh, late), []);
}

#[test]
fn a_zone_without_a_valve_is_never_sent_anything() {
    let mut site = site("valve-relay-board.toml");
    site.zones[1].valve = None;
    let devices = devices(&site);
    let by_hand = DeviceId::Zone(1);
    assert!(devices.is_driven(ZONE) && !devices.is_driven(by_hand));
    let order = Order {
        device: by_hand,
        id: CommandId(1),
        command: Command::Close,
    };
    assert_eq!(devices.parcel(order, chrono::DateTime::UNIX_EPOCH), None);
    assert_eq!(devices.device(by_hand).feedback, Feedback::Silent);
}

#[test]
fn a_longer_keep_alive_widens_every_bound_that_rests_on_it() {
    let mut site = site("valve-relay-board.toml");
    let mqtt = site.mqtt.as_mut().unwrap();
    mqtt.keep_alive = chrono::TimeDelta::seconds(28);
    let timing = devices(&site).installation(&site).timing;
    assert_eq!(timing.most_delay, Duration::from_secs(30));
    assert_eq!(timing.close_bound, Duration::from_secs(120));
    Supervisor::new(devices(&site).installation(&site).into()).unwrap();
    // Under version 5 the library pings every 5 s at most.
    let mqtt = site.mqtt.as_mut().unwrap();
    mqtt.keep_alive = chrono::TimeDelta::seconds(3);
    mqtt.version = MqttVersion::V5;
    let timing = devices(&site).installation(&site).timing;
    assert_eq!(timing.most_delay, Duration::from_secs(7));
}

#[test]
#[expect(clippy::disallowed_methods, reason = "a test writes its own files")]
fn the_password_comes_from_a_file_or_the_environment() {
    let site = site("valve-countdown.toml");
    let mut mqtt = site.mqtt.clone().unwrap();
    mqtt.tls = None;
    let folder = tempfile::tempdir().unwrap();
    let of = |mqtt: &Mqtt, variable: Option<&str>| {
        Settings::of(mqtt, &[], folder.path(), |name| {
            assert_eq!(name, PASSWORD_VARIABLE);
            variable.map(str::to_owned)
        })
    };
    assert!(matches!(of(&mqtt, None), Err(SettingsError::Login(_))));
    std::fs::write(folder.path().join("mqtt-password"), "willow\n").unwrap();
    let login = of(&mqtt, None).unwrap().login.unwrap();
    assert_eq!(
        (login.user.as_str(), login.password.reveal()),
        ("nets", "willow")
    );
    mqtt.login.as_mut().unwrap().password_file = None;
    assert!(of(&mqtt, None).is_err());
    let settings = of(&mqtt, Some("poplar")).unwrap();
    assert_eq!(settings.presence.topic, "harrowmere/nets/soakmist/presence");
    assert_eq!(settings.login.unwrap().password.reveal(), "poplar");
}

#[test]
fn on_homie_the_one_last_will_is_that_of_the_state() {
    let mut mqtt = site("valve-relay-board.toml").mqtt.unwrap();
    let presence = |mqtt: &Mqtt| {
        let settings = Settings::of(mqtt, &[], Path::new("."), |_| None);
        settings.unwrap().presence
    };
    assert_eq!(presence(&mqtt).lost, "offline");
    mqtt.homie = Some(Homie {
        root: "homie".into(),
        device: "nets".into(),
    });
    let told = presence(&mqtt);
    // Homie convention 4.0.0, Device Lifecycle and Last will.
    assert_eq!(told.topic, "homie/nets/$state");
    let words = [told.online, told.offline, told.lost];
    assert_eq!(words, ["init", "disconnected", "lost"]);
}
