//! The air: pressure, vapour pressure, the psychrometric constant and wind
//! at 2 m.
//!
//! Every equation is from Allen, Pereira, Raes & Smith 1998, *Crop
//! Evapotranspiration*, FAO Irrigation and Drainage Paper 56, chapter 3. Not
//! here: what to do when a variable is missing (see `missing_data`).

use super::exponential::exp;

/// Kelvin at 0 °C, as FAO-56 rounds it in its radiation equations.
pub const KELVIN_OFFSET: f64 = 273.16;

/// Least and greatest air temperature of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TemperatureRange {
    /// Tmin [°C].
    pub min_c: f64,
    /// Tmax [°C].
    pub max_c: f64,
}

impl TemperatureRange {
    /// The mean that FAO-56 takes for a day, (Tmin + Tmax)/2 [°C].
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 9.
    #[must_use]
    pub fn mean_c(self) -> f64 {
        f64::midpoint(self.min_c, self.max_c)
    }

    /// Tmax − Tmin [°C], never below zero.
    #[must_use]
    pub fn spread_c(self) -> f64 {
        (self.max_c - self.min_c).max(0.0)
    }
}

/// Least and greatest relative humidity of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HumidityRange {
    /// RHmin [%].
    pub min_pct: f64,
    /// RHmax [%].
    pub max_pct: f64,
}

/// How the bulbs of a psychrometer are aired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ventilation {
    /// Aspirated, about 5 m/s of air.
    Forced,
    /// Natural, about 1 m/s.
    Natural,
    /// Indoors, not ventilated.
    None,
}

impl Ventilation {
    fn coefficient_per_c(self) -> f64 {
        match self {
            Self::Forced => 0.000_662,
            Self::Natural => 0.000_800,
            Self::None => 0.001_200,
        }
    }
}

/// Readings of a psychrometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Psychrometer {
    /// Dry bulb [°C].
    pub dry_c: f64,
    /// Wet bulb [°C].
    pub wet_c: f64,
    /// How it is aired.
    pub ventilation: Ventilation,
}

/// Atmospheric pressure P [kPa] from elevation z [m above sea level].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 7.
#[must_use]
pub fn pressure_from_elevation_kpa(elevation_m: f64) -> f64 {
    101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0).powf(5.26)
}

/// Psychrometric constant γ [kPa/°C] from pressure P [kPa].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 8.
#[must_use]
#[inline(always)]
pub fn psychrometric_constant_kpa_per_c(pressure_kpa: f64) -> f64 {
    0.665e-3 * pressure_kpa
}

/// Saturation vapour pressure e°(T) [kPa] over water at T [°C].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 11.
#[must_use]
#[inline(always)]
pub fn saturation_vapour_pressure_kpa(temperature_c: f64) -> f64 {
    Saturation::at(temperature_c).pressure_kpa
}

/// The saturation curve at one temperature: two equations that share a
/// division.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Saturation {
    /// e°(T) [kPa].
    pub pressure_kpa: f64,
    /// Δ [kPa/°C].
    pub slope_kpa_per_c: f64,
}

impl Saturation {
    /// FAO-56, eq. 11 and 13, at T [°C].
    #[inline(always)]
    pub(super) fn at(temperature_c: f64) -> Self {
        let per_kelvin_above = 1.0 / (temperature_c + 237.3);
        let pressure_kpa = 0.6108 * exp(17.27 * temperature_c * per_kelvin_above);
        let slope_kpa_per_c = 4098.0 * pressure_kpa * per_kelvin_above * per_kelvin_above;
        Self {
            pressure_kpa,
            slope_kpa_per_c,
        }
    }

    /// FAO-56, eq. 54, at a relative humidity [%].
    #[inline(always)]
    pub(super) fn vapour_pressure_kpa(self, humidity_pct: f64) -> f64 {
        self.pressure_kpa * (0.01 * humidity_pct)
    }
}

