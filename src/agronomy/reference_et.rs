//! Reference evapotranspiration of short grass, hourly and daily.
//!
//! Sources: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage
//! Paper 56 (eq. 6, 52, 53); ASCE-EWRI 2005, *The ASCE Standardized Reference
//! Evapotranspiration Equation* (short reference). Inputs are complete: see
//! `missing_data` for what stands in for a missing one.

use super::atmosphere::{
    Saturation, TemperatureRange, mean_saturation_vapour_pressure_kpa,
    psychrometric_constant_kpa_per_c, slope_of_saturation_curve_kpa_per_c,
};
use super::radiation::{
    net_longwave_mj_per_m2_d, net_longwave_mj_per_m2_h, net_shortwave, soil_heat_flux_of_hour,
};

/// mm of water that 1 MJ/m² evaporates, 1/λ (FAO-56, eq. 20).
pub const MM_PER_MJ_PER_M2: f64 = 0.408;

/// Numerator constant Cn of the short reference for an hour (FAO-56, eq. 53).
const CN_HOUR: f64 = 37.0;
/// Numerator constant Cn of the short reference for a day (FAO-56, eq. 6).
const CN_DAY: f64 = 900.0;
/// Denominator constant Cd for 70 s/m of surface resistance (FAO-56, eq. 6
/// and 53).
const CD_70_S_PER_M: f64 = 0.34;
/// Cd for 50 s/m, hours of day (ASCE-EWRI 2005, Table 1).
const CD_50_S_PER_M: f64 = 0.24;
/// Cd for 200 s/m, hours of night (ASCE-EWRI 2005, Table 1).
const CD_200_S_PER_M: f64 = 0.96;

/// Stefan–Boltzmann constant σ [MJ K⁻⁴ m⁻² h⁻¹] (FAO-56, text below eq. 39).
///
/// DIFFERS: ASCE-EWRI 2005 rounds it to 2.042e-10. One value serves both
/// methods here, so that they differ by their resistances alone; it moves an
/// hour of the ASCE method by less than 3e-5 mm.
const STEFAN_BOLTZMANN_HOUR: f64 = 2.043e-10;
/// σ [MJ K⁻⁴ m⁻² d⁻¹] (FAO-56, text below eq. 39). DIFFERS: ASCE-EWRI 2005 has
/// 4.901e-9, as above.
const STEFAN_BOLTZMANN_DAY: f64 = 4.903e-9;

/// Which standard's hourly equation is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum EtMethod {
    /// FAO-56, equation 53: surface resistance 70 s/m in every hour.
    #[default]
    Fao56,
    /// ASCE-EWRI 2005 short reference: 50 s/m by day and 200 s/m by night.
    Asce,
}

/// One hour's complete inputs to the hourly Penman–Monteith equation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EtHour {
    /// Mean air temperature [°C].
    pub air_temperature_c: f64,
    /// Actual vapour pressure ea [kPa].
    pub actual_vapour_pressure_kpa: f64,
    /// Wind speed at 2 m, u2 [m/s].
    pub wind_2m_m_per_s: f64,
    /// Solar radiation Rs [MJ m⁻² h⁻¹].
    pub solar_mj_per_m2_h: f64,
    /// Relative shortwave radiation Rs/Rso that stands for cloudiness, 0.3 to
    /// 1.0; with the sun low or down, the value carried from the afternoon.
    pub rs_over_rso: f64,
    /// Atmospheric pressure [kPa].
    pub pressure_kpa: f64,
    /// Whether the sun is above the horizon at mid-hour.
    pub daylight: bool,
}

/// One day's complete inputs to the daily Penman–Monteith equation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EtDay {
    /// Least and greatest air temperature [°C].
    pub temperature: TemperatureRange,
    /// Actual vapour pressure ea [kPa].
    pub actual_vapour_pressure_kpa: f64,
    /// Wind speed at 2 m, u2 [m/s].
    pub wind_2m_m_per_s: f64,
    /// Solar radiation Rs [MJ m⁻² d⁻¹].
    pub solar_mj_per_m2_d: f64,
    /// Rs/Rso, at most 1.
    pub rs_over_rso: f64,
    /// Atmospheric pressure [kPa].
    pub pressure_kpa: f64,
    /// Soil heat flux G [MJ m⁻² d⁻¹]; 0 for a single day.
    pub soil_heat_flux_mj_per_m2_d: f64,
}

/// ET0 of one step and the two fluxes on the way to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EtTerms {
    /// Net radiation Rn [MJ m⁻² per step].
    pub net_radiation_mj_per_m2: f64,
    /// Soil heat flux G [MJ m⁻² per step].
    pub soil_heat_flux_mj_per_m2: f64,
    /// Reference evapotranspiration [mm per step].
    pub et0_mm: f64,
}

/// ET0 of one hour [mm].
///
/// Not held at zero: a night with dew gives a small negative value, which a
/// caller may cut off.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 53; ASCE-EWRI 2005, eq. 1 with Table 1.
#[must_use]
pub fn hourly_et0_mm(hour: &EtHour, method: EtMethod) -> f64 {
    hourly_terms(hour, method).et0_mm
}

/// ET0 of one hour [mm] with net radiation and soil heat flux.
///
/// By day G is a tenth of Rn, else half of it. FAO-56 calls day what has the
/// sun above the horizon at mid-hour; ASCE-EWRI 2005 calls day what has Rn at
/// or above zero, and changes the surface resistance with it.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 53; ASCE-EWRI 2005, eq. 1 with Table 1.
#[must_use]
#[inline(always)]
pub fn hourly_terms(hour: &EtHour, method: EtMethod) -> EtTerms {
    terms_at_saturation(hour, Saturation::at(hour.air_temperature_c), method)
}

