//! Hourly weather with the provenance of every value.
//!
//! Two shapes: [`RawHour`], what a source gave (anything may be missing), and
//! [`WeatherHour`], complete: what the balance and the plan take. The rules
//! that turn one into the other are in `missing_data`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::reference_et::EtHour;
use crate::site::Place;

/// Where a value came from, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Provenance {
    /// Read by an instrument at or near the site.
    Measured,
    /// Given by a forecast or analysis service.
    Forecast,
    /// Taken from a typical year.
    Climate,
    /// Computed from other variables by a rule of FAO-56 (or one stated
    /// in docs/method.md), because the variable itself was missing.
    Estimated,
}

/// A point on Earth, as far as sun and air need it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GeoPosition {
    /// Latitude [°], −90 to 90, north positive.
    pub latitude_deg: f64,
    /// Longitude [°], −180 to 180, east positive.
    pub longitude_deg: f64,
    /// Elevation above sea level [m].
    pub elevation_m: f64,
    /// Whether a large body of water governs the air there.
    pub coast: bool,
}

impl From<&Place> for GeoPosition {
    fn from(place: &Place) -> Self {
        Self {
            latitude_deg: place.latitude_deg,
            longitude_deg: place.longitude_deg,
            elevation_m: place.elevation_m,
            coast: place.coast,
        }
    }
}

/// One variable of an hour of weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WeatherVariable {
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
    /// Probability of rain, 0 to 1; it has no provenance of its own.
    RainProbability,
    /// Pressure at the site [kPa].
    Pressure,
}

impl WeatherVariable {
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
        match self {
            Self::AirTemperature => "air temperature",
            Self::RelativeHumidity => "relative humidity",
            Self::Wind => "wind speed",
            Self::Solar => "solar radiation",
            Self::Sunshine => "sunshine",
            Self::Rain => "rain",
            Self::RainProbability => "probability of rain",
            Self::Pressure => "pressure",
        }
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

/// One value and where it came from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The value, in the unit of the field that holds it.
    pub value: f64,
    /// Where it came from.
    pub provenance: Provenance,
}

impl Reading {
    /// A value that a rule has made.
    #[must_use]
    pub fn estimated(value: f64) -> Self {
        Self {
            value,
            provenance: Provenance::Estimated,
        }
    }
}

/// One hour as a source gave it. `None` means missing, never zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RawHour {
    /// Start of the hour.
    pub start: DateTime<Utc>,
    /// Mean air temperature [°C].
    pub air_temperature_c: Option<Reading>,
    /// Mean relative humidity [%].
    pub relative_humidity_pct: Option<Reading>,
    /// Wind speed [m/s] at `wind_height_m`.
    pub wind_m_per_s: Option<Reading>,
    /// Height at which the wind was measured [m].
    pub wind_height_m: f64,
    /// Mean global radiation [W/m²].
    pub solar_w_per_m2: Option<Reading>,
    /// Sunshine within the hour [h], 0 to 1.
    pub sunshine_h: Option<Reading>,
    /// Rain in the hour [mm].
    pub rain_mm: Option<Reading>,
    /// Probability of rain in the hour, 0 to 1 (forecasts).
    pub rain_probability: Option<f64>,
    /// Atmospheric pressure at the site [kPa].
    pub pressure_kpa: Option<Reading>,
}

impl RawHour {
    /// An hour in which everything is missing.
    #[must_use]
    pub fn empty(start: DateTime<Utc>, wind_height_m: f64) -> Self {
        Self {
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
}

/// Provenance of each variable of a complete hour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct HourProvenance {
    /// Of the air temperature.
    pub air_temperature: Provenance,
    /// Of the humidity.
    pub humidity: Provenance,
    /// Of the wind speed.
    pub wind: Provenance,
    /// Of the solar radiation.
    pub solar: Provenance,
    /// Of the rain.
    pub rain: Provenance,
}

/// One complete hour: what the balance, the plan and ET0 take.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WeatherHour {
    /// Start of the hour.
    pub start: DateTime<Utc>,
    /// Mean air temperature [°C].
    pub air_temperature_c: f64,
    /// Actual vapour pressure ea [kPa].
    pub actual_vapour_pressure_kpa: f64,
    /// Wind speed at 2 m, u2 [m/s].
    pub wind_2m_m_per_s: f64,
    /// Solar radiation Rs [MJ m⁻² h⁻¹].
    pub solar_mj_per_m2_h: f64,
    /// Rs/Rso that stands for cloudiness, 0.3 to 1.0 (see `EtHour`).
    pub rs_over_rso: f64,
    /// Atmospheric pressure [kPa].
    pub pressure_kpa: f64,
    /// Whether the sun is above the horizon at mid-hour.
    pub daylight: bool,
    /// Rain in the hour [mm].
    pub rain_mm: f64,
    /// Probability that the rain comes, 0 to 1; 1 for measured rain.
    pub rain_probability: f64,
    /// Where each variable came from.
    pub provenance: HourProvenance,
}

impl WeatherHour {
    /// The inputs of the hourly Penman–Monteith equation in this hour.
    #[must_use]
    pub fn et_hour(&self) -> EtHour {
        EtHour {
            air_temperature_c: self.air_temperature_c,
            actual_vapour_pressure_kpa: self.actual_vapour_pressure_kpa,
            wind_2m_m_per_s: self.wind_2m_m_per_s,
            solar_mj_per_m2_h: self.solar_mj_per_m2_h,
            rs_over_rso: self.rs_over_rso,
            pressure_kpa: self.pressure_kpa,
            daylight: self.daylight,
        }
    }
}
