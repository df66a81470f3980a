//! A warm clear day without rain, for hours of which nobody knows the weather:
//! seed that is planned for it is rather watered too much than too little.

use std::f64::consts::TAU;

use chrono::{DateTime, Timelike as _, Utc};

use crate::agronomy::weather_record::{GeoPosition, RawHour, Reading};

/// Mean and half range of its temperature [°C] (own choice, no source).
pub const WARM_DAY_C: (f64, f64) = (22.0, 7.0);
/// Solar hour of the highest temperature (common practice, no source).
const WARMEST_H: f64 = 15.0;

/// An hour without rain, of which nothing else is known.
#[must_use]
pub fn dry_hour(start: DateTime<Utc>) -> RawHour {
    RawHour {
        rain_mm: Some(Reading::estimated(0.0)),
        ..RawHour::empty(start, 2.0)
    }
}

/// An hour of a warm clear day. The rest of it follows by the rules of FAO-56
/// for missing data.
#[must_use]
pub fn warm_hour(start: DateTime<Utc>, place: &GeoPosition) -> RawHour {
    let (mean_c, half_range_c) = WARM_DAY_C;
    let solar_h = f64::from(start.hour()) + 0.5 + place.longitude_deg / 15.0;
    let phase = (solar_h - WARMEST_H) / 24.0 * TAU;
    RawHour {
        air_temperature_c: Some(Reading::estimated(mean_c + half_range_c * phase.cos())),
        ..dry_hour(start)
    }
}
