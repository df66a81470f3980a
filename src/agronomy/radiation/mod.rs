//! Radiation: what comes from the sun, what the ground keeps, what it sends
//! back.
//!
//! Every equation is from Allen, Pereira, Raes & Smith 1998, FAO Irrigation
//! and Drainage Paper 56, chapter 3. The sun here is the simple one that these
//! equations need; rise and set for people are in `sun`.

mod geometry;

pub use geometry::{
    DaySun, HourSun, inverse_relative_distance, seasonal_correction_h, solar_declination_rad,
    sunset_hour_angle_rad,
};
pub(super) use geometry::{Turn, is_daylight, is_low_sun};

use super::atmosphere::{KELVIN_OFFSET, TemperatureRange};

/// Solar constant Gsc [MJ m⁻² min⁻¹] (FAO-56, eq. 21).
pub const SOLAR_CONSTANT_MJ_PER_M2_MIN: f64 = 0.0820;
/// Albedo α of the reference grass (FAO-56, eq. 38).
pub const ALBEDO: f64 = 0.23;
/// MJ m⁻² h⁻¹ in one W m⁻².
pub const MJ_PER_M2_H_PER_W_PER_M2: f64 = 0.0036;
/// kRs away from large water (FAO-56, eq. 50) [°C^−0.5].
pub const INTERIOR_RANGE_COEFFICIENT: f64 = 0.16;
/// kRs on or near the coast (FAO-56, eq. 50) [°C^−0.5].
pub const COASTAL_RANGE_COEFFICIENT: f64 = 0.19;
/// Least Rs/Rso taken for a full overcast. 0.3 is the bound of ASCE-EWRI 2005;
/// the text of FAO-56 says "about 0.33".
pub const LEAST_CLOUDINESS_RATIO: f64 = 0.3;
/// Elevation of the sun [rad] below which Rs/Rso says nothing of the clouds
/// (ASCE-EWRI 2005).
pub const LOW_SUN_RAD: f64 = 0.3;

/// Clear-sky radiation Rso, in the unit of Ra, at an elevation z [m].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 37.
#[must_use]
#[inline(always)]
pub fn clear_sky(extraterrestrial: f64, elevation_m: f64) -> f64 {
    (0.75 + 2e-5 * elevation_m) * extraterrestrial
}

/// Solar radiation Rs, in the unit of Ra, from relative sunshine n/N (0 to 1),
/// with the uncalibrated as = 0.25 and bs = 0.50.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 35.
#[must_use]
pub fn solar_from_sunshine(extraterrestrial: f64, relative_sunshine: f64) -> f64 {
    (0.25 + 0.50 * relative_sunshine) * extraterrestrial
}

/// Solar radiation Rs, in the unit of Ra, from the day's temperature range and
/// kRs [°C^−0.5]. A caller holds it at Rso.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 50 (Hargreaves & Samani 1982).
#[must_use]
pub fn solar_from_temperature_range(
    extraterrestrial: f64,
    temperature: TemperatureRange,
    coefficient: f64,
) -> f64 {
    coefficient * temperature.spread_c().sqrt() * extraterrestrial
}

/// Mean daily solar radiation Rs [MJ m⁻² d⁻¹] of a month on an island, 0 to
/// 100 m above the sea, from Ra [MJ m⁻² d⁻¹].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 51.
#[must_use]
pub fn solar_on_island_mj_per_m2_d(extraterrestrial_mj_per_m2_d: f64) -> f64 {
    0.7 * extraterrestrial_mj_per_m2_d - 4.0
}

/// Rs/Rso as it stands for cloudiness, 0.3 to 1; `None` without a clear sky to
/// compare with.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 39 (upper bound); ASCE-EWRI 2005 (lower).
#[must_use]
#[inline(always)]
pub fn cloudiness_ratio(solar: f64, clear_sky: f64) -> Option<f64> {
    (clear_sky > 0.0).then(|| (solar / clear_sky).clamp(LEAST_CLOUDINESS_RATIO, 1.0))
}

/// Net shortwave radiation Rns, in the unit of Rs.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 38.
#[must_use]
#[inline(always)]
pub fn net_shortwave(solar: f64) -> f64 {
    (1.0 - ALBEDO) * solar
}

/// Net outgoing longwave radiation of an hour, Rnl [MJ m⁻² h⁻¹].
///
/// - `temperature_c`: mean of the hour [°C]
/// - `vapour_pressure_kpa`: ea [kPa]
/// - `cloudiness_ratio`: Rs/Rso, 0.3 to 1
/// - `stefan_boltzmann`: σ [MJ K⁻⁴ m⁻² h⁻¹]
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 39, for an hour.
#[must_use]
#[inline(always)]
pub fn net_longwave_mj_per_m2_h(
    temperature_c: f64,
    vapour_pressure_kpa: f64,
    cloudiness_ratio: f64,
    stefan_boltzmann: f64,
) -> f64 {
    stefan_boltzmann
        * fourth_power_of_kelvin(temperature_c)
        * escaping_share(vapour_pressure_kpa, cloudiness_ratio)
}

/// Net outgoing longwave radiation of a day, Rnl [MJ m⁻² d⁻¹], from the
/// extremes of temperature; σ [MJ K⁻⁴ m⁻² d⁻¹].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 39.
#[must_use]
pub fn net_longwave_mj_per_m2_d(
    temperature: TemperatureRange,
    vapour_pressure_kpa: f64,
    cloudiness_ratio: f64,
    stefan_boltzmann: f64,
) -> f64 {
    let body = f64::midpoint(
        fourth_power_of_kelvin(temperature.max_c),
        fourth_power_of_kelvin(temperature.min_c),
    );
    stefan_boltzmann * body * escaping_share(vapour_pressure_kpa, cloudiness_ratio)
}

#[inline(always)]
fn fourth_power_of_kelvin(temperature_c: f64) -> f64 {
    let kelvin = temperature_c + KELVIN_OFFSET;
    let square = kelvin * kelvin;
    square * square
}

/// The two brackets of eq. 39: through moist air, and through clouds.
#[inline(always)]
fn escaping_share(vapour_pressure_kpa: f64, cloudiness_ratio: f64) -> f64 {
    (0.34 - 0.14 * vapour_pressure_kpa.sqrt()) * (1.35 * cloudiness_ratio - 0.35)
}

/// Soil heat flux G of an hour, in the unit of Rn: a tenth of Rn by day, half
/// of it by night.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 45 and 46.
#[must_use]
#[inline(always)]
pub fn soil_heat_flux_of_hour(net_radiation: f64, is_day: bool) -> f64 {
    if is_day {
        0.1 * net_radiation
    } else {
        0.5 * net_radiation
    }
}

/// Soil heat flux G [MJ m⁻² d⁻¹] of a day: small enough to be left out.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 42.
pub const SOIL_HEAT_FLUX_OF_DAY: f64 = 0.0;

/// Soil heat flux G [MJ m⁻² d⁻¹] of a month from the mean temperatures of the
/// months before and after [°C].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 43.
#[must_use]
pub fn soil_heat_flux_of_month(previous_c: f64, next_c: f64) -> f64 {
    0.07 * (next_c - previous_c)
}

/// Soil heat flux G [MJ m⁻² d⁻¹] of a month whose next month is not known, from
/// its mean temperature and that of the month before [°C].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 44.
#[must_use]
pub fn soil_heat_flux_of_latest_month(previous_c: f64, this_c: f64) -> f64 {
    0.14 * (this_c - previous_c)
}
