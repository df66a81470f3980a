//! The broker of Debian, on a port and with a configuration of its own. A
//! test that does not find it fails: `contrib/test.sh` installs it.

use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// A running broker; it ends with the value.
pub(crate) struct Mosquitto {
    child: Child,
    pub(crate) port: u16,
    folder: TempDir,
}

impl Mosquitto {
    /// A broker that lets everybody in and keeps nothing on disk.
    pub(crate) fn start() -> Self {
        Self::configured(|port, _| format!("listener {port} 127.0.0.1\nallow_anonymous true\n"))
    }

    /// A broker with the configuration that `lines` gives for a port and a
    /// folder for files.
    pub(crate) fn configured(lines: impl Fn(u16, &Path) -> String) -> Self {
        let folder = tempfile::tempdir().unwrap();
        // Between the choice of a port and its use another may take it.
        for _ in 0..5 {
            let port = free_port();
            let text = lines(port, folder.path());
            if let Some(child) = spawn(folder.path(), port, &text) {
                return Self {
                    child,
                    port,
                    folder,
                };
            }
        }
        panic!("mosquitto does not start");
    }

    /// Kills it and starts it again on the same port, its memory lost.
    pub(crate) fn restart(&mut self) {
        self.kill();
        let text = format!("listener {} 127.0.0.1\nallow_anonymous true\n", self.port);
        self.child = spawn(self.folder.path(), self.port, &text).expect("no second start");
    }

    pub(crate) fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// `mosquitto_pub`, as a user would.
    pub(crate) fn publish(&self, arguments: &[&str]) {
        let status = client("mosquitto_pub", self.port, arguments)
            .status()
            .unwrap();
        assert!(status.success());
    }

    /// What `mosquitto_sub` prints within its time.
    pub(crate) fn read(&self, arguments: &[&str]) -> String {
        let output = client("mosquitto_sub", self.port, arguments)
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    }

    /// `mosquitto_sub`, running; its output is read when it has ended.
    pub(crate) fn reader(&self, arguments: &[&str]) -> Child {
        let mut command = client("mosquitto_sub", self.port, arguments);
        command.stdout(Stdio::piped()).spawn().unwrap()
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        self.kill();
    }
}

pub(crate) fn client(program: &str, port: u16, arguments: &[&str]) -> Command {
    let mut command = Command::new(program);
    command.args(["-h", "127.0.0.1", "-p", &port.to_string()]);
    command.args(arguments).stderr(Stdio::inherit());
    command
}

/// Publishes every line of its standard input to a topic.
pub(crate) fn lines_to(port: u16, topic: &str) -> Child {
    let mut publisher = client("mosquitto_pub", port, &["-t", topic, "-l"]);
    publisher.stdin(Stdio::piped()).spawn().unwrap()
}

/// A port that nobody uses now.
pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

fn program() -> &'static str {
    let debian = "/usr/sbin/mosquitto";
    if Path::new(debian).exists() {
        debian
    } else {
        "mosquitto"
    }
}

fn spawn(folder: &Path, port: u16, text: &str) -> Option<Child> {
    let path = folder.join("mosquitto.conf");
    let mut file = std::fs::File::create(&path).unwrap();
    // As root it would otherwise change to a user who cannot read the folder.
    writeln!(file, "user root\npersistence false\n{text}").unwrap();
    let mut child = Command::new(program())
        .arg("-c")
        .arg(&path)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("mosquitto is not installed: apt-get install mosquitto mosquitto-clients");
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(5) {
        if TcpStream::connect(("127.0.0.1", port)).is_ok() {
            return Some(child);
        }
        if child.try_wait().unwrap().is_some() {
            break;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let _ = child.kill();
    let _ = child.wait();
    None
}
