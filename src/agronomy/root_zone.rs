//! The water that roots can take, and how lack of it slows them.
//!
//! Source throughout: Allen et al. 1998, FAO-56, chapter 8.

/// Total available water TAW of the root zone [mm].
///
/// - `field_capacity`, `wilting_point`: θFC and θWP, volume shares
/// - `depth_mm`: depth of the rooted soil Zr [mm]
///
/// # Source
/// FAO-56 eq. 82: TAW = 1000 (θFC − θWP) Zr, Zr in m.
#[must_use]
pub fn total_available_water_mm(field_capacity: f64, wilting_point: f64, depth_mm: f64) -> f64 {
    ((field_capacity - wilting_point) * depth_mm).max(0.0)
}

/// Readily available water RAW [mm]: what may be used without stress.
///
/// - `total_mm`: TAW [mm]
/// - `depletion_share`: p, 0 to 1
///
/// # Source
/// FAO-56 eq. 83: RAW = p·TAW.
#[must_use]
pub fn readily_available_water_mm(total_mm: f64, depletion_share: f64) -> f64 {
    total_mm * depletion_share
}

/// Water stress coefficient Ks, 1 (none) to 0 (no transpiration).
///
/// - `total_mm`: TAW [mm]
/// - `depletion_mm`: Dr, water gone from the root zone [mm]
/// - `depletion_share`: p, 0 to 1
///
/// # Source
/// FAO-56 eq. 84: Ks = (TAW − Dr)/((1 − p) TAW) for Dr > RAW, else 1.
#[must_use]
pub fn stress(total_mm: f64, depletion_mm: f64, depletion_share: f64) -> f64 {
    if depletion_mm >= total_mm {
        0.0
    } else if depletion_mm <= readily_available_water_mm(total_mm, depletion_share) {
        1.0
    } else {
        (total_mm - depletion_mm) / ((1.0 - depletion_share) * total_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stress_begins_where_the_readily_available_water_ends() {
        // Loam, 150 mm of roots: TAW 0.14·150 = 21 mm, p 0.4, RAW 8.4 mm.
        let total_mm = total_available_water_mm(0.28, 0.14, 150.0);
        assert!((total_mm - 21.0).abs() < 1e-9);
        assert!((readily_available_water_mm(total_mm, 0.4) - 8.4).abs() < 1e-9);
        assert!((stress(total_mm, 8.39, 0.4) - 1.0).abs() < 1e-12);
        // Halfway between RAW and TAW: half the transpiration.
        assert!((stress(total_mm, 14.7, 0.4) - 0.5).abs() < 1e-9);
        assert!(stress(total_mm, 21.0, 0.4).abs() < 1e-12);
    }

    #[test]
    fn a_root_zone_without_water_or_without_a_falling_stage_stays_finite() {
        assert!(stress(0.0, 0.0, 0.4).abs() < 1e-12);
        assert!((stress(10.0, 9.9, 1.0) - 1.0).abs() < 1e-12);
        assert!(stress(10.0, 10.0, 1.0).abs() < 1e-12);
    }
}
