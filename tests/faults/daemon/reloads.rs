//! HUP: beside a stop, with files that do not do, and what systemd is told.

use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::time::Duration;

use soakmist::simulator::Fault;
use soakmist::valve::DeviceId;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::process::Process;
use super::rig::Rig;
use crate::link::mosquitto::free_port;

/// The site file with something else in it.
fn change(rig: &Rig, from: &str, to: &str) {
    let file = rig.path().join("site.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains(from), "{from} is not in it");
    std::fs::write(&file, text.replace(from, to)).unwrap();
}

fn change_flow(rig: &Rig) {
    change(rig, "flow = \"40 L/min\"", "flow = \"39 L/min\"");
}

fn secret(path: &Path, text: &str) {
    std::fs::write(path, text).unwrap();
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600)).unwrap();
}

fn lives(rig: &Rig) -> usize {
    rig.daemon.said().matches("soakmist begins").count()
}

fn set_fault(rig: &Rig, fault: Fault) {
    rig.valves
        .with(|site| site.set_fault(DeviceId::Zone(0), fault));
}

/// Lets the stuck valve close after a while: the program ends well, and did not
/// begin again.
async fn ends_in_this_life(rig: &mut Rig) {
    tokio::time::sleep(Duration::from_secs(1)).await;
    set_fault(rig, Fault::None);
    let (code, _) = rig.daemon.end(Duration::from_secs(25));
    assert_eq!(code, 0, "{}", rig.daemon.said());
    assert_eq!(lives(rig), 1, "{}", rig.daemon.said());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_wins_over_a_reload_that_begins_anew() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.is_open(0)).await;
    // Its closing takes as long as the test wants.
    set_fault(&rig, Fault::Stuck);
    change_flow(&rig);
    rig.daemon.signal("HUP");
    rig.until("closing", |rig| rig.daemon.has_said("starting anew"))
        .await;
    rig.daemon.signal("TERM");
    ends_in_this_life(&mut rig).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reload_during_a_stop_begins_nothing() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.is_open(0)).await;
    set_fault(&rig, Fault::Stuck);
    rig.daemon.signal("TERM");
    rig.until("stopping", |rig| rig.daemon.has_said("stopping"))
        .await;
    change_flow(&rig);
    rig.daemon.signal("HUP");
    ends_in_this_life(&mut rig).await;
}

/// A TERM is heard in every instant of a life and between two of them.
#[tokio::test(flavor = "multi_thread")]
async fn a_stop_at_any_instant_of_a_new_beginning_is_obeyed() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    for wait_ms in [0, 10, 40, 80, 120] {
        rig.until("open", |rig| rig.is_open(0)).await;
        change_flow(&rig);
        rig.daemon.signal("HUP");
        rig.until("anew", |rig| rig.daemon.has_said("starting anew"))
            .await;
        tokio::time::sleep(Duration::from_millis(wait_ms)).await;
        rig.daemon.signal("TERM");
        let (code, _) = rig.daemon.end(Duration::from_secs(15));
        assert_eq!(code, 0, "after {wait_ms} ms:\n{}", rig.daemon.said());
        assert!(lives(&rig) <= 2);
        assert_eq!(rig.open_zones(), 0);
        change(&rig, "flow = \"39 L/min\"", "flow = \"40 L/min\"");
        rig.restart();
    }
}

/// What systemd was told; status lines, watchdog beats and pleas for time,
/// which depend on how busy the machine is, are left out.
struct Manager(UnixDatagram);

