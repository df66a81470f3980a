//! How long the weather of a year takes on one thread: hourly ET0 of its rows
//! at once (the figure that `et0_vs_refet.sh` compares), and each step on the
//! way of a file through the program.
//!
//! `cargo bench --bench et0 [FILE.csv]`; prints microseconds. The file is read
//! before the clock starts.

#![expect(
    clippy::disallowed_methods,
    reason = "a bench reads a file and a clock"
)]

use std::hint::black_box;
use std::time::Instant;

use soakmist::agronomy::et0_series::{MeasuredHours, hourly_et0_of_series};
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::reference_et::{EtMethod, hourly_et0_mm};
use soakmist::agronomy::weather_record::{GeoPosition, RawHour, Reading};
use soakmist::weather::csv::{CsvOptions, parse};
use soakmist::weather::quality::screen;

/// Runs of each measurement; the median is told.
const RUNS: usize = 501;
const DEFAULT_FILE: &str = "tests/data/greensboro_tmy3_hourly.csv";
const GREENSBORO: GeoPosition = GeoPosition {
    latitude_deg: 36.1,
    longitude_deg: -79.95,
    elevation_m: 273.0,
    coast: false,
};

/// Median time of a piece of work [µs].
fn median_us<T>(mut work: impl FnMut() -> T) -> f64 {
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64() * 1e6
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}

fn column(hours: &[RawHour], value: fn(&RawHour) -> Option<Reading>) -> Vec<f64> {
    hours
        .iter()
        .map(|hour| value(hour).map_or(f64::NAN, |reading| reading.value))
        .collect()
}

fn main() {
    let file = std::env::args()
        .nth(1)
        .filter(|argument| !argument.starts_with('-'));
    let file = file.unwrap_or_else(|| DEFAULT_FILE.to_owned());
    let bytes = std::fs::read(&file).expect("the weather file can be read");
    let contents = parse(&bytes, &CsvOptions::default()).expect("the weather file is sound");
    let hours = &contents.hours;
    let temperature = column(hours, |hour| hour.air_temperature_c);
    let humidity = column(hours, |hour| hour.relative_humidity_pct);
    let wind = column(hours, |hour| hour.wind_m_per_s);
    let solar = column(hours, |hour| hour.solar_w_per_m2);
    let series = MeasuredHours {
        start: hours[0].start,
        air_temperature_c: &temperature,
        relative_humidity_pct: &humidity,
        wind_m_per_s: &wind,
        wind_height_m: 10.0,
        solar_w_per_m2: &solar,
    };
    let at_once = || hourly_et0_of_series(&series, &GREENSBORO, EtMethod::Asce).expect("complete");
    let completed = complete(hours, &GREENSBORO).expect("no gaps");
    let total: f64 = at_once().iter().sum();
    println!("hours {}", hours.len());
    println!("total_mm {total:.2}");
    println!("series_us {:.1}", median_us(at_once));
    println!(
        "parse_us {:.1}",
        median_us(|| parse(&bytes, &CsvOptions::default()))
    );
    println!(
        "screen_us {:.1}",
        median_us(|| screen(&mut hours.clone(), &GREENSBORO))
    );
    println!(
        "complete_us {:.1}",
        median_us(|| complete(hours, &GREENSBORO))
    );
    let one_by_one = || -> f64 {
        completed
            .hours
            .iter()
            .map(|hour| hourly_et0_mm(&hour.et_hour(), EtMethod::Asce))
            .sum()
    };
    println!("one_by_one_us {:.1}", median_us(one_by_one));
}
