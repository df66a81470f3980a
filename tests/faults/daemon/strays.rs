//! Killed with valves open, and started with a site file that no longer names
//! one of them.

use std::time::Duration;

use super::rig::Rig;

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_whose_zone_was_taken_out_of_the_site_file_is_closed_all_the_same() {
    let mut rig = Rig::start();
    rig.until("three valves open", |rig| rig.open_zones() == 3)
        .await;
    rig.daemon.kill();
    let file = rig.path().join("site.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let fewer = text.replace("[[zone]]\nname = \"east\"\n", "");
    assert!(fewer != text);
    std::fs::write(&file, fewer).unwrap();
    rig.restart();
    rig.until_within(Duration::from_secs(5), "closed", |rig| {
        rig.open_zones() == 0
    })
    .await;
    let told = rig
        .broker
        .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "5"]);
    assert!(told.contains("the valve of east"), "{told}");
    assert!(told.contains("beds/east/command"), "{told}");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}
