//! Radiation: what comes from the sun, what the ground keeps, what it sends
//! back.
//!
//! Every equation is from Allen, Pereira, Raes & Smith 1998, FAO Irrigation
//! and Drainage Paper 56, chapter 3. The sun here is the simple one that these
//! equations need; rise and set for people are in `sun`.

use std::f64::consts::PI;

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

/// Half an hour of the earth's turning [rad].
const HALF_HOUR_RAD: f64 = PI / 24.0;
/// Hour angles before sunset between which Rs/Rso stands for the evening
/// [rad]: two to three hours (FAO-56, text beside Example 19).
const EVENING_WINDOW_RAD: (f64, f64) = (0.79, 0.52);

/// Inverse relative distance of the sun, dr [-], on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 23.
#[must_use]
pub fn inverse_relative_distance(day_of_year: u32) -> f64 {
    1.0 + 0.033 * (2.0 * PI / 365.0 * f64::from(day_of_year)).cos()
}

/// Solar declination δ [rad] on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 24.
#[must_use]
pub fn solar_declination_rad(day_of_year: u32) -> f64 {
    0.409 * (2.0 * PI / 365.0 * f64::from(day_of_year) - 1.39).sin()
}

/// Seasonal correction of solar time, Sc [h], on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 32 and 33.
#[must_use]
pub fn seasonal_correction_h(day_of_year: u32) -> f64 {
    let b = 2.0 * PI * (f64::from(day_of_year) - 81.0) / 364.0;
    0.1645 * (2.0 * b).sin() - 0.1255 * b.cos() - 0.025 * b.sin()
}

/// Sunset hour angle ωs [rad]: 0 in polar night, π in polar day.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 25; held to what an arc cosine takes, which
/// is polar day and night.
#[must_use]
pub fn sunset_hour_angle_rad(latitude_rad: f64, declination_rad: f64) -> f64 {
    (-latitude_rad.tan() * declination_rad.tan())
        .clamp(-1.0, 1.0)
        .acos()
}

/// The sun of one day at one latitude: the terms that all its hours share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DaySun {
    distance: f64,
    /// sin φ sin δ.
    level: f64,
    /// cos φ cos δ.
    swing: f64,
    sunset_angle_rad: f64,
    seasonal_correction_h: f64,
}

/// The sun of one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourSun {
    /// Solar time angle ω at mid-hour [rad], 0 at solar noon, −π to π.
    pub angle_rad: f64,
    /// Sunset hour angle ωs of the day [rad].
    pub sunset_angle_rad: f64,
    /// Sine of the sun's elevation at mid-hour.
    pub sin_elevation: f64,
    /// Extraterrestrial radiation Ra [MJ m⁻² h⁻¹].
    pub extraterrestrial_mj_per_m2_h: f64,
    /// Part of the hour in which the sun is up [h].
    pub sunlit_h: f64,
}

impl HourSun {
    /// Whether the sun is above the horizon at mid-hour.
    #[must_use]
    pub fn is_daylight(&self) -> bool {
        self.sin_elevation > 0.0
    }

    /// Whether it is too low, or down, for Rs/Rso to tell the clouds.
    #[must_use]
    pub fn is_low(&self) -> bool {
        self.sin_elevation < LOW_SUN_RAD.sin()
    }

    /// Whether Rs/Rso of this hour stands for the evening and the night: two
    /// to three hours before sunset.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, text beside Example 19.
    #[must_use]
    pub fn stands_for_evening(&self) -> bool {
        let (from, to) = EVENING_WINDOW_RAD;
        (self.sunset_angle_rad - from..=self.sunset_angle_rad - to).contains(&self.angle_rad)
    }
}

impl DaySun {
    /// The sun at latitude φ [rad, north positive] on day J (1 to 366).
    #[must_use]
    pub fn new(latitude_rad: f64, day_of_year: u32) -> Self {
        let declination_rad = solar_declination_rad(day_of_year);
        Self {
            distance: inverse_relative_distance(day_of_year),
            level: latitude_rad.sin() * declination_rad.sin(),
            swing: latitude_rad.cos() * declination_rad.cos(),
            sunset_angle_rad: sunset_hour_angle_rad(latitude_rad, declination_rad),
            seasonal_correction_h: seasonal_correction_h(day_of_year),
        }
    }