/// As [`hourly_terms`], where the saturation curve is already to hand.
#[inline(always)]
pub(super) fn terms_at_saturation(
    hour: &EtHour,
    saturation: Saturation,
    method: EtMethod,
) -> EtTerms {
    let temperature_c = hour.air_temperature_c;
    let net_radiation = net_shortwave(hour.solar_mj_per_m2_h)
        - net_longwave_mj_per_m2_h(
            temperature_c,
            hour.actual_vapour_pressure_kpa,
            hour.rs_over_rso,
            STEFAN_BOLTZMANN_HOUR,
        );
    let (is_day, cd) = match method {
        EtMethod::Fao56 => (hour.daylight, CD_70_S_PER_M),
        EtMethod::Asce if net_radiation >= 0.0 => (true, CD_50_S_PER_M),
        EtMethod::Asce => (false, CD_200_S_PER_M),
    };
    let soil_heat_flux = soil_heat_flux_of_hour(net_radiation, is_day);
    let et0_mm = PenmanMonteith {
        available_energy_mj_per_m2: net_radiation - soil_heat_flux,
        temperature_c,
        slope_kpa_per_c: saturation.slope_kpa_per_c,
        psychrometric_kpa_per_c: psychrometric_constant_kpa_per_c(hour.pressure_kpa),
        wind_2m_m_per_s: hour.wind_2m_m_per_s,
        deficit_kpa: saturation.pressure_kpa - hour.actual_vapour_pressure_kpa,
        cn: CN_HOUR,
        cd,
    }
    .et0_mm();
    EtTerms {
        net_radiation_mj_per_m2: net_radiation,
        soil_heat_flux_mj_per_m2: soil_heat_flux,
        et0_mm,
    }
}

/// ET0 of one day [mm].
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 6. The short reference of ASCE-EWRI 2005
/// (eq. 1 with Table 1) is the same equation for a day.
#[must_use]
pub fn daily_et0_mm(day: &EtDay) -> f64 {
    daily_terms(day).et0_mm
}

/// ET0 of one day [mm] with net radiation and soil heat flux. A vapour pressure
/// deficit below zero, which rounding of humidity gives, counts as zero.
///
/// # Source
/// As [`daily_et0_mm`].
#[must_use]
pub fn daily_terms(day: &EtDay) -> EtTerms {
    let net_radiation = net_shortwave(day.solar_mj_per_m2_d)
        - net_longwave_mj_per_m2_d(
            day.temperature,
            day.actual_vapour_pressure_kpa,
            day.rs_over_rso,
            STEFAN_BOLTZMANN_DAY,
        );
    let temperature_c = day.temperature.mean_c();
    let saturation_kpa = mean_saturation_vapour_pressure_kpa(day.temperature);
    let et0_mm = PenmanMonteith {
        available_energy_mj_per_m2: net_radiation - day.soil_heat_flux_mj_per_m2_d,
        temperature_c,
        slope_kpa_per_c: slope_of_saturation_curve_kpa_per_c(temperature_c),
        psychrometric_kpa_per_c: psychrometric_constant_kpa_per_c(day.pressure_kpa),
        wind_2m_m_per_s: day.wind_2m_m_per_s,
        deficit_kpa: (saturation_kpa - day.actual_vapour_pressure_kpa).max(0.0),
        cn: CN_DAY,
        cd: CD_70_S_PER_M,
    }
    .et0_mm();
    EtTerms {
        net_radiation_mj_per_m2: net_radiation,
        soil_heat_flux_mj_per_m2: day.soil_heat_flux_mj_per_m2_d,
        et0_mm,
    }
}

/// The one equation of both standards and both steps.
struct PenmanMonteith {
    available_energy_mj_per_m2: f64,
    temperature_c: f64,
    slope_kpa_per_c: f64,
    psychrometric_kpa_per_c: f64,
    wind_2m_m_per_s: f64,
    deficit_kpa: f64,
    cn: f64,
    cd: f64,
}

impl PenmanMonteith {
    #[inline(always)]
    fn et0_mm(&self) -> f64 {
        // Both sides times (T + 273), so that there is one division.
        let kelvin = self.temperature_c + 273.0;
        let from_energy =
            MM_PER_MJ_PER_M2 * self.slope_kpa_per_c * self.available_energy_mj_per_m2 * kelvin;
        let from_drying_air =
            self.psychrometric_kpa_per_c * self.cn * self.wind_2m_m_per_s * self.deficit_kpa;
        let resistance = self.slope_kpa_per_c
            + self.psychrometric_kpa_per_c * (1.0 + self.cd * self.wind_2m_m_per_s);
        (from_energy + from_drying_air) / (resistance * kelvin)
    }
}

/// ET0 of one day [mm] from temperature alone, and Ra [MJ m⁻² d⁻¹]: for where
/// nothing else was measured, and to compare with.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 52 (Hargreaves & Samani 1985).
#[must_use]
pub fn hargreaves_samani_mm(
    temperature: TemperatureRange,
    extraterrestrial_mj_per_m2_d: f64,
) -> f64 {
    0.0023
        * (temperature.mean_c() + 17.8)
        * temperature.spread_c().sqrt()
        * MM_PER_MJ_PER_M2
        * extraterrestrial_mj_per_m2_d
}
