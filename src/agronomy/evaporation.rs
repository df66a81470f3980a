//! Evaporation from bare and partly covered soil: the soil half of the
//! FAO-56 dual crop coefficient.
//!
//! ETc = (Kcb + Ke)·ET0 (eq. 69). This file gives Ke and what it needs: how
//! much water the surface layer can lose, how that loss slows as it dries, and
//! how much of the ground is open to the sky. Kcb is in `crop_coefficient`.
//!
//! Source throughout: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and
//! Drainage Paper 56, chapter 7. Equations from memory of the paper; the
//! check vectors in `tests/published` are recomputed from them.

use crate::site::TextureName;

/// What the climate adjustment of a coefficient needs of a day's weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimateOfDay {
    /// Mean wind speed at 2 m, u2 [m/s].
    pub wind_2m_m_per_s: f64,
    /// Lowest relative humidity of the day, RHmin [%].
    pub min_relative_humidity_pct: f64,
}

/// Range of u2 [m/s] for which FAO-56 states eq. 70 and 72.
const WIND_RANGE_M_PER_S: (f64, f64) = (1.0, 6.0);

/// Range of RHmin [%] for which FAO-56 states eq. 70 and 72.
const HUMIDITY_RANGE_PCT: (f64, f64) = (20.0, 80.0);

/// Kc max of a wetted surface in the standard climate (u2 2 m/s, RHmin 45 %).
const STANDARD_KC_MAX: f64 = 1.2;

/// Kc max lies at least this far above Kcb.
const LEAST_ROOM_ABOVE_KCB: f64 = 0.05;

/// Cover fraction above which FAO-56 does not go, so that few stays above 0.
const GREATEST_COVER_FRACTION: f64 = 0.99;

/// Least Kcb − Kc min in eq. 76.
const LEAST_KCB_ABOVE_MINIMUM: f64 = 0.01;

/// The climate term of a crop coefficient, to be added to it.
///
/// [0.04 (u2 − 2) − 0.004 (RHmin − 45)]·(h/3)^0.3
///
/// - `climate`: u2 held to 1–6 m/s and RHmin to 20–80 %, the range of the paper
/// - `height_m`: h, height of the plants [m]; zero for bare soil gives zero
///
/// # Source
/// FAO-56, the common term of eq. 70 and 72.
#[must_use]
pub fn climate_adjustment(climate: ClimateOfDay, height_m: f64) -> f64 {
    let wind_m_per_s = climate
        .wind_2m_m_per_s
        .clamp(WIND_RANGE_M_PER_S.0, WIND_RANGE_M_PER_S.1);
    let humidity_pct = climate
        .min_relative_humidity_pct
        .clamp(HUMIDITY_RANGE_PCT.0, HUMIDITY_RANGE_PCT.1);
    let dryness = 0.04 * (wind_m_per_s - 2.0) - 0.004 * (humidity_pct - 45.0);
    dryness * (height_m.max(0.0) / 3.0).powf(0.3)
}

/// Total evaporable water TEW of a surface layer [mm]: what air can take from
/// it, down to halfway between oven-dry and the wilting point.
///
/// - `field_capacity`, `wilting_point`: θFC and θWP, volume shares
/// - `depth_mm`: Ze [mm]; the paper uses 100–150 mm, a seed layer is thinner
///
/// # Source
/// FAO-56 eq. 73: TEW = 1000 (θFC − 0.5 θWP) Ze, Ze in m.
#[must_use]
pub fn total_evaporable_water_mm(field_capacity: f64, wilting_point: f64, depth_mm: f64) -> f64 {
    ((field_capacity - 0.5 * wilting_point) * depth_mm).max(0.0)
}

/// Readily evaporable water REW of a surface layer [mm]: what leaves at the
/// full rate before the surface begins to hold it back.
///
/// - `texture`: gives the middle of the range of Table 19
/// - `total_mm`: TEW of the layer [mm], the upper bound
///
/// Table 19 is for layers of 100 mm and more and REW does not shrink with the
/// layer, so a seed layer is bounded by its TEW: it dries at the full rate
/// until it is empty. The table has no row for three classes; the neighbour
/// taken is loam for sandy clay loam, silty clay loam for clay loam and clay
/// for sandy clay. These differ by 1 mm at most and err towards drying faster.
///
/// # Source
/// FAO-56 Table 19.
#[must_use]
pub fn readily_evaporable_water_mm(texture: TextureName, total_mm: f64) -> f64 {
    let (low_mm, high_mm) = match texture {
        TextureName::Sand => (2.0, 7.0),
        TextureName::LoamySand => (4.0, 8.0),
        TextureName::SandyLoam => (6.0, 10.0),
        TextureName::Loam | TextureName::SandyClayLoam => (8.0, 10.0),
        TextureName::SiltLoam
        | TextureName::Silt
        | TextureName::SiltyClayLoam
        | TextureName::ClayLoam => (8.0, 11.0),
        TextureName::SiltyClay | TextureName::Clay | TextureName::SandyClay => (8.0, 12.0),
    };
    let middle_mm: f64 = (low_mm + high_mm) / 2.0;
    middle_mm.min(total_mm)
}