    /// Extraterrestrial radiation over the whole day, Ra [MJ m⁻² d⁻¹].
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 21.
    #[must_use]
    pub fn extraterrestrial_mj_per_m2_d(&self) -> f64 {
        let ws = self.sunset_angle_rad;
        24.0 * 60.0 / PI
            * SOLAR_CONSTANT_MJ_PER_M2_MIN
            * self.distance
            * (ws * self.level + self.swing * ws.sin())
    }

    /// Daylight hours N [h].
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 34.
    #[must_use]
    pub fn daylight_h(&self) -> f64 {
        24.0 / PI * self.sunset_angle_rad
    }

    /// Solar time angle ω [rad], −π to π, at a time given as UTC hours and a
    /// longitude [°, east positive].
    ///
    /// The clock of FAO-56 belongs to a time zone with a centre of its own;
    /// taking UTC, whose centre is 0°, leaves no zone to know. DIFFERS: 1/15 h
    /// per degree in full, where eq. 31 prints 0.06667.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 31.
    #[must_use]
    pub fn time_angle_rad(&self, utc_h: f64, longitude_deg: f64) -> f64 {
        let from_noon_h = utc_h + longitude_deg / 15.0 + self.seasonal_correction_h - 12.0;
        PI / 12.0 * ((from_noon_h + 12.0).rem_euclid(24.0) - 12.0)
    }

    /// The sun of the hour whose middle has the solar time angle ω [rad].
    ///
    /// DIFFERS: the hour's ends are held between sunrise and sunset, as in
    /// ASCE-EWRI 2005; FAO-56 does not do so and would give hours around
    /// sunrise the negative radiation of a sun below the horizon.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 28 to 30.
    #[must_use]
    pub fn hour(&self, angle_rad: f64) -> HourSun {
        let ws = self.sunset_angle_rad;
        let from = (angle_rad - HALF_HOUR_RAD).clamp(-ws, ws);
        let to = (angle_rad + HALF_HOUR_RAD).clamp(-ws, ws);
        let up = self.level * (to - from) + self.swing * (to.sin() - from.sin());
        HourSun {
            angle_rad,
            sunset_angle_rad: ws,
            sin_elevation: self.level + self.swing * angle_rad.cos(),
            extraterrestrial_mj_per_m2_h: (12.0 * 60.0 / PI
                * SOLAR_CONSTANT_MJ_PER_M2_MIN
                * self.distance
                * up)
                .max(0.0),
            sunlit_h: (to - from) * 12.0 / PI,
        }
    }
}

/// Clear-sky radiation Rso, in the unit of Ra, at an elevation z [m].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 37.
#[must_use]
#[inline]
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
pub fn cloudiness_ratio(solar: f64, clear_sky: f64) -> Option<f64> {
    (clear_sky > 0.0).then(|| (solar / clear_sky).clamp(LEAST_CLOUDINESS_RATIO, 1.0))
}

/// Net shortwave radiation Rns, in the unit of Rs.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 38.
#[must_use]
#[inline]
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
#[inline]
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

#[inline]
fn fourth_power_of_kelvin(temperature_c: f64) -> f64 {
    let kelvin = temperature_c + KELVIN_OFFSET;
    let square = kelvin * kelvin;
    square * square
}

/// The two brackets of eq. 39: through moist air, and through clouds.
#[inline]
fn escaping_share(vapour_pressure_kpa: f64, cloudiness_ratio: f64) -> f64 {
    (0.34 - 0.14 * vapour_pressure_kpa.sqrt()) * (1.35 * cloudiness_ratio - 0.35)
}

/// Soil heat flux G of an hour, in the unit of Rn: a tenth of Rn by day, half
/// of it by night.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 45 and 46.
#[must_use]
#[inline]
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
