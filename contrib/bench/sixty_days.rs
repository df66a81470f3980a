//! Measures what grows with time: sixty simulated days of the control loop
//! with the real planner, supervisor and store on disk, and simulated valves.
//! Each hour a service tells a forecast of ten days that has changed a little.
//! Every ten days: resident memory of the process, and what was written to
//! disk since: transactions (each a sync of the log) and bytes as the kernel
//! counts them for the block device.
//!
//! `cargo bench --bench sixty_days`, or with zones and days:
//! `cargo bench --bench sixty_days -- 1000 60`. The folder for temporary files
//! (`TMPDIR`) must lie on a disk: one in memory writes nothing.

#![allow(clippy::unwrap_used, reason = "a measurement may stop anywhere")]
#![allow(
    clippy::disallowed_methods,
    reason = "it looks at this process and at the clock"
)]

#[path = "../../tests/support/beds.rs"]
mod beds;
#[allow(dead_code, reason = "the tests need more of it")]
#[path = "../../tests/promises/daemon_loop/world.rs"]
mod world;

use std::path::Path;
use std::time::Instant;

use chrono::TimeDelta;
use soakmist::agronomy::weather_record::RawHour;
use soakmist::daemon::Event;
use soakmist::site::load;
use soakmist::weather::series::SeriesHour;
use world::{World, utc, weather};

/// Days between two lines.
const STEP: u32 = 10;

fn main() {
    let asked: Vec<u32> = std::env::args().filter_map(|n| n.parse().ok()).collect();
    let zones = asked.first().copied().unwrap_or(8);
    measure(zones, asked.get(1).copied().unwrap_or(60));
}

/// The cricket ground with its eight zones, or as many equal beds.
fn site(zones: u32) -> String {
    if zones == 8 {
        return include_str!("../../config/harrowmere.toml").replace("2023-", "2026-");
    }
    let mut text = world::text("2026-08-23 16:00");
    let first = text.find("[[zone]]").unwrap();
    text.truncate(first);
    let supply = format!("flow = \"{} L/min\"", zones * 11);
    text = text.replace("flow = \"45 L/min\"", &supply);
    for zone in 0..zones {
        text += &format!(
            "[[zone]]\nname = \"bed-{zone}\"\narea = \"55 m2\"\nsprinkler = {{ flow = \"10 L/min\" }}\n"
        );
    }
    text
}

/// A forecast as it is told an hour later.
fn changed(mut forecast: Vec<RawHour>, hour: u32) -> Vec<SeriesHour> {
    for told in &mut forecast {
        if let Some(temperature) = &mut told.air_temperature_c {
            temperature.value += f64::from(hour % 5) * 0.1;
        }
    }
    let told = forecast.into_iter();
    told.map(|hour| SeriesHour::told(hour, "the forecast", None))
        .collect()
}

/// A number of a file on this process.
fn of_process(file: &str, key: &str) -> f64 {
    let text = std::fs::read_to_string(format!("/proc/self/{file}")).unwrap();
    let line = text.lines().find(|line| line.starts_with(key)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// The size of the state on disk with its log [MiB].
fn state_mib(world: &World) -> f64 {
    let path = world.path();
    let log = format!("{}-wal", path.display());
    let size = |path: &Path| std::fs::metadata(path).map_or(0, |file| file.len());
    (size(&path) + size(Path::new(&log))) as f64 / 1_048_576.0
}

fn measure(zones: u32, days: u32) {
    let site = load(&site(zones), "site.toml").unwrap().site;
    let start = utc("2026-08-22T12:00:00Z");
    let first = weather(start - TimeDelta::days(10), 20);
    let begun = Instant::now();
    let mut world = World::new(site, start, first);
    let mut before = (0.0, 0);
    for day in 1..=days {
        for hour in 0..24 {
            world.run_for(TimeDelta::hours(1));
            let forecast = weather(start + TimeDelta::days(i64::from(day)), 10);
            world.tell(Event::Weather(changed(forecast, hour)));
        }
        if day % STEP == 0 || day == days {
            let written = of_process("io", "write_bytes:") - of_process("io", "cancelled");
            let span = f64::from(if day % STEP == 0 { STEP } else { day % STEP });
            let transactions = f64::from(world.written.0 - before.1) / span;
            println!(
                "{zones} zones, day {day}: {:.1} MiB resident; a day: {} runs, {transactions:.0} \
                 transactions, {:.2} MiB written; state {:.1} MiB; {:.0} s",
                of_process("status", "VmRSS:") / 1024.0,
                world.begun.len() / STEP as usize,
                (written - before.0) / span / 1_048_576.0,
                state_mib(&world),
                begun.elapsed().as_secs_f64()
            );
            if std::env::var_os("TELL_WRITES").is_some() {
                println!("{:?}", world.written.1);
            }
            before = (written, world.written.0);
            world.begun = Vec::new();
        }
        // The journal of the test, not of the program.
        world.told = Vec::new();
        world.sent = Vec::new();
        world.answers = Vec::new();
        world.writes = Vec::new();
    }
}
