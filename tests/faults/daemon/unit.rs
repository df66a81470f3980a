//! What the systemd unit and the place of the state mean for the daemon.

use std::time::Duration;

use super::process::Process;
use super::rig::Rig;

fn lines() -> Vec<&'static str> {
    let lines = include_str!("../../../contrib/soakmist.service").lines();
    lines.filter(|line| !line.starts_with('#')).collect()
}

#[test]
fn the_unit_never_gives_up_and_does_not_hide_the_boot_id() {
    let unit = lines();
    assert!(unit.contains(&"StartLimitIntervalSec=0"));
    assert!(unit.contains(&"Restart=on-failure"));
    // systemd.exec(5): `pid` leaves only the processes in /proc.
    assert!(!unit.iter().any(|line| line.starts_with("ProcSubset=")));
    // Else reloads must not be told with RELOADING=1, or not by a signal.
    assert!(unit.contains(&"Type=notify"));
    assert!(unit.contains(&"ExecReload=/bin/kill -HUP $MAINPID"));
}

#[tokio::test(flavor = "multi_thread")]
async fn replies_of_services_are_kept_in_the_state_folder() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.daemon.kill();
    let file = rig.path().join("site.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let services = "services = [\"open-meteo\"]";
    std::fs::write(&file, text.replace("file = \"weather.csv\"", services)).unwrap();
    rig.daemon = Process::offline(rig.path());
    let kept = |rig: &Rig| {
        let folder = std::fs::read_dir(rig.path().join("weather"));
        folder.is_ok_and(|mut files| files.next().is_some())
    };
    rig.until("kept", kept).await;
    assert!(!rig.path().join(".cache").exists());
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_is_full_at_the_start_is_no_end() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    rig.daemon.kill();
    rig.daemon = Process::limited(rig.path(), 512);
    let (code, _) = rig.daemon.end(Duration::from_secs(20));
    // systemd starts it again after any code but 0 and 2.
    assert_eq!(code, 3, "{}", rig.daemon.said());
    assert_eq!(rig.open_zones(), 0);
    rig.restart();
    rig.until("watering again", |rig| rig.open_zones() > 0)
        .await;
}
