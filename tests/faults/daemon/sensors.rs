//! A sensor at a real broker, played as a user would.

use std::process::Command;
use std::time::Duration;

use super::rig::{Rig, beds};
use crate::link::mosquitto::{Mosquitto, free_port};

const SENSOR: &str = r#"
[[sensor]]
name = "station-air"
measures = "air-temperature"
topic = "station/air"
unit = "C"
every = "2 s"

[all-zones]
"#;

/// What `soakmist status --json` says is wrong.
fn alarms(web: u16) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_soakmist"))
        .args(["status", "--json", "--daemon"])
        .arg(format!("http://127.0.0.1:{web}"))
        .output()
        .unwrap();
    let Ok(json) = serde_json::from_slice::<serde_json::Value>(&output.stdout) else {
        return "no answer yet".to_owned();
    };
    json["alarms"].to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sensor_that_falls_silent_or_says_nonsense_is_named_until_it_is_right() {
    let broker = Mosquitto::start();
    let web = free_port();
    let text = beds(broker.port, ("1 min", "1 min"))
        .replace("[all-zones]", SENSOR)
        .replace(
            r#""none" }

[mqtt]"#,
            &format!("\"127.0.0.1:{web}\" }}\n\n[mqtt]"),
        );
    let mut rig = Rig::of(broker, &text, &["--dry-run"]);
    let say = |rig: &Rig, value: &str| rig.broker.publish(&["-t", "station/air", "-m", value]);
    rig.until("named as silent", |_| {
        alarms(web).contains("sensor station-air (air temperature) has been silent since")
    })
    .await;
    rig.until("heard", |rig| {
        say(rig, "21.5");
        alarms(web) == "[]"
    })
    .await;
    rig.until("named as wrong", |rig| {
        say(rig, "2150");
        alarms(web).contains("says 2150.0 °C, which cannot be")
    })
    .await;
    rig.until("in the log", |rig| {
        rig.daemon.has_said("a sensor is not believed")
    })
    .await;
    rig.until("believed again", |rig| {
        say(rig, "21.6");
        rig.daemon.has_said("a sensor is believed again") && alarms(web) == "[]"
    })
    .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}