/// Mean saturation vapour pressure es [kPa] of a day: of its two extremes,
/// because the curve bends.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 12.
#[must_use]
pub fn mean_saturation_vapour_pressure_kpa(temperature: TemperatureRange) -> f64 {
    f64::midpoint(
        saturation_vapour_pressure_kpa(temperature.max_c),
        saturation_vapour_pressure_kpa(temperature.min_c),
    )
}

/// Slope Δ [kPa/°C] of the saturation curve at T [°C].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 13.
#[must_use]
pub fn slope_of_saturation_curve_kpa_per_c(temperature_c: f64) -> f64 {
    Saturation::at(temperature_c).slope_kpa_per_c
}

/// Actual vapour pressure ea [kPa] from the dew point [°C].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 14.
#[must_use]
pub fn vapour_pressure_from_dew_point_kpa(dew_point_c: f64) -> f64 {
    saturation_vapour_pressure_kpa(dew_point_c)
}

/// Psychrometric constant of an instrument γpsy [kPa/°C] at P [kPa].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 16.
#[must_use]
pub fn instrument_constant_kpa_per_c(ventilation: Ventilation, pressure_kpa: f64) -> f64 {
    ventilation.coefficient_per_c() * pressure_kpa
}

/// Actual vapour pressure ea [kPa] from a psychrometer at P [kPa].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 15.
#[must_use]
pub fn vapour_pressure_from_psychrometer_kpa(reading: Psychrometer, pressure_kpa: f64) -> f64 {
    saturation_vapour_pressure_kpa(reading.wet_c)
        - instrument_constant_kpa_per_c(reading.ventilation, pressure_kpa)
            * (reading.dry_c - reading.wet_c)
}

/// Actual vapour pressure ea [kPa] of a day from the extremes of temperature
/// and relative humidity. The best daily route.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 17.
#[must_use]
pub fn vapour_pressure_from_extremes_kpa(
    temperature: TemperatureRange,
    humidity: HumidityRange,
) -> f64 {
    (saturation_vapour_pressure_kpa(temperature.min_c) * humidity.max_pct
        + saturation_vapour_pressure_kpa(temperature.max_c) * humidity.min_pct)
        / 200.0
}

/// Actual vapour pressure ea [kPa] of a day from RHmax [%] at Tmin [°C], where
/// RHmin is doubtful.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 18.
#[must_use]
pub fn vapour_pressure_from_greatest_humidity_kpa(min_c: f64, max_humidity_pct: f64) -> f64 {
    vapour_pressure_from_humidity_kpa(min_c, max_humidity_pct)
}

/// Actual vapour pressure ea [kPa] of a day from its mean relative humidity
/// [%]. The weakest daily route.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 19.
#[must_use]
pub fn vapour_pressure_from_mean_humidity_kpa(
    temperature: TemperatureRange,
    mean_humidity_pct: f64,
) -> f64 {
    mean_humidity_pct / 100.0 * mean_saturation_vapour_pressure_kpa(temperature)
}

/// Actual vapour pressure ea [kPa] at one temperature [°C] and relative
/// humidity [%], as for a single hour.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 54.
#[must_use]
#[inline(always)]
pub fn vapour_pressure_from_humidity_kpa(temperature_c: f64, humidity_pct: f64) -> f64 {
    Saturation::at(temperature_c).vapour_pressure_kpa(humidity_pct)
}

/// Factor that turns wind at height z [m] over short grass into wind at 2 m.
///
/// - `height_m`: above 0.1 m; the log profile has no meaning lower down.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 47.
#[must_use]
pub fn wind_factor_to_2m(height_m: f64) -> f64 {
    4.87 / (67.8 * height_m - 5.42).ln()
}

/// Wind speed at 2 m, u2 [m/s], from the speed [m/s] measured at a height [m].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 47.
#[must_use]
pub fn wind_at_2m_m_per_s(wind_m_per_s: f64, height_m: f64) -> f64 {
    wind_m_per_s * wind_factor_to_2m(height_m)
}