/// Evaporation reduction coefficient Kr, 1 (wet) to 0 (nothing left).
///
/// - `depletion_mm`: De, water gone from the layer at the start of the step [mm]
/// - `total_mm`: TEW [mm]
/// - `readily_mm`: REW [mm]
///
/// Where REW reaches TEW there is no falling stage: 1 until the layer is
/// empty, then 0. Note that over a long step Kr comes from the start of the
/// step and overshoots; over minutes it does not.
///
/// # Source
/// FAO-56 eq. 74: Kr = (TEW − De)/(TEW − REW) for De > REW, else 1.
#[must_use]
pub fn reduction(depletion_mm: f64, total_mm: f64, readily_mm: f64) -> f64 {
    if depletion_mm >= total_mm {
        0.0
    } else if depletion_mm <= readily_mm {
        1.0
    } else {
        (total_mm - depletion_mm) / (total_mm - readily_mm)
    }
}

/// Upper limit Kc max of the crop coefficient just after wetting.
///
/// - `climate`: wind and humidity of the day
/// - `height_m`: height of the plants [m]; zero for bare soil
/// - `kcb`: basal coefficient of the plants, 0 for bare soil
///
/// # Source
/// FAO-56 eq. 72: the greater of 1.2 with the climate term and Kcb + 0.05.
#[must_use]
pub fn kc_max(climate: ClimateOfDay, height_m: f64, kcb: f64) -> f64 {
    (STANDARD_KC_MAX + climate_adjustment(climate, height_m)).max(kcb + LEAST_ROOM_ABOVE_KCB)
}

/// Share of the ground that is both open to the sky and wetted, few.
///
/// - `cover_fraction`: fc, share shaded by plants, 0 to 1
/// - `wetted_fraction`: fw, share wetted; 1 for rain and sprinklers
///
/// # Source
/// FAO-56 eq. 75: few = min(1 − fc, fw).
#[must_use]
pub fn exposed_fraction(cover_fraction: f64, wetted_fraction: f64) -> f64 {
    (1.0 - cover_fraction).min(wetted_fraction).clamp(0.0, 1.0)
}

/// Soil evaporation coefficient Ke; evaporation is Ke·ET0.
///
/// - `kr`: reduction coefficient, see [`reduction`]
/// - `kc_max`: upper limit, see [`kc_max`]
/// - `kcb`: basal coefficient of the plants
/// - `exposed`: few, see [`exposed_fraction`]
///
/// # Source
/// FAO-56 eq. 71: Ke = Kr (Kc max − Kcb), at most few·Kc max.
#[must_use]
pub fn evaporation_coefficient(kr: f64, kc_max: f64, kcb: f64, exposed: f64) -> f64 {
    (kr * (kc_max - kcb)).min(exposed * kc_max).max(0.0)
}

/// Share of the ground that plants cover, fc, from their basal coefficient.
///
/// - `kcb`: basal coefficient now
/// - `kc_min`: Kc of bare dry soil, 0.15 to 0.20
/// - `kc_max`: upper limit, above `kc_min`
/// - `height_m`: height of the plants [m]
///
/// Kcb − Kc min is held to at least 0.01 and fc to at most 0.99.
///
/// # Source
/// FAO-56 eq. 76: fc = ((Kcb − Kc min)/(Kc max − Kc min))^(1 + 0.5 h).
#[must_use]
pub fn cover_fraction(kcb: f64, kc_min: f64, kc_max: f64, height_m: f64) -> f64 {
    let share = (kcb - kc_min).max(LEAST_KCB_ABOVE_MINIMUM) / (kc_max - kc_min);
    share
        .powf(1.0 + 0.5 * height_m)
        .clamp(0.0, GREATEST_COVER_FRACTION)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_layer_without_a_falling_stage_evaporates_fully_until_it_is_empty() {
        for depletion_mm in [0.0, 1.0, 2.149] {
            assert!((reduction(depletion_mm, 2.15, 2.15) - 1.0).abs() < 1e-12);
        }
        assert!(reduction(2.15, 2.15, 2.15).abs() < 1e-12);
        assert!(reduction(3.0, 2.15, 2.15).abs() < 1e-12);
        assert!(reduction(0.0, 0.0, 0.0).abs() < 1e-12);
    }

    #[test]
    fn readily_evaporable_water_never_exceeds_the_total() {
        assert!((readily_evaporable_water_mm(TextureName::Loam, 19.0) - 9.0).abs() < 1e-12);
        assert!((readily_evaporable_water_mm(TextureName::Loam, 1.9) - 1.9).abs() < 1e-12);
    }

    #[test]
    fn weather_outside_the_range_of_the_paper_is_held_at_its_edge() {
        let storm = ClimateOfDay {
            wind_2m_m_per_s: 30.0,
            min_relative_humidity_pct: 1.0,
        };
        let edge = ClimateOfDay {
            wind_2m_m_per_s: 6.0,
            min_relative_humidity_pct: 20.0,
        };
        assert!((kc_max(storm, 0.1, 0.15) - kc_max(edge, 0.1, 0.15)).abs() < 1e-12);
    }

    #[test]
    fn bare_soil_has_the_standard_limit_in_any_climate() {
        let dry = ClimateOfDay {
            wind_2m_m_per_s: 5.0,
            min_relative_humidity_pct: 25.0,
        };
        assert!((kc_max(dry, 0.0, 0.0) - 1.2).abs() < 1e-12);
    }

    #[test]
    fn a_closed_canopy_leaves_some_ground_open() {
        assert!((cover_fraction(1.4, 0.15, 1.2, 0.1) - 0.99).abs() < 1e-12);
        assert!(evaporation_coefficient(1.0, 1.2, 1.4, 0.01).abs() < 1e-12);
    }
}
