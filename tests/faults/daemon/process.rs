//! The daemon as a process, and its log.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Where a clock of the test's own lies in the folder of the site.
pub(crate) const CLOCK: &str = "clock";

/// A running daemon; it is killed with the value.
pub(crate) struct Process {
    child: Child,
    reader: Option<std::thread::JoinHandle<()>>,
    log: Arc<Mutex<Vec<String>>>,
}

impl Process {
    /// Starts the daemon on a site, with its state in the same folder.
    pub(crate) fn start(folder: &Path, more: &[&str]) -> Self {
        Self::spawn(Command::new(env!("CARGO_BIN_EXE_soakmist")), folder, more)
    }

    /// The same, where no file may grow beyond so many bytes.
    pub(crate) fn limited(folder: &Path, most_bytes: u64) -> Self {
        let blocks = most_bytes.div_ceil(512);
        let mut command = Command::new("sh");
        let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        command.arg("-c").arg(limited);
        command.arg(env!("CARGO_BIN_EXE_soakmist"));
        Self::spawn(command, folder, &[])
    }

    fn spawn(mut command: Command, folder: &Path, more: &[&str]) -> Self {
        command
            .arg("run")
            .arg(folder.join("site.toml"))
            .arg("--state")
            .arg(folder)
            .args(more)
            .env("SOAKMIST_LOG", "warn,soakmist=debug")
            .env("HOME", folder)
            .stderr(Stdio::piped())
            .stdout(Stdio::null());
        let clock = folder.join(CLOCK);
        if clock.exists() {
            command.env("SOAKMIST_CLOCK_FILE", clock);
        }
        let mut child = command.spawn().unwrap();
        let log = Arc::new(Mutex::new(Vec::new()));
        let lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let kept = Arc::clone(&log);
        let reader = std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if std::env::var_os("TELL").is_some() {
                    eprintln!("{line}");
                }
                kept.lock().unwrap().push(line);
            }
        });
        Self {
            child,
            reader: Some(reader),
            log,
        }
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    /// Whether a line of the log holds these words.
    pub(crate) fn has_said(&self, words: &str) -> bool {
        let log = self.log.lock().unwrap();
        log.iter().any(|line| line.contains(words))
    }

    /// Everything that it said.
    pub(crate) fn said(&self) -> String {
        self.log.lock().unwrap().join("\n")
    }

    /// The same in one line: the last words of a program are wrapped.
    pub(crate) fn words(&self) -> String {
        let said = self.said();
        said.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// Sends it a signal by name.
    pub(crate) fn signal(&self, name: &str) {
        let id = self.id().to_string();
        let sent = Command::new("kill").args(["-s", name, &id]).status();
        assert!(sent.unwrap().success());
    }

    /// Gone between two instructions.
    pub(crate) fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Waits for its end: exit code, and how long it took.
    pub(crate) fn end(&mut self, within: Duration) -> (i32, Duration) {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                let took = begun.elapsed();
                // Its last words are still being read.
                if let Some(reader) = self.reader.take() {
                    reader.join().unwrap();
                }
                return (status.code().unwrap_or(-1), took);
            }
            assert!(
                begun.elapsed() < within,
                "it does not end:\n{}",
                self.said()
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Its resident memory [KiB].
    pub(crate) fn memory_kib(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.id())).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:"));
        let number = line.unwrap().split_whitespace().nth(1).unwrap();
        number.parse().unwrap()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
    }
}
