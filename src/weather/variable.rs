//! What sources write for a variable of an hour, and what of it can be.

use super::quality;
pub use crate::agronomy::weather_record::WeatherVariable as Variable;
use crate::units::WeatherQuantity;

/// Pressures where people live [kPa]: from 5500 m up to the Dead Sea, and slack.
const PRESSURE_KPA: (f64, f64) = (40.0, 110.0);

impl Variable {
    /// The variable of a word of the site file and of JSON.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        serde_json::from_value(word.into()).ok()
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
}
