//! Reference evapotranspiration of short grass.

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
