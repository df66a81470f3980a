//! A forecast with a stated error: what the weather became, spoilt the more
//! the further it lies ahead.
//!
//! Own model. The size of the errors is of the order that short-range
//! forecasts for one place have (common practice, no source). Errors last for
//! about half a day, and as an hour draws nearer its error shrinks and keeps
//! its sign, as it does when a forecast is brought up to date. Rain comes in
//! blocks of six hours: some of it is not foreseen, some of it is foreseen and
//! stays away.

use chrono::{DateTime, Utc};

use super::noise::Noise;
use crate::agronomy::atmosphere::saturation_vapour_pressure_kpa;
use crate::agronomy::weather_record::{HourProvenance, Provenance, WeatherHour};

/// Hours of a block of rain.
const BLOCK_H: i64 = 6;
/// Vapour pressure is bounded to these relative humidities [%].
const HUMIDITY_PCT: (f64, f64) = (5.0, 100.0);

/// Size of an error at once and what a day of lead adds to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growing {
    /// For the hour that begins.
    pub now: f64,
    /// More of it for each day ahead.
    pub per_day: f64,
}

impl Growing {
    fn at(self, lead_days: f64) -> f64 {
        self.now + self.per_day * lead_days
    }
}

/// How wrong a forecast is; standard deviations and chances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastError {
    /// Of air temperature [°C].
    pub temperature_c: Growing,
    /// Of relative humidity [percentage points].
    pub humidity_pct: Growing,
    /// Of the logarithm of wind speed.
    pub wind: Growing,
    /// Of the logarithm of solar radiation.
    pub solar: Growing,
    /// Of the logarithm of the amount of rain.
    pub rain: Growing,
    /// Chance that rain is not foreseen.
    pub miss: Growing,
    /// Chance that a dry block is called wet.
    pub false_alarm: Growing,
}

impl ForecastError {
    /// The error used in a backtest.
    pub const STATED: Self = Self {
        temperature_c: growing(0.7, 0.8),
        humidity_pct: growing(4.0, 4.0),
        wind: growing(0.15, 0.12),
        solar: growing(0.10, 0.12),
        rain: growing(0.30, 0.20),
        miss: growing(0.10, 0.10),
        false_alarm: growing(0.04, 0.03),
    };
}

const fn growing(now: f64, per_day: f64) -> Growing {
    Growing { now, per_day }
}

/// Rain of a false alarm in each hour [mm].
const FALSE_RAIN_MM: f64 = 0.5;
/// Probability told with foreseen rain, and its spread to both sides.
const TOLD_PROBABILITY: (f64, f64) = (0.65, 0.25);

/// What is known of the weather at `now`: the past as it was, the hours ahead
/// as they are foreseen. `truth` is in order.
#[must_use]
pub fn known_at(
    truth: &[WeatherHour],
    now: DateTime<Utc>,
    error: &ForecastError,
    noise: Noise,
) -> Vec<WeatherHour> {
    truth
        .iter()
        .map(|hour| {
            if hour.start < now {
                *hour
            } else {
                foreseen(hour, now, error, noise)
            }
        })
        .collect()
}

fn foreseen(
    hour: &WeatherHour,
    now: DateTime<Utc>,
    error: &ForecastError,
    noise: Noise,
) -> WeatherHour {
    let lead_days = (hour.start - now).as_seconds_f64() / 86_400.0;
    let index = hour.start.timestamp().div_euclid(3600);
    let off = |stream: u64, growing: Growing| noise.smooth(stream, index) * growing.at(lead_days);
    let air_temperature_c = hour.air_temperature_c + off(1, error.temperature_c);
    let humidity_pct = 100.0 * hour.actual_vapour_pressure_kpa
        / saturation_vapour_pressure_kpa(hour.air_temperature_c)
        + off(2, error.humidity_pct);
    let (rain_mm, rain_probability) = rain(hour, lead_days, error, noise);
    let brighter = off(4, error.solar).exp();
    WeatherHour {
        air_temperature_c,
        actual_vapour_pressure_kpa: humidity_pct.clamp(HUMIDITY_PCT.0, HUMIDITY_PCT.1) / 100.0
            * saturation_vapour_pressure_kpa(air_temperature_c),
        wind_2m_m_per_s: hour.wind_2m_m_per_s * off(3, error.wind).exp(),
        solar_mj_per_m2_h: hour.solar_mj_per_m2_h * brighter,
        rs_over_rso: (hour.rs_over_rso * brighter).clamp(0.3, 1.0),
        rain_mm,
        rain_probability,
        provenance: HourProvenance {
            air_temperature: Provenance::Forecast,
            humidity: Provenance::Forecast,
            wind: Provenance::Forecast,
            solar: Provenance::Forecast,
            rain: Provenance::Forecast,
        },
        ..*hour
    }
}

/// Foreseen rain [mm] and its probability.
fn rain(hour: &WeatherHour, lead_days: f64, error: &ForecastError, noise: Noise) -> (f64, f64) {
    let block = hour.start.timestamp().div_euclid(3600 * BLOCK_H);
    let (middle, spread) = TOLD_PROBABILITY;
    let told = middle + spread * (2.0 * noise.share(20, block) - 1.0);
    if hour.rain_mm > 0.0 {
        if noise.share(21, block) < error.miss.at(lead_days) {
            return (0.0, 1.0 - told);
        }
        let more = (noise.normal(22, block) * error.rain.at(lead_days)).exp();
        (hour.rain_mm * more, told)
    } else if noise.share(23, block) < error.false_alarm.at(lead_days) {
        (FALSE_RAIN_MM, told)
    } else {
        (0.0, 0.0)
    }
}

#[cfg(test)]
mod tests;
