//! A zone gets another name in the site file while the daemon runs.

use soakmist::daemon::runtime::state_file;
use soakmist::store::Store;
use std::time::Duration;

use super::process::Process;
use super::rig::{Rig, beds};
use crate::beds::DEVICE;
use crate::link::mosquitto::Mosquitto;

/// Beds whose valves are known by the output of a board, as most are: they
/// stay what they are when a zone is renamed.
fn on_a_board(port: u16) -> String {
    let device = DEVICE.replace("{zone}", "{channel}");
    let mut text = beds(port, ("30 s", "0 s")).replace(DEVICE, &device);
    for zone in ["east", "west", "long"] {
        let named = format!("name = \"{zone}\"");
        let valve = format!("valve = {{ channel = \"{zone}\" }}");
        text = text.replace(&named, &format!("{named}\n{valve}"));
    }
    text
}

fn waterings(rig: &Rig, zone: &str) -> i64 {
    let state = Store::reader(&state_file(rig.path())).unwrap();
    let sql = "SELECT count(*) FROM watering JOIN zone ON zone.id = watering.zone
               WHERE zone.name = ?1";
    state.query_row(sql, [zone], |row| row.get(0)).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_zone_renamed_on_reload_goes_on_with_its_history() {
    let broker = Mosquitto::start();
    let text = on_a_board(broker.port);
    let mut rig = Rig::of(broker, &text, &[]);
    rig.until("open", |rig| rig.is_open(0)).await;
    let named = "name = \"dawn\"\nformerly = \"east\"";
    let renamed = text.replace("name = \"east\"", named);
    std::fs::write(rig.path().join("site.toml"), renamed).unwrap();
    rig.daemon.signal("HUP");
    rig.until("anew", |rig| rig.daemon.has_said("carries on its history"))
        .await;
    // The run in progress was closed for it, and booked.
    assert!(waterings(&rig, "dawn") > 0);
    assert_eq!(waterings(&rig, "east"), 0);
    // Nobody is told any more of a zone that is none.
    rig.until_within(Duration::from_secs(10), "taken away", |rig| {
        let kept = [
            "-t",
            "beds/soakmist/zone/+",
            "-F",
            "%t",
            "-C",
            "3",
            "-W",
            "2",
        ];
        let kept = rig.broker.read(&kept);
        kept.contains("zone/dawn") && !kept.contains("zone/east")
    })
    .await;
    let topic = "beds/soakmist/zone/dawn";
    let told = rig.broker.read(&["-t", topic, "-C", "1", "-W", "10"]);
    assert!(told.contains("\"last_water\":\"20"), "{told}");
    let before = waterings(&rig, "dawn");
    rig.until("watered on", |rig| waterings(rig, "dawn") > before)
        .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dry_run_with_a_renamed_zone_leaves_its_history_where_it_is() {
    let broker = Mosquitto::start();
    let text = on_a_board(broker.port);
    let mut rig = Rig::of(broker, &text, &[]);
    rig.until("open", |rig| rig.is_open(0)).await;
    rig.until("watered", |rig| waterings(rig, "east") > 0).await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    let before = waterings(&rig, "east");
    let named = "name = \"dawn\"\nformerly = \"east\"";
    let renamed = text.replace("name = \"east\"", named);
    std::fs::write(rig.path().join("site.toml"), renamed).unwrap();
    rig.daemon = Process::start(rig.path(), &["--dry-run"]);
    rig.until("a plan", |rig| rig.daemon.has_said("planned"))
        .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    assert_eq!(waterings(&rig, "east"), before);
    assert_eq!(waterings(&rig, "dawn"), 0);
}