impl Manager {
    fn heard(&self) -> Vec<String> {
        let mut heard = Vec::new();
        let mut bytes = [0_u8; 4096];
        while let Ok(length) = self.0.recv(&mut bytes) {
            let text = String::from_utf8_lossy(&bytes[..length]).into_owned();
            let is_left_out = |start: &&str| text.starts_with(*start);
            if !["STATUS=", "WATCHDOG=", "EXTEND_TIMEOUT_USEC="]
                .iter()
                .any(is_left_out)
            {
                heard.push(text);
            }
        }
        heard
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn systemd_hears_of_a_reload_and_of_a_stop_what_each_is() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.daemon.kill();
    let path = rig.path().join("notify");
    let manager = Manager(UnixDatagram::bind(&path).unwrap());
    manager.0.set_nonblocking(true).unwrap();
    rig.daemon = Process::told(rig.path(), &path);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    assert_eq!(manager.heard(), ["READY=1\n"]);

    // On the way, wrong, and anew.
    change(&rig, "\"loam\"", "\"clay loam\"");
    rig.daemon.signal("HUP");
    rig.until("in force", |rig| rig.daemon.has_said("is in force"))
        .await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_reloaded(&manager.heard());
    change(&rig, "area = \"20 m2\"", "aera = \"20 m2\"");
    rig.daemon.signal("HUP");
    rig.until("kept", |rig| rig.daemon.has_said("the one in force stays"))
        .await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_reloaded(&manager.heard());
    change(&rig, "aera = \"20 m2\"", "area = \"20 m2\"");
    change_flow(&rig);
    rig.daemon.signal("HUP");
    rig.until("anew", |rig| lives(rig) == 2).await;
    rig.until("watering", |rig| rig.open_zones() > 0).await;
    assert_reloaded(&manager.heard());

    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
    assert_eq!(manager.heard(), ["STOPPING=1\n"]);
}

fn assert_reloaded(heard: &[String]) {
    assert_eq!(heard.len(), 2, "{heard:?}");
    let begins = "RELOADING=1\nMONOTONIC_USEC=";
    assert!(heard[0].starts_with(begins), "{heard:?}");
    assert_eq!(heard[1], "READY=1\n");
}

fn alarms(rig: &Rig) -> String {
    rig.broker
        .read(&["-t", "beds/soakmist/alarms", "-C", "1", "-W", "2"])
}

#[tokio::test(flavor = "multi_thread")]
async fn a_right_file_that_no_daemon_can_start_with_changes_nothing() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    let listen = "listen = \"none\"";
    let open_to_all = format!("listen = \"0.0.0.0:{}\"", free_port());
    let host = "host = \"127.0.0.1\"";
    let login = format!("{host}\nuser = \"beds\"\npassword-file = \"missing\"");
    let tls = format!("{host}\ntls = {{ ca-file = \"missing.pem\" }}");
    for (from, to, why) in [
        (host, login.as_str(), "password file"),
        (listen, open_to_all.as_str(), "needs a token"),
        (host, tls.as_str(), "missing.pem"),
    ] {
        change(&rig, from, to);
        rig.daemon.signal("HUP");
        rig.until(why, |rig| rig.daemon.words().contains(why)).await;
        rig.until("told", |rig| alarms(rig).contains(why)).await;
        change(&rig, to, from);
    }
    assert!(rig.daemon.has_said("the one in force stays"));
    assert!(rig.open_zones() > 0, "a run was torn");
    rig.daemon.signal("HUP");
    rig.until("over", |rig| alarms(rig) == "[]\n").await;
    assert_eq!(lives(&rig), 1);
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_start_that_must_be_refused_closes_what_was_left_open() {
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    rig.daemon.kill();
    assert!(rig.open_zones() > 0);
    let open_to_all = format!("listen = \"0.0.0.0:{}\"", free_port());
    change(&rig, "listen = \"none\"", &open_to_all);
    rig.restart();
    let (code, _) = rig.daemon.end(Duration::from_secs(20));
    assert_eq!(code, 2, "{}", rig.daemon.said());
    let said = rig.daemon.words();
    assert!(said.contains("needs a token"), "{said}");
    assert!(said.contains("has confirmed that it is closed"), "{said}");
    assert_eq!(rig.open_zones(), 0);
}

/// The first line of an answer.
async fn asked(port: u16, token: &str) -> String {
    let Ok(mut stream) = TcpStream::connect(("127.0.0.1", port)).await else {
        return String::new();
    };
    let request = format!(
        "GET /v1/status HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\
         Authorization: Bearer {token}\r\nConnection: close\r\n\r\n"
    );
    let _ = stream.write_all(request.as_bytes()).await;
    let mut answer = String::new();
    let _ = stream.read_to_string(&mut answer).await;
    answer.lines().next().unwrap_or_default().to_owned()
}

async fn until_answered(rig: &Rig, (port, token): (u16, &str), code: &str) {
    for _ in 0..200 {
        if asked(port, token).await.contains(code) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("no {code}:\n{}", rig.daemon.said());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_token_and_a_new_address_are_in_force_after_a_reload() {
    const OLD: &str = "0123456789abcdef-old";
    const NEW: &str = "0123456789abcdef-new";
    let mut rig = Rig::with(("1 min", "0 s"), &[]);
    rig.until("open", |rig| rig.open_zones() > 0).await;
    let ports = (free_port(), free_port());
    let token = rig.path().join("token");
    secret(&token, OLD);
    let keys = |port| format!("listen = \"127.0.0.1:{port}\", token-file = \"token\"");
    change(&rig, "listen = \"none\"", &keys(ports.0));
    rig.daemon.signal("HUP");
    until_answered(&rig, (ports.0, OLD), "200").await;

    // The same site file; only what it names is another.
    secret(&token, NEW);
    rig.daemon.signal("HUP");
    until_answered(&rig, (ports.0, NEW), "200").await;
    assert!(asked(ports.0, OLD).await.contains("401"));

    change(&rig, &keys(ports.0), &keys(ports.1));
    rig.daemon.signal("HUP");
    until_answered(&rig, (ports.1, NEW), "200").await;
    assert_eq!(asked(ports.0, NEW).await, "");
    rig.daemon.signal("TERM");
    assert_eq!(rig.daemon.end(Duration::from_secs(10)).0, 0);
}
