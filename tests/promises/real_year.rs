//! The real weather year of tests/data as hours, and noise with a fixed seed.

#![allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "a test may panic"
)]

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::{GeoPosition, Provenance, RawHour, Reading};

const FILE: &str = include_str!("../data/greensboro_tmy3_hourly.csv");

/// Greensboro, North Carolina: the station of the file.
pub fn place() -> GeoPosition {
    GeoPosition {
        latitude_deg: 36.1,
        longitude_deg: -79.95,
        elevation_m: 273.0,
        coast: false,
    }
}

/// The 8760 hours, as a sensor at 10 m would have given them.
pub fn hours() -> Vec<RawHour> {
    FILE.lines()
        .filter(|line| line.starts_with("202"))
        .map(hour)
        .collect()
}

fn hour(line: &str) -> RawHour {
    let fields: Vec<&str> = line.split(',').collect();
    let end: DateTime<Utc> = fields[0]
        .parse::<DateTime<chrono::FixedOffset>>()
        .unwrap()
        .into();
    let measured = |index: usize| {
        let value = fields[index].parse().unwrap();
        Some(Reading {
            value,
            provenance: Provenance::Measured,
        })
    };
    RawHour {
        air_temperature_c: measured(1),
        relative_humidity_pct: measured(2),
        wind_m_per_s: measured(3),
        solar_w_per_m2: measured(4),
        rain_mm: measured(5),
        pressure_kpa: measured(6),
        ..RawHour::empty(end - TimeDelta::hours(1), 10.0)
    }
}

/// Numbers that look random and are the same every time (xorshift64*).
pub struct Noise(pub u64);

impl Noise {
    /// Evenly spread from 0 to 1.
    pub fn share(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        f64::from((self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 40) as u32) / f64::from(1 << 24)
    }

    /// Bell-shaped, mean 0, standard deviation 1 (sum of twelve even ones).
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}
