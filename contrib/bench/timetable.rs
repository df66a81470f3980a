//! How long a timetable takes, and how that grows with zones and days.
//!
//! `cargo bench --bench timetable`. The growth is a ratio within this run:
//! seconds per zone at each size against seconds per zone at 25 zones.
//! `contrib/bench/growth.sh` draws it.
#![allow(
    clippy::disallowed_methods,
    reason = "a benchmark reads the clock and its own files"
)]

use std::time::Instant;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::weather_record::{GeoPosition, WeatherHour};
use soakmist::plan::make_timetable;
use soakmist::site::local_time::start_of_day;
use soakmist::site::{Site, load};
use soakmist::units::Flow;
use soakmist::weather::csv::{CsvOptions, parse};

const WEATHER: &[u8] = include_bytes!("../../tests/data/greensboro_tmy3_hourly.csv");
const SITE: &str = include_str!("../../config/harrowmere.toml");
const REPEATS: u32 = 5;

fn main() {
    let demo = load(SITE, "config/harrowmere.toml")
        .expect("the demo site is sound")
        .site;
    let weather = weather(&demo);
    let demo_s = seconds(&demo, &weather, 28);
    println!(
        "demo site, {} zones, 28 days: {:.1} ms",
        demo.zones.len(),
        demo_s * 1e3
    );
    let mut first_per_zone = None;
    for zones in [25, 50, 100, 200] {
        let site = grown(&demo, zones);
        let seconds = seconds(&site, &weather, 60);
        let per_zone = seconds / f64::from(u32::try_from(zones).expect("small"));
        let first = *first_per_zone.get_or_insert(per_zone);
        println!(
            "{zones:4} zones, 60 days: {seconds:.3} s, per zone {:.2} of that at 25 zones",
            per_zone / first
        );
    }
    for days in [7, 14, 28, 56, 112] {
        let seconds = seconds(&demo, &weather, days);
        println!("{:4} zones, {days} days: {seconds:.4} s", demo.zones.len());
    }
}

/// The best of some repeats [s].
fn seconds(site: &Site, weather: &[WeatherHour], days: i64) -> f64 {
    let from = from(site);
    let to = from + TimeDelta::days(days);
    (0..REPEATS)
        .map(|_| {
            let begin = Instant::now();
            let timetable =
                make_timetable(site, weather, from, to).expect("the weather covers the plan");
            assert!(!timetable.runs.is_empty());
            begin.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn from(site: &Site) -> DateTime<Utc> {
    start_of_day(
        site.place.time_zone,
        NaiveDate::from_ymd_opt(2023, 8, 20).expect("a date"),
    )
}

fn weather(site: &Site) -> Vec<WeatherHour> {
    let contents = parse(WEATHER, &CsvOptions::default()).expect("the year is sound");
    let place = GeoPosition {
        latitude_deg: site.place.latitude_deg,
        longitude_deg: site.place.longitude_deg,
        elevation_m: site.place.elevation_m,
        coast: false,
    };
    complete(&contents.hours, &place).expect("no gaps").hours
}

/// The demo's zones again and again, with a supply that grows with them.
fn grown(demo: &Site, zones: usize) -> Site {
    let mut site = demo.clone();
    site.zones = demo
        .zones
        .iter()
        .cycle()
        .take(zones)
        .enumerate()
        .map(|(index, zone)| {
            let mut zone = zone.clone();
            zone.name = format!("{}-{index}", zone.name);
            zone
        })
        .collect();
    let times = f64::from(u32::try_from(zones).expect("small")) / 8.0;
    site.supply.flow = Flow::from_l_per_min(demo.supply.flow.l_per_min() * times);
    site.rules.most_per_day = None;
    site
}
