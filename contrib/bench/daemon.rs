//! Measures the daemon as a process at mosquitto with simulated valves: time
//! from its start to every valve confirmed closed, from the second in which all
//! are due to the open command at a subscriber, memory, and processor time when
//! idle.
//!
//! `cargo bench --bench daemon` (mosquitto must be installed); the number of
//! zones can be given: `cargo bench --bench daemon -- 8 1000`. With `homie` the
//! site is told as a device of that convention too, and it is measured when
//! that is complete: `cargo bench --bench daemon -- homie 1000`. With `large` it
//! measures instead how long a start takes on a state of so many MB:
//! `cargo bench --bench daemon -- large 60`.

#![allow(clippy::unwrap_used, reason = "a measurement may stop anywhere")]
#![allow(
    clippy::disallowed_methods,
    reason = "it starts processes and looks at clocks and files"
)]

#[path = "../../tests/support/beds.rs"]
mod beds;

use std::io::{BufRead, BufReader, Lines};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use beds::{DEVICE, Noon, weather};
use chrono::{DateTime, DurationRound, TimeDelta, Timelike, Utc};
use rusqlite::Connection;
use soakmist::clock::{Clock, SystemClock};
use soakmist::simulator::{SimulatedSite, Simulator};
use soakmist::site::load;
use soakmist::store::{Opening, Store};

const IDLE: Duration = Duration::from_secs(30);
/// Opens that come later than this belong to runs after the first [s].
const FIRST_RUNS_S: f64 = 29.0;
/// From here to the due instant at least.
const LEAD: TimeDelta = TimeDelta::seconds(30);

fn main() {
    let asked: Vec<usize> = std::env::args().filter_map(|n| n.parse().ok()).collect();
    if std::env::args().any(|argument| argument == "large") {
        return measure_large(asked.first().copied().unwrap_or(60));
    }
    let sizes = if asked.is_empty() {
        vec![8, 1000]
    } else {
        asked
    };
    let is_homie = std::env::args().any(|argument| argument == "homie");
    for zones in sizes {
        measure(zones, is_homie);
    }
}

/// The next whole minute that leaves time to start and to plan.
fn whole_minute(now: DateTime<Utc>) -> DateTime<Utc> {
    let minute = TimeDelta::minutes(1);
    (now + LEAD).duration_trunc(minute).unwrap() + minute
}

/// A site of equal thirsty zones where it is noon; watering is allowed from an
/// instant on, at which all are due.
fn site(zones: usize, port: u16, due: DateTime<Utc>) -> String {
    let now = Utc::now();
    let noon = Noon::at(now);
    let east = TimeDelta::hours(12 - i64::from(now.hour()));
    let mut text = format!(
        r#"name = "Harrowmere beds"
units = "si"
place = {{ latitude = 36.1, longitude = {}, elevation = "270 m", time-zone = "{}" }}
supply = {{ flow = "{} L/min" }}
weather = {{ file = "weather.csv" }}
limits = {{ wind = "none" }}
rules = {{ hours = "{}-23:59" }}
daemon = {{ listen = "none" }}
[mqtt]
host = "127.0.0.1"
port = {port}
client-id = "soakmist-beds"
base-topic = "beds/soakmist"
{DEVICE}
[all-zones]
soil = "loam"
area = "20 m2"
valve = {{ device = "bed-valve" }}
sprinkler = {{ flow = "10 L/min" }}
runs = {{ shortest = "5 s", longest = "30 s", soak-time = "10 min" }}
seeding = {{ at = "{}", mix = "perennial-ryegrass" }}
"#,
        noon.longitude,
        noon.time_zone,
        zones * 11,
        (due + east).format("%H:%M"),
        noon.sown
    );
    for zone in 0..zones {
        text += &format!("[[zone]]\nname = \"bed-{zone}\"\n");
    }
    text
}

fn broker(folder: &Path) -> (Child, u16) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let lines = format!(
        "user root\npersistence false\nlistener {port} 127.0.0.1\nallow_anonymous true\n\
         max_queued_messages 0\n"
    );
    let file = folder.join("mosquitto.conf");
    std::fs::write(&file, lines).unwrap();
    let path = std::env::var("PATH").unwrap_or_default() + ":/usr/sbin";
    let mut command = Command::new("mosquitto");
    let broker = command.env("PATH", path).arg("-c").arg(file);
    let broker = broker.stderr(Stdio::null()).stdout(Stdio::null());
    let broker = broker.spawn().expect("mosquitto is needed");
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        std::thread::sleep(Duration::from_millis(5));
    }
    (broker, port)
}

