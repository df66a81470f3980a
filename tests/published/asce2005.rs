//! ASCE-EWRI 2005, *The ASCE Standardized Reference Evapotranspiration
//! Equation*, short reference.

use soakmist::agronomy::atmosphere::{
    pressure_from_elevation_kpa, vapour_pressure_from_humidity_kpa,
};
use soakmist::agronomy::reference_et::{EtHour, EtMethod, hourly_et0_mm, hourly_terms};

use crate::near::assert_near;

/// The two hours of FAO-56 Example 19 under the ASCE constants. The values are
/// worked from the printed equation (no ASCE print of them is known): 0.6560
/// by day, where FAO-56 has 0.6269, and 0.0035 by night, where it has 0.0043.
#[test]
fn hours_of_fao56_example_19_with_asce_resistances() {
    let hour = |temperature_c: f64, humidity_pct: f64| EtHour {
        air_temperature_c: temperature_c,
        actual_vapour_pressure_kpa: vapour_pressure_from_humidity_kpa(temperature_c, humidity_pct),
        wind_2m_m_per_s: 1.9,
        solar_mj_per_m2_h: 0.0,
        rs_over_rso: 0.8,
        pressure_kpa: pressure_from_elevation_kpa(8.0),
        daylight: false,
    };
    let night = hour(28.0, 90.0);
    let day = EtHour {
        wind_2m_m_per_s: 3.3,
        solar_mj_per_m2_h: 2.450,
        rs_over_rso: 0.9217,
        daylight: true,
        ..hour(38.0, 52.0)
    };
    assert_near(hourly_et0_mm(&day, EtMethod::Asce), 0.6560, 0.00005);
    assert_near(hourly_et0_mm(&night, EtMethod::Asce), 0.0035, 0.00005);
}

#[test]
fn day_and_night_follow_the_sign_of_net_radiation() {
    // ASCE-EWRI 2005, Table 1 and eq. 65: daytime is Rn > 0, whatever the sun.
    let dusk = EtHour {
        air_temperature_c: 10.0,
        actual_vapour_pressure_kpa: 0.8,
        wind_2m_m_per_s: 2.0,
        solar_mj_per_m2_h: 0.05,
        rs_over_rso: 1.0,
        pressure_kpa: 101.3,
        daylight: true,
    };
    let terms = hourly_terms(&dusk, EtMethod::Asce);
    assert!(terms.net_radiation_mj_per_m2 < 0.0);
    let half = 0.5 * terms.net_radiation_mj_per_m2;
    assert_near(terms.soil_heat_flux_mj_per_m2, half, 1e-12);
}
