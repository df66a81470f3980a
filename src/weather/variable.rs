//! The variables of an hour, so that one rule can be written for all.

use serde::{Deserialize, Serialize};

use super::quality;
use crate::agronomy::weather_record::{Provenance, RawHour, Reading, WeatherVariable};
use crate::units::WeatherQuantity;

/// Pressures where people live [kPa]: from 5500 m up to the Dead Sea, and slack.
const PRESSURE_KPA: (f64, f64) = (40.0, 110.0);

/// One variable of a [`RawHour`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Variable {
    /// Air temperature [°C].
    AirTemperature,
    /// Relative humidity [%].
    RelativeHumidity,
    /// Wind speed [m/s].
    Wind,
    /// Global radiation [W/m²].
    Solar,
    /// Sunshine [h].
    Sunshine,
    /// Rain [mm].
    Rain,
    /// Probability of rain, 0 to 1.
    RainProbability,
    /// Pressure at the site [kPa].
    Pressure,
}

impl Variable {
    /// All variables, in the order of the record.
    pub const ALL: [Self; 8] = [
        Self::AirTemperature,
        Self::RelativeHumidity,
        Self::Wind,
        Self::Solar,
        Self::Sunshine,
        Self::Rain,
        Self::RainProbability,
        Self::Pressure,
    ];

    /// What people call it.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.recorded()
            .map_or("probability of rain", WeatherVariable::name)
    }

    /// The variable as the record and its checks name it; the probability of rain
    /// has no reading of its own.
    #[must_use]
    pub fn recorded(self) -> Option<WeatherVariable> {
        Some(match self {
            Self::AirTemperature => WeatherVariable::AirTemperature,
            Self::RelativeHumidity => WeatherVariable::RelativeHumidity,
            Self::Wind => WeatherVariable::Wind,
            Self::Solar => WeatherVariable::Solar,
            Self::Sunshine => WeatherVariable::Sunshine,
            Self::Rain => WeatherVariable::Rain,
            Self::Pressure => WeatherVariable::Pressure,
            Self::RainProbability => return None,
        })
    }

    /// The unit of its value in the record.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::AirTemperature => "°C",
            Self::RelativeHumidity => "%",
            Self::Wind => "m/s",
            Self::Solar => "W/m²",
            Self::Sunshine => "h",
            Self::Rain => "mm",
            Self::RainProbability => "of 1",
            Self::Pressure => "kPa",
        }
    }

    /// What kind of quantity a service or a logger writes for it.
    #[must_use]
    pub fn quantity(self) -> WeatherQuantity {
        match self {
            Self::AirTemperature => WeatherQuantity::Temperature,
            Self::RelativeHumidity | Self::RainProbability => WeatherQuantity::Percent,
            Self::Wind => WeatherQuantity::Speed,
            Self::Solar => WeatherQuantity::Radiation,
            Self::Sunshine => WeatherQuantity::Duration,
            Self::Rain => WeatherQuantity::RainDepth,
            Self::Pressure => WeatherQuantity::Pressure,
        }
    }

    /// The value if it is finite and can be on Earth, else `None`. The bounds are
    /// those of [`quality`]; what is a little off a bound is held there.
    #[must_use]
    pub fn plausible(self, value: f64) -> Option<f64> {
        let (least, most) = match self {
            Self::AirTemperature => quality::AIR_TEMPERATURE_C,
            Self::RelativeHumidity => quality::RELATIVE_HUMIDITY_PCT,
            Self::Wind => quality::WIND_M_PER_S,
            Self::Solar => quality::SOLAR_W_PER_M2,
            Self::Sunshine => quality::SUNSHINE_H,
            Self::RainProbability => (0.0, 1.0),
            Self::Rain => quality::RAIN_MM,
            Self::Pressure => PRESSURE_KPA,
        };
        let held = match self {
            Self::RelativeHumidity => value.min(100.0),
            Self::Solar => value.max(0.0),
            _ => value,
        };
        (value.is_finite() && (least..=most).contains(&value)).then_some(held)
    }

    /// Its value and provenance in an hour. A probability has no provenance
    /// of its own and comes as a forecast.
    #[must_use]
    pub fn of(self, hour: &RawHour) -> Option<Reading> {
        match self {
            Self::AirTemperature => hour.air_temperature_c,
            Self::RelativeHumidity => hour.relative_humidity_pct,
            Self::Wind => hour.wind_m_per_s,
            Self::Solar => hour.solar_w_per_m2,
            Self::Sunshine => hour.sunshine_h,
            Self::Rain => hour.rain_mm,
            Self::RainProbability => hour.rain_probability.map(|value| Reading {
                value,
                provenance: Provenance::Forecast,
            }),
            Self::Pressure => hour.pressure_kpa,
        }
    }

    /// Sets it in an hour.
    pub fn set(self, hour: &mut RawHour, reading: Option<Reading>) {
        let field = match self {
            Self::AirTemperature => &mut hour.air_temperature_c,
            Self::RelativeHumidity => &mut hour.relative_humidity_pct,
            Self::Wind => &mut hour.wind_m_per_s,
            Self::Solar => &mut hour.solar_w_per_m2,
            Self::Sunshine => &mut hour.sunshine_h,
            Self::Rain => &mut hour.rain_mm,
            Self::Pressure => &mut hour.pressure_kpa,
            Self::RainProbability => {
                hour.rain_probability = reading.map(|reading| reading.value);
                return;
            }
        };
        *field = reading;
    }
}

/// An hour in which everything is missing.
#[must_use]
pub fn empty_hour(start: chrono::DateTime<chrono::Utc>, wind_height_m: f64) -> RawHour {
    RawHour {
        start,
        air_temperature_c: None,
        relative_humidity_pct: None,
        wind_m_per_s: None,
        wind_height_m,
        solar_w_per_m2: None,
        sunshine_h: None,
        rain_mm: None,
        rain_probability: None,
        pressure_kpa: None,
    }
}
