//! What a site may choose: another version of MQTT, and a log for machines.

use std::time::Duration;

use super::broker::Broker;
use super::rig::{Rig, beds};

#[tokio::test(flavor = "multi_thread")]
async fn under_version_5_it_waters_closes_and_logs_json() {
    let broker = Broker::real();
    let text = beds(broker.port(), ("30 s", "0 s"));
    let text = text.replace("client-id =", "version = \"5\"\nclient-id =");
    // Doubtful, and told.
    let text = text.replace("elevation = \"270 m\"", "elevation = \"5100 m\"");
    let mut rig = Rig::of(broker, &text, &["--log", "json"]);
    rig.until("watered and closed", |rig| {
        rig.open_zones() == 0 && (0..3).any(|zone| rig.open_s(zone) > 5.0)
    })
    .await;
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    assert_eq!(rig.open_zones(), 0);
    let said = rig.daemon.said();
    for line in said.lines() {
        let told: serde_json::Value = serde_json::from_str(line).unwrap();
        assert!(
            told["level"].is_string() && told["message"].is_string(),
            "{line}"
        );
    }
    assert!(said.contains("a run begins"), "{said}");
    assert!(said.contains("an elevation of"), "{said}");
}