struct Daemon {
    child: Child,
    log: Option<Lines<BufReader<ChildStderr>>>,
}

impl Daemon {
    fn start(folder: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_soakmist"));
        let command = command.arg("run").arg(folder.join("site.toml"));
        let command = command.arg("--state").arg(folder).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let log = BufReader::new(child.stderr.take().unwrap()).lines();
        let log = Some(log);
        Self { child, log }
    }

    /// Waits for a line of the log.
    fn says(&mut self, words: &str) {
        let log = self.log.as_mut().unwrap();
        assert!(
            log.map_while(Result::ok).any(|line| line.contains(words)),
            "it never says {words:?}"
        );
    }

    /// The rest of the log is read and forgotten.
    fn goes_on(&mut self) {
        let log = self.log.take().unwrap();
        std::thread::spawn(move || log.map_while(Result::ok).for_each(drop));
    }

    fn memory_mib(&self) -> f64 {
        let path = format!("/proc/{}/status", self.child.id());
        let status = std::fs::read_to_string(path).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:"));
        let kib: f64 = line
            .unwrap()
            .split_whitespace()
            .nth(1)
            .unwrap()
            .parse()
            .unwrap();
        kib / 1024.0
    }

    /// Processor time so far [s]; the kernel counts in hundredths.
    fn processor_s(&self) -> f64 {
        let path = format!("/proc/{}/stat", self.child.id());
        let stat = std::fs::read_to_string(path).unwrap();
        let after = stat.rsplit(')').next().unwrap();
        let ticks = after.split_whitespace().skip(11).take(2);
        ticks.map(|n| n.parse::<f64>().unwrap() / 100.0).sum()
    }
}

/// Instants [s since 1970] at which a subscriber heard open commands.
fn opens(lines: Lines<BufReader<ChildStdout>>, count: usize) -> Vec<f64> {
    let opens = lines.map_while(Result::ok);
    let opens = opens.filter(|line| line.contains("\"open\""));
    let at = |line: String| line.split(' ').next().unwrap().parse().unwrap();
    opens.take(count).map(at).collect()
}

/// Waits until the state of the Homie device says that it is complete.
fn homie_is_complete(port: u16) {
    let mut subscriber = Command::new("mosquitto_sub");
    let subscriber = subscriber.args(["-h", "127.0.0.1", "-p", &port.to_string()]);
    let subscriber = subscriber.args(["-t", "homie/soakmist-beds/$state"]);
    let mut subscriber = subscriber.stdout(Stdio::piped()).spawn().unwrap();
    let states = BufReader::new(subscriber.stdout.take().unwrap()).lines();
    let mut states = states.map_while(Result::ok);
    assert!(states.any(|state| state == "ready" || state == "alert"));
    let _ = subscriber.kill();
    let _ = subscriber.wait();
}

