//! Basal crop coefficients of turf, and how much of its root zone turf may
//! empty before it suffers.
//!
//! Source throughout: Allen et al. 1998, FAO-56, Tables 17 and 22, eq. 70;
//! from memory of the paper. The values are for mown, watered turf of 60–80 mm
//! (cool season); young grass grows into them.

use serde::Serialize;

use super::evaporation::{ClimateOfDay, climate_adjustment};
use crate::site::Species;

/// The two groups into which FAO-56 sorts turf.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TurfGroup {
    /// Bluegrass, ryegrass, fescue, bentgrass.
    CoolSeason,
    /// Bermudagrass, zoysiagrass, buffalograss and the like.
    WarmSeason,
}

/// The basal coefficient Kcb over the stages of a crop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BasalCoefficients {
    /// In the initial stage.
    pub initial: f64,
    /// In the middle of the season.
    pub middle: f64,
    /// At its end.
    pub end: f64,
}

/// Height of mown turf, h [m], in the coefficient tables.
///
/// # Source
/// FAO-56 Table 12.
pub const TURF_HEIGHT_M: f64 = 0.10;

/// Kcb below which the climate adjustment of eq. 70 does not apply.
const LEAST_ADJUSTED_KCB: f64 = 0.45;

/// Range in which FAO-56 holds the adjusted depletion share p.
const DEPLETION_SHARE_RANGE: (f64, f64) = (0.1, 0.8);

/// The turf group of a species.
///
/// # Source
/// FAO-56 Tables 12 and 17 name bluegrass, ryegrass and fescue as cool season
/// and bermudagrass as warm season; the other three are common botanical
/// knowledge (C3 and C4 grasses).
#[must_use]
pub fn group(species: Species) -> TurfGroup {
    match species {
        Species::PerennialRyegrass
        | Species::TallFescue
        | Species::FineFescue
        | Species::CreepingBentgrass
        | Species::KentuckyBluegrass => TurfGroup::CoolSeason,
        Species::Bermudagrass | Species::Zoysiagrass | Species::Buffalograss => {
            TurfGroup::WarmSeason
        }
    }
}

/// Kcb of turf in the standard climate (u2 2 m/s, RHmin 45 %).
///
/// # Source
/// FAO-56 Table 17.
#[must_use]
pub const fn basal_coefficients(group: TurfGroup) -> BasalCoefficients {
    match group {
        TurfGroup::CoolSeason => BasalCoefficients {
            initial: 0.85,
            middle: 0.90,
            end: 0.90,
        },
        TurfGroup::WarmSeason => BasalCoefficients {
            initial: 0.75,
            middle: 0.80,
            end: 0.80,
        },
    }
}

/// Kcb fitted to the climate of the day.
///
/// - `table_kcb`: value for the standard climate, see [`basal_coefficients`]
/// - `climate`: wind and humidity of the day
/// - `height_m`: height of the plants [m]
///
/// A Kcb below 0.45 is returned as it is: such a stand is too open for the
/// adjustment. Never below zero.
///
/// # Source
/// FAO-56 eq. 70.
#[must_use]
pub fn climate_adjusted_kcb(table_kcb: f64, climate: ClimateOfDay, height_m: f64) -> f64 {
    if table_kcb < LEAST_ADJUSTED_KCB {
        table_kcb
    } else {
        (table_kcb + climate_adjustment(climate, height_m)).max(0.0)
    }
}

/// Share p of the root zone's available water that turf may use before it
/// suffers, for ETc of 5 mm/day.
///
/// # Source
/// FAO-56 Table 22.
#[must_use]
pub const fn depletion_share(group: TurfGroup) -> f64 {
    match group {
        TurfGroup::CoolSeason => 0.40,
        TurfGroup::WarmSeason => 0.50,
    }
}

/// The depletion share p on a day of another demand: less on a hot day.
///
/// - `table_p`: p for 5 mm/day, see [`depletion_share`]
/// - `etc_mm_per_day`: ETc of the day [mm/day]
///
/// # Source
/// FAO-56 Table 22, footnote: p + 0.04 (5 − ETc), held in 0.1 to 0.8.
#[must_use]
pub fn adjusted_depletion_share(table_p: f64, etc_mm_per_day: f64) -> f64 {
    (table_p + 0.04 * (5.0 - etc_mm_per_day))
        .clamp(DEPLETION_SHARE_RANGE.0, DEPLETION_SHARE_RANGE.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_stand_is_not_adjusted_to_the_climate() {
        let dry = ClimateOfDay {
            wind_2m_m_per_s: 4.0,
            min_relative_humidity_pct: 25.0,
        };
        assert!((climate_adjusted_kcb(0.30, dry, 0.1) - 0.30).abs() < 1e-12);
        assert!(climate_adjusted_kcb(0.90, dry, 0.1) > 0.90);
    }

    #[test]
    fn a_hot_day_allows_less_depletion_and_stays_in_the_stated_range() {
        assert!((adjusted_depletion_share(0.40, 5.0) - 0.40).abs() < 1e-12);
        assert!((adjusted_depletion_share(0.40, 7.5) - 0.30).abs() < 1e-12);
        assert!((adjusted_depletion_share(0.40, 40.0) - 0.10).abs() < 1e-12);
        assert!((adjusted_depletion_share(0.75, 0.0) - 0.80).abs() < 1e-12);
    }
}
