//! What shade, sheets and mulch change at the surface of a seedbed.
//!
//! Sheets and shade change the weather that reaches the ground, so ET0 is
//! computed anew from the changed hour. Organic mulch changes the evaporation
//! of the soil beneath it.

use super::reference_et::EtHour;

/// Wind under a sheet, u2 [m/s]: the least wind at which FAO-56 uses its
/// equation (from memory of the paper), since the sheet stops the rest.
const WIND_UNDER_SHEET_M_PER_S: f64 = 0.5;

/// Share of soil evaporation that mulch saves for each share of ground hidden.
const MULCH_SAVING: f64 = 0.5;

/// The hour as the ground under a permeable sheet has it.
///
/// - `hour`: the hour in the open
/// - `transmission`: share of solar radiation the sheet lets through, 0 to 1
///
/// Solar radiation is multiplied by the transmission and the wind is cut to
/// 0.5 m/s (weaker wind stays as it is). Air temperature and humidity are left
/// alone although a sheet warms and moistens the air beneath: the first adds
/// demand and the second takes it away. Rs/Rso stays too, for it stands for
/// the clouds and not for the sheet.
///
/// # Source
/// Own model: no published figure for evaporation under row cover was found;
/// this is an assumption that only uses the sheet's transmission.
#[must_use]
pub fn under_sheet(hour: &EtHour, transmission: f64) -> EtHour {
    EtHour {
        solar_mj_per_m2_h: hour.solar_mj_per_m2_h * transmission,
        wind_2m_m_per_s: hour.wind_2m_m_per_s.min(WIND_UNDER_SHEET_M_PER_S),
        ..*hour
    }
}

/// The hour as ground in the shade of trees or buildings has it.
///
/// - `hour`: the hour in the open
/// - `sun_share`: share of the sun's radiation that reaches the ground, 0 to 1
///
/// Only the radiation changes. Rs/Rso stays, for it stands for the clouds.
///
/// # Source
/// Own model: the share is the site's own observation.
#[must_use]
pub fn shaded(hour: &EtHour, sun_share: f64) -> EtHour {
    EtHour {
        solar_mj_per_m2_h: hour.solar_mj_per_m2_h * sun_share,
        ..*hour
    }
}

/// Factor on soil evaporation under organic mulch.
///
/// - `cover_fraction`: share of the ground that the mulch hides, 0 to 1
///
/// A full cover halves the evaporation.
///
/// # Source
/// FAO-56 chapter 10 (from memory of the paper): 5 % less for each 10 % of the
/// surface covered.
#[must_use]
pub fn mulch_evaporation_factor(cover_fraction: f64) -> f64 {
    1.0 - MULCH_SAVING * cover_fraction.clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn summer_noon() -> EtHour {
        EtHour {
            air_temperature_c: 28.0,
            actual_vapour_pressure_kpa: 1.8,
            wind_2m_m_per_s: 3.0,
            solar_mj_per_m2_h: 2.8,
            rs_over_rso: 0.9,
            pressure_kpa: 101.0,
            daylight: true,
        }
    }

    #[test]
    fn a_sheet_takes_radiation_and_wind_and_leaves_the_rest() {
        let beneath = under_sheet(&summer_noon(), 0.85);
        assert!((beneath.solar_mj_per_m2_h - 2.38).abs() < 1e-9);
        assert!((beneath.wind_2m_m_per_s - 0.5).abs() < 1e-12);
        let back = EtHour {
            solar_mj_per_m2_h: 2.8,
            wind_2m_m_per_s: 3.0,
            ..beneath
        };
        assert_eq!(back, summer_noon());
    }

    #[test]
    fn a_sheet_raises_no_wind() {
        let calm = EtHour {
            wind_2m_m_per_s: 0.2,
            ..summer_noon()
        };
        assert!((under_sheet(&calm, 0.85).wind_2m_m_per_s - 0.2).abs() < 1e-12);
    }

    #[test]
    fn shade_takes_radiation_only() {
        let shade = shaded(&summer_noon(), 0.5);
        assert!((shade.solar_mj_per_m2_h - 1.4).abs() < 1e-12);
        assert!((shade.wind_2m_m_per_s - 3.0).abs() < 1e-12);
    }
}