fn measure(zones: usize, is_homie: bool) {
    let folder = tempfile::tempdir().unwrap();
    let (broker, port) = broker(folder.path());
    let due = whole_minute(Utc::now());
    let mut text = site(zones, port, due);
    if is_homie {
        let base = "base-topic = \"beds/soakmist\"";
        text = text.replace(base, &format!("{base}\nhomie = \"homie\""));
    }
    std::fs::write(folder.path().join("site.toml"), &text).unwrap();
    std::fs::write(folder.path().join("weather.csv"), weather(Utc::now())).unwrap();
    let site = load(&text, "site.toml").unwrap().site;
    let mqtt = site.mqtt.clone().unwrap();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let guard = runtime.enter();
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let simulated = SimulatedSite::of(&site, &mqtt, clock.now().moment);
    let valves = Simulator::start(simulated, port, clock, Duration::from_millis(20));
    std::thread::sleep(Duration::from_secs(2));
    let mut subscriber = Command::new("mosquitto_sub");
    let subscriber = subscriber.args(["-h", "127.0.0.1", "-p", &port.to_string()]);
    let subscriber = subscriber.args(["-t", "beds/+/command", "-F", "%U %p"]);
    let mut subscriber = subscriber.stdout(Stdio::piped()).spawn().unwrap();
    let heard = BufReader::new(subscriber.stdout.take().unwrap()).lines();
    let heard = std::thread::spawn(move || opens(heard, zones));
    let begun = Instant::now();
    let mut daemon = Daemon::start(folder.path());
    daemon.says("every valve is confirmed closed");
    let closed_ms = begun.elapsed().as_millis();
    daemon.goes_on();
    if is_homie {
        homie_is_complete(port);
        println!(
            "{zones} zones: complete as a Homie device {:.1} s after the start, {:.1} MiB resident",
            begun.elapsed().as_secs_f64(),
            daemon.memory_mib()
        );
    }
    let opens = heard.join().unwrap();
    let due_s = due.timestamp() as f64;
    // A plan may water some zones after others; those begin when these end.
    let first = opens.iter().filter(|at| **at - due_s < FIRST_RUNS_S);
    let mut late_ms: Vec<f64> = first.map(|at| (at - due_s) * 1000.0).collect();
    late_ms.sort_by(f64::total_cmp);
    let share = |percent: usize| late_ms[(late_ms.len() * percent / 100).min(late_ms.len() - 1)];
    std::thread::sleep(Duration::from_secs(60));
    let before_s = daemon.processor_s();
    std::thread::sleep(IDLE);
    let idle = (daemon.processor_s() - before_s) / IDLE.as_secs_f64() * 100.0;
    println!(
        "{zones} zones: all confirmed closed {closed_ms} ms after the start; {} due in the same \
         second: open command at a subscriber after {:.0} ms (median), {:.0} ms (p99), {:.0} ms \
         (last); {:.1} MiB resident; {idle:.2} % of a processor when idle",
        late_ms.len(),
        share(50),
        share(99),
        share(100),
        daemon.memory_mib()
    );
    let _ = daemon.child.kill();
    let _ = daemon.child.wait();
    runtime.block_on(valves.stop());
    drop(guard);
    for mut child in [subscriber, broker] {
        let _ = child.kill();
        let _ = child.wait();
    }
}

/// A state with so many MB of commands that were confirmed long ago.
fn large_state(folder: &Path, mb: usize) {
    let path = folder.join("soakmist.sqlite");
    let store = Store::open(&path, &Opening::in_boot("earlier"), SystemClock.now()).unwrap();
    drop(store);
    let db = Connection::open(&path).unwrap();
    // About 45 bytes a row.
    let rows = mb * 1_000_000 / 45;
    let since_ms = Utc::now().timestamp_millis() - 400 * 86_400_000;
    db.execute_batch(&format!(
        "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {rows})
         INSERT INTO command (id, start, device, zone, position, utc_ms, moment_ms,
                              confirmed_utc_ms, confirmed_moment_ms)
         SELECT i, 1, 'master', NULL, 'closed', {since_ms} + i, i, {since_ms} + i + 9, i + 9
         FROM n"
    ))
    .unwrap();
    drop(db);
    let bytes = std::fs::metadata(&path).unwrap().len();
    println!("a state of {:.0} MB", bytes as f64 / 1e6);
}

/// How long valves wait at a start for a large state.
fn measure_large(mb: usize) {
    let folder = tempfile::tempdir().unwrap();
    let (mut broker, port) = broker(folder.path());
    let text = site(8, port, whole_minute(Utc::now()));
    std::fs::write(folder.path().join("site.toml"), &text).unwrap();
    std::fs::write(folder.path().join("weather.csv"), weather(Utc::now())).unwrap();
    large_state(folder.path(), mb);
    for cache in ["just written", "dropped from memory"] {
        if cache != "just written" {
            let _ = Command::new("sync").status();
            let dropped = std::fs::write("/proc/sys/vm/drop_caches", "1");
            println!("file cache dropped: {}", dropped.is_ok());
        }
        let mut subscriber = Command::new("mosquitto_sub");
        let subscriber = subscriber.args(["-h", "127.0.0.1", "-p", &port.to_string()]);
        let subscriber = subscriber.args(["-t", "beds/+/command", "-C", "8"]);
        let mut subscriber = subscriber.stdout(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(500));
        let begun = Instant::now();
        let mut daemon = Daemon::start(folder.path());
        let told = std::thread::spawn(move || {
            subscriber.wait().unwrap();
            begun.elapsed()
        });
        daemon.says("soakmist begins");
        let read = begun.elapsed();
        let told = told.join().unwrap();
        println!(
            "{cache}: the state is read after {} ms, all eight valves were told to close after {} ms",
            read.as_millis(),
            told.as_millis()
        );
        daemon.goes_on();
        let _ = daemon.child.kill();
        let _ = daemon.child.wait();
    }
    let _ = broker.kill();
    let _ = broker.wait();
}
